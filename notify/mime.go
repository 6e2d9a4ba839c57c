package notify

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"mime/quotedprintable"
	"strings"
	"unicode"
)

// The message is written here and not by a library so that boundary, Date and
// header order come from the row alone: every retry carries the same bytes,
// which is also what makes a duplicate recognisable.

// headers writes header fields in order.
type headers struct{ b bytes.Buffer }

// add writes one structured field of ASCII made by us, folded at spaces. A
// value with a line break or another control character is refused: it can only
// come from an attack or a slip.
func (h *headers) add(name, value string) error {
	for _, r := range value {
		if r < 0x20 || r > 0x7e {
			return fmt.Errorf("header %s: character %U is not allowed", name, r)
		}
	}
	col := len(name) + 1
	h.b.WriteString(name + ":")
	for _, w := range strings.Split(value, " ") {
		if col+1+len(w) > 76 && col > len(name)+1 {
			h.b.WriteString("\r\n")
			col = 0
		}
		h.b.WriteString(" " + w)
		col += 1 + len(w)
	}
	h.b.WriteString("\r\n")
	return nil
}

// text writes an unstructured field of foreign text as encoded words where
// needed. "=?" is kept from being read as one.
func (h *headers) text(name, value string) error {
	return h.add(name, encodeWords(strings.ReplaceAll(clean(value), "=?", "= ?")))
}

// encodeWords leaves ASCII as it is and writes other text as encoded words
// (RFC 2047) short enough that a line with the field name stays below 76.
func encodeWords(s string) string {
	if strings.IndexFunc(s, func(r rune) bool { return r > unicode.MaxASCII }) < 0 {
		return s
	}
	const open, end, longest = "=?utf-8?q?", "?=", 60
	var words []string
	var w strings.Builder
	for _, r := range s {
		e := encodeRune(r)
		if w.Len()+len(e)+len(open)+len(end) > longest {
			words = append(words, open+w.String()+end)
			w.Reset()
		}
		w.WriteString(e)
	}
	return strings.Join(append(words, open+w.String()+end), " ")
}

func encodeRune(r rune) string {
	switch {
	case r == ' ':
		return "_"
	case r < 0x80 && (r >= '0' && r <= '9' || r >= 'A' && r <= 'Z' || r >= 'a' && r <= 'z'):
		return string(r)
	}
	var b strings.Builder
	for _, c := range []byte(string(r)) {
		fmt.Fprintf(&b, "=%02X", c)
	}
	return b.String()
}

// inlineImage is a chart of the mail.
type inlineImage struct {
	cid string
	png []byte
}

// boundary is fixed by the Message-ID. "=_" cannot occur in quoted-printable
// and base64 bodies.
func boundary(messageID, part string) string {
	sum := sha256.Sum256([]byte(messageID + "\x00" + part))
	return "=_" + part + "_" + hex.EncodeToString(sum[:12])
}

// body writes the MIME tree:
//
//	multipart/related( multipart/alternative(text, html), image/png ... )
//
// without the outer level when there is no image. It returns the Content-Type
// of the whole.
func body(messageID, text, html string, images []inlineImage) (contentType string, out []byte) {
	alt := boundary(messageID, "alt")
	var a bytes.Buffer
	for _, p := range []struct{ kind, s string }{{"text/plain", text}, {"text/html", html}} {
		if p.s == "" {
			continue
		}
		fmt.Fprintf(&a, "--%s\r\nContent-Type: %s; charset=utf-8\r\nContent-Transfer-Encoding: quoted-printable\r\n\r\n", alt, p.kind)
		quoted(&a, p.s)
		a.WriteString("\r\n")
	}
	fmt.Fprintf(&a, "--%s--\r\n", alt)
	altType := fmt.Sprintf("multipart/alternative; boundary=\"%s\"", alt)
	if len(images) == 0 {
		return altType, a.Bytes()
	}
	rel := boundary(messageID, "rel")
	var r bytes.Buffer
	fmt.Fprintf(&r, "--%s\r\nContent-Type: %s\r\n\r\n%s\r\n", rel, altType, a.Bytes())
	for i, im := range images {
		fmt.Fprintf(&r, "--%s\r\nContent-Type: image/png\r\nContent-Transfer-Encoding: base64\r\nContent-ID: <%s>\r\nContent-Disposition: inline; filename=\"chart%d.png\"\r\n\r\n",
			rel, im.cid, i+1)
		base64Lines(&r, im.png)
	}
	fmt.Fprintf(&r, "--%s--\r\n", rel)
	return fmt.Sprintf("multipart/related; boundary=\"%s\"; type=\"multipart/alternative\"", rel), r.Bytes()
}

// quoted never fails on a buffer.
func quoted(b *bytes.Buffer, s string) {
	w := quotedprintable.NewWriter(b)
	_, _ = w.Write([]byte(strings.ReplaceAll(s, "\n", "\r\n")))
	_ = w.Close()
}

func base64Lines(b *bytes.Buffer, raw []byte) {
	s := base64.StdEncoding.EncodeToString(raw)
	for len(s) > 76 {
		b.WriteString(s[:76] + "\r\n")
		s = s[76:]
	}
	b.WriteString(s + "\r\n")
}

// printableASCII reports whether s may stand in an envelope or header as it is.
func printableASCII(s string) bool {
	return strings.IndexFunc(s, func(r rune) bool { return r > unicode.MaxASCII || r <= ' ' || r == 0x7f }) < 0
}
