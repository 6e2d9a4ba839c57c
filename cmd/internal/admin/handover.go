package admin

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/parts"
	"example.org/coldseam/cmd/internal/setup"
	"example.org/coldseam/forecast/verdict"
	"example.org/coldseam/store"
)

// Handover packs what the next admin needs, without one secret and without
// one person.
type Handover struct {
	Out string `help:"The archive; default handover-DATE.tar.gz in the state directory." type:"path" placeholder:"FILE"`
}

// Run writes the pack.
func (c *Handover) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	return parts.WithRivers(ctx, s, g, func(a *parts.Parts) error { return c.pack(ctx, s.Out, a) })
}

func (c *Handover) pack(ctx context.Context, w io.Writer, a *parts.Parts) error {
	path := c.Out
	if path == "" {
		path = filepath.Join(a.Env.Config.StateDir,
			"handover-"+coldseam.DateOf(a.Env.Now().In(env.Zone(a.Env.Config.Club.Zone))).String()+".tar.gz")
	}
	p := &packer{ctx: ctx, a: a}
	files := []struct {
		name string
		make func() ([]byte, error)
	}{
		{"README.md", p.readme}, {"coldseam.toml", p.config}, {"rivers.json", p.rivers}, {"spots.csv", p.spots},
		{"limits.csv", p.limits},
		{"limits-history.csv", p.history}, {"rules.csv", p.rules}, {"confirmations.csv", p.confirmations},
		{"feeds.csv", p.feeds}, {"keys.csv", p.keys}, {"restore-drill.md", p.drill},
		{"data-dictionary.md", p.dictionary},
	}

	var raw bytes.Buffer
	z := gzip.NewWriter(&raw)
	t := tar.NewWriter(z)
	for _, f := range files {
		b, err := f.make()
		if err != nil {
			return fmt.Errorf("%s: %w", f.name, err)
		}
		if err := t.WriteHeader(&tar.Header{
			Name:    "handover/" + f.name,
			Mode:    0o600,
			Size:    int64(len(b)),
			ModTime: a.Env.Now(),
		}); err != nil {
			return err
		}
		if _, err := t.Write(b); err != nil {
			return err
		}
	}

	if err := t.Close(); err != nil {
		return err
	}
	if err := z.Close(); err != nil {
		return err
	}
	if err := env.WriteClosed(path, raw.Bytes()); err != nil {
		return err
	}
	fmt.Fprintf(w, "wrote %s: %d files, no key, no address of a member in it\n", path, len(files))
	return nil
}

// packer makes the files of the pack.
type packer struct {
	ctx context.Context
	a   *parts.Parts
}

func csvTable(header []string, rows [][]string) ([]byte, error) {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	for _, r := range append([][]string{header}, rows...) {
		out := make([]string, len(r))
		for i := range r {
			out[i] = noFormula(r[i])
		}
		if err := w.Write(out); err != nil {
			return nil, err
		}
	}
	w.Flush()
	return b.Bytes(), w.Error()
}

func (p *packer) readme() ([]byte, error) {
	subs, err := p.a.Env.DB.Subscribers(p.ctx, "")
	if err != nil {
		return nil, err
	}
	count := map[string]int{}
	for _, s := range subs {
		count[s.State]++
	}
	var b strings.Builder
	fmt.Fprintf(&b, "# Hand-over of %s, %s\n\n", p.a.Env.Config.Club.Name,
		p.a.Env.Now().In(env.Zone(p.a.Env.Config.Club.Zone)).Format("2 January 2006"))
	fmt.Fprintf(&b, "Pages: %s. Program: coldseam %s. Members: %d", p.a.Env.Config.PublicURL, env.Version, len(subs))
	for _, k := range slices.Sorted(maps.Keys(count)) {
		fmt.Fprintf(&b, ", %d %s", count[k], k)
	}
	b.WriteString(`.

## The first hour

1. Do the restore drill on another machine (restore-drill.md): it is the only proof that you can.
2. Run ` + "`coldseam check`" + `. Every line says what was found, what is wanted and how to mend it.
3. Change the keys in keys.csv, in the order in which they stand there.
4. Read rivers.json and limits.csv aloud with somebody who knows the rivers. A limit that nobody can give a reason for is a question.
5. Open each link of rules.csv. Set checked_on and checked_by where the rule still stands.
6. Set club.admin_email and club.contact to yourself.

## The week

Every day: the backup's timer; a mail from the program only when something is wrong. Before a holiday: ` + "`coldseam check`" + `.
To stop all mail at once: ` + "`coldseam brief --hold --reason \"...\"`" + `. To go on: ` + "`coldseam brief --release --reason \"...\"`" + `.

## What is in here

coldseam.toml with REMOVED where a secret stood or might have; rivers.json: every reach with its spots and all its past states, who changed it and why; spots.csv; limits.csv and
limits-history.csv; rules.csv; confirmations.csv: readings an admin stood for, who and why; feeds.csv; keys.csv: names, never contents; data-dictionary.md: what the SQL views of schema season mean.
The backup holds the data, the keys and the members. It is not in here.
`)
	return []byte(b.String()), nil
}

const removed = "REMOVED"

var (
	// dbAddress is an address of a database, in use or commented out, whatever its
	// form.
	dbAddress = regexp.MustCompile(
		`(?ms)^([ \t#]*"?(?:database_url|readers_url)"?[ \t]*=[ \t]*)("""(?:\\.|[^\\])*?"""|'''.*?'''|"(?:\\.|[^"\\\n])*"|'[^'\n]*'|[^\n]*)`)
	// plainAddress is one of which user, machine and name may stand: no more is in it.
	plainAddress = regexp.MustCompile(`^("postgres(?:ql)?://[\w.-]+:)[^@/?#\s"]*(@[\w.:-]+(?:/[\w-]*)?")$`)
	// anyAddress is an address with a scheme.
	anyAddress = regexp.MustCompile(`[A-Za-z][A-Za-z0-9+.-]*://[^\s"'<>\x60]+`)
	// queryValue is a value of a query, also of a path alone.
	queryValue = regexp.MustCompile(`([?&;][^=?&;\s"'#]+=)([^&;\s"'#{}]+)`)
	// secretValue is a value whose key, or the one before it, says that it is secret.
	secretValue = regexp.MustCompile(
		`(?i)([\w-]*(?:key|token|secret|passw(?:or)?d|pwd|credential|signature|auth|api_?id|app_?id)[\w-]*"?\s*[=:]\s*["']?)([^\s"',}]+)`)
	// notSecret are keys that name a file or a header, and feeds' own fields.
	notSecret = regexp.MustCompile(`(?i)(_file|_header|author\w*)"?\s*[=:]\s*["']?$`)
	// linkLine is a link for people: what it asks for is public.
	linkLine = regexp.MustCompile(`(?m)^\s*(link|guides)\s*=`)
)

// withoutSecrets is a text of configuration without what opens something.
func withoutSecrets(text string) string {
	text = dbAddress.ReplaceAllStringFunc(text, func(m string) string {
		at := dbAddress.FindStringSubmatch(m)
		if plain := plainAddress.FindStringSubmatch(at[2]); plain != nil {
			return at[1] + plain[1] + removed + plain[2]
		}
		return at[1] + `"` + removed + `"`
	})
	lines := strings.Split(text, "\n")

	for i, l := range lines {
		l = anyAddress.ReplaceAllStringFunc(l, withoutLogin)
		if !linkLine.MatchString(l) {
			l = queryValue.ReplaceAllString(l, "${1}"+removed)
		}
		lines[i] = secretValue.ReplaceAllStringFunc(l, func(m string) string {
			at := secretValue.FindStringSubmatch(m)
			if notSecret.MatchString(at[1]) || strings.HasPrefix(at[2], "{") {
				return m
			}
			return at[1] + removed
		})
	}

	return strings.Join(lines, "\n")
}

// withoutLogin drops user and password of an address, also where the password
// holds the marks that should have been encoded.
func withoutLogin(address string) string {
	scheme, rest, _ := strings.Cut(address, "://")
	path, query, hasQuery := strings.Cut(rest, "?")
	if at := strings.LastIndexByte(path, '@'); at >= 0 && !strings.Contains(path, ":"+removed+"@") {
		path = removed + path[at:]
	}
	if hasQuery {
		path += "?" + query
	}
	return scheme + "://" + path
}

// config is the file as it stands, without what may be secret in it: most
// secrets are in files of their own by design.
func (p *packer) config() ([]byte, error) {
	if p.a.Env.Config.Path == "" {
		return []byte("# this configuration was not read from a file\n"), nil
	}
	b, err := os.ReadFile(p.a.Env.Config.Path)
	if err != nil {
		return nil, err
	}
	return []byte(withoutSecrets(string(b))), nil
}

func (p *packer) rivers() ([]byte, error) {
	type river struct {
		Reach coldseam.Reach    `json:"reach"`
		Edits []store.ReachEdit `json:"edits"`
	}
	reaches, err := p.a.Env.DB.Reaches(p.ctx)
	if err != nil {
		return nil, err
	}
	out := []river{}
	for _, r := range reaches {
		edits, err := p.a.Env.DB.ReachEdits(p.ctx, r.ID)
		if err != nil {
			return nil, err
		}
		out = append(out, river{r, edits})
	}
	return json.MarshalIndent(out, "", "  ")
}

func (p *packer) spots() ([]byte, error) {
	reaches, err := p.a.Env.DB.Reaches(p.ctx)
	if err != nil {
		return nil, err
	}
	num := func(v *float64, f float64) string {
		if v == nil {
			return ""
		}
		return fmt.Sprintf("%.1f", *v/f)
	}

	var rows [][]string
	for _, r := range reaches {
		for _, s := range r.Spots {
			rows = append(rows, []string{string(r.ID), s.ID, s.Name, string(s.Kind),
				num(s.DepthRefM, coldseam.MetrePerFoot), dateText(s.Sounded), s.Bed,
				num(s.FloatMS, coldseam.MetrePerFoot), dateText(s.FloatOn)})
		}
	}

	return csvTable([]string{"reach", "spot", "name", "kind", "depth_ft", "sounded", "bed", "float_ft_per_s",
		"float_on"}, rows)
}

func dateText(d coldseam.Date) string {
	if d.IsZero() {
		return ""
	}
	return d.String()
}

func (p *packer) limits() ([]byte, error) {
	t := p.a.Env.Table
	var rows [][]string
	for _, r := range verdict.Thresholds() {
		rows = append(rows, []string{r.Key, r.Name, r.Unit, fmt.Sprint(t.Value(r.Key)), fmt.Sprint(r.Default),
			t.Reasons[r.Key], r.Source})
	}
	return csvTable([]string{"key", "what", "unit", "value", "shipped", "reason", "source"}, rows)
}

func (p *packer) history() ([]byte, error) {
	edits, err := p.a.Env.DB.ThresholdEdits(p.ctx, "")
	if err != nil {
		return nil, err
	}
	var rows [][]string
	for _, e := range edits {
		rows = append(rows, []string{e.At.UTC().Format(time.RFC3339), e.Key, setup.OrShipped(e.Old),
			setup.OrShipped(e.New), e.Who, e.Why})
	}
	return csvTable([]string{"at", "key", "old", "new", "who", "why"}, rows)
}

func (p *packer) confirmations() ([]byte, error) {
	words, err := p.a.Env.DB.Confirmations(p.ctx, "", time.Time{}, p.a.Env.Now())
	if err != nil {
		return nil, err
	}
	rows := make([][]string, len(words))
	for i, c := range words {
		rows[i] = []string{c.At.UTC().Format(time.RFC3339), string(c.Site), string(c.Param),
			c.From.UTC().Format(time.RFC3339), c.To.UTC().Format(time.RFC3339), c.Who, c.Why}
	}
	return csvTable([]string{"at", "gauge", "parameter", "from", "to", "who", "why"}, rows)
}

func (p *packer) rules() ([]byte, error) {
	reaches, err := p.a.Env.DB.Reaches(p.ctx)
	if err != nil {
		return nil, err
	}
	var rows [][]string
	for _, r := range reaches {
		for _, x := range r.Rules {
			var closed []string
			for _, d := range x.Closed {
				closed = append(closed, fmt.Sprintf("%02d-%02d..%02d-%02d", d.FromMonth, d.FromDay, d.ToMonth, d.ToDay))
			}
			rows = append(rows, []string{string(r.ID), string(x.Kind), x.Species, x.Text, strings.Join(closed, " "),
				x.Link, dateText(x.CheckedOn), x.CheckedBy})
		}
	}
	return csvTable([]string{"reach", "kind", "species", "text", "closed", "link", "checked_on", "checked_by"}, rows)
}

func (p *packer) feeds() ([]byte, error) {
	var rows [][]string
	for _, x := range p.a.Env.Config.Profiles {
		x = x.WithDefaults()
		var codes []string
		for _, s := range p.a.Env.Config.Sites {
			if s.Provider == x.Name {
				codes = append(codes, s.Code)
			}
		}
		key := "no"
		if x.KeyFile != "" {
			key = "yes"
		}
		rows = append(rows, []string{x.Name, x.Provider, x.Format, withoutSecrets(x.BaseURL), key,
			strings.Join(codes, " "), x.Licence, x.Attribution})
	}
	return csvTable([]string{"profile", "agency", "format", "address", "key", "stations", "licence", "attribution"},
		rows)
}

func (p *packer) keys() ([]byte, error) {
	var rows [][]string
	for _, f := range p.a.Env.Config.KeyFiles() {
		if f.Rotate != "" {
			rows = append(rows, []string{f.What, f.Path, f.Rotate})
		}
	}
	if p.a.Env.Config.DatabaseURL != "" {
		rows = append(rows, []string{"database_url", "the database's own",
			"change the role's password there, then in ~/.pgpass"})
	}
	return csvTable([]string{"key", "file", "what changing it does"}, rows)
}

func (p *packer) drill() ([]byte, error) {
	return []byte(`# Restore drill: half an hour, once before each season

1. Take the newest file of ` + p.a.Env.Config.Backup.Dir + ` to another machine that has the program and the Postgres server package.
2. ` + "`coldseam restore FILE --drill`" + `: restored into a database that goes away again, every table compared. If this fails, take an older file and say so.
3. ` + "`coldseam restore FILE --state-dir /tmp/drill --files-to /tmp/drill-config`" + `. It fills a new database and compares every table.
   Sending is held in the restored copy. It prints the last edition.
4. In /tmp/drill-config/coldseam.toml set state_dir = "/tmp/drill" and the paths of the keys to /tmp/drill-config.
5. ` + "`coldseam --config /tmp/drill-config/coldseam.toml check --offline`" + `: sending held, and nothing else that was well before.
6. ` + "`coldseam --config /tmp/drill-config/coldseam.toml brief`" + `: this morning, from the restored data.
7. Write down the day and the minutes it took. Delete both directories: they hold keys and members.

In earnest: the same on the new machine with its own paths; move the domain's address there; ` + "`coldseam check`" + `;
then ` + "`coldseam brief --release --reason \"restored\"`" + `. Members whose mail of the day may have gone out already get none that day.
Who was erased (subscriber forget) after the backup must be erased again.
`), nil
}

func (p *packer) dictionary() ([]byte, error) {
	ms, err := p.a.Env.DB.Dictionary(p.ctx)
	if err != nil {
		return nil, err
	}
	return []byte(store.DictionaryText(ms)), nil
}
