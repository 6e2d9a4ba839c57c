package capalert_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/capalert"
)

// message is a warning with some areas and times of its own.
func message(t *testing.T, area, times string) coldseam.Alert {
	t.Helper()
	b, err := capalert.Parse(strings.NewReader(`<alert xmlns="urn:oasis:names:tc:emergency:cap:1.2"><identifier>i</identifier><sender>s@example.org</sender>
<sent>2026-04-09T15:30:00-05:00</sent><status>Actual</status><msgType>Alert</msgType><scope>Public</scope><info><event>Flood Warning</event>
<urgency>Expected</urgency><severity>Severe</severity><certainty>Likely</certainty>`+times+area+`</info></alert>`), ingest.Profile{Name: "x"})
	require.NoError(t, err)
	return b.Alerts[0]
}

func TestPlace(t *testing.T) {
	t.Parallel()
	area := func(s string) string { return "<area><areaDesc>a</areaDesc>" + s + "</area>" }
	code := func(kind, v string) string {
		return "<geocode><valueName>" + kind + "</valueName><value>" + v + "</value></geocode>"
	}
	poly := func(s string) string { return "<polygon>" + s + "</polygon>" }
	tamsen := coldseam.Reach{Lat: 45.3, Lon: -92.6, AlertZones: []string{"UGC=XXC011"}}
	spaced := coldseam.Reach{AlertZones: []string{"DISTRICT=FR 433"}}
	chatham := coldseam.Reach{Lat: -43.9, Lon: -176.5}
	east := coldseam.Reach{Lat: 42.2, Lon: -84.4}

	for _, c := range []struct {
		name, areas string
		reach       coldseam.Reach
		want        capalert.Position
		why         string
	}{
		{"no area", "", tamsen, capalert.Unknown, "no_area"},
		{"words alone", area(""), tamsen, capalert.Unknown, "no_area"},
		{"own code", area(code("UGC", "XXC011")), tamsen, capalert.Here, "zone UGC=XXC011"},
		{"another code", area(code("UGC", "XXC012")), tamsen, capalert.Elsewhere, ""},
		{"list of codes", area(code("UGC", "XXC012 XXC011")), tamsen, capalert.Here, "zone UGC=XXC011"},
		{"list with commas", area(code("UGC", "XXC012,XXC011")), tamsen, capalert.Here, "zone UGC=XXC011"},
		{"blanks around", area(code("UGC", "\n XXC011 ")), tamsen, capalert.Here, "zone UGC=XXC011"},
		{"values of one code",
			area("<geocode><valueName>UGC</valueName><value>XXC012</value><value>XXC011</value></geocode>"), tamsen,
			capalert.Here, "zone UGC=XXC011"},
		{"code with a space", area(code("DISTRICT", "FR 433")), spaced, capalert.Here, "zone DISTRICT=FR 433"},
		{"another code with a space", area(code("DISTRICT", "FR 434")), spaced, capalert.Elsewhere, ""},
		{"codes of another kind", area(code("SAME", "055011")), tamsen, capalert.Unknown, "foreign_code"},
		{"forecast zone of the same state", area(code("UGC", "XXZ011")), tamsen, capalert.Unknown, "foreign_code"},
		{"forecast zone of another state", area(code("UGC", "YYZ011")), tamsen, capalert.Elsewhere, ""},
		{"code of another form", area(code("UGC", "XXC009-011")), tamsen, capalert.Unknown, "foreign_code"},
		{"bare zone, same form", area(code("SAME", "055012")), coldseam.Reach{AlertZones: []string{"055011"}},
			capalert.Elsewhere, ""},
		{"bare zone, another form", area(code("SAME", "055012")), coldseam.Reach{AlertZones: []string{"XXC011"}},
			capalert.Unknown, "foreign_code"},
		{"one area elsewhere, one without place", area(code("UGC", "XXC012")) + area(""), tamsen, capalert.Unknown,
			"no_area"},
		{"damaged outline", area(poly("45.4,-92.8 45.4 45.2,-92.5")), tamsen, capalert.Unknown, "damaged_shape"},
		{"damaged outline with a code", area(poly("45.4,-92.8 45.4 45.2,-92.5") + code("UGC", "XXC012")), tamsen,
			capalert.Elsewhere, ""},
		{"longitude first", area(poly("-92.8,45.4 -92.4,45.4 -92.4,45.2 -92.8,45.2 -92.8,45.4")), tamsen, capalert.Unknown,
			"damaged_shape"},
		{"longitude first, both in range", area(poly("-84.6,42.3 -84.2,42.3 -84.2,42.1 -84.6,42.1 -84.6,42.3")), east,
			capalert.Unknown, "exchanged_shape"},
		{"outline elsewhere", area(poly("43.4,-92.8 43.4,-92.4 43.2,-92.4 43.4,-92.8")), tamsen, capalert.Elsewhere, ""},
		{"edges that cross", area(poly("45.4,-92.8 45.2,-92.4 45.4,-92.4 45.2,-92.8 45.4,-92.8")),
			coldseam.Reach{Lat: 45.3, Lon: -92.75}, capalert.Here, "polygon of a"},
		{"beside edges that cross", area(poly("45.4,-92.8 45.2,-92.4 45.4,-92.4 45.2,-92.8 45.4,-92.8")),
			coldseam.Reach{Lat: 45.38, Lon: -92.6}, capalert.Unknown, "damaged_shape"},
		{"cut off", area(poly("45.4,-92.8 45.4,-92.4 45.35,-92.4")), tamsen, capalert.Unknown, "damaged_shape"},
		{"one wrong number", area(poly("-45.4,-92.8 45.4,-92.4 45.2,-92.4 45.2,-92.8 -45.4,-92.8")), tamsen,
			capalert.Unknown, "damaged_shape"},
		{"over the date line", area(poly("-43,179 -43,-176 -45,-176 -45,179 -43,179")), chatham, capalert.Here,
			"polygon of a"},
		{"beside the date line", area(poly("-43,179 -43,-178 -45,-178 -45,179 -43,179")), chatham, capalert.Elsewhere, ""},
		{"circle", area("<circle>45.3,-92.6 10</circle>"), tamsen, capalert.Here, "circle of a"},
		{"circle elsewhere", area("<circle>46.3,-92.6 10</circle>"), tamsen, capalert.Elsewhere, ""},
		{"circle, longitude first", area("<circle>-84.4,42.2 10</circle>"), east, capalert.Unknown, "exchanged_shape"},
		{"circle without radius", area("<circle>45.3,-92.6</circle>"), tamsen, capalert.Unknown, "damaged_shape"},
		{"outline, reach without position", area(poly("43.4,-92.8 43.4,-92.4 43.2,-92.4 43.4,-92.8")),
			coldseam.Reach{AlertZones: []string{"UGC=XXC011"}}, capalert.Unknown, "no_position"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			why, got := capalert.Place(message(t, c.areas, ""), c.reach)
			require.Equal(t, c.want, got, why)
			require.Equal(t, c.why, why)
		})
	}
}

// What a warning says of its times, and what is made of it.
func TestTimesOfAWarning(t *testing.T) {
	t.Parallel()
	at := func(s string) time.Time {
		v, err := time.Parse(time.RFC3339, s)
		require.NoError(t, err)
		return v
	}
	ending := func(v string) string {
		return "<parameter><valueName>eventEndingTime</valueName><value>" + v + "</value></parameter>"
	}
	sent, dayOn := at("2026-04-09T20:30:00Z"), at("2026-04-10T20:30:00Z")

	for _, c := range []struct {
		name, times string
		from, end   time.Time
		assumed     bool
	}{
		{"expires", "<expires>2026-04-10T03:30:00-05:00</expires>", sent, at("2026-04-10T08:30:00Z"), false},
		{"year 10000 in UTC", "<expires>9999-12-31T23:59:59-05:00</expires>", sent, coldseam.FurtherNotice, false},
		{"beyond two years", "<expires>2029-01-01T00:00:00Z</expires>", sent, coldseam.FurtherNotice, false},
		{"within two years", "<expires>2027-01-01T00:00:00Z</expires>", sent, at("2027-01-01T00:00:00Z"), false},
		{"event ends far ahead", ending("9999-12-31T23:59:59-05:00") + "<expires>2026-04-10T03:30:00-05:00</expires>",
			sent, coldseam.FurtherNotice, false},
		{"before it was sent", "<expires>2026-04-09T08:30:00-05:00</expires>", sent, dayOn, true},
		{"as it was sent", "<expires>2026-04-09T15:30:00-05:00</expires>", sent, dayOn, true},
		{"none", "", sent, dayOn, true},
		{"ends", "<expires>2026-04-09T22:30:00Z</expires><ends>2026-04-11T00:00:00Z</ends>", sent,
			at("2026-04-11T00:00:00Z"), false},
		{"onset after the message expires",
			"<onset>2026-04-10T06:00:00Z</onset><expires>2026-04-10T00:00:00Z</expires>", at("2026-04-10T06:00:00Z"),
			at("2026-04-11T06:00:00Z"), true},
		{"onset years ahead", "<onset>9999-12-31T23:59:59-05:00</onset><expires>2026-04-10T08:30:00Z</expires>", sent,
			at("2026-04-10T08:30:00Z"), false},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			a := message(t, "", c.times)
			require.Equal(t, []time.Time{c.from, c.end}, []time.Time{a.From, a.End})
			require.Equal(t, c.assumed, a.EndAssumed)
			_, err := a.End.MarshalJSON()
			require.NoError(t, err)
		})
	}
}

func TestUnlistedKindOfCode(t *testing.T) {
	t.Parallel()
	county := coldseam.Reach{AlertZones: []string{"UGC=XXC011"}}
	both := coldseam.Reach{AlertZones: []string{"UGC=XXC011", "UGC=XXZ011"}}
	of := func(codes ...string) coldseam.Alert {
		return coldseam.Alert{Areas: []coldseam.AlertArea{{Geocodes: codes}}}
	}
	require.Equal(t, "UGC=XXZ020", capalert.Unlisted(of("UGC=XXZ020"), county))
	require.Equal(t, "SAME=055011", capalert.Unlisted(of("SAME=055011"), county))
	require.Empty(t, capalert.Unlisted(of("UGC=XXZ020"), both), "of the same kind: elsewhere")
	require.Empty(t, capalert.Unlisted(of("SAME=055011", "UGC=XXC012"), county), "a code beside it tells")
	require.Empty(t, capalert.Unlisted(of("UGC=YYZ020"), county), "of another state")
	shaped := of("UGC=XXZ020")
	shaped.Areas[0].Circles = [][3]float64{{45, -92, 10}}
	require.Empty(t, capalert.Unlisted(shaped, county), "its outline tells")
}
