package config

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"math"
	"net"
	"net/mail"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/BurntSushi/toml"

	"example.org/coldseam"
	"example.org/coldseam/forecast/run"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/records"
	"example.org/coldseam/store"
)

// judge looks at every key of a configuration. Each fault becomes one line:
// file, line, key, what was found and what is wanted.
type judge struct {
	file  string
	lines map[string]int // of "club.zone", "reach[1].spot[0]" and "reach[1].spot[0].kind"
	errs  []error
}

// at is the line of a key, or of the nearest table around it; "" = not known.
func (j *judge) at(key string) string {
	for k := key; k != ""; {
		if n := j.lines[k]; n > 0 {
			return ":" + strconv.Itoa(n)
		}
		k = k[:max(strings.LastIndexByte(k, '.'), 0)]
	}
	return ""
}

func (j *judge) written(key string) bool { return j.lines[key] > 0 }

func (j *judge) bad(key, found, want string) {
	name := regexp.MustCompile(`\[\d+\]`).ReplaceAllString(key, "")
	j.errs = append(j.errs, fmt.Errorf("%s%s: %s is %s; want %s: %w", j.file, j.at(key), name, hidden(found), want,
		coldseam.ErrInvalid))
}

var (
	loginInURL = regexp.MustCompile(`[^\s/@:="]+:[^\s/@"]+@`)
	keyInQuery = regexp.MustCompile(`(?i)([?&][^=&\s"]*(?:key|token|secret|pass)[^=&\s"]*=)[^&\s"]+`)
)

// hidden is a text without what an address in it may hold in secret: a password,
// a key of a query.
func hidden(s string) string {
	return keyInQuery.ReplaceAllString(loginInURL.ReplaceAllString(s, "...@"), "${1}...")
}

// wrap adds file and line to what another room says about a key.
func (j *judge) wrap(key string, err error) {
	if err != nil {
		text := strings.TrimSuffix(err.Error(), ": "+coldseam.ErrInvalid.Error())
		j.errs = append(j.errs, fmt.Errorf("%s%s: %s: %w", j.file, j.at(key), hidden(text), coldseam.ErrInvalid))
	}
}

// check judges a text by a test; one that is empty is taken as not given.
func (j *judge) check(key, v, want string, ok func(string) bool) {
	if v != "" && !ok(v) {
		j.bad(key, strconv.Quote(v), want)
	}
}

// span judges a number that is written, or that is not the zero of a key left out.
func (j *judge) span(key string, v, lo, hi float64, unit string) {
	if (v != 0 || j.written(key)) && !(v >= lo && v <= hi) {
		j.bad(key, fmt.Sprintf("%g", v), fmt.Sprintf("%g to %g%s", lo, hi, unit))
	}
}

func (j *judge) spanOf(key string, v *float64, lo, hi float64, unit string) {
	if v != nil && !(*v >= lo && *v <= hi) {
		j.bad(key, fmt.Sprintf("%g", *v), fmt.Sprintf("%g to %g%s", lo, hi, unit))
	}
}

// pair judges a quantity that may be written in either unit system: the bounds
// are SI.
func (j *judge) pair(table, si, us string, vSI, vUS *float64, lo, hi, factor float64) {
	if vSI != nil && vUS != nil {
		j.bad(table+us, fmt.Sprintf("%g beside %s", *vUS, si), "one of the two unit systems")
	}
	j.spanOf(table+si, vSI, lo, hi, "")
	j.spanOf(table+us, vUS, math.Round(lo/factor*1e4)/1e4, math.Round(hi/factor), "")
}

func (j *judge) oneOf(key, v string, of ...string) {
	j.check(key, v, "one of "+strings.Join(of, ", "), func(s string) bool { return slices.Contains(of, s) })
}

var (
	domainName = regexp.MustCompile(
		`^([A-Za-z0-9]([A-Za-z0-9-]{0,61}[A-Za-z0-9])?\.)+[A-Za-z][A-Za-z0-9-]*[A-Za-z0-9]$`)
	dnsLabels = regexp.MustCompile(`^[A-Za-z0-9_-]+(\.[A-Za-z0-9_-]+)*$`)
	currency  = regexp.MustCompile(`^[A-Z]{3}$`)
)

func isHostPort(s string) bool {
	host, port, err := net.SplitHostPort(s)
	n, perr := strconv.Atoi(port)
	return err == nil && perr == nil && n >= 0 && n <= 65535 && !strings.ContainsAny(host, " /@")
}

// isRelay is a host and port that can be called.
func isRelay(s string) bool {
	return isHostPort(s) && !strings.HasPrefix(s, ":") && !strings.HasSuffix(s, ":0")
}

func isPage(s string) bool {
	u, err := url.Parse(s)
	return err == nil && (u.Scheme == "https" || u.Scheme == "http") && u.Hostname() != "" &&
		!strings.ContainsAny(s, " \t\n")
}

func isBase(s string) bool {
	u, err := url.Parse(s)
	return isPage(s) && err == nil && u.RawQuery == "" && u.Fragment == "" && u.User == nil
}

func isAddress(s string) bool { return store.CheckEmail(s) == nil }

func isZone(s string) bool {
	_, err := time.LoadLocation(s)
	return err == nil && s != "Local"
}

func isDate(s string) bool {
	d, err := coldseam.ParseDate(s)
	return err == nil && d.Year >= 1900 && d.Year < 2200
}

func isRole(s string) bool { return !strings.Contains(s, "@") }

// isDatabase: the value may hold a password, so it is never repeated.
func isDatabase(s string) bool {
	u, err := url.Parse(s)
	return err == nil && (u.Scheme == "postgres" || u.Scheme == "postgresql") ||
		!strings.Contains(s, "://") && regexp.MustCompile(`^\s*[a-z_]+\s*=`).MatchString(s)
}

// judgeConfig looks at every key. Profiles that are not of the file come last.
func judgeConfig(file, text string, c Config, own int) error {
	j := &judge{file: file, lines: keyLines(text)}
	j.machine(c)
	j.club(c.Club)
	j.mail(c.Mail)
	j.span("odds.cost", c.Odds.Cost, 0.2, 0.7, "")
	j.span("odds.target_rate", c.Odds.TargetRate, 0, 20, " fish per line hour")
	for i, p := range c.Profiles {
		if i < own {
			j.profile(fmt.Sprintf("profile[%d].", i), p, c.Profiles[:i])
		}
	}

	for i, s := range c.Sites {
		j.site(fmt.Sprintf("site[%d].", i), s, i, c)
	}
	for i, r := range c.Reaches {
		j.reach(fmt.Sprintf("reach[%d].", i), r, i, c)
	}

	for _, k := range slices.Sorted(maps.Keys(c.Thresholds)) {
		one := c
		one.Thresholds = map[string]Limit{k: c.Thresholds[k]}
		_, err := one.Table()
		j.wrap("thresholds."+k, err)
		j.check("thresholds."+k, c.Thresholds[k].Who, "who as a role, not an address", isRole)
	}

	j.weight(c.Weight)
	for i, r := range c.AlertRules {
		one := c
		one.AlertRules = []AlertRule{r}
		_, err := one.Alerts()
		key := fmt.Sprintf("alert_rule[%d]", i)
		j.wrap(key, err)
		j.check(key+".provider", r.Provider, "the name of a [[profile]]", c.hasProfile)
	}

	for i, l := range c.Crafts {
		j.limit(fmt.Sprintf("limit[%d].", i), l, c)
	}
	return errors.Join(j.errs...)
}

func (c Config) hasProfile(name string) bool {
	return slices.ContainsFunc(c.Profiles, func(p ingest.Profile) bool { return p.Name == name })
}

// list judges a list: each entry once, none of them empty. Some lists say
// nothing when they are written and empty.
func (j *judge) list(key string, list []string, whenEmpty string) {
	if len(list) == 0 && whenEmpty != "" && j.written(key) {
		j.bad(key, "an empty list", whenEmpty)
	}
	for i, s := range list {
		switch {
		case strings.TrimSpace(s) == "":
			j.bad(key, "a list with an empty text", "a text in each place")
		case slices.Contains(list[:i], s):
			j.bad(key, strconv.Quote(s)+" twice", "each once")
		default:
			continue
		}
		return
	}
}

func (j *judge) weight(w Weight) {
	for _, x := range []struct {
		key       string
		v, lo, hi float64
	}{{"tie_new", w.TieNew, .3, .95}, {"tie_done", w.TieDone, .3, .95}, {"pack", w.Pack, .5, .99},
		{"floor_oz", w.FloorOz, 1. / 16, 1}, {"max_oz", w.MaxOz, 1. / 8, 1}} {
		j.span("weight."+x.key, x.v, x.lo, x.hi, "")
	}
	if tie := max(w.TieNew, w.TieDone); w.Pack > 0 && w.Pack < tie {
		j.bad("weight.pack", fmt.Sprintf("%g, which is below the odds of %g to tie on", w.Pack, tie),
			"at least those odds")
	}
	if w.FloorOz > 0 && w.MaxOz > 0 && w.FloorOz > w.MaxOz {
		j.bad("weight.floor_oz", fmt.Sprintf("%g, which is above max_oz %g", w.FloorOz, w.MaxOz), "no more than that")
	}
}

func (j *judge) machine(c Config) {
	const address = "host:port such as 127.0.0.1:8080"
	for key, v := range map[string]string{"database_url": c.DatabaseURL, "readers_url": c.ReadersURL} {
		if v != "" && !isDatabase(v) {
			j.bad(key, "no address of a database", "postgres://USER@HOST/NAME")
		}
	}
	j.check("public_url", c.PublicURL, "an http or https address without query, such as https://river.example.org",
		isBase)
	j.check("listen", c.Listen, address, isHostPort)
	j.check("metrics_listen", c.MetricsAddr, address, isHostPort)
	if c.MetricsAddr != "" && c.MetricsAddr == c.Listen && !strings.HasSuffix(c.Listen, ":0") {
		j.bad("metrics_listen", strconv.Quote(c.MetricsAddr)+", as listen is", "another port")
	}
	_, err := c.TrustedProxies()
	j.wrap("trusted_proxies", err)
}

func (j *judge) club(c Club) {
	if strings.TrimSpace(c.Name) == "" {
		j.bad("club.name", "empty", "the name that stands on mail and pages")
	}
	j.check("club.name", c.Name, "one line", func(s string) bool { return !strings.ContainsAny(s, "\r\n") })
	j.check("club.admin_email", c.AdminEmail, "a plain mail address such as keeper@river.example.org", isAddress)
	j.check("club.contact", c.Contact, "a mail address or a page", func(s string) bool {
		return isAddress(s) || isPage(s)
	})
	j.check("club.zone", c.Zone, "an IANA zone such as America/Chicago", isZone)
	j.oneOf("club.units", c.Units, "us", "metric")
	j.check("club.guides", c.Guides, "an http or https address", isPage)
	j.check("club.currency", c.Currency, "three capitals such as USD", currency.MatchString)
	_, err := c.DriveCost()
	j.wrap("club.cost_per_mile", err)

	clock := func(s string) bool { _, err := time.Parse("15:04", s); return err == nil }
	j.check("club.send_at", c.SendAt, "a 24-hour time such as 04:45", clock)
	j.check("club.deadline", c.Deadline, "a 24-hour time such as 10:00", clock)
	send, e1 := time.Parse("15:04", c.SendAt)
	last, e2 := time.Parse("15:04", c.Deadline)
	if e1 == nil && e2 == nil && !last.After(send) {
		key := "club.deadline"
		if !j.written(key) {
			key = "club.send_at"
		}
		j.bad(key, fmt.Sprintf("%q with send_at %q and deadline %q",
			map[bool]string{true: c.Deadline, false: c.SendAt}[key == "club.deadline"], c.SendAt, c.Deadline),
			"a deadline after the send time")
	}
}

func (j *judge) mail(m Mail) {
	const relay = "host:port such as 127.0.0.1:25"
	j.check("mail.smtp", m.SMTP, relay, isRelay)
	j.check("mail.second_smtp", m.SecondSMTP, relay, isRelay)
	j.check("mail.lmtp", m.LMTP, "host:port such as 127.0.0.1:2424", isHostPort)
	j.oneOf("mail.tls", m.TLS, "starttls", "tls", "none")
	j.oneOf("mail.unknown", m.Unknown, "resend", "hold")
	j.check("mail.from", m.From, "a mail address, with or without a name before it", func(s string) bool {
		a, err := mail.ParseAddress(s)
		return err == nil && isAddress(a.Address)
	})

	for key, v := range map[string]string{"bounce_domain": m.BounceDomain, "list_id": m.ListID,
		"dkim_domain": m.DKIMDomain} {
		j.check("mail."+key, v, "a domain such as river.example.org", domainName.MatchString)
	}
	j.check("mail.dkim_selector", m.DKIMSelector, "a name of letters, digits and hyphens", dnsLabels.MatchString)
	if (m.User == "") != (m.PasswordFile == "") {
		j.bad("mail.user", fmt.Sprintf("%q with password_file %q", m.User, m.PasswordFile), "both, or none")
	}
	j.span("mail.workers", float64(m.Workers), 1, 64, " connections")
	j.span("mail.per_domain_s", float64(m.PerDomain), 1, 1000, " mails a second")
}

var ownKey = regexp.MustCompile(`^profile "[^"]*": ([a-z_]+(?:\.[^ :=]+)?)`)

func (j *judge) profile(t string, p ingest.Profile, before []ingest.Profile) {
	if slices.ContainsFunc(before, func(o ingest.Profile) bool { return o.Name == p.Name }) && p.Name != "" {
		j.bad(t+"name", strconv.Quote(p.Name)+", there already", "a name of its own")
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
			j.bad(t+x.key, d.String(), x.want)
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
			"channels")
		j.span(at+".sites_per_request", float64(e.Sites), 0, 1e4, " sites")
		if d := time.Duration(e.Poll); (d != 0 || j.written(at+".poll")) &&
			(d < 10*time.Second || d > 31*24*time.Hour) {
			j.bad(at+".poll", d.String(), "10s to 31d")
		}
	}
}

func (j *judge) site(t string, s Site, i int, c Config) {
	for _, x := range []struct{ key, v, want string }{{"id", s.ID, "an id such as USGS:USGS-00000000"},
		{"code", s.Code, "the agency's code"}} {
		if strings.TrimSpace(x.v) == "" {
			j.bad(t+x.key, "empty", x.want)
		}
	}

	if slices.ContainsFunc(c.Sites[:i], func(o Site) bool { return o.ID == s.ID }) {
		j.bad(t+"id", strconv.Quote(s.ID)+", there already", "an id of its own")
	}
	for _, o := range c.Sites[:i] {
		if o.Provider == s.Provider && o.Code == s.Code && o.ID != s.ID {
			j.bad(t+"code", fmt.Sprintf("%q, which is %s already", s.Code, o.ID), "each station once")
		}
	}

	if !c.hasProfile(s.Provider) {
		j.bad(t+"profile", strconv.Quote(s.Provider), "the name of a [[profile]]")
	}
	j.place(t, s.Zone, s.Lat, s.Lon)
	j.span(t+"drainage_km2", s.DrainageKM2, 0.01, 1e7, " km2")
	j.list(t+"parameters", s.Params, "names such as discharge, or no line: then all that the profile has")
	for _, p := range s.Params {
		if coldseam.Parameter(p).Unit() == "" {
			j.bad(t+"parameters", strconv.Quote(p),
				"names such as discharge, stage, water_temp; the agency's codes stand in [profile.parameters]")
		}
	}
}

// place judges zone and position together: a wrong sign or a swapped pair shows
// in the zone.
func (j *judge) place(t, zone string, lat, lon float64) {
	if zone == "" || !isZone(zone) {
		j.bad(t+"zone", strconv.Quote(zone), "an IANA zone such as America/Chicago")
		zone = "UTC"
	}

	if math.Abs(lat) > 90 || lat != lat {
		j.bad(t+"lat", fmt.Sprintf("%g", lat), "-90 to 90; are lat and lon swapped?")
		return
	}

	if math.Abs(lon) > 180 || lon != lon {
		j.bad(t+"lon", fmt.Sprintf("%g", lon), "-180 to 180, west negative")
		return
	}

	if a, b := j.written(t+"lat"), j.written(t+"lon"); a != b {
		j.bad(t+map[bool]string{true: "lat", false: "lon"}[a], "alone", "lat and lon, or neither")
		return
	}

	if lat == 0 && lon == 0 || !strings.Contains(zone, "/") || strings.HasPrefix(zone, "Etc/") {
		return
	}
	if mid, off := offMeridian(zone, lon); off > zoneReach {
		j.bad(t+"lon", fmt.Sprintf("%g with lat %g", lon, lat),
			fmt.Sprintf("a longitude near %.0f, as zone %s has; west is negative, lat is the first of the two", mid,
				zone))
		return
	}

	for region, span := range regionLat {
		if strings.HasPrefix(zone, region) && (lat < span[0] || lat > span[1]) {
			j.bad(t+"lat", fmt.Sprintf("%g with lon %g", lat, lon),
				fmt.Sprintf("%g to %g, as zone %s has; south is negative, lat is the first of the two", span[0],
					span[1], zone))
			return
		}
	}
	if half := hemisphere(zone); half != 0 && half*lat <= 0 {
		j.bad(t+"lat", fmt.Sprintf("%g", lat),
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

func (j *judge) reach(t string, r Reach, i int, c Config) {
	for _, x := range []struct{ key, v string }{{"id", r.ID}, {"river", r.River}} {
		if strings.TrimSpace(x.v) == "" {
			j.bad(t+x.key, "empty", "a name")
		}
	}

	j.check(t+"id", r.ID, "a name that can stand in an address: without / ? # % and \\", func(s string) bool {
		return !strings.ContainsAny(s, "/?#%\\\r\n\t")
	})
	if slices.ContainsFunc(c.Reaches[:i], func(o Reach) bool { return o.ID == r.ID }) {
		j.bad(t+"id", strconv.Quote(r.ID)+", there already", "an id of its own")
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
		j.bad(t+"site", strconv.Quote(r.Site), "the id of a [[site]]")
	} else if measures(r.Site, coldseam.FishCount) && !measures(r.Site, coldseam.Discharge) &&
		!measures(r.Site, coldseam.Stage) {
		j.bad(t+"site", strconv.Quote(r.Site)+", a fish counter", "a gauge; a counter stands in count_site")
	}

	if r.CountSite != "" && isSite(r.CountSite) && !measures(r.CountSite, coldseam.FishCount) {
		j.bad(t+"count_site", strconv.Quote(r.CountSite), "a [[site]] with \"fish_count\" among its parameters")
	}
	for key, v := range map[string]string{"temp_site": r.TempSite, "air_site": r.AirSite, "count_site": r.CountSite,
		"weather": r.Weather, "flow_forecast": r.FlowForecast} {
		j.check(t+key, v, "the id of a [[site]]", isSite)
	}
	j.list(t+"upstream", r.Upstream, "")

	for _, u := range r.Upstream {
		if !isSite(u) || u == r.Site {
			j.bad(t+"upstream", strconv.Quote(u), "ids of [[site]] tables other than the reach's own")
		}
	}

	j.check(t+"alerts", r.Alerts, "the name of a [[profile]]", c.hasProfile)
	j.place(t, r.Zone, r.Lat, r.Lon)
	j.span(t+"gauge_km", r.GaugeKM, -1000, 1000, " km")
	j.pair(t, "max_flow_m3s", "max_flow_cfs", r.MaxFlowM3S, r.MaxFlowCFS, 0.001, maxRiverM3S, coldseam.CubicMPerCFS)
	j.spanOf(t+"max_flow_proposed_cfs", r.MaxFlowProposed, 0.01, maxRiverM3S/coldseam.CubicMPerCFS, "")
	j.pair(t, "flood_stage_m", "flood_stage_ft", r.FloodM, r.FloodFt, -100, 6000, coldseam.MetrePerFoot)
	j.pair(t, "action_stage_m", "action_stage_ft", r.ActionM, r.ActionFt, -100, 6000, coldseam.MetrePerFoot)
	j.pair(t, "drive_km", "drive_miles", r.DriveKM, r.DriveMiles, 0, 5000, KMPerMile)

	if x, err := r.Build(c); err == nil && x.ActionStage != nil && x.FloodStageM != nil &&
		*x.ActionStage > *x.FloodStageM {
		j.bad(t+"action_stage_ft", fmt.Sprintf("%.2f m above the flood stage of %.2f m", *x.ActionStage,
			*x.FloodStageM), "an action stage at or below it")
	}
	j.spanOf(t+"resident_share", r.Resident, 0, 1, "")
	j.span(t+"target_rate", r.TargetRate, 0, 20, " fish per line hour")
	j.list(t+"hazards", r.Hazards, "")
	j.list(t+"alert_zones", r.AlertZones, "")
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

func (j *judge) species(key, s string) {
	rows := run.DefaultSpecies()
	if _, err := run.FindSpecies(rows, s); err != nil {
		names := make([]string, len(rows))
		for i, r := range rows {
			names[i] = r.Key
		}
		j.bad(key, strconv.Quote(s), "names among "+strings.Join(names, ", "))
	}
}

func (j *judge) spot(t string, s Spot, before []Spot) {
	if strings.TrimSpace(s.ID) == "" {
		j.bad(t+"id", "empty", "a short name")
	}
	if slices.ContainsFunc(before, func(o Spot) bool { return o.ID == s.ID }) {
		j.bad(t+"id", strconv.Quote(s.ID)+", there already", "an id of its own")
	}
	j.oneOf(t+"kind", s.Kind, "hole", "seam", "slack", "dunes", "shallow", "main")
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

func (j *judge) rule(t string, x Rule) {
	if x.Kind == "" {
		j.bad(t+"kind", "empty", "one of season, bait, life_jacket")
	}
	j.oneOf(t+"kind", x.Kind, "season", "bait", "life_jacket")
	if x.Species != "" {
		j.species(t+"species", x.Species)
	}
	j.list(t+"closed", x.Closed, "")
	for _, s := range x.Closed {
		if _, err := parseDayRange(s); err != nil {
			j.bad(t+"closed", strconv.Quote(s), "MM-DD..MM-DD")
		}
	}
	j.check(t+"link", x.Link, "an http or https address", isPage)
	j.check(t+"checked_on", x.CheckedOn, "a date YYYY-MM-DD", isDate)
	j.check(t+"checked_by", x.CheckedBy, "a role, not an address", isRole)
}

var (
	tableHead = regexp.MustCompile(`^\s*(\[\[?)\s*([^\[\]]+?)\s*\]`)
	headFault = regexp.MustCompile(
		`^toml: line (\d+) \(last key "([^"]*)"\): type mismatch for .*: expected table but found \[\]`)
	typeFault = regexp.MustCompile(
		`^toml: line (\d+) \(last key "([^"]*)"\): incompatible types: .*destination has type (\w+)`)
)

// keyLines finds the line of every table and key of a file. toml tells no
// positions; a key within an inline table has the line where that begins.
func keyLines(text string) map[string]int {
	out, count := map[string]int{}, map[string]int{}
	path := map[string]string{} // "reach.spot" -> "reach[1].spot[0]" of the newest
	table := ""

	full := func(name string) string {
		for parent, rest, ok := cutLast(name); ok; {
			if p, is := path[parent]; is {
				return p + "." + rest
			}
			var last string
			parent, last, ok = cutLast(parent)
			rest = last + "." + rest
		}
		return name
	}

	for i, line := range strings.Split(text, "\n") {
		if m := tableHead.FindStringSubmatch(line); m != nil {
			name := strings.ReplaceAll(m[2], `"`, "")
			table = full(name)
			if m[1] == "[[" {
				n := count[table]
				count[table]++
				table = fmt.Sprintf("%s[%d]", table, n)
			}
			path[name] = table
			out[table] = i + 1
			continue
		}

		if m := keyAssign.FindStringSubmatch(line); m != nil {
			key := m[1]
			if table != "" {
				key = table + "." + key
			}
			if out[key] == 0 {
				out[key] = i + 1
			}
		}
	}

	return out
}

func cutLast(name string) (parent, last string, ok bool) {
	i := strings.LastIndexByte(name, '.')
	if i < 0 {
		return "", name, false
	}
	return name[:i], name[i+1:], true
}

// syntaxFault words what the parser says about a text that is no configuration.
func syntaxFault(name, text string, err error) error {
	var pe toml.ParseError
	if asParse(err, &pe) {
		msg := pe.Message
		if pe.LastKey != "" && !strings.Contains(msg, pe.LastKey) && !strings.Contains(msg, "already") {
			msg = pe.LastKey + ": " + msg
		}
		return fmt.Errorf("%s:%d: %s: %w", name, pe.Position.Line,
			strings.TrimSuffix(msg, ": "+coldseam.ErrInvalid.Error()), coldseam.ErrInvalid)
	}

	if m := headFault.FindStringSubmatch(err.Error()); m != nil {
		return fmt.Errorf("%s:%s: %s is a list of tables [[%s]]; want one table [%s]: %w", name, m[1], m[2], m[2], m[2],
			coldseam.ErrInvalid)
	}
	m := typeFault.FindStringSubmatch(err.Error())
	if m == nil {
		return fmt.Errorf("%s: %w: %w", name, err, coldseam.ErrInvalid)
	}

	n, _ := strconv.Atoi(m[1])
	found := "of another type"
	if lines := strings.Split(text, "\n"); n >= 1 && n <= len(lines) {
		if _, v, ok := strings.Cut(lines[n-1], "="); ok {
			found = strings.TrimSpace(strings.SplitN(v, " #", 2)[0])
		}
	}

	if strings.HasSuffix(m[2], "_url") {
		found = "of another type"
	}
	if lines := strings.Split(text, "\n"); n >= 1 && n <= len(lines) && strings.HasPrefix(strings.TrimSpace(lines[n-1]),
		"[") {
		return fmt.Errorf("%s:%d: %s is one table [%s]; want [[%s]], one for each: %w", name, n, m[2], m[2], m[2],
			coldseam.ErrInvalid)
	}
	want := map[string]string{"string": "a text in quotes", "integer": "a whole number", "float": "a number",
		"boolean": "true or false", "slice": "a list in brackets"}[m[3]]
	if want == "" {
		want = "a " + m[3]
	}
	return fmt.Errorf("%s:%d: %s is %s; want %s: %w", name, n, m[2], found, want, coldseam.ErrInvalid)
}
