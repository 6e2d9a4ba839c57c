package ingest

import (
	"encoding/xml"
	"fmt"
	"net/url"
	"sort"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
)

// call is one request before paging: a group of sites and a slice of time.
type call struct {
	url, body    string
	log          string // address for log and store: a moving window is not written out
	site         string // when the call is for one site alone
	parameter    string // when the call is for one parameter alone
	since, until time.Time
	group        int
}

// plan cuts a request into calls: slices of time no longer than max_window,
// oldest first, and groups of sites that fit sites_per_request and
// max_url_bytes.
func (p Profile) plan(req Request, now time.Time) ([]call, error) {
	sites := req.Sites
	if len(sites) == 0 {
		for s := range p.Places {
			sites = append(sites, s)
		}
		sort.Strings(sites)
	}
	params := p.paramCodes(req.Params)
	var out []call

	for _, w := range windows(req.Since, req.Until, time.Duration(p.MaxWindow), now) {
		groups, err := p.groups(sites, params, w)
		if err != nil {
			return nil, err
		}

		for i, g := range groups {
			for _, codes := range p.fan(params) {
				c, err := p.call(g, codes, w)
				if err != nil {
					return nil, err
				}
				c.group = i
				if c.log, err = p.logURL(g, codes, w, c.url); err != nil {
					return nil, err
				}
				out = append(out, c)
			}
		}
	}

	return out, nil
}

// fan cuts the parameters into those of one call: one by one where the address
// names one.
func (p Profile) fan(params []string) [][]string {
	if !p.mentions("{parameter}") || len(params) == 0 {
		return [][]string{params}
	}
	var out [][]string
	for _, c := range params {
		out = append(out, []string{c})
	}
	return out
}

// logURL is the address with the ends of a window left as marks, so that every
// poll of a moving window has one name in the store and not a new one each
// time. Such an answer has no use for validators.
func (p Profile) logURL(sites, params []string, w [2]time.Time, addr string) (string, error) {
	if w[0].IsZero() || !p.mentions("{since}", "{until}", "{since_date}", "{until_date}") {
		return addr, nil
	}
	c, err := p.call(sites, params, [2]time.Time{{}, {}})
	if err != nil {
		return "", err
	}
	u := c.url
	sep := "?"
	if strings.Contains(u, "?") {
		sep = "&"
	}
	return u + sep + "window", nil
}

// windows cuts [since, until] into slices. No since = one slice without ends.
func windows(since, until time.Time, longest time.Duration, now time.Time) [][2]time.Time {
	if since.IsZero() {
		return [][2]time.Time{{since, until}}
	}
	if until.IsZero() {
		until = now
	}
	since, until = since.UTC().Truncate(time.Second), until.UTC().Truncate(time.Second)
	if longest <= 0 || until.Sub(since) <= longest {
		return [][2]time.Time{{since, until}}
	}

	var out [][2]time.Time
	for a := since; a.Before(until); a = a.Add(longest) {
		b := a.Add(longest)
		if b.After(until) {
			b = until
		}
		out = append(out, [2]time.Time{a, b})
	}

	return out
}

// groups packs sites; a service that names the place in its address gets one
// call a place.
func (p Profile) groups(sites, params []string, w [2]time.Time) ([][]string, error) {
	limit := p.SitesPerRequest
	if p.mentions("{site}", "{lat}", "{lon}", "{grid}") {
		limit = 1
	}
	if limit <= 0 {
		limit = max(len(sites), 1)
	}
	if len(sites) == 0 {
		return [][]string{nil}, nil
	}
	var out [][]string

	for rest := sites; len(rest) > 0; {
		n := min(limit, len(rest))
		for ; n > 0; n-- {
			c, err := p.call(rest[:n], params, w)
			if err != nil {
				return nil, err
			}
			if len(c.url) <= p.MaxURLBytes {
				break
			}
		}

		if n == 0 {
			return nil, fmt.Errorf("profile %s: the address for site %s passes max_url_bytes = %d: %w", p.Name, rest[0],
				p.MaxURLBytes, coldseam.ErrInvalid)
		}
		out = append(out, rest[:n])
		rest = rest[n:]
	}

	return out, nil
}

func (p Profile) mentions(marks ...string) bool {
	all := p.Path + p.Body
	for _, v := range p.Query {
		all += v
	}
	for _, m := range marks {
		if strings.Contains(all, m) {
			return true
		}
	}
	return false
}

// call fills the templates. Every value is percent-encoded: a plus sign of an
// offset and spaces in names would be read as something else.
func (p Profile) call(sites, params []string, w [2]time.Time) (call, error) {
	c := call{since: w[0], until: w[1]}
	vars := map[string]string{
		"{sites}":      strings.Join(sites, ","),
		"{parameters}": strings.Join(params, ","),
		"{since}":      stampText(w[0], time.RFC3339),
		"{until}":      stampText(w[1], time.RFC3339),
		"{since_date}": stampText(w[0], time.DateOnly),
		"{until_date}": stampText(w[1], time.DateOnly),
		"{limit}":      strconv.Itoa(p.PageLimit),
		"{site}":       "", "{lat}": "", "{lon}": "", "{grid}": "", "{parameter}": "",
		"{offset}": "0", "{page}": "1",
	}
	if len(params) == 1 {
		c.parameter, vars["{parameter}"] = params[0], params[0]
	}

	if len(sites) == 1 {
		c.site = sites[0]
		vars["{site}"] = sites[0]
		if pl, ok := p.Places[sites[0]]; ok {
			vars["{lat}"], vars["{lon}"] = degrees(pl.Lat), degrees(pl.Lon)
			vars["{grid}"] = pl.Grid
		}
	}

	path, _ := fill(p.Path, vars, func(s string) string {
		return strings.ReplaceAll(strings.ReplaceAll(url.PathEscape(s), "%2F", "/"), "%2C", ",")
	})
	u, err := url.Parse(strings.TrimRight(p.BaseURL, "/") + path)
	if err != nil {
		return c, fmt.Errorf("profile %s: path %q: %w", p.Name, path, coldseam.ErrInvalid)
	}

	keys := make([]string, 0, len(p.Query))
	for k := range p.Query {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	var parts []string
	if u.RawQuery != "" {
		parts = append(parts, u.RawQuery)
	}

	for _, k := range keys {
		if v, ok := fill(p.Query[k], vars, nil); ok {
			parts = append(parts, escape(k)+"="+escape(v))
		}
	}

	u.RawQuery = strings.Join(parts, "&")
	c.url = u.String()
	c.body, _ = fill(p.Body, vars, func(s string) string {
		var b strings.Builder
		_ = xml.EscapeText(&b, []byte(s)) // a strings.Builder does not fail
		return b.String()
	})
	return c, nil
}

// fill replaces the marks of a template. ok is false when it has marks and all
// of them are empty. Of a window with one open end the other becomes "..".
func fill(tpl string, vars map[string]string, enc func(string) string) (out string, ok bool) {
	marks, filled := 0, 0
	for m, v := range vars {
		if strings.Contains(tpl, m) {
			marks++
			if v != "" {
				filled++
			}
		}
	}

	if marks > 0 && filled == 0 {
		return "", false
	}
	pairs := make([]string, 0, 2*len(vars))
	for m, v := range vars {
		if v == "" && (m == "{since}" || m == "{until}") {
			v = ".."
		}
		if enc != nil {
			v = enc(v)
		}
		pairs = append(pairs, m, v)
	}

	return strings.NewReplacer(pairs...).Replace(tpl), true
}

func escape(s string) string { return strings.ReplaceAll(url.QueryEscape(s), "+", "%20") }

func stampText(t time.Time, layout string) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format(layout)
}

// degrees has 4 decimals: about 10 m, and the most some services accept.
func degrees(v float64) string { return strconv.FormatFloat(v, 'f', 4, 64) }

// paramCodes lists the source codes of the wanted parameters, sorted; none
// wanted = all of the profile.
func (p Profile) paramCodes(want []coldseam.Parameter) []string {
	var out []string
	for code, param := range p.Parameters {
		for _, w := range want {
			if string(w) == param {
				out = append(out, code)
			}
		}
		if len(want) == 0 {
			out = append(out, code)
		}
	}
	sort.Strings(out)
	return out
}

// counter is the mark of the query key that a paging by number counts on.
func (p Profile) counter() string {
	switch p.Paging {
	case PagingOffset:
		return "{offset}"
	case PagingPage:
		return "{page}"
	}
	return ""
}

func (p Profile) counterKey() string {
	for k, v := range p.Query {
		if v == p.counter() {
			return k
		}
	}
	return ""
}

// counted is the address of the page after a full one.
func (p Profile) counted(page string, records int) (string, error) {
	if p.counter() == "" || records < p.PageLimit {
		return "", nil
	}
	u, err := url.Parse(page)
	if err != nil {
		return "", fmt.Errorf("page address: %w", coldseam.ErrInvalid)
	}
	q, step := u.Query(), 1
	if p.Paging == PagingOffset {
		step = p.PageLimit
	}
	n, err := strconv.Atoi(q.Get(p.counterKey()))
	if err != nil {
		return "", fmt.Errorf("%s of the page address: %w", p.counterKey(), coldseam.ErrInvalid)
	}
	q.Set(p.counterKey(), strconv.Itoa(n+step))
	u.RawQuery = strings.ReplaceAll(q.Encode(), "+", "%20")
	return u.String(), nil
}

// nextURL turns what a page says of the next one into an address. A link to
// another host is refused, and a plain-http link of the same host is taken as
// the scheme of the page: services behind a proxy write such links.
func (p Profile) nextURL(page, next string) (string, error) {
	cur, err := url.Parse(page)
	if err != nil {
		return "", fmt.Errorf("page address: %w", coldseam.ErrInvalid)
	}

	if p.Paging == PagingBody && !strings.Contains(next, "://") && !strings.HasPrefix(next, "/") {
		q := cur.Query()
		q.Set("next_token", next) // name of the US statistics service [from memory]
		cur.RawQuery = q.Encode()
		return cur.String(), nil
	}

	ref, err := url.Parse(next)
	if err != nil {
		return "", fmt.Errorf("next link %q: %w", clip(next), coldseam.ErrInvalid)
	}

	u := cur.ResolveReference(ref)
	if strings.EqualFold(u.Hostname(), cur.Hostname()) && u.Scheme == "http" && cur.Scheme == "https" {
		u.Scheme, u.Host = cur.Scheme, cur.Host
	}
	if !sameHost(u, cur) {
		return "", fmt.Errorf("next link to another host %q: %w", clip(u.Host), coldseam.ErrRejected)
	}
	return u.String(), nil
}
