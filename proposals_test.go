package coldseam_test

import (
	"bufio"
	"bytes"
	"flag"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write the golden files anew")

// proposalGroups says for each folder what would settle its numbers.
var proposalGroups = []struct{ folder, title, settles string }{
	{"forecast/verdict", "The decision",
		"`coldseam season --compare` over several rivers, and a log of trips by morning."},
	{"forecast/trust", "Trust in readings",
		"Sub-daily records with known faults on rivers other than the one they were tuned on."},
	{"forecast/ice", "Ice", "Dated ice reports or photographs, above all where no thermometer is."},
	{"forecast/flowlimit", "Flow limits", "A club's record of launches that were turned back, by flow."},
	{"forecast/flow", "Forecasts of flow", "`coldseam hindcast` on rivers left out when the number was set."},
	{"forecast/thermal", "Forecasts of water temperature",
		"`coldseam hindcast` on rivers left out when the number was set."},
	{"forecast/ensemble", "Daily ensembles", "`coldseam hindcast` on rivers left out when the number was set."},
	{"forecast/run", "The spawning run", "`coldseam runclock --counts` on counts of fish, five seasons at least."},
	{"forecast/jig", "Jig and line", "The club's log of what held bottom: four lines with both outcomes at a spot."},
	{"forecast", "The morning put together", "`coldseam season --compare` over several rivers."},
	{"ingest", "Feeds", "Answers of services that were not recorded yet, and a season of polling."},
	{"store", "Database", "The long fault runs (`make soak`, `make proof`) on other machines."},
	{"notify", "Mail and pages", "Members who say what they looked for and did not find."},
	{"cmd", "Service and commands", "A season of an admin's evenings."},
	{"", "Vocabulary", "As the group that uses it."},
}

// TestGoldenProposals keeps the list of the numbers that are our own choice.
func TestGoldenProposals(t *testing.T) {
	t.Parallel()
	items := map[string][]string{}
	require.NoError(t, filepath.WalkDir(".", func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() || strings.HasSuffix(path, "_test.go") || !strings.HasSuffix(path, ".go") {
			return err
		}

		found, err := proposals(path)
		folder := filepath.ToSlash(filepath.Dir(path))
		for _, g := range proposalGroups {
			if g.folder == "" || folder == g.folder || strings.HasPrefix(folder, g.folder+"/") {
				items[g.folder] = append(items[g.folder], found...)
				break
			}
		}

		return err
	}))

	var b bytes.Buffer
	b.WriteString("# Numbers that are our own choice\n\n" +
		"Each is marked [proposal] where it stands; this list is made from the code by `make golden`. " +
		"Limits with a row in the table of the verdict stand in `forecast/verdict/thresholds.md`, those of a species in `forecast/run/species.csv`.\n")
	for _, g := range proposalGroups {
		if len(items[g.folder]) > 0 {
			fmt.Fprintf(&b, "\n## %s\n\nWhat would settle them: %s\n\n| file | what |\n|---|---|\n%s", g.title,
				g.settles, strings.Join(items[g.folder], ""))
		}
	}

	const file = "docs/decisions/proposals.md"
	if *update {
		require.NoError(t, os.WriteFile(file, b.Bytes(), 0o644))
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Equal(t, string(want), b.String(), "run make golden and read the difference")
}

var sentenceEnd = regexp.MustCompile(`[.;:] `)

// proposals are the rows of one file: the line of code for a mark beside code,
// else the sentence with the mark and the name declared below it.
func proposals(path string) ([]string, error) {
	src, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}

	var lines []string
	for s := bufio.NewScanner(bytes.NewReader(src)); s.Scan(); {
		lines = append(lines, s.Text())
	}
	fset := token.NewFileSet()
	f, err := parser.ParseFile(fset, path, src, parser.ParseComments)
	if err != nil {
		return nil, err
	}

	var out []string
	for _, c := range f.Comments {
		if !strings.Contains(c.Text(), "[proposal]") {
			continue
		}
		at := fset.Position(c.Pos())
		what := ""
		if code := strings.TrimSpace(lines[at.Line-1][:at.Column-1]); code != "" {
			what = "`" + strings.Join(strings.Fields(code), " ") + "` " +
				strings.TrimSpace(strings.ReplaceAll(c.Text(), "[proposal]", ""))
		} else {
			n := fset.Position(c.End()).Line
			what = declaredBelow(lines, n) + sentenceWith(c) + valuesBelow(lines, n)
		}

		what = strings.ReplaceAll(strings.Join(strings.Fields(what), " "), "|", "\\|")
		out = append(out, fmt.Sprintf("| %s | %s |\n", filepath.ToSlash(path), what))
	}

	return out, nil
}

// sentenceWith is the sentence of a comment that bears the mark, without it.
func sentenceWith(c *ast.CommentGroup) string {
	text := strings.Join(strings.Fields(c.Text()), " ")
	before, after, _ := strings.Cut(text, "[proposal]")
	if ends := sentenceEnd.FindAllStringIndex(before, -1); len(ends) > 0 {
		before = before[ends[len(ends)-1][1]:]
	}
	after, _, _ = strings.Cut(after, ". ")
	return strings.TrimSpace(before) + strings.TrimSuffix(after, ".")
}

// valuesBelow are the constants of the block that begins at line n.
func valuesBelow(lines []string, n int) string {
	if n >= len(lines) || strings.TrimSpace(lines[n]) != "const (" {
		return ""
	}

	var out []string
	for _, l := range lines[n+1:] {
		if strings.TrimSpace(l) == ")" {
			break
		}
		code, _, _ := strings.Cut(l, "//")
		if strings.Contains(code, "=") {
			out = append(out, "`"+strings.Join(strings.Fields(code), " ")+"`")
		}
	}
	return ": " + strings.Join(out, ", ")
}

var declares = regexp.MustCompile(`^\s*(?:const |var |func (?:\([^)]*\) )?|type )?([A-Za-z]\w*)\b([^{(]*)`)

// declaredBelow names what line n declares, with its value where that is short.
func declaredBelow(lines []string, n int) string {
	if n >= len(lines) {
		return ""
	}
	m := declares.FindStringSubmatch(lines[n])
	switch {
	case m == nil || m[1] == "const" || m[1] == "var" || m[1] == "package":
		return ""
	case strings.HasPrefix(strings.TrimSpace(m[2]), "=") && len(m[2]) < 40:
		return "`" + m[1] + " " + strings.TrimSpace(m[2]) + "` "
	}
	return "`" + m[1] + "` "
}
