package democlub

import (
	"encoding/base64"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"strings"
)

// WordDecoder reads encoded header words.
var WordDecoder = new(mime.WordDecoder)

// PlainPart finds the first text/plain part of a message, however deep.
func PlainPart(contentType, encoding string, body io.Reader) (string, error) {
	kind, params, err := mime.ParseMediaType(contentType)
	if err != nil {
		return "", err
	}

	if strings.HasPrefix(kind, "multipart/") {
		parts := multipart.NewReader(body, params["boundary"])
		for {
			p, err := parts.NextRawPart()
			if err == io.EOF {
				return "", nil
			}
			if err != nil {
				return "", err
			}
			text, err := PlainPart(p.Header.Get("Content-Type"), p.Header.Get("Content-Transfer-Encoding"), p)
			if err != nil || text != "" {
				return text, err
			}
		}
	}

	if kind != "text/plain" {
		return "", nil
	}
	switch strings.ToLower(encoding) {
	case "quoted-printable":
		body = quotedprintable.NewReader(body)
	case "base64":
		body = base64.NewDecoder(base64.StdEncoding, body)
	}

	b, err := io.ReadAll(body)
	return strings.ReplaceAll(string(b), "\r\n", "\n"), err
}
