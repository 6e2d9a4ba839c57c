package democlub

import (
	"encoding/base64"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/mail"
	"strings"
)

// Mail is a message as a reader sees it.
type Mail struct {
	To, Subject string
	Text, HTML  string // "" where the message has no such part
}

// ReadMail reads a message with all its parts; the body can be read once.
func ReadMail(m *mail.Message) (Mail, error) {
	subject, err := new(mime.WordDecoder).DecodeHeader(m.Header.Get("Subject"))
	if err != nil {
		return Mail{}, err
	}

	out := Mail{To: m.Header.Get("To"), Subject: subject}
	err = out.part(m.Header.Get("Content-Type"), m.Header.Get("Content-Transfer-Encoding"), m.Body)
	return out, err
}

// part reads one part, however deep, and keeps the first of each kind.
func (m *Mail) part(contentType, encoding string, body io.Reader) error {
	kind, params, err := mime.ParseMediaType(contentType)
	if err != nil {
		return err
	}

	if strings.HasPrefix(kind, "multipart/") {
		parts := multipart.NewReader(body, params["boundary"])
		for {
			p, err := parts.NextRawPart()
			if err == io.EOF {
				return nil
			}
			if err != nil {
				return err
			}
			err = m.part(p.Header.Get("Content-Type"), p.Header.Get("Content-Transfer-Encoding"), p)
			if err != nil {
				return err
			}
		}
	}

	dst := map[string]*string{"text/plain": &m.Text, "text/html": &m.HTML}[kind]
	if dst == nil || *dst != "" {
		return nil
	}
	switch strings.ToLower(encoding) {
	case "quoted-printable":
		body = quotedprintable.NewReader(body)
	case "base64":
		body = base64.NewDecoder(base64.StdEncoding, body)
	}

	b, err := io.ReadAll(body)
	*dst = strings.ReplaceAll(string(b), "\r\n", "\n")
	return err
}
