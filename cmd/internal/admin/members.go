package admin

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/parts"
)

// memberColumns of the list as exported and imported; email alone is needed.
var memberColumns = []string{"email", "name", "state", "since", "reaches", "zone", "units", "send_at", "species",
	"line", "body"}

type subExportCmd struct {
	Who string `arg:"" optional:"" help:"Number or address: everything stored about the person, as JSON."`
	All bool   `help:"The list of all members, as CSV that import reads."`
}

// Run writes to the output of the command alone.
func (c *subExportCmd) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	return parts.With(ctx, s, g, func(a *parts.Parts) error { return c.export(ctx, s.Out, a) })
}

func (c *subExportCmd) export(ctx context.Context, w io.Writer, a *parts.Parts) error {
	if (c.Who == "") != c.All {
		return env.Fail(2, "want a member, or --all")
	}
	if c.All {
		return exportMembers(ctx, w, a)
	}
	sub, err := member(ctx, a, c.Who)
	if err != nil {
		return err
	}
	x, err := a.Env.DB.ExportSubscriber(ctx, sub.ID)
	if err != nil {
		return err
	}
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	return enc.Encode(x)
}

func exportMembers(ctx context.Context, w io.Writer, a *parts.Parts) error {
	subs, err := a.Env.DB.Subscribers(ctx, "")
	if err != nil {
		return err
	}
	out := csv.NewWriter(w)
	_ = out.Write(memberColumns) // kept by the writer, see Error below

	for _, x := range subs {
		reaches := ""
		if len(x.Prefs.Reaches) > 0 {
			reaches = reachWords(x.Prefs)
		}
		row := []string{x.Email, x.Name, x.State, x.CreatedAt.Format(time.DateOnly), reaches, x.Prefs.Zone,
			x.Prefs.Units, x.Prefs.SendAt,
			x.Prefs.Species, x.Prefs.Line, x.Prefs.Body}
		for i := range row {
			row[i] = noFormula(row[i])
		}
		_ = out.Write(row)
	}

	out.Flush()
	return out.Error()
}

// noFormula keeps a spreadsheet from running a cell that a stranger typed.
func noFormula(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		return "'" + s
	}
	return s
}

type subImportCmd struct {
	File      string `arg:"" help:"CSV with a header: email, and of name, reaches (blank-separated), zone, units, send_at, species, line, body what there is." type:"existingfile"`
	Confirmed bool   `help:"All asked for it in writing: no confirm mails. Keep that writing."`
	DryRun    bool   `help:"Read and judge, enter nobody."`
}

// Run enters line by line; a refused line does not stop the others.
func (c *subImportCmd) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	return parts.WithRivers(ctx, s, g, func(a *parts.Parts) error {
		f, err := os.Open(c.File)
		if err != nil {
			return env.Fail(2, err.Error())
		}
		defer f.Close()
		return c.load(ctx, s.Out, a, f)
	})
}

// memberRow is one line of the file.
type memberRow struct {
	line        int
	email, name string
	prefs       coldseam.Preferences
	err         error
}

func (c *subImportCmd) load(ctx context.Context, w io.Writer, a *parts.Parts, r io.Reader) error {
	rows, err := readMembers(r)
	if err != nil {
		return env.Fail(1, env.OneLine(err.Error()))
	}
	count := map[string]int{}
	bad := 0
	seen := map[string]int{}

	for _, m := range rows {
		what := "would be entered"
		err := m.err
		if first, dup := seen[strings.ToLower(m.email)]; dup && err == nil {
			err = fmt.Errorf("the same address as line %d: %w", first, coldseam.ErrInvalid)
		}
		seen[strings.ToLower(m.email)] = m.line
		if err == nil && !c.DryRun {
			_, what, err = a.Mail.Enrol(ctx, m.email, m.name, m.prefs, c.Confirmed)
			what, _, _ = strings.Cut(what, ";")
		}

		if err != nil {
			// A line number leads the admin there; the address stays in the file.
			fmt.Fprintln(w, env.OneLine(fmt.Sprintf("line %d: refused: %v", m.line, err)))
			bad++
			continue
		}

		count[what]++
	}

	for _, k := range slices.Sorted(maps.Keys(count)) {
		fmt.Fprintf(w, "%d: %s\n", count[k], k)
	}
	if bad > 0 {
		return env.Fail(1, fmt.Sprintf("%d of %d lines refused", bad, len(rows)))
	}
	return nil
}

func readMembers(r io.Reader) ([]memberRow, error) {
	in := csv.NewReader(r)
	in.FieldsPerRecord = -1
	head, err := in.Read()
	if err != nil {
		return nil, fmt.Errorf("no header line; want %s: %w", strings.Join(memberColumns, ","), coldseam.ErrInvalid)
	}

	for i := range head {
		head[i] = strings.ToLower(strings.TrimSpace(strings.TrimPrefix(head[i], "\ufeff")))
		if !slices.Contains(memberColumns, head[i]) {
			return nil, fmt.Errorf("column %q; want of %s: %w", head[i], strings.Join(memberColumns, ", "),
				coldseam.ErrInvalid)
		}
	}

	if !slices.Contains(head, "email") {
		return nil, fmt.Errorf("no column email among %s: %w", strings.Join(head, ", "), coldseam.ErrInvalid)
	}
	var out []memberRow

	for {
		rec, err := in.Read()
		if err == io.EOF {
			return out, nil
		}

		var pe *csv.ParseError
		if errors.As(err, &pe) {
			return nil, fmt.Errorf("line %d: quotes or cells that do not end: %w", pe.Line, coldseam.ErrInvalid)
		}
		if err != nil {
			return nil, err
		}
		line, _ := in.FieldPos(0)
		out = append(out, memberOf(head, rec, line))
	}
}

func memberOf(head, rec []string, line int) memberRow {
	m := memberRow{line: line}
	if len(rec) != len(head) {
		m.err = fmt.Errorf("%d cells, the header has %d: %w", len(rec), len(head), coldseam.ErrInvalid)
		return m
	}

	for i, k := range head {
		v := strings.TrimSpace(rec[i])
		if len(v) > 1 && v[0] == '\'' && noFormula(v[1:]) == v {
			v = v[1:] // as export wrote it
		}

		switch k {
		case "email":
			m.email = v
		case "name":
			m.name = v
		case "reaches":
			for _, r := range strings.Fields(v) {
				m.prefs.Reaches = append(m.prefs.Reaches, coldseam.ReachID(r))
			}
		case "zone":
			m.prefs.Zone = v
		case "units":
			if v != "" && v != "us" && v != "metric" {
				m.err = fmt.Errorf("units %s; want us or metric: %w", strconv.Quote(v), coldseam.ErrInvalid)
			}
			m.prefs.Units = v
		case "send_at":
			m.prefs.SendAt = v
		case "species":
			m.prefs.Species = v
		case "line":
			m.prefs.Line = v
		case "body":
			m.prefs.Body = v
		}
	}

	return m
}
