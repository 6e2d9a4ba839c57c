package simagency

import (
	"encoding/json"
	"encoding/xml"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// clock is a test clock that stands where it is put.
type clock struct{ ns atomic.Int64 }

func (c *clock) now() time.Time      { return time.Unix(0, c.ns.Load()).UTC() }
func (c *clock) set(t time.Time)     { c.ns.Store(t.UnixNano()) }
func (c *clock) add(d time.Duration) { c.ns.Add(int64(d)) }

func start(t *testing.T, o Options) (*Agency, string, *clock) {
	t.Helper()
	c := &clock{}
	c.set(DefaultNow())
	o.World, o.Now = world(t), c.now
	a, err := New(o)
	require.NoError(t, err)
	base, err := a.Start()
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, a.Close()) })
	return a, base, c
}

// texts is null, one text or a list.
type texts []string

func (t *texts) UnmarshalJSON(b []byte) error {
	if b[0] == '"' {
		b = append(append([]byte{'['}, b...), ']')
	}
	return json.Unmarshal(b, (*[]string)(t))
}

type rowJSON struct {
	Site     string  `json:"monitoring_location_id"`
	Param    string  `json:"parameter_code"`
	Time     string  `json:"time"`
	Value    *string `json:"value"`
	Unit     string  `json:"unit_of_measure"`
	Series   string  `json:"time_series_id"`
	Quals    texts   `json:"qualifier"`
	Approval string  `json:"approval_status"`
	Modified string  `json:"last_modified"`
}

type answer struct {
	Features []struct {
		ID         string
		Properties rowJSON
	}
	NumberReturned int
	Links          []struct{ Rel, Href string }
}

func get(t *testing.T, address string) (int, string, http.Header) {
	t.Helper()
	res, err := http.Get(address)
	require.NoError(t, err)
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	require.NoError(t, err)
	return res.StatusCode, string(b), res.Header
}

func rows(t *testing.T, address string) answer {
	t.Helper()
	code, body, _ := get(t, address)
	require.Equal(t, 200, code, body)
	var a answer
	require.NoError(t, json.Unmarshal([]byte(body), &a))
	return a
}

const items = "/ogcapi/v1/collections/"

func TestLatestHoldsAllRivers(t *testing.T) {
	t.Parallel()
	_, base, _ := start(t, Options{})
	a := rows(t, base+items+"latest-continuous/items?limit=100")
	require.Len(t, a.Features, 3*len(Rivers()))
	newest := map[string]string{}
	for _, f := range a.Features {
		require.NotNil(t, f.Properties.Value)
		newest[f.Properties.Site] = f.Properties.Time
	}
	require.Equal(t, "2026-04-10T09:15:00+00:00", newest["NG-1001"])
	require.Equal(t, "2026-04-10T09:15:00+00:00", newest["NG-1002"])
	require.Equal(t, "2026-04-10T01:30:00+00:00", newest["NG-1003"], "Brandt fell silent at 20:45 local")
	require.Len(t, rows(t, base+items+"latest-continuous/items").Features, 10, "the default page")
}

func TestBrandtAloneIsBroken(t *testing.T) {
	t.Parallel()
	a, base, _ := start(t, Options{})
	code, _, _ := get(t, base+items+"latest-continuous/items?monitoring_location_id=NG-1003")
	require.Equal(t, 500, code)
	require.NotEmpty(t, rows(t, base+items+"daily/items?monitoring_location_id=NG-1003&limit=10").Features)
	a.Revive("NG-1003")
	got := rows(t, base+items+"latest-continuous/items?monitoring_location_id=NG-1003")
	require.Equal(t, "2026-04-10T09:15:00+00:00", got.Features[0].Properties.Time)
}

func TestPagingWalksEveryRowOnce(t *testing.T) {
	t.Parallel()
	_, base, _ := start(t, Options{})
	next := base + items + "continuous/items?monitoring_location_id=NG-1001,NG-1002&time=2026-04-08T00:00:00Z/2026-04-09T00:00:00Z&limit=97"
	seen := map[string]int{}
	pages := 0

	for next != "" {
		a := rows(t, next)
		require.Equal(t, len(a.Features), a.NumberReturned)
		for _, f := range a.Features {
			seen[f.Properties.Series+f.Properties.Time]++
		}
		next = ""
		for _, l := range a.Links {
			if l.Rel == "next" {
				next = l.Href
			}
		}

		pages++
	}

	require.Len(t, seen, 6*97)
	require.Equal(t, 6, pages)
	for _, n := range seen {
		require.Equal(t, 1, n)
	}
}

func TestDailyHistoryAndItsLimits(t *testing.T) {
	t.Parallel()
	_, base, _ := start(t, Options{})
	a := rows(t, base+items+"daily/items?monitoring_location_id=NG-1001&parameter_code=00020,00010&statistic_id=00003&time=2023-01-01/2025-12-31&limit=50000")
	require.Len(t, a.Features, 2*1096)
	require.Equal(t, "2023-01-01", a.Features[0].Properties.Time)
	require.Equal(t, "Approved", a.Features[0].Properties.Approval)
	code, body, _ := get(t, base+items+"daily/items?time=2014-01-01/2025-12-31")
	require.Equal(t, 400, code)
	require.Contains(t, body, "1100 days")

	year := rows(t, base+items+"daily/items?monitoring_location_id=NG-1001&parameter_code=00060&limit=50000")
	require.InDelta(t, 365, len(year.Features), 2)
	last := year.Features[len(year.Features)-1].Properties
	require.Equal(t, "2026-04-09", last.Time, "yesterday's mean is out by half past four")
	for _, q := range []string{"time=yesterday", "limit=0", "limit=x", "last_modified=P1Q", "offset=-1"} {
		code, _, _ := get(t, base+items+"daily/items?"+q)
		require.Equal(t, 400, code, q)
	}

	code, _, _ = get(t, base+items+"nothing/items")
	require.Equal(t, 404, code)
}

// Every planted fault is where Faults says.
func TestPlantedFaults(t *testing.T) {
	t.Parallel()
	ag, base, c := start(t, Options{})
	span := func(f Fault) string {
		return "&time=" + f.From.Format(time.RFC3339) + "/" + f.To.Add(-time.Second).Format(time.RFC3339) +
			"&limit=50000"
	}
	code := map[coldseam.Parameter]string{coldseam.Discharge: "00060", coldseam.Stage: "00065",
		coldseam.WaterTemp: "00010"}

	for _, f := range ag.Faults() {
		_, site, _ := strings.Cut(string(f.Site), ":")
		u := base + items + "continuous/items?monitoring_location_id=" + site + "&parameter_code=" + code[f.Param]

		switch f.Kind {
		case FaultGap:
			require.Empty(t, rows(t, u+span(f)).Features)
		case FaultSentinel:
			for _, x := range rows(t, u+span(f)).Features {
				require.Equal(t, "-999999", *x.Properties.Value)
			}
		case FaultDuplicate:
			require.Len(t, rows(t, u+span(f)).Features, 6)
		case FaultSpike:
			require.Equal(t, "31.0", *rows(t, u+span(f)).Features[0].Properties.Value)
		case FaultStuck:
			got := rows(t, u+span(f)).Features
			require.Len(t, got, 120)
			for _, x := range got {
				require.Equal(t, *got[0].Properties.Value, *x.Properties.Value)
			}
		case FaultUnit:
			require.Equal(t, "degF", rows(t, u+"&limit=1").Features[0].Properties.Unit)
		case FaultRevision:
			old := rows(t, u+span(f)).Features
			require.Len(t, old, 8)
			require.Empty(t, rows(t,
				base+items+"continuous/items?monitoring_location_id=NG-1001&parameter_code=00060&last_modified="+
					ag.world.RevisedAt().Format(time.RFC3339)+"/..").Features)
			c.set(ag.world.RevisedAt().Add(time.Second))
			revised := rows(t, u+span(f)).Features
			for i := range old {
				require.InDelta(t, number3(t, *old[i].Properties.Value), 0.86*number3(t, *revised[i].Properties.Value),
					12)
				require.NotEqual(t, old[i].Properties.Modified, revised[i].Properties.Modified)
			}
			c.set(DefaultNow())
		case FaultSilent:
			require.Empty(t, rows(t, base+items+"continuous/items?monitoring_location_id="+site+"&time="+
				f.From.Format(time.RFC3339)+"/..").Features)
		case FaultDailyGap:
			u = base + items + "daily/items?monitoring_location_id=" + site +
				"&parameter_code=00010&time=2021-08-01/2021-08-31&limit=100"
			require.Len(t, rows(t, u).Features, 31-17)
		default:
			t.Fatalf("fault %s has no check", f.Kind)
		}
	}
}

func number3(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	require.NoError(t, err)
	return v
}

func TestReviseByCall(t *testing.T) {
	t.Parallel()
	ag, base, _ := start(t, Options{})
	u := base + items + "continuous/items?monitoring_location_id=NG-1001&parameter_code=00060&time=2026-04-09T11:00:00Z"
	before := *rows(t, u).Features[0].Properties.Value
	ag.Revise()
	after := *rows(t, u).Features[0].Properties.Value
	require.NotEqual(t, before, after)
	ag.Revise()
	require.Equal(t, after, *rows(t, u).Features[0].Properties.Value)
}

func TestIceRowsHaveNoValueButAQualifier(t *testing.T) {
	t.Parallel()
	_, base, _ := start(t, Options{})
	a := rows(t, base+items+"continuous/items?monitoring_location_id=NG-1001&parameter_code=00060&time=2026-02-12T12:00:00Z")
	require.Len(t, a.Features, 1)
	require.Nil(t, a.Features[0].Properties.Value)
	require.Equal(t, texts{"ICE"}, a.Features[0].Properties.Quals)
	d := rows(t, base+items+"daily/items?monitoring_location_id=NG-1001&parameter_code=00060&time=2026-01-20/2026-01-20")
	require.Equal(t, texts{"ESTIMATED", "ICE"}, d.Features[0].Properties.Quals)
	require.NotNil(t, d.Features[0].Properties.Value)
}

func TestTwinsAreNotPrimary(t *testing.T) {
	t.Parallel()
	_, base, _ := start(t, Options{Duplicates: true})
	u := base + items + "time-series-metadata/items?monitoring_location_id=NG-1001&parameter_code=00010&limit=50"
	_, body, _ := get(t, u)
	require.Equal(t, 3, strings.Count(body, `"parameter_code":"00010"`))
	require.Equal(t, 2, strings.Count(body, `"primary":"Primary"`))
	require.Contains(t, body, `"sublocation_identifier":"right bank"`)
}

func TestConditionalGetAndManners(t *testing.T) {
	t.Parallel()
	a, base, c := start(t, Options{})
	u := base + items + "latest-continuous/items?limit=100"
	_, _, h := get(t, u)
	req, err := http.NewRequest(http.MethodGet, u, nil)
	require.NoError(t, err)
	req.Header.Set("If-None-Match", h.Get("Etag"))

	res, err := http.DefaultClient.Do(req)
	require.NoError(t, err)
	require.NoError(t, res.Body.Close())
	require.Equal(t, http.StatusNotModified, res.StatusCode)
	c.add(20 * time.Minute)
	res, err = http.DefaultClient.Do(req)
	require.NoError(t, err)
	require.NoError(t, res.Body.Close())
	require.Equal(t, http.StatusOK, res.StatusCode, "twenty minutes later there is a new row")
	require.Equal(t, "997", res.Header.Get("X-Ratelimit-Remaining"))
	require.Equal(t, []int{200, 304, 200}, statuses(a))
}

func statuses(a *Agency) []int {
	var out []int
	for _, r := range a.Requests() {
		out = append(out, r.Status)
	}
	return out
}

func TestForecastRunsDivergeFromTheTruth(t *testing.T) {
	t.Parallel()
	_, base, _ := start(t, Options{})
	type coverage struct {
		ID     string
		Domain struct {
			Axes map[string]struct{ Values []any }
		}
		Ranges map[string]struct {
			Shape  []int
			Values []*float64
		}
	}

	read := func(path string) coverage {
		code, body, _ := get(t, base+"/edr/collections/metgrid/"+path+"position?coords="+
			url.QueryEscape("POINT(-92.64 45.31)")+"&f=CoverageJSON")
		require.Equal(t, 200, code, body)
		var v coverage
		require.NoError(t, json.Unmarshal([]byte(body), &v))
		return v
	}
	now := read("")
	require.Equal(t, "metgrid/instances/2026-04-10T06:00:00Z", now.ID, "the 06Z run is out by 09:30Z")
	require.Len(t, now.Ranges, 6)
	require.Equal(t, []int{241, 1, 1}, now.Ranges["air_temperature"].Shape)
	require.Less(t, *now.Ranges["thunder_probability"].Values[6], 10.0)

	w := world(t)
	errs := map[int]float64{}
	n := 0.0
	for k := range 30 {
		run := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(k) * 24 * time.Hour)
		v := read("instances/" + run.Format(runLayout) + "/")
		n++
		for _, lead := range []int{6, 120} {
			h, ok := w.recs[0].at(run.Add(time.Duration(lead) * time.Hour))
			require.True(t, ok)
			errs[lead] += sq(*v.Ranges["air_temperature"].Values[lead] - h.wx.airC)
		}
	}

	require.Less(t, errs[6]/n, 1.5)
	require.Greater(t, errs[120]/n, 2*errs[6]/n)

	for q, want := range map[string]int{
		"position?coords=POINT(2 45)": 404, "position?coords=45,2": 400, "position": 400,
		"position?coords=POINT(-92.64 45.31)&datetime=x":                                                                   400,
		"instances/2026-04-10T12:00:00Z/position?coords=POINT(-92.64 45.31)":                                               404,
		"position?coords=POINT(-92.64 45.31)&parameter-name=wind_speed&datetime=2026-04-10T10:00:00Z/2026-04-10T12:00:00Z": 200,
	} {
		code, body, _ := get(t, base+"/edr/collections/metgrid/"+strings.ReplaceAll(q, " ", "%20"))
		require.Equal(t, want, code, "%s %s", q, body)
	}

	code, body, _ := get(t, base+"/edr/collections/metgrid/instances")
	require.Equal(t, 200, code)
	require.Contains(t, body, "2026-04-10T06:00:00Z")
	code, _, _ = get(t, base+"/edr/collections/metgrid")
	require.Equal(t, 200, code)
}

func TestAlertsAreWellFormed(t *testing.T) {
	t.Parallel()
	_, base, c := start(t, Options{})
	_, index, _ := get(t, base+"/alerts/index.atom")
	require.Equal(t, 3, strings.Count(index, "<entry>"))
	code, doc, _ := get(t, base+"/alerts/NG-FLOOD-0002.cap")
	require.Equal(t, 200, code)
	require.NoError(t, wellFormed(doc))
	require.Contains(t, doc, "/HLFX1.1.ER.")
	require.Contains(t, doc, "NG-FLOOD-0001,2026-04-08T12:30:00-05:00</references>")
	c.set(DefaultNow().Add(-30 * time.Hour))
	code, _, _ = get(t, base+"/alerts/NG-FLOOD-0002.cap")
	require.Equal(t, 404, code, "not yet issued")
	_, index, _ = get(t, base+"/alerts/index.atom")
	require.Equal(t, 1, strings.Count(index, "<entry>"))
}

func wellFormed(s string) error {
	d := xml.NewDecoder(strings.NewReader(s))
	for {
		if _, err := d.Token(); err == io.EOF {
			return nil
		} else if err != nil {
			return err
		}
	}
}

func TestSOSAnswers(t *testing.T) {
	t.Parallel()
	_, base, _ := start(t, Options{})
	_, doc, _ := get(t, base+"/sos?service=SOS&request=GetObservation&featureOfInterest=NG-1002&observedProperty=water_temperature,discharge&temporalFilter="+
		url.QueryEscape("om:phenomenonTime,2026-04-09T00:00:00Z/2026-04-10T00:00:00Z"))
	require.NoError(t, wellFormed(doc))
	require.Equal(t, 2*97, strings.Count(doc, "<wml2:MeasurementTVP>"))
	require.Contains(t, doc, `<wml2:uom code="degF"/>`)
	_, doc, _ = get(t, base+"/sos?request=GetObservation&featureOfInterest=NG-1001&procedure=DailyMean&observedProperty=discharge&temporalFilter="+
		url.QueryEscape("om:phenomenonTime,2026-01-01T00:00:00-06:00/2026-01-11T00:00:00-06:00"))
	require.Equal(t, 10, strings.Count(doc, "<wml2:MeasurementTVP>"))
	require.Contains(t, doc, "AveragePrec")
	for _, q := range []string{"request=GetCapabilities", "request=GetObservation&temporalFilter=x",
		"request=GetObservation&temporalFilter=om:phenomenonTime,2020-01-01T00:00:00Z/2026-01-01T00:00:00Z"} {
		code, doc, _ := get(t, base+"/sos?"+q)
		require.Equal(t, 400, code)
		require.Contains(t, doc, "ExceptionReport")
	}
}

func TestScripts(t *testing.T) {
	t.Parallel()
	a, base, _ := start(t, Options{})
	u := base + items + "latest-continuous/items?limit=100"
	a.Script("/ogcapi", Step{Status: 500}, Step{}, Step{Status: 429, RetryAfter: "7"}, Step{HTML: true},
		Step{Redirect: "http://169.254.169.254/"},
		Step{BigHeader: 5000}, Step{Truncate: 40}, Step{Drop: true}, Step{Body: "\x00"})
	code := func() int { c, _, _ := get(t, u); return c }
	require.Equal(t, 500, code())
	require.Equal(t, 200, code())
	c, _, h := get(t, u)
	require.Equal(t, 429, c)
	require.Equal(t, "7", h.Get("Retry-After"))

	_, body, _ := get(t, u)
	require.Contains(t, body, "<html>")
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	res, err := client.Get(u)
	require.NoError(t, err)
	require.NoError(t, res.Body.Close())
	require.Equal(t, "http://169.254.169.254/", res.Header.Get("Location"))
	_, _, h = get(t, u)
	require.Len(t, h.Get("X-Big"), 5000)

	res, err = http.Get(u)
	require.NoError(t, err)
	_, err = io.ReadAll(res.Body)
	require.ErrorIs(t, err, io.ErrUnexpectedEOF)
	require.NoError(t, res.Body.Close())
	tr := &http.Transport{DisableKeepAlives: true} // a kept connection would be tried again
	_, err = (&http.Client{Transport: tr}).Get(u)
	require.Error(t, err)
	_, body, _ = get(t, u)
	require.Equal(t, "\x00", body)
	require.Equal(t, 200, code(), "the script is used up")

	a.ScriptForever("/alerts", Step{Status: 503})
	for range 3 {
		c, _, _ := get(t, base+"/alerts/index.atom")
		require.Equal(t, 503, c)
	}
	a.ClearScripts()
	c, _, _ = get(t, base+"/alerts/index.atom")
	require.Equal(t, 200, c)
}

func TestEndlessAnswersEndWithTheClient(t *testing.T) {
	t.Parallel()
	a, base, _ := start(t, Options{})
	a.Script("/ogcapi", Step{Endless: true}, Step{Drip: time.Millisecond}, Step{Bomb: 8 << 20})
	for _, want := range []int64{1 << 20, 5} {
		res, err := http.Get(base + items + "daily/items")
		require.NoError(t, err)
		n, err := io.CopyN(io.Discard, res.Body, want)
		require.NoError(t, err)
		require.Equal(t, want, n)
		require.NoError(t, res.Body.Close())
	}
	res, err := http.Get(base + items + "daily/items")
	require.NoError(t, err)
	n, err := io.Copy(io.Discard, res.Body)
	require.NoError(t, err)
	require.EqualValues(t, 8<<20, n)
	require.NoError(t, res.Body.Close())
}

func TestProfilesAreValid(t *testing.T) {
	t.Parallel()
	ps := Profiles("http://127.0.0.1:1")
	require.Len(t, ps, 4)
	for _, p := range ps {
		require.NoError(t, p.Check(), p.Name)
	}
	require.Equal(t, Rivers()[0].SiteID(), ps[0].SiteID("NG-1001"))
	require.Equal(t, Rivers()[0].Site().ID, ps[1].SiteID("NG-1001"))
}

// Version 0 answers on, and its pages go on in version 1.
func TestVersion0GoesOnInVersion1(t *testing.T) {
	t.Parallel()
	_, base, _ := start(t, Options{})
	a := rows(t, base+"/ogcapi/v0/collections/continuous/items?monitoring_location_id=NG-1001&parameter_code=00060&datetime=2026-04-01T00:00:00Z/2026-04-02T00:00:00Z&limit=10")
	require.Len(t, a.Features, 10)
	next := a.Links[len(a.Links)-1].Href
	require.Contains(t, next, base+items)
	require.Len(t, rows(t, next).Features, 10)
}
