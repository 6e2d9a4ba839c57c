package notify

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/textproto"
	"strings"
	"unicode"
)

// Boundary, Date and header order come from the row alone: every retry carries
// the same bytes, which is also what makes a duplicate recognisable. Encoded
// words, parts and transfer encodings are the standard library's.

// headers collects header fields in order.
type headers struct{ fields [][2]string }

// add takes one structured field of ASCII made by us. A value with a line break
// or another control character is refused: it can only come from an attack or a
// slip.
func (h *headers) add(name, value string) error {
	for _, r := range value {
		if r < 0x20 || r > 0x7e {
			return fmt.Errorf("header %s: character %U is not allowed", name, r)
		}
	}
	h.fields = append(h.fields, [2]string{name, value})
	return nil
}

// text takes an unstructured field of foreign text, as encoded words where
// needed. "=?" is kept from being read as one.
func (h *headers) text(name, value string) error {
	return h.add(name, mime.QEncoding.Encode("utf-8", strings.ReplaceAll(clean(value), "=?", "= ?")))
}

// lineLength is where a header line is folded.
const lineLength = 76

// bytes writes the fields, folded at spaces, without the empty line that ends
// a header. A library's folding was tried: it leaves a run of encoded words on
// one line of up to 998 characters, which RFC 2047 does not allow.
func (h *headers) bytes() []byte {
	var b bytes.Buffer
	for _, f := range h.fields {
		b.WriteString(f[0] + ":")
		col := len(f[0]) + 1
		for i, w := range strings.Split(f[1], " ") {
			if col+1+len(w) > lineLength && (i > 0 || strings.HasPrefix(w, "=?")) {
				b.WriteString("\r\n")
				col = 0
			}
			b.WriteString(" " + w)
			col += 1 + len(w)
		}
		b.WriteString("\r\n")
	}
	return b.Bytes()
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
	alt, altType := newParts("alternative", boundary(messageID, "alt"), "")
	for _, p := range []struct{ kind, s string }{{"text/plain", text}, {"text/html", html}} {
		if p.s != "" {
			quoted(alt.part("Content-Type", p.kind+"; charset=utf-8", "Content-Transfer-Encoding", "quoted-printable"),
				p.s)
		}
	}

	whole := alt.end()
	if len(images) == 0 {
		return altType, whole
	}
	rel, relType := newParts("related", boundary(messageID, "rel"), "multipart/alternative")
	_, _ = rel.part("Content-Type", altType).Write(whole)
	for i, im := range images {
		w := rel.part("Content-Type", "image/png", "Content-Transfer-Encoding", "base64", "Content-ID", "<"+im.cid+">",
			"Content-Disposition", fmt.Sprintf("inline; filename=\"chart%d.png\"", i+1))
		base64Lines(w, im.png)
	}

	return relType, rel.end()
}

// parts is one multipart level in memory; writing to a buffer never fails.
type parts struct {
	b *bytes.Buffer
	w *multipart.Writer
}

func newParts(kind, boundary, start string) (parts, string) {
	p := parts{b: &bytes.Buffer{}}
	p.w = multipart.NewWriter(p.b)
	if err := p.w.SetBoundary(boundary); err != nil {
		panic(err) // made of our own characters
	}
	params := map[string]string{"boundary": boundary}
	if start != "" {
		params["type"] = start
	}
	return p, mime.FormatMediaType("multipart/"+kind, params)
}

func (p parts) part(kv ...string) io.Writer {
	h := textproto.MIMEHeader{}
	for i := 0; i < len(kv); i += 2 {
		h.Set(kv[i], kv[i+1])
	}
	w, err := p.w.CreatePart(h)
	if err != nil {
		panic(err) // the level was ended: a slip of the caller
	}
	return w
}

func (p parts) end() []byte {
	_ = p.w.Close()
	return p.b.Bytes()
}

// quoted writes text with CRLF line ends, quoted-printable.
func quoted(b io.Writer, s string) {
	w := quotedprintable.NewWriter(b)
	_, _ = w.Write([]byte(strings.ReplaceAll(s, "\n", "\r\n")))
	_ = w.Close()
}

// base64Lines writes lines of 76 characters.
func base64Lines(b io.Writer, raw []byte) {
	const perLine = 57 // bytes that make 76 characters
	for len(raw) > 0 {
		n := min(perLine, len(raw))
		_, _ = io.WriteString(b, base64.StdEncoding.EncodeToString(raw[:n])+"\r\n")
		raw = raw[n:]
	}
}

// printableASCII reports whether s may stand in an envelope or header as it is.
func printableASCII(s string) bool {
	return strings.IndexFunc(s, func(r rune) bool { return r > unicode.MaxASCII || r <= ' ' || r == 0x7f }) < 0
}
