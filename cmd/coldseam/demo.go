package main

import (
	"bytes"
	"context"
	_ "embed"
	"fmt"
	"log/slog"
	"mime"
	"net"
	"net/mail"
	"os"
	"path/filepath"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/club"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/democlub"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/mailing"
	"example.org/coldseam/cmd/internal/morning"
	"example.org/coldseam/cmd/internal/parts"
	"example.org/coldseam/cmd/internal/triplog"
	"example.org/coldseam/ingest/simagency"
	"example.org/coldseam/notify"
	"example.org/coldseam/notify/smtptest"
)

// demoCmd runs the main job end to end on invented rivers: a loopback agency, a
// private Postgres, a loopback mail server.
type demoCmd struct {
	Once bool   `help:"Exit when the mail is out." env:"ONCE"`
	Dir  string `help:"State of the demo; a later demo there starts from what is stored." env:"COLDSEAM_DEMO_DIR" type:"path"`
	Log  bool   `help:"Print the log."`
}

func (c *demoCmd) dir() string {
	if c.Dir != "" {
		return c.Dir
	}
	return filepath.Join("/var/tmp", fmt.Sprintf("coldseam-demo-%d", os.Getuid()))
}

// Run is the demo. Every step prints one line.
func (c *demoCmd) Run(ctx context.Context, s *env.Streams) error {
	d := &demo{cmd: c, out: s, t0: time.Now(), log: slog.New(slog.DiscardHandler)}
	if c.Log {
		d.log = env.NewLogger(s.Err, slog.LevelInfo)
	}
	defer d.close()
	for _, step := range []func(context.Context) error{d.agency, d.database, d.fetch, d.brief, d.mail, d.serve} {
		if err := step(ctx); err != nil {
			return err
		}
	}
	return nil
}

// demo carries the run from step to step.
type demo struct {
	cmd    *demoCmd
	out    *env.Streams
	t0     time.Time
	log    *slog.Logger
	ag     *simagency.Agency
	sink   *smtptest.Server
	parts  *parts.Parts
	cfg    config.Config
	clock  *democlub.Clock
	day    coldseam.Date
	briefs []coldseam.Brief
	srv    *club.App // while it runs
}

func (d *demo) close() {
	if d.srv != nil {
		d.srv.Stop()
	}
	if d.parts != nil {
		d.parts.Close()
	}
	if d.sink != nil {
		d.sink.Close()
	}
	if d.ag != nil {
		d.ag.Close()
	}
}

func (d *demo) say(what, format string, args ...any) {
	fmt.Fprintf(d.out.Out, "%-9s %s\n", what+":", fmt.Sprintf(format, args...))
}

// agency starts the invented agency and the mail server, both on loopback.
func (d *demo) agency(ctx context.Context) error {
	d.clock = democlub.NewClock(democlub.Start)
	ag, err := simagency.New(simagency.Options{Now: d.clock.Now, Anchor: coldseam.DateOf(democlub.Start), Log: d.log})
	if err != nil {
		return err
	}
	d.ag = ag
	base, err := ag.Start()
	if err != nil {
		return err
	}

	mails := filepath.Join(d.cmd.dir(), "mail")
	if err := os.MkdirAll(mails, 0o755); err != nil {
		return err
	}
	if d.sink, err = smtptest.Start(smtptest.Config{Dir: mails}); err != nil {
		return err
	}
	d.cfg, err = config.Parse("demo.toml", democlub.TOML, simagency.Profiles(base)...)
	d.cfg.StateDir, d.cfg.Mail.SMTP = d.cmd.dir(), d.sink.Addr()
	d.say("agency", "three invented rivers at %s", base)
	return err
}

// demoSubscribers are the club's invented members: one takes every river, two
// one each.
var demoSubscribers = []struct {
	email, name string
	reaches     []coldseam.ReachID
	units       string
}{
	{"season.keeper@club.example.org", "season keeper", nil, "us"},
	{"bow.angler@club.example.org", "bow angler", []coldseam.ReachID{"tamsen-bend"}, "us"},
	{"far.angler@club.example.org", "far angler", []coldseam.ReachID{"brandt-ledge", "hallam-sandbar"}, "metric"},
}

// database starts the private Postgres, migrates, and enters club and members.
func (d *demo) database(ctx context.Context) error {
	key, err := mailing.EnsureKey(filepath.Join(d.cmd.dir(), "token.key"))
	if err != nil {
		return err
	}
	l, err := demoListener()
	if err != nil {
		return err
	}

	d.cfg.Listen = l.Addr().String()
	d.cfg.PublicURL = "http://" + d.cfg.Listen
	l.Close()
	start := time.Now()
	if d.parts, err = parts.Open(ctx, d.cfg, env.Options{Now: d.clock.Now, Log: d.log, Migrate: true,
		TokenKey: key}); err != nil {
		return err
	}
	d.say("database", "private Postgres, migrated, in %.1f s", time.Since(start).Seconds())

	if err := d.parts.Env.SyncRivers(ctx); err != nil {
		return err
	}
	ages, err := d.parts.Env.DB.FeedAges(ctx)
	if err != nil {
		return err
	}
	for _, a := range ages {
		d.clock.Forward(a.LastTry.Add(time.Second))
	}

	for _, m := range demoSubscribers {
		s, _, err := d.parts.Env.DB.AddSubscriber(ctx, m.email, m.name, coldseam.Preferences{Reaches: m.reaches,
			Zone: d.cfg.Club.Zone, Units: m.units})
		if err != nil {
			return err
		}
		if s.State == "pending" {
			if err := d.parts.Env.DB.Confirm(ctx, s.ID); err != nil {
				return err
			}
		}
	}

	n, err := triplog.Enter(ctx, d.parts.Env, democlub.Log)
	if n > 0 {
		d.say("club", "%d members, %d trips in the log, all invented", len(demoSubscribers), n)
	}
	return err
}

// demoListener takes the demo's usual port, or a free one when it is taken.
func demoListener() (net.Listener, error) {
	if l, err := net.Listen("tcp", "127.0.0.1:8099"); err == nil {
		return l, nil
	}
	return net.Listen("tcp", "127.0.0.1:0")
}

// fetch fetches the past, then shows that nothing is stored twice and that
// a revision keeps both values.
func (d *demo) fetch(ctx context.Context) error {
	t, err := d.parts.Feeds.Backfill(ctx, d.clock.Now().AddDate(-12, 0, 0), morning.HistoryBack, nil)
	d.say("fetch", "%d feeds, %d rows read, %d new, %d revised%s", t.Feeds, t.Rows, t.Added, t.Revised, problems(err))
	t, err = d.parts.Feeds.FetchAll(ctx)
	d.say("again", "%d feeds, %d unchanged, %d new, %d revised%s", t.Feeds, t.Unchanged, t.Added, t.Revised,
		problems(err))
	d.ag.Revise()
	t, err = d.parts.Feeds.FetchAll(ctx)
	d.say("later", "the agency corrected values: %d new, %d revised, old and new kept with the time each was known%s",
		t.Added, t.Revised, problems(err))
	return nil
}

// problems writes what failed beside a line; the demo goes on as the service
// would.
func problems(err error) string {
	if err == nil {
		return ""
	}
	return " (" + env.OneLine(err.Error()) + ")"
}

func (d *demo) brief(ctx context.Context) error {
	loc := env.Zone(d.cfg.Club.Zone)
	d.day = coldseam.DateOf(d.clock.Now().In(loc))
	var err error
	d.briefs, err = d.parts.Morning.MakeAll(ctx, d.day)
	notify.SortBriefs(d.briefs)
	for _, b := range d.briefs {
		why := ""
		for _, r := range append(append([]coldseam.Reason(nil), b.Stops...), b.Reasons...) {
			why = notify.ReasonText(r, "", b.Zone)
			break
		}
		d.say("brief", "%-8s %s, %s: %s", b.Verdict, b.River, b.ReachName, why)
	}
	return err
}

// mail lets the morning come: the clock goes to the send time, the tick queues,
// the jobs send.
func (d *demo) mail(ctx context.Context) error {
	at, err := notify.SendAt(d.day, d.cfg.Club.SendAt, env.Zone(d.cfg.Club.Zone))
	if err != nil {
		return err
	}
	d.clock.Forward(at)
	before, _, err := d.parts.Mail.Mornings(ctx, d.day)
	if err != nil {
		return err
	}

	d.srv = club.New(d.parts)
	if err := d.srv.Start(ctx); err != nil {
		return err
	}
	if err := settled(ctx, d.parts, d.day, 40*time.Second); err != nil {
		return err
	}
	after, _, err := d.parts.Mail.Mornings(ctx, d.day)
	if err != nil {
		return err
	}

	d.say("mail", "%d sent to members by a loopback mail server, each outcome in the outbox", after-before)
	files, err := filepath.Glob(filepath.Join(d.cmd.dir(), "mail", "*.eml"))
	for _, f := range files {
		d.say("file", "%s: %s", f, subjectOf(f))
	}
	return err
}

// subjectOf is the subject of a mail in a file, "" when it cannot be read.
func subjectOf(file string) string {
	f, err := os.Open(file)
	if err != nil {
		return ""
	}
	defer f.Close()
	m, err := mail.ReadMessage(f)
	if err != nil {
		return ""
	}
	s, _ := new(mime.WordDecoder).DecodeHeader(m.Header.Get("Subject"))
	return s
}

// settled waits until no mail of a day is on its way.
func settled(ctx context.Context, a *parts.Parts, day coldseam.Date, limit time.Duration) error {
	ctx, cancel := context.WithTimeout(ctx, limit)
	defer cancel()
	t := time.NewTicker(50 * time.Millisecond)
	defer t.Stop()

	for {
		_, total, err := a.Mail.Mornings(ctx, day)
		if err != nil {
			return err
		}
		counts, err := a.Env.DB.MailCounts(ctx, coldseam.MailMorning, day)
		if err != nil {
			return err
		}

		if total > 0 && counts[coldseam.MailPending]+counts[coldseam.MailClaimed]+counts[coldseam.MailInData] == 0 {
			return nil
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("mail of %s is still on its way: %v: %w", day, counts, coldseam.ErrUnavailable)
		case <-t.C:
		}
	}
}

// serve prints one mail as text and keeps the pages up until the end.
func (d *demo) serve(ctx context.Context) error {
	if text, err := d.oneMail(); err != nil {
		return err
	} else if text != "" {
		fmt.Fprintf(d.out.Out, "\n%s\n", text)
	}
	fmt.Fprintf(d.out.Out, "The same brief as a page: %s\n", d.parts.Mail.Links.River("tamsen-bend"))
	fmt.Fprintf(d.out.Out, "Took %.1f s.\n", time.Since(d.t0).Seconds())
	if d.cmd.Once {
		return nil
	}
	fmt.Fprintln(d.out.Out, "Serving until Ctrl-C.")
	<-ctx.Done()
	return nil
}

// oneMail is the text of the mail for one river, from the file as it was sent.
func (d *demo) oneMail() (string, error) {
	files, err := filepath.Glob(filepath.Join(d.cmd.dir(), "mail", "*.eml"))
	if err != nil {
		return "", err
	}

	for _, f := range files {
		raw, err := os.ReadFile(f)
		if err != nil {
			return "", err
		}
		m, err := mail.ReadMessage(bytes.NewReader(raw))
		if err != nil {
			return "", fmt.Errorf("%s: %w", f, err)
		}

		if !strings.Contains(m.Header.Get("To"), "bow.angler@") ||
			strings.Contains(m.Header.Get("Subject"), "replaces") {
			continue
		}
		subject, err := democlub.WordDecoder.DecodeHeader(m.Header.Get("Subject"))
		if err != nil {
			return "", err
		}
		text, err := democlub.PlainPart(m.Header.Get("Content-Type"), m.Header.Get("Content-Transfer-Encoding"), m.Body)
		return "Subject: " + subject + "\n\n" + text, err
	}

	return "", nil
}
