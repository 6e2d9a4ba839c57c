package democlub

import (
	"encoding/base64"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/mail"
	"net/textproto"
	"strings"
)

// Mail is a message as a reader sees it.
type Mail struct {
	To, Subject string
	Text, HTML  string // "" where the message has no such part
	pictures    []string
}

// ReadMail reads a message with all its parts; the body can be read once.
func ReadMail(m *mail.Message) (Mail, error) {
	subject, err := new(mime.WordDecoder).DecodeHeader(m.Header.Get("Subject"))
	if err != nil {
		return Mail{}, err
	}

	out := Mail{To: m.Header.Get("To"), Subject: subject}
	err = out.part(textproto.MIMEHeader(m.Header), m.Body)
	// A browser finds a picture only in the page itself.
	out.HTML = strings.NewReplacer(out.pictures...).Replace(out.HTML)
	return out, err
}

// part reads one part, however deep, and keeps the first of each kind.
func (m *Mail) part(header textproto.MIMEHeader, body io.Reader) error {
	kind, params, err := mime.ParseMediaType(header.Get("Content-Type"))
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
			if err = m.part(p.Header, p); err != nil {
				return err
			}
		}
	}

	switch strings.ToLower(header.Get("Content-Transfer-Encoding")) {
	case "quoted-printable":
		body = quotedprintable.NewReader(body)
	case "base64":
		body = base64.NewDecoder(base64.StdEncoding, body)
	}
	b, err := io.ReadAll(body)

	id := strings.Trim(header.Get("Content-Id"), "<>")
	switch {
	case strings.HasPrefix(kind, "image/") && id != "":
		data := "data:" + kind + ";base64," + base64.StdEncoding.EncodeToString(b)
		m.pictures = append(m.pictures, "cid:"+id, data)
	case kind == "text/plain" && m.Text == "":
		m.Text = strings.ReplaceAll(string(b), "\r\n", "\n")
	case kind == "text/html" && m.HTML == "":
		m.HTML = strings.ReplaceAll(string(b), "\r\n", "\n")
	}
	return err
}
