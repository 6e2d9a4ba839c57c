//go:build !race

package recap_test

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/democlub"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/recap"
	"example.org/coldseam/cmd/internal/triplog"
	"example.org/coldseam/store"
)

// livedDays is how many mornings before the demo's the fixture lives through.
const livedDays = 14

// liveHarness lives through a fortnight before the demo's morning: each morning
// the feeds are fetched, the log of the day before is entered and the brief of the
// Tamsen is made from what is known then. Rivers, club and log are the demo's
// inventions.
func liveHarness(t *testing.T) *clubtest.Harness {
	t.Helper()
	v := clubtest.NewAt(t, democlub.Start.AddDate(0, 0, -livedDays))
	v.Join(t, "all@club.example.org", coldseam.Preferences{})
	_, err := v.Feeds.Backfill(t.Context(), democlub.Start.AddDate(-12, 0, 0), 20*env.Day, nil)
	require.NoError(t, err)

	for i := range livedDays + 1 {
		morning := clubtest.Saturday.Add(i - livedDays)
		v.Clock.Forward(democlub.Start.AddDate(0, 0, i-livedDays))
		_, err = triplog.Enter(t.Context(), v.Env, clubtest.LogUntil(morning))
		require.NoError(t, err)
		_, err = v.Feeds.FetchAll(t.Context())
		require.NoError(t, err)
		_, err = v.Morning.MakeBrief(t.Context(), v.ReachOf(t, "tamsen-bend"), morning)
		require.NoError(t, err)
	}

	v.Send(t, "04:45")
	return v
}

// recapText is the recap as text, by the command.
func recapText(t *testing.T, a *recap.Season, c recap.Command) string {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, c.With(t.Context(), &env.Streams{Out: &out, Err: &out}, a))
	return out.String()
}

// Whatever is given to psql, it connects as the reader or not at all.
func TestRecapSQLIsAlwaysTheReader(t *testing.T) {
	v := clubtest.New(t, nil)
	if _, err := v.Recap.FindPsql(); err != nil {
		require.Empty(t, os.Getenv("CI"), "no psql, and CI is set")
		t.Skip("no psql: recap --sql is not tried")
	}
	// What the environment says of another server or its first lines counts for nothing.
	rc := filepath.Join(t.TempDir(), "psqlrc")
	require.NoError(t, os.WriteFile(rc, []byte("SELECT 'theirs';\n"), 0o600))
	for k, x := range map[string]string{"PSQLRC": rc, "PGHOSTADDR": "127.0.0.9", "PGSERVICE": "nowhere", "PGOPTIONS": "-c role=none -c search_path=public",
		"PGUSER": "coldseam", "PGDATABASE": "postgres"} {
		t.Setenv(k, x)
	}
	const who = `SELECT session_user || ' ' || current_user || ' ' || (current_database() <> 'postgres')`
	ask := func(args ...string) (string, string, error) {
		var out, errs bytes.Buffer
		err := (&recap.Command{SQL: true, Args: args}).Psql(t.Context(), &env.Streams{Out: &out, Err: &errs}, v.Recap)
		return out.String(), errs.String(), err
	}
	const reader = store.Reader + " " + store.Reader + " true"

	for _, args := range [][]string{
		{"-Atc", who}, {"-At", "-c", who}, {"--no-align", "--tuples-only", "--command", who}, {"-AtvX=1", "-c", who},
		{"--expanded", "coldseam", "-Atc", who}, {"-AtF", ",", "-c", who}, {"-AtP", "null=none", "--command=" + who},
		{"-X", "-Atc", who}, {"-XAtc", who}, {"--no-psqlrc", "-Atc", who}, {"--no-ps", "-Atc", who}, {"-At", "-1", "-c", who},
	} {
		out, errs, err := ask(args...)
		require.NoError(t, err, "%v %s", args, errs)
		require.Contains(t, out, reader, args)
		require.NotContains(t, out, "theirs", args)
	}
	for _, args := range [][]string{
		{"-d", "user=coldseam"}, {"-d", "user=coldseam", "-c", who}, {"-duser=coldseam"}, {"-Atd", "user=coldseam"},
		{"--dbname", "user=coldseam"},
		{"--dbname=user=coldseam"}, {"--dbn=user=coldseam"}, {"-U", "coldseam"}, {"-Ucoldseam"}, {"-AtUcoldseam"},
		{"--username=coldseam"},
		{"--user", "coldseam"}, {"-h", "/tmp"}, {"--host=db"}, {"-p", "1"}, {"--port=1"}, {"-W"}, {"-w"},
		{"--password"}, {"--no-password"},
		{"coldseam"}, {"coldseam", "coldseam"}, {"postgres:///coldseam?user=coldseam"}, {"user=coldseam"},
		{"--", "user=coldseam"}, {"-v", "x=1", "coldseam"}, {"-l", "-U", "coldseam"},
		{"-o", "|id"}, {"-o|id"}, {"--output=|id"}, {"--output", "| id"}, {"-Ato", "|id", "-c", who},
		{"-v", "PROMPT1=%`id`"}, {"--set=PROMPT1=%`id`"}, {"--variable", "prompt2=x"},
	} {
		out, _, err := ask(args...)
		require.ErrorContains(t, err, "always season_reader", args)
		require.Empty(t, out, args)
	}

	// psql's own commands are off, by argument, from a file and within a statement.
	dir := t.TempDir()
	mark := filepath.Join(dir, "made")
	commands := []string{
		`\c - coldseam`, `\connect user=coldseam`, ` \C - coldseam`, `\c "dbname=postgres"`, `\c postgres`, `\connect -reuse-previous=on user=coldseam`,
		`\! touch ` + mark, `\o |touch ` + mark, `\copy band TO PROGRAM 'touch ` + mark + `'`, `\copy (SELECT 1) TO ` + mark,
		`SELECT 1 \g |touch ` + mark, `SELECT 'touch' \gexec`, "\\set x `touch " + mark + "`", `\setenv PGUSER coldseam`, `\i ` + rc, `\ir ` + rc,
		`\e`, `\w ` + mark, `\s ` + mark, `\unrestrict`, `\unrestrict x`, `\restrict x`, `\password`, `\lo_import ` + rc, `\if true`,
		`SELECT 1; \c - coldseam`, "SELECT 1 \\; SELECT 2 \\gx", `\prompt x`, `\getenv x HOME`, `\encoding SQL_ASCII`, `\pset pager always`,
	}
	for _, sql := range commands {
		out, _, err := ask("-At", "-c", sql)
		require.Error(t, err, "%s: %s", sql, out)
		file := filepath.Join(dir, "it.sql")
		require.NoError(t, os.WriteFile(file, []byte(sql+"\n;"+who+"|| :season;\n"), 0o600))
		out, errs, _ := ask("-At", "-f", file)
		require.Contains(t, errs, "restrict", sql)
		require.NotContains(t, out, "coldseam", sql)
		require.NoFileExists(t, mark, sql)
	}

	// Nor does SQL make anybody of the reader, nor show a file or another database.
	for _, sql := range []string{
		`SET ROLE coldseam`, `SET SESSION AUTHORIZATION coldseam`, `RESET SESSION AUTHORIZATION; SELECT * FROM coldseam.trip`,
		`SET search_path = coldseam; SELECT * FROM trip`, `SET default_transaction_read_only = off; CREATE TABLE season.x (a int)`,
		`COPY band TO PROGRAM 'id'`, `COPY band TO '` + mark + `'`, `SELECT pg_read_file('/etc/passwd')`, `CREATE EXTENSION dblink`,
		`SELECT * FROM coldseam.trip_condition`, `SELECT n_tup_ins FROM pg_stat_all_tables WHERE relname = 'trip'`,
		`ALTER ROLE season_reader SUPERUSER`, `SELECT pg_terminate_backend(1)`,
	} {
		out, _, err := ask("-At", "-v", "ON_ERROR_STOP=1", "-c", sql)
		require.Error(t, err, "%s: %s", sql, out)
		require.NoFileExists(t, mark, sql)
	}
}
