// Package config reads coldseam.toml: values with their units, each checked
// against its range before anything is started. Errors name file, line, what
// was found and what is wanted.
package config

import (
	"errors"
	"fmt"
	"net/netip"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"

	"github.com/BurntSushi/toml"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// Config is coldseam.toml, read once. Every key is described in
// deploy/coldseam.toml; an unknown key is an error with its line.
type Config struct {
	DatabaseURL string   `toml:"database_url"` // empty: the private Postgres under state_dir
	ReadersURL  string   `toml:"readers_url"`  // a replica for recap --sql; empty: the database itself
	StateDir    string   `toml:"state_dir"`
	PublicURL   string   `toml:"public_url"`
	Listen      string   `toml:"listen"`
	MetricsAddr string   `toml:"metrics_listen"`
	Proxies     []string `toml:"trusted_proxies"`

	Club     Club             `toml:"club"`
	Mail     Mail             `toml:"mail"`
	Backup   Backup           `toml:"backup"`
	Odds     Odds             `toml:"odds"`
	Profiles []ingest.Profile `toml:"profile"`
	Sites    []Site           `toml:"site"`
	Reaches  []Reach          `toml:"reach"`
	Crafts   []Craft          `toml:"limit"`

	Thresholds map[string]Limit `toml:"thresholds"` // limits of the decision other than the program's own
	Weight     Weight           `toml:"weight"`
	AlertRules []AlertRule      `toml:"alert_rule"`

	Path string `toml:"-"` // of the file
}

// Club names the club and its admin.
type Club struct {
	Name       string `toml:"name"`
	AdminEmail string `toml:"admin_email"`
	Contact    string `toml:"contact"` // sent in the User-Agent: agencies ask for it
	Zone       string `toml:"zone"`
	Units      string `toml:"units"`
	SendAt     string `toml:"send_at"`
	Deadline   string `toml:"deadline"`
	Guides     string `toml:"guides"` // where to find a licensed guide, may be empty

	Currency    string   `toml:"currency"` // of the cost of driving, such as USD
	CostPerMile *float64 `toml:"cost_per_mile"`
	CostPerKM   *float64 `toml:"cost_per_km"`
}

// Mail is the way out: a relay, the signing key, the list's names.
type Mail struct {
	SMTP         string `toml:"smtp"`
	TLS          string `toml:"tls"` // starttls, tls, none (loopback only)
	User         string `toml:"user"`
	PasswordFile string `toml:"password_file"`
	From         string `toml:"from"`
	BounceDomain string `toml:"bounce_domain"`
	ListID       string `toml:"list_id"`
	DKIMDomain   string `toml:"dkim_domain"`
	DKIMSelector string `toml:"dkim_selector"`
	DKIMKeyFile  string `toml:"dkim_key_file"`
	TokenKeyFile string `toml:"token_key_file"`
	TokenKeyPrev string `toml:"token_key_previous_file"` // verified for links already sent
	Unknown      string `toml:"unknown"`                 // resend, hold
	LMTP         string `toml:"lmtp"`                    // listen address for bounces, may be empty
	BounceFile   string `toml:"bounce_file"`             // a mailbox file to read bounces from
	SecondSMTP   string `toml:"second_smtp"`             // alarm path of its own
	Workers      int    `toml:"workers"`                 // connections
	PerDomain    int    `toml:"per_domain_s"`            // mails a second to one recipient domain
}

// Backup says where backups go.
type Backup struct {
	Dir string `toml:"dir"`
}

// Odds holds the club's own defaults of the decision.
type Odds struct {
	Cost       float64 `toml:"cost"`        // a wasted trip against a good one
	TargetRate float64 `toml:"target_rate"` // fish per rod hour of a good morning
	Effects    string  `toml:"effects"`     // the club's own table of effects, beside this file; "" = the shipped one
}

// Site is one [[site]] table: a gauge, or a forecast point.
type Site struct {
	ID          string   `toml:"id"`
	Provider    string   `toml:"profile"` // the profile that serves it
	Code        string   `toml:"code"`
	Name        string   `toml:"name"`
	Zone        string   `toml:"zone"`
	Lat         float64  `toml:"lat"`
	Lon         float64  `toml:"lon"`
	DrainageKM2 float64  `toml:"drainage_km2"`
	Tidal       bool     `toml:"tidal"`
	DailyOnly   bool     `toml:"daily_only"`
	Params      []string `toml:"parameters"`
}

// Reach is one [[reach]] table. Flows and depths may be written in either
// unit system; both at once is an error.
type Reach struct {
	ID           string `toml:"id"`
	River        string `toml:"river"`
	Name         string `toml:"name"`
	Site         string `toml:"site"`
	TempSite     string `toml:"temp_site"`
	AirSite      string `toml:"air_site"`
	CountSite    string `toml:"count_site"`    // site id of a fish counter, parameter fish_count, a sum a day
	Weather      string `toml:"weather"`       // site id of the forecast point
	FlowForecast string `toml:"flow_forecast"` // site id of a discharge forecast or release schedule
	// site id of an official stage forecast with its flood stages
	StageForecast string   `toml:"stage_forecast"`
	Alerts        string   `toml:"alerts"` // profile of the alert feed
	Upstream      []string `toml:"upstream"`
	GaugeKM       float64  `toml:"gauge_km"`
	Lat           float64  `toml:"lat"`
	Lon           float64  `toml:"lon"`
	Zone          string   `toml:"zone"`
	Regulated     bool     `toml:"regulated"`
	DamCycle      string   `toml:"dam_cycle"`
	GaugeCode     string   `toml:"gauge_code"`
	AlertZones    []string `toml:"alert_zones"`
	MaxFlowCFS    *float64 `toml:"max_flow_cfs"`
	MaxFlowM3S    *float64 `toml:"max_flow_m3s"`
	MaxFlowWhy    string   `toml:"max_flow_why"`
	// what site add wrote: an equal max_flow waits for a person's word
	MaxFlowProposed *float64 `toml:"max_flow_proposed_cfs"`
	FloodFt         *float64 `toml:"flood_stage_ft"`
	FloodM          *float64 `toml:"flood_stage_m"`
	ActionFt        *float64 `toml:"action_stage_ft"`
	ActionM         *float64 `toml:"action_stage_m"`
	CurrentDeg      *float64 `toml:"current_deg"` // where the current runs to, from north clockwise
	Launch          string   `toml:"launch"`      // name and kind of ramp
	LaunchLat       float64  `toml:"launch_lat"`
	LaunchLon       float64  `toml:"launch_lon"`
	Access          string   `toml:"access"`
	Parking         string   `toml:"parking"`
	RampDrownsFt    *float64 `toml:"ramp_drowns_ft"` // stage at the gauge at which the ramp is under water
	RampDrownsM     *float64 `toml:"ramp_drowns_m"`
	HazardsSurveyed bool     `toml:"hazards_surveyed"`
	Hazards         []string `toml:"hazards"`
	// the trip card: see coldseam.Reach
	LeaveMark string      `toml:"leave_mark"`
	Siren     string      `toml:"siren"`
	Emergency []Emergency `toml:"emergency"`

	Species    []string `toml:"species"`
	Resident   *float64 `toml:"resident_share"`
	TargetRate float64  `toml:"target_rate"`
	DriveMiles *float64 `toml:"drive_miles"` // there and back
	DriveKM    *float64 `toml:"drive_km"`
	Spots      []Spot   `toml:"spot"`
	Rules      []Rule   `toml:"rule"`
	Why        string   `toml:"why"` // reason of the last edit, kept in the audit
	Who        string   `toml:"who"` // role of the person who made it, never an address
}

// Craft is one [[limit]] table: the flow limit of one craft on a reach, as
// a person confirmed it. The last of a craft counts.
type Craft struct {
	Reach      string   `toml:"reach"`
	Craft      string   `toml:"craft"`
	MaxFlowCFS *float64 `toml:"max_flow_cfs"`
	MaxFlowM3S *float64 `toml:"max_flow_m3s"`
	Why        string   `toml:"why"`
	Who        string   `toml:"who"` // a role, never an address
}

// Spot is one [[reach.spot]] table.
type Spot struct {
	ID        string   `toml:"id"`
	Name      string   `toml:"name"`
	Kind      string   `toml:"kind"`
	Class     string   `toml:"class"`
	DepthFt   *float64 `toml:"depth_ft"`
	DepthM    *float64 `toml:"depth_m"`
	Sounded   string   `toml:"sounded"`
	StageFt   *float64 `toml:"sounded_stage_ft"`
	StageM    *float64 `toml:"sounded_stage_m"`
	StageGain float64  `toml:"stage_gain"`
	Bed       string   `toml:"bed"`
	D50MM     float64  `toml:"d50_mm"`
	Snags     bool     `toml:"snags"`
	FloatFPS  *float64 `toml:"float_fps"`
	FloatMS   *float64 `toml:"float_ms"`
	FloatOn   string   `toml:"float_on"`
	FloatCFS  *float64 `toml:"float_flow_cfs"`
	FloatM3S  *float64 `toml:"float_flow_m3s"`
	FloatN    int      `toml:"float_n"`
	FloatWind string   `toml:"float_wind"`
}

// Emergency is one [[reach.emergency]] table.
type Emergency struct {
	What string  `toml:"what"`
	Lat  float64 `toml:"lat"`
	Lon  float64 `toml:"lon"`
}

// Rule is one [[reach.rule]] table.
type Rule struct {
	Kind      string   `toml:"kind"`
	Species   string   `toml:"species"`
	Closed    []string `toml:"closed"` // "03-01..04-30"
	Allowed   bool     `toml:"allowed"`
	Text      string   `toml:"text"`
	Link      string   `toml:"link"`
	CheckedOn string   `toml:"checked_on"`
	CheckedBy string   `toml:"checked_by"`
}

// Load reads a file. Errors name the file, the line and what is wanted.
func Load(path string) (Config, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return Config{}, fmt.Errorf("%s: %w (write one with `coldseam init`)", path, err)
	}
	c, err := Parse(path, string(b))
	if err != nil {
		return Config{}, err
	}
	c.Path = path
	c.FromMachine(os.Getenv)
	return c, c.checkMachine()
}

// FromMachine takes what belongs to the machine and not to the club: settings
// from the environment, for an image that runs everywhere, and keys that no line
// of the file names, which the service makes in its own directory.
func (c *Config) FromMachine(env func(string) string) {
	for name, field := range map[string]*string{"COLDSEAM_LISTEN": &c.Listen, "COLDSEAM_SMTP": &c.Mail.SMTP,
		"COLDSEAM_SMTP_TLS": &c.Mail.TLS} {
		if v := env(name); v != "" {
			*field = v
		}
	}

	if v := env("COLDSEAM_TRUSTED_PROXIES"); v != "" {
		c.Proxies = strings.Split(v, ",")
	}
	for _, field := range []*string{&c.Mail.PasswordFile, &c.Mail.DKIMKeyFile, &c.Mail.TokenKeyFile,
		&c.Mail.TokenKeyPrev} {
		if rest, ok := strings.CutPrefix(*field, "$CREDENTIALS_DIRECTORY"); ok {
			*field = env("CREDENTIALS_DIRECTORY") + rest
		}
	}

	for name, field := range c.OwnKeys() {
		if path := filepath.Join(c.StateDir, name); *field == "" && fileExists(path) {
			*field = path
		}
	}
}

func fileExists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// OwnKeys are the keys that the service makes in its own directory, by file name,
// each with the key of the configuration that it fills.
func (c *Config) OwnKeys() map[string]*string {
	out := map[string]*string{"token.key": &c.Mail.TokenKeyFile}
	if c.Mail.DKIMDomain != "" {
		out["dkim.key"] = &c.Mail.DKIMKeyFile
	}
	return out
}

func (c *Config) checkMachine() error {
	j := &validator{file: "environment"}
	j.machine(*c)
	j.mail(c.Mail)
	return errors.Join(j.errs...)
}

// Parse reads the text of a configuration; profiles are added to its own
// before it is checked.
func Parse(name, text string, profiles ...ingest.Profile) (Config, error) {
	var c Config
	md, err := toml.Decode(text, &c)
	if err != nil {
		return Config{}, syntaxFault(name, text, err)
	}
	if err := unknownKeys(name, text, md.Undecoded()); err != nil {
		return Config{}, err
	}
	own := len(c.Profiles)
	c.Profiles = append(c.Profiles, profiles...)
	c.Defaults(md.IsDefined)
	return c, validate(name, text, c, own)
}

// gone are keys of older configurations, and what to do now.
var gone = map[string]string{
	"ice_switch": "take the line out and say `coldseam reach ice closed REACH --why TEXT`",
	"ice_air_h":  "take the line out: ice is a state now that frost closes and full warm days open",
	"ice_age_h":  "take the line out: the state of ice is kept by the day",
}

func asParse(err error, pe *toml.ParseError) bool {
	p, ok := err.(toml.ParseError)
	if ok {
		*pe = p
	}
	return ok
}

var keyAssign = regexp.MustCompile(`^\s*"?([A-Za-z0-9_-]+)"?\s*=`)

// keyLine finds the line of an undecoded key: its last part assigned (or its
// table opened) in a table whose header is the rest. toml gives no position.
func keyLine(text string, key toml.Key) int {
	table, want := "", strings.Join(key[:len(key)-1], ".")
	fallback := 0

	for i, line := range strings.Split(text, "\n") {
		s := strings.TrimSpace(line)
		if strings.HasPrefix(s, "[") {
			table = strings.Trim(strings.SplitN(s, "#", 2)[0], "[] \t")
			if table == key.String() {
				return i + 1
			}
			continue
		}

		if m := keyAssign.FindStringSubmatch(line); m != nil && m[1] == key[len(key)-1] {
			if table == want {
				return i + 1
			}
			if fallback == 0 {
				fallback = i + 1
			}
		}
	}

	return fallback
}

// unknownKeys names every key that no table has, with those that it has.
func unknownKeys(name, text string, keys []toml.Key) error {
	var errs []error
	inside := "" // a table that is unknown itself
	for _, key := range keys {
		full := key.String()
		if inside != "" && strings.HasPrefix(full, inside+".") {
			continue
		}
		inside = full
		at := fmt.Sprintf("%s:%d", name, keyLine(text, key))
		if do, ok := gone[key[len(key)-1]]; ok {
			errs = append(errs, fmt.Errorf("%s: %q is no key any more: %s: %w", at, full, do, coldseam.ErrInvalid))
			continue
		}
		errs = append(errs, fmt.Errorf("%s: unknown key %q; want one of %s: %w", at, full,
			strings.Join(knownKeys(key), ", "), coldseam.ErrInvalid))
	}
	return errors.Join(errs...)
}

// knownKeys are the keys of the table that a key stands in.
func knownKeys(key toml.Key) []string {
	t := reflect.TypeFor[Config]()
	for _, part := range key[:len(key)-1] {
		if t.Kind() == reflect.Map { // the part is a name that the file gives
			t = t.Elem()
			continue
		}

		for i := range t.NumField() {
			if f := t.Field(i); f.Tag.Get("toml") == part {
				t = f.Type
				break
			}
		}
		for t.Kind() == reflect.Slice || t.Kind() == reflect.Pointer {
			t = t.Elem()
		}
	}

	var out []string
	for i := 0; t.Kind() == reflect.Struct && i < t.NumField(); i++ {
		if tag := t.Field(i).Tag.Get("toml"); tag != "" && tag != "-" {
			out = append(out, tag)
		}
	}

	return out
}

// Defaults fills what is not written; a zero that is written stays, to be judged.
func (c *Config) Defaults(written func(...string) bool) {
	def := func(s *string, v string) {
		if *s == "" {
			*s = v
		}
	}
	if c.StateDir == "" {
		c.StateDir = os.Getenv("STATE_DIRECTORY")
	}

	def(&c.StateDir, "/var/lib/coldseam")
	def(&c.Listen, "127.0.0.1:8080")
	def(&c.Club.Zone, "UTC")
	def(&c.Club.Units, "us")
	def(&c.Club.SendAt, "04:45")
	def(&c.Club.Deadline, "10:00")
	def(&c.Mail.TLS, "starttls")
	def(&c.Mail.Unknown, "resend")
	def(&c.Backup.Dir, filepath.Join(c.StateDir, "backup"))

	if c.Mail.Workers == 0 && !written("mail", "workers") {
		c.Mail.Workers = 4
	}
	if c.Mail.PerDomain == 0 && !written("mail", "per_domain_s") {
		c.Mail.PerDomain = 1
	}
	if c.Odds.Cost == 0 && !written("odds", "cost") {
		c.Odds.Cost = 0.40
	}
}

// TrustedProxies are the peers whose X-Forwarded-For is believed; none = the loopback.
func (c Config) TrustedProxies() ([]netip.Prefix, error) {
	var out []netip.Prefix
	for _, p := range c.Proxies {
		x, err := netip.ParsePrefix(p)
		if err != nil {
			return nil, fmt.Errorf("trusted_proxies: %q; want a prefix such as 172.18.0.0/16: %w", p,
				coldseam.ErrInvalid)
		}
		out = append(out, x)
	}
	return out, nil
}
