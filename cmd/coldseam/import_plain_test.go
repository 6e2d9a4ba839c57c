//go:build !race

package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/waterml"
	"example.org/coldseam/store"
)

// longRecord is a WaterML 2 document with n quarter-hourly stages of a gauge;
// every thousandth is a spike.
func longRecord(n int) []byte {
	var b bytes.Buffer
	b.WriteString(`<w:Collection xmlns:w="http://www.opengis.net/waterml/2.0" xmlns:om="http://www.opengis.net/om/2.0" xmlns:gml="http://www.opengis.net/gml/3.2" xmlns:xlink="http://www.w3.org/1999/xlink">
<w:observationMember><om:OM_Observation gml:id="o"><om:observedProperty xlink:title="Water Course Level"/>
<om:featureOfInterest><w:MonitoringPoint gml:id="p"><gml:identifier codeSpace="x">TM-9</gml:identifier><gml:name>Tamsen at the mill</gml:name></w:MonitoringPoint></om:featureOfInterest>
<om:result><w:MeasurementTimeseries gml:id="t"><w:defaultPointMetadata><w:DefaultTVPMeasurementMetadata><w:uom code="m"/></w:DefaultTVPMeasurementMetadata></w:defaultPointMetadata>
`)
	at := time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC)
	for i := range n {
		v := 1.5 + float64(i%97)/500
		if i%1000 == 500 {
			v += 4
		}
		fmt.Fprintf(&b, "<w:point><w:MeasurementTVP><w:time>%s</w:time><w:value>%.3f</w:value></w:MeasurementTVP></w:point>\n", at.Format(time.RFC3339), v)
		at = at.Add(15 * time.Minute)
	}
	b.WriteString(`</w:MeasurementTimeseries></om:result></om:OM_Observation></w:observationMember></w:Collection>`)
	return b.Bytes()
}

// A document beyond the size of a feed's answer is read in pieces, and gives
// the same table as if it were read at once: also the flags of the values at
// the seams. A cut one stores nothing.
func TestImportOfALongRecord(t *testing.T) {
	t.Parallel()
	const n = 90_000 // above the cap of a feed's answer, and more than two intakes
	body := longRecord(n)
	require.Greater(t, len(body), ingest.DefaultMaxBody)
	conf := smallConfig(t)
	file := filepath.Join(t.TempDir(), "tamsen.xml")
	write := func(b []byte) { require.NoError(t, os.WriteFile(file, b, 0o600)) }

	write(body[:len(body)-60])
	code, out, errs := call(t, "import", "--config", conf, file)
	require.Equal(t, 1, code, errs)
	require.Contains(t, out, "tamsen.xml: refused: ")
	write(body)
	code, out, errs = call(t, "import", "--config", conf, "--dry-run", file)
	require.Zero(t, code, errs)
	require.Contains(t, out, "waterml2, 1 series, 90000 values, 2020-01-01 to 2022-07-26; dry run, nothing stored")

	code, out, errs = call(t, "import", "--config", conf, file)
	require.Zero(t, code, errs+out)
	require.Contains(t, out, "90000 values", "nothing was left of the cut file")
	require.Contains(t, out, "; 90000 new, 0 revised")
	code, out, errs = call(t, "import", "--config", conf, file)
	require.Zero(t, code, errs)
	require.Contains(t, out, "; 0 new, 0 revised")

	b, err := waterml.Parse(bytes.NewReader(body), ingest.Profile{Name: "file", MaxBodyBytes: 1 << 30})
	require.NoError(t, err)
	want := ingest.Check(b.Series[0], ingest.SiteLimits{}, time.Now()).Obs
	cfg, err := config.Load(conf)
	require.NoError(t, err)
	db, err := store.Open(t.Context(), cfg.DatabaseURL, store.Options{})
	require.NoError(t, err)
	defer db.Close()

	s, err := db.History(t.Context(), "file:TM-9", coldseam.Stage, b.Series[0].Stat, time.Time{}, time.Time{},
		time.Now())
	require.NoError(t, err)
	require.Len(t, s.Obs, n)
	spikes := 0
	for i, o := range s.Obs {
		if w := want[i]; !w.At.Equal(o.At) || w.Value != o.Value || w.Flag != o.Flag {
			t.Fatalf("row %d: %v %v %v, want %v %v %v", i, o.At, o.Value, o.Flag.Names(), w.At, w.Value, w.Flag.Names())
		}
		if o.Flag&coldseam.QCSpike != 0 {
			spikes++
		}
	}

	require.Equal(t, n/1000, spikes)
	site, err := db.Site(t.Context(), "file:TM-9")
	require.NoError(t, err)
	require.Equal(t, "Tamsen at the mill", site.Name)
	ages, err := db.FeedAges(t.Context())
	require.NoError(t, err)
	require.Empty(t, ages, "a file never makes a feed look alive")
}

// The rating of a gauge that reports stage alone gives it discharge: for what
// is stored, and from then on; beyond its end it says so.
func TestImportOfARating(t *testing.T) {
	t.Parallel()
	conf := smallConfig(t)
	dir := t.TempDir()
	write := func(name, text string) string {
		p := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(p, []byte(text), 0o600))
		return p
	}
	stages := write("stages.xml", string(longRecord(600)))
	code, _, errs := call(t, "import", "--config", conf, stages)
	require.Zero(t, code, errs)

	rating := write("rating.csv", "# made by hand\nstage_ft,discharge_cfs\n1,100\n3.28083989501312,1000\n6,4000\n")
	args := []string{"import", "--config", conf, "--rating", "--site", "file:TM-9", "--since", "2020-01-02", rating}
	code, out, errs := call(t, append(args, "--dry-run")...)
	require.Zero(t, code, errs+out)
	require.Contains(t, out, "3 pairs, stage 0.30 to 1.83 m, 2.832 to 113.3 m3/s; dry run, nothing stored")
	code, out, errs = call(t, args...)
	require.Zero(t, code, errs+out)
	require.Contains(t, out, "504 discharges new, 0 revised")
	code, out, errs = call(t, args...)
	require.Zero(t, code, errs+out)
	require.Contains(t, out, "0 discharges new, 0 revised")

	cfg, err := config.Load(conf)
	require.NoError(t, err)
	db, err := store.Open(t.Context(), cfg.DatabaseURL, store.Options{})
	require.NoError(t, err)
	defer db.Close()

	stat := coldseam.Statistic("")
	list, err := db.SeriesList(t.Context(), "file:TM-9")
	require.NoError(t, err)
	for _, x := range list {
		if x.Param == coldseam.Discharge {
			stat = x.Stat
			require.True(t, strings.HasPrefix(x.SeriesRef, ingest.RatingRef))
		}
	}

	s, err := db.History(t.Context(), "file:TM-9", coldseam.Discharge, stat, time.Time{}, time.Time{}, time.Now())
	require.NoError(t, err)
	require.Len(t, s.Obs, 504)
	for i, o := range s.Obs {
		require.NotZero(t, o.Flag&coldseam.Estimated)
		require.Equal(t, i == 500-96, o.Flag&coldseam.Missing != 0, "the spike in the stage gives no discharge: %v", o)
	}

	for text, want := range map[string]string{
		"stage,discharge\n1,2\n":               `column "stage"`,
		"stage_m\n1\n":                         "want stage_m or stage_ft, and",
		"stage_m,discharge_m3s\n1,2\n":         "1 stages, 1 discharges",
		"stage_m,discharge_m3s\n1,2\n2,1\n":    "not increasing",
		"stage_m,discharge_m3s\n1,2\n2,lots\n": "line 3: want two decimals",
		"stage_m,discharge_m3s\n1,2\n2,3,4\n":  "wrong number of fields",
	} {
		code, out, _ = call(t, "import", "--config", conf, "--rating", "--site", "file:TM-9", "--since", "2020-01-02",
			write("bad.csv", text))
		require.Equal(t, 1, code, text)
		require.Contains(t, out, want)
	}

	_, out, _ = call(t, "import", "--config", conf, "--rating", "--site", "file:TM-9", rating)
	require.Contains(t, out, `--since is ""`)
	_, out, _ = call(t, "import", "--config", conf, "--rating", "--since", "2020-01-02", rating)
	require.Contains(t, out, `--site is ""`)
}

// A table that is cut within a line stores nothing: a number cut in two is
// still a number. Between two lines nothing can be told, as in any text.
func TestImportOfACutTable(t *testing.T) {
	t.Parallel()
	conf := smallConfig(t)
	whole := "date,flow_m3s\n2026-01-01,12.5\n2026-01-02,13.5\n"
	file := filepath.Join(t.TempDir(), "x.csv")
	args := []string{"import", "--config", conf, "--site", "own:1", "--zone", "UTC", "--dry-run", file}
	for n := 1; n < len(whole); n += 5 {
		require.NoError(t, os.WriteFile(file, []byte(whole[:n]), 0o600))
		code, out, _ := call(t, args...)
		if code == 0 {
			require.True(t, strings.HasSuffix(whole[:n], "\n"), "%q: %s", whole[:n], out)
		} else {
			require.Contains(t, out, "refused")
		}
	}

	require.NoError(t, os.WriteFile(file, []byte(strings.TrimSpace(whole)), 0o600))
	code, out, _ := call(t, args...)
	require.Equal(t, 1, code)
	require.Contains(t, out, "the file may be cut short")
	code, out, _ = call(t, append(args, "--open-end")...)
	require.Zero(t, code, out)
	require.Contains(t, out, "1 series, 2 values")
	require.Contains(t, out, "from 12.5 to 13.5")
}

// A daily mean belongs to its own day, a row that stands twice is told, and a
// table of another layout is pointed to --map.
func TestImportTellsWhatATableHolds(t *testing.T) {
	t.Parallel()
	conf := smallConfig(t)
	file := filepath.Join(t.TempDir(), "x.csv")
	try := func(text string) (int, string) {
		require.NoError(t, os.WriteFile(file, []byte(text), 0o600))
		code, out, _ := call(t, "import", "--config", conf, "--site", "own:1", "--zone", "America/Chicago", "--dry-run",
			file)
		return code, out
	}
	code, out := try("\"date\",\"flow_m3s\"\n2026-03-07,12.5\n2026-03-08,13.5\n2026-03-08,13.5\n")
	require.Zero(t, code, out)
	require.Contains(t, out, "values, 2026-03-07 to 2026-03-08")
	require.NotContains(t, out, "2026-03-09")
	require.Contains(t, out, "skipped line 4: says again what line 3 says")

	code, out = try("date,flow_m3s\n2026-03-08,13.5\n2026-03-08,14.5\n")
	require.Equal(t, 1, code)
	require.Contains(t, out, "first line 2: another value for the time of line 3")
	for _, head := range []string{"date;flow_m3s", "\"Datum\";\"Abfluss\"", "day,flow", "date\tflow_m3s"} {
		code, out = try(head + "\n2026-03-08;13,5\n")
		require.Equal(t, 1, code)
		require.Contains(t, out, "--map")
		require.NotContains(t, out, "no known format")
	}
}
