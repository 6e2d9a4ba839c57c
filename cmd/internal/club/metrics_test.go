package club_test

import (
	"net/http/httptest"
	"os"
	"os/exec"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/store"
)

// scrape is what a monitor reads.
func scrape(t *testing.T, v *clubtest.Harness) string {
	t.Helper()
	w := httptest.NewRecorder()
	v.App.MetricsHandler().ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
	require.Equal(t, 200, w.Code, w.Body.String())
	return w.Body.String()
}

// scraped is the value of one line of a scrape.
func scraped(t *testing.T, scrape, line string) float64 {
	t.Helper()
	m := regexp.MustCompile(`(?m)^` + regexp.QuoteMeta(line) + ` (\S+)$`).FindStringSubmatch(scrape)
	require.NotNil(t, m, "no line %s in:\n%s", line, scrape)
	x, err := strconv.ParseFloat(m[1], 64)
	require.NoError(t, err)
	return x
}

// Every metric that an alert rule names is there in a running club, and so are
// the kinds that the rules choose by label.
func TestAlertsNameRealMetrics(t *testing.T) {
	t.Parallel()
	v := clubtest.New(t, nil)
	_, err := v.Feeds.FetchAll(t.Context())
	require.NoError(t, err)
	require.NoError(t, v.App.Tick(t.Context(), v.Now()))
	body := scrape(t, v)
	rules, err := os.ReadFile("../../../deploy/alerts.yml")
	require.NoError(t, err)
	names := regexp.MustCompile(`\b(coldseam|process|go)_[a-z_]+`).FindAllString(string(rules), -1)
	require.Greater(t, len(names), 10)
	for _, n := range names {
		require.Contains(t, body, "# TYPE "+n+" ")
	}
	for _, m := range regexp.MustCompile(`(kind)="([a-z]+)"`).FindAllStringSubmatch(string(rules), -1) {
		require.Contains(t, body, m[0])
	}
}

// A value that is a Unix time says so in its name.
func TestMetricNames(t *testing.T) {
	t.Parallel()
	v := clubtest.New(t, nil)
	_, err := v.Feeds.FetchAll(t.Context())
	require.NoError(t, err)
	require.NoError(t, v.App.Tick(t.Context(), v.Now()))
	body := scrape(t, v)
	for _, m := range regexp.MustCompile(`(?m)^(coldseam_\w+)(?:\{.*\})? (\S+)$`).FindAllStringSubmatch(body, -1) {
		x, err := strconv.ParseFloat(m[2], 64)
		require.NoError(t, err)
		if strings.HasSuffix(m[1], "_seconds") && x > 1e9 {
			require.True(t, strings.HasSuffix(m[1], "_timestamp_seconds"), m[0])
		}
	}

	for _, kind := range regexp.MustCompile(`(?m)^# TYPE (\w+) counter$`).FindAllStringSubmatch(body, -1) {
		if strings.HasPrefix(kind[1], "coldseam_") {
			require.True(t, strings.HasSuffix(kind[1], "_total"), kind[1])
		}
	}
	for _, want := range []string{"go_goroutines", "go_build_info", "process_start_time_seconds"} {
		require.Contains(t, body, "# TYPE "+want+" ")
	}
	require.NotContains(t, body, "@")
}

// What a scrape says of the club is what the club does.
func TestMetricsFollowTheClub(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	v := clubtest.New(t, nil)
	_, err := v.Feeds.FetchAll(ctx)
	require.NoError(t, err)
	require.NoError(t, v.App.Tick(ctx, v.Now()))
	body := scrape(t, v)
	require.Equal(t, 1.0, scraped(t, body, "coldseam_database_up"))
	require.Equal(t, 0.0, scraped(t, body, "coldseam_mail_hold"))
	require.Positive(t, scraped(t, body, `coldseam_queue_jobs{queue="fetch",state="available"}`))
	require.InDelta(t, v.Now().Unix(),
		scraped(t, body, `coldseam_newest_value_timestamp_seconds{kind="warnings",parameter="",source="northgauge-cap"}`), 3600)
	require.InDelta(t, v.Now().Unix(),
		scraped(t, body, `coldseam_newest_value_timestamp_seconds{kind="weather",parameter="gust",source="metgrid:NG-1001"}`), 12*3600)

	const gauge = `coldseam_newest_value_timestamp_seconds{kind="gauge",parameter="discharge",source="northgauge:NG-1001"}`
	before := scraped(t, body, gauge)
	_, err = v.DB.Pool().Exec(ctx, `
		WITH s AS (SELECT series_id FROM coldseam.series WHERE site_id = 'northgauge:NG-1001' AND param = 'discharge' AND stat = 'instant')
		UPDATE coldseam.latest SET value = NULL, valid_at = valid_at + interval '1 hour' WHERE series_id IN (SELECT series_id FROM s)`)
	require.NoError(t, err)
	require.NoError(t, v.DB.Hold(ctx, store.Edit{Who: "keeper", Why: "gauge looks wrong"}))
	body = scrape(t, v)
	require.Equal(t, before, scraped(t, body, gauge), "a row without a value is silence")
	require.Equal(t, 1.0, scraped(t, body, "coldseam_mail_hold"))

	v.DB.Close()
	require.Equal(t, 0.0, scraped(t, scrape(t, v), "coldseam_database_up"))
}

// Prometheus reads the rules, and they fire.
func TestAlertRulesPassTheirOwnTool(t *testing.T) {
	t.Parallel()
	tool, err := exec.LookPath("promtool")
	if err != nil {
		t.Skip("no promtool (Debian package prometheus): the rules are not checked")
	}
	out, err := exec.Command(tool, "check", "rules", "../../../deploy/alerts.yml").CombinedOutput()
	require.NoError(t, err, string(out))
	out, err = exec.Command(tool, "test", "rules", "../../../deploy/alerts_test.yml").CombinedOutput()
	require.NoError(t, err, string(out))

	rules, err := os.ReadFile("../../../deploy/alerts.yml")
	require.NoError(t, err)
	cases, err := os.ReadFile("../../../deploy/alerts_test.yml")
	require.NoError(t, err)
	for _, m := range regexp.MustCompile(`alert: (\w+)`).FindAllStringSubmatch(string(rules), -1) {
		require.Contains(t, string(cases), `alertname="`+m[1]+`",alertstate="firing"`)
	}
}
