package doctor

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/mail"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/mailing"
	"example.org/coldseam/cmd/internal/parts"
	"example.org/coldseam/notify"
	"example.org/coldseam/store"
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

// reconcile looks mails without an answer up in the log of the local relay: a
// Message-ID that stands there was taken.
func (c *Check) reconcile(ctx context.Context, w io.Writer, a *parts.Parts) error {
	list, err := a.Env.DB.UnknownMails(ctx)
	if err != nil {
		return err
	}

	if len(list) == 0 {
		fmt.Fprintln(w, "no mail is without an answer")
		return nil
	}

	f, err := os.Open(c.MailLog)
	if err != nil {
		return env.Fail(2, "--mail-log: "+err.Error())
	}
	defer f.Close()
	taken, err := idsInLog(f, list)
	if err != nil {
		return err
	}

	n := 0
	for _, u := range list {
		if !taken[u.MessageID] {
			continue
		}
		done, err := a.Env.DB.Reconcile(ctx, u.ID, "found in the log of the relay")
		if err != nil {
			return err
		}
		if done {
			n++
		}
	}

	fmt.Fprintf(w, "%d of %d mails without an answer stand in the relay's log and are sent; %d are not there\n", n,
		len(list), len(list)-n)
	return nil
}

// idsInLog finds Message-IDs in a log, whatever its form: the id is long and
// ours alone.
func idsInLog(r io.Reader, list []store.UnknownMail) (map[string]bool, error) {
	out := map[string]bool{}
	sc := bufio.NewScanner(r)
	sc.Buffer(make([]byte, 64<<10), 1<<20)
	for sc.Scan() {
		for _, u := range list {
			if id := strings.Trim(u.MessageID, "<>"); id != "" && strings.Contains(sc.Text(), id) {
				out[u.MessageID] = true
			}
		}
	}
	return out, sc.Err()
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
