package ingest

import (
	"errors"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// drain reads every token and returns the first error, nil at the proper end.
func drain(body string, p Profile) error {
	x := NewXML([]byte(body), p)
	for {
		if _, err := x.Token(); errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return err
		}
	}
}

func TestXMLLimits(t *testing.T) {
	t.Parallel()

	for _, c := range []struct{ name, body, want string }{
		{"plain", `<?xml version="1.0"?><!-- c --><a><b x="1">t</b></a>`, ""},
		{"depth 64", strings.Repeat("<a>", 64) + strings.Repeat("</a>", 64), ""},
		{"depth 65", strings.Repeat("<a>", 65) + strings.Repeat("</a>", 65), "deeper than 64"},
		{"2 million nested tags", strings.Repeat("<a>", 2_000_000), "deeper than 64"},
		{"entity bomb", `<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]><x>&b;</x>`, "document type"},
		{"external entity", `<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/passwd">]><x>&e;</x>`, "document type"},
		{"entity without a type", `<x>&e;</x>`, "invalid character entity"},
		{"cut at an element boundary", `<a><b/>`, "unexpected EOF"},
		{"second root", `<a/><b/>`, "second root"},
		{"no root", `<?xml version="1.0"?>`, "ends early"},
		{"nothing", ``, "ends early"},
		{"NUL", "<a>\x00</a>", "illegal character"},
		{"bad UTF-8", "<a>\xff</a>", "invalid UTF-8"},
		{"unknown encoding", `<?xml version="1.0" encoding="x-nowhere"?><a/>`, "unsupported charset"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			err := drain(c.body, Profile{})
			if c.want == "" {
				require.NoError(t, err)
				return
			}
			require.ErrorIs(t, err, coldseam.ErrInvalid)
			require.ErrorContains(t, err, c.want)
		})
	}
}

func TestXMLEncodings(t *testing.T) {
	t.Parallel()
	require.NoError(t, drain("<?xml version=\"1.0\" encoding=\"ISO-8859-1\"?><a>Gefr\xf6rnis</a>", Profile{}),
		"a declared Latin-1 is read")
	require.Error(t, drain("<?xml version=\"1.0\" encoding=\"UTF-8\"?><a>Gefr\xf6rnis</a>", Profile{}),
		"says UTF-8, holds Latin-1")
	p := Profile{EncodingOverride: "latin1"}
	raw, err := ReadBody(strings.NewReader("<?xml version=\"1.0\" encoding=\"UTF-8\"?><a>Gefr\xf6rnis</a>"), p)
	require.NoError(t, err)
	require.Contains(t, string(raw), "Gefrörnis")
	require.NoError(t, drain(string(raw), p))
}

func TestReadBody(t *testing.T) {
	t.Parallel()
	b, err := ReadBody(strings.NewReader("\xef\xbb\xbf{}"), Profile{})
	require.NoError(t, err)
	require.Equal(t, "{}", string(b))
	_, err = ReadBody(strings.NewReader(strings.Repeat("x", 11)), Profile{MaxBodyBytes: 10})
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	_, err = ReadBody(strings.NewReader("x"), Profile{EncodingOverride: "x-nowhere"})
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	_, err = ReadBody(io.MultiReader(strings.NewReader("{"), brokenReader{}), Profile{})
	require.ErrorIs(t, err, errBroken)
}

type brokenReader struct{}

var errBroken = errors.New("connection lost")

func (brokenReader) Read([]byte) (int, error) { return 0, errBroken }

func TestDecodeJSON(t *testing.T) {
	t.Parallel()

	for _, c := range []struct{ name, body, want string }{
		{"object", ` {"a":1} `, ""},
		{"trailing data", `{"a":1} {"a":2}`, "after the end"},
		{"trailing brace", `{"a":1}}`, "after the end"},
		{"cut", `{"a":`, "unexpected EOF"},
		{"NUL in a text", "{\"a\":\"\x00\"}", "invalid character"},
		{"bad UTF-8", "{\"a\":\"\xff\"}", "not UTF-8"},
		{"NaN", `{"a":NaN}`, "invalid character"},
		{"text", `hello`, `begins "hello"`},
		{"web page", `<html>`, `begins "<html>"`},
		{"empty", ``, `begins ""`},
		{"20,000 brackets", strings.Repeat("[", 20000), "max depth"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			var v any
			err := DecodeJSON([]byte(c.body), &v)
			if c.want == "" {
				require.NoError(t, err)
				return
			}
			require.ErrorIs(t, err, coldseam.ErrInvalid)
			require.ErrorContains(t, err, c.want)
		})
	}
}
