// Package doctor looks at everything that a morning rests on and says of each
// thing what was found, what is wanted and how to mend it.
package doctor

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/feeds"
	"example.org/coldseam/cmd/internal/mailing"
	"example.org/coldseam/cmd/internal/parts"
	"example.org/coldseam/notify"
	"example.org/coldseam/store"
)

// The levels of a line, by what they ask of the admin.
const (
	LevelOK   = "ok"   // nothing to do
	levelWarn = "warn" // look at it by daylight
	LevelFail = "fail" // tomorrow morning is in danger
)

// Line is one thing that was looked at.
type Line struct {
	Key    string `json:"key"`
	Level  string `json:"level"`
	Found  string `json:"found"`
	Wanted string `json:"wanted,omitempty"`
	Fix    string `json:"fix,omitempty"`
}

// Check looks at everything a morning rests on.
type Check struct {
	JSON      bool   `name:"json" help:"Print JSON."`
	DNS       bool   `name:"dns" help:"Print the DNS records to paste, and nothing else."`
	Live      bool   `help:"Ask the running service whether it lives, and nothing else: the probe of a container."`
	Reconcile bool   `help:"Look mails without an answer up in the log of the relay on this machine; those it took are sent."`
	MailLog   string `help:"The log for --reconcile." default:"/var/log/mail.log" type:"path"`
	Contract  bool   `help:"Ask every service one small question, and compare the answer with the newest one kept."`
	Profile   string `help:"One profile for --contract." placeholder:"NAME"`
	Record    string `help:"With --contract: write each answer as a case into this folder, without keys." type:"path" placeholder:"DIR"`
	Offline   bool   `help:"Ask no agency, relay or name server: what is on this machine alone."`
}

// Run prints one line each and exits with 0 all is well, 1 warnings, 2 a fault.
func (c *Check) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	asks := c.Contract || c.Record != ""
	switch {
	case asks && c.Offline:
		return env.Fail(2, "--contract asks every service, and --offline asks nobody: give one of them")
	case c.Profile != "" && !asks:
		return env.Fail(2, "--profile names a profile for --contract: give both")
	}
	cfg, err := config.Load(g.Config)
	if c.Live {
		return c.live(ctx, cfg, err)
	}
	k := &checker{cfg: cfg, now: time.Now, offline: c.Offline, net: netOf(), space: env.DiskSpace}
	if err != nil {
		for _, fault := range strings.Split(err.Error(), "\n") { // one line a mistake
			k.add("config", LevelFail, env.OneLine(fault), "a file that can be read",
				"mend the line named; `coldseam init` writes a new file")
		}
		return c.finish(s.Out, k)
	}

	if c.DNS {
		return c.records(ctx, s.Out, k)
	}
	a, err := parts.Open(ctx, cfg, env.Options{Log: env.NewLogger(io.Discard, 0), AnySchema: true, Now: g.Now})
	if err != nil {
		e := &env.Env{Config: cfg, Now: time.Now}
		k.app = &parts.Parts{Env: e, Mail: &mailing.Mailer{Config: &e.Config, Now: e.Now}}
		k.unbuilt(ctx, err)
		return c.finish(s.Out, k)
	}
	defer a.Close()

	k.app = a
	if c.Reconcile {
		return c.reconcile(ctx, s.Out, a)
	}
	if asks {
		k.now = a.Env.Now
		k.contracts(ctx, c.Profile, c.Record)
		return c.finish(s.Out, k)
	}
	k.lines = RunChecks(ctx, a, c.Offline)
	k.ahead(ctx)
	return c.finish(s.Out, k)
}

// RunChecks looks at everything a wired program rests on; offline asks nobody outside.
func RunChecks(ctx context.Context, p *parts.Parts, offline bool) []Line {
	k := &checker{cfg: p.Env.Config, app: p, now: p.Env.Now, offline: offline, net: netOf(), space: env.DiskSpace}
	k.all(ctx)
	return k.lines
}

// finish prints the lines and the sentence about the next morning, and turns the worst level into the exit status.
func (c *Check) finish(w io.Writer, k *checker) error {
	worst, count := 0, map[string]int{}
	for _, l := range k.lines {
		count[l.Level]++
		worst = max(worst, map[string]int{levelWarn: 1, LevelFail: 2}[l.Level])
	}

	if c.JSON {
		enc := json.NewEncoder(w)
		enc.SetIndent("", "  ")
		if err := enc.Encode(struct {
			Status int    `json:"status"`
			Lines  []Line `json:"lines"`
			Next   string `json:"next,omitempty"`
		}{worst, k.lines, k.next}); err != nil {
			return err
		}
	} else {
		for _, l := range k.lines {
			fmt.Fprintf(w, "%-4s  %-22s %s\n", l.Level, l.Key, l.Found)
			if l.Level == LevelOK {
				continue
			}
			if l.Wanted != "" {
				fmt.Fprintf(w, "      %-22s wanted: %s\n", "", l.Wanted)
			}
			if l.Fix != "" {
				fmt.Fprintf(w, "      %-22s fix: %s\n", "", l.Fix)
			}
		}

		fmt.Fprintf(w, "%d ok, %d warn, %d fail\n", count[LevelOK], count[levelWarn], count[LevelFail])
		if k.next != "" {
			fmt.Fprintln(w, k.next)
		}
	}

	if worst > 0 {
		return env.ExitCode{Code: worst}
	}
	return nil
}

// live is the container's probe: 0 when the service answers, else 1.
func (c *Check) live(ctx context.Context, cfg config.Config, cfgErr error) error {
	if cfgErr != nil {
		return env.Fail(1, env.OneLine(cfgErr.Error()))
	}
	ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	url := "http://" + localAddr(cfg.Listen) + "/livez"
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, url, nil)
	if err != nil {
		return env.Fail(1, err.Error())
	}

	res, err := http.DefaultClient.Do(req)
	if err != nil {
		return env.Fail(1, "the service does not answer at "+cfg.Listen)
	}
	defer res.Body.Close()
	if res.StatusCode != http.StatusOK {
		return env.Fail(1, fmt.Sprintf("the service answers %d", res.StatusCode))
	}
	return nil
}

// localAddr is how this machine reaches a listen address that may name every
// interface.
func localAddr(listen string) string {
	host, port, err := net.SplitHostPort(listen)
	if err != nil {
		return listen
	}
	if ip := net.ParseIP(host); host == "" || ip != nil && ip.IsUnspecified() {
		host = "127.0.0.1"
	}
	return net.JoinHostPort(host, port)
}

// checker collects the lines. What it asks of the world outside is in net and
// space, so that a test injects the fault.
type checker struct {
	cfg     config.Config
	app     *parts.Parts // nil when the database does not open
	now     func() time.Time
	offline bool
	net     checkNet
	space   func(path string) (free, total uint64, err error)
	lines   []Line
	next    string // what the next morning will bring, in one sentence
}

// checkNet is the outside world of a check.
type checkNet struct {
	names resolver
	get   func(ctx context.Context, url string) (status int, date time.Time, err error)
	probe func(ctx context.Context, r notify.Relay) error
}

// resolver is the part of net.Resolver that a check uses.
type resolver interface {
	LookupTXT(ctx context.Context, name string) ([]string, error)
	LookupMX(ctx context.Context, name string) ([]*net.MX, error)
	LookupHost(ctx context.Context, host string) ([]string, error)
	LookupAddr(ctx context.Context, addr string) ([]string, error)
}

func netOf() checkNet {
	client := &http.Client{Timeout: 10 * time.Second, CheckRedirect: func(*http.Request, []*http.Request) error {
		return http.ErrUseLastResponse
	}}

	return checkNet{
		names: net.DefaultResolver,
		get: func(ctx context.Context, url string) (int, time.Time, error) {
			req, err := http.NewRequestWithContext(ctx, http.MethodGet, url, nil)
			if err != nil {
				return 0, time.Time{}, err
			}
			req.Header.Set("User-Agent", "coldseam/"+env.Version+" check")
			res, err := client.Do(req)
			if err != nil {
				return 0, time.Time{}, err
			}
			defer res.Body.Close()

			_, _ = io.Copy(io.Discard, io.LimitReader(res.Body, 64<<10)) // the head is what counts
			date, err := http.ParseTime(res.Header.Get("Date"))
			if err != nil {
				date = time.Time{}
			}

			return res.StatusCode, date, nil
		},
		probe: func(ctx context.Context, r notify.Relay) error { return r.Probe(ctx) },
	}
}

func (k *checker) add(key, level, found, wanted, fix string) {
	k.lines = append(k.lines, Line{Key: key, Level: level, Found: env.OneLine(found), Wanted: wanted, Fix: fix})
}

func (k *checker) ok(key, format string, args ...any) {
	k.add(key, LevelOK, fmt.Sprintf(format, args...), "", "")
}

// broken notes that something could not be looked at.
func (k *checker) broken(key string, err error) {
	k.add(key, LevelFail, err.Error(), "an answer of the database",
		"see the line `database`; the log of the service says more")
}

// notBuilt tells what keeps the program from starting: a database, a key file.
func (k *checker) notBuilt(err error) {
	key, fix := "database", "start the database, or mend database_url; the private one needs the Postgres server package and room on disk"
	switch text := err.Error(); {
	case strings.Contains(text, "token_key_file"):
		key, fix = "token key", "`coldseam init` makes one; keep it in the backup"
	case strings.Contains(text, "dkim"):
		key, fix = "dkim key", "`coldseam init` makes one; then publish it: `coldseam check --dns`"
	case strings.Contains(text, "password_file"):
		key, fix = "smtp password", "put the relay's password into the file named, mode 0600"
	case errors.Is(err, coldseam.ErrNotFound):
		fix = "install the Postgres server package, or set database_url"
	}
	k.add(key, LevelFail, err.Error(), "the program starts", fix)
}

// unbuilt looks at what can be looked at although the program does not start.
func (k *checker) unbuilt(ctx context.Context, err error) {
	k.notBuilt(err)
	if err := k.app.Mail.WireMail(nil); err != nil {
		k.notBuilt(err)
		return
	}
	k.outside(ctx, func() {})
}

// all looks at everything, in the order in which a fault hides others.
func (k *checker) all(ctx context.Context) {
	ctx, cancel := context.WithTimeout(ctx, 2*time.Minute)
	defer cancel()
	k.ok("config", "%s: %d feeds, %d gauges and points, %d reaches", k.cfg.Path, len(feeds.Plan(k.cfg)),
		len(k.cfg.Sites), len(k.cfg.Reaches))
	k.versions()
	k.now = k.app.Env.Now
	if !k.database(ctx) {
		k.outside(ctx, func() {})
		return
	}

	k.queue(ctx)
	k.outside(ctx, func() {
		k.feedAges(ctx)
		k.shapes(ctx)
		k.units(ctx)
		k.reaches(ctx)
		k.briefs(ctx)
	})
	k.sending(ctx)
}

// outside looks at what needs no database; stored is called between the
// machine and the way out.
func (k *checker) outside(ctx context.Context, stored func()) {
	k.disk()
	k.backups()
	k.clocks(ctx)
	k.zones()
	k.limits()
	stored()
	k.relay(ctx)
	k.dns(ctx)
	k.keys()
	k.publicURL(ctx)
	k.bouncePath(ctx)
}

// database reports whether there is any use in going on.
func (k *checker) database(ctx context.Context) bool {
	if err := k.app.Env.DB.Ping(ctx); err != nil {
		k.notBuilt(err)
		return false
	}

	k.ok("database", "%s answers", k.app.Env.Where)
	st, err := k.app.Env.DB.Schema(ctx)
	switch {
	case err != nil:
		k.broken("migrations", err)
		return false
	case st.Newer():
		k.add("migrations", LevelFail, fmt.Sprintf("schema %d, this program knows %d", st.Have, st.Want),
			"the program that made the schema", "run the newer program; a schema never goes down")
		return false
	case st.Have == 0:
		k.add("migrations", LevelFail, "the database is empty", fmt.Sprintf("schema %d", st.Want),
			"coldseam site add or coldseam serve make the tables; coldseam restore brings back a club")
		return false
	case !st.Current():
		k.add("migrations", LevelFail, fmt.Sprintf("schema %d, this program needs %d", st.Have, st.Want),
			fmt.Sprintf("schema %d", st.Want), "coldseam migrate")
		return false
	}

	k.ok("migrations", "schema %d", st.Have)
	open, err := k.app.Env.DB.OpenToReaders(ctx)
	// Our own role has tried at every start: what is left takes more rights.
	const closeFix = "as a superuser of the server, on this database: coldseam migrate --readers-sql | psql; " +
		"or as that role by COLDSEAM_DATABASE_URL: coldseam migrate"

	switch {
	case errors.Is(err, coldseam.ErrNotFound):
		k.add("readers' role", levelWarn, "there is none: nothing is open, recap --sql cannot be used",
			"role "+store.Reader, closeFix)
	case err != nil:
		k.broken("readers' role", err)
	case len(open) > 0:
		k.add("readers' role", levelWarn, fmt.Sprintf("%d things are open to it: %s", len(open), open[0]),
			"views of schema season alone", closeFix)
	default:
		k.ok("readers' role", "closed but for schema season")
	}

	return true
}

// queueIdle is how long due work may lie before nobody seems to be working.
const queueIdle = 10 * time.Minute

// queue tells whether any server of the club takes the work.
func (k *checker) queue(ctx context.Context) {
	q, err := k.app.Env.DB.QueueState(ctx)
	switch {
	case err != nil:
		k.broken("queue", err)
	case q.Oldest > queueIdle:
		k.add("queue", LevelFail, fmt.Sprintf("%d jobs wait, the first for %s: no server works", q.Waiting,
			env.Age(q.Oldest)), "a running service", "start coldseam serve; its log says why it ended")
	case q.Discarded > 0:
		k.add("queue", levelWarn, fmt.Sprintf("%d jobs given up within a day; the last, %s", q.Discarded, q.LastError),
			"none", "mend what the words name; the next tick asks anew")
	default:
		k.ok("queue", "%d jobs wait, none long", q.Waiting)
	}
}
