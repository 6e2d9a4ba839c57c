package doctor

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/url"
	"os"
	"slices"
	"strings"
	"time"

	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/notify"
)

func (k *checker) dns(ctx context.Context) {
	from := k.cfg.FromDomain()
	switch {
	case k.offline:
		k.ok("dns", "skipped: offline")
		return
	case from == "":
		return // the line of the relay says it
	case reservedName(from) && k.app.Mail.Relay.Loopback():
		k.ok("dns", "skipped: %s is a name for examples, and the relay is on this machine", from)
		return
	case reservedName(from):
		k.add("dns", LevelFail, from+" is a name for examples", "the club's own domain",
			"set mail.from, bounce_domain, list_id and dkim_domain")
		return
	}

	ctx, cancel := context.WithTimeout(ctx, 20*time.Second)
	defer cancel()
	k.spf(ctx)
	k.dkim(ctx)
	k.dmarc(ctx, from)
	k.ptr(ctx)
}

const pasteFix = "publish the record that `coldseam check --dns` prints"

// txt finds the record with a mark among the TXT records of a name. Not there
// is an empty string; an error is the name server's silence.
func (k *checker) txt(ctx context.Context, name, mark string) (found []string, err error) {
	all, err := k.net.names.LookupTXT(ctx, name)
	var de *net.DNSError
	if errors.As(err, &de) && de.IsNotFound {
		return nil, nil
	}
	for _, t := range all {
		if strings.HasPrefix(strings.ToLower(strings.TrimSpace(t)), mark) {
			found = append(found, t)
		}
	}
	return found, err
}

func (k *checker) spf(ctx context.Context) {
	name := k.cfg.Mail.BounceDomain
	if name == "" {
		name = k.cfg.FromDomain()
	}
	rec, err := k.txt(ctx, name, "v=spf1")
	switch {
	case err != nil:
		k.add("spf", levelWarn, "no answer for "+name+": "+reasonOf(err), "an SPF record",
			"look at the name server, then again")
	case len(rec) == 0:
		k.add("spf", LevelFail, "no SPF record at "+name, "v=spf1 with the relay's address", pasteFix)
	case len(rec) > 1:
		k.add("spf", LevelFail, fmt.Sprintf("%d SPF records at %s", len(rec), name), "exactly one",
			"make one of them: two are an error to receivers")
	case strings.Contains(rec[0], "+all"):
		k.add("spf", LevelFail, rec[0], "no +all: it lets everybody in", pasteFix)
	default:
		k.ok("spf", "%s: %s", name, rec[0])
	}
}

// dkim compares the published key with the one that signs.
func (k *checker) dkim(ctx context.Context) {
	s := k.app.Mail.Compose.Signer
	if s == nil {
		k.add("dkim", LevelFail, "mail goes unsigned", "mail.dkim_key_file", "coldseam init makes a key; then "+
			pasteFix)
		return
	}

	want, err := s.Record()
	if err != nil {
		k.broken("dkim", err)
		return
	}

	name := s.Selector + "._domainkey." + s.Domain
	all, err := k.net.names.LookupTXT(ctx, name)
	var de *net.DNSError
	switch {
	case errors.As(err, &de) && de.IsNotFound || err == nil && len(all) == 0:
		k.add("dkim", LevelFail, "no key at "+name, "the public half of our key", pasteFix)
	case err != nil:
		k.add("dkim", levelWarn, "no answer for "+name+": "+reasonOf(err), "our key",
			"look at the name server, then again")
	case dkimKey(all[0]) != dkimKey(want):
		k.add("dkim", LevelFail, "the key at "+name+" is another one", "the public half of our key",
			pasteFix+"; or restore the key file that fits")
	default:
		k.ok("dkim", "%s carries our key", name)
	}
}

// dkimKey is the p= part without the blanks that publishing adds.
func dkimKey(rec string) string {
	for _, part := range strings.Split(rec, ";") {
		if p, ok := strings.CutPrefix(strings.TrimSpace(part), "p="); ok {
			return strings.Join(strings.Fields(strings.ReplaceAll(p, `"`, "")), "")
		}
	}
	return ""
}

func (k *checker) dmarc(ctx context.Context, from string) {
	// A record of the organisation's domain counts for its subdomains too.
	names := []string{"_dmarc." + from}
	if parts := strings.Split(from, "."); len(parts) > 2 {
		names = append(names, "_dmarc."+strings.Join(parts[len(parts)-2:], "."))
	}

	for _, n := range names {
		rec, err := k.txt(ctx, n, "v=dmarc1")
		if err != nil {
			k.add("dmarc", levelWarn, "no answer for "+n+": "+reasonOf(err), "a DMARC record",
				"look at the name server, then again")
			return
		}

		if len(rec) > 0 {
			for _, d := range []string{k.cfg.Mail.DKIMDomain, k.cfg.Mail.BounceDomain} {
				if d != "" && !aligned(d, from) {
					k.add("dmarc", LevelFail, d+" is not of the domain of mail.from, "+from,
						"names of one domain: DMARC asks that they fit", "set dkim_domain and bounce_domain below "+
							from)
					return
				}
			}
			k.ok("dmarc", "%s: %s", n, rec[0])
			return
		}
	}

	k.add("dmarc", LevelFail, "no DMARC record at "+names[0],
		"v=DMARC1; p=none at the least: large providers ask for it", pasteFix)
}

// aligned is the relaxed test: one is the other, or below it.
func aligned(a, b string) bool {
	a, b = strings.ToLower(a), strings.ToLower(b)
	return a == b || strings.HasSuffix(a, "."+b) || strings.HasSuffix(b, "."+a)
}

// ptr looks whether the relay's address has a name that leads back to it.
func (k *checker) ptr(ctx context.Context) {
	r := k.app.Mail.Relay
	if r.Loopback() {
		k.ok("ptr", "skipped: the relay on this machine decides by which address mail leaves")
		return
	}

	host, _, _ := net.SplitHostPort(r.Addr)
	ips, err := k.net.names.LookupHost(ctx, host)
	if err != nil || len(ips) == 0 {
		k.add("ptr", levelWarn, "no address for "+host, "an address of the relay",
			"look at the name server, then again")
		return
	}

	for _, ip := range ips {
		names, err := k.net.names.LookupAddr(ctx, ip)
		if err != nil || len(names) == 0 {
			k.add("ptr", levelWarn, ip+" has no name", "a PTR record: receivers refuse nameless senders",
				"ask who runs the relay's network")
			return
		}
		back, err := k.net.names.LookupHost(ctx, strings.TrimSuffix(names[0], "."))
		if err != nil || !slices.Contains(back, ip) {
			k.add("ptr", levelWarn, ip+" is called "+names[0]+", which does not lead back",
				"a name that leads back to the address", "ask who runs the relay's network")
			return
		}
	}

	k.ok("ptr", "%s has a name that leads back", host)
}

// records prints what to paste into the zone of the club's domain.
func (c *Check) records(ctx context.Context, w io.Writer, k *checker) error {
	m := k.cfg.Mail
	from := k.cfg.FromDomain()
	if from == "" || m.BounceDomain == "" {
		return env.Fail(2, "mail.from and mail.bounce_domain must be set first")
	}
	u, err := url.Parse(k.cfg.PublicURL)
	if err != nil || u.Hostname() == "" {
		return env.Fail(2, "public_url must be set first")
	}

	host := u.Hostname()
	fmt.Fprintf(w, "; records for %s, to paste into its zone\n", from)
	if reservedName(from) {
		fmt.Fprintf(w, "; %s is a name for examples: put the club's own domain into the configuration first\n", from)
	}
	fmt.Fprintf(w, "%s. IN MX 10 %s.\n", m.BounceDomain, host)
	relay, _, _ := net.SplitHostPort(m.SMTP)
	spf := "a:" + host
	if !k.cfg.Mail.LocalRelay() {
		spf += " include:" + relay
		fmt.Fprintf(w, "; the SPF line names %s by its own policy: ask who runs it which include it wants\n", relay)
	}

	fmt.Fprintf(w, "%s. IN TXT %s\n", m.BounceDomain, quotedTXT("v=spf1 "+spf+" -all"))
	if err := k.dkimRecord(w); err != nil {
		return err
	}
	policy := "v=DMARC1; p=none"
	if k.cfg.Club.AdminEmail != "" {
		policy += "; rua=mailto:" + k.cfg.Club.AdminEmail
	}
	fmt.Fprintf(w, "_dmarc.%s. IN TXT %s\n", from, quotedTXT(policy))

	if ips, err := k.net.names.LookupHost(ctx, host); err == nil && !c.Offline {
		for _, ip := range ips {
			fmt.Fprintf(w, "; PTR of %s, set where the address was rented: %s.\n", ip, host)
		}
	} else {
		fmt.Fprintf(w, "; PTR: the address mail leaves by must be called %s, set where the address was rented\n", host)
	}

	return nil
}

// dkimRecord reads the key file itself: the database need not run for this.
func (k *checker) dkimRecord(w io.Writer) error {
	m := k.cfg.Mail
	if m.DKIMKeyFile == "" {
		fmt.Fprintln(w, "; DKIM: mail.dkim_key_file is not set; `coldseam init` makes a key")
		return nil
	}
	rec, err := dkimRecordOf(m)
	if err != nil {
		return env.Fail(2, err.Error())
	}
	fmt.Fprintf(w, "%s._domainkey.%s. IN TXT %s\n", m.DKIMSelector, m.DKIMDomain, quotedTXT(rec))
	return nil
}

// quotedTXT cuts a text into the strings of at most 255 bytes that a TXT
// record is made of [source: RFC 1035].
func quotedTXT(s string) string {
	var parts []string
	for len(s) > 255 {
		parts, s = append(parts, `"`+s[:255]+`"`), s[255:]
	}
	return strings.Join(append(parts, `"`+s+`"`), " ")
}

// dkimRecordOf is the TXT value that publishes the configured signing key.
func dkimRecordOf(m config.Mail) (string, error) {
	pem, err := os.ReadFile(m.DKIMKeyFile)
	if err != nil {
		return "", fmt.Errorf("mail.dkim_key_file: %w", err)
	}
	s, err := notify.NewSigner(m.DKIMDomain, m.DKIMSelector, pem)
	if err != nil {
		return "", err
	}
	return s.Record()
}
