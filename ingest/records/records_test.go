package records_test

import (
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/BurntSushi/toml"
	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/ingesttest"
	"example.org/coldseam/ingest/records"
)

// profiles are those of the shipped file and of the examples in the docs, each
// with the maps that its own check accepts.
func profiles(t testing.TB) map[string]ingest.Profile {
	t.Helper()
	shipped, err := os.ReadFile("../../deploy/profiles.toml")
	require.NoError(t, err)
	texts := []string{string(shipped)}
	page, err := os.ReadFile("../../docs/feeds.md")
	require.NoError(t, err)
	for _, part := range strings.Split(string(page), "```toml\n")[1:] {
		text, _, _ := strings.Cut(part, "```")
		texts = append(texts, text)
	}

	out := map[string]ingest.Profile{}
	for _, text := range texts {
		var c struct {
			Profile []ingest.Profile `toml:"profile"`
		}
		md, err := toml.Decode(text, &c)
		require.NoError(t, err, text)
		require.Empty(t, md.Undecoded())
		for _, p := range c.Profile {
			require.NoError(t, p.Check(), p.Name)
			require.NoError(t, records.Check(p), p.Name)
			out[p.Name] = p.WithDefaults()
		}
	}
	return out
}

// lines of what was read: one a series, with first and last value.
func lines(b ingest.Batch) []string {
	var out []string
	add := func(site coldseam.SiteID, p coldseam.Parameter, st coldseam.Statistic, period, ref string, at []time.Time,
		v []float64) {
		n := len(at) - 1
		out = append(out, fmt.Sprintf("%s %s %s%s %s: %d, %.6g at %s, %.6g at %s", site, p, st, period, ref, n+1,
			v[0], at[0].Format("2006-01-02T15:04"), v[n], at[n].Format("2006-01-02T15:04")))
	}
	for _, s := range b.Series {
		var at []time.Time
		var v []float64
		for _, o := range s.Obs {
			at, v = append(at, o.At), append(v, o.Value)
		}
		add(s.Site, s.Param, s.Stat, s.Period, s.SeriesRef, at, v)
	}
	for _, f := range b.Forecasts {
		add(f.Site, f.Param, f.Stat, f.Period, "forecast of "+f.Issued.Format("2006-01-02T15:04"), f.At, f.Value)
	}
	return out
}

// shapes are small documents of our own in the shape of each service, with what
// its ready profile must make of them.
var shapes = []struct {
	profile, endpoint, site, body string
	want                          []string
}{
	{profile: "us-river-forecast", site: "MILT1", body: `{"observed":{"primaryUnits":"ft","data":[]},
"forecast":{"issuedTime":"2026-04-10T13:30:00Z","secondaryUnits":"kcfs","data":[
{"validTime":"2026-04-11T06:00:00Z","primary":11.0,"secondary":2},{"validTime":"2026-04-11T00:00:00Z","primary":10.0,"secondary":-999},
{"validTime":"0001-01-01T00:00:00Z","primary":0,"secondary":-999}]}}`,
		want: []string{"NWPS:MILT1 stage instant forecast of 2026-04-10T13:30: 2, 3.048 at 2026-04-11T00:00, 3.3528 at 2026-04-11T06:00",
			"NWPS:MILT1 discharge instant forecast of 2026-04-10T13:30: 1, 56.6337 at 2026-04-11T06:00, 56.6337 at 2026-04-11T06:00"}},
	{profile: "us-river-forecast", site: "MILT1", body: `{"observed":{"primaryUnits":"ft","data":[]},
"forecast":{"issuedTime":"0001-01-01T00:00:00Z","data":[{"validTime":"0001-01-01T00:00:00Z","primary":0,"secondary":0}]}}`},
	{profile: "norway-hydapi", site: "9.1.0", body: `{"apiVersion":"1.0","data":[{"stationId":"9.1.0","parameter":1000,"method":"Instantaneous",
"unit":"m","observations":[{"time":"2026-04-10T06:00:00Z","value":1.5,"quality":2},{"time":"2026-04-10T07:00:00Z","value":null,"quality":0}]},
{"stationId":"9.1.0","parameter":5001,"method":"Mean","unit":"?","observations":[{"time":"2026-04-10T06:00:00Z","value":1,"quality":2}]}]}`,
		want: []string{"NVE:9.1.0 stage instant 1000: 2, 1.5 at 2026-04-10T06:00, 0 at 2026-04-10T07:00"}},
	{profile: "norway-hydapi", endpoint: "daily", site: "9.1.0", body: `{"apiVersion":"1.0","data":[{"stationId":"9.1.0","parameter":1003,
"method":"Mean","unit":"°C","observations":[{"time":"2026-04-10T11:00:00Z","value":4.25,"quality":2}]}]}`,
		want: []string{"NVE:9.1.0 water_temp meanP1D 1003: 1, 4.25 at 2026-04-10T22:00, 4.25 at 2026-04-10T22:00"}},
	{profile: "germany-pegelonline", site: "900", body: `{"number":"900","timeseries":[{"shortname":"W","unit":"cm",
"currentMeasurement":{"timestamp":"2026-04-10T08:15:00+02:00","value":159}},{"shortname":"PH","unit":"--","currentMeasurement":
{"timestamp":"2026-04-10T08:00:00+02:00","value":8.1}},{"shortname":"Q","unit":"m³/s"}]}`,
		want: []string{"WSV:900 stage instant W: 1, 1.59 at 2026-04-10T06:15, 1.59 at 2026-04-10T06:15"}},
	{profile: "england-levels", site: "77TH", body: `{"meta":{"licence":"l"},"items":{"stationReference":"77TH","measures":[
{"parameter":"level","notation":"a-mASD","unitName":"mASD","valueType":"instantaneous","latestReading":{"dateTime":"2026-04-10T06:00:00Z","value":1.2}},
{"parameter":"level","notation":"b-mAOD","unitName":"mAOD","valueType":"instantaneous","latestReading":{"dateTime":"2026-04-10T06:00:00Z","value":51.2}}]}}`,
		want: []string{"EA:77TH stage instant a-mASD: 1, 1.2 at 2026-04-10T06:00, 1.2 at 2026-04-10T06:00"}},
	{profile: "england-hydrology", site: "g-flow-m-86400-m3s-qualified", body: `{"meta":{"license":"l"},"items":[{"measure":{"@id":
"http://x.example/id/measures/g-flow-m-86400-m3s-qualified"},"date":"2026-01-01","dateTime":"2026-01-01T09:00:00","value":72.5,"quality":"Good"}]}`,
		want: []string{"EA-hydrology:g-flow-m-86400-m3s-qualified discharge meanP1D flow: 1, 72.5 at 2026-01-02T09:00, 72.5 at 2026-01-02T09:00"}},
	{profile: "kiwis-daily-flow", site: "5", body: "#ts_id;5\n#ts_unitsymbol;cumec\n#parametertype_name;Water Course Discharge\n" +
		"#Timestamp;Value;Quality Code\n2026-01-01T00:00:00.000+10:00;0.5;10\n2026-01-02T00:00:00.000+10:00;;10\n",
		want: []string{"KIWIS:5 discharge meanP1D Water Course Discharge: 2, 0.5 at 2026-01-01T14:00, 0 at 2026-01-02T14:00"}},
	{profile: "newzealand-hilltop", site: "Mill at Weir", body: `<Hilltop><Measurement SiteName="Mill at Weir"><DataSource Name="Level"><Interpolation>Instant</Interpolation>
<ItemInfo><ItemName>Stage</ItemName><Units>mm</Units></ItemInfo></DataSource><Data><E><T>2026-04-10T06:00:00</T><I1>1500</I1></E></Data></Measurement></Hilltop>`,
		want: []string{"newzealand-hilltop:Mill at Weir stage instant Stage: 1, 1.5 at 2026-04-09T18:00, 1.5 at 2026-04-09T18:00"}},
	{profile: "uk-nrfa", site: "77", body: `{"station":{"id":77},"data-type":{"id":"gdf","units":"m3/s","measurement-type":"Mean","period":"P1D"},
"data-stream":["2026-04-10",1.5,"2026-04-11",null]}`,
		want: []string{"uk-nrfa:77 discharge meanP1D gdf: 2, 1.5 at 2026-04-11T09:00, 0 at 2026-04-12T09:00"}},
}

// Flood stages of a point: what is -9999 is none, the unit is the document's.
func TestFloodLevels(t *testing.T) {
	t.Parallel()
	p, err := profiles(t)["us-river-forecast"].At("flood_levels")
	require.NoError(t, err)
	p.RequestSite = "MILT1"
	b, err := records.Parse(strings.NewReader(`{"lid":"MILT1","usgsId":"0999","flood":{"stageUnits":"ft","flowUnits":"cfs",
"categories":{"major":{"stage":42,"flow":-9999},"minor":{"stage":10,"flow":-9999},"action":{"stage":-9999,"flow":-9999}}}}`), p)
	require.NoError(t, err)
	require.Len(t, b.FloodLevels, 1)
	require.Equal(t, coldseam.FloodLevel{Site: "NWPS:MILT1", Kind: coldseam.FloodMinor, Param: coldseam.Stage,
		Value: b.FloodLevels[0].Value, Gauge: "0999"}, b.FloodLevels[0])
	require.InDelta(t, 3.048, b.FloodLevels[0].Value, 1e-9)
	_, err = records.Parse(strings.NewReader(`{"code":5,"message":"not found","details":[]}`), p)
	require.Error(t, err)
}

func TestReadyProfiles(t *testing.T) {
	t.Parallel()
	all := profiles(t)
	for _, s := range shapes {
		p, err := all[s.profile].At(s.endpoint)
		require.NoError(t, err)
		p.RequestSite = s.site
		b, err := records.Parse(strings.NewReader(s.body), p)
		require.NoError(t, err, s.profile)
		ingesttest.Sound(t, b)
		require.Equal(t, s.want, lines(b), "%s %v", s.profile, b.Skipped)
	}
}

// text is a document of JSON with these records under a map with one value.
func one(t *testing.T, rows string, change func(*ingest.Profile)) (ingest.Batch, error) {
	t.Helper()
	p := ingest.Profile{Name: "x", Format: ingest.FormatRecords, BaseURL: "https://x.example",
		Parameters: map[string]string{"W": "stage"},
		Records: &ingest.Records{Require: []string{"$.rows"}, Levels: []string{"$.rows[*]"}, Site: "$.s",
			Values: []ingest.RecordValue{{Parameter: "$.p", Value: "$.v", Time: "$.t", Unit: "$.u", Qualifier: "$.q"}}}}
	if change != nil {
		change(&p)
	}
	require.NoError(t, p.WithDefaults().Check())
	return records.Parse(strings.NewReader(`{"rows":[`+rows+`]}`), p)
}

const good = `{"s":"1","p":"W","v":2,"t":"2026-04-10T06:00:00Z","u":"m"}`

// with is the good record with one member in other words.
func with(member, value string) string {
	i := strings.Index(good, `"`+member+`":`) + len(member) + 3
	j := i + strings.IndexAny(good[i:], ",}")
	return good[:i] + value + good[j:]
}

// Each rule of the map: what is not said is not guessed.
func TestWhatDoesNotFitIsRefused(t *testing.T) {
	t.Parallel()
	b, err := one(t, good, nil)
	require.NoError(t, err)
	require.Equal(t, []string{"x:1 stage instant W: 1, 2 at 2026-04-10T06:00, 2 at 2026-04-10T06:00"}, lines(b))

	for name, c := range map[string]struct{ rows, want string }{
		"no zone":            {with("t", `"2026-04-10T06:00:00"`), "no zone"},
		"true":               {with("v", "true"), "no number"},
		"a list":             {with("v", "[2]"), "a list or an object"},
		"an object":          {with("v", `{"a":2}`), "a list or an object"},
		"a word":             {with("v", `"low"`), "is no decimal"},
		"a comma":            {with("v", `"2,5"`), "is no decimal"},
		"no time":            {with("t", "null"), "want RFC 3339"},
		"no site":            {with("s", "null"), "no site"},
		"not a document":     {`{"rows":1}`, ""},
		"a member twice":     {`{"s":"1","p":"W","v":2,"v":3,"t":"2026-04-10T06:00:00Z","u":"m"}`, `member "v" stands twice`},
		"one in a hundred":   {strings.Repeat(good+",", 98) + with("v", `"x"`), "1 of 99 values do not fit"},
		"deeper than a well": {with("v", strings.Repeat("[", 100)+strings.Repeat("]", 100)), "deeper than"},
	} {
		b, err := one(t, c.rows, nil)
		if c.want == "" {
			require.Zero(t, b.Rows(), name)
			continue
		}
		require.ErrorContains(t, err, c.want, name)
		require.ErrorIs(t, err, coldseam.ErrInvalid, name)
		require.Zero(t, b.Rows(), name)
	}

	_, err = one(t, strings.Repeat(good+",", 100)+with("v", `"x"`), nil)
	require.NoError(t, err, "one in a hundred and one")
}

// What is not known costs the series, not the document.
func TestWhatIsNotKnownIsTold(t *testing.T) {
	t.Parallel()
	for member, c := range map[string]struct{ value, code string }{
		"u": {`"furlong"`, ingest.CodeUnit}, "p": {`"PH"`, ingest.CodeParameter}, "v": {`-9999`, ""},
	} {
		b, err := one(t, with(member, c.value), nil)
		require.NoError(t, err)
		if c.code == "" {
			require.Equal(t, coldseam.Missing, b.Series[0].Obs[0].Flag)
			continue
		}
		require.Empty(t, b.Series)
		require.Equal(t, c.code, b.Skipped[0].Code)
	}

	b, err := one(t, "", nil)
	require.NoError(t, err)
	require.Equal(t, []string{`$["rows"][*] selects nothing`}, b.Notes, "an empty answer is told from one that moved")
	b, err = one(t, strings.ReplaceAll(good, `"v"`, `"value"`), nil)
	require.NoError(t, err)
	require.Equal(t, ingest.CodeEncoding, b.Skipped[0].Code, "a field of another name")
	b, err = one(t, good[:len(good)-1]+`,"q":"odd"}`, nil)
	require.NoError(t, err)
	require.Equal(t, coldseam.Suspect, b.Series[0].Obs[0].Flag, "a flag that nobody knows")
	b, err = one(t, good+","+with("v", "3"), nil)
	require.NoError(t, err)
	require.Empty(t, b.Series, "two values of one time")
}

// An answer of another kind or another station is refused, not empty.
func TestAnswerOfSomethingElse(t *testing.T) {
	t.Parallel()
	p := profiles(t)["norway-hydapi"]
	_, err := records.Parse(strings.NewReader(`{"title":"Not Found","status":404}`), p)
	require.ErrorContains(t, err, "is not there")
	_, err = one(t, good, func(p *ingest.Profile) { p.RequestSite = "2" })
	require.ErrorContains(t, err, `the answer is of "1", asked was "2"`)
	b, err := one(t, with("s", "null"), func(p *ingest.Profile) {
		p.RequestSite, p.Records.Site = "2", "{site}"
	})
	require.NoError(t, err)
	require.Equal(t, coldseam.SiteID("x:2"), b.Series[0].Site)
}

// Two nodes where one is wanted, times in two fields, times in epochs, records by
// a word, lists with a header.
func TestPlaces(t *testing.T) {
	t.Parallel()
	_, err := one(t, good, func(p *ingest.Profile) { p.Records.Values[0].Unit = "$['u','p']" })
	require.ErrorContains(t, err, "2 nodes where one is wanted")
	first := func(rows string, change func(*ingest.Profile)) coldseam.Observation {
		b, err := one(t, rows, change)
		require.NoError(t, err)
		require.Len(t, b.Series, 1, "%v", b.Skipped)
		return b.Series[0].Obs[0]
	}
	o := first(with("t", `"2026-04-10","c":"06:30:00Z"`), func(p *ingest.Profile) { p.Records.Values[0].Time = "$.t + $.c" })
	require.Equal(t, "06:30", o.At.Format("15:04"))
	o = first(with("t", `1775802600000`), func(p *ingest.Profile) { p.Records.TimeLayout = "epoch_ms" })
	require.Equal(t, "2026-04-10 06:30", o.At.Format("2006-01-02 15:04"))
	_, err = one(t, with("t", `1775802600`), func(p *ingest.Profile) { p.Records.TimeLayout = "epoch_ms" })
	require.ErrorContains(t, err, "epoch_ms", "seconds are no milliseconds")
	b, err := one(t, good+","+with("s", `"2"`), func(p *ingest.Profile) { p.Records.Where = map[string]string{"$.s": "2"} })
	require.NoError(t, err)
	require.Len(t, b.Series, 1)
	o = first(`["s","p","v","t","u"],["1","W",7,"2026-04-10T06:00:00Z","m"]`, func(p *ingest.Profile) {
		p.Records.Header, p.Records.Levels = "^$.rows[0]", []string{"$.rows[1:]"}
	})
	require.InDelta(t, 7, o.Value, 0)
}

// Text: ragged rows, an open last line, a decimal comma, several blocks.
func TestText(t *testing.T) {
	t.Parallel()
	read := func(body string, change func(*ingest.Records)) (ingest.Batch, error) {
		m := &ingest.Records{Kind: "text", Site: "$.s", Source: "here", Values: []ingest.RecordValue{{Parameter: "=stage",
			Value: "$.v", Time: "$.t", Unit: "=m"}}}
		if change != nil {
			change(m)
		}
		p := ingest.Profile{Name: "x", Format: ingest.FormatRecords, BaseURL: "https://x.example", Records: m}
		require.NoError(t, p.WithDefaults().Check())
		return records.Parse(strings.NewReader(body), p)
	}
	const head, row = "s,t,v\n", "1,2026-04-10T06:00:00Z,2\n"
	b, err := read(head+row, nil)
	require.NoError(t, err)
	require.Len(t, b.Series, 1)
	_, err = read(head+"1,2026-04-10T06:00:00Z,2,5\n", nil)
	require.ErrorContains(t, err, "line 2 has 4 fields, want 3")
	b, err = read(head+row+"1,2026-04-10T07:00:00Z,21", nil)
	require.NoError(t, err)
	require.Len(t, b.Series[0].Obs, 1, "21 may have been 21.5")
	require.Contains(t, b.Skipped[0].Why, "cut short")
	_, err = read("<html>\n", nil)
	require.ErrorContains(t, err, "no delimited text", "a web page")
	_, err = read(`{"code":"Busy","message":"later"}`, nil)
	require.ErrorContains(t, err, `Busy: "later"`)
	_, err = read("a,b\n1,2\n", nil)
	require.ErrorContains(t, err, "no column of the map")
	b, err = read(head, nil)
	require.NoError(t, err, "no rows")
	require.Zero(t, b.Rows())
	_, err = read(head+"s,t,v\n", nil)
	require.Error(t, err, "a heading again is no row")

	comma := func(m *ingest.Records) { m.Delimiter, m.DecimalMark = ";", "," }
	b, err = read("s;t;v\n1;2026-04-10T06:00:00Z;2,5\n", comma)
	require.NoError(t, err)
	require.InDelta(t, 2.5, b.Series[0].Obs[0].Value, 0)
	_, err = read("s;t;v\n1;2026-04-10T06:00:00Z;1.234\n", comma)
	require.ErrorContains(t, err, "the decimal mark is a comma")

	b, err = read("#s;1\n#t;v\n2026-04-10T06:00:00Z;2\n#s;2\n#t;v\n2026-04-10T06:00:00Z;3\n", func(m *ingest.Records) {
		m.Delimiter, m.MetaPrefix, m.Site = ";", "#", "^$.s"
	})
	require.NoError(t, err)
	require.Len(t, b.Series, 2)
}

func FuzzParse(f *testing.F) {
	for _, s := range shapes {
		f.Add([]byte(s.body))
	}
	all := profiles(f)
	f.Fuzz(func(t *testing.T, body []byte) {
		for _, p := range all {
			p.MaxBodyBytes = 1 << 20
			p.RequestSite = ""
			if b, err := records.Parse(strings.NewReader(string(body)), p); err == nil {
				ingesttest.Sound(t, b)
			} else {
				require.Zero(t, b.Rows())
			}
		}
	})
}
