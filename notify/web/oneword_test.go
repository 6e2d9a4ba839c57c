package web

import (
	"encoding/json"
	"io"
	netmail "net/mail"
	"regexp"
	"strings"
	"testing"

	"github.com/emersion/go-message/mail"
	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"example.org/coldseam"
	"example.org/coldseam/notify"
	"example.org/coldseam/notify/brieftest"
)

const anyWord = `(NO CALL|TOSS-UP|STAY|STOP|GO)`

// One morning has one word, wherever it is read: subject, text and HTML of the
// mail, board, page of the river, command line, JSON, calendar.
func TestOneWordOnEverySurface(t *testing.T) {
	t.Parallel()
	first := func(where, pattern, s string) string {
		m := regexp.MustCompile(pattern).FindStringSubmatch(s)
		require.NotNil(t, m, "%s: no word in %.2000s", where, s)
		return m[1]
	}

	for _, b := range brieftest.All() {
		m := newMemory()
		m.briefs = []coldseam.Brief{b}
		p := m.subs[7].Prefs
		p.Reaches = []coldseam.ReachID{b.Reach}
		sub := m.subs[7]
		sub.Prefs = p
		m.subs[7] = sub
		h := testHandler(t, m)

		payload, err := notify.Content{Club: "Club", Briefs: []coldseam.Brief{b}}.Marshal()
		require.NoError(t, err)
		c := &notify.Composer{
			Links:        testLinks(),
			Club:         "Club",
			From:         netmail.Address{Address: "club@example.org"},
			Domain:       "example.org",
			BounceDomain: "bounce.example.org",
			Owner:        "keeper@example.org",
		}
		letter, err := c.Compose(coldseam.OutboxMessage{
			ID:         1,
			Kind:       coldseam.MailMorning,
			LocalDate:  b.Day,
			CreatedAt:  clock(),
			Payload:    payload,
			Subscriber: sub,
		}, nil)
		require.NoError(t, err)
		r, err := mail.CreateReader(strings.NewReader(string(letter.Bytes)))
		require.NoError(t, err)
		subject, err := r.Header.Subject()
		require.NoError(t, err)

		var parts []string
		for {
			part, err := r.NextPart()
			if err == io.EOF {
				break
			}
			require.NoError(t, err)
			raw, err := io.ReadAll(part.Body)
			require.NoError(t, err)
			parts = append(parts, string(raw))
		}

		raw, err := json.Marshal(b)
		require.NoError(t, err)
		page := func(path string) string {
			body := get(h, path).Body.String()
			for _, n := range all(parse(t, body), func(n *html.Node) bool {
				return attr(n, "class") == "say" || strings.HasPrefix(attr(n, "class")+" ", "v ")
			}) {
				return first(path, anyWord, text(n))
			}
			require.Fail(t, "no word", "%s: %s", path, body)
			return ""
		}

		got := map[string]string{
			"subject":      first("subject", `^`+anyWord+`\b`, subject),
			"text":         first("text", `(?m)^`+anyWord+`\b`, parts[0]),
			"html":         first("html", `>`+anyWord+`</p>`, parts[1]),
			"command line": first("brief", `(?m)^`+anyWord+`\b`, strings.Join(notify.Text(b, p), "\n")),
			"json":         first("json", `"Verdict":"`+anyWord+`"`, string(raw)),
			"calendar": first("calendar", `SUMMARY:(?:[^\r\n]*: )?`+anyWord,
				get(h, "/river/"+string(b.Reach)+"/calendar.ics").Body.String()),
			"river page": page("/river/" + string(b.Reach)),
			"board":      page("/"),
		}

		for where, word := range got {
			require.Equal(t, b.Verdict.String(), word, where)
		}
	}
}
