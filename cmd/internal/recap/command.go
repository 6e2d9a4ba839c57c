package recap

import (
	"cmp"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
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
	"example.org/coldseam/deploy"
	"example.org/coldseam/store"
)

// Command answers the books of a season, and opens it to questions in SQL.
type Command struct {
	Season      int      `help:"The year; default the newest with a trip or a brief."`
	Reach       string   `help:"What :'reach' of a book stands for; default the club's first." aliases:"river"`
	Out         string   `help:"Folder of the shipped books; default this one." type:"path" placeholder:"DIR"`
	SQL         bool     `help:"Open psql on schema season as the reader, read only; arguments after -- go to psql." name:"sql"`
	Dictionary  bool     `help:"Print what every view and column means."`
	RunNotebook string   `name:"run" help:"Run the SQL of a book of your own (Markdown or HTML) as the reader and write tables and charts beneath it." type:"existingfile" placeholder:"FILE"`
	Export      string   `help:"Write every view of the season as CSV and Parquet, as a data package." type:"path" placeholder:"DIR"`
	Args        []string `arg:"" optional:"" help:"For psql, after --."`
}

// Run answers the shipped books, or does one of the others.
func (c *Command) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	if len(c.Args) > 0 && !c.SQL {
		return env.Fail(2, fmt.Sprintf("%q: recap takes arguments only with --sql, for psql", c.Args[0]))
	}
	e, err := openReader(ctx, s, g)
	if err != nil {
		return err
	}
	defer e.Close()
	return c.With(ctx, s, NewSeason(e))
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

	return c.shipped(ctx, s.Out, a)
}

// shipped answers the books of the program, each in a file of its season in
// which the writer's own words stand from one time to the next.
func (c *Command) shipped(ctx context.Context, w io.Writer, a *Season) error {
	year, reach, err := a.of(ctx, c.Season, coldseam.ReachID(c.Reach))
	if errors.Is(err, coldseam.ErrNotFound) {
		return env.Fail(1, err.Error())
	}
	if err != nil {
		return err
	}
	if err := os.MkdirAll(cmp.Or(c.Out, "."), 0o755); err != nil {
		return err
	}

	for _, b := range []struct{ name, text string }{
		{fmt.Sprintf("yearbook-%d.html", year), deploy.Yearbook},
		{fmt.Sprintf("cookbook-%d-%s.md", year, url.PathEscape(string(reach))), blank(deploy.Cookbook)},
	} {
		path := filepath.Join(cmp.Or(c.Out, "."), b.name)
		if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
			err = os.WriteFile(path, []byte(b.text), 0o644)
			if err != nil {
				return err
			}
		}
		if err := a.RunNotebook(ctx, path, year, reach); err != nil {
			return err
		}
		fmt.Fprintln(w, path)
	}
	return nil
}

// psql opens the season as a reader. The role itself is read only and sees
// schema season alone; psql's own commands, which could connect as somebody else
// or run a program, are off from before the first line on.
func (c *Command) psql(ctx context.Context, s *env.Streams, a *Season) error {
	dsn, err := a.readerDSN()
	if err != nil {
		return err
	}
	bin, err := a.findPsql()
	if err != nil {
		fmt.Fprintf(s.Out, "psql is not installed. Any tool that reads Postgres can connect with:\n%s\n", dsn)
		if a.PgBin != "" {
			fmt.Fprintln(s.Out, "while the service runs; this private database stops with this command.")
		}
		return nil
	}
	args, err := onlyAsked(c.Args)
	if err != nil {
		return env.Fail(2, err.Error())
	}
	if err := restricts(ctx, bin); err != nil {
		return env.Fail(1, err.Error())
	}

	first, err := c.firstLines(ctx, a)
	if err != nil {
		return err
	}
	rc, w, err := os.Pipe()
	if err != nil {
		return err
	}
	defer rc.Close()
	_, err = io.WriteString(w, first)
	if cerr := w.Close(); err != nil || cerr != nil {
		return errors.Join(err, cerr)
	}

	// The name of the database comes last: psql then takes no other from its arguments.
	cmd := exec.CommandContext(ctx, bin, append(args, "--dbname="+dsn)...)
	cmd.Stdin, cmd.Stdout, cmd.Stderr = os.Stdin, s.Out, s.Err
	cmd.ExtraFiles = []*os.File{rc}
	cmd.Env = append(ownEnviron(), "PGAPPNAME=coldseam recap", "PSQLRC=/dev/fd/3")
	err = cmd.Run()
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		return env.ExitCode{Code: max(exit.ExitCode(), 1)}
	}
	return err
}

// firstLines are what psql reads before all else: the variables of the books,
// then that its own commands are off. The key that turns them on is told to nobody.
func (c *Command) firstLines(ctx context.Context, a *Season) (string, error) {
	year, reach, err := a.of(ctx, c.Season, coldseam.ReachID(c.Reach))
	if errors.Is(err, coldseam.ErrNotFound) && c.Season == 0 && c.Reach == "" {
		err = nil // nothing is told yet: the views are there all the same
	}
	if err != nil {
		return "", env.Fail(1, err.Error())
	}
	said := ""
	if len(c.Args) == 0 {
		said = "\\echo 'Schema season, read only: SELECT * FROM dictionary; says what it holds. psql commands are off but for its end, Ctrl-D.'\n"
	}
	quoted := strings.ReplaceAll(string(reach), "'", "''") // an id holds no backslash
	return fmt.Sprintf("\\set season %d\n\\set reach '%s'\n%s\\restrict %s\n", year, quoted, said, rand.Text()), nil
}

// restrictFrom are the versions of psql, by major, that can turn their commands
// off [source: release notes of PostgreSQL, August 2025].
var restrictFrom = map[int]int{13: 22, 14: 19, 15: 14, 16: 10, 17: 6}

var psqlVersion = regexp.MustCompile(`(\d+)\.(\d+)`)

func restricts(ctx context.Context, bin string) error {
	out, err := exec.CommandContext(ctx, bin, "--version").Output()
	if err != nil {
		return fmt.Errorf("%s: %w", bin, err)
	}
	m := psqlVersion.FindStringSubmatch(string(out))
	if m == nil {
		return nil // of a major that is not released: newer
	}
	major, _ := strconv.Atoi(m[1])
	minor, _ := strconv.Atoi(m[2])
	if from, known := restrictFrom[major]; major < 13 || known && minor < from {
		return fmt.Errorf("psql %s cannot turn off its commands that connect elsewhere, want 13.22, 14.19, 15.14, 16.10, 17.6 or newer; recap --run needs none: %w",
			m[0], coldseam.ErrUnavailable)
	}
	return nil
}

// ownEnviron is the environment without what sends psql elsewhere.
func ownEnviron() (out []string) {
	for _, e := range os.Environ() {
		if !strings.HasPrefix(e, "PG") && !strings.HasPrefix(e, "PSQLRC=") || strings.HasPrefix(e, "PGPASS") || strings.HasPrefix(e, "PGSSL") {
			out = append(out, e)
		}
	}
	return out
}

// psqlShort are the options of psql by letter; a colon follows those that take a
// value [source: psql --help, version 15]. The ones that say where and as whom to
// connect are not among them.
const psqlShort = "aAbc:eEf:F:HL:no:P:qR:sStT:v:VxXz01?"

// psqlConnect are the long options that say where and as whom to connect, which
// psql takes cut short too.
var psqlConnect = []string{"dbname", "host", "port", "username", "password", "no-password"}

// runsProgram is an output to a program, or a prompt that is made by one.
var runsProgram = regexp.MustCompile(`^\s*\||(?i)^prompt[123]=`)

// onlyAsked refuses arguments of psql that would make it connect as somebody
// other than the reader or run a program, and leaves out the one that would keep
// it from reading our first lines.
func onlyAsked(args []string) (kept []string, err error) {
	refuse := func(arg string) ([]string, error) {
		return nil, fmt.Errorf("%q would connect elsewhere, as somebody else or by a program; recap --sql is always %s: %w",
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
			if runsProgram.MatchString(value) {
				return refuse(arg)
			}
			if !strings.HasPrefix("no-psqlrc", name) {
				kept = append(kept, arg)
			}
			continue
		}

		if len(arg) < 2 || arg[0] != '-' {
			afterLong := i > 0 && strings.HasPrefix(args[i-1], "--") && !strings.Contains(args[i-1], "=")
			if !afterLong || runsProgram.MatchString(arg) {
				return refuse(arg)
			}
			kept = append(kept, arg) // the value of a long option, or a name that the reader's own then overrides
			continue
		}

		out := "-"
		for k := 1; k < len(arg); k++ {
			at := strings.IndexByte(psqlShort, arg[k])
			if at < 0 || arg[k] == ':' {
				return refuse(arg)
			}
			if arg[k] != 'X' {
				out += arg[k : k+1]
			}
			if at+1 == len(psqlShort) || psqlShort[at+1] != ':' {
				continue
			}

			value := arg[k+1:]
			out += value
			if value == "" && i+1 < len(args) {
				i++
				value = args[i]
				kept = append(kept, out)
				out = value
			}
			if runsProgram.MatchString(value) {
				return refuse(arg)
			}
			break
		}
		if out != "-" {
			kept = append(kept, out)
		}
	}

	return kept, nil
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
	if own := bk.PgBin; err != nil && own != "" {
		return exec.LookPath(filepath.Join(own, "psql"))
	}
	return bin, err
}
