package main

import (
	"context"
	"crypto/sha256"
	"fmt"
	"net/mail"
	"net/url"
	"os"
	"strings"
	"sync"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast"
	"example.org/coldseam/forecast/run"
	"example.org/coldseam/forecast/verdict"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/document"
	"example.org/coldseam/notify"
)

// Feeds fetches what the configuration names and stores it.
type Feeds struct {
	*env.Env
	fetcher *ingest.Fetcher
	observe func(feed string, r ingest.Result, err error) // told of every fetch; may be nil

	mu sync.Mutex
	qc map[coldseam.SiteID]qcKnown
}

func newFeeds(e *env.Env) *Feeds {
	fd := &Feeds{Env: e, qc: map[coldseam.SiteID]qcKnown{}}
	fd.fetcher = &ingest.Fetcher{Profiles: e.Config.Placed(), Now: e.Now, Log: e.Log, Parse: document.Parse, Sink: e.DB,
		Agent: "coldseam/" + env.Version + " (" + e.Config.Club.Contact + ")", Recent: e.DB.Neighbours, Limits: fd.siteLimits,
		Air: fd.airNear, Ratings: fd.ratingsOf, Budget: e.DB, Elsewhere: fd.elsewhere, Ours: e.Config.HasSite}
	return fd
}

// Mailer decides who gets what, and writes it.
type Mailer struct {
	*env.Env
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
func newMailer(ctx context.Context, e *env.Env, o env.Options) (*Mailer, error) {
	ml := &Mailer{Env: e, charts: map[chartKey][]byte{}}
	if o.Alone {
		if err := ml.makeKeys(ctx); err != nil {
			return nil, err
		}
	}
	return ml, ml.wireMail(o.TokenKey)
}

// Maker makes briefs: from history to inputs to a verdict that is stored.
type Maker struct {
	*env.Env
	mail       *Mailer
	alertRules []verdict.AlertRule
	species    []run.Species
	profile    func(name string) (ingest.Profile, error)

	computing sync.Map                                 // reaches whose brief is being computed
	morningOf func(forecast.Features) forecast.Morning // forecast.Make but in tests
}

func newMaker(e *env.Env, mail *Mailer) (*Maker, error) {
	rules, err := e.Config.Alerts()
	if err != nil {
		return nil, err
	}
	profiles := &ingest.Fetcher{Profiles: e.Config.Placed()}
	return &Maker{Env: e, mail: mail, alertRules: rules, species: run.DefaultSpecies(), profile: profiles.Profile, morningOf: forecast.Make}, nil
}

// Book reads the season: what was issued against what was observed.
type Book struct{ *env.Env }

// wireMail sets up links, composer and relay. A missing token key is an error
// only where mail is sent; `check` says so before.
func (ml *Mailer) wireMail(tokenKey []byte) error {
	m := ml.Config.Mail
	tokens, err := tokensOf(m, tokenKey)
	if err != nil {
		return err
	}
	ml.links = notify.Links{PublicURL: ml.Config.PublicURL, Tokens: tokens}
	from, err := mail.ParseAddress(m.From)
	if err != nil {
		from = &mail.Address{}
	}
	ml.compose = &notify.Composer{Club: ml.Config.Club.Name, From: *from, Domain: m.ListID, BounceDomain: m.BounceDomain,
		Owner: ml.Config.Club.AdminEmail, Links: ml.links}
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
	if u, err := url.Parse(ml.Config.PublicURL); err == nil && u.Hostname() != "" {
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

// TokenKey names a key by itself: a link says which of two keys signed it, and
// goes on saying so when the key has become the previous one.
func tokenKey(secret []byte) notify.TokenKey {
	if secret == nil {
		return notify.TokenKey{ID: 1}
	}
	return notify.TokenKey{ID: sha256.Sum256(append([]byte("id of "), secret...))[0], Secret: secret}
}
