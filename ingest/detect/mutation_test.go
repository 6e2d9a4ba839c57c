package detect

import (
	"cmp"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// specimen is a document of our own with four hourly values of one gauge, %s
// standing for its rows, and how a row is written.
type specimen struct {
	name       string
	p          ingest.Profile
	head, tail string
	row        func(at, value string) string
	sep        string
	unit       string // as the document writes it
	letter     string // what of it is the unit itself, default m
}

var specimens = []specimen{
	{
		name: "features",
		head: `{"type":"FeatureCollection","features":[`, tail: `]}`, sep: ",", unit: `"m"`,
		row: func(at, v string) string {
			return `{"type":"Feature","geometry":null,"properties":{"monitoring_location_id":"G","parameter_code":"00065",` +
				`"time_series_id":"a","statistic_id":"00011","time":"` + at + `","value":"` + v + `","unit_of_measure":"m"}}`
		},
	},
	{
		name: "waterml2",
		head: `<Collection xmlns="http://www.opengis.net/waterml/2.0" xmlns:om="http://www.opengis.net/om/2.0"
 xmlns:xlink="http://www.w3.org/1999/xlink"><om:OM_Observation><om:featureOfInterest xlink:title="G"/>
<om:observedProperty xlink:title="Stage"/><om:result><MeasurementTimeseries><defaultPointMetadata>
<DefaultTVPMeasurementMetadata><uom code="m"/></DefaultTVPMeasurementMetadata></defaultPointMetadata>`,
		tail: `</MeasurementTimeseries></om:result></om:OM_Observation></Collection>`, unit: `"m"`,
		row: func(at, v string) string {
			return `<point><MeasurementTVP><time>` + at + `</time><value>` + v + `</value></MeasurementTVP></point>`
		},
	},
	{
		name: "swe array",
		head: `<om:OM_Observation xmlns:om="http://www.opengis.net/om/2.0" xmlns:swe="http://www.opengis.net/swe/2.0"
 xmlns:xlink="http://www.w3.org/1999/xlink"><om:featureOfInterest xlink:title="G"/><om:result><swe:DataArray name="a">
<swe:elementType><swe:DataRecord><swe:field name="time"><swe:Time/></swe:field><swe:field name="stage"><swe:Quantity>
<swe:uom code="m"/></swe:Quantity></swe:field></swe:DataRecord></swe:elementType><swe:encoding>
<swe:TextEncoding tokenSeparator="," blockSeparator=" " decimalSeparator="."/></swe:encoding><swe:values>`,
		tail: `</swe:values></swe:DataArray></om:result></om:OM_Observation>`, sep: " ", unit: `"m"`,
		row: func(at, v string) string { return at + "," + v },
	},
	{
		name: "waterml1",
		head: `<timeSeriesResponse xmlns="http://www.cuahsi.org/waterML/1.1/"><timeSeries><sourceInfo><siteCode>G</siteCode>
</sourceInfo><variable><variableCode>H</variableCode><variableName>Stage</variableName><unit><unitAbbreviation>m</unitAbbreviation>
</unit></variable><values>`,
		tail: `</values></timeSeries></timeSeriesResponse>`, unit: `<unitAbbreviation>m<`,
		row: func(at, v string) string { return `<value dateTime="` + at + `">` + v + `</value>` },
	},
	{
		name: "sensorthings", p: ingest.Profile{RequestSite: "G"},
		head: `{"@iot.id":"d","name":"Stage","unitOfMeasurement":{"symbol":"m"},"ObservedProperty":{"name":"stage"},"Observations":[`,
		tail: `]}`, sep: ",", unit: `"m"`,
		row: func(at, v string) string { return `{"@iot.id":1,"phenomenonTime":"` + at + `","result":"` + v + `"}` },
	},
	{
		name: "records json", p: ingest.Profile{Format: ingest.FormatRecords, Records: &ingest.Records{
			Require: []string{"$.rows"}, Levels: []string{"$.rows[*]"}, Site: "=G",
			Values: []ingest.RecordValue{{Parameter: "=stage", Value: "$.v", Time: "$.t", Unit: "^$.unit"}}}},
		head: `{"unit":"m","rows":[`, tail: `]}`, sep: ",", unit: `"m"`,
		row: func(at, v string) string { return `{"t":"` + at + `","v":"` + v + `"}` },
	},
	{
		name: "records text", p: ingest.Profile{Format: ingest.FormatRecords, Records: &ingest.Records{
			Kind: "text", MetaPrefix: "#", Delimiter: ";", Site: "=G",
			Values: []ingest.RecordValue{{Parameter: "=stage", Value: "$.v", Time: "$.t", Unit: "^$.unit"}}}},
		head: "#unit;m\n#t;v\n", tail: "", unit: "unit;m\n",
		row: func(at, v string) string { return at + ";" + v + "\n" },
	},
	{
		name: "records xml", p: ingest.Profile{Format: ingest.FormatRecords, Records: &ingest.Records{
			Kind: "xml", Require: []string{"$['@unit']"}, Levels: []string{"$.r[*]"}, Site: "=G",
			Values: []ingest.RecordValue{{Parameter: "=stage", Value: "$['#text']", Time: "$['@t']", Unit: "^$['@unit']"}}}},
		head: `<all unit="m">`, tail: `</all>`, unit: `"m"`,
		row: func(at, v string) string { return `<r t="` + at + `">` + v + `</r>` },
	},
	{
		name: "coverage", p: ingest.Profile{Kind: "observation", RequestSite: "G", Parameters: map[string]string{"a": "stage"}},
		head: `{"type":"CoverageCollection","parameters":{"a":{"type":"Parameter","unit":{"symbol":"m"},"observedProperty":{"label":{"en":"a"}}}},"coverages":[`,
		tail: `]}`, sep: ",", unit: `"m"`,
		row: func(at, v string) string {
			return `{"type":"Coverage","domain":{"type":"Domain","axes":{"x":{"values":[10]},"y":{"values":[50]},"t":{"values":["` +
				at + `"]}}},"ranges":{"a":{"type":"NdArray","dataType":"float","axisNames":["t"],"shape":[1],"values":[` + v + `]}}}`
		},
	},
	{
		name: "coverage forecast", p: ingest.Profile{RequestSite: "G", Parameters: map[string]string{"a": "stage"}},
		head: `{"type":"CoverageCollection","parameters":{"a":{"type":"Parameter","unit":{"symbol":"m"},"observedProperty":{"label":{"en":"a"}}}},"coverages":[`,
		tail: `]}`, sep: ",", unit: `"m"`,
		row: func(at, v string) string {
			return `{"type":"Coverage","domain":{"type":"Domain","axes":{"x":{"values":[10]},"y":{"values":[50]},"t":{"values":["` +
				at + `"]}}},"ranges":{"a":{"type":"NdArray","dataType":"float","axisNames":["t"],"shape":[1],"values":[` + v + `]}}}`
		},
	},
	{
		name: "gridpoint", p: ingest.Profile{RequestSite: "G"},
		head: `{"type":"Feature","geometry":{"type":"Point","coordinates":[-93,45]},"properties":{"updateTime":"2026-11-01T03:00:00Z",
"temperature":{"uom":"wmoUnit:degC","values":[`,
		tail: `]}}}`, sep: ",", unit: `:degC"`, letter: "degC",
		row: func(at, v string) string { return `{"validTime":"` + at + `/PT1H","value":` + v + `}` },
	},
}

// four readings, and the document that holds them after changing one of them.
func (s specimen) body(change func(i int, at, v string) string) string {
	var rows []string
	for i, v := range []string{"1.25", "2.50", "3.75", "4.125"} {
		rows = append(rows, change(i, fmt.Sprintf("2026-11-01T0%d:30:00Z", 4+i), v))
	}
	return s.head + strings.Join(rows, s.sep) + s.tail
}

// readings are the values of a batch by time; what is not G's stage is an error.
func readings(t *testing.T, b ingest.Batch) map[string]float64 {
	t.Helper()
	out := map[string]float64{}
	for _, f := range b.Forecasts {
		require.Contains(t, string(f.Site), ":")
		for i, at := range f.At {
			out[at.Format("2006-01-02T15:04:05Z")] = f.Value[i]
		}
	}
	for _, s := range b.Series {
		require.Contains(t, string(s.Site), ":G")
		require.Equal(t, coldseam.Stage, s.Param)
		for _, o := range s.Obs {
			if o.Flag&coldseam.Missing == 0 {
				out[o.At.Format("2006-01-02T15:04:05Z")] = o.Value
			}
		}
	}
	return out
}

// Whatever happens to a document on the way, no value is read that it did not
// hold, and what is lost is told. The clock of the zone is put back at 07:00 UTC of
// the day.
func TestMutationsChangeNoValueInSilence(t *testing.T) {
	t.Parallel()
	for _, s := range specimens {
		s.p.Name, s.p.BaseURL = "x", "https://x.example"
		keep := func(_ int, at, v string) string { return s.row(at, v) }
		second := func(change func(at, v string) string) string {
			return s.body(func(i int, at, v string) string {
				if i == 1 {
					return change(at, v)
				}
				return s.row(at, v)
			})
		}
		letter := cmp.Or(s.letter, "m")
		zone := s.p
		zone.Zone = "America/Chicago"
		whole, err := Parse(strings.NewReader(s.body(keep)), s.p)
		require.NoError(t, err, s.name)
		base := readings(t, whole)
		require.Len(t, base, 4, "%s %v", s.name, whole.Skipped)

		for name, c := range map[string]struct {
			p    ingest.Profile
			body string
			lost int // readings that must be lost
		}{
			"unit":          {s.p, strings.Replace(s.body(keep), s.unit, strings.Replace(s.unit, letter, "furlong", 1), 1), 4},
			"another unit":  {s.p, strings.Replace(s.body(keep), s.unit, strings.Replace(s.unit, letter, "m3/s", 1), 1), 4},
			"no unit":       {s.p, strings.Replace(s.body(keep), s.unit, strings.Replace(s.unit, letter, "", 1), 1), 4},
			"comma":         {s.p, second(func(at, v string) string { return s.row(at, strings.Replace(v, ".", ",", 1)) }), 1},
			"thousands":     {s.p, second(func(at, v string) string { return s.row(at, "1,"+v) }), 1},
			"no zone":       {s.p, second(func(at, v string) string { return s.row(strings.TrimSuffix(at, "Z"), v) }), 1},
			"year 1":        {s.p, second(func(at, v string) string { return s.row("0001-01-01T00:00:00Z", v) }), 1},
			"duplicate":     {s.p, second(func(at, v string) string { return s.row(at, v) + s.sep + s.row(at, "9.5") }), 1},
			"said again":    {s.p, second(func(at, v string) string { return s.row(at, v) + s.sep + s.row(at, v) }), 0},
			"sentinel":      {s.p, second(func(at, v string) string { return s.row(at, "-999999") }), 1},
			"NaN":           {s.p, second(func(at, v string) string { return s.row(at, "NaN") }), 1},
			"infinite":      {s.p, second(func(at, v string) string { return s.row(at, "1e999") }), 1},
			"hexadecimal":   {s.p, second(func(at, v string) string { return s.row(at, "0x2") }), 1},
			"underscores":   {s.p, second(func(at, v string) string { return s.row(at, "2_5") }), 1},
			"clock skipped": {zone, second(func(at, v string) string { return s.row("2026-03-08T02:30:00", v) }), 1},
			"clock back": {zone, second(func(at, v string) string {
				return s.row("2026-11-01T01:30:00", v) + s.sep + s.row("2026-11-01T01:30:00", "9.5")
			}), 2}, // and the reading of 06:30 UTC, which they gainsay
			"depth": {s.p, second(func(at, v string) string { return s.row(at, strings.Repeat("[", 200_000)) }), 1},
			"size":  {s.p, s.body(keep) + strings.Repeat(" ", ingest.DefaultMaxBody), 4},
		} {
			what := s.name + ": " + name
			b, err := Parse(strings.NewReader(c.body), c.p)
			if err != nil {
				require.ErrorIs(t, err, coldseam.ErrInvalid, what)
				require.Zero(t, b.Rows(), what)
				continue
			}
			got := readings(t, b)
			for at, v := range got {
				require.Contains(t, base, at, what)
				require.InDelta(t, base[at], v, 0, what)
			}
			if len(got) > 0 || len(b.Skipped) == 0 { // else refused as a whole, and told
				require.Len(t, got, 4-c.lost, what)
			}
			missing := 0
			for _, m := range b.Meta {
				missing += m.Missing + m.Duplicates
			}
			again := c.lost == 0 && len(b.Forecasts) > 0 // a step that is repeated loses nothing
			require.False(t, len(b.Skipped)+missing == 0 && !again, "%s: not told", what)
		}

		for n := range len(s.body(keep)) {
			b, err := Parse(strings.NewReader(s.body(keep)[:n]), s.p)
			if err != nil {
				continue
			}
			for at, v := range readings(t, b) {
				require.InDelta(t, base[at], v, 0, "%s cut at %d", s.name, n)
			}
		}
	}
}
