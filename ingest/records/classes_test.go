package records_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/records"
)

// read parses a document by a map with one value, which change completes.
func read(t *testing.T, body string, change func(*ingest.Profile, *ingest.Records, *ingest.RecordValue)) (ingest.Batch, error) {
	t.Helper()
	m := &ingest.Records{Levels: []string{"$.rows[*]"}, Site: "=G", Source: "the page",
		Values: []ingest.RecordValue{{Parameter: "=stage", Value: "$.v", Time: "$.t", Unit: "=m"}}}
	p := ingest.Profile{Name: "x", Format: ingest.FormatRecords, BaseURL: "https://x.example", Records: m}
	if change != nil {
		change(&p, m, &m.Values[0])
	}
	require.NoError(t, p.WithDefaults().Check())
	require.NoError(t, records.Check(p))
	return records.Parse(strings.NewReader(body), p)
}

// got are the values of the one series, with M for one that is missing.
func got(t *testing.T, b ingest.Batch, err error) []any {
	t.Helper()
	require.NoError(t, err)
	var out []any
	for _, s := range b.Series {
		for _, o := range s.Obs {
			if o.Flag&coldseam.Missing != 0 {
				out = append(out, o.At.Format("15:04"), "M")
				continue
			}
			out = append(out, o.At.Format("15:04"), o.Value)
		}
	}
	return out
}

// XML: one child or many, attributes, an empty element, a namespace; the unit of
// each of several stations is its own.
func TestXML(t *testing.T) {
	t.Parallel()
	xml := func(p *ingest.Profile, m *ingest.Records, v *ingest.RecordValue) {
		m.Kind, m.Require, m.Levels, m.Site = "xml", []string{"$.station"}, []string{"$.station[*]", "$.r[*]"}, "^$['@code']"
		v.Value, v.Time, v.Unit = "$.v[*]", "$['@t']", "^$.unit[*]"
	}
	const row = `<r t="2026-04-10T0%:00:00Z"><v>%</v></r>`
	r := func(n string) string { return strings.ReplaceAll(row, "%", n) }
	b, err := read(t, `<?xml version="1.0"?><a:all xmlns:a="urn:a"><a:station code="1"><unit>m</unit>`+r("1")+r("2")+
		`</a:station><a:station code="2"><unit>cm</unit>`+r("5")+`<r t="2026-04-10T06:00:00Z"><v/></r></a:station></a:all>`, xml)
	require.Equal(t, []any{"01:00", 1., "02:00", 2., "05:00", .05, "06:00", "M"}, got(t, b, err))
	require.Equal(t, coldseam.SiteID("x:2"), b.Series[1].Site)

	b, err = read(t, `<a><station code="1"><unit>m</unit><r t="2026-04-10T01:00:00Z"><v flag="x"> 3.5 </v></r></station></a>`, xml)
	require.Equal(t, []any{"01:00", 3.5}, got(t, b, err), "an attribute beside the value")

	for name, c := range map[string][2]string{
		"two values":         {`<a><station code="1"><unit>m</unit><r t="2026-04-10T01:00:00Z"><v>1</v><v>2</v></r></station></a>`, "2 nodes"},
		"two units":          {`<a><station code="1"><unit>m</unit><unit>ft</unit>` + r("1") + `</station></a>`, "2 nodes"},
		"a comma":            {`<a><station code="1"><unit>m</unit><r t="2026-04-10T01:00:00Z"><v>3,5</v></r></station></a>`, "is no decimal"},
		"a tree":             {`<a><station code="1"><unit>m</unit><r t="2026-04-10T01:00:00Z"><v><w>1</w></v></r></station></a>`, "a list or an object"},
		"text about a tree":  {`<a><station code="1"><unit>m</unit><r t="2026-04-10T01:00:00Z"><v u="m">12<sup>3</sup></v></r></station></a>`, "a list or an object"},
		"text around a mark": {`<a><station code="1"><unit>m</unit><r t="2026-04-10T01:00:00Z"><v>1<b/>2</v></r></station></a>`, "a list or an object"},
		"an attribute twice": {`<a><station code="1"><unit>m</unit><r t="2026-04-10T01:00:00Z" t="2026-04-10T02:00:00Z"><v>1</v></r></station></a>`, "stands twice"},
		"a web page":         {`<html><body>Busy</body></html>`, "a web page"},
		"another":            {`<Error>no such site</Error>`, "is not there"},
		"cut":                {`<a><station code="1"><unit>m</unit>` + r("1"), "unexpected EOF"},
		"two documents":      {`<a><station code="1"/></a><a/>`, "after the end"},
		"entities":           {`<!DOCTYPE a [<!ENTITY x "1">]><a><station/></a>`, "document type"},
		"deep":               {strings.Repeat("<a>", 100), "nested deeper"},
		"an unknown unit":    {`<a><station code="1"><unit>ell</unit>` + r("1") + `</station></a>`, ""},
	} {
		b, err := read(t, c[0], xml)
		if c[1] == "" {
			require.Equal(t, ingest.CodeUnit, b.Skipped[0].Code, name)
			continue
		}
		require.ErrorContains(t, err, c[1], name)
		require.ErrorIs(t, err, coldseam.ErrInvalid, name)
	}
}

// Lists whose positions the map names, each row a list or all in one in which they
// take turns.
func TestColumns(t *testing.T) {
	t.Parallel()
	columns := func(_ *ingest.Profile, m *ingest.Records, _ *ingest.RecordValue) { m.Columns = []string{"t", "v"} }
	turns := func(p *ingest.Profile, m *ingest.Records, v *ingest.RecordValue) {
		columns(p, m, v)
		m.Levels = []string{"$.rows"}
	}
	b, err := read(t, `{"rows":[["2026-04-10T01:00:00Z",1],["2026-04-10T02:00:00Z",2]]}`, columns)
	require.Equal(t, []any{"01:00", 1., "02:00", 2.}, got(t, b, err))
	b, err = read(t, `{"rows":["2026-04-10T01:00:00Z",1,"2026-04-10T02:00:00Z",null]}`, turns)
	require.Equal(t, []any{"01:00", 1., "02:00", "M"}, got(t, b, err))
	b, err = read(t, `{"rows":[]}`, turns)
	require.Empty(t, got(t, b, err))

	_, err = read(t, `{"rows":["2026-04-10T01:00:00Z",1,"2026-04-10T02:00:00Z"]}`, turns)
	require.ErrorContains(t, err, "3 positions, the header names 2")
	_, err = read(t, `{"rows":["2026-04-10T01:00:00Z",1,2,"2026-04-10T02:00:00Z"]}`, turns)
	require.ErrorContains(t, err, "is no decimal", "one out of step")
	_, err = read(t, `{"rows":[["2026-04-10T01:00:00Z",1,2]]}`, columns)
	require.ErrorContains(t, err, "3 positions")
}

// Columns of one name are told apart by number; an empty name is one too.
func TestColumnsOfOneName(t *testing.T) {
	t.Parallel()
	text := func(value, qualifier string) func(*ingest.Profile, *ingest.Records, *ingest.RecordValue) {
		return func(p *ingest.Profile, m *ingest.Records, v *ingest.RecordValue) {
			m.Kind, m.Levels, v.Value, v.Qualifier = "text", nil, value, qualifier
			p.Qualifiers = map[string]string{"B": "ice"}
		}
	}
	const body = "\ufeff ID,t,Level (m),Grade,,Flow (cms),Grade,\n7,2026-04-10T01:00:00-07:00,1.5,,,90.1,B,\n"
	b, err := read(t, body, text("$['Level (m)']", "$['Grade (1)']"))
	require.Equal(t, []any{"08:00", 1.5}, got(t, b, err))
	require.Zero(t, b.Series[0].Obs[0].Flag, "the mark of the flow is not that of the level")
	b, err = read(t, body, text("$['Level (m)']", "$['Grade (2)']"))
	require.NoError(t, err)
	require.Equal(t, coldseam.Ice|coldseam.Suspect, b.Series[0].Obs[0].Flag)
	_, err = read(t, body, text("$['Level (m)']", "$.Grade"))
	require.ErrorContains(t, err, `column $["Grade"] of the map is not there`, "an ice mark in it would be lost")
	_, err = read(t, body, text("$.Grade", ""))
	require.ErrorContains(t, err, "no column of the map")
	_, err = read(t, strings.Replace(body, "ID,", "Grade (2),", 1), text("$['Level (m)']", "$['Grade (2)']"))
	require.ErrorContains(t, err, `column "Grade (2)" stands beside 2 columns "Grade"`, "one would hide the other")
	require.ErrorIs(t, err, coldseam.ErrInvalid)
}

// Of lines before the rows only the last holds names: what stands twice in
// another is a value.
func TestLinesBeforeTheRowsMayRepeatAWord(t *testing.T) {
	t.Parallel()
	b, err := read(t, "#m,m\n#a,a,a (1)\n#t,v\n2026-04-10T01:00:00-07:00,1.5\n",
		func(p *ingest.Profile, m *ingest.Records, v *ingest.RecordValue) {
			m.Kind, m.Levels, m.MetaPrefix = "text", nil, "#"
			v.Value, v.Unit, v.Qualifier = "$.v", "^$.m", ""
		})
	require.Equal(t, []any{"08:00", 1.5}, got(t, b, err))
}

// A block without rows lends nothing to the next one.
func TestBlocksWithoutRows(t *testing.T) {
	t.Parallel()
	b, err := read(t, "#s;1\n#u;ft\n#t;v\n#s;2\n#t;v\n2026-04-10T06:00:00Z;2\n",
		func(_ *ingest.Profile, m *ingest.Records, v *ingest.RecordValue) {
			m.Kind, m.Levels, m.MetaPrefix, m.Delimiter, m.Site = "text", nil, "#", ";", "^$.s"
			v.Unit = "^$.u"
		})
	require.NoError(t, err)
	require.Empty(t, b.Series)
	require.Contains(t, b.Skipped[0].Why, "no unit in the document")
}

// Numbers as they are written elsewhere: a decimal comma in text, hundredths, words
// for "no value"; and what may not pass for one.
func TestNumbers(t *testing.T) {
	t.Parallel()
	row := func(v string) string { return `{"rows":[{"t":"2026-04-10T01:00:00Z","f":0.01,"v":` + v + `}]}` }
	comma := func(p *ingest.Profile, m *ingest.Records, _ *ingest.RecordValue) {
		m.DecimalMark, p.MissingTokens = ",", []string{"-777,0", "n.a."}
	}
	scale := func(_ *ingest.Profile, _ *ingest.Records, v *ingest.RecordValue) { v.Scale = "$.f" }
	for _, c := range []struct {
		v      string
		change func(*ingest.Profile, *ingest.Records, *ingest.RecordValue)
		want   any
	}{
		{`"12,5"`, comma, 12.5}, {`12.5`, comma, 12.5}, {`"-777,0"`, comma, "M"}, {`"-777"`, comma, "M"}, {`"n.a."`, comma, "M"},
		{`"1.234,5"`, comma, "has a point"}, {`"1,234,5"`, comma, "is no decimal"}, {`"1.234"`, comma, "has a point"},
		{`125`, scale, 1.25}, {`-9999`, scale, "M"}, {`null`, scale, "M"},
		{`"1 234"`, nil, "is no decimal"}, {"\"1\u00a0234\"", nil, "is no decimal"}, {`"12.5 m"`, nil, "is no decimal"},
		{`"<0.5"`, nil, "is no decimal"}, {`"12.5*"`, nil, "is no decimal"}, {`"--"`, nil, "is no decimal"},
		{`"NaN"`, nil, "M"}, {`""`, nil, "M"}, {`"Infinity"`, nil, "is no decimal"}, {`1e400`, nil, "is no decimal"},
		{`"٣"`, nil, "is no decimal"}, {`"0x10"`, nil, "is no decimal"},
	} {
		b, err := read(t, row(c.v), c.change)
		if words, ok := c.want.(string); ok && words != "M" {
			require.ErrorContains(t, err, words, c.v)
			continue
		}
		require.Equal(t, []any{"01:00", c.want}, got(t, b, err), c.v)
	}
	_, err := read(t, `{"rows":[{"t":"2026-04-10T01:00:00Z","v":125}]}`, scale)
	require.ErrorContains(t, err, `scale ""`)
	for _, body := range []string{`{"rows":[{"t":"2026-04-10T01:00:00Z","v":NaN}]}`, `{"rows":[{"t":"2026-04-10T01:00:00Z","v":1},]}`,
		`{"rows":[{"t":"2026-04-10T01:00:00Z","v":01}]}`, "{'rows':[]}", row("1") + row("1"), "\x1f\x8b\x08\x00", "<html></html>",
		"\xff\xfe{\x00}\x00", "{\"rows\":[{\"t\":\"2026-04-10T01:00:00Z\",\"v\":1,\"n\":\"M\xfcnchen\"}]}"} {
		_, err := read(t, body, nil)
		require.ErrorIs(t, err, coldseam.ErrInvalid, body)
	}
}

// A word in the place of a value that says why there is none is kept as a mark.
func TestWordsInThePlaceOfAValue(t *testing.T) {
	t.Parallel()
	for word, flag := range map[string]coldseam.Flag{"Ice": coldseam.Ice, "Eqp": coldseam.Equipment, "***": 0, "Bkw": coldseam.Equipment} {
		b, err := read(t, `{"rows":[{"t":"2026-04-10T01:00:00Z","v":"`+word+`"}]}`,
			func(p *ingest.Profile, _ *ingest.Records, _ *ingest.RecordValue) {
				if word == "***" { // what it means is the agency's to say
					p.Qualifiers = map[string]string{"***": "missing"}
				}
			})
		require.Equal(t, []any{"01:00", "M"}, got(t, b, err), word)
		require.Equal(t, flag, b.Series[0].Obs[0].Flag&(coldseam.Ice|coldseam.Equipment), word)
	}
}

// Several marks of quality count together: two places, or a list.
func TestMarksOfQuality(t *testing.T) {
	t.Parallel()
	for body, want := range map[string][]string{
		`{"rows":[{"t":"2026-04-10T01:00:00Z","v":1,"q":["e","ICE"]}]}`:    {"ICE", "e"},
		`{"rows":[{"t":"2026-04-10T01:00:00Z","v":1,"q":"e","r":"B"}]}`:    {"B", "e"},
		`{"rows":[{"t":"2026-04-10T01:00:00Z","v":1,"q":null,"r":12}]}`:    {"12"},
		`{"rows":[{"t":"2026-04-10T01:00:00Z","v":1,"q":false,"r":null}]}`: {"false"},
	} {
		b, err := read(t, body, func(_ *ingest.Profile, _ *ingest.Records, v *ingest.RecordValue) { v.Qualifier = "$['q','r']" })
		if strings.Contains(body, "[\"e\"") {
			b, err = read(t, body, func(_ *ingest.Profile, _ *ingest.Records, v *ingest.RecordValue) { v.Qualifier = "$.q" })
		}
		require.NoError(t, err)
		require.Equal(t, want, b.Series[0].Obs[0].Qualifiers, body)
		require.NotZero(t, b.Series[0].Obs[0].Flag&coldseam.Suspect, body)
	}
}

// Times: names of zones, days, months, the hour that comes twice and the one that
// does not come.
func TestTimes(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ text, layout, zone, want string }{
		{"2026-04-10T05:00:00+0200", "", "", "2026-04-10 03:00"},
		{"2026-04-10 05:00:00+02", "", "", "2026-04-10 03:00"},
		{"2026-04-10T05:00:00-02:30", "", "", "2026-04-10 07:30"},
		{"10.04.2026 05:00", "02.01.2006 15:04", "Europe/Berlin", "2026-04-10 03:00"},
		{"04/10/2026 05:00 PM", "01/02/2006 03:04 PM", "America/Chicago", "2026-04-10 22:00"},
		{"2026-04-10 05:00 CEST", "2006-01-02 15:04 MST", "Europe/Berlin", "2026-04-10 03:00"},
		{"2026-10-25 02:30 CET", "2006-01-02 15:04 MST", "Europe/Berlin", "2026-10-25 01:30"},
		{"2026-10-25 02:30 CEST", "2006-01-02 15:04 MST", "Europe/Berlin", "2026-10-25 00:30"},
		{"2026-04-10 05:00 UTC", "2006-01-02 15:04 MST", "Europe/Berlin", "2026-04-10 05:00"},
		{"2026-04-10 05:00 CST", "2006-01-02 15:04 MST", "Europe/Berlin", "error"},
		{"2026-04-10 05:00 CST", "2006-01-02 15:04 MST", "", "error"},
		{"10.04.2026", "02.01.2006", "Europe/Berlin", "error"}, // a period without a statistic
		{"2026", "2006", "Europe/Berlin", "error"},
		{"10.04.2026 05:00", "02.01.2006 15:04", "", "error"},
		{"29.03.2026 02:30", "02.01.2006 15:04", "Europe/Berlin", "error"},
		{"2026-04-31T05:00:00Z", "", "", "error"},
		{"13/04/2026 05:00", "01/02/2006 15:04", "UTC", "error"},
		{"2026-04-10T05:00:00[Europe/Berlin]", "", "Europe/Berlin", "error"},
		{"46122", "", "UTC", "error"},
	} {
		b, err := read(t, `{"rows":[{"t":"`+c.text+`","v":1}]}`, func(p *ingest.Profile, m *ingest.Records, _ *ingest.RecordValue) {
			p.Zone, m.TimeLayout = c.zone, c.layout
		})
		if c.want == "error" {
			require.Zero(t, b.Rows(), c.text)
			require.True(t, err != nil || len(b.Skipped) > 0, c.text)
			continue
		}
		require.NoError(t, err, c.text)
		require.Equal(t, c.want, b.Series[0].Obs[0].At.Format("2006-01-02 15:04"), c.text)
	}
}

// An answer that says of an error, with or without values to be wanted of it, is
// no empty answer.
func TestErrorInThePlaceOfData(t *testing.T) {
	t.Parallel()
	for _, body := range []string{`{"type":"error","code":"InvalidParameterValue","message":"no such series"}`,
		`{"title":"Not Found","status":404,"detail":"nothing"}`, `{"timestamp":"2026-04-10","status":404,"error":"Not Found"}`,
		`{"error":{"code":"Busy","message":"later"}}`, `{"code":5,"message":"not found"}`} {
		_, err := read(t, body, nil)
		require.ErrorContains(t, err, "an error of the service", body)
	}
}
