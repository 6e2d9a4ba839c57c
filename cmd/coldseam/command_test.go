package main

import (
	"bytes"
	"encoding/json"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/alecthomas/kong"
	"github.com/stretchr/testify/require"

	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/store/storetest"
)

// call runs the command line as main does.
func call(t *testing.T, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, errs bytes.Buffer
	code = execute(t.Context(), args, &out, &errs)
	return code, out.String(), errs.String()
}

// A duration in the log is one that a person reads.
func TestLogIsForPeopleToo(t *testing.T) {
	t.Parallel()
	var b bytes.Buffer
	env.NewLogger(&b, slog.LevelInfo).Info("fetched", "dur", 1234567890*time.Nanosecond)
	require.Contains(t, b.String(), `"dur":"1.235s"`)
}

// realData is the folder of real documents and records, "" when it is not set.
func realData(t *testing.T) string {
	t.Helper()
	dir := os.Getenv("COLDSEAM_REAL_DATA")
	if dir == "" {
		t.Skip("COLDSEAM_REAL_DATA is not set: real records not read")
	}
	_, err := os.ReadDir(filepath.Join(dir, "series"))
	require.NoError(t, err)
	return dir
}

func TestParseCommand(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	wml := filepath.Join(dir, "a.xml")
	require.NoError(t, os.WriteFile(wml, []byte(`<?xml version="1.0"?>
<wml2:MeasurementTimeseries xmlns:wml2="http://www.opengis.net/waterml/2.0" xmlns:xlink="http://www.w3.org/1999/xlink" xmlns:gml="http://www.opengis.net/gml/3.2" gml:id="x">
<wml2:defaultPointMetadata><wml2:DefaultTVPMeasurementMetadata><wml2:uom code="ft3/s"/></wml2:DefaultTVPMeasurementMetadata></wml2:defaultPointMetadata>
<wml2:point><wml2:MeasurementTVP><wml2:time>2026-04-18T04:00:00Z</wml2:time><wml2:value>100</wml2:value></wml2:MeasurementTVP></wml2:point>
<wml2:point><wml2:MeasurementTVP><wml2:time>2026-04-18T05:00:00Z</wml2:time><wml2:value/></wml2:MeasurementTVP></wml2:point>
</wml2:MeasurementTimeseries>`), 0o600))

	code, out, errs := call(t, "parse", "--json", wml)
	require.Zero(t, code, errs)
	var d parsedDocument
	require.NoError(t, json.Unmarshal([]byte(out), &d))
	require.Equal(t, "waterml2", d.Format)
	require.NotNil(t, d.Series)
	require.NotNil(t, d.Alerts)
	require.NotNil(t, d.Skipped)

	bad := filepath.Join(dir, "b.xml")
	require.NoError(t, os.WriteFile(bad, []byte("<html><body>\nService unavailable</body></html>"), 0o600))
	code, out, errs = call(t, "parse", "--json", bad)
	require.Equal(t, 1, code)
	require.Empty(t, out)
	require.Contains(t, errs, "b.xml")
	require.Equal(t, 1, bytes.Count([]byte(errs), []byte("\n")), "one line: %q", errs)

	code, _, errs = call(t, "parse", filepath.Join(dir, "none.xml"))
	require.Equal(t, 2, code)
	require.Contains(t, errs, "none.xml")
	code, _, errs = call(t, "parse", "--unit", "furlongs", wml)
	require.Equal(t, 2, code)
	require.Contains(t, errs, `unit "furlongs" fits no parameter`)
}

// parse prints all that was decided: links, what is repeated, what is left out
// and why, where the unit of a forecast came from.
func TestParseTellsAllThatWasDecided(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	read := func(name, text string) string {
		path := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
		code, out, errs := call(t, "parse", path)
		require.Zero(t, code, errs)
		return out
	}

	row := func(at, value string) string {
		return `{"type":"Feature","geometry":null,"properties":{"monitoring_location_id":"NG-1","parameter_code":"00065",
"time_series_id":"a1","statistic_id":"00011","time":"` + at + `","value":"` + value + `","unit_of_measure":"ft"}}`
	}
	out := read("a.json", `{"type":"FeatureCollection","features":[`+
		row("2026-04-10T06:00:00Z", "1")+","+row("2026-04-10T06:00:00Z", "1")+","+
		row("2026-04-10T07:00:00Z", "2")+","+row("2026-04-10T07:00:00Z", "3")+
		`],"links":[{"rel":"next","href":"https://agency.example/items?cursor=2"}]}`)
	for _, want := range []string{"stage instant (series a1): 1 values, 0 missing, 1 repeated",
		"two values of one time in the document (conflict, 2)", "goes on at https://agency.example/items?cursor=2"} {
		require.Contains(t, out, want)
	}

	out = read("b.json", `{"type":"Coverage","domain":{"type":"Domain","axes":{"x":{"values":[10]},"y":{"values":[60]},
"t":{"values":["2026-04-10T06:00:00Z"]}}},"parameters":{"air_temperature":{"type":"Parameter",
"observedProperty":{"label":{"en":"air temperature"}},"unit":{"symbol":"Cel"}}},
"ranges":{"air_temperature":{"type":"NdArray","axisNames":["t"],"shape":[1],"values":[4]}}}`)
	require.Contains(t, out, `air_temp instant, forecast: 1 values, 0 missing, 2026-04-10T06:00:00Z to 2026-04-10T06:00:00Z, `+
		`found in "Cel", kept in degC`)
}

// The walk-through of docs/feeds.md: a new service by configuration alone gives
// what the page prints.
func TestNewServiceByConfigurationAlone(t *testing.T) {
	t.Parallel()
	page, err := os.ReadFile("../../docs/feeds.md")
	require.NoError(t, err)
	block := func(kind string) string {
		_, rest, ok := strings.Cut(string(page), "```"+kind+"\n")
		require.True(t, ok, kind)
		text, _, _ := strings.Cut(rest, "```")
		return text
	}
	config, err := os.ReadFile("../internal/setup/coldseam.toml")
	require.NoError(t, err)
	dir := t.TempDir()
	toml, answer := filepath.Join(dir, "coldseam.toml"), filepath.Join(dir, "answer.json")
	require.NoError(t, os.WriteFile(toml, append(config, block("toml")...), 0o600))
	require.NoError(t, os.WriteFile(answer, []byte(block("json")), 0o600))
	code, out, errs := call(t, "--config", toml, "parse", "--profile", "mill-rivers", answer)
	require.Zero(t, code, errs)
	require.Equal(t, block("text"), out)
}

func TestUnknownCommandIsStatusTwo(t *testing.T) {
	t.Parallel()
	code, _, errs := call(t, "prase")
	require.Equal(t, 2, code)
	require.Contains(t, errs, "prase")
}

// smallConfig writes a configuration on a database of the test's own. The
// environment variable keeps it from starting a private Postgres.
func smallConfig(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "coldseam.toml")
	require.NoError(t, os.WriteFile(path,
		[]byte("database_url = \""+storetest.URL(t)+"\"\npublic_url = \"https://x.example.org\"\n"+
			"[club]\nname = \"Club\"\nzone = \"America/Chicago\"\n[mail]\nsmtp = \"127.0.0.1:25\"\ntls = \"none\"\nlist_id = \"x.example.org\"\n"), 0o600))
	return path
}

func jsonNumber(v float64) string {
	b, err := json.Marshal(v)
	if err != nil {
		panic(err)
	}
	return string(b)
}

func TestRecapCommandLine(t *testing.T) {
	t.Parallel()
	code, _, errs := call(t, "recap", "oops")
	require.Equal(t, 2, code)
	require.Contains(t, errs, "only with --sql")
}

// An answer that names neither its station nor its endpoint is read with both given,
// and its flood levels are told.
func TestParseOfAnEndpoint(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	shipped, err := os.ReadFile("../../deploy/profiles.toml")
	require.NoError(t, err)
	toml, answer := filepath.Join(dir, "c.toml"), filepath.Join(dir, "a.json")
	require.NoError(t, os.WriteFile(toml, append([]byte("[club]\nname = \"Our Club\"\nzone = \"UTC\"\n"), shipped...), 0o600))
	require.NoError(t, os.WriteFile(answer, []byte(`{"lid":"MILT1","usgsId":"0999","flood":{"stageUnits":"ft",
		"flowUnits":"cfs","categories":{"minor":{"stage":10,"flow":-9999},"action":{"stage":-9999,"flow":-9999}}}}`), 0o600))
	code, out, errs := call(t, "--config", toml, "parse", "--profile", "us-river-forecast/flood_levels", "--site", "MILT1", answer)
	require.Zero(t, code, errs)
	require.Contains(t, out, `NWPS:MILT1 flood level minor: stage 3.048 m, told of gauge "0999"`)
	code, _, errs = call(t, "--config", toml, "parse", "--profile", "us-river-forecast/flood_levels", answer)
	require.Equal(t, 1, code)
	require.Contains(t, errs, "no site")
	code, _, _ = call(t, "--config", toml, "parse", "--profile", "us-river-forecast/tides", answer)
	require.Equal(t, 2, code)
}

// The configuration of a package stands in for a default alone: whoever names a
// file gets that one or an error.
func TestANamedConfigurationIsNeverReplaced(t *testing.T) {
	parse := func(args ...string) bool {
		var c cli
		parser, err := kong.New(&c, kong.Name("coldseam"))
		require.NoError(t, err)
		k, err := parser.Parse(args)
		require.NoError(t, err)
		return given(k)
	}
	require.False(t, parse("serve"))
	require.True(t, parse("serve", "--config", "coldseam.toml"))
	require.True(t, parse("--config=coldseam.toml", "subscriber", "list"))
	t.Setenv("COLDSEAM_CONFIG", "coldseam.toml")
	require.True(t, parse("serve"))
}
