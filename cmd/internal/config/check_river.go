package config

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"example.org/coldseam"
	"example.org/coldseam/forecast/run"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/records"
)

var ownKey = regexp.MustCompile(`^profile "[^"]*": ([a-z_]+(?:\.[^ :=]+)?)`)

func (j *validator) profile(t string, p ingest.Profile, before []ingest.Profile) {
	if slices.ContainsFunc(before, func(o ingest.Profile) bool { return o.Name == p.Name }) && p.Name != "" {
		j.refuse(t+"name", strconv.Quote(p.Name)+", there already", "a name of its own")
	}
	if err := cmp.Or(p.WithDefaults().Check(), records.Check(p)); err != nil {
		key := strings.TrimSuffix(t, ".")
		if m := ownKey.FindStringSubmatch(err.Error()); m != nil {
			key = t + m[1]
		}
		j.wrap(key, err)
	}

	for _, x := range []struct {
		key    string
		v      float64
		lo, hi float64
		unit   string
	}{
		{"rate_per_hour", p.RatePerHour, 1, 1e6, " requests"}, {"concurrency", float64(p.Concurrency), 1, 16,
			" requests at once"},
		{"page_limit", float64(p.PageLimit), 1, 1e6, " rows"}, {"max_pages", float64(p.MaxPages), 1, 1e5, " pages"},
		{"sites_per_request", float64(p.SitesPerRequest), 0, 1e4, " sites"}, {"max_url_bytes", float64(p.MaxURLBytes),
			200, 1 << 16, " bytes"},
		{"max_body_bytes", float64(p.MaxBodyBytes), 1 << 10, 1 << 30, " bytes"},
	} {
		j.span(t+x.key, x.v, x.lo, x.hi, x.unit)
	}

	for _, x := range []struct {
		key    string
		v      ingest.Span
		lo, hi time.Duration
		want   string
	}{
		{"poll", p.Poll, 10 * time.Second, 31 * 24 * time.Hour, "10s to 31d"},
		{"max_age", p.MaxAge, time.Minute, 400 * 24 * time.Hour, "1m to 400d"},
		{"timeout", p.Timeout, time.Second, 10 * time.Minute, "1s to 10m"},
		{"min_interval", p.MinInterval, 0, time.Hour, "0s to 1h"},
		{"max_window", p.MaxWindow, 0, 100 * 366 * 24 * time.Hour, "0s to 36600d"},
	} {
		if d := time.Duration(x.v); (d != 0 || j.written(t+x.key)) && (d < x.lo || d > x.hi) {
			j.refuse(t+x.key, d.String(), x.want)
		}
	}

	j.check(t+"link", p.Link, "an http or https address", isPage)
	for _, name := range slices.Sorted(maps.Keys(p.Places)) {
		at, x := t+"places."+name+".", p.Places[name]
		j.span(at+"lat", x.Lat, -90, 90, "")
		j.span(at+"lon", x.Lon, -180, 180, "")
	}

	for _, name := range slices.Sorted(maps.Keys(p.Endpoints)) {
		at, e := t+"endpoints."+name, p.Endpoints[name]
		j.oneOf(at, name, "latest", "history", "revisions", "daily", "metadata", "locations", "nearby", "gaugings",
			"channels", "flood_levels")
		j.span(at+".sites_per_request", float64(e.Sites), 0, 1e4, " sites")
		if d := time.Duration(e.Poll); (d != 0 || j.written(at+".poll")) &&
			(d < 10*time.Second || d > 31*24*time.Hour) {
			j.refuse(at+".poll", d.String(), "10s to 31d")
		}
	}
}

func (j *validator) site(t string, s Site, i int, c Config) {
	for _, x := range []struct{ key, v, want string }{{"id", s.ID, "an id such as USGS:USGS-00000000"},
		{"code", s.Code, "the agency's code"}} {
		if strings.TrimSpace(x.v) == "" {
			j.refuse(t+x.key, "empty", x.want)
		}
	}

	if slices.ContainsFunc(c.Sites[:i], func(o Site) bool { return o.ID == s.ID }) {
		j.refuse(t+"id", strconv.Quote(s.ID)+", there already", "an id of its own")
	}
	for _, o := range c.Sites[:i] {
		if o.Provider == s.Provider && o.Code == s.Code && o.ID != s.ID {
			j.refuse(t+"code", fmt.Sprintf("%q, which is %s already", s.Code, o.ID), "each station once")
		}
	}

	if !c.hasProfile(s.Provider) {
		j.refuse(t+"profile", strconv.Quote(s.Provider), "the name of a [[profile]]")
	}
	j.place(t, s.Zone, s.Lat, s.Lon)
	j.span(t+"drainage_km2", s.DrainageKM2, 0.01, 1e7, " km2")
	j.list(t+"parameters", s.Params, "names such as discharge, or no line: then all that the profile has")
	for _, p := range s.Params {
		if coldseam.Parameter(p).Unit() == "" {
			j.refuse(t+"parameters", strconv.Quote(p),
				"names such as discharge, stage, water_temp; the agency's codes stand in [profile.parameters]")
		}
	}
}

// place judges zone and position together: a wrong sign or a swapped pair shows
// in the zone.
func (j *validator) place(t, zone string, lat, lon float64) {
	if zone == "" || !isZone(zone) {
		j.refuse(t+"zone", strconv.Quote(zone), "an IANA zone such as America/Chicago")
		zone = "UTC"
	}

	if math.Abs(lat) > 90 || math.IsNaN(lat) {
		j.refuse(t+"lat", fmt.Sprintf("%g", lat), "-90 to 90; are lat and lon swapped?")
		return
	}

	if math.Abs(lon) > 180 || math.IsNaN(lon) {
		j.refuse(t+"lon", fmt.Sprintf("%g", lon), "-180 to 180, west negative")
		return
	}

	if a, b := j.written(t+"lat"), j.written(t+"lon"); a != b {
		j.refuse(t+map[bool]string{true: "lat", false: "lon"}[a], "alone", "lat and lon, or neither")
		return
	}

	if lat == 0 && lon == 0 || !strings.Contains(zone, "/") || strings.HasPrefix(zone, "Etc/") {
		return
	}
	if mid, off := offMeridian(zone, lon); off > zoneReach {
		j.refuse(t+"lon", fmt.Sprintf("%g with lat %g", lon, lat),
			fmt.Sprintf("a longitude near %.0f, as zone %s has; west is negative, lat is the first of the two", mid,
				zone))
		return
	}

	for region, span := range regionLat {
		if strings.HasPrefix(zone, region) && (lat < span[0] || lat > span[1]) {
			j.refuse(t+"lat", fmt.Sprintf("%g with lon %g", lat, lon),
				fmt.Sprintf("%g to %g, as zone %s has; south is negative, lat is the first of the two", span[0],
					span[1], zone))
			return
		}
	}
	if half := hemisphere(zone); half != 0 && half*lat <= 0 {
		j.refuse(t+"lat", fmt.Sprintf("%g", lat),
			fmt.Sprintf("a latitude of the other half of the earth, where zone %s lies; south is negative", zone))
	}
}

// zoneReach is how far in degrees of longitude a place may lie from the meridian
// of its zone; western China is 45 away. regionLat are latitudes of the regions
// that zones are named after, with a margin [common knowledge].
const zoneReach = 46

var regionLat = map[string][2]float64{"Europe/": {30, 82}, "Asia/": {-13, 83}, "Australia/": {-56, -8},
	"Africa/": {-37, 39}, "America/": {-60, 84}}

// offMeridian is the meridian of a zone and the distance of lon from it, by the
// nearer of winter and summer time.
func offMeridian(zone string, lon float64) (mid, off float64) {
	loc, err := time.LoadLocation(zone)
	if err != nil {
		return 0, 0
	}
	off = 360
	for _, m := range []time.Month{time.January, time.July} {
		_, s := time.Date(2025, m, 1, 0, 0, 0, 0, loc).Zone()
		at := float64(s) / 240
		if d := math.Abs(math.Mod(lon-at+540, 360) - 180); d < off {
			mid, off = at, d
		}
	}
	return mid, off
}

// hemisphere tells by the season of a zone's summer time where it lies: 1 north,
// -1 south of the equator, 0 not known.
func hemisphere(zone string) float64 {
	loc, err := time.LoadLocation(zone)
	if err != nil {
		return 0
	}
	_, winter := time.Date(2025, time.January, 15, 0, 0, 0, 0, loc).Zone()
	_, summer := time.Date(2025, time.July, 15, 0, 0, 0, 0, loc).Zone()
	return float64(cmp.Compare(summer, winter))
}

func (j *validator) reach(t string, r Reach, i int, c Config) {
	for _, x := range []struct{ key, v string }{{"id", r.ID}, {"river", r.River}} {
		if strings.TrimSpace(x.v) == "" {
			j.refuse(t+x.key, "empty", "a name")
		}
	}

	j.check(t+"id", r.ID, "a name that can stand in an address: without / ? # % and \\", func(s string) bool {
		return !strings.ContainsAny(s, "/?#%\\\r\n\t")
	})
	if slices.ContainsFunc(c.Reaches[:i], func(o Reach) bool { return o.ID == r.ID }) {
		j.refuse(t+"id", strconv.Quote(r.ID)+", there already", "an id of its own")
	}
	isSite := func(id string) bool {
		return slices.ContainsFunc(c.Sites, func(s Site) bool { return s.ID == id })
	}
	measures := func(id string, p coldseam.Parameter) bool {
		return slices.ContainsFunc(c.Sites, func(s Site) bool {
			return s.ID == id && slices.Contains(s.Params, string(p))
		})
	}

	if !isSite(r.Site) {
		j.refuse(t+"site", strconv.Quote(r.Site), "the id of a [[site]]")
	} else if measures(r.Site, coldseam.FishCount) && !measures(r.Site, coldseam.Discharge) &&
		!measures(r.Site, coldseam.Stage) {
		j.refuse(t+"site", strconv.Quote(r.Site)+", a fish counter", "a gauge; a counter stands in count_site")
	}

	if r.CountSite != "" && isSite(r.CountSite) && !measures(r.CountSite, coldseam.FishCount) {
		j.refuse(t+"count_site", strconv.Quote(r.CountSite), "a [[site]] with \"fish_count\" among its parameters")
	}
	for key, v := range map[string]string{"temp_site": r.TempSite, "air_site": r.AirSite, "count_site": r.CountSite,
		"weather": r.Weather, "flow_forecast": r.FlowForecast, "stage_forecast": r.StageForecast} {
		j.check(t+key, v, "the id of a [[site]]", isSite)
	}
	j.list(t+"upstream", r.Upstream, "")

	for _, u := range r.Upstream {
		if !isSite(u) || u == r.Site {
			j.refuse(t+"upstream", strconv.Quote(u), "ids of [[site]] tables other than the reach's own")
		}
	}

	j.check(t+"alerts", r.Alerts, "the name of a [[profile]]", c.hasProfile)
	j.place(t, r.Zone, r.Lat, r.Lon)
	j.span(t+"gauge_km", r.GaugeKM, -1000, 1000, " km")
	j.pair(t, "max_flow_m3s", "max_flow_cfs", r.MaxFlowM3S, r.MaxFlowCFS, 0.001, maxRiverM3S, coldseam.CubicMPerCFS)
	j.spanOf(t+"max_flow_proposed_cfs", r.MaxFlowProposed, 0.01, maxRiverM3S/coldseam.CubicMPerCFS, "")
	j.pair(t, "flood_stage_m", "flood_stage_ft", r.FloodM, r.FloodFt, -100, 6000, coldseam.MetrePerFoot)
	j.pair(t, "action_stage_m", "action_stage_ft", r.ActionM, r.ActionFt, -100, 6000, coldseam.MetrePerFoot)
	j.pair(t, "ramp_drowns_m", "ramp_drowns_ft", r.RampDrownsM, r.RampDrownsFt, -100, 6000, coldseam.MetrePerFoot)
	j.spanOf(t+"current_deg", r.CurrentDeg, 0, 360, " degrees")
	j.launch(t, r)
	j.pair(t, "drive_km", "drive_miles", r.DriveKM, r.DriveMiles, 0, 5000, KMPerMile)

	if x, err := r.Build(c); err == nil && x.ActionStage != nil && x.FloodStageM != nil &&
		*x.ActionStage > *x.FloodStageM {
		key := t + "action_stage_m"
		if r.ActionM == nil {
			key = t + "action_stage_ft"
		}
		j.refuse(key, fmt.Sprintf("%.2f m above the flood stage of %.2f m", *x.ActionStage,
			*x.FloodStageM), "an action stage at or below it")
	}
	j.spanOf(t+"resident_share", r.Resident, 0, 1, "")
	j.span(t+"target_rate", r.TargetRate, 0, 20, " fish per line hour")
	j.list(t+"hazards", r.Hazards, "")
	j.card(t, r)
	j.list(t+"alert_zones", r.AlertZones, "")
	for _, z := range r.AlertZones {
		if kind, code, found := strings.Cut(z, "="); found && strings.EqualFold(strings.TrimSpace(kind), "UGC") &&
			!zoneCode.MatchString(strings.ToUpper(strings.TrimSpace(code))) {
			j.refuse(t+"alert_zones", strconv.Quote(z), "UGC= and a county such as XXC011 or a forecast zone such as XXZ011")
		}
	}
	j.list(t+"species", r.Species, "at least one species")

	for _, s := range r.Species {
		j.species(t+"species", s)
	}
	j.check(t+"who", r.Who, "a role, not an address", isRole)
	for k, s := range r.Spots {
		j.spot(fmt.Sprintf("%sspot[%d].", t, k), s, r.Spots[:k])
	}
	for k, x := range r.Rules {
		j.rule(fmt.Sprintf("%srule[%d].", t, k), x)
	}
}

// zoneCode is a US county or forecast zone: state, C or Z, three digits [source:
// NWSI 10-1702, from memory].
var zoneCode = regexp.MustCompile(`^[A-Z]{2}[CZ](\d{3}|ALL)$`)

// maxLine is the longest text of the trip card, in runes: two lines of a phone.
// helpReach is how far an emergency point may lie from its reach, degrees
// [proposal].
const (
	maxLine   = 120
	helpReach = 1.
)

func isLine(s string) bool {
	return utf8.RuneCountInString(s) <= maxLine && !strings.ContainsAny(s, "\r\n")
}

// card judges what the trip card takes from a reach.
func (j *validator) card(t string, r Reach) {
	want := fmt.Sprintf("one line of at most %d characters", maxLine)
	j.check(t+"leave_mark", r.LeaveMark, want, isLine)
	j.check(t+"siren", r.Siren, want, isLine)
	if r.Regulated && r.LeaveMark != "" {
		j.refuse(t+"leave_mark", strconv.Quote(r.LeaveMark)+" on a regulated reach",
			"no mark: a release passes any mark faster than one can walk")
	}

	for i, e := range r.Emergency {
		at := fmt.Sprintf("%semergency[%d].", t, i)
		if strings.TrimSpace(e.What) == "" {
			j.refuse(at+"what", "empty", "what is there, such as \"landing at the county road, ambulance access\"")
		}
		j.check(at+"what", e.What, want, isLine)
		before := len(j.errs)
		j.span(at+"lat", e.Lat, -90, 90, "")
		j.span(at+"lon", e.Lon, -180, 180, "")
		switch {
		case len(j.errs) > before:
		case j.written(at+"lat") != j.written(at+"lon"):
			j.refuse(at+"lat", "alone, without its partner", "lat and lon, or neither")
		case j.written(at+"lat") && (r.Lat != 0 || r.Lon != 0) && math.Hypot(e.Lat-r.Lat,
			(e.Lon-r.Lon)*math.Cos(r.Lat*math.Pi/180)) > helpReach:
			j.refuse(at+"lat", fmt.Sprintf("%g with lon %g", e.Lat, e.Lon),
				fmt.Sprintf("a point within a degree of the reach at %g, %g", r.Lat, r.Lon))
		}
	}
}

// maxLaunchKM is how far a launch may lie from its reach before its point is taken
// for a slip [proposal].
const maxLaunchKM = 50

// launch asks for a point near the reach and for a name where anything is said of
// the ramp.
func (j *validator) launch(t string, r Reach) {
	point := r.LaunchLat != 0 || r.LaunchLon != 0
	if r.Launch == "" && (point || r.Access != "" || r.Parking != "" || r.RampDrownsFt != nil || r.RampDrownsM != nil) {
		j.refuse(t+"launch", "empty", "the name of the launch that the other keys speak of")
	}
	for key, v := range map[string]string{"launch": r.Launch, "access": r.Access, "parking": r.Parking} {
		j.check(t+key, v, fmt.Sprintf("one line of at most %d characters", maxLine), isLine)
	}
	j.span(t+"launch_lat", r.LaunchLat, -90, 90, "")
	j.span(t+"launch_lon", r.LaunchLon, -180, 180, "")
	placed := r.Lat != 0 || r.Lon != 0
	if km := ingest.DistanceKM(r.Lat, r.Lon, r.LaunchLat, r.LaunchLon); point && placed && !(km <= maxLaunchKM) {
		j.refuse(t+"launch_lat", fmt.Sprintf("a point %.0f km from the reach", km),
			fmt.Sprintf("launch_lat and launch_lon of at most %d km", maxLaunchKM))
	}
}

func (j *validator) species(key, s string) {
	rows := run.DefaultSpecies()
	if _, err := run.FindSpecies(rows, s); err != nil {
		names := make([]string, len(rows))
		for i, r := range rows {
			names[i] = r.Key
		}
		j.refuse(key, strconv.Quote(s), "names among "+strings.Join(names, ", "))
	}
}

func (j *validator) spot(t string, s Spot, before []Spot) {
	if strings.TrimSpace(s.ID) == "" {
		j.refuse(t+"id", "empty", "a short name")
	}
	if slices.ContainsFunc(before, func(o Spot) bool { return o.ID == s.ID }) {
		j.refuse(t+"id", strconv.Quote(s.ID)+", there already", "an id of its own")
	}
	j.oneOf(t+"kind", s.Kind, "hole", "seam", "slack", "dunes", "shallow", "main")
	j.oneOf(t+"class", s.Class, slices.Sorted(maps.Keys(coldseam.KindOfClass))...)
	j.oneOf(t+"bed", s.Bed, "sand", "gravel", "rock")
	j.pair(t, "depth_m", "depth_ft", s.DepthM, s.DepthFt, 0.05, 60, coldseam.MetrePerFoot)
	j.pair(t, "sounded_stage_m", "sounded_stage_ft", s.StageM, s.StageFt, -100, 6000, coldseam.MetrePerFoot)
	j.pair(t, "float_ms", "float_fps", s.FloatMS, s.FloatFPS, 0.01, 6, coldseam.MetrePerFoot)
	j.pair(t, "float_flow_m3s", "float_flow_cfs", s.FloatM3S, s.FloatCFS, 0.001, maxRiverM3S, coldseam.CubicMPerCFS)
	j.span(t+"stage_gain", s.StageGain, 0.1, 3, "")
	j.span(t+"d50_mm", s.D50MM, 0.01, 500, " mm")
	j.span(t+"float_n", float64(s.FloatN), 1, 100, " floats")
	j.check(t+"sounded", s.Sounded, "a date YYYY-MM-DD", isDate)
	j.check(t+"float_on", s.FloatOn, "a date YYYY-MM-DD", isDate)
}

func (j *validator) rule(t string, x Rule) {
	if x.Kind == "" {
		j.refuse(t+"kind", "empty", "one of season, bait, life_jacket")
	}
	j.oneOf(t+"kind", x.Kind, "season", "bait", "life_jacket")
	if x.Species != "" {
		j.species(t+"species", x.Species)
	}
	j.list(t+"closed", x.Closed, "")
	for _, s := range x.Closed {
		if _, err := parseDayRange(s); err != nil {
			j.refuse(t+"closed", strconv.Quote(s), "MM-DD..MM-DD")
		}
	}
	j.check(t+"link", x.Link, "an http or https address", isPage)
	j.check(t+"checked_on", x.CheckedOn, "a date YYYY-MM-DD", isDate)
	j.check(t+"checked_by", x.CheckedBy, "a role, not an address", isRole)
}
