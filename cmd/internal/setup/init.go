// Package setup is what an admin does before the first morning and on
// changes: the configuration and its keys, rivers, files of records, and what
// only a person can say of a reach.
package setup

import (
	"context"
	_ "embed"
	"fmt"
	"net/mail"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/mailing"
	"example.org/coldseam/store/localpg"
)

//go:embed coldseam.toml
var sampleTOML string

// Init writes a configuration and the keys. On a terminal it asks what it can
// neither find out nor was told.
type Init struct {
	Club   string `help:"Name of the club; default Our River Club."`
	Domain string `help:"The club's domain; default the name of this machine." placeholder:"NAME"`
	Zone   string `help:"IANA zone; default the machine's." placeholder:"ZONE"`

	first siteAddCmd // the first river, asked for: a place, and a name where one was said
	Ask   *Asker     `kong:"-"` // who is asked; nil = nobody
}

// Run writes what is not there yet. Nothing is ever overwritten.
func (c *Init) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	host, _ := os.Hostname() // unknown: the example's name stays
	m := Machine{
		host: host,
		zone: machineZone("/etc/localtime", os.Getenv("TZ")),
		Root: os.Geteuid() == 0,
		home: os.Getenv("HOME"),
	}
	if isTerminal(os.Stdin) {
		c.Ask = NewAsker(os.Stdin, s.Out)
	}
	return c.Set(ctx, s, g, m)
}

// Set asks where there is somebody to ask, writes, and sets the first river up. A
// file that an admin has edited is left alone, and nothing is asked for it.
func (c *Init) Set(ctx context.Context, s *env.Streams, g *env.Globals, m Machine) error {
	text, err := os.ReadFile(g.Config)
	m.shipped = err == nil && string(text) == sampleTOML
	if c.Ask != nil && (m.shipped || os.IsNotExist(err)) {
		c.questions(m)
	}
	if err := c.Write(s, g.Config, m); err != nil {
		return err
	}
	if c.first.Lat == 0 && c.first.Lon == 0 {
		return nil
	}
	fmt.Fprintln(s.Out, "\nThe first river:")
	c.first.ask, c.first.seasons = c.Ask, m.Seasons
	return c.first.Run(ctx, s, g)
}

// Machine is what init finds out.
type Machine struct {
	host, zone, home string
	Root             bool
	shipped          bool               // the configuration is the one of the package, as it came
	State            string             // instead of the place by custom
	Sample           string             // instead of the shipped configuration
	Seasons          [][2]coldseam.Date // instead of the last spring and autumn
}

// Write writes what is not there yet.
func (c *Init) Write(s *env.Streams, path string, m Machine) error {
	path, err := filepath.Abs(path)
	if err != nil {
		return err
	}

	dir := filepath.Dir(path)
	if err := localpg.MakeDir(dir, 0o755); err != nil {
		return err
	}
	keys := dir
	if m.Root { // for a service with a user of its own, who reads what is in its directory
		keys = m.stateDir()
	}

	token, dkim := filepath.Join(keys, "token.key"), filepath.Join(keys, "dkim.key")
	domain := c.Domain
	if domain == "" && strings.Contains(strings.Trim(m.host, "."), ".") {
		domain = m.host
	}
	zone := c.Zone
	if zone == "" {
		zone = m.zone
	}

	values := sampleValues{club: env.OrElse(c.Club, defaultClub), domain: domain, zone: zone, state: m.stateDir()}
	if !m.Root {
		values.token, values.dkim = token, dkim
	}
	text := fillSample(env.OrElse(m.Sample, sampleTOML), values)
	if _, err := config.Parse(path, text); err != nil {
		return env.Fail(2, err.Error())
	}

	say := func(f, what string, made bool) {
		if made {
			fmt.Fprintf(s.Out, "wrote  %s: %s\n", f, what)
		} else {
			fmt.Fprintf(s.Out, "kept   %s: it was there\n", f)
		}
	}
	if m.shipped {
		if err := os.Remove(path); err != nil {
			return err
		}
	}
	made, err := env.WriteNew(path, []byte(text), 0o644)
	if err != nil {
		return err
	}

	say(path, "the configuration, every key explained", made)
	had := env.Exists(token)
	if _, err := mailing.EnsureKey(token); err != nil {
		return err
	}
	say(token, "signs the links in mails", !had)
	had = env.Exists(dkim)
	if !had {
		if err := mailing.WriteDKIMKey(dkim); err != nil {
			return err
		}
	}

	say(dkim, "signs the mails", !had)
	c.next(s, path, domain, zone)
	return nil
}

const defaultClub = "Our River Club"

func (c *Init) next(s *env.Streams, path, domain, zone string) {
	flag := ""
	if filepath.Base(path) != "coldseam.toml" || filepath.Dir(path) != mustGetwd() {
		flag = " --config " + path
	}
	w := s.Out
	fmt.Fprintln(w, "\nNext:")

	step := 1
	say := func(format string, args ...any) {
		fmt.Fprintf(w, "%d. %s\n", step, fmt.Sprintf(format, args...))
		step++
	}
	if domain == "" {
		say("This machine has no full name: put the club's domain for river.example.org in %s.", path)
	}

	if zone == "" {
		say("This machine says no time zone: set club.zone.")
	}
	say("Set club.name, club.admin_email, club.contact and mail.smtp in %s.", path)
	say("coldseam check%s --dns   prints the records to paste into the domain's zone.", flag)
	if c.first.Lat == 0 && c.first.Lon == 0 {
		say("coldseam site add%s --lat 45.3 --lon -92.7   finds the nearest gauges and adds a river.", flag)
	}
	say("coldseam check%s   says what is still wanted.", flag)
	say("coldseam preview%s   writes tomorrow's mail to files; coldseam brief%s --mail you@%s sends it to one address.",
		flag, flag, env.OrElse(domain, "river.example.org"))
	say("coldseam serve%s   or the unit in deploy/coldseam.service.", flag)
	say("coldseam backup%s   every day from a timer: the two keys are in it.", flag)
}

func mustGetwd() string {
	d, err := os.Getwd()
	if err != nil {
		return ""
	}
	return d
}

// stateDir is where programs of this user keep their state by custom.
func (m Machine) stateDir() string {
	switch {
	case m.State != "":
		return m.State
	case m.Root:
		return "/var/lib/coldseam"
	case m.home != "":
		return filepath.Join(m.home, ".local", "state", "coldseam")
	}
	return ""
}

// machineZone reads the zone of this machine: the TZ variable, or where
// /etc/localtime leads. "" = not said.
func machineZone(localtime, tz string) string {
	for _, z := range []string{strings.TrimPrefix(tz, ":"), zoneOfLink(localtime)} {
		if z == "" || z == "Local" || filepath.IsAbs(z) {
			continue
		}
		if _, err := time.LoadLocation(z); err == nil {
			return z
		}
	}
	return ""
}

func zoneOfLink(path string) string {
	target, err := filepath.EvalSymlinks(path)
	if err != nil {
		return ""
	}
	_, zone, ok := strings.Cut(target, "zoneinfo/")
	if !ok {
		return ""
	}
	return strings.TrimPrefix(strings.TrimPrefix(zone, "posix/"), "right/")
}

// sampleValues replace the example's own in the sample configuration.
type sampleValues struct{ club, domain, zone, state, token, dkim string }

// plainText drops what no name holds and no configuration can: control
// characters and broken UTF-8. What is left, Go and TOML quote alike.
func plainText(s string) string {
	seen := strings.Map(func(r rune) rune {
		// marks that cannot be seen, and the quoting mark of mail headers
		if unicode.IsControl(r) || unicode.Is(unicode.Cf, r) || r == '\\' {
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, ""))

	// spaces alone are no name
	return strings.TrimSpace(seen)
}

// wordsOnly is a display name that needs no quotes.
var wordsOnly = regexp.MustCompile(`^[A-Za-z0-9]+( [A-Za-z0-9]+)*$`)

// fromName writes a club's name as the display name of an address.
func fromName(club string) string {
	if wordsOnly.MatchString(club) {
		return club
	}
	name, _, _ := strings.Cut((&mail.Address{Name: club, Address: "x@x"}).String(), " <x@x>")
	return name
}

// fillSample sets what is known and leaves every comment as it is.
func fillSample(text string, v sampleValues) string {
	v.club, v.domain = plainText(v.club), plainText(v.domain)
	set := func(key, value string) {
		if value == "" {
			return
		}
		re := regexp.MustCompile(`(?m)^#?(` + key + ` = )"[^"\n]*"`)
		if at := re.FindStringSubmatchIndex(text); at != nil {
			text = text[:at[0]] + text[at[2]:at[3]] + strconv.Quote(value) + text[at[1]:]
		}
	}
	set("state_dir", v.state)

	set("token_key_file", v.token)
	set("dkim_key_file", v.dkim)
	set("zone", v.zone)
	set("name", v.club)
	if v.club != "" {
		set("from", fromName(v.club)+" <morning@river.example.org>")
	}
	if v.domain != "" {
		text = strings.ReplaceAll(text, "river.example.org", v.domain)
	}
	return text
}
