package doctor

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/mail"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/mailing"
)

// relay logs in the way a send does.
func (k *checker) relay(ctx context.Context) {
	r := k.app.Mail.Relay
	if k.offline {
		k.ok("smtp", "skipped: offline")
		return
	}

	if err := k.net.probe(ctx, r); err != nil {
		fix := "mend mail.smtp; look whether the relay runs and lets this machine in"
		switch {
		case strings.Contains(err.Error(), "535") || strings.Contains(err.Error(), "AUTH"):
			fix = "mend mail.user and the password file"
		case strings.Contains(err.Error(), "certificate") || strings.Contains(err.Error(), "tls"):
			fix = "mail.smtp must carry the name in the relay's certificate; mail.tls must fit the port (starttls 587, tls 465)"
		}
		k.add("smtp", LevelFail, err.Error(), "a relay that takes our mail", fix)
	} else {
		how := "TLS, " + map[bool]string{true: "login accepted", false: "no login asked for"}[r.User != ""]
		if r.TLS == "none" {
			how = "a relay on this machine: TLS and login skipped"
		}
		k.ok("smtp", "%s greets; %s", r.Addr, how)
	}

	if _, err := mail.ParseAddress(k.cfg.Mail.From); err != nil {
		k.add("from", LevelFail, fmt.Sprintf("mail.from is %q", k.cfg.Mail.From), "an address with the club's name",
			"set mail.from")
	}
	switch {
	case k.cfg.Club.AdminEmail == "":
		k.add("alarms", levelWarn, "nobody to tell: club.admin_email is empty", "an address that is read by day",
			"set club.admin_email")
	case k.cfg.Mail.SecondSMTP == "":
		k.add("alarms", levelWarn, "they take the same way as the mail",
			"a second way, for the morning on which the first is dead", "set mail.second_smtp")
	default:
		k.ok("alarms", "to the admin by %s", k.cfg.Mail.SecondSMTP)
	}
}

// reservedName reports a name that no name server knows by standard [source:
// RFC 2606].
func reservedName(domain string) bool {
	d := "." + strings.ToLower(domain)
	for _, end := range []string{".example", ".test", ".invalid", ".localhost", ".example.com", ".example.net",
		".example.org"} {
		if strings.HasSuffix(d, end) {
			return true
		}
	}
	return false
}

// keys looks at files that must be there, whole, and closed to others.
func (k *checker) keys() {
	m := k.cfg.Mail
	if m.TokenKeyFile == "" && len(k.app.Mail.Links.Tokens.Current.Secret) == 0 {
		k.add("token key", LevelFail, "mail.token_key_file is not set", "a key that signs the links in mails",
			"coldseam serve makes one at a club's first start; that of a club with members is in the backup: coldseam restore FILE --files-only")
	}

	for _, f := range k.cfg.KeyFiles() {
		if f.Rotate == "" {
			continue
		}
		st, err := os.Stat(f.Path)
		switch {
		case err != nil:
			k.add(f.What, LevelFail, reasonText(err), "the file",
				"coldseam restore FILE --files-only brings it back; with a new one, by coldseam init, links already sent stop working")
		case st.Mode().Perm()&0o077 != 0:
			k.add(f.What, levelWarn, fmt.Sprintf("%s is %04o: others can read it", f.Path, st.Mode().Perm()), "0600",
				"chmod 600 "+f.Path)
		case f.What == "mail.token_key_file" && st.Size() < 32:
			k.add(f.What, LevelFail, fmt.Sprintf("%d bytes", st.Size()), "at least 32",
				"coldseam init makes one; links already sent stop working")
		default:
			k.ok(f.What, "there, closed to others")
		}
	}
}

func reasonText(err error) string {
	var pe *os.PathError
	if errors.As(err, &pe) {
		return pe.Path + ": " + pe.Err.Error()
	}
	return err.Error()
}

// publicURL asks the pages the way a subscriber does.
func (k *checker) publicURL(ctx context.Context) {
	u, err := url.Parse(k.cfg.PublicURL)
	local := err == nil && (u.Hostname() == "localhost" || net.ParseIP(u.Hostname()) != nil &&
		net.ParseIP(u.Hostname()).IsLoopback())
	switch {
	case err != nil || u.Host == "" || u.Scheme != "https" && u.Scheme != "http":
		k.add("public_url", LevelFail, fmt.Sprintf("%q", k.cfg.PublicURL), "an https address that members reach",
			"set public_url: links in mails are made from it alone")
		return
	case u.Scheme == "http" && !local:
		k.add("public_url", LevelFail, k.cfg.PublicURL,
			"https: links carry keys, and one-click unsubscribe asks for it",
			"put a proxy with a certificate in front (deploy/proxy-*.conf)")
		return
	case reservedName(u.Hostname()):
		k.add("public_url", LevelFail, k.cfg.PublicURL+" is the example's", "the club's own", "set public_url")
		return
	case k.offline:
		k.ok("public_url", "%s, not asked: offline", k.cfg.PublicURL)
		return
	}

	status, _, err := k.net.get(ctx, strings.TrimRight(k.cfg.PublicURL, "/")+"/livez")
	switch {
	case err != nil:
		k.add("public_url", levelWarn, "no answer: "+reasonOf(err), "200 from "+k.cfg.PublicURL+"/livez",
			"start the service; look at the proxy and at the name's address")
	case status != 200:
		k.add("public_url", levelWarn, fmt.Sprintf("answers %d", status), "200 from "+k.cfg.PublicURL+"/livez",
			"look at the proxy: it must pass every path on, without a redirect")
	default:
		k.ok("public_url", "%s answers", k.cfg.PublicURL)
	}
}

// bouncePath follows the way a delivery failure takes back to us.
func (k *checker) bouncePath(ctx context.Context) {
	m := k.cfg.Mail
	const fix = "set mail.lmtp and let the relay deliver the bounce domain there, or mail.bounce_file"
	switch {
	case m.BounceDomain == "":
		k.add("bounces", levelWarn, "mail.bounce_domain is not set", "a domain that failures come back to", fix)
		return
	case m.LMTP == "" && m.BounceFile == "":
		k.add("bounces", levelWarn, "nothing receives them", "an LMTP listener or a mailbox file",
			fix+"; dead addresses are written to for ever otherwise")
		return
	}

	if m.BounceFile != "" {
		// Read and gone is well: the mail server makes it anew.
		f, err := os.Open(m.BounceFile)
		if errors.Is(err, os.ErrNotExist) {
			f, err = os.Open(filepath.Dir(m.BounceFile))
		}

		if err != nil {
			k.add("bounces", LevelFail, reasonText(err), "a mailbox file that can be read",
				"make it, owned by the service")
			return
		}

		f.Close()
		if st, err := os.Stat(m.BounceFile + mailing.ReadingSuffix); err == nil &&
			k.now().Sub(st.ModTime()) > 3*time.Minute {
			k.add("bounces", levelWarn, fmt.Sprintf("%s is not read to its end for %s", m.BounceFile+
				mailing.ReadingSuffix, env.Age(k.now().Sub(st.ModTime()))),
				"a mailbox read within two ticks",
				"start coldseam serve; its log says at which mail it stops, and it goes on from the beginning of the file")
			return
		}
	}

	if k.offline || reservedName(m.BounceDomain) {
		k.ok("bounces", "received here; the MX of %s was not asked for", m.BounceDomain)
		return
	}
	mx, err := k.net.names.LookupMX(ctx, m.BounceDomain)
	if err != nil || len(mx) == 0 {
		k.add("bounces", LevelFail, "no MX for "+m.BounceDomain, "an MX that leads to this machine's relay", pasteFix)
		return
	}

	k.ok("bounces", "%s leads to %s, received here", m.BounceDomain, strings.TrimSuffix(mx[0].Host, "."))
}

// anAddress is what servers repeat in their answers: check is read by monitors
// too, and shows nobody.
var anAddress = regexp.MustCompile(`[^\s<>"',;:()]+@[^\s<>"',;:()]+`)

// sending tells what the outbox holds that should not stay there.
func (k *checker) sending(ctx context.Context) {
	held, since, e, err := k.app.Env.DB.Held(ctx)
	switch {
	case err != nil:
		k.broken("sending", err)
		return
	case held:
		k.add("sending", LevelFail, fmt.Sprintf("held since %s by %s: %s",
			since.In(env.Zone(k.cfg.Club.Zone)).Format("Mon 2 Jan 15:04"), e.Who, e.Why),
			"sending on, unless you mean it", `coldseam brief --release --reason "..."`)
	default:
		k.ok("sending", "not held")
	}

	today := coldseam.DateOf(k.now().In(env.Zone(k.cfg.Club.Zone)))
	list, err := k.app.Env.DB.MailTroubles(ctx, today.Add(-2))
	if err != nil {
		k.broken("mail", err)
		return
	}

	for _, t := range list {
		found := fmt.Sprintf("%d %s of %s are %s", t.N, t.Kind, t.Day, t.State)
		if t.Reply != "" {
			found += ": " + anAddress.ReplaceAllString(t.Reply, "(address)")
		}

		switch t.State {
		case coldseam.MailUnknown:
			k.add("mail", levelWarn, found, "an answer to each",
				"coldseam check --reconcile with a relay on this machine; mail.unknown says what becomes of them")
		case coldseam.MailFailed:
			k.add("mail", levelWarn, found, "none refused",
				"coldseam subscriber list --state suppressed, then show: the servers' own words")
		case coldseam.MailExpired:
			k.add("mail", levelWarn, found, "all sent before their deadline",
				"look at the lines smtp and sending, and at the log")
		case coldseam.MailDeferred:
			k.add("mail", levelWarn, found, "taken at the first try",
				"they are tried again until the deadline; see the line smtp")
		default:
			k.add("mail", LevelFail, found, "sent",
				`the edition was stopped because the fault is ours; mend it, then coldseam brief --release --reason "..."`)
		}
	}

	if len(list) == 0 {
		k.ok("mail", "nothing unknown, refused, late or stopped in three days")
	}
}
