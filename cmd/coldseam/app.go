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

// app is the wired program: what every command that needs the database gets.
type app struct {
	cfg     config.Config
	db      *store.DB
	pg      *localpg.Server // nil with a database of the admin's own
	where   string          // which database, in words without a password
	fetcher *ingest.Fetcher
	log     *slog.Logger
	now     func() time.Time
	metrics *metrics
	species []run.Species
	links   notify.Links
	compose *notify.Composer
	relay   notify.Relay

	limits     verdict.Table // with the club's own values
	alertRules []verdict.AlertRule

	breaker notify.Breaker
	sleep   func(context.Context, time.Duration) error // between paced mails; nil = by the machine's clock

	morningOf func(forecast.Features) forecast.Morning // forecast.Make; tests slow one down
	computing sync.Map                                 // reaches whose brief is being computed

	mu     sync.Mutex
	qc     map[coldseam.SiteID]qcKnown
	charts map[chartKey][]byte
	recaps recapCache
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

// build opens the database (the private one unless a URL is configured),
// migrates when asked to, and wires the rooms together.
func build(ctx context.Context, cfg config.Config, o buildOptions) (*app, error) {
	a := &app{morningOf: forecast.Make, cfg: cfg, log: o.log, now: o.now, metrics: newMetrics(), species: run.DefaultSpecies(), charts: map[chartKey][]byte{}, qc: map[coldseam.SiteID]qcKnown{}}
	if a.log == nil {
		a.log = slog.New(slog.DiscardHandler)
	}
	if a.now == nil {
		a.now = time.Now
	}
	var err error
	if a.limits, err = cfg.Table(); err != nil {
		return nil, err
	}
	if a.alertRules, err = cfg.Alerts(); err != nil {
		return nil, err
	}
	if err := a.openDatabase(ctx, o); err != nil {
		a.Close()
		return nil, err
	}
	if o.alone {
		if err := a.makeKeys(ctx); err != nil {
			a.Close()
			return nil, err
		}
	}
	if err := a.wireMail(o); err != nil {
		a.Close()
		return nil, err
	}
	a.fetcher = &ingest.Fetcher{Profiles: cfg.Placed(), Now: a.now, Log: a.log, Parse: document.Parse, Sink: a.db,
		Agent: "coldseam/" + version + " (" + cfg.Club.Contact + ")", Recent: a.db.Neighbours, Limits: a.siteLimits,
		Air: a.airNear, Ratings: a.ratingsOf, Budget: a.db, Elsewhere: a.elsewhere, Ours: cfg.HasSite}
	return a, nil
}

func (a *app) openDatabase(ctx context.Context, o buildOptions) error {
	dsn := o.dbURL
	a.where = "the database given"
	if dsn == "" {
		dsn, a.where = os.Getenv("COLDSEAM_DATABASE_URL"), "the database of COLDSEAM_DATABASE_URL"
	}
	if dsn == "" {
		dsn, a.where = a.cfg.DatabaseURL, "the configured database"
	}
	if dsn == "" {
		var err error
		if dsn, err = a.private(ctx, o); err != nil {
			return err
		}
	}
	db, err := store.Open(ctx, dsn, store.Options{Log: a.log, Now: a.now, HoldUnknown: a.cfg.Mail.Unknown == "hold",
		DomainRate: a.cfg.Mail.DomainRate(), TotalRate: a.cfg.Mail.TotalRate()})
	if err != nil {
		return err
	}
	a.db = db
	if o.anySchema {
		return nil
	}
	if o.migrate {
		return a.upgrade(ctx)
	}
	return db.RequireCurrent(ctx)
}

// upgrade migrates; a database of an older schema is backed up first, since a
// schema never goes down again.
func (a *app) upgrade(ctx context.Context) error {
	st, err := a.db.Schema(ctx)
	if err != nil {
		return err
	}
	if st.Have > 0 && st.Have < st.Want {
		path, err := a.db.Backup(ctx, store.BackupOptions{Dir: a.cfg.Backup.Dir, Files: a.cfg.SecretFiles(), Bin: a.pgBin(), Now: a.now()})
		if err != nil {
			return fmt.Errorf("backup before migrating from schema %d to %d: %w (coldseam migrate --no-backup goes on without)", st.Have, st.Want, err)
		}
		a.log.Info("backed up before migrating", "path", path)
	}
	return a.db.Migrate(ctx)
}

// private starts the private Postgres. While the service runs it, a command
// joins it instead: an admin looks and mends at the busiest hour.
func (a *app) private(ctx context.Context, o buildOptions) (dsn string, err error) {
	dir := filepath.Join(a.cfg.StateDir, "database")
	if !o.alone {
		// Asked first: starting one touches the directory, which may belong to
		// the user of the service.
		if url, ok := localpg.Running(dir); ok {
			a.where = "private Postgres of the running service"
			return url, nil
		}
	}
	if a.pg, err = localpg.Start(ctx, localpg.Options{Dir: dir, Log: a.log, Fast: o.fastPG}); err != nil {
		a.pg = nil
		return "", err
	}
	a.where = fmt.Sprintf("private Postgres %d", a.pg.Major())
	return a.pg.URL(localpg.User), nil
}

// wireMail sets up links, composer and relay. A missing token key is an error
// only where mail is sent; `check` says so before.
func (a *app) wireMail(o buildOptions) error {
	m := a.cfg.Mail
	tokens, err := tokensOf(m, o.tokenKey)
	if err != nil {
		return err
	}
	a.links = notify.Links{PublicURL: a.cfg.PublicURL, Tokens: tokens}
	from, err := mail.ParseAddress(m.From)
	if err != nil {
		from = &mail.Address{}
	}
	a.compose = &notify.Composer{Club: a.cfg.Club.Name, From: *from, Domain: m.ListID, BounceDomain: m.BounceDomain,
		Owner: a.cfg.Club.AdminEmail, Links: a.links}
	if m.DKIMKeyFile != "" {
		pem, err := os.ReadFile(m.DKIMKeyFile)
		if err != nil {
			return fmt.Errorf("mail.dkim_key_file: %w", err)
		}
		if a.compose.Signer, err = notify.NewSigner(m.DKIMDomain, m.DKIMSelector, pem); err != nil {
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
	if u, err := url.Parse(a.cfg.PublicURL); err == nil && u.Hostname() != "" {
		hello = u.Hostname()
	}
	a.relay = notify.Relay{Addr: m.SMTP, Hello: hello, TLS: mode, User: m.User, Password: password}
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
	if a.fetcher != nil {
		a.fetcher.Close()
	}
	if a.db != nil {
		a.db.Close()
	}
	if a.pg != nil {
		a.pg.Stop()
	}
}

// syncRivers writes the configuration's sites, reaches and limits to the
// database; a changed one keeps its old version with who and why.
func (a *app) syncRivers(ctx context.Context) error {
	errs := []error{a.syncLimits(ctx), a.db.SetSendAt(ctx, a.cfg.Club.SendAt), a.db.SetBands(ctx, coldseam.DefaultBands)}
	for _, s := range a.cfg.Sites {
		errs = append(errs, a.db.PutSite(ctx, s.Build()))
	}
	for _, r := range a.cfg.Reaches {
		reach, err := r.Build(a.cfg)
		if err != nil {
			errs = append(errs, err)
			continue
		}
		why, err := a.reasonOf(ctx, reach, r.Why)
		if err != nil {
			errs = append(errs, err)
			continue
		}
		errs = append(errs, a.db.PutReach(ctx, reach, store.Edit{Who: orElse(r.Who, "coldseam.toml"), Why: why}))
	}
	return errors.Join(errs...)
}

// reasonOf is the reason of an edit. One that an earlier edit of the reach gave
// was left standing in the file and says nothing of this one: then the audit
// says what changed and that no new reason was given.
func (a *app) reasonOf(ctx context.Context, r coldseam.Reach, why string) (string, error) {
	edits, err := a.db.ReachEdits(ctx, r.ID)
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
