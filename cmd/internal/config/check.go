package config

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"net/mail"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// validator looks at every key of a configuration. Each fault becomes one line:
// file, line, key, what was found and what is wanted.
type validator struct {
	file  string
	lines map[string]int // of "club.zone", "reach[1].spot[0]" and "reach[1].spot[0].kind"
	errs  []error
}

// at is the line of a key, or of the nearest table around it; "" = not known.
func (j *validator) at(key string) string {
	for k := key; k != ""; {
		if n := j.lines[k]; n > 0 {
			return ":" + strconv.Itoa(n)
		}
		k = k[:max(strings.LastIndexByte(k, '.'), 0)]
	}
	return ""
}

func (j *validator) written(key string) bool { return j.lines[key] > 0 }

func (j *validator) refuse(key, found, want string) {
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
func (j *validator) wrap(key string, err error) {
	if err != nil {
		text := strings.TrimSuffix(err.Error(), ": "+coldseam.ErrInvalid.Error())
		j.errs = append(j.errs, fmt.Errorf("%s%s: %s: %w", j.file, j.at(key), hidden(text), coldseam.ErrInvalid))
	}
}

// check judges a text by a test; one that is empty is taken as not given.
func (j *validator) check(key, v, want string, ok func(string) bool) {
	if v != "" && !ok(v) {
		j.refuse(key, strconv.Quote(v), want)
	}
}

// span judges a number that is written, or that is not the zero of a key left out.
func (j *validator) span(key string, v, lo, hi float64, unit string) {
	if (v != 0 || j.written(key)) && !(v >= lo && v <= hi) {
		j.refuse(key, fmt.Sprintf("%g", v), fmt.Sprintf("%g to %g%s", lo, hi, unit))
	}
}

func (j *validator) spanOf(key string, v *float64, lo, hi float64, unit string) {
	if v != nil && !(*v >= lo && *v <= hi) {
		j.refuse(key, fmt.Sprintf("%g", *v), fmt.Sprintf("%g to %g%s", lo, hi, unit))
	}
}

// pair judges a quantity that may be written in either unit system: the bounds
// are SI.
func (j *validator) pair(table, si, us string, vSI, vUS *float64, lo, hi, factor float64) {
	if vSI != nil && vUS != nil {
		j.refuse(table+us, fmt.Sprintf("%g beside %s", *vUS, si), "one of the two unit systems")
	}
	j.spanOf(table+si, vSI, lo, hi, "")
	j.spanOf(table+us, vUS, math.Round(lo/factor*1e4)/1e4, math.Round(hi/factor), "")
}

// printable looks at every text of the file: names and rules stand in mails and
// their headers, where a control character or a mark that turns the direction of
// writing hides what is said. The body of a request may have lines.
func (j *validator) printable(key string, v reflect.Value) {
	switch v.Kind() {
	case reflect.String:
		hides := func(r rune) bool { return unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) }
		if s := v.String(); j.at(key) != "" && !strings.HasSuffix(key, ".body") && strings.ContainsFunc(s, hides) {
			j.refuse(key, strconv.Quote(s), "one line without control characters")
		}
	case reflect.Pointer:
		if !v.IsNil() {
			j.printable(key, v.Elem())
		}
	case reflect.Slice:
		for i := range v.Len() {
			item := key
			if v.Type().Elem().Kind() == reflect.Struct {
				item = fmt.Sprintf("%s[%d]", key, i)
			}
			j.printable(item, v.Index(i))
		}
	case reflect.Struct:
		for i := range v.NumField() {
			name := v.Type().Field(i).Tag.Get("toml")
			if name != "" && name != "-" {
				j.printable(strings.TrimPrefix(key+"."+name, "."), v.Field(i))
			}
		}
	}
}

func (j *validator) oneOf(key, v string, of ...string) {
	j.check(key, v, "one of "+strings.Join(of, ", "), func(s string) bool { return slices.Contains(of, s) })
}

// validate looks at every key. Profiles that are not of the file come last.
func validate(file, text string, c Config, own int) error {
	j := &validator{file: file, lines: keyLines(text)}
	j.printable("", reflect.ValueOf(c))
	j.machine(c)
	j.club(c.Club)
	j.mail(c.Mail)
	j.span("odds.cost", c.Odds.Cost, 0.2, 0.7, "")
	j.span("odds.target_rate", c.Odds.TargetRate, 0, 20, " fish per rod hour")
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
func (j *validator) list(key string, list []string, whenEmpty string) {
	if len(list) == 0 && whenEmpty != "" && j.written(key) {
		j.refuse(key, "an empty list", whenEmpty)
	}
	for i, s := range list {
		switch {
		case strings.TrimSpace(s) == "":
			j.refuse(key, "a list with an empty text", "a text in each place")
		case slices.Contains(list[:i], s):
			j.refuse(key, strconv.Quote(s)+" twice", "each once")
		default:
			continue
		}
		return
	}
}

func (j *validator) weight(w Weight) {
	for _, x := range []struct {
		key       string
		v, lo, hi float64
	}{{"tie_new", w.TieNew, .3, .95}, {"tie_done", w.TieDone, .3, .95}, {"pack", w.Pack, .5, .99},
		{"floor_oz", w.FloorOz, 1. / 16, 1}, {"max_oz", w.MaxOz, 1. / 8, 1}} {
		j.span("weight."+x.key, x.v, x.lo, x.hi, "")
	}
	if tie := max(w.TieNew, w.TieDone); w.Pack > 0 && w.Pack < tie {
		j.refuse("weight.pack", fmt.Sprintf("%g, which is below the odds of %g to tie on", w.Pack, tie),
			"at least those odds")
	}
	if w.FloorOz > 0 && w.MaxOz > 0 && w.FloorOz > w.MaxOz {
		j.refuse("weight.floor_oz", fmt.Sprintf("%g, which is above max_oz %g", w.FloorOz, w.MaxOz), "no more than that")
	}
}

func (j *validator) machine(c Config) {
	const address = "host:port such as 127.0.0.1:8080"
	for key, v := range map[string]string{"database_url": c.DatabaseURL, "readers_url": c.ReadersURL} {
		if v != "" && !isDatabase(v) {
			j.refuse(key, "no address of a database", "postgres://USER@HOST/NAME")
		}
	}
	j.check("public_url", c.PublicURL, "an http or https address without query, such as https://river.example.org",
		isBase)
	j.check("listen", c.Listen, address, isHostPort)
	j.check("metrics_listen", c.MetricsAddr, address, isHostPort)
	if c.MetricsAddr != "" && c.MetricsAddr == c.Listen && !strings.HasSuffix(c.Listen, ":0") {
		j.refuse("metrics_listen", strconv.Quote(c.MetricsAddr)+", as listen is", "another port")
	}
	_, err := c.TrustedProxies()
	j.wrap("trusted_proxies", err)
}

func (j *validator) club(c Club) {
	if strings.TrimSpace(c.Name) == "" {
		j.refuse("club.name", "empty", "the name that stands on mail and pages")
	}
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
		j.refuse(key, fmt.Sprintf("%q with send_at %q and deadline %q",
			map[bool]string{true: c.Deadline, false: c.SendAt}[key == "club.deadline"], c.SendAt, c.Deadline),
			"a deadline after the send time")
	}
}

func (j *validator) mail(m Mail) {
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
		j.refuse("mail.user", fmt.Sprintf("%q with password_file %q", m.User, m.PasswordFile), "both, or none")
	}
	j.span("mail.workers", float64(m.Workers), 1, 64, " connections")
	j.span("mail.per_domain_s", float64(m.PerDomain), 1, 1000, " mails a second")
}
