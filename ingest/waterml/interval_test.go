package waterml_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/waterml"
)

// daily is a WaterML 1.1 answer with one value; supportUnit "" leaves its time
// support out.
func daily(support, supportUnit, dataType, attrs string) string {
	scale := ""
	if supportUnit != "" {
		scale = fmt.Sprintf(`<timeScale><unit><unitName>%s</unitName></unit><timeSupport>%s</timeSupport></timeScale>`,
			supportUnit, support)
	}
	return `<timeSeriesResponse xmlns="http://www.cuahsi.org/waterML/1.1/"><timeSeries><sourceInfo><siteCode>S1</siteCode>
</sourceInfo><variable><variableCode>Q</variableCode><variableName>Discharge</variableName><dataType>` + dataType +
		`</dataType><unit><unitAbbreviation>m3/s</unitAbbreviation></unit>` + scale + `</variable><values>` +
		`<value ` + attrs + `>5</value></values></timeSeries></timeSeriesResponse>`
}

// A value of a period counts from the end of the period: nobody knew the mean of
// a day on its morning.
func TestV1PeriodsEndAtTheirEnd(t *testing.T) {
	t.Parallel()
	utc := `dateTime="2011-10-11T00:00:00" timeOffset="-07:00" dateTimeUTC="2011-10-11T07:00:00"`
	for name, c := range map[string]struct{ body, zone, want, period string }{
		"day with its UTC":     {daily("1", "day", "Average", utc), "", "2011-10-12T07:00:00Z", "P1D"},
		"day and offset":       {daily("1", "day", "Average", utc[:strings.Index(utc, " dateTimeUTC")]), "", "2011-10-12T07:00:00Z", "P1D"},
		"day of 23 hours":      {daily("1", "day", "Maximum", `dateTime="2026-03-08T00:00:00" timeOffset="-06:00"`), "America/Chicago", "2026-03-09T05:00:00Z", "P1D"},
		"hour":                 {daily("1", "hour", "Average", utc), "", "2011-10-11T08:00:00Z", "PT1H"},
		"instant":              {daily("1", "hour", "Continuous", utc), "", "2011-10-11T07:00:00Z", ""},
		"support of no length": {daily("0", "day", "Average", utc), "", "2011-10-12T07:00:00Z", "P1D"},
	} {
		t.Run(name, func(t *testing.T) {
			b, err := waterml.ParseV1(strings.NewReader(c.body), ingest.Profile{Name: "x", Zone: c.zone})
			require.NoError(t, err)
			require.Len(t, b.Series, 1, "%v", b.Skipped)
			require.Equal(t, c.want, b.Series[0].Obs[0].At.Format(time.RFC3339))
			require.Equal(t, c.period, b.Series[0].Period)
		})
	}
}

// The number of a sample is not the name of a series.
func TestSamplesAreOneSeries(t *testing.T) {
	t.Parallel()
	body := strings.Replace(daily("", "", "Sporadic", `dateTimeUTC="2011-10-11T07:00:00" sampleID="1"`), "</values>",
		`<value dateTimeUTC="2011-10-12T07:00:00" sampleID="2">6</value></values>`, 1)
	b, err := waterml.ParseV1(strings.NewReader(body), ingest.Profile{Name: "x"})
	require.NoError(t, err)
	require.Len(t, b.Series, 1)
	require.Len(t, b.Series[0].Obs, 2)

	b, err = waterml.ParseV1(strings.NewReader(strings.Replace(body, "2011-10-12", "2011-10-11", 1)), ingest.Profile{Name: "x"})
	require.NoError(t, err)
	require.Len(t, b.Series, 2, "two samples of one time are both true")
}

// WaterML 1 in a SOAP envelope, as elements and as escaped text.
func TestV1InAnEnvelope(t *testing.T) {
	t.Parallel()
	inner := daily("", "", "Continuous", `dateTimeUTC="2011-10-11T07:00:00"`)
	escaped := strings.NewReplacer("&", "&amp;", "<", "&lt;").Replace(inner)
	for _, body := range []string{inner, escaped} {
		b, err := waterml.ParseV1(strings.NewReader(`<s:Envelope xmlns:s="http://schemas.xmlsoap.org/soap/envelope/"><s:Body>
<GetValuesResponse xmlns="http://www.cuahsi.org/his/1.1/ws/"><GetValuesResult>`+body+
			`</GetValuesResult></GetValuesResponse></s:Body></s:Envelope>`), ingest.Profile{Name: "x"})
		require.NoError(t, err)
		require.Equal(t, 1, b.Rows())
	}
}

func interpolated(word, extra string) string {
	return `<Collection xmlns="http://www.opengis.net/waterml/2.0" xmlns:om="http://www.opengis.net/om/2.0"
 xmlns:xlink="http://www.w3.org/1999/xlink"><om:OM_Observation><om:featureOfInterest xlink:title="S1"/>
<om:observedProperty xlink:title="Discharge"/><om:result><MeasurementTimeseries><defaultPointMetadata>
<DefaultTVPMeasurementMetadata><uom code="m3/s"/><interpolationType xlink:href="http://www.opengis.net/def/timeseriesType/WaterML/2.0/` +
		word + `"/>` + extra + `</DefaultTVPMeasurementMetadata></defaultPointMetadata><point><MeasurementTVP>
<time>2026-04-10T00:00:00Z</time><value>7</value></MeasurementTVP></point></MeasurementTimeseries></om:result>
</om:OM_Observation></Collection>`
}

// What holds for an interval is no reading of an instant: without a statistic
// it is left out, with one it counts from the end of its interval.
func TestIntervalValuesNeedAStatistic(t *testing.T) {
	t.Parallel()
	read := func(word, extra, statistic string) ingest.Batch {
		b, err := waterml.Parse(strings.NewReader(interpolated(word, extra)), ingest.Profile{Name: "x",
			Statistics: map[string]string{"discharge": statistic}})
		require.NoError(t, err)
		return b
	}
	for _, word := range []string{"ConstSucc", "ConstPrec", "InstantTotal", "Statistical", "SomethingNew"} {
		b := read(word, "", "")
		require.Empty(t, b.Series, word)
		require.Equal(t, ingest.CodeStatistic, b.Skipped[0].Code, word)
	}

	require.Empty(t, read("ConstSucc", "", "mean").Series, "its end is not known")
	b := read("ConstSucc", "", "mean P1D")
	require.Equal(t, "2026-04-11T00:00:00Z", b.Series[0].Obs[0].At.Format(time.RFC3339))
	require.Equal(t, coldseam.Mean, b.Series[0].Stat)
	b = read("ConstSucc", "<aggregationDuration>PT1H</aggregationDuration>", "mean")
	require.Equal(t, "2026-04-10T01:00:00Z", b.Series[0].Obs[0].At.Format(time.RFC3339))
	b = read("ConstPrec", "", "mean P1D")
	require.Equal(t, "2026-04-10T00:00:00Z", b.Series[0].Obs[0].At.Format(time.RFC3339))
	named, err := waterml.Parse(strings.NewReader(strings.Replace(interpolated("ConstSucc", ""), "<om:observedProperty",
		`<om:procedure xlink:href="http://s.example/tstypes/Daily Mean"/><om:observedProperty`, 1)), ingest.Profile{Name: "x"})
	require.NoError(t, err)
	require.Equal(t, "x:S1/discharge/meanP1D", named.Series[0].SeriesKey.String())
	require.Equal(t, "2026-04-11T00:00:00Z", named.Series[0].Obs[0].At.Format(time.RFC3339))
	require.Equal(t, coldseam.Instant, read("ConstSucc", "", "instant").Series[0].Stat)
	require.Equal(t, coldseam.Instant, read("Continuous", "", "").Series[0].Stat)
}
