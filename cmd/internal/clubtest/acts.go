package clubtest

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/http"
	"net/mail"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/notify/brieftest"
	"example.org/coldseam/notify/smtptest"
	"example.org/coldseam/store"
)

// do runs one job as its worker would.
func (v *Harness) do(ctx context.Context, kind, raw string) error {
	switch kind {
	case "fetch":
		var a store.FetchArgs
		if err := json.Unmarshal([]byte(raw), &a); err != nil {
			return err
		}
		return v.App.FetchJob(ctx, a)
	case "brief":
		var a store.BriefArgs
		if err := json.Unmarshal([]byte(raw), &a); err != nil {
			return err
		}
		return v.App.BriefJob(ctx, a)
	case "upkeep":
		return v.App.MaintenanceJob(ctx, store.MaintenanceArgs{Day: coldseam.DateOf(v.Now().UTC())})
	case "mail":
		if _, err := v.Mail.Sender("job").Run(ctx, 50); !errors.Is(err, coldseam.ErrUnavailable) {
			return err
		}
	}

	return nil
}

// RunTick is one minute of a server: the tick, then every job it left, then the
// jobs that those left.
func (v *Harness) RunTick(t *testing.T) {
	t.Helper()
	ctx := t.Context()
	require.NoError(t, v.App.Tick(ctx, v.Now()))
	v.Work(t)
}

// Work does what the queue would, on this goroutine: fetches, briefs, mail.
func (v *Harness) Work(t *testing.T) {
	t.Helper()
	require.NoError(t, v.TryWork(t.Context()))
}

// TryWork is work under faults: what a job comes to is no reason to stop.
func (v *Harness) TryWork(ctx context.Context) error {
	var errs []error
	for range 5 {
		rows, err := v.DB.Pool().Query(ctx, `
			UPDATE river.river_job SET state = 'completed', finalized_at = now()
			WHERE state = 'available' RETURNING kind, args::text`)
		if err != nil {
			return errors.Join(append(errs, err)...)
		}

		type job struct{ Kind, Args string }
		jobs, err := pgx.CollectRows(rows, pgx.RowToStructByPos[job])
		if err != nil || len(jobs) == 0 {
			return errors.Join(append(errs, err)...)
		}

		for _, want := range []string{"fetch", "brief", "mail", "upkeep"} {
			for _, j := range jobs {
				if j.Kind == want {
					errs = append(errs, v.do(ctx, j.Kind, j.Args))
				}
			}
		}
	}

	return errors.Join(errs...)
}

// SendAll lets one worker empty the outbox.
func (v *Harness) SendAll(t *testing.T) {
	t.Helper()
	_, err := v.Mail.Sender("test").Run(t.Context(), 1000)
	require.NoError(t, err)
}

// ByMessage counts what the sink accepted by recipient and Message-ID: a mail
// twice is one key with two.
func ByMessage(t testing.TB, s *smtptest.Server) map[string]int {
	t.Helper()
	out := map[string]int{}
	for _, m := range s.Mails() {
		x, err := mail.ReadMessage(bytes.NewReader(m.Data))
		require.NoError(t, err)
		out[m.To[0]+" "+x.Header.Get("Message-Id")]++
	}
	return out
}

// Flood is a warning for Tamsen that was sent just before now.
func Flood(provider string, now time.Time) coldseam.Alert {
	return coldseam.Alert{
		Provider:   provider,
		Sender:     "northgauge",
		Identifier: "planted",
		Sent:       now.Add(-time.Minute),
		Status:     "Actual",
		MsgType:    "Alert",
		Event:      "Flood Warning",
		Severity:   "Severe",
		Urgency:    "Immediate",
		Certainty:  "Observed",
		From:       now.Add(-time.Minute),
		End:        now.Add(24 * time.Hour),
		GaugeCodes: []string{"TAMX1"},
		KnownAt:    now.Add(-time.Second),
	}
}

// Rewrite stores the readings of a gauge's last hours anew, as the agency does
// that revises them.
func (v *Harness) Rewrite(t *testing.T, site coldseam.SiteID, p coldseam.Parameter, hours float64,
	change func(*coldseam.Observation)) {
	t.Helper()
	ctx, now := t.Context(), v.Now()
	s, err := v.DB.History(ctx, site, p, coldseam.Instant, now.Add(-time.Duration(hours*float64(time.Hour))), now, now)
	require.NoError(t, err)
	require.NotEmpty(t, s.Obs)
	for i := range s.Obs {
		s.Obs[i].KnownAt = now
		change(&s.Obs[i])
	}
	_, _, err = v.DB.UpsertSeries(ctx, 0, []coldseam.Series{s})
	require.NoError(t, err)
}

func Codes(rs []coldseam.Reason) (out []string) {
	for _, r := range rs {
		out = append(out, r.Code)
	}
	return out
}

// OnTamsen is the sample's GO as Saturday's brief for the Tamsen, with three
// windows from 6:00, 7:30 and 9:00, of which the first is the best.
func OnTamsen(issued time.Time) coldseam.Brief {
	b := brieftest.Go()
	b.Reach, b.River, b.ReachName, b.Zone, b.Day = "tamsen-bend", "Tamsen", "Bend", "America/Chicago", Saturday
	old := b.Issued
	b.Issued, b.Inputs = issued, append([]coldseam.Input(nil), b.Inputs...)
	for i := range b.Inputs {
		b.Inputs[i].At = b.Inputs[i].At.Add(issued.Sub(old))
	}
	b.Windows, b.WindowI = nil, 0
	for i, odds := range []float64{.62, .58, .55} {
		s := MorningAt(6, 90*i)
		b.Windows = append(b.Windows, coldseam.Window{Start: s, End: s.Add(210 * time.Minute), Odds: odds,
			OddsOK: true})
	}
	b.Odds, b.GoodUntil = .62, b.Windows[0].End
	return b
}

// TellTamsen sends the mails of 4:46 on the Tamsen's GO of 4:40.
func (v *Harness) TellTamsen(t *testing.T) {
	t.Helper()
	v.QueueTamsen(t)
	v.SendAll(t)
}

func (v *Harness) QueueTamsen(t *testing.T) {
	t.Helper()
	v.Clock.Forward(MorningAt(4, 40))
	_, err := v.Mail.SaveWithCorrections(t.Context(), OnTamsen(v.Now()))
	require.NoError(t, err)
	v.Clock.Forward(MorningAt(4, 46))
	_, wait, err := v.Mail.QueueMornings(t.Context(), v.Now())
	require.NoError(t, err)
	require.Empty(t, wait)
}

// Three are the briefs of a morning: the Tamsen and the Hallam well, and the
// Brandt, which the tests harm. The Brandt has the least odds, so that it stands
// last.
func Three() []coldseam.Brief {
	var out []coldseam.Brief
	for i, r := range []struct {
		id          coldseam.ReachID
		river, name string
	}{{"tamsen-bend", "Tamsen", "Bend"}, {"hallam-sandbar", "Hallam", "Sandbar"}, {"brandt-ledge", "Brandt", "Ledge"}} {
		b := OnTamsen(MorningAt(4, 40))
		b.Reach, b.River, b.ReachName = r.id, r.river, r.name
		for k := range b.Windows {
			b.Windows[k].Odds -= .01 * float64(i)
		}
		b.Odds = b.Windows[0].Odds
		b.Stops = []coldseam.Reason{}
		out = append(out, b)
	}
	return out
}

var blockBegins = regexp.MustCompile(
	`^(?:(?:GO|TOSS-UP|STAY|STOP|NO CALL) (.*)|Fished the (.*?)\? Fish|(\S[^:\n]*): (?:hazards of|why|weight by|how, in|to measure|what this|rules|all cautions|other ways))`)

// A river's block of a mail's HTML begins with its name, under h1 or h2, and ends
// where the next one or the foot begins.
var (
	htmlBlock     = regexp.MustCompile(`<h[12][^>]*><span[^>]*>(Tamsen|Hallam|Brandt)</span>&ensp;`)
	htmlBlockEnds = regexp.MustCompile(
		`<table[^>]*style="margin:30px 0 16px"|<h2[^>]*>Still open|<p class="i2 r"`)
	imageNumber = regexp.MustCompile(`cid:[^"]*`)
)

// RiverBlocks are the parts of a mail's text that tell of one river, by its name.
func RiverBlocks(t *testing.T, raw []byte) map[string]string {
	t.Helper()
	m, err := mail.ReadMessage(bytes.NewReader(raw))
	require.NoError(t, err)
	out := map[string]string{}
	name := ""

	for _, line := range strings.SplitAfter(Text(t, m), "\n") {
		if m := blockBegins.FindStringSubmatch(line); m != nil {
			name = "other"
			for _, r := range []string{"Tamsen", "Hallam", "Brandt"} {
				if strings.HasPrefix(m[1]+m[2]+m[3], r) {
					name = r
				}
			}
		}

		if strings.HasPrefix(line, "Page: ") {
			name = "foot"
		}
		out[name] += line
	}

	m, err = mail.ReadMessage(bytes.NewReader(raw))
	require.NoError(t, err)
	page := HTMLPart(t, m.Header.Get, m.Body)
	for _, at := range htmlBlock.FindAllStringSubmatchIndex(page, -1) {
		block := page[at[1]:]
		if end := htmlBlockEnds.FindStringIndex(block); end != nil {
			block = block[:end[0]]
		}
		block = imageNumber.ReplaceAllString(strings.ReplaceAll(block, "h1>", "h2>"), "cid:chart")
		out["html "+page[at[2]:at[3]]] += strings.TrimSpace(block)
	}

	require.NotEmpty(t, out["html Tamsen"])
	return out
}

// HTMLPart is the HTML of a mail.
func HTMLPart(t *testing.T, head func(string) string, body io.Reader) string {
	t.Helper()
	kind, params, err := mime.ParseMediaType(head("Content-Type"))
	require.NoError(t, err)
	if kind == "text/html" {
		require.Equal(t, "quoted-printable", head("Content-Transfer-Encoding"))
		b, err := io.ReadAll(quotedprintable.NewReader(body))
		require.NoError(t, err)
		return string(b)
	}

	if !strings.HasPrefix(kind, "multipart/") {
		return ""
	}
	parts := multipart.NewReader(body, params["boundary"])
	for {
		p, err := parts.NextRawPart()
		if err == io.EOF {
			return ""
		}
		require.NoError(t, err)
		if s := HTMLPart(t, p.Header.Get, p); s != "" {
			return s
		}
	}
}

func HealthOK(addr string) bool {
	res, err := (&http.Client{Timeout: 12 * time.Second}).Get("http://" + addr + "/healthz")
	if err != nil {
		return false
	}
	_ = res.Body.Close()
	return res.StatusCode == http.StatusOK
}
