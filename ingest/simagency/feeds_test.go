package simagency

import (
	"math"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/capalert"
	"example.org/coldseam/ingest/covjson"
	"example.org/coldseam/ingest/ingesttest"
	"example.org/coldseam/ingest/ogcfeatures"
	"example.org/coldseam/ingest/waterml"
)

func profile(t *testing.T, base, name, endpoint string) ingest.Profile {
	t.Helper()
	for _, p := range Profiles(base) {
		if p.Name == name {
			q, err := p.At(endpoint)
			require.NoError(t, err)
			return q
		}
	}
	t.Fatalf("no profile %s", name)
	return ingest.Profile{}
}

func parsed(t *testing.T, parse ingest.ParseFunc, p ingest.Profile, address string) ingest.Batch {
	t.Helper()
	code, body, _ := get(t, address)
	require.Equal(t, 200, code, body)
	b, err := parse(strings.NewReader(body), p)
	require.NoError(t, err)
	ingesttest.Sound(t, b)
	return b
}

func find(b ingest.Batch, site coldseam.SiteID, p coldseam.Parameter) coldseam.Series {
	for _, s := range b.Series {
		if s.Site == site && s.Param == p {
			return s
		}
	}
	return coldseam.Series{}
}

// The daily means of every river come out of the real parsers as they went in:
// 1 % noise of the gauge, the digits of the feed, and the planted gap.
func TestDailyMeansReadBackEqualTheTruth(t *testing.T) {
	t.Parallel()
	_, base, _ := start(t, Options{})

	for _, r := range Rivers() {
		truth, err := world(t).Truth(r.Code)
		require.NoError(t, err)
		geo := parsed(t, ogcfeatures.Parse, profile(t, base, ProfileGauges, "daily"),
			base+items+"daily/items?limit=50000&time=2024-04-11/2026-04-10&monitoring_location_id="+r.Code)
		wml := parsed(t, waterml.Parse, profile(t, base, ProfileWaterML, "daily"),
			base+"/sos?request=GetObservation&procedure=DailyMean&featureOfInterest="+r.Code+"&temporalFilter="+
				url.QueryEscape("om:phenomenonTime,2024-04-11T00:00:00-05:00/2026-04-10T00:00:00-05:00"))
		require.Empty(t, geo.Skipped)
		require.Empty(t, wml.Skipped)

		for p, want := range map[coldseam.Parameter][]float64{coldseam.Discharge: truth.FlowM3S,
			coldseam.WaterTemp: truth.WaterC, coldseam.AirTemp: truth.AirC} {
			g, w := find(geo, r.SiteID(), p), find(wml, r.SiteID(), p)
			require.Equal(t, coldseam.Mean, g.Stat)
			require.Equal(t, "P1D", g.Period)
			require.Equal(t, g.SeriesKey.Stat, w.SeriesKey.Stat)
			require.Equal(t, len(g.Obs), len(w.Obs), "%s %s", r.Name, p)
			require.GreaterOrEqual(t, len(g.Obs), 728)

			for i, o := range g.Obs {
				require.True(t, o.At.Equal(w.Obs[i].At), "%s: %s and %s", p, o.At, w.Obs[i].At)
				day := coldseam.DateOf(o.At.In(world(t).zone)).Add(-1)
				v := want[truth.Index(day)]
				tol := 0.45 + 0.3*math.Abs(v)*btof(o.Flag&coldseam.Ice != 0) + 0.05*math.Abs(v)
				require.InDelta(t, v, o.Value, tol, "%s %s %s", r.Name, p, day)
				require.InDelta(t, o.Value, w.Obs[i].Value, 0.06+0.01*math.Abs(v))
			}
		}
	}
}

func btof(b bool) float64 { return float64(btoi(b)) }

// Both wire formats of one river agree on the newest value, also in degF.
func TestLatestAgreesBetweenFormats(t *testing.T) {
	t.Parallel()
	_, base, _ := start(t, Options{})
	geo := parsed(t, ogcfeatures.Parse, profile(t, base, ProfileGauges, "latest"),
		base+items+"latest-continuous/items?limit=100")
	require.Len(t, geo.Series, 3*len(Rivers()))
	wml := parsed(t, waterml.Parse, profile(t, base, ProfileWaterML, ""),
		base+"/sos?request=GetObservation&temporalFilter="+
			url.QueryEscape("om:phenomenonTime,2026-04-09T00:00:00Z/2026-04-10T09:30:00Z"))
	for _, r := range Rivers() {
		for _, p := range []coldseam.Parameter{coldseam.Discharge, coldseam.Stage, coldseam.WaterTemp} {
			a, ok := find(geo, r.SiteID(), p).Last()
			require.True(t, ok)
			b, ok := find(wml, r.SiteID(), p).Last()
			require.True(t, ok, "%s %s", r.Name, p)
			require.True(t, a.At.Equal(b.At))
			require.InDelta(t, a.Value, b.Value, 0.06+0.01*a.Value)
		}
	}
	hallam, _ := find(geo, Rivers()[1].SiteID(), coldseam.Stage).Last()
	require.Greater(t, hallam.Value, Rivers()[1].FloodM)
}

// Ice reaches the parsed row although the value is null.
func TestIceRowsReadBack(t *testing.T) {
	t.Parallel()
	_, base, _ := start(t, Options{})
	b := parsed(t, ogcfeatures.Parse, profile(t, base, ProfileGauges, "history"),
		base+items+"continuous/items?monitoring_location_id=NG-1001&parameter_code=00060&time=2026-02-12T12:00:00Z")
	o := b.Series[0].Obs[0]
	require.NotZero(t, o.Flag&coldseam.Ice)
	require.NotZero(t, o.Flag&coldseam.Missing)
}

func TestSitesAndGaugingsReadBack(t *testing.T) {
	t.Parallel()
	_, base, _ := start(t, Options{})
	sites := parsed(t, ogcfeatures.Parse, profile(t, base, ProfileGauges, "locations"),
		base+items+"monitoring-locations/items?limit=10")
	require.Len(t, sites.Sites, len(Rivers()))
	for i, s := range sites.Sites {
		r := Rivers()[i]
		require.Equal(t, r.SiteID(), s.ID)
		require.InDelta(t, r.Lat, s.Lat, 1e-9)
		require.InEpsilon(t, r.AreaKM2, *s.DrainageKM2, 0.001)
	}

	for _, r := range Rivers() {
		ch := parsed(t, ogcfeatures.Parse, profile(t, base, ProfileGauges, "channels"),
			base+items+"channel-measurements/items?limit=100&monitoring_location_id="+r.Code)
		want := world(t).Gaugings(r.Code)
		require.Len(t, ch.Gaugings, len(want))
		ice := 0
		for i, g := range ch.Gaugings {
			require.InEpsilon(t, want[i].DischargeM3S, g.DischargeM3S, 0.01)
			require.InEpsilon(t, *want[i].AreaM2, *g.AreaM2, 0.01)
			require.InEpsilon(t, *want[i].MeanVelMS, *g.MeanVelMS, 0.01)
			require.Equal(t, want[i].Ice, g.Ice)
			ice += btoi(g.Ice)
		}

		require.Equal(t, 1, ice, "the gauging under ice is told apart")
	}
}

func TestForecastReadsBackWithItsRun(t *testing.T) {
	t.Parallel()
	_, base, _ := start(t, Options{})
	p := profile(t, base, ProfileWeather, "")
	p.RequestSite = "NG-1001"
	b := parsed(t, covjson.Parse, p, base+"/edr/collections/metgrid/position?coords="+
		url.QueryEscape("POINT(-92.64 45.31)"))
	require.Equal(t, 6, len(b.Forecasts), "%+v", b.Skipped)
	for _, f := range b.Forecasts {
		require.Equal(t, "2026-04-10T06:00:00Z", f.Issued.Format(time.RFC3339))
		require.False(t, f.IssuedAssumed)
		require.Len(t, f.At, 241)
	}
}

// The flood warning reaches Hallam Fork and nothing reaches the others.
func TestAlertsReadBack(t *testing.T) {
	t.Parallel()
	_, base, _ := start(t, Options{})
	p := profile(t, base, ProfileAlerts, "")
	index := parsed(t, capalert.Parse, p, base+"/alerts/index.atom")
	require.Len(t, index.Entries, 3)
	var all []coldseam.Alert
	for _, l := range index.Entries {
		b := parsed(t, capalert.Parse, p, l.Link)
		require.Empty(t, b.Alerts[0].Defects)
		all = append(all, b.Alerts...)
	}

	hits := map[string]string{}
	for _, a := range capalert.Resolve(all) {
		for _, r := range Rivers() {
			if by, at := capalert.Place(a, coldseam.Reach{
				GaugeCode:  r.GaugeCode,
				AlertZones: []string{r.UGC},
				Lat:        r.Lat,
				Lon:        r.Lon,
			}); at == capalert.Here {
				hits[r.Name+" "+a.Status] = a.Event + " by " + by
				require.True(t, a.From.Before(DefaultNow()) && a.End.After(DefaultNow().Add(24*time.Hour)))
			}
		}
	}

	require.Equal(t, map[string]string{"Hallam Fork Actual": "Flood Warning by gauge HLFX1",
		"Tamsen Test": "Flood Warning by gauge TAMX1"}, hits)
}
