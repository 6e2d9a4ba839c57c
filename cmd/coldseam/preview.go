package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net/mail"
	"path/filepath"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/democlub"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/parts"
	"example.org/coldseam/notify"
)

// previewCmd writes the next morning's mail to files and sends nothing.
type previewCmd struct {
	For string `help:"The mail of this member; default that of a new member." placeholder:"ADDRESS"`
	Dir string `help:"Where to write preview.txt and preview.html." default:"." type:"path"`
}

// Run computes the next morning from what is known now.
func (c *previewCmd) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	return parts.WithRivers(ctx, s, g, func(a *parts.Parts) error { return c.preview(ctx, s, a) })
}

func (c *previewCmd) preview(ctx context.Context, s *env.Streams, a *parts.Parts) error {
	club := a.Env.Config.Club
	day, at, err := a.Mail.NextMorning()
	if err != nil {
		return err
	}
	who := coldseam.Subscriber{Email: "member@example.org",
		Prefs: coldseam.Preferences{Units: club.Units, Zone: club.Zone, SendAt: club.SendAt}}
	if c.For != "" {
		if who, err = a.Env.DB.SubscriberByEmail(ctx, c.For); err != nil {
			return err
		}
	}

	briefs, failed := a.Morning.AheadAll(ctx, day)
	if len(briefs) == 0 {
		return errors.Join(failed, env.Fail(1, "no river to tell of: coldseam site add sets one up"))
	}
	m, err := a.Mail.Preview(ctx, who, day, briefs)
	if err != nil {
		return errors.Join(failed, err)
	}
	raw, err := mail.ReadMessage(bytes.NewReader(m.Bytes))
	if err != nil {
		return err
	}
	seen, err := democlub.ReadMail(raw)
	if err != nil {
		return err
	}

	fmt.Fprintf(s.Out, "Subject: %s\n\n%s\n", m.Subject, seen.Text)
	for name, what := range map[string]string{"preview.txt": seen.Text, "preview.html": seen.HTML} {
		if err := env.WriteClosed(filepath.Join(c.Dir, name), []byte(what)); err != nil {
			return err
		}
	}
	fmt.Fprintf(s.Out, "wrote preview.txt and preview.html in %s; nothing was sent\n", c.Dir)

	get, err := a.Mail.GetMail(ctx, day)
	fmt.Fprintf(s.Out, "%s from %s: %s\n", day, at.Format("15:04"),
		notify.Counted(float64(len(get)), "mail"))
	for _, m := range get {
		fmt.Fprintf(s.Out, "  %s  %s\n", env.OrElse(m.Prefs.SendAt, club.SendAt), m.Email)
	}
	return errors.Join(failed, err)
}
