package main

import (
	"bytes"
	"context"
	_ "embed"
	"fmt"
	"log/slog"
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
	"example.org/coldseam/ingest"
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
	for _, step := range []func(context.Context) error{d.agency, d.database, d.fetch, d.brief, d.mail, d.past, d.show} {
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
	file   string // the configuration, for other commands
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
	d.say("agency", "four invented rivers at %s", base)
	return d.configure(simagency.Profiles(base))
}

// configure writes the demo's configuration and reads it as every command does.
func (d *demo) configure(profiles []ingest.Profile) error {
	l, err := demoListener()
	if err != nil {
		return err
	}
	listen := l.Addr().String()
	l.Close()

	text, err := democlub.File(d.cmd.dir(), listen, d.sink.Addr(), profiles)
	if err != nil {
		return err
	}
	d.file = filepath.Join(d.cmd.dir(), "coldseam.toml")
	if err := os.WriteFile(d.file, []byte(text), 0o644); err != nil {
		return err
	}
	d.cfg, err = config.Parse(d.file, text)
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
	return err
}

// board prints what the morning says of each river, stops first.
func (d *demo) board() {
	fmt.Fprintf(d.out.Out, "\nTHE MORNING OF %s\n", d.day)
	for _, b := range d.briefs {
		why := ""
		for _, r := range append(append([]coldseam.Reason(nil), b.Stops...), b.Reasons...) {
			why = notify.ReasonText(r, "", b.Zone)
			break
		}
		fmt.Fprintf(d.out.Out, "%-8s %-28s %s\n", b.Verdict, b.River+", "+b.ReachName, why)
	}
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
	if err := waitForMails(ctx, d.parts, d.day, 40*time.Second); err != nil {
		return err
	}
	after, _, err := d.parts.Mail.Mornings(ctx, d.day)
	if err != nil {
		return err
	}

	d.say("mail", "%d sent to members by a loopback mail server, each outcome in the outbox", after-before)
	return nil
}

// waitForMails waits until no mail of a day is on its way.
func waitForMails(ctx context.Context, a *parts.Parts, day coldseam.Date, limit time.Duration) error {
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

// past enters the club's last spring, which was lived morning by morning when it
// was recorded, so that every question of the books has an answer.
func (d *demo) past(ctx context.Context) error {
	season, err := democlub.PastSeason()
	if err != nil {
		return err
	}
	db := d.parts.Env.DB
	if err := season.Enter(ctx, db); err != nil {
		return err
	}
	reaches, err := db.Reaches(ctx)
	if err != nil {
		return err
	}
	for _, r := range reaches { // what is usual for the date, which the daily round makes
		if err := db.BuildClimatology(ctx, r.Site, coldseam.Discharge, d.clock.Now()); err != nil {
			return err
		}
	}
	d.say("past", "%d briefs and %d trips of last spring, for the club's book", len(season.Briefs), len(season.Trips))
	return nil
}

// show prints the board, one mail down to its legal foot, the files, the pages,
// and what to try next; then it keeps the pages up.
func (d *demo) show(ctx context.Context) error {
	d.board()
	files, err := d.mails()
	if err != nil {
		return err
	}
	fmt.Fprintf(d.out.Out, "\nONE MAIL, of a member who takes one river\n%s\n", d.oneMail(files))

	fmt.Fprintln(d.out.Out, "\nALL MAILS, to look at in a browser")
	for _, f := range files {
		fmt.Fprintf(d.out.Out, "%s  %s\n", f.page, f.Subject)
	}

	links := d.parts.Mail.Links
	fmt.Fprintf(d.out.Out, "\nPAGES, while the demo runs\n%s\n", strings.Join([]string{
		links.Board() + "  all rivers, and how to join",
		links.River("tamsen-bend") + "  one river: charts, weights, next days",
		d.cfg.PublicURL + "/season  what was told and what was caught",
		links.How() + "  how to read it",
	}, "\n"))
	d.try(ctx)

	fmt.Fprintf(d.out.Out, "\nTook %.1f s.\n", time.Since(d.t0).Seconds())
	if d.cmd.Once {
		return nil
	}
	fmt.Fprintln(d.out.Out, "Serving until Ctrl-C.")
	<-ctx.Done()
	return nil
}

// next are commands for a newcomer, each with the lines of its output that the
// demo shows.
var next = []struct {
	lines int
	args  []string
}{
	{4, []string{"rig", "--depth-ft", "12", "--surface-fps", "1.9", "--water-c", "3"}},
	{6, []string{"recap", "--sql", "--", "-c",
		"SELECT day, river, reach, word, tie_oz FROM season.morning ORDER BY day DESC, reach LIMIT 3"}},
	{4, []string{"site", "list"}},
	{4, []string{"subscriber", "list"}},
	{3, []string{"verify"}},
}

// try runs the commands of next on the demo's own state and prints how each
// begins. One that fails shows its error: the demo goes on.
func (d *demo) try(ctx context.Context) {
	fmt.Fprintf(d.out.Out, "\nTRY NEXT, also when the demo has ended: export COLDSEAM_CONFIG=%s\n", d.file)
	fmt.Fprintln(d.out.Out, "\n$ coldseam recap --season 2025 --out book\nanswers the yearbook and the cookbook of the past season in files, in some seconds")
	for _, n := range next {
		var out bytes.Buffer
		execute(ctx, append([]string{"--config", d.file}, n.args...), &out, &out)
		lines := strings.Split(strings.TrimRight(out.String(), "\n"), "\n")
		fmt.Fprintf(d.out.Out, "\n$ coldseam %s\n%s\n", quoted(n.args),
			strings.Join(lines[:min(n.lines, len(lines))], "\n"))
	}
}

// quoted writes arguments as a shell takes them.
func quoted(args []string) string {
	out := make([]string, len(args))
	for i, a := range args {
		if out[i] = a; strings.Contains(a, " ") {
			out[i] = `"` + a + `"`
		}
	}
	return strings.Join(out, " ")
}

// sentMail is a mail as the loopback server received it.
type sentMail struct {
	democlub.Mail
	page string // its HTML part as a file
}

// mails reads the mails from their files and writes the HTML of each beside it.
func (d *demo) mails() ([]sentMail, error) {
	files, err := filepath.Glob(filepath.Join(d.cmd.dir(), "mail", "*.eml"))
	if err != nil {
		return nil, err
	}

	var out []sentMail
	for _, f := range files {
		raw, err := os.ReadFile(f)
		if err != nil {
			return nil, err
		}
		message, err := mail.ReadMessage(bytes.NewReader(raw))
		if err != nil {
			return nil, fmt.Errorf("%s: %w", f, err)
		}
		m, err := democlub.ReadMail(message)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", f, err)
		}

		page := strings.TrimSuffix(f, ".eml") + ".html"
		if err := os.WriteFile(page, []byte(m.HTML), 0o644); err != nil {
			return nil, err
		}
		out = append(out, sentMail{Mail: m, page: page})
	}
	return out, nil
}

// oneMail is the mail for one river as it is read: subject and text down to the
// links, which the files hold.
func (d *demo) oneMail(mails []sentMail) string {
	for _, m := range mails {
		if strings.Contains(m.To, "bow.angler@") && !strings.Contains(m.Subject, "replaces") {
			text, _, _ := strings.Cut(m.Text, "\n\n")
			return "Subject: " + m.Subject + "\n\n" + text
		}
	}
	return ""
}
