package capalert

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// flooding is a warning of our own with one of everything that decides.
const flooding = `<?xml version="1.0" encoding="UTF-8"?>
<alert xmlns="urn:oasis:names:tc:emergency:cap:1.2"><identifier>w-1</identifier><sender>met@agency.example</sender>
<sent>2026-04-10T06:00:00-05:00</sent><status>Actual</status><msgType>Alert</msgType><scope>Public</scope>
<info><language>en-US</language><event>Flood Warning</event><urgency>Immediate</urgency><severity>Severe</severity>
<certainty>Observed</certainty><effective>2026-04-10T06:00:00-05:00</effective><expires>2026-04-11T18:00:00-05:00</expires>
<area><areaDesc>Mill valley</areaDesc><polygon>45.1,-92.1 45.1,-92.5 45.5,-92.5 45.5,-92.1 45.1,-92.1</polygon>
<geocode><valueName>UGC</valueName><value>XXC011</value></geocode></area></info></alert>`

// weaker says in what an alert promises less danger than another, "" = in nothing.
func weaker(a, than coldseam.Alert) string {
	switch {
	case a.Status != than.Status, a.MsgType != than.MsgType:
		return "status or kind"
	case !strings.Contains(a.Event, than.Event):
		return "event"
	case severityRank(a.Severity) < severityRank(than.Severity):
		return "severity"
	case a.Urgency != than.Urgency && a.Urgency != "", a.Certainty != than.Certainty && a.Certainty != "":
		return "urgency or certainty"
	case a.From.After(than.From), !a.EndAssumed && a.End.Before(than.End): // an end of our own is told
		return "time"
	case len(a.Areas) < len(than.Areas):
		return "areas"
	}
	for i, x := range than.Areas {
		if y := a.Areas[i].Polygons; len(y) == 1 && y[0][0] != y[0][len(y[0])-1] {
			continue // an outline that is not closed is near everything about it: see Place
		}
		same := slices.EqualFunc(a.Areas[i].Polygons, x.Polygons, func(p, q [][2]float64) bool { return slices.Equal(p, q) })
		if !a.Areas[i].Damaged && (!same || !slices.Equal(a.Areas[i].Geocodes, x.Geocodes)) {
			return "area"
		}
	}
	return ""
}

// Whatever happens to a warning on the way, it is refused, or told of, or says no
// less than it did.
func TestMutationsWeakenNoWarningInSilence(t *testing.T) {
	t.Parallel()
	p := ingest.Profile{Name: "x"}
	read := func(body string) ([]coldseam.Alert, ingest.Batch, error) {
		b, err := Parse(strings.NewReader(body), p)
		return b.Alerts, b, err
	}
	whole, _, err := read(flooding)
	require.NoError(t, err)
	require.Empty(t, whole[0].Defects)
	base := whole[0]

	swap := func(old, new string) string {
		require.Contains(t, flooding, old)
		return strings.Replace(flooding, old, new, 1)
	}
	bodies := map[string]string{
		"no zone":            swap("2026-04-11T18:00:00-05:00", "2026-04-11T18:00:00"),
		"another calendar":   swap("2026-04-11T18:00:00-05:00", "11.04.2026 18:00"),
		"year 1":             swap("2026-04-11T18:00:00-05:00", "0001-01-01T00:00:00Z"),
		"year 9999":          swap("2026-04-11T18:00:00-05:00", "9999-12-31T23:59:59-05:00"),
		"ends before":        swap("2026-04-11T18:00:00-05:00", "2026-04-09T18:00:00-05:00"),
		"no end":             swap("<expires>2026-04-11T18:00:00-05:00</expires>", ""),
		"begins never":       swap("<effective>2026-04-10T06:00:00-05:00", "<effective>2126-04-10T06:00:00-05:00"),
		"comma":              swap("45.1,-92.1 45.1", "45,1,-92,1 45.1"),
		"semicolon":          swap("45.1,-92.1 45.1", "45.1;-92.1 45.1"),
		"NaN":                swap("45.1,-92.1 45.1", "NaN,-92.1 45.1"),
		"infinite":           swap("45.1,-92.1 45.1", "1e999,-92.1 45.1"),
		"no such place":      swap("45.1,-92.1 45.1", "145.1,-92.1 45.1"),
		"open outline":       swap(" 45.1,-92.1</polygon>", "</polygon>"),
		"outline cut":        swap(" 45.5,-92.5 45.5,-92.1 45.1,-92.1</polygon>", "</polygon>"),
		"code gone":          swap("<value>XXC011</value>", "<value></value>"),
		"unknown severity":   swap(">Severe<", ">Red<"),
		"severity gone":      swap("<severity>Severe</severity>", ""),
		"severity twice":     swap("<severity>", "<severity>Minor</severity><severity>"),
		"event twice":        swap("<event>", "<event>Small Craft Advisory</event><event>"),
		"expires twice":      swap("<expires>", "<expires>2026-04-10T07:00:00-05:00</expires><expires>"),
		"status twice":       swap("<status>", "<status>Test</status><status>"),
		"kind twice":         swap("<msgType>", "<msgType>Cancel</msgType><msgType>"),
		"urgency twice":      swap("<urgency>", "<urgency>Past</urgency><urgency>"),
		"status gone":        swap("<status>Actual</status>", ""),
		"kind gone":          swap("<msgType>Alert</msgType>", ""),
		"sent gone":          swap("<sent>2026-04-10T06:00:00-05:00</sent>", ""),
		"info twice":         swap("</info></alert>", "</info><info><event>Flood Warning</event><severity>Minor</severity><urgency>Past</urgency><certainty>Unlikely</certainty><expires>2026-04-10T07:00:00-05:00</expires></info></alert>"),
		"deep":               swap("Mill valley", strings.Repeat("<a>", 100)),
		"size":               flooding + strings.Repeat(" ", ingest.DefaultMaxBody),
		"a second document":  flooding + flooding,
		"not UTF-8":          swap("Mill valley", "M\xfchle"),
		"UTF-16 by its word": swap(`encoding="UTF-8"`, `encoding="UTF-16"`),
		"DTD":                swap("<alert ", "<!DOCTYPE a [<!ENTITY x \"y\">]><alert "),
		"web page":           "<html><body>" + flooding + "</body></html>",
	}
	for n := range len(flooding) {
		bodies["cut at "+flooding[max(n-20, 0):n]] = flooding[:n]
	}
	for name, body := range bodies {
		got, b, err := read(body)
		switch {
		case err != nil:
			require.ErrorIs(t, err, coldseam.ErrInvalid, name)
			require.Zero(t, b.Rows(), name)
		case len(got) == 0:
			require.NotEmpty(t, b.Skipped, name)
		default:
			for _, a := range got {
				if len(a.Defects) == 0 {
					require.Empty(t, weaker(a, base), name)
				}
			}
		}
	}

	// A defect that is named hides no other: what stands twice counts as the worst.
	for _, name := range []string{"severity twice", "event twice", "expires twice", "status twice", "kind twice", "urgency twice"} {
		got, _, err := read(bodies[name])
		require.NoError(t, err, name)
		require.NotEmpty(t, got[0].Defects, name)
		require.Empty(t, weaker(got[0], base), name)
	}
}

// In GeoJSON too: the decoder would take the last of two.
func TestAMemberTwiceWeakensNoWarning(t *testing.T) {
	t.Parallel()
	body, err := os.ReadFile(filepath.Join("testdata", "geojson", "response.json"))
	require.NoError(t, err)
	_, err = Parse(bytes.NewReader(body), ingest.Profile{Name: "x"})
	require.NoError(t, err)
	for _, name := range []string{"status", "severity", "event", "expires"} {
		i := bytes.Index(body, []byte(`"`+name+`"`))
		require.Positive(t, i)
		twice := slices.Concat(body[:i], []byte(`"`+name+`": "Test", `), body[i:])
		_, err = Parse(bytes.NewReader(twice), ingest.Profile{Name: "x"})
		require.ErrorContains(t, err, "stands twice", name)
	}
}
