// Package admin is the care of members, backups and the schema, and the
// handover to the next admin.
package admin

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/parts"
	"example.org/coldseam/store"
)

// Subscriber is all an admin does about members. Addresses stand on the
// output of these commands and nowhere else.
type Subscriber struct {
	Add        subAddCmd        `cmd:"" help:"Enter an address; it gets the confirm mail unless --confirmed."`
	List       subListCmd       `cmd:"" help:"List members."`
	Show       subShowCmd       `cmd:"" help:"One member: state, preferences, bounces with the servers' own words, mails."`
	Suppress   subSuppressCmd   `cmd:"" help:"Stop mail to an address."`
	Unsuppress subUnsuppressCmd `cmd:"" help:"Let mail to an address go on, or to all that were suppressed since a day."`
	Forget     subForgetCmd     `cmd:"" help:"Erase a person: address, preferences, mails; trips stay without anything that leads back."`
	Export     subExportCmd     `cmd:"" help:"Everything stored about one member as JSON, or the list of all as CSV."`
	Import     subImportCmd     `cmd:"" help:"Enter members from a CSV file."`
}

// member finds a subscriber by number or address; the error repeats neither.
func member(ctx context.Context, a *parts.Parts, who string) (coldseam.Subscriber, error) {
	if id, err := strconv.ParseInt(who, 10, 64); err == nil {
		return a.Env.DB.Subscriber(ctx, id)
	}
	s, err := a.Env.DB.SubscriberByEmail(ctx, who)
	if errors.Is(err, coldseam.ErrNotFound) {
		return s, fmt.Errorf("no member with this address (coldseam subscriber list): %w", coldseam.ErrNotFound)
	}
	return s, err
}

type subAddCmd struct {
	Email     string   `arg:"" help:"The address."`
	Name      string   `help:"For the greeting."`
	Reach     []string `help:"Reaches; default all." placeholder:"ID"`
	Units     string   `help:"us or metric; default the club's." enum:"us,metric,"  default:""`
	Zone      string   `help:"IANA zone; default the club's."`
	SendAt    string   `help:"Local time of the morning mail, such as 04:45."`
	Confirmed bool     `help:"The person asked for it in writing: no confirm mail. Keep that writing."`
}

// Run enters one address.
func (c *subAddCmd) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	return parts.WithRivers(ctx, s, g, func(a *parts.Parts) error { return c.add(ctx, s.Out, a) })
}

func (c *subAddCmd) add(ctx context.Context, w io.Writer, a *parts.Parts) error {
	p := coldseam.Preferences{Units: c.Units, Zone: c.Zone, SendAt: c.SendAt}
	for _, r := range c.Reach {
		p.Reaches = append(p.Reaches, coldseam.ReachID(r))
	}
	sub, what, err := a.Mail.Enrol(ctx, c.Email, c.Name, p, c.Confirmed)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "member %d: %s\n", sub.ID, what)
	return nil
}

type subListCmd struct {
	State string `help:"pending, confirmed, paused, suppressed or unsubscribed; default all." enum:"pending,confirmed,paused,suppressed,unsubscribed," default:""`
}

// Run prints one line a member.
func (c *subListCmd) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	return parts.With(ctx, s, g, func(a *parts.Parts) error { return c.list(ctx, s.Out, a) })
}

func (c *subListCmd) list(ctx context.Context, w io.Writer, a *parts.Parts) error {
	subs, err := a.Env.DB.Subscribers(ctx, c.State)
	if err != nil {
		return err
	}

	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "no.\tstate\tsince\tsend at\treaches\taddress")
	count := map[string]int{}
	for _, x := range subs {
		count[x.State]++
		fmt.Fprintf(tw, "%d\t%s\t%s\t%s\t%s\t%s\n", x.ID, x.State, x.CreatedAt.Format(time.DateOnly), sendAt(x.Prefs),
			reachWords(x.Prefs), x.Email)
	}

	if err := tw.Flush(); err != nil {
		return err
	}
	var words []string
	for _, k := range slices.Sorted(maps.Keys(count)) {
		words = append(words, fmt.Sprintf("%d %s", count[k], k))
	}
	fmt.Fprintf(w, "%d members: %s\n", len(subs), strings.Join(words, ", "))
	return nil
}

func sendAt(p coldseam.Preferences) string {
	if p.SendAt == "" {
		return store.DefaultSendAt
	}
	return p.SendAt
}

func reachWords(p coldseam.Preferences) string {
	if len(p.Reaches) == 0 {
		return "all"
	}
	out := make([]string, len(p.Reaches))
	for i, r := range p.Reaches {
		out[i] = string(r)
	}
	return strings.Join(out, " ")
}

type subShowCmd struct {
	Who string `arg:"" help:"Number or address."`
}

// Run prints what an admin asks when a member says that no mail came.
func (c *subShowCmd) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	return parts.With(ctx, s, g, func(a *parts.Parts) error { return c.show(ctx, s.Out, a) })
}

const shownMails = 14

func (c *subShowCmd) show(ctx context.Context, w io.Writer, a *parts.Parts) error {
	sub, err := member(ctx, a, c.Who)
	if err != nil {
		return err
	}
	x, err := a.Env.DB.ExportSubscriber(ctx, sub.ID)
	if err != nil {
		return err
	}

	loc := env.Zone(sub.Prefs.Zone)
	fmt.Fprintf(w, "member %d, %s\nstate      %s, entered %s", sub.ID, strings.TrimSpace(sub.Name+" "+sub.Email), sub.State,
		sub.CreatedAt.In(loc).Format("2006-01-02 15:04"))
	if !sub.ConfirmedAt.IsZero() {
		fmt.Fprintf(w, ", confirmed %s", sub.ConfirmedAt.In(loc).Format("2006-01-02 15:04"))
	}
	fmt.Fprintln(w)
	if sub.Suppressed != "" {
		fmt.Fprintf(w, "suppressed %s\n", sub.Suppressed)
	}

	prefs, err := json.Marshal(sub.Prefs)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "morning    %s %s, %s\nprefs      %s\ntrips      %d logged\n", sendAt(sub.Prefs), sub.Prefs.Zone,
		reachWords(sub.Prefs), prefs, len(x.Trips))
	for _, b := range x.Bounces {
		fmt.Fprintf(w, "bounce     %s %d %s %s: %s\n", b.At.In(loc).Format("2006-01-02 15:04"), b.Code, b.Esc, b.Effect,
			env.OneLine(b.Text))
	}

	for i, m := range x.Mails {
		if i == shownMails {
			fmt.Fprintf(w, "mail       and %d older\n", len(x.Mails)-i)
			break
		}
		fmt.Fprintf(w, "mail       %s %-10s %-8s %s %d %s %s\n", m.Date, m.Kind, m.State, stamp(m.DoneAt, loc), m.Code,
			m.Esc, env.OneLine(m.Reply))
	}

	if len(x.Mails) == 0 {
		fmt.Fprintln(w, "mail       none yet")
	}
	return nil
}

func stamp(t time.Time, loc *time.Location) string {
	if t.IsZero() {
		return "-"
	}
	return t.In(loc).Format("15:04:05")
}

type subSuppressCmd struct {
	Who    string `arg:"" help:"Number or address."`
	Reason string `required:"" help:"Why; kept." placeholder:"TEXT"`
}

// Run stops mail to one address.
func (c *subSuppressCmd) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	return parts.With(ctx, s, g, func(a *parts.Parts) error {
		sub, err := member(ctx, a, c.Who)
		if err != nil {
			return err
		}
		if err := a.Env.DB.Suppress(ctx, sub.ID, c.Reason); err != nil {
			return err
		}
		fmt.Fprintf(s.Out, "member %d gets no mail until unsuppressed\n", sub.ID)
		return nil
	})
}

type subUnsuppressCmd struct {
	Who   string `arg:"" optional:"" help:"Number or address."`
	Since string `help:"All that were suppressed since this day: after an outage that was ours." placeholder:"DATE"`
}

// Run lets mail go on.
func (c *subUnsuppressCmd) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	return parts.With(ctx, s, g, func(a *parts.Parts) error { return c.unsuppress(ctx, s.Out, a) })
}

func (c *subUnsuppressCmd) unsuppress(ctx context.Context, w io.Writer, a *parts.Parts) error {
	if (c.Who == "") == (c.Since == "") {
		return env.Fail(2, "want a member, or --since DATE")
	}

	if c.Since != "" {
		d, err := coldseam.ParseDate(c.Since)
		if err != nil {
			return env.Fail(2, err.Error())
		}
		n, err := a.Env.DB.UnsuppressSince(ctx, d.In(env.Zone(a.Env.Config.Club.Zone)))
		if err != nil {
			return err
		}
		fmt.Fprintf(w, "%d members get mail again\n", n)
		return nil
	}

	sub, err := member(ctx, a, c.Who)
	if err != nil {
		return err
	}
	if err := a.Env.DB.Unsuppress(ctx, sub.ID); err != nil {
		return err
	}
	fmt.Fprintf(w, "member %d gets mail again\n", sub.ID)
	return nil
}

type subForgetCmd struct {
	Who string `arg:"" help:"Number or address."`
	Yes bool   `help:"Do it. Without, only what would go is shown: there is no way back."`
}

// Run erases a person.
func (c *subForgetCmd) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	return parts.With(ctx, s, g, func(a *parts.Parts) error { return c.forget(ctx, s.Out, a) })
}

func (c *subForgetCmd) forget(ctx context.Context, w io.Writer, a *parts.Parts) error {
	sub, err := member(ctx, a, c.Who)
	if err != nil {
		return err
	}

	x, err := a.Env.DB.ExportSubscriber(ctx, sub.ID)
	if err != nil {
		return err
	}
	what := fmt.Sprintf("address, preferences, %d bounces, %d mails; %d trips stay without anything that leads back",
		len(x.Bounces), len(x.Mails), len(x.Trips))
	if !c.Yes {
		fmt.Fprintf(w, "member %d would be erased: %s. Do it with --yes.\n", sub.ID, what)
		return nil
	}

	if err := a.Env.DB.Forget(ctx, sub.ID); err != nil {
		return err
	}
	fmt.Fprintf(w, "erased: %s\n", what)
	fmt.Fprintln(w, "Backups still hold the person until they have run out, after 12 months: after a restore, forget again.")
	return nil
}
