package doctor

import (
	"bytes"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/feeds"
	"example.org/coldseam/ingest"
)

// contractBench is a club with one service of records of its own, which answers
// what the test says, and that the club has read once. asked is from when it was
// asked last.
func contractBench(t *testing.T) (k *checker, answers func(string), asked func() string) {
	t.Helper()
	v := clubtest.New(t, nil)
	answer, from := "", ""
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("X-Ratelimit-Remaining", "77")
		w.Header().Set("Set-Cookie", "id=secret")
		from = r.URL.Query().Get("from")
		if strings.HasPrefix(answer, "/") {
			http.Redirect(w, r, answer, http.StatusFound)
			return
		}
		if answer == "" {
			w.WriteHeader(http.StatusServiceUnavailable)
			return
		}
		_, _ = io.WriteString(w, strings.ReplaceAll(answer, "NOW", v.Now().Add(-time.Hour).UTC().Format(time.RFC3339)))
	}))
	t.Cleanup(srv.Close)
	key := filepath.Join(t.TempDir(), "key")
	require.NoError(t, os.WriteFile(key, []byte("k-77-secret\n"), 0o600))
	v.Config.Profiles = []ingest.Profile{{Name: "mill", Format: ingest.FormatRecords, BaseURL: srv.URL, Path: "/{site}",
		PrivateHosts: []string{"127.0.0.1"}, RatePerHour: 3600, KeyHeader: "X-Key", KeyFile: key, MaxAge: ingest.Span(6 * time.Hour),
		Query: map[string]string{"from": "{since}", "n": "{limit}"}, Licence: "CC BY 4.0",
		Records: &ingest.Records{Require: []string{"$.rows"}, Levels: []string{"$.rows[*]"}, Site: "{site}",
			Values: []ingest.RecordValue{{Parameter: "=stage", Value: "$.v", Time: "$.t", Unit: "^$.unit", Qualifier: "$.q"}}}}}
	v.Config.Sites = []config.Site{{ID: "mill:T7", Provider: "mill", Code: "T7", Name: "Mill", Zone: "UTC",
		Params: []string{"stage"}}}
	v.Config.Reaches = nil
	v.Feeds.Fetcher.Profiles = v.Config.Placed()
	require.NoError(t, v.SyncRivers(t.Context()))

	answer = `{"unit":"cm","rows":[{"t":"NOW","v":131,"q":"raw","extra":null}]}`
	_, err := v.Feeds.FetchAll(t.Context())
	require.NoError(t, err)
	return &checker{cfg: v.Config, app: v.Parts, now: v.Now}, func(s string) { answer = s }, func() string { return from }
}

// Same, additive, changed, silent and no answer are told apart; a case is written
// without the key.
func TestContract(t *testing.T) {
	t.Parallel()
	k, answers, _ := contractBench(t)
	dir := t.TempDir()
	for _, c := range []struct{ answer, level, says string }{
		{`{"unit":"cm","rows":[{"t":"NOW","v":140,"q":"raw","extra":"x"}]}`, LevelOK, "the same: 1 rows, shape "},
		{`{"unit":"cm","rows":[{"t":"NOW","v":140,"q":"raw","extra":1,"other":2}]}`, LevelOK, "additive: rows[].other is new"},
		{`{"unit":"cm","rows":[{"t":"NOW","v":140,"state":"raw"}]}`, LevelFail, "rows[].q is gone; new there: rows[].state"},
		{`{"unit":"cm","rows":[{"t":"NOW","v":"140","q":"raw"}]}`, LevelFail, "rows[].v is text, was number"},
		{`{"unit":"m","rows":[{"t":"NOW","v":1.4,"q":"raw"}]}`, LevelFail, `stage is in "m", was "cm"`},
		{`{"unit":"ell","rows":[{"t":"NOW","v":1.4,"q":"raw"}]}`, LevelFail, `unit "ell" is unknown`},
		{`{"unit":"cm","rows":[{"t":"NOW","level":140,"q":"raw"}]}`, LevelFail, "stands in none of 1 records"},
		{`{"data":[]}`, LevelFail, "is not there"},
		{`{"error":{"code":"GONE","message":"moved, k-77-secret"}}`, LevelFail, "changed: "},
		{`<html>moved</html>`, LevelFail, "not JSON"},
		{`{"unit":"cm","rows":[]}`, levelWarn, "silent: no rows"},
		{`{"unit":"cm","rows":[{"t":"2026-04-01T00:00:00Z","v":140,"q":"raw"}]}`, levelWarn, "the newest value is"},
		{``, levelWarn, "no answer"},
	} {
		answers(c.answer)
		k.lines = nil
		k.contracts(t.Context(), "mill", dir)
		require.Len(t, k.lines, 1, c.answer)
		require.Equal(t, c.level, k.lines[0].Level, "%s %v", c.answer, k.lines)
		require.Contains(t, k.lines[0].Found, c.says)
		require.NotContains(t, fmt.Sprint(k.lines), "secret")
	}

	k.lines = nil
	k.contracts(t.Context(), "nobody", "")
	require.Equal(t, LevelFail, k.lines[0].Level)

	answers(`{"unit":"cm","rows":[{"t":"NOW","v":140,"q":"k-77-secret"}]}`)
	k.contracts(t.Context(), "", dir)
	all := ""
	for _, name := range []string{"request.txt", "response", "head.json", "want.json", "SOURCE"} {
		b, err := os.ReadFile(filepath.Join(dir, "mill", "main", name))
		require.NoError(t, err)
		all += string(bytes.ReplaceAll(b, []byte("k-77-secret"), []byte("THE KEY")))
	}
	require.NotContains(t, all, "secret")
	require.Regexp(t, `GET http://127.0.0.1:\d+/T7\?`, all)
	for _, want := range []string{`"v":140`, `"X-Ratelimit-Remaining"`, `"Value": 1.4`, "licence: CC BY 4.0", "sha256: "} {
		require.Contains(t, all, want)
	}
	require.NotContains(t, all, "THE KEY")
}

// What is refused on the way has no head: it is told and recorded all the same.
func TestContractOfAServiceThatMoved(t *testing.T) {
	t.Parallel()
	k, answers, _ := contractBench(t)
	answers("/moved")
	dir := t.TempDir()
	k.contracts(t.Context(), "mill", dir)
	require.Len(t, k.lines, 1)
	require.Equal(t, LevelFail, k.lines[0].Level, k.lines)
	b, err := os.ReadFile(filepath.Join(dir, "mill", "main", "want.json"))
	require.NoError(t, err)
	require.Contains(t, string(b), "redirects")
}

// Daily means have no row in two hours, and a gauging may be years old.
func TestContractAsksForRowsThatAreThere(t *testing.T) {
	t.Parallel()
	k, answers, asked := contractBench(t)
	f := feeds.Plan(k.cfg)[0]
	kept, err := k.app.Env.DB.NewestKept(t.Context())
	require.NoError(t, err)
	old := k.now().AddDate(-2, 0, 0).Format(time.RFC3339)
	answers(`{"unit":"cm","rows":[{"t":"` + old + `","v":131,"q":"raw","extra":null}]}`)

	for _, c := range []struct {
		safety bool
		says   string
	}{{true, "the newest value is"}, {false, "the same: 1 rows"}} {
		k.lines, f.Safety, f.Back = nil, c.safety, 30*env.Day
		k.contract(t.Context(), f, kept, "")
		require.Contains(t, k.lines[0].Found, c.says)
	}
	require.Equal(t, k.now().Add(-3*env.Day).UTC().Format(time.RFC3339), asked())
}
