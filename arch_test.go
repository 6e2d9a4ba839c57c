package coldseam_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"sort"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

const module = "example.org/coldseam"

// rule is one row of the import table: what the non-test code of a folder may
// import from this module and from outside, and what it never may.
type rule struct {
	own     []string // prefixes inside the module
	outside []string // module path prefixes
	never   []string // exact standard-library paths
}

var imports = map[string]rule{
	".": {never: []string{"net/http", "os", "log", "log/slog", "database/sql"}},
	"ingest": {
		own: []string{"", "ingest"},
		outside: []string{"github.com/go-resty/resty/v2", "golang.org/x/net/html/charset", "golang.org/x/time/rate",
			"github.com/theory/jsonpath"},
	},
	"forecast": {
		own:     []string{"", "forecast"},
		outside: []string{"gonum.org/v1/gonum"},
		never: []string{"net/http", "os", "log", "log/slog", "context", "math/rand", "database/sql", "sync",
			"sync/atomic"},
	},
	"store": {
		own: []string{"", "store"},
		outside: []string{"github.com/jackc/pgx/v5", "github.com/jackc/tern/v2/migrate", "github.com/riverqueue/river",
			"github.com/stretchr/testify"},
		never: []string{"net/http"},
	},
	"notify": {
		own: []string{"", "notify"},
		outside: []string{"github.com/emersion/go-msgauth", "github.com/emersion/go-smtp",
			"github.com/emersion/go-sasl", "github.com/emersion/go-message", "github.com/arran4/golang-ical",
			"gonum.org/v1/plot",
			"golang.org/x/image"},
		never: []string{"net/smtp", "database/sql", module + "/notify/browsertest"},
	},
	// The harness of the tests: no program may import it.
	"cmd/internal/clubtest": {own: []string{"", "ingest", "notify", "store", "cmd/internal"},
		outside: []string{"github.com/jackc/pgx/v5", "github.com/stretchr/testify"}},
	// The browser of the tests: no program may import it.
	"notify/browsertest": {outside: []string{"github.com/chromedp/chromedp", "github.com/chromedp/cdproto",
		"github.com/stretchr/testify"}},
	// The files of an installation that the program holds too.
	"deploy": {},
	"cmd": {
		own: []string{"", "ingest", "forecast", "store", "notify", "deploy", "cmd"},
		outside: []string{"github.com/alecthomas/kong", "github.com/BurntSushi/toml", "github.com/robfig/cron/v3",
			"github.com/parquet-go/parquet-go",
			"github.com/riverqueue/river", "github.com/prometheus/client_golang"},
		never: []string{module + "/notify/browsertest", module + "/cmd/internal/clubtest"},
	},
}

// application is the order of the packages under cmd/internal: what the
// non-test code of each may import of the others. The commands in cmd/coldseam
// may import them all.
var application = map[string][]string{
	"config":   {},
	"democlub": {},
	"env":      {"config"},
	"triplog":  {"env"},
	"feeds":    {"config", "env"},
	"mailing":  {"config", "env"},
	"recap":    {"config", "env"},
	"morning":  {"config", "env", "mailing"},
	"parts":    {"config", "env", "feeds", "mailing", "morning", "recap"},
	"club":     {"config", "env", "feeds", "mailing", "morning", "recap", "parts"},
	"doctor":   {"config", "env", "feeds", "mailing", "morning", "parts"},
	"setup":    {"config", "env", "feeds", "mailing", "morning", "parts", "triplog"},
	"admin":    {"config", "env", "mailing", "parts", "setup"},
	"clubtest": {"club", "config", "democlub", "env", "parts", "triplog"}, // for tests
}

// direct is the list of direct requirements of go.mod; a new one needs a
// reason in the commit that adds it here.
var direct = []string{
	"github.com/BurntSushi/toml",
	"github.com/alecthomas/kong",
	"github.com/arran4/golang-ical",
	"github.com/chromedp/cdproto", // tests only: part of chromedp's interface
	"github.com/chromedp/chromedp",
	"github.com/emersion/go-message",
	"github.com/emersion/go-msgauth",
	"github.com/emersion/go-sasl", // part of go-smtp's interface
	"github.com/emersion/go-smtp",
	"github.com/go-resty/resty/v2",
	"github.com/jackc/pgx/v5",
	"github.com/jackc/tern/v2",
	"github.com/parquet-go/parquet-go", // the book's export
	"github.com/prometheus/client_golang",
	"github.com/riverqueue/river",
	"github.com/riverqueue/river/riverdriver/riverpgxv5",
	"github.com/riverqueue/river/rivertype", // part of river's interface
	"github.com/robfig/cron/v3",
	"github.com/stretchr/testify",
	"github.com/theory/jsonpath", // RFC 9535; an open standard without code or arithmetic
	"golang.org/x/image",         // fonts of gonum/plot's charts
	"golang.org/x/net",
	"golang.org/x/time",
	"gonum.org/v1/gonum",
	"gonum.org/v1/plot",
	"pgregory.net/rapid",
}

func TestImportDirections(t *testing.T) {
	t.Parallel()
	seen := 0
	err := filepath.WalkDir(".", func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}

		if d.IsDir() {
			if name := d.Name(); path != "." && (strings.HasPrefix(name, ".") || name == "testdata" || path == "tools") {
				return filepath.SkipDir
			}
			return nil
		}

		if !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return nil
		}
		src, err := os.ReadFile(path) // so that go test notices a change of the file
		if err != nil {
			return err
		}
		seen++
		checkFile(t, path, src)
		return nil
	})
	require.NoError(t, err)
	require.Greater(t, seen, 5)
}

func checkFile(t *testing.T, path string, src []byte) {
	t.Helper()
	dir := filepath.ToSlash(filepath.Dir(path))
	room := strings.SplitN(dir, "/", 2)[0]
	r, ok := imports[dir] // a folder with a rule of its own
	if !ok {
		r, ok = imports[room]
	}
	if !ok {
		t.Errorf("%s: folder %q is not in the import table", path, room)
		return
	}

	fset := token.NewFileSet()
	f, err := parser.ParseFile(fset, path, src, 0)
	require.NoError(t, err)
	ast.Inspect(f, func(n ast.Node) bool {
		if g, ok := n.(*ast.GoStmt); ok && room == "forecast" {
			t.Errorf("%s: the forecast starts no goroutine", fset.Position(g.Pos()))
		}
		return true
	})

	for _, im := range f.Imports {
		p, err := strconv.Unquote(im.Path.Value)
		require.NoError(t, err)
		if !r.allows(p) {
			t.Errorf("%s: %s may not import %s", fset.Position(im.Pos()), room, p)
		}
	}

	checkApplication(t, dir, f)
	if room == "forecast" && strings.Contains(string(src), "time."+"Now(") {
		t.Errorf("%s: forecast has no clock", path)
	}
}

// checkApplication holds a file of a package under cmd/internal against the
// order of the application.
func checkApplication(t *testing.T, dir string, f *ast.File) {
	t.Helper()
	const under = "cmd/internal/"
	name, ok := strings.CutPrefix(dir, under)
	if !ok {
		return
	}
	may, ok := application[name]
	if !ok {
		t.Errorf("%s: not in the order of the application", dir)
	}
	for _, im := range f.Imports {
		p, err := strconv.Unquote(im.Path.Value)
		require.NoError(t, err)
		if other, ok := strings.CutPrefix(p, module+"/"+under); ok && !slices.Contains(may, other) {
			t.Errorf("%s may not import %s", dir, other)
		}
	}
}

func (r rule) allows(p string) bool {
	for _, n := range r.never {
		if p == n {
			return false
		}
	}

	if p == module {
		return len(r.own) > 0
	}
	if rest, ok := strings.CutPrefix(p, module+"/"); ok {
		for _, o := range r.own {
			if o != "" && (rest == o || strings.HasPrefix(rest, o+"/")) {
				return true
			}
		}
		return false
	}

	if !strings.Contains(strings.SplitN(p, "/", 2)[0], ".") {
		return true // standard library
	}
	for _, o := range r.outside {
		if p == o || strings.HasPrefix(p, o+"/") {
			return true
		}
	}

	return false
}

func TestDirectRequirements(t *testing.T) {
	t.Parallel()
	mod, err := os.ReadFile("go.mod")
	require.NoError(t, err)
	var got []string
	for _, line := range strings.Split(string(mod), "\n") {
		f := strings.Fields(line)
		if len(f) >= 2 && strings.Contains(f[0], "/") && strings.HasPrefix(f[1], "v") &&
			!strings.Contains(line, "// indirect") {
			got = append(got, f[0])
		}
	}
	sort.Strings(got)
	want := append([]string(nil), direct...)
	sort.Strings(want)
	for _, g := range got {
		require.Contains(t, want, g, "go.mod has a direct requirement that is not in the list")
	}
}

// worded are the files under forecast that may hold words: data with its sources.
var worded = map[string]string{"forecast/verdict/table.go": "the limits of the decision: name, default and source of each"}

// errorWords are the functions whose argument is the text of an error.
var errorWords = map[string]bool{"Errorf": true, "New": true, "panic": true, "bad": true}

var englishWord = regexp.MustCompile(`[A-Za-z]{2,}`)

// TestForecastHoldsNoSentences: what forecast says are codes and numbers, package
// notify words them. No string there, joined ones counted together, has three or
// more words, but for errors and the files of worded.
func TestForecastHoldsNoSentences(t *testing.T) {
	t.Parallel()
	err := filepath.WalkDir("forecast", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") ||
			worded[filepath.ToSlash(path)] != "" {
			return err
		}
		src, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		for _, s := range sentencesIn(t, path, src) {
			t.Errorf("%s: want a code, and its words in notify", s)
		}
		return nil
	})
	require.NoError(t, err)
	src := "package p\nvar a = \"gusts \" + b + \" over the\"\nvar c = errors.New(\"no such river here\")\nvar d = \"one two three\"\n"
	require.Len(t, sentencesIn(t, "p.go", []byte(src)), 2, "the test sees what it is for")
}

// sentencesIn lists the strings of three or more words in a file.
func sentencesIn(t *testing.T, path string, src []byte) []string {
	t.Helper()
	fset := token.NewFileSet()
	f, err := parser.ParseFile(fset, path, src, 0)
	require.NoError(t, err)
	var out []string
	look := func(n ast.Node, text string) {
		words := 0
		for _, w := range strings.Fields(text) {
			words += min(len(englishWord.FindAllString(w, 1)), 1)
		}
		if words >= 3 {
			out = append(out, fset.Position(n.Pos()).String()+": "+text)
		}
	}

	ast.Inspect(f, func(n ast.Node) bool {
		switch x := n.(type) {
		case *ast.ImportSpec, *ast.Field:
			return false
		case *ast.CallExpr:
			name := ""
			switch fun := x.Fun.(type) {
			case *ast.Ident:
				name = fun.Name
			case *ast.SelectorExpr:
				name = fun.Sel.Name
			}
			return !errorWords[name]
		case *ast.BinaryExpr:
			if x.Op == token.ADD {
				look(x, literals(x))
			}
			return x.Op != token.ADD
		case *ast.BasicLit:
			look(x, literals(x))
		}

		return true
	})

	return out
}

// literals joins the strings of an expression.
func literals(e ast.Node) string {
	var s []string
	ast.Inspect(e, func(n ast.Node) bool {
		if l, ok := n.(*ast.BasicLit); ok && l.Kind == token.STRING {
			text, _ := strconv.Unquote(l.Value)
			s = append(s, text)
		}
		return true
	})
	return strings.Join(s, " ")
}
