package main

import (
	"fmt"
	"os"
	"os/exec"
	"strings"
	"testing"

	"github.com/alecthomas/kong"
	"github.com/stretchr/testify/require"
)

// commandTree is the command line as kong has it.
func commandTree(t *testing.T) *kong.Application {
	t.Helper()
	parser, err := kong.New(&cli{}, kong.Name("coldseam"), kong.Description(about))
	require.NoError(t, err)
	return parser.Model
}

// The man page and the completion of deploy/ are those of the command tree.
func TestGoldenManPageAndCompletion(t *testing.T) {
	t.Parallel()
	app := commandTree(t)
	for path, want := range map[string]string{"../../deploy/coldseam.1": manPage(app), "../../deploy/coldseam.bash": completion(app)} {
		if *update {
			require.NoError(t, os.WriteFile(path, []byte(want), 0o644))
		}
		got, err := os.ReadFile(path)
		require.NoError(t, err)
		require.Equal(t, want, string(got), "%s: go test ./cmd/coldseam -run TestGoldenManPage -update", path)
	}
}

// The page is one that the formatter takes without a word.
func TestManPageFormats(t *testing.T) {
	t.Parallel()
	groff, err := exec.LookPath("groff")
	if err != nil {
		t.Skip("no groff: the man page is not formatted")
	}
	out, err := exec.Command(groff, "-man", "-ww", "-z", "-Tutf8", "../../deploy/coldseam.1").CombinedOutput()
	require.NoError(t, err)
	require.Empty(t, string(out))
}

// What bash offers after some words is what the program knows there.
func TestCompletionOffersCommandsAndFlags(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		words []string
		want  string
		not   string
	}{
		{[]string{"coldseam", "pre"}, "preview", "check"},
		{[]string{"coldseam", "reach", ""}, "limit ice", "list"},
		{[]string{"coldseam", "reach", "limit", "confirm", "--cr"}, "--craft", "--code"},
		{[]string{"coldseam", "site", "add", "--lat", "45", "--co"}, "--code --config --counter", "--craft"},
		{[]string{"coldseam", "--config", "x", "sub"}, "subscriber", "serve"},
	} {
		script := `. ../../deploy/coldseam.bash; COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1)); _coldseam; echo "${COMPREPLY[*]}"`
		out, err := exec.Command("bash", append([]string{"-c", script, "bash"}, c.words...)...).CombinedOutput()
		require.NoError(t, err, string(out))
		for _, w := range strings.Fields(c.want) {
			require.Contains(t, strings.Fields(string(out)), w, "%v", c.words)
		}
		require.NotContains(t, strings.Fields(string(out)), c.not, "%v", c.words)
	}
}

// roff escapes text for the man macros.
func roff(s string) string {
	s = strings.NewReplacer(`\`, `\e`, "-", `\-`).Replace(s)
	if strings.HasPrefix(s, ".") || strings.HasPrefix(s, "'") {
		s = `\&` + s
	}
	return s
}

func manPage(app *kong.Application) string {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	line(`.\" Written by the test of the command tree: go test ./cmd/coldseam -run TestGoldenManPage -update`)
	line(`.TH COLDSEAM 1 "" "coldseam" "User Commands"`)
	line(".SH NAME\ncoldseam \\- river gauges to a go/no\\-go before dawn")
	line(".SH SYNOPSIS\n.B coldseam\n.I command\n.RI [ flags ]")
	line(".SH DESCRIPTION\n%s", roff(app.Help))
	line("A command that cannot do its work says what it found and what it wanted and ends with 1; one that was called")
	line("wrongly ends with 2.")
	line(".SH FLAGS OF EVERY COMMAND")
	flags(line, app.Flags)
	line(".SH COMMANDS")
	for _, n := range app.Leaves(true) {
		line(".SS %s", roff(strings.TrimPrefix(n.FullPath(), "coldseam ")))
		help := n.Help
		if help == "" {
			help = n.Parent.Help
		}
		line("%s", roff(help))
		for _, p := range n.Positional {
			line(".TP\n.I %s\n%s", roff(strings.ToUpper(p.Name)), roff(p.Help))
		}
		flags(line, n.Flags)
	}
	line(".SH FILES\n.TP\n.I /etc/coldseam/coldseam.toml\nthe configuration, every key explained")
	line(".TP\n.I /var/lib/coldseam\nthe private Postgres, keys and backups")
	line(".SH SEE ALSO\nThe admin's guide: /usr/share/doc/coldseam/ADMIN.md")
	return b.String()
}

func flags(line func(string, ...any), list []*kong.Flag) {
	for _, f := range list {
		if f.Hidden {
			continue
		}
		value := ""
		if !f.IsBool() {
			value = " " + roff(f.FormatPlaceHolder())
		}
		line(".TP\n.B %s%s\n%s", roff("--"+f.Name), value, roff(f.Help))
	}
}

// completion is a bash function that walks the words typed down the tree.
func completion(app *kong.Application) string {
	var b strings.Builder
	b.WriteString("# Written by the test of the command tree: go test ./cmd/coldseam -run TestGoldenManPage -update\n")
	b.WriteString("_coldseam() {\n\tlocal at='' i words='' word=${COMP_WORDS[COMP_CWORD]}\n")
	b.WriteString("\tfor ((i = 1; i < COMP_CWORD; i++)); do\n\t\tcase \"$at ${COMP_WORDS[i]}\" in\n\t\t")
	var nodes []*kong.Node
	var walk func(n *kong.Node)
	walk = func(n *kong.Node) {
		nodes = append(nodes, n)
		for _, c := range n.Children {
			walk(c)
		}
	}
	walk(app.Node)

	var patterns []string
	for _, n := range nodes[1:] {
		patterns = append(patterns, "'"+typed(n)+"'")
	}
	b.WriteString(strings.Join(patterns, " | \\\n\t\t\t") + ")\n\t\t\tat=\"$at ${COMP_WORDS[i]}\" ;;\n\t\tesac\n\tdone\n\tcase \"$at\" in\n")
	for _, n := range nodes {
		var offers []string
		for _, c := range n.Children {
			offers = append(offers, c.Name)
		}
		for _, group := range n.AllFlags(true) {
			for _, f := range group {
				offers = append(offers, "--"+f.Name)
			}
		}
		fmt.Fprintf(&b, "\t'%s') words='%s' ;;\n", typed(n), strings.Join(offers, " "))
	}
	b.WriteString("\tesac\n\tmapfile -t COMPREPLY < <(compgen -W \"$words\" -- \"$word\")\n}\ncomplete -o default -F _coldseam coldseam\n")
	return b.String()
}

// typed are the words of a command below the program's name, each after a blank.
func typed(n *kong.Node) string {
	if n.Parent == nil {
		return ""
	}
	return typed(n.Parent) + " " + n.Name
}
