package recap

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/notify/web"
	"example.org/coldseam/store"
)

// Command writes a season in one page, and opens it to questions in SQL.
type Command struct {
	Season      int      `help:"The year; default the newest with a trip or a brief."`
	Reach       string   `help:"One reach; default the whole club." aliases:"river"`
	Out         string   `help:"Folder for the files." type:"path" placeholder:"DIR"`
	CSV         bool     `help:"Print the table for spreadsheets; with --out write only the forms asked for." name:"csv"`
	Text        bool     `help:"Print plain text."`
	HTML        bool     `help:"Print the page." name:"html"`
	Units       string   `help:"us or metric; default the club's." enum:",us,metric" default:""`
	SQL         bool     `help:"Open psql on schema season as the reader, read only; arguments after -- go to psql." name:"sql"`
	Dictionary  bool     `help:"Print what every view and column means."`
	RunNotebook string   `name:"run" help:"Run the SQL of a book (Markdown or HTML) as the reader and write tables and charts beneath it." type:"existingfile" placeholder:"FILE"`
	Export      string   `help:"Write every view of the season as CSV and Parquet, as a data package." type:"path" placeholder:"DIR"`
	Args        []string `arg:"" optional:"" help:"For psql, after --."`
}

// Run writes the recap, or does one of the others.
func (c *Command) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	if len(c.Args) > 0 && !c.SQL {
		return env.Fail(2, fmt.Sprintf("%q: recap takes arguments only with --sql, for psql", c.Args[0]))
	}
	e, err := openReader(ctx, s, g)
	if err != nil {
		return err
	}
	defer e.Close()
	return c.With(ctx, s, &Season{e})
}

func openReader(ctx context.Context, s *env.Streams, g *env.Globals) (*env.Env, error) {
	cfg, err := config.Load(g.Config)
	if err != nil {
		return nil, env.Fail(2, err.Error())
	}
	return env.Open(ctx, cfg, env.Options{Log: env.NewLogger(s.Err, slog.LevelWarn)})
}

// With runs the command on an open season.
func (c *Command) With(ctx context.Context, s *env.Streams, a *Season) error {
	switch {
	case c.SQL:
		return c.psql(ctx, s, a)
	case c.Dictionary:
		ms, err := a.DB.Dictionary(ctx)
		if err != nil {
			return err
		}
		_, err = io.WriteString(s.Out, store.DictionaryText(ms))
		return err
	}
	if err := a.DB.PublishTrips(ctx); err != nil {
		return err
	}
	switch {
	case c.RunNotebook != "":
		return a.RunNotebook(ctx, c.RunNotebook, c.Season, coldseam.ReachID(c.Reach))
	case c.Export != "":
		return a.Export(ctx, c.Export)
	}

	r, err := a.Recap(ctx, c.Season, coldseam.ReachID(c.Reach))
	if errors.Is(err, coldseam.ErrNotFound) {
		return env.Fail(1, err.Error())
	}
	if err != nil {
		return err
	}

	return c.write(s.Out, a, r)
}

// form is one way to write a recap.
type form struct {
	ext   string
	asked bool
	write func(io.Writer) error
}

func (c *Command) write(w io.Writer, a *Season, r web.Recap) error {
	units := c.Units
	if units == "" {
		units = a.Config.Club.Units
	}
	forms := []form{
		{".html", c.HTML, func(w io.Writer) error { return web.RecapHTML(w, a.Config.Club.Name, r, units) }},
		{".txt", c.Text, func(w io.Writer) error { return web.RecapText(w, r, units) }},
		{".csv", c.CSV, func(w io.Writer) error { return web.RecapCSV(w, r) }},
	}

	some := c.HTML || c.Text || c.CSV
	if c.Out == "" && some {
		for _, f := range forms {
			if f.asked {
				if err := f.write(w); err != nil {
					return err
				}
			}
		}
		return nil
	}

	dir := c.Out
	if dir == "" {
		dir = "."
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}

	for _, f := range forms {
		if some && !f.asked {
			continue
		}
		path := filepath.Join(dir, recapName(r, c.Reach)+f.ext)
		var b bytes.Buffer
		if err := f.write(&b); err != nil {
			return err
		}
		if err := os.WriteFile(path, b.Bytes(), 0o644); err != nil {
			return err
		}
		fmt.Fprintln(w, path)
	}

	return nil
}

// fileUnsafe is everything but what is plain in a file name.
var fileUnsafe = regexp.MustCompile(`[^a-z0-9]+`)

func recapName(r web.Recap, reach string) string {
	name := "recap-" + strconv.Itoa(r.Year)
	if reach != "" {
		name += "-" + strings.Trim(fileUnsafe.ReplaceAllString(strings.ToLower(reach), "-"), "-")
	}
	return name
}

// psql opens the season as a reader. The role itself is read only and sees
// schema season alone; what psql is told on the command line changes nothing
// about that.
func (c *Command) psql(ctx context.Context, s *env.Streams, a *Season) error {
	dsn, err := a.readerDSN()
	if err != nil {
		return err
	}

	bin, err := a.findPsql()
	if err != nil {
		fmt.Fprintf(s.Out, "psql is not installed. Any tool that reads Postgres can connect with:\n%s\n", dsn)
		if a.PgBin() != "" {
			fmt.Fprintln(s.Out, "while the service runs; this private database stops with this command.")
		}
		return nil
	}

	if err := onlyAsked(c.Args); err != nil {
		return env.Fail(2, err.Error())
	}

	// The name of the database comes last: psql then takes no other from its arguments.
	cmd := exec.CommandContext(ctx, bin, append(append([]string{"--no-psqlrc"}, c.Args...), "--dbname="+dsn)...)
	cmd.Stdin, cmd.Stdout, cmd.Stderr = os.Stdin, s.Out, s.Err
	cmd.Env = append(os.Environ(), "PGAPPNAME=coldseam recap")
	err = cmd.Run()
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		return env.ExitCode{Code: max(exit.ExitCode(), 1)}
	}

	return err
}

// psqlShort are the options of psql by letter; a colon follows those that take a
// value [source: psql --help, version 15]. The ones that say where and as whom to
// connect are not among them.
const psqlShort = "aAbc:eEf:F:HL:no:P:qR:sStT:v:VxXz01?"

// psqlConnect are the long options that say where and as whom to connect, which
// psql takes cut short too.
var psqlConnect = []string{"dbname", "host", "port", "username", "password", "no-password"}

// connectCommand is psql's own command to connect anew.
var connectCommand = regexp.MustCompile(`(?i)\\c(onnect)?\b`)

// onlyAsked refuses arguments of psql that would make it connect as somebody
// other than the reader.
func onlyAsked(args []string) error {
	refuse := func(arg string) error {
		return fmt.Errorf("%q would connect elsewhere or as somebody else; recap --sql is always %s: %w",
			arg, store.Reader, coldseam.ErrInvalid)
	}

	for i := 0; i < len(args); i++ {
		arg := args[i]
		if long, ok := strings.CutPrefix(arg, "--"); ok {
			name, value, _ := strings.Cut(long, "=")
			for _, no := range psqlConnect {
				if strings.HasPrefix(no, name) { // "--" alone too: what follows is a database
					return refuse(arg)
				}
			}
			if connectCommand.MatchString(value) {
				return refuse(arg)
			}
			continue
		}

		if len(arg) < 2 || arg[0] != '-' {
			afterLong := i > 0 && strings.HasPrefix(args[i-1], "--") && !strings.Contains(args[i-1], "=")
			if afterLong && !connectCommand.MatchString(arg) {
				continue // the value of a long option, or a name that the reader's own then overrides
			}
			return refuse(arg)
		}

		for k := 1; k < len(arg); k++ {
			at := strings.IndexByte(psqlShort, arg[k])
			if at < 0 || arg[k] == ':' {
				return refuse(arg)
			}

			if at+1 < len(psqlShort) && psqlShort[at+1] == ':' {
				value := arg[k+1:]
				if value == "" && i+1 < len(args) {
					i++
					value = args[i]
				}
				if connectCommand.MatchString(value) {
					return refuse(arg)
				}
				break
			}
		}
	}

	return nil
}

// readerDSN is where the reader connects.
func (bk *Season) readerDSN() (string, error) {
	return readerURL(env.OrElse(bk.Config.ReadersURL, bk.DB.Pool().Config().ConnString()))
}

// readerURL is the database as the reader: the private one by its socket; of
// an admin's own the address without user and password, which the admin sets.
func readerURL(dsn string) (string, error) {
	u, err := url.Parse(dsn)
	if err != nil {
		// the parser's text may hold the password
		return "", fmt.Errorf("database url cannot be read: %w", coldseam.ErrInvalid)
	}
	if u.Scheme != "postgres" && u.Scheme != "postgresql" {
		return "", fmt.Errorf("database_url is not a URL: connect by hand as %s: %w", store.Reader, coldseam.ErrInvalid)
	}
	if u.User.Username() == store.Reader {
		return dsn, nil // of readers_url, with what it needs
	}

	if q := u.Query(); q.Has("user") {
		q.Set("user", store.Reader)
		q.Del("password")
		u.RawQuery = q.Encode()
		u.User = nil
	} else {
		q.Del("password")
		u.RawQuery = q.Encode()
		u.User = url.User(store.Reader)
	}

	return u.String(), nil
}

// findPsql looks where programs are and beside the private server's own.
func (bk *Season) findPsql() (string, error) {
	bin, err := exec.LookPath("psql")
	if own := bk.PgBin(); err != nil && own != "" {
		return exec.LookPath(filepath.Join(own, "psql"))
	}
	return bin, err
}
