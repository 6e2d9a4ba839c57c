package notify

import (
	"bufio"
	"bytes"
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"crypto/rsa"
	"crypto/x509"
	"encoding/base64"
	"encoding/pem"
	"errors"
	"fmt"
	"io"
	"net/mail"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/emersion/go-message"
	_ "github.com/emersion/go-message/charset"
	"github.com/emersion/go-msgauth/dkim"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
	"example.org/coldseam/notify/brieftest"
	"example.org/coldseam/notify/smtptest"
)

// rsaSigner makes one key for the whole test binary: it costs a second.
var rsaSigner = sync.OnceValue(func() *Signer {
	key, err := rsa.GenerateKey(rand.Reader, 2048)
	if err != nil {
		panic(err)
	}
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		panic(err)
	}
	s, err := NewSigner("club.example", "s1", pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der}))
	if err != nil {
		panic(err)
	}
	return s
})

// leaf is one part of a message, with the types of the parts around it.
type leaf struct {
	path   string
	header message.Header
	body   []byte
}

func leaves(t testing.TB, raw []byte) (message.Header, []leaf) {
	t.Helper()
	m, err := message.Read(bytes.NewReader(raw))
	require.NoError(t, err)
	var out []leaf
	var walk func(e *message.Entity, path string)

	walk = func(e *message.Entity, path string) {
		kind, _, err := e.Header.ContentType()
		require.NoError(t, err)
		path += "/" + kind
		mr := e.MultipartReader()
		if mr == nil {
			b, err := io.ReadAll(e.Body)
			require.NoError(t, err)
			out = append(out, leaf{path, e.Header, b})
			return
		}

		for {
			p, err := mr.NextPart()
			if errors.Is(err, io.EOF) {
				return
			}
			require.NoError(t, err)
			walk(p, path)
		}
	}

	walk(m, "")
	return m.Header, out
}

// TestMIME reads every composed mail back with another implementation: tree,
// parts, single header fields, line lengths, sizes.
func TestMIME(t *testing.T) {
	t.Parallel()
	charts := sampleCharts(t)

	for name, l := range cases() {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			m, err := composer().Compose(l, charts)
			require.NoError(t, err)
			h, parts := leaves(t, m.Bytes)
			for _, f := range []string{"From", "To", "Subject", "Date", "Message-Id", "Mime-Version", "Content-Type",
				"Auto-Submitted", "X-Auto-Response-Suppress"} {
				require.Len(t, h.Values(f), 1, f)
			}

			require.Equal(t, "<"+m.MessageID+">", h.Get("Message-Id"))
			require.Equal(t, "auto-generated", h.Get("Auto-Submitted"))
			d, err := mail.ParseDate(h.Get("Date"))
			require.NoError(t, err)
			require.True(t, d.Equal(l.CreatedAt), "the Date is the row's")
			checkLines(t, m.Bytes)
			require.LessOrEqual(t, len(m.Bytes), MaxMessage)

			prefix := "/multipart/alternative"
			if len(parts) > 2 {
				prefix = "/multipart/related/multipart/alternative"
			}
			require.Equal(t, prefix+"/text/plain", parts[0].path, "text first")
			require.Equal(t, prefix+"/text/html", parts[1].path)
			require.LessOrEqual(t, len(parts[1].body), MaxHTML)

			html := string(parts[1].body)
			for i, p := range parts[2:] {
				require.Equal(t, "/multipart/related/image/png", p.path)
				cid := strings.Trim(p.header.Get("Content-Id"), "<>")
				require.Contains(t, html, `src="cid:`+cid+`"`)
				require.LessOrEqual(t, len(p.body), 20<<10, "picture %d", i)
			}

			require.Equal(t, len(parts)-2, strings.Count(html, "<img "),
				"every picture of the HTML travels with the mail")
			if l.Subscriber.ID == 0 {
				require.Empty(t, h.Get("List-Unsubscribe"), "mail to the keeper is no list mail")
				return
			}

			require.Equal(t, "List-Unsubscribe=One-Click", h.Get("List-Unsubscribe-Post"))
			require.Contains(t, h.Get("List-Unsubscribe"), "<https://club.example/unsubscribe/")
			require.Contains(t, h.Get("List-Unsubscribe"), "<mailto:u+17-")
			require.Equal(t, "<keeper@club.example>", h.Get("Reply-To"), "an answer reaches a person")
			for _, f := range []string{"List-Id", "List-Help", "List-Owner"} {
				require.NotEmpty(t, h.Get(f), f)
			}
		})
	}
}

// checkLines: CRLF ends, header and body lines of at most 78 characters except
// where one word cannot be broken, never over 998.
func checkLines(t *testing.T, raw []byte) {
	t.Helper()
	require.NotContains(t, string(bytes.ReplaceAll(raw, []byte("\r\n"), nil)), "\n", "bare LF")
	require.NotContains(t, string(bytes.ReplaceAll(raw, []byte("\r\n"), nil)), "\r", "bare CR")
	head, rest, ok := bytes.Cut(raw, []byte("\r\n\r\n"))
	require.True(t, ok)
	for _, l := range strings.Split(string(head), "\r\n") {
		require.LessOrEqual(t, len(l), 998)
	}

	sc := bufio.NewScanner(bytes.NewReader(rest))
	for sc.Scan() {
		l := sc.Text()
		if strings.HasPrefix(l, "Content-") {
			continue
		}
		require.LessOrEqual(t, len(l), 76, l)
	}

	for i, b := range raw {
		require.Less(t, b, byte(0x80), "byte %d: only ASCII travels", i)
	}
}

// TestSameBytes: a retry carries the same bytes, another row other ones.
func TestSameBytes(t *testing.T) {
	t.Parallel()
	charts := sampleCharts(t)
	l := cases()["four_rivers"]
	a, err := composer().Compose(l, charts)
	require.NoError(t, err)
	l.Attempt, l.Worker, l.State = 3, "w9", coldseam.MailUnknown
	b, err := composer().Compose(l, charts)
	require.NoError(t, err)
	require.Equal(t, a, b)
	l.Mailing++
	c, err := composer().Compose(l, charts)
	require.NoError(t, err)
	require.NotEqual(t, a.MessageID, c.MessageID)
}

func TestMessageID(t *testing.T) {
	t.Parallel()
	all := cases()
	require.Equal(t, "20270410.17.33@club.example", MessageID(all["go_day"], "club.example"))
	require.Equal(t, "20270410.17.33.correction.tamsen-bend@club.example", MessageID(all["correction"], "club.example"))
	l := all["go_day"]
	l.MessageID = "<kept@club.example>"
	require.Equal(t, "kept@club.example", MessageID(l, "club.example"))
	m, err := composer().Compose(all["correction"], nil)
	require.NoError(t, err)
	h, _ := leaves(t, m.Bytes)
	require.Equal(t, "<20270410.17.33@club.example>", h.Get("In-Reply-To"))
	require.Equal(t, "<20270410.17.33@club.example>", h.Get("References"))
}

func TestComposeRefuses(t *testing.T) {
	t.Parallel()

	for _, c := range []struct {
		name   string
		change func(*coldseam.OutboxMessage)
		want   error
		text   string
	}{
		{"no address", func(l *coldseam.OutboxMessage) { l.Subscriber.Email = "" }, coldseam.ErrRejected, ""},
		{"display name", func(l *coldseam.OutboxMessage) {
			l.Subscriber.Email = "Ida <ida@home.example>"
		}, coldseam.ErrRejected, ""},
		{"no dot", func(l *coldseam.OutboxMessage) { l.Subscriber.Email = "ida@localhost" }, coldseam.ErrRejected, ""},
		{"literal", func(l *coldseam.OutboxMessage) { l.Subscriber.Email = "ida@[192.0.2.1]" }, coldseam.ErrRejected, ""},
		{"quoted", func(l *coldseam.OutboxMessage) { l.Subscriber.Email = `"ida b"@home.example` }, coldseam.ErrRejected, ""},
		{"too long", func(l *coldseam.OutboxMessage) {
			l.Subscriber.Email = strings.Repeat("a", 240) + "@home.example.org"
		}, coldseam.ErrRejected, ""},
		{"line break", func(l *coldseam.OutboxMessage) {
			l.Subscriber.Email = "ida@home.example\r\nBcc: x@y.example"
		}, coldseam.ErrRejected, ""},
		{"no payload", func(l *coldseam.OutboxMessage) { l.Payload = nil }, coldseam.ErrInvalid, "mail payload"},
		{"no brief", func(l *coldseam.OutboxMessage) {
			l.Payload = []byte(`{"club":"x"}`)
		}, coldseam.ErrInvalid, "morning mail without a brief"},
		{"empty brief", func(l *coldseam.OutboxMessage) {
			l.Payload = []byte(`{"briefs":[{}]}`)
		}, coldseam.ErrInvalid, "without river"},
		{"unknown kind", func(l *coldseam.OutboxMessage) { l.Kind = "advert" }, coldseam.ErrInvalid, `mail kind "advert"`},
		{"correction to GO", func(l *coldseam.OutboxMessage) {
			l.Kind = coldseam.MailCorrection
		}, coldseam.ErrInvalid, "want STOP or NO CALL"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			l := cases()["go_day"]
			c.change(&l)
			_, err := composer().Compose(l, nil)
			require.ErrorIs(t, err, c.want)
			require.ErrorContains(t, err, c.text)
			require.NotContains(t, err.Error(), "@", "no address in an error")
		})
	}

	var bad = composer()
	bad.From.Address = "brief"
	require.Error(t, bad.Check())
	require.NoError(t, composer().Check())
}

// hostile draws what an attacker or a broken feed may put into a text field.
func hostile() *rapid.Generator[string] {
	piece := rapid.SampledFrom([]string{"\r\n", "\n", "\r", "\x00", "\u2028", "\u202e", "=?utf-8?q?x?=", "=?",
		"Bcc: evil@evil.example", "<script>alert(1)</script>",
		"\r\n\r\n", "\r\n.\r\n", "\"", "<", ">", "@", "Ida", "ü", "日本", "\xff", "%s", "{{.Subject}}", "--=_alt",
		"javascript:alert(1)", " ", ";", ",", "\t"})
	return rapid.Custom(func(t *rapid.T) string {
		return strings.Join(rapid.SliceOfN(piece, 1, 8).Draw(t, "pieces"), "")
	})
}

func checkHostile(rt *rapid.T, t *testing.T, m Message, want message.Header, parts int) {
	h, got := leaves(t, m.Bytes)
	require.Len(rt, got, parts)
	names := func(h message.Header) (out []string) {
		for f := h.Fields(); f.Next(); {
			out = append(out, f.Key())
		}
		return out
	}
	require.Equal(rt, names(want), names(h), "no field more or less")
	require.Equal(rt, "<angler@home.example>", h.Get("To"))

	html := strings.ToLower(string(got[1].body))
	require.NotContains(rt, html, "<script")
	require.NotContains(rt, html, `"javascript:`)
	for _, p := range got {
		require.NotContains(rt, string(p.body), "\x00")
		require.NotContains(rt, string(p.body), "\u202e")
	}
	require.LessOrEqual(rt, len([]rune(m.Subject)), maxSubject)
	require.NotContains(rt, m.Subject, "=?")
}

// TestDotsTravel: lines that begin with a dot arrive as they were written.
func TestDotsTravel(t *testing.T) {
	t.Parallel()
	raw := []byte("Subject: x\r\n\r\n.\r\n..\r\n.x\r\nend.\r\n")
	s := startSink(t, smtptest.Config{})
	box := newMemory(rows(1)...)
	x := testSender(box, s.Addr())
	x.Compose = func(context.Context, coldseam.OutboxMessage) (Message, error) {
		return Message{Bytes: raw, EnvelopeFrom: "b@club.example", To: "angler@home.example"}, nil
	}
	_, err := x.Run(context.Background(), 1)
	require.NoError(t, err)
	require.Equal(t, string(raw), string(s.Mails()[0].Data))
}

// TestConfirmCarriesNoUserText: a form that mails strangers must not carry the
// sender's words.
func TestConfirmCarriesNoUserText(t *testing.T) {
	t.Parallel()
	l := cases()["confirm"]
	l.Subscriber.Name = "Buy pills at evil.example"
	m, err := composer().Compose(l, nil)
	require.NoError(t, err)
	_, parts := leaves(t, m.Bytes)
	for _, p := range parts {
		require.NotContains(t, string(p.body), "pills")
	}
}

// TestDKIM verifies the final bytes with the library's own verifier and with a
// second implementation, which also reads the MIME tree and must find no
// defect in it.
func TestDKIM(t *testing.T) {
	t.Parallel()
	_, ed, err := ed25519.GenerateKey(rand.Reader)
	require.NoError(t, err)
	signers := map[string]*Signer{"rsa": rsaSigner(), "ed25519": {Domain: "club.example", Selector: "s1", Key: ed}}
	charts := sampleCharts(t)

	for name, s := range signers {
		record, err := s.Record()
		require.NoError(t, err)
		var signed [][]byte

		for kind, l := range cases() {
			c := composer()
			c.Signer = s
			m, err := c.Compose(l, charts)
			require.NoError(t, err)
			vs, err := dkim.VerifyWithOptions(bytes.NewReader(m.Bytes),
				&dkim.VerifyOptions{LookupTXT: func(d string) ([]string, error) {
					require.Equal(t, "s1._domainkey.club.example", d)
					return []string{record}, nil
				}})
			require.NoError(t, err)
			require.Len(t, vs, 1)
			require.NoError(t, vs[0].Err, "%s %s", name, kind)

			if l.Subscriber.ID != 0 {
				require.Subset(t, lower(vs[0].HeaderKeys), []string{"list-unsubscribe", "list-unsubscribe-post", "from",
					"subject", "date", "to"})
			}
			broken := bytes.Replace(m.Bytes, []byte("One-Click"), []byte("One-Clicc"), 1)
			if l.Subscriber.ID != 0 {
				vs, err = dkim.VerifyWithOptions(bytes.NewReader(broken),
					&dkim.VerifyOptions{LookupTXT: func(string) ([]string, error) {
						return []string{record}, nil
					}})
				require.NoError(t, err)
				require.Error(t, vs[0].Err, "the one-click field is covered")
			}

			signed = append(signed, m.Bytes)
		}

		secondOpinion(t, signed, record)
	}
}

func lower(s []string) []string {
	out := make([]string, len(s))
	for i := range s {
		out[i] = strings.ToLower(s[i])
	}
	return out
}

// python finds an interpreter with the dkim module; without it the check skips
// and says so, but not in CI.
var python = sync.OnceValue(func() string {
	for _, p := range []string{"/usr/bin/python3", "python3"} {
		if exec.Command(p, "-c", "import dkim, nacl.signing").Run() == nil {
			return p
		}
	}
	return ""
})

func secondOpinion(t *testing.T, signed [][]byte, record string) {
	t.Helper()
	p := python()
	if p == "" {
		if os.Getenv("CI") != "" {
			t.Fatal("no python3 with the dkim and nacl modules, and CI is set")
		}
		t.Skip("no python3 with the dkim and nacl modules: second verification skipped")
	}

	dir := t.TempDir()
	args := []string{"-c", `
import sys, dkim, email, email.policy
rec = sys.argv[1].encode()
for name in sys.argv[2:]:
    raw = open(name, "rb").read()
    ok = dkim.verify(raw, dnsfunc=lambda name, timeout=5: rec)
    m = email.message_from_bytes(raw, policy=email.policy.default)
    defects = [d for p in m.walk() for d in p.defects]
    defects += [d for h in m.values() for d in getattr(h, "defects", [])]
    for p in m.walk():
        if not p.is_multipart(): p.get_content()
    print("pass" if ok and not defects else "fail %s %s" % (name, defects))`, record}

	for i, raw := range signed {
		name := filepath.Join(dir, fmt.Sprintf("%d.eml", i))
		require.NoError(t, os.WriteFile(name, raw, 0o600))
		args = append(args, name)
	}
	out, err := exec.Command(p, args...).CombinedOutput()
	require.NoError(t, err, string(out))
	require.Equal(t, strings.Repeat("pass\n", len(signed)), string(out))
}

func TestNewSigner(t *testing.T) {
	t.Parallel()
	short, err := rsa.GenerateKey(rand.Reader, 1024)
	require.NoError(t, err)
	weak := pem.EncodeToMemory(&pem.Block{Type: "RSA PRIVATE KEY", Bytes: x509.MarshalPKCS1PrivateKey(short)})
	for name, key := range map[string][]byte{"weak": weak, "empty": nil,
		"junk": []byte("-----BEGIN X-----\nAAAA\n-----END X-----\n")} {
		_, err := NewSigner("club.example", "s1", key)
		require.ErrorIs(t, err, coldseam.ErrInvalid, name)
	}
	_, err = NewSigner("", "s1", pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: []byte{1}}))
	require.Error(t, err)
}

// TestHeaders: encoded words for foreign letters, folding below 78, refusal of
// what would break a line.
func TestHeaders(t *testing.T) {
	t.Parallel()
	var h headers
	require.Error(t, h.add("X-A", "a\r\nBcc: x"))
	require.NoError(t, h.text("Subject", "Überfällig "+strings.Repeat("wörter ", 20)))
	raw := h.bytes()
	for _, l := range strings.Split(strings.TrimSuffix(string(raw), "\r\n"), "\r\n") {
		require.LessOrEqual(t, len(l), 78, l)
	}

	m, err := message.Read(strings.NewReader(string(raw) + "\r\n"))
	require.NoError(t, err)
	s, err := m.Header.Text("Subject")
	require.NoError(t, err)
	require.Equal(t, strings.TrimSpace("Überfällig "+strings.Repeat("wörter ", 20)), s)
	var b bytes.Buffer
	base64Lines(&b, bytes.Repeat([]byte{7}, 200))
	dec, err := base64.StdEncoding.DecodeString(strings.ReplaceAll(b.String(), "\r\n", ""))
	require.NoError(t, err)
	require.Equal(t, bytes.Repeat([]byte{7}, 200), dec)
}

// A row that is not the calibrated one as shipped says so wherever its numbers
// stand: with odds, without them and in the weekend's mail.
func TestARowSaysWhatItIs(t *testing.T) {
	t.Parallel()
	p := coldseam.Preferences{SendAt: "04:45"}
	for want, change := range map[string]func(*coldseam.RunState){
		"uncalibrated":        func(r *coldseam.RunState) { r.Calibrated = false },
		"fitted to 6 seasons": func(r *coldseam.RunState) { r.Fit.Seasons, r.Fit.On = 6, coldseam.Date{Year: 2026, Month: 11, Day: 20} },
	} {
		b := brieftest.Go()
		b.Run.Calibrated = true
		require.Equal(t, "", RowMark(b.Run))
		change(&b.Run)
		run := strings.Split(strings.Join(Text(b, p), "\n"), "RUN")[1]
		require.Contains(t, strings.Split(run, "HOW")[0], want)
		require.Contains(t, fmt.Sprint(outlookOf(b, p, "")), want)
		k := blockOf(b, p)
		require.Contains(t, fmt.Sprint(k.run(false)), want)
	}
}

// Without a run no line speaks of one.
func TestNoRunIsNoSpawn(t *testing.T) {
	t.Parallel()
	b := brieftest.Go()
	b.Run = coldseam.RunState{Species: "walleye", Why: "no_season"}
	b.How.Stage, b.How.Tail, b.How.Verb = "", "paddle tail", "snap"
	for _, band := range []string{"spawn", "drop-back"} {
		b.How.Band = band
		text := strings.Join(Text(b, coldseam.Preferences{SendAt: "04:45"}), "\n")
		require.Contains(t, text, "no run in this season")
		require.Contains(t, text, "paddle tail")
		require.NotContains(t, text, band)
	}
	b.How.Stage, b.How.Band = "moving", "spawn"
	require.Contains(t, strings.Join(Text(b, coldseam.Preferences{SendAt: "04:45"}), "\n"), "spawn: paddle tail")
}
