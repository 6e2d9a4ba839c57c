package waterml_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/waterml"
)

// arrayOf is a data array of time and stage with these separators and rows.
func arrayOf(t *testing.T, token, decimal, rows string) ingest.Batch {
	t.Helper()
	b, err := waterml.Parse(strings.NewReader(fmt.Sprintf(`<om:OM_Observation xmlns:om="http://www.opengis.net/om/2.0"
 xmlns:swe="http://www.opengis.net/swe/2.0" xmlns:xlink="http://www.w3.org/1999/xlink">
<om:featureOfInterest xlink:title="S1"/><om:result><swe:DataArray name="a"><swe:elementType><swe:DataRecord>
<swe:field name="time"><swe:Time/></swe:field><swe:field name="stage"><swe:Quantity><swe:uom code="m"/></swe:Quantity></swe:field>
</swe:DataRecord></swe:elementType><swe:encoding><swe:TextEncoding tokenSeparator="%s" blockSeparator=" " decimalSeparator="%s"/>
</swe:encoding><swe:values>%s</swe:values></swe:DataArray></om:result></om:OM_Observation>`, token, decimal, rows)),
		ingest.Profile{Name: "x"})
	require.NoError(t, err)
	return b
}

// A row that is longer or shorter than its fields holds nothing that can be
// believed: a comma inside a number makes two of one.
func TestRaggedRowsGiveNoValue(t *testing.T) {
	t.Parallel()
	b := arrayOf(t, ",", ".", "2026-04-10T00:00:00Z,6,4 2026-04-10T01:00:00Z,1,234.5 2026-04-10T02:00:00Z 2026-04-10T03:00:00Z,5")
	require.Len(t, b.Series[0].Obs, 1)
	require.InDelta(t, 5, b.Series[0].Obs[0].Value, 0)
	require.Len(t, b.Skipped, 2)
	require.Equal(t, ingest.CodeRow, b.Skipped[0].Code)
	require.Equal(t, 3, b.Skipped[0].N+b.Skipped[1].N)
}

// Where the decimal mark is a comma, a point marks thousands or is a mistake.
func TestTwoDecimalMarksAreNone(t *testing.T) {
	t.Parallel()
	b := arrayOf(t, ";", ",", "2026-04-10T00:00:00Z;6,4 2026-04-10T01:00:00Z;1.234 2026-04-10T02:00:00Z;1,234,5")
	require.Len(t, b.Series[0].Obs, 1)
	require.InDelta(t, 6.4, b.Series[0].Obs[0].Value, 0)
	b = arrayOf(t, ";", ".", "2026-04-10T00:00:00Z;6,4")
	require.Empty(t, b.Series)
	require.Equal(t, ingest.CodeValue, b.Skipped[0].Code)
}

// A record that holds no rows is told.
func TestRecordWithoutRowsIsTold(t *testing.T) {
	t.Parallel()
	b, err := waterml.Parse(strings.NewReader(`<om:OM_Observation xmlns:om="http://www.opengis.net/om/2.0"
 xmlns:swe="http://www.opengis.net/swe/2.0"><om:result><swe:DataRecord><swe:field name="stage"><swe:Quantity>
<swe:uom code="m"/><swe:value>5</swe:value></swe:Quantity></swe:field></swe:DataRecord></om:result></om:OM_Observation>`),
		ingest.Profile{Name: "x"})
	require.NoError(t, err)
	require.Equal(t, ingest.CodeEncoding, b.Skipped[0].Code)
}
