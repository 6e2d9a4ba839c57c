package ingest

import (
	"fmt"
	"maps"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
)

// Formats a profile may name; empty lets the document decide.
const (
	FormatFeatures     = "ogcapi_features"
	FormatWaterML2     = "waterml2"
	FormatWaterML1     = "waterml1"
	FormatCAP          = "cap"
	FormatCovJSON      = "coveragejson"
	FormatGridpoint    = "gridpoint"
	FormatSensorThings = "sensorthings"
	FormatTable        = "table"   // imported, never polled
	FormatRecords      = "records" // other JSON and text, by a map: see Records
)

// Kinds of paging.
const (
	PagingNone  = "none"         // one page; a next link is an error, not cut off in silence
	PagingFirst = "first"        // the first page alone is wanted: the newest rows of a sorted service
	PagingLinks = "links_next"   // links with rel=next
	PagingBody  = "body_next"    // a next token or address in the body
	PagingIOT   = "iot_nextlink" // SensorThings
	// a query key {offset} or {page}, counted on while a page is full
	PagingOffset = "offset"
	PagingPage   = "page"
)

// Default limits [proposal] unless marked.
const (
	DefaultPageLimit    = 10000
	DefaultMaxPages     = 500
	DefaultMaxURLBytes  = 8000
	DefaultMaxBody      = 8 << 20
	DefaultTimeout      = 20 * time.Second
	DefaultConcurrency  = 2
	DefaultRatePerHour  = 600
	DefaultPoll         = time.Hour
	MaxXMLDepth         = 64 // the deepest collected document has 12 levels
	MaxFutureStamp      = 10 * time.Minute
	maxHeaderBytes      = 64 << 10
	maxRedirects        = 3
	maxRetryAfterInline = time.Minute
)

// Span is a duration in a config file: Go's form with a day unit in front,
// such as "90s", "15m", "1095d" or "1d12h".
type Span time.Duration

// UnmarshalText reads the config form; a negative span is ErrInvalid.
func (s *Span) UnmarshalText(b []byte) error {
	rest, days := string(b), 0
	if d, tail, ok := strings.Cut(rest, "d"); ok {
		n, err := strconv.Atoi(d)
		if err != nil {
			return fmt.Errorf("span %q: want a form such as 90s, 15m or 30d: %w", b, coldseam.ErrInvalid)
		}
		days, rest = n, tail
	}

	var d time.Duration
	if rest != "" {
		var err error
		if d, err = time.ParseDuration(rest); err != nil {
			return fmt.Errorf("span %q: want a form such as 90s, 15m or 30d: %w", b, coldseam.ErrInvalid)
		}
	}

	d += time.Duration(days) * 24 * time.Hour
	if d < 0 || days > 36500 || len(b) == 0 {
		return fmt.Errorf("span %q: want a form such as 90s, 15m or 30d: %w", b, coldseam.ErrInvalid)
	}
	*s = Span(d)
	return nil
}

// MarshalText writes Go's form.
func (s Span) MarshalText() ([]byte, error) { return []byte(time.Duration(s).String()), nil }

// Place is a spot a gridded service is asked for, or where a station lies.
// Degrees, WGS 84.
type Place struct {
	Lat  float64 `toml:"lat"`
	Lon  float64 `toml:"lon"`
	Grid string  `toml:"grid"` // value of {grid}: a path piece such as "MPX/108,71"
	Zone string  `toml:"zone"` // IANA
}

// Endpoint overrides parts of a profile for one use of the same service.
// Well-known names: latest, history, revisions, daily, metadata, locations,
// gaugings, channels. An empty field keeps the profile's own value.
type Endpoint struct {
	Path      string            `toml:"path"`
	Query     map[string]string `toml:"query"` // replaces the profile's query as a whole
	Body      string            `toml:"body"`
	Format    string            `toml:"format"`
	Kind      string            `toml:"kind"`
	Statistic string            `toml:"statistic"`
	Paging    string            `toml:"paging"`
	MaxWindow Span              `toml:"max_window"`
	Sites     int               `toml:"sites_per_request"`
	Records   *Records          `toml:"records"`
	Values    map[string]string `toml:"parameters"` // replaces the profile's parameters as a whole
	Poll      Span              `toml:"poll"`
}

// Profile is the transport profile of one service: data, not code. A new
// agency is a new table in the config. The zero value of a key means the
// default written beside it.
//
// Templates in path, query and body may hold {sites} {site} {parameters}
// {parameter} {since} {until} {limit} {offset} {page} {lat} {lon} {grid};
// {since} and {until} are RFC 3339 UTC, {since_date} and {until_date} bare dates. A query key whose template
// resolves to nothing is left out.
type Profile struct {
	Name     string `toml:"name"`
	Provider string `toml:"provider"` // prefix of site ids; default name. Profiles of one agency share it
	Format   string `toml:"format"`   // default: decided by the document
	Kind     string `toml:"kind"`     // observation (default), forecast (default of coveragejson and gridpoint)

	BaseURL   string              `toml:"base_url"`
	Path      string              `toml:"path"`
	Query     map[string]string   `toml:"query"`
	Endpoints map[string]Endpoint `toml:"endpoints"`
	Method    string              `toml:"method"` // GET (default) or POST
	Body      string              `toml:"body"`   // of a POST, such as a SOAP envelope
	Headers   map[string]string   `toml:"headers"`
	KeyHeader string              `toml:"key_header"` // header that carries the key
	// file that holds the key; never logged, never sent to another host
	KeyFile string `toml:"key_file"`

	Paging string `toml:"paging"` // none
	// 10000 rows; 50,000 rows of a feature service pass the body cap
	PageLimit       int      `toml:"page_limit"`
	MaxPages        int      `toml:"max_pages"`         // 500
	SitesPerRequest int      `toml:"sites_per_request"` // 0 = all in one, within max_url_bytes
	MaxURLBytes     int      `toml:"max_url_bytes"`     // 8000
	MaxWindow       Span     `toml:"max_window"`        // 0 = any span of time in one request
	RatePerHour     float64  `toml:"rate_per_hour"`     // 600
	MinInterval     Span     `toml:"min_interval"`      // least time between two requests, 0
	Concurrency     int      `toml:"concurrency"`       // 2 per host
	MaxBodyBytes    int64    `toml:"max_body_bytes"`    // 8 MiB, decompressed
	Timeout         Span     `toml:"timeout"`           // 20s for a whole request
	PrivateHosts    []string `toml:"private_hosts"`     // hosts that may have a private address, none

	Fields      map[string]string `toml:"fields"`       // source field -> our field
	Parameters  map[string]string `toml:"parameters"`   // source code -> parameter
	Units       map[string]string `toml:"units"`        // parameter -> unit, only when the document carries none
	UnitAliases map[string]string `toml:"unit_aliases"` // spelling of the source -> spelling of the unit table
	// IANA, for zone-less stamps and bare dates; none = refuse them
	Zone             string            `toml:"zone"`
	Zones            map[string]string `toml:"zones"` // site code -> IANA, before zone
	Wide             bool              `toml:"wide"`  // one row holds several parameters
	EncodingOverride string            `toml:"encoding_override"`
	MissingTokens    []string          `toml:"missing_tokens"` // beside the built-in ones
	// code -> ok, warn, bad, missing, ice, estimated, equipment
	Qualifiers map[string]string `toml:"qualifiers"`
	Approval   map[string]string `toml:"approval"`  // word -> provisional, approved
	Statistic  string            `toml:"statistic"` // where the document does not say
	// parameter -> statistic and period, such as "sum PT1H"; before statistic
	Statistics map[string]string `toml:"statistics"`
	// parameter -> height as the document writes it, where it is not the usual one
	Levels map[string]float64 `toml:"levels"`
	// site code -> series ids to take; default: the primary one
	Series map[string][]string `toml:"series"`
	Places map[string]Place    `toml:"places"`

	// Where things stand in a document of the format records.
	Records *Records `toml:"records"`
	// statuses beside 200 that bring data, such as 206 for a page of several
	AcceptStatus []int `toml:"accept_status"`

	Poll        Span   `toml:"poll"`    // usual time between fetches, 1h
	MaxAge      Span   `toml:"max_age"` // greatest age at which the feed still counts
	Licence     string `toml:"licence"`
	Attribution string `toml:"attribution"`
	Link        string `toml:"link"` // where the attribution points to

	// RequestSite is the one site the document was asked for, and RequestIssued
	// the model run named in its address; the Fetcher sets them for services
	// whose answer does not say. Context is what an earlier page said that this
	// one leaves out: the fragment of the address that led here.
	RequestSite      string    `toml:"-"`
	RequestParameter string    `toml:"-"` // the code of the one parameter that was asked for
	RequestIssued    time.Time `toml:"-"`
	Context          string    `toml:"-"`
	// PassedOver are series that the agency's metadata ranks below another one
	// of the same kind: site code -> series ids. Only where series says nothing.
	PassedOver map[string][]string `toml:"-"`
}

// WithDefaults fills the keys that have a default.
func (p Profile) WithDefaults() Profile {
	def := func(n *int, d int) {
		if *n <= 0 {
			*n = d
		}
	}
	span := func(s *Span, d time.Duration) {
		if *s <= 0 {
			*s = Span(d)
		}
	}

	if p.Name == "" {
		p.Name = "file"
	}
	if p.Provider == "" {
		p.Provider = p.Name
	}
	if p.Method == "" {
		p.Method = "GET"
	}

	if p.Paging == "" {
		p.Paging = PagingNone
		if p.Format == FormatCAP { // of warnings every page counts
			p.Paging = PagingLinks
		}
	}

	def(&p.PageLimit, DefaultPageLimit)
	def(&p.MaxPages, DefaultMaxPages)
	def(&p.MaxURLBytes, DefaultMaxURLBytes)
	def(&p.Concurrency, DefaultConcurrency)
	if p.MaxBodyBytes <= 0 {
		p.MaxBodyBytes = DefaultMaxBody
	}
	if p.RatePerHour <= 0 {
		p.RatePerHour = DefaultRatePerHour
	}
	span(&p.Timeout, DefaultTimeout)
	span(&p.Poll, DefaultPoll)
	return p
}

// WithSites fills zones and places of the sites that the profile serves (their
// Provider is its name), where the profile does not say. Bare dates and
// zone-less stamps are read in the site's zone, and a gridded service is asked
// for the site's position.
func (p Profile) WithSites(sites []coldseam.Site) Profile {
	zones, places := maps.Clone(p.Zones), maps.Clone(p.Places)
	if zones == nil {
		zones = map[string]string{}
	}
	if places == nil {
		places = map[string]Place{}
	}

	for _, s := range sites {
		if s.Provider != p.Name {
			continue
		}
		if _, ok := zones[s.Code]; !ok && s.Zone != "" {
			zones[s.Code] = s.Zone
		}
		if _, ok := places[s.Code]; !ok && (s.Lat != 0 || s.Lon != 0) {
			places[s.Code] = Place{Lat: s.Lat, Lon: s.Lon, Zone: s.Zone}
		}
	}

	p.Zones, p.Places = zones, places
	return p
}

// At returns the profile as the named endpoint sees it. The empty name is the
// profile itself; an unknown name is ErrNotFound.
func (p Profile) At(endpoint string) (Profile, error) {
	if endpoint == "" {
		return p, nil
	}
	e, ok := p.Endpoints[endpoint]
	if !ok {
		return p, fmt.Errorf("profile %s: endpoint %q: %w", p.Name, endpoint, coldseam.ErrNotFound)
	}

	set := func(dst *string, v string) {
		if v != "" {
			*dst = v
		}
	}
	set(&p.Path, e.Path)
	set(&p.Body, e.Body)
	set(&p.Format, e.Format)

	set(&p.Kind, e.Kind)
	set(&p.Statistic, e.Statistic)
	set(&p.Paging, e.Paging)
	if e.Query != nil {
		p.Query = e.Query
	}
	if e.MaxWindow > 0 {
		p.MaxWindow = e.MaxWindow
	}

	if e.Sites > 0 {
		p.SitesPerRequest = e.Sites
	}
	if e.Records != nil {
		p.Records = e.Records
	}
	if e.Values != nil {
		p.Parameters = e.Values
	}
	if e.Poll > 0 {
		p.Poll = e.Poll
	}
	return p, nil
}

// SiteID is the site id of an agency's station code.
func (p Profile) SiteID(code string) coldseam.SiteID {
	if p.Provider == "" {
		p = p.WithDefaults()
	}
	return coldseam.SiteID(p.Provider + ":" + code)
}

// Parameter looks up a source code in the profile, then in defaults. Codes are
// compared as written, then without case.
func (p Profile) Parameter(code string, defaults map[string]coldseam.Parameter) (coldseam.Parameter, bool) {
	if v, ok := p.Parameters[code]; ok {
		return coldseam.Parameter(v), true
	}
	for k, v := range p.Parameters {
		if strings.EqualFold(k, code) {
			return coldseam.Parameter(v), true
		}
	}
	if v, ok := defaults[code]; ok {
		return v, true
	}
	v, ok := defaults[strings.ToLower(code)]
	return v, ok
}

// Stat is the configured statistic and period of a parameter; both are empty
// when the profile does not say.
func (p Profile) Stat(param coldseam.Parameter) (coldseam.Statistic, string, error) {
	s, ok := p.Statistics[string(param)]
	if !ok {
		s = p.Statistic
	}
	name, period, _ := strings.Cut(s, " ")
	if period != "" {
		if _, _, _, err := ParsePeriod(period); err != nil {
			return "", "", err
		}
	}
	if !contains([]string{"", "instant", "mean", "min", "max", "sum"}, name) {
		return "", "", fmt.Errorf("statistic %q of %s: %w", s, param, coldseam.ErrInvalid)
	}
	return coldseam.Statistic(name), period, nil
}

// AttributionOf is the credit that pages and mails must carry.
func (p Profile) AttributionOf() coldseam.Attribution {
	p = p.WithDefaults()
	return coldseam.Attribution{
		Provider: p.Provider,
		Name:     p.Name,
		Licence:  p.Licence,
		Text:     p.Attribution,
		Link:     p.Link,
	}
}

func (p Profile) allowsPrivate(host string) bool { return contains(p.PrivateHosts, host) }

func contains(list []string, s string) bool {
	for _, x := range list {
		if x == s {
			return true
		}
	}
	return false
}
