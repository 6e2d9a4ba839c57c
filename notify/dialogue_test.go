package notify

import (
	"bufio"
	"bytes"
	"crypto/tls"
	"errors"
	"io"
	"net"
	"net/textproto"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
)

// scripted is a relay that answers from a list: what it expects to read, and
// what it says then.
func scripted(t *testing.T, turns ...[2]string) (*dialogue, func() string) {
	t.Helper()
	ours, theirs := net.Pipe()
	heard := make(chan string, 1)
	go func() {
		defer func() { _ = theirs.Close() }()
		var all strings.Builder
		r := bufio.NewReader(theirs)
		for _, turn := range turns {
			for range strings.Count(turn[0], "\n") {
				line, err := r.ReadString('\n')
				all.WriteString(line)
				if err != nil {
					break
				}
			}
			_, _ = io.WriteString(theirs, turn[1])
		}
		heard <- all.String()
	}()
	t.Cleanup(func() { _ = ours.Close() })
	return newDialogue(ours, 2*time.Second), func() string { return <-heard }
}

// TestReplies: what is a reply, what is a refusal, and what is neither.
func TestReplies(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name, said, want string
		msg              string
		refused          *smtp.SMTPError
		fails            string // not a refusal
	}{
		{name: "one line", said: "250 2.0.0 ok\r\n", want: "250", msg: "2.0.0 ok"},
		{name: "bare", said: "250\r\n", want: "25"},
		{name: "lines", said: "250-a\r\n250-b\r\n250 c\r\n", want: "250", msg: "a\nb\nc"},
		{name: "refused", said: "550 5.1.1 no such user\r\n", want: "25", refused: &smtp.SMTPError{Code: 550, EnhancedCode: smtp.EnhancedCode{5, 1, 1}, Message: "no such user"}},
		{name: "refused on two lines", said: "550-5.7.1 not you\r\n550 5.7.1 never\r\n", want: "25", refused: &smtp.SMTPError{Code: 550, EnhancedCode: smtp.EnhancedCode{5, 7, 1}, Message: "not you\nnever"}},
		{name: "refused without a code", said: "421 go away 1.2.3\r\n", want: "250", refused: &smtp.SMTPError{Code: 421, Message: "go away 1.2.3"}},
		{name: "no enhanced code", said: "550 5.1 x\r\n", want: "25", refused: &smtp.SMTPError{Code: 550, Message: "5.1 x"}},
		{name: "another success", said: "251 will forward\r\n", want: "25", msg: "will forward"},
		{name: "no code", said: "hello\r\n", want: "25", fails: "no SMTP reply"},
		{name: "short", said: "2\r\n", want: "25", fails: "no SMTP reply"},
		{name: "empty", said: "\r\n", want: "25", fails: "no SMTP reply"},
		{name: "glued", said: "2500 ok\r\n", want: "25", fails: "no SMTP reply"},
		{name: "hung up", said: "250 o", want: "25", fails: "EOF"},
		{name: "a long line", said: "250 " + strings.Repeat("x", 2*replyLine) + "\r\n", want: "25", fails: "buffer full"},
		{name: "no end", said: strings.Repeat("250-x\r\n", replyLines+1), want: "25", fails: "without end"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			d, _ := scripted(t, [2]string{"", c.said})
			msg, err := d.reply(c.want)
			var se *smtp.SMTPError
			switch {
			case c.refused != nil:
				require.ErrorAs(t, err, &se)
				require.Equal(t, c.refused, se)
			case c.fails != "":
				require.ErrorContains(t, err, c.fails)
				require.False(t, errors.As(err, &se))
			default:
				require.NoError(t, err)
				require.Equal(t, c.msg, msg)
			}
		})
	}
}

// TestEnvelope: with PIPELINING sender and recipient travel together and each
// answer finds its question; without it they wait for one another.
func TestEnvelope(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name, ehlo string
		turns      [][2]string
		stage      string
		code       int
		heard      string
	}{
		{"together", "250-x\r\n250-PIPELINING\r\n250-8BITMIME\r\n250 SIZE 1000\r\n", [][2]string{{"\n\n", "250 ok\r\n250 ok\r\n"}}, StageRcpt, 0,
			"MAIL FROM:<a@b.example> BODY=8BITMIME SIZE=7\r\nRCPT TO:<c@d.example>\r\n"},
		{"one by one", "250 x\r\n", [][2]string{{"\n", "250 ok\r\n"}, {"\n", "250 ok\r\n"}}, StageRcpt, 0, "MAIL FROM:<a@b.example>\r\nRCPT TO:<c@d.example>\r\n"},
		{"sender refused together", "250-x\r\n250 pipelining\r\n", [][2]string{{"\n\n", "550 5.1.8 no\r\n503 5.5.1 need MAIL\r\n"}}, StageMail, 550, ""},
		{"recipient refused together", "250-x\r\n250 PIPELINING\r\n", [][2]string{{"\n\n", "250 ok\r\n550 5.1.1 no\r\n"}}, StageRcpt, 550, ""},
		{"421 together", "250-x\r\n250 PIPELINING\r\n", [][2]string{{"\n\n", "421 4.3.2 closing\r\n"}}, StageMail, 421, ""},
		{"sender refused", "250 x\r\n", [][2]string{{"\n", "451 4.3.0 later\r\n"}}, StageMail, 451, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			d, heard := scripted(t, append([][2]string{{"\n", c.ehlo}}, c.turns...)...)
			require.NoError(t, d.hello("club.example"))
			between := 0
			stage, err := d.envelope("a@b.example", "c@d.example", 7, func() { between++ })
			require.Equal(t, c.stage, stage)
			if c.code == 0 {
				require.NoError(t, err)
				require.Equal(t, 1, between)
			} else {
				var se *smtp.SMTPError
				require.ErrorAs(t, err, &se)
				require.Equal(t, c.code, se.Code)
			}
			if c.heard != "" {
				require.Equal(t, "EHLO club.example\r\n"+c.heard, heard())
			}
			require.Zero(t, d.r.Buffered(), "no answer is left over for the next mail")
		})
	}
	d, _ := scripted(t)
	for _, bad := range []string{"a@b.example>\r\nRCPT TO:<x@y.example", "a b@c.example", "a\x00@b.example", "a@b.example\n"} {
		_, err := d.envelope("a@b.example", bad, 7, func() {})
		require.ErrorIs(t, err, coldseam.ErrInvalid, "%q", bad)
	}
}

func TestHelloFallsBack(t *testing.T) {
	t.Parallel()
	d, heard := scripted(t, [2]string{"\n", "502 5.5.2 what\r\n"}, [2]string{"\n", "250 old\r\n"})
	require.NoError(t, d.hello(""))
	require.Equal(t, "EHLO localhost\r\nHELO localhost\r\n", heard())
	require.False(t, d.has("STARTTLS"))
	require.ErrorContains(t, d.secure(nil), "support STARTTLS")
}

// TestSecureHearsNothingBefore: words put in before the handshake are not taken
// for the relay's own after it.
func TestSecureHearsNothingBefore(t *testing.T) {
	t.Parallel()
	d, _ := scripted(t, [2]string{"\n", "250-x\r\n250 STARTTLS\r\n"}, [2]string{"\n", "220 go\r\n250-evil\r\n250 AUTH PLAIN\r\n"})
	require.NoError(t, d.hello("club.example"))
	err := d.secure(func(net.Conn) (net.Conn, error) { return nil, errors.New("the handshake began") })
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	require.True(t, insecure(err), "the edition stops")
	require.True(t, insecure(&tls.CertificateVerificationError{}))
}

func TestLogin(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name  string
		c     sasl.Client
		turns [][2]string
		heard string
		code  int
	}{
		{"plain", sasl.NewPlainClient("", "u", "p"), [][2]string{{"\n", "235 2.7.0 in\r\n"}}, "AUTH PLAIN AHUAcA==\r\n", 0},
		{"login", sasl.NewLoginClient("u", "p"), [][2]string{{"\n", "334 UGFzc3dvcmQ6\r\n"}, {"\n", "235 in\r\n"}}, "AUTH LOGIN dQ==\r\ncA==\r\n", 0},
		{"refused", sasl.NewPlainClient("", "u", "p"), [][2]string{{"\n", "535 5.7.8 no\r\n"}}, "", 535},
		{"no base64", sasl.NewLoginClient("u", "p"), [][2]string{{"\n", "334 ?\r\n"}, {"\n", "501 ok\r\n"}}, "AUTH LOGIN dQ==\r\n*\r\n", -1},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			d, heard := scripted(t, c.turns...)
			err := d.login(c.c)
			var se *smtp.SMTPError
			switch {
			case c.code == 0:
				require.NoError(t, err)
			case c.code > 0:
				require.ErrorAs(t, err, &se)
				require.Equal(t, c.code, se.Code)
			default:
				require.Error(t, err)
			}
			if c.heard != "" {
				require.Equal(t, c.heard, heard())
			}
		})
	}
}

// TestStuffedText: whatever the message, a reader of dotted lines gets it back
// line by line, and nothing in it ends the text early.
func TestStuffedText(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		raw := []byte(rapid.StringOfN(rapid.RuneFrom([]rune(".\r\naé\x00")), 0, 60, -1).Draw(t, "raw"))
		out := append(appendStuffed(nil, raw), ".\r\n"...)
		require.Equal(t, bytes.Count(out, []byte("\n")), bytes.Count(out, []byte("\r\n")))
		require.Equal(t, bytes.Count(out, []byte("\r")), bytes.Count(out, []byte("\r\n")))
		end := append([]byte("\r\n"), out...)
		require.Equal(t, len(end)-5, bytes.Index(end, []byte("\r\n.\r\n")), "one end only")
		got, err := textproto.NewReader(bufio.NewReader(bytes.NewReader(out))).ReadDotBytes()
		require.NoError(t, err)
		want := strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(string(raw))
		if want != "" && !strings.HasSuffix(want, "\n") {
			want += "\n"
		}
		require.Equal(t, want, string(got))
	})
}

// TestTextLeavesThePieceForTheDot: the last piece and the dot are one write, so
// that a text without its dot is never whole.
func TestTextLeavesThePieceForTheDot(t *testing.T) {
	t.Parallel()
	for _, n := range []int{0, 10, lastPiece, lastPiece + 1, 50000} {
		ours, theirs := net.Pipe()
		got := make(chan []byte, 1)
		go func() { b, _ := io.ReadAll(theirs); got <- b }()
		d := newDialogue(ours, time.Second)
		raw := bytes.Repeat([]byte("x"), n)
		before := 0
		require.NoError(t, d.text(raw, func() { before++ }))
		require.NoError(t, ours.Close())
		require.Equal(t, 1, before)
		require.True(t, bytes.HasSuffix(<-got, []byte("\r\n.\r\n")) || n == 0)
	}
}
