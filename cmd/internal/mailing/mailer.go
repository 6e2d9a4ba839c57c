// Package mailing decides who gets what and when: the morning mail, its
// corrections, notices and alarms, and what comes back. The words are made in
// notify.
package mailing

import (
	"context"
	"crypto/sha256"
	"fmt"
	"log/slog"
	"net/mail"
	"net/url"
	"os"
	"strings"
	"sync"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast/verdict"
	"example.org/coldseam/notify"
	"example.org/coldseam/store"
)

// Mailer decides who gets what, and writes it.
type Mailer struct {
	Config *config.Config
	DB     *store.DB
	Log    *slog.Logger
	Now    func() time.Time
	Table  verdict.Table // of the decision

	Links   notify.Links
	Compose *notify.Composer
	Relay   notify.Relay

	breaker notify.Breaker
	Sleep   func(context.Context, time.Duration) error // between paced mails; nil = by the machine's clock

	mu     sync.Mutex
	charts map[chartKey][]byte
	rigs   map[weightKey][]coldseam.SpotJig
}

// New reads the keys and sets up links, composer and relay. A service
// makes the keys that no line of the configuration names.
func New(ctx context.Context, e *env.Env, o env.Options) (*Mailer, error) {
	ml := &Mailer{Config: &e.Config, DB: e.DB, Log: e.Log, Now: e.Now, Table: e.Table, charts: map[chartKey][]byte{}}
	if o.Alone {
		if err := ml.makeKeys(ctx); err != nil {
			return nil, err
		}
	}
	return ml, ml.WireMail(o.TokenKey)
}

// WireMail sets up links, composer and relay. A missing token key is an error
// only where mail is sent; `check` says so before.
func (ml *Mailer) WireMail(tokenKey []byte) error {
	m := ml.Config.Mail
	tokens, err := tokensOf(m, tokenKey)
	if err != nil {
		return err
	}

	ml.Links = notify.Links{PublicURL: ml.Config.PublicURL, Tokens: tokens}
	from, err := mail.ParseAddress(m.From)
	if err != nil {
		from = &mail.Address{}
	}
	ml.Compose = &notify.Composer{
		Club:         ml.Config.Club.Name,
		From:         *from,
		Domain:       m.ListID,
		BounceDomain: m.BounceDomain,
		Owner:        ml.Config.Club.AdminEmail,
		Links:        ml.Links,
	}

	if m.DKIMKeyFile != "" {
		pem, err := os.ReadFile(m.DKIMKeyFile)
		if err != nil {
			return fmt.Errorf("mail.dkim_key_file: %w", err)
		}
		if ml.Compose.Signer, err = notify.NewSigner(m.DKIMDomain, m.DKIMSelector, pem); err != nil {
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
	ml.Relay = notify.Relay{Addr: m.SMTP, Hello: hello, TLS: mode, User: m.User, Password: password}
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
			return t, fmt.Errorf(
				"mail.token_key_file and token_key_previous_file have one id: make another key with `coldseam init`: %w", coldseam.ErrInvalid)
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
