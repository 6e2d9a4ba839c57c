package table_test

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/ingesttest"
	"example.org/coldseam/ingest/table"
)

func long() table.Map {
	return table.Map{
		Layout:          "long",
		Delimiter:       ";",
		DecimalMark:     ",",
		Header:          3,
		SkipAfter:       1,
		Comment:         "#",
		Missing:         []string{"---"},
		TimeColumn:      "Zeit",
		TimeLayout:      "02.01.2006 15:04",
		Zone:            "Europe/Vienna",
		SiteColumn:      "Pegel",
		ParameterColumn: "Art",
		ValueColumn:     "Wert",
		UnitColumn:      "Einheit",
		QualifierColumn: "Q",
		ApprovalColumn:  "Stand",
		Statistic:       "instant",
	}
}

const longFile = "export of a logger\n# nothing\nPegel;Zeit;Art;Wert;Einheit;Q;Stand\nt;t;t;n;t;t;t\n" +
	"H1;29.03.2026 01:45;discharge;12,5;m3/s;;provisional\n" +
	"# a remark\n" +
	"H1;29.03.2026 03:00;discharge;12,75;m3/s;est;approved\n" +
	"\"H1\";29.03.2026 03:15;discharge;---;m3/s;ICE;\n" +
	"H1;29.03.2026 03:30;discharge;---;m3/s;;\n" +
	"H2;29.03.2026 03:00;water_temp;40,1;degF;;\n"

func TestLongLayout(t *testing.T) {
	t.Parallel()
	b, rep, err := table.Parse(strings.NewReader(longFile), ingest.Profile{Name: "club"}, long())
	require.NoError(t, err)
	require.Equal(t, 5, rep.Rows)
	require.Zero(t, rep.Refused)
	require.Len(t, b.Series, 2)
	h1 := b.Series[0]
	require.Equal(t, coldseam.SiteID("club:H1"), h1.Site)
	require.Len(t, h1.Obs, 3, "an empty cell without a qualifier is nothing; with one it is kept")
	require.Equal(t, "2026-03-29T00:45:00Z", h1.Obs[0].At.Format(time.RFC3339))
	require.Equal(t, "2026-03-29T01:00:00Z", h1.Obs[1].At.Format(time.RFC3339),
		"fifteen minutes later, over the clock change")
	require.Equal(t, coldseam.Approved|coldseam.Estimated|coldseam.Suspect, h1.Obs[1].Flag)
	require.Equal(t, coldseam.Missing|coldseam.Ice|coldseam.Suspect, h1.Obs[2].Flag)
	require.InDelta(t, 4.5, b.Series[1].Obs[0].Value, 1e-12)
	require.Equal(t, 12.75, rep.Series[0].Max)
	ingesttest.Sound(t, b)
}

func TestRowsAreRefusedWithTheirLine(t *testing.T) {
	t.Parallel()
	var s strings.Builder
	s.WriteString("date,flow_m3s,water_c\n")
	for i := range 400 {
		d := coldseam.Date{Year: 2024, Month: 1, Day: 1}.Add(i)
		fmt.Fprintf(&s, "%s,%d,%d\n", d, 10+i, i%20)
	}

	s.WriteString("2025-02-30,1,1\n2025-03-01,1\n2025-03-02,1,0x1p3\n2025-03-03,5\"5,1\n")
	m := table.DailyMap("S1", "America/Chicago", "flow_m3s", "water_c")
	b, rep, err := table.Parse(strings.NewReader(s.String()), ingest.Profile{Name: "club"}, m)
	require.NoError(t, err, "four rows of 404 are under one in a hundred")
	require.Equal(t, 404, rep.Rows)
	require.Equal(t, 4, rep.Refused)
	require.Equal(t, []int{402, 403, 404, 405}, []int{rep.Examples[0].Line, rep.Examples[1].Line, rep.Examples[2].Line,
		rep.Examples[3].Line})
	require.Equal(t, map[string]int{"date": 1, "water_c": 1}, rep.ByColumn)
	require.Len(t, b.Series[0].Obs, 400, "a refused row is refused as a whole")

	s.WriteString("x,1,1\n")
	_, rep, err = table.Parse(strings.NewReader(s.String()), ingest.Profile{Name: "club"}, m)
	require.ErrorContains(t, err, "5 of 405 rows do not fit, first line 402")
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	require.Equal(t, 5, rep.Refused)
	var out bytes.Buffer
	_, werr := rep.WriteTo(&out)
	require.NoError(t, werr)
	require.Contains(t, out.String(), "405 rows, 5 refused")
	require.NotContains(t, out.String(), "cut short")
	_, rep, _ = table.Parse(strings.NewReader("date,water_c\n2026-03-07,1.5"), ingest.Profile{Name: "club"},
		table.DailyMap("S1", "America/Chicago", "water_c"))
	require.True(t, rep.OpenEnd)
	require.Contains(t, out.String(), `line 404 water_c: number "0x1p3": want a decimal`)
}

func TestDailyMapGivesEndsOfCivilDays(t *testing.T) {
	t.Parallel()
	b, _, err := table.Parse(strings.NewReader("date,water_c\n2026-03-07,1.5\n2026-03-08,2\n"),
		ingest.Profile{Name: "club"}, table.DailyMap("S1", "America/Chicago", "water_c"))
	require.NoError(t, err)
	s := b.Series[0]
	require.Equal(t, coldseam.Mean, s.Stat)
	require.Equal(t, "P1D", s.Period)
	require.Equal(t, 23*time.Hour, s.Obs[1].At.Sub(s.Obs[0].At), "8 March 2026 had 23 hours")
}

func TestHandReadings(t *testing.T) {
	t.Parallel()
	in := "time,parameter,value,unit,note\n2026-04-10 05:30,water_temp,40.1,degF,\"boat, main seam\"\n2026-04-10T06:00-05:00,stage,2.31,ft,\n"
	b, _, err := table.Parse(strings.NewReader(in), ingest.Profile{Name: "club"},
		table.Map{
			Layout:          "long",
			Delimiter:       ",",
			DecimalMark:     ".",
			Header:          1,
			TimeColumn:      "time",
			TimeLayout:      "iso",
			Zone:            "America/Chicago",
			Site:            "TAM-1",
			ParameterColumn: "parameter",
			ValueColumn:     "value",
			UnitColumn:      "unit",
			QualifierColumn: "note",
			Statistic:       "instant",
			SeriesRef:       table.HandSeries,
		})
	require.NoError(t, err)
	require.Len(t, b.Series, 2)
	require.Equal(t, table.HandSeries, b.Series[0].SeriesRef)
	require.Equal(t, []string{"boat, main seam"}, b.Series[0].Obs[0].Qualifiers)
	require.Equal(t, "2026-04-10T10:30:00Z", b.Series[0].Obs[0].At.Format(time.RFC3339))
	require.InDelta(t, 2.31*0.3048, b.Series[1].Obs[0].Value, 1e-12)
}

func TestMapsLeaveNothingOpen(t *testing.T) {
	t.Parallel()
	require.NoError(t, long().Check())

	for name, c := range map[string]struct {
		change func(*table.Map)
		want   string
	}{
		"layout":       {func(m *table.Map) { m.Layout = "" }, "layout"},
		"delimiter":    {func(m *table.Map) { m.Delimiter = "::" }, "delimiter"},
		"quote":        {func(m *table.Map) { m.Delimiter = `"` }, "delimiter"},
		"decimal mark": {func(m *table.Map) { m.DecimalMark = "" }, "decimal_mark"},
		"same mark":    {func(m *table.Map) { m.Delimiter = "," }, "decimal_mark"},
		"comment":      {func(m *table.Map) { m.Comment = "//" }, "comment"},
		"time":         {func(m *table.Map) { m.TimeColumn = "" }, "time_column"},
		"time layout":  {func(m *table.Map) { m.TimeLayout = "" }, "time_layout"},
		"abbreviation": {func(m *table.Map) { m.TimeLayout = "2006-01-02 15:04 MST" }, "time_layout"},
		"zone":         {func(m *table.Map) { m.Zone = "CST" + "X" }, "zone"},
		"local zone":   {func(m *table.Map) { m.Zone = "Local" }, "zone"},
		"site":         {func(m *table.Map) { m.SiteColumn = "" }, "site"},
		"both sites":   {func(m *table.Map) { m.Site = "x" }, "site"},
		"unit":         {func(m *table.Map) { m.UnitColumn = "" }, "unit"},
		"wrong unit": {func(m *table.Map) {
			m.UnitColumn, m.Unit, m.ParameterColumn, m.Parameter = "", "ms", "", "stage"
		}, `unit "ms" is unknown`},
		"parameter":     {func(m *table.Map) { m.ParameterColumn = "" }, "parameter"},
		"statistic":     {func(m *table.Map) { m.Statistic = "median" }, "statistic"},
		"period":        {func(m *table.Map) { m.Period = "P1D" }, "statistic"},
		"no period":     {func(m *table.Map) { m.Statistic = "mean" }, "period"},
		"value":         {func(m *table.Map) { m.ValueColumn = "" }, "value_column"},
		"long and wide": {func(m *table.Map) { m.Columns = []table.Column{{}} }, "columns"},
		"wide, none":    {func(m *table.Map) { m.Layout = "wide" }, "columns"},
		"wide, unit": {func(m *table.Map) {
			m.Layout, m.Columns = "wide", []table.Column{{Name: "a", Parameter: "stage"}}
		}, "unit"},
		"wide, name": {func(m *table.Map) {
			m.Layout, m.Columns = "wide", []table.Column{{Parameter: "stage", Unit: "m"}}
		}, "columns"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			m := long()
			c.change(&m)
			_, _, err := table.Parse(strings.NewReader(longFile), ingest.Profile{Name: "x"}, m)
			require.ErrorIs(t, err, coldseam.ErrInvalid)
			require.ErrorContains(t, err, c.want)
		})
	}
}

func TestBadFiles(t *testing.T) {
	t.Parallel()

	for name, c := range map[string]struct{ body, want string }{
		"no header":      {"one line\n", "ends before its header"},
		"missing column": {"a\nb\nPegel;Zeit;Art;Wert;Einheit;Q\n", `no column "Stand"`},
		"twice":          {"a\nb\nPegel;Zeit;Zeit;Wert;Einheit;Q;Stand;Art\n", "stands twice"},
		"open quote":     {longFile + "\"H1;1\n2\n3\n", "lines 11 to"},
		"nul":            {longFile + "\x00", "not UTF-8"},
		"latin-1":        {longFile + "\xe4", "not UTF-8"},
		"too large":      {strings.Repeat("x", 9<<20), "larger than"},
		"no site":        {strings.Replace(longFile, "H2;", ";", 1), "no site"},
		"no such time":   {strings.Replace(longFile, "29.03.2026 03:00", "29.03.2026 02:30", 1), "does not exist"},
		"point for mark": {strings.Replace(longFile, "12,5", "12.5", 1), "decimal mark is a comma"},
		"bad parameter":  {strings.Replace(longFile, "water_temp", "heat", 1), `parameter "heat" is not known`},
		"bad unit":       {strings.Replace(longFile, "degF", "m", 1), `unit "m" is m`},
		"header only":    {"a\nb\nPegel;Zeit;Art;Wert;Einheit;Q;Stand\n", "ends after its header"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b, _, err := table.Parse(strings.NewReader(c.body), ingest.Profile{Name: "x"}, long())
			require.ErrorContains(t, err, c.want)
			require.ErrorIs(t, err, coldseam.ErrInvalid)
			require.Zero(t, b.Rows())
		})
	}
}

// Two rows of one day are told by their lines: equal ones are one, of two that
// differ neither is taken.
func TestRowsOfOneTimeAreTold(t *testing.T) {
	t.Parallel()
	m := table.DailyMap("S1", "America/Chicago", "flow_m3s")
	var s strings.Builder
	s.WriteString("\"date\",\"flow_m3s\"\n")
	for i := range 400 {
		fmt.Fprintf(&s, "%s,%d\n", coldseam.Date{Year: 2024, Month: 1, Day: 1}.Add(i), 10+i)
	}
	s.WriteString("2024-01-05,14.0\n2024-01-06,99\n")
	b, rep, err := table.Parse(strings.NewReader(s.String()), ingest.Profile{Name: "club"}, m)
	require.NoError(t, err)
	require.Len(t, b.Series[0].Obs, 399)
	require.Equal(t, []table.Refusal{{Line: 402, Column: "flow_m3s", Why: "says again what line 6 says"}}, rep.Repeats)
	require.Equal(t, []table.Refusal{{Line: 7, Column: "date", Why: "another value for the time of line 403"},
		{Line: 403, Column: "date", Why: "another value for the time of line 7"}}, rep.Examples)
	_, _, err = table.Parse(strings.NewReader("date,flow_m3s\n2024-01-05,14\n2024-01-05,15\n"),
		ingest.Profile{Name: "club"}, m)
	require.ErrorContains(t, err, "2 of 2 rows do not fit, first line 2: another value for the time of line 3")
}

// The hour that the clock repeats is two hours, whichever end the file begins at.
func TestTheRepeatedHourIsKeptAsTwo(t *testing.T) {
	t.Parallel()

	for _, c := range []struct{ zone, day, hour, first string }{
		{"America/Chicago", "2026-11-01", "01", "2026-11-01T06:00:00Z"},
		{"Pacific/Chatham", "2026-04-05", "03", "2026-04-04T13:15:00Z"},
	} {
		m := table.Map{
			Layout:      "wide",
			Delimiter:   ",",
			DecimalMark: ".",
			Header:      1,
			TimeColumn:  "time",
			TimeLayout:  "2006-01-02 15:04",
			Zone:        c.zone,
			Site:        "S1",
			Columns:     []table.Column{{Name: "flow", Parameter: "discharge", Unit: "m3/s", Statistic: "instant"}},
		}
		at := func(minute int) string { return fmt.Sprintf("%s %s:%02d", c.day, c.hour, minute) }
		rows := []string{c.day + " 00:00,9", at(0) + ",10", at(30) + ",11", at(0) + ",20", at(30) + ",21",
			c.day + " 06:00,30"}

		for _, newestFirst := range []bool{false, true} {
			if newestFirst {
				slices.Reverse(rows)
			}
			b, rep, err := table.Parse(strings.NewReader("time,flow\n"+strings.Join(rows, "\n")+"\n"),
				ingest.Profile{Name: "club"}, m)
			require.NoError(t, err)
			require.Empty(t, rep.Repeats)
			obs := b.Series[0].Obs
			require.Len(t, obs, 6)
			k := slices.IndexFunc(obs, func(o coldseam.Observation) bool { return o.Value == 10 })
			require.Equal(t, c.first, obs[k].At.Format(time.RFC3339))

			for i, want := range []float64{9, 10, 11, 20, 21, 30} {
				require.Equal(t, want, obs[i].Value)
				require.Zero(t, obs[i].Flag&coldseam.Suspect)
			}
		}
	}
}

func TestColumnsByNumber(t *testing.T) {
	t.Parallel()
	m := table.Map{
		Layout:      "wide",
		Delimiter:   "tab",
		DecimalMark: ".",
		TimeColumn:  "#1",
		TimeLayout:  time.RFC3339,
		Site:        "S",
		Columns: []table.Column{{Name: "#3", Parameter: "stage", Unit: "cm", Statistic: "instant",
			Qualifier: "#2"}},
	}
	b, _, err := table.Parse(strings.NewReader(
		"2026-04-10T05:00:00-05:00\tok\t120\r\n2026-04-10T05:15:00-05:00\t\t\r\n"),
		ingest.Profile{Name: "x", Qualifiers: map[string]string{"ok": "ok"}}, m)
	require.NoError(t, err)
	require.Len(t, b.Series[0].Obs, 1)
	require.InDelta(t, 1.2, b.Series[0].Obs[0].Value, 1e-12)
	require.Zero(t, b.Series[0].Obs[0].Flag)
}

func TestDaily(t *testing.T) {
	t.Parallel()
	d, err := table.Daily(strings.NewReader(
		"date,air_c,flow_m3s\n2026-01-01,-5,10\n2026-01-02,,-3.5\n2026-01-05,1.25,\n"), 45)
	require.NoError(t, err)
	require.Equal(t, 45.0, d.Lat)
	require.Equal(t, 5, d.Len())
	require.Nil(t, d.WaterC)
	require.Equal(t, []float64{10, -3.5}, d.FlowM3S[:2], "backflow is kept")
	require.True(t, math.IsNaN(d.AirC[1]) && math.IsNaN(d.FlowM3S[3]) && math.IsNaN(d.FlowM3S[4]))
	require.Equal(t, 1.25, d.AirC[4])
	require.NoError(t, table.Soften(&d,
		strings.NewReader("date,symbol\n2025-12-31,B\n2026-01-02,B\n2026-01-03,A\n2026-01-05,E\n"), "B", "E"))
	require.Equal(t, []bool{false, true, false, false, true}, d.FlowSoft)

	for body, want := range map[string]string{
		"":                              "no header",
		"date\n":                        "at least one of",
		"flow_m3s,water_c\n":            "want date",
		"date,flow\n":                   `column "flow"`,
		"date,flow_m3s,flow_m3s\n":      "stands twice",
		"date,flow_m3s\n":               "no rows",
		"date,flow_m3s\n2026-02-30,1\n": "line 2",
		"date,flow_m3s\n2026-01-02,1\n2026-01-02,1\n": "line 3: 2026-01-02 is not later",
		"date,flow_m3s\n2026-01-02,1\n2026-01-01,1\n": "not later",
		"date,flow_m3s\n2026-01-02,NaN\n":             "want a decimal",
		"date,flow_m3s\n2026-01-02,1,2\n":             "wrong number of fields",
		"date,flow_m3s\n0001-01-02,1\n9999-01-01,1\n": "more than",
	} {
		_, err := table.Daily(strings.NewReader(body), 45)
		require.ErrorContains(t, err, want, body)
		require.ErrorIs(t, err, coldseam.ErrInvalid)
	}

	require.ErrorIs(t, table.Soften(&d, strings.NewReader("a,b\n")), coldseam.ErrInvalid)
	require.ErrorIs(t, table.Soften(&d, strings.NewReader("date,symbol\nx,B\n")), coldseam.ErrInvalid)
}

// What is written in the daily layout is read back.
func TestDailyRoundTrip(t *testing.T) {
	t.Parallel()

	rapid.Check(t, func(t *rapid.T) {
		first := coldseam.Date{Year: 2000, Month: 2, Day: 20}
		var b strings.Builder
		b.WriteString("date,flow_m3s,water_c\n")
		var flow, water []float64
		for i := range rapid.IntRange(1, 40).Draw(t, "n") {
			f, w := rapid.Float64Range(-10, 1e5).Draw(t, "f"), math.NaN()
			cell := ""
			if rapid.Bool().Draw(t, "has") {
				w = rapid.Float64Range(-1, 30).Draw(t, "w")
				cell = fmt.Sprint(w)
			}
			fmt.Fprintf(&b, "%s,%v,%s\n", first.Add(i), f, cell)
			flow, water = append(flow, f), append(water, w)
		}

		d, err := table.Daily(strings.NewReader(b.String()), 45)
		require.NoError(t, err)
		require.Equal(t, flow, d.FlowM3S)
		require.Equal(t, len(water), len(d.WaterC))
		for i := range water {
			require.True(t, water[i] == d.WaterC[i] || math.IsNaN(water[i]) && math.IsNaN(d.WaterC[i]))
		}
	})
}

func TestDailyColumns(t *testing.T) {
	t.Parallel()
	c, ok := table.DailyColumns("\ufeffdate,flow_m3s,water_c\r\n")
	require.True(t, ok)
	require.Equal(t, []string{"flow_m3s", "water_c"}, c)
	c, ok = table.DailyColumns(`"date","flow_m3s"`)
	require.True(t, ok)
	require.Equal(t, []string{"flow_m3s"}, c)
	for _, h := range []string{"", "date", "time,flow_m3s", "date,flow", "date;flow_m3s"} {
		_, ok := table.DailyColumns(h)
		require.False(t, ok, h)
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(longFile), true)
	f.Add([]byte("date,flow_m3s\n2026-01-01,1\n"), false)
	f.Fuzz(func(t *testing.T, body []byte, l bool) {
		m := table.DailyMap("S", "America/Chicago", "flow_m3s")
		if l {
			m = long()
		}
		b, _, err := table.Parse(bytes.NewReader(body), ingest.Profile{Name: "fuzz", MaxBodyBytes: 1 << 20}, m)
		if err != nil {
			require.Zero(t, b.Rows())
		} else {
			ingesttest.Sound(t, b)
		}
		if d, err := table.Daily(bytes.NewReader(body), 45); err == nil {
			require.Positive(t, d.Len())
		}
	})
}

// The collected daily series, with the counts of their manifest.
func TestRealSeries(t *testing.T) {
	t.Parallel()
	root := filepath.Join(filepath.Dir(ingesttest.RealFeeds(t)), "series")
	files, err := filepath.Glob(filepath.Join(root, "*", "*.csv"))
	require.NoError(t, err)
	read := 0

	for _, path := range files {
		body, err := os.ReadFile(path)
		require.NoError(t, err)
		head, _, _ := strings.Cut(string(body), "\n")
		cols, ok := table.DailyColumns(head)
		if !ok {
			continue
		}
		read++
		d, err := table.Daily(bytes.NewReader(body), 45)
		require.NoError(t, err, path)
		b, rep, err := table.Parse(bytes.NewReader(body), ingest.Profile{Name: "x"},
			table.DailyMap("S", "UTC", cols...))
		require.NoError(t, err, path)
		require.Zero(t, rep.Refused)

		for _, s := range b.Series {
			n := 0
			for _, v := range map[coldseam.Parameter][]float64{coldseam.Discharge: d.FlowM3S,
				coldseam.WaterTemp: d.WaterC, coldseam.AirTemp: d.AirC}[s.Param] {
				if !math.IsNaN(v) {
					n++
				}
			}
			require.Len(t, s.Obs, n, path)
		}
	}

	require.Equal(t, 48, read)
}
