package main

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/mail"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/forecast"
	"example.org/coldseam/forecast/run"
	"example.org/coldseam/forecast/verdict"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/document"
	"example.org/coldseam/notify"
	"example.org/coldseam/store"
	"example.org/coldseam/store/localpg"
)

// version is set by the linker.
var version = "dev"

// Env is what every command that needs the database gets: the configuration as
// checked, the open database, a log and a clock.
type Env struct {
	cfg    config.Config
	db     *store.DB
	where  string // which database, in words without a password
	log    *slog.Logger
	now    func() time.Time
	limits verdict.Table   // of the decision, with the club's own values
	pg     *localpg.Server // nil with a database of the admin's own
}

// Feeds fetches what the configuration names and stores it.
type Feeds struct {
	*Env
	fetcher *ingest.Fetcher
	observe func(feed string, r ingest.Result, err error) // told of every fetch; may be nil

	mu sync.Mutex
	qc map[coldseam.SiteID]qcKnown
}

func newFeeds(e *Env) *Feeds {
	fd := &Feeds{Env: e, qc: map[coldseam.SiteID]qcKnown{}}
	fd.fetcher = &ingest.Fetcher{Profiles: e.cfg.Placed(), Now: e.now, Log: e.log, Parse: document.Parse, Sink: e.db,
		Agent: "coldseam/" + version + " (" + e.cfg.Club.Contact + ")", Recent: e.db.Neighbours, Limits: fd.siteLimits,
		Air: fd.airNear, Ratings: fd.ratingsOf, Budget: e.db, Elsewhere: fd.elsewhere, Ours: e.cfg.HasSite}
	return fd
}

// Mailer decides who gets what, and writes it.
type Mailer struct {
	*Env
	links   notify.Links
	compose *notify.Composer
	relay   notify.Relay

	breaker notify.Breaker
	sleep   func(context.Context, time.Duration) error // between paced mails; nil = by the machine's clock

	mu     sync.Mutex
	charts map[chartKey][]byte
}

// newMailer reads the keys and sets up links, composer and relay. A service
// makes the keys that no line of the configuration names.
func newMailer(ctx context.Context, e *Env, o buildOptions) (*Mailer, error) {
	ml := &Mailer{Env: e, charts: map[chartKey][]byte{}}
	if o.alone {
		if err := ml.makeKeys(ctx); err != nil {
			return nil, err
		}
	}
	return ml, ml.wireMail(o.tokenKey)
}

// Maker makes briefs: from history to inputs to a verdict that is stored.
type Maker struct {
	*Env
	mail       *Mailer
	alertRules []verdict.AlertRule
	species    []run.Species
	profile    func(name string) (ingest.Profile, error)

	computing sync.Map                                 // reaches whose brief is being computed
	morningOf func(forecast.Features) forecast.Morning // forecast.Make but in tests
}

func newMaker(e *Env, mail *Mailer) (*Maker, error) {
	rules, err := e.cfg.Alerts()
	if err != nil {
		return nil, err
	}
	profiles := &ingest.Fetcher{Profiles: e.cfg.Placed()}
	return &Maker{Env: e, mail: mail, alertRules: rules, species: run.DefaultSpecies(), profile: profiles.Profile, morningOf: forecast.Make}, nil
}

// Book reads the season: what was issued against what was observed.
type Book struct{ *Env }

// app is the wired program.
type app struct {
	*Env
	*Feeds
	*Mailer
	*Maker
	*Book
	metrics *metrics
	recaps  recapCache
}

// buildOptions are what commands and tests vary.
type buildOptions struct {
	now      func() time.Time
	log      *slog.Logger
	migrate  bool
	fastPG   bool   // tests only
	tokenKey []byte // instead of the key file
	dbURL    string // instead of config and environment
	// anySchema opens a database of whatever schema: for check, backup and
	// migrate.
	anySchema bool
	alone     bool // the service: it owns the private Postgres, and never joins that of another process
}

// openEnv opens the database: the private one unless a URL is configured. It
// migrates when asked to. Limits and rules that may not stand are refused before.
func openEnv(ctx context.Context, cfg config.Config, o buildOptions) (*Env, error) {
	e := &Env{cfg: cfg, log: o.log, now: o.now}
	if e.log == nil {
		e.log = slog.New(slog.DiscardHandler)
	}
	if e.now == nil {
		e.now = time.Now
	}
	var err error
	if e.limits, err = cfg.Table(); err != nil {
		return nil, err
	}
	if _, err = cfg.Alerts(); err != nil {
		return nil, err
	}
	if err := e.openDatabase(ctx, o); err != nil {
		e.Close()
		return nil, err
	}
	return e, nil
}

// Close closes the database and ends a private Postgres that was started for it.
func (e *Env) Close() {
	if e.db != nil {
		e.db.Close()
	}
	if e.pg != nil {
		e.pg.Stop()
	}
}

// build opens the database and wires the parts together.
func build(ctx context.Context, cfg config.Config, o buildOptions) (*app, error) {
	e, err := openEnv(ctx, cfg, o)
	if err != nil {
		return nil, err
	}
	a, err := wire(ctx, e, o)
	if err != nil {
		e.Close()
	}
	return a, err
}

func wire(ctx context.Context, e *Env, o buildOptions) (*app, error) {
	mail, err := newMailer(ctx, e, o)
	if err != nil {
		return nil, err
	}
	maker, err := newMaker(e, mail)
	if err != nil {
		return nil, err
	}
	a := &app{Env: e, Feeds: newFeeds(e), Mailer: mail, Maker: maker, Book: &Book{e}, metrics: newMetrics()}
	a.observe = func(feed string, r ingest.Result, err error) { a.metrics.fetched(feed, r, err) }
	maker.profile = a.fetcher.Profile
	return a, nil
}

func (e *Env) openDatabase(ctx context.Context, o buildOptions) error {
	dsn := o.dbURL
	e.where = "the database given"
	if dsn == "" {
		dsn, e.where = os.Getenv("COLDSEAM_DATABASE_URL"), "the database of COLDSEAM_DATABASE_URL"
	}
	if dsn == "" {
		dsn, e.where = e.cfg.DatabaseURL, "the configured database"
	}
	if dsn == "" {
		var err error
		if dsn, err = e.private(ctx, o); err != nil {
			return err
		}
	}
	db, err := store.Open(ctx, dsn, store.Options{Log: e.log, Now: e.now, HoldUnknown: e.cfg.Mail.Unknown == "hold",
		DomainRate: e.cfg.Mail.DomainRate(), TotalRate: e.cfg.Mail.TotalRate()})
	if err != nil {
		return err
	}
	e.db = db
	if o.anySchema {
		return nil
	}
	if o.migrate {
		return e.upgrade(ctx)
	}
	return db.RequireCurrent(ctx)
}

// upgrade migrates; a database of an older schema is backed up first, since a
// schema never goes down again.
func (e *Env) upgrade(ctx context.Context) error {
	st, err := e.db.Schema(ctx)
	if err != nil {
		return err
	}
	if st.Have > 0 && st.Have < st.Want {
		path, err := e.db.Backup(ctx, store.BackupOptions{Dir: e.cfg.Backup.Dir, Files: e.cfg.SecretFiles(), Bin: e.pgBin(), Now: e.now()})
		if err != nil {
			return fmt.Errorf("backup before migrating from schema %d to %d: %w (coldseam migrate --no-backup goes on without)", st.Have, st.Want, err)
		}
		e.log.Info("backed up before migrating", "path", path)
	}
	return e.db.Migrate(ctx)
}

// private starts the private Postgres. While the service runs it, a command
// joins it instead: an admin looks and mends at the busiest hour.
func (e *Env) private(ctx context.Context, o buildOptions) (dsn string, err error) {
	dir := filepath.Join(e.cfg.StateDir, "database")
	if !o.alone {
		// Asked first: starting one touches the directory, which may belong to
		// the user of the service.
		if url, ok := localpg.Running(dir); ok {
			e.where = "private Postgres of the running service"
			return url, nil
		}
	}
	if e.pg, err = localpg.Start(ctx, localpg.Options{Dir: dir, Log: e.log, Fast: o.fastPG}); err != nil {
		e.pg = nil
		return "", err
	}
	e.where = fmt.Sprintf("private Postgres %d", e.pg.Major())
	return e.pg.URL(localpg.User), nil
}

// wireMail sets up links, composer and relay. A missing token key is an error
// only where mail is sent; `check` says so before.
func (ml *Mailer) wireMail(tokenKey []byte) error {
	m := ml.cfg.Mail
	tokens, err := tokensOf(m, tokenKey)
	if err != nil {
		return err
	}
	ml.links = notify.Links{PublicURL: ml.cfg.PublicURL, Tokens: tokens}
	from, err := mail.ParseAddress(m.From)
	if err != nil {
		from = &mail.Address{}
	}
	ml.compose = &notify.Composer{Club: ml.cfg.Club.Name, From: *from, Domain: m.ListID, BounceDomain: m.BounceDomain,
		Owner: ml.cfg.Club.AdminEmail, Links: ml.links}
	if m.DKIMKeyFile != "" {
		pem, err := os.ReadFile(m.DKIMKeyFile)
		if err != nil {
			return fmt.Errorf("mail.dkim_key_file: %w", err)
		}
		if ml.compose.Signer, err = notify.NewSigner(m.DKIMDomain, m.DKIMSelector, pem); err != nil {
			return err
		}
	}
	password := ""
	if m.PasswordFile != "" {
		b, err := os.ReadFile(m.PasswordFile)
		if err != nil {
			return fmt.Errorf("mail.password_file: %w", err)
		}
		password = strings.TrimSpace(string(b))
	}
	mode := m.TLS
	if mode == "tls" {
		mode = "implicit"
	}
	hello := "localhost"
	if u, err := url.Parse(ml.cfg.PublicURL); err == nil && u.Hostname() != "" {
		hello = u.Hostname()
	}
	ml.relay = notify.Relay{Addr: m.SMTP, Hello: hello, TLS: mode, User: m.User, Password: password}
	return nil
}

// tokensOf reads the keys that sign links: the current one, and the one before
// it for links that were sent already.
func tokensOf(m config.Mail, key []byte) (notify.Tokens, error) {
	read := func(what, path string) ([]byte, error) {
		if path == "" {
			return nil, nil
		}
		b, err := os.ReadFile(path)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", what, err)
		}
		return []byte(strings.TrimSpace(string(b))), nil
	}
	var err error
	if key == nil {
		if key, err = read("mail.token_key_file", m.TokenKeyFile); err != nil {
			return notify.Tokens{}, err
		}
	}
	prev, err := read("mail.token_key_previous_file", m.TokenKeyPrev)
	if err != nil {
		return notify.Tokens{}, err
	}
	t := notify.Tokens{List: m.ListID, Current: tokenKey(key)}
	if prev != nil {
		if t.Previous = tokenKey(prev); t.Previous.ID == t.Current.ID {
			return t, fmt.Errorf("mail.token_key_file and token_key_previous_file have one id: make another key with `coldseam init`: %w", coldseam.ErrInvalid)
		}
	}
	return t, nil
}

// tokenKey names a key by itself: a link says which of two keys signed it, and
// goes on saying so when the key has become the previous one.
func tokenKey(secret []byte) notify.TokenKey {
	if secret == nil {
		return notify.TokenKey{ID: 1}
	}
	return notify.TokenKey{ID: sha256.Sum256(append([]byte("id of "), secret...))[0], Secret: secret}
}

// Close ends everything that build started, in reverse order.
func (a *app) Close() {
	a.fetcher.Close()
	a.Env.Close()
}

// syncRivers writes the configuration's sites, reaches and limits to the
// database; a changed one keeps its old version with who and why.
func (e *Env) syncRivers(ctx context.Context) error {
	errs := []error{e.syncLimits(ctx), e.db.SetSendAt(ctx, e.cfg.Club.SendAt), e.db.SetBands(ctx, coldseam.DefaultBands)}
	for _, s := range e.cfg.Sites {
		errs = append(errs, e.db.PutSite(ctx, s.Build()))
	}
	for _, r := range e.cfg.Reaches {
		reach, err := r.Build(e.cfg)
		if err != nil {
			errs = append(errs, err)
			continue
		}
		why, err := e.reasonOf(ctx, reach, r.Why)
		if err != nil {
			errs = append(errs, err)
			continue
		}
		errs = append(errs, e.db.PutReach(ctx, reach, store.Edit{Who: orElse(r.Who, "coldseam.toml"), Why: why}))
	}
	return errors.Join(errs...)
}

// reasonOf is the reason of an edit. One that an earlier edit of the reach gave
// was left standing in the file and says nothing of this one: then the audit
// says what changed and that no new reason was given.
func (e *Env) reasonOf(ctx context.Context, r coldseam.Reach, why string) (string, error) {
	edits, err := e.db.ReachEdits(ctx, r.ID)
	if err != nil {
		return "", err
	}
	given := strings.TrimSpace(why) != ""
	if len(edits) == 0 {
		return orElse(strings.TrimSpace(why), "entered"), nil
	}
	for _, e := range edits {
		given = given && e.Why != why
	}
	if given {
		return why, nil
	}
	last := edits[len(edits)-1].Reach
	return "no new reason in the file; changed: " + strings.Join(changed(last, r), ", "), nil
}

// newLogger writes JSON lines; the terminal form is for people.
func newLogger(w io.Writer, level slog.Level) *slog.Logger {
	return slog.New(slog.NewJSONHandler(w, &slog.HandlerOptions{Level: level, ReplaceAttr: func(_ []string, at slog.Attr) slog.Attr {
		if at.Value.Kind() == slog.KindDuration { // a person reads 1.2s, not 1200000000
			at.Value = slog.StringValue(at.Value.Duration().Round(time.Millisecond).String())
		}
		return at
	}}))
}
