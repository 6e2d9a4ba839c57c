// Command count measures the program: code lines (without blanks, comments and
// tests) by package, and what the guide asks of its form.
//
//	count DIR
//
// A line counts as code when a token of Go stands on it. The demo kit is what
// only demo and tests use.
package main

import (
	"bufio"
	"bytes"
	"cmp"
	"fmt"
	"go/ast"
	"go/parser"
	"go/scanner"
	"go/token"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// kit are the packages that only demo and tests use.
var kit = []string{"ingest/simagency", "ingest/ingesttest", "notify/smtptest", "notify/brieftest", "notify/browsertest",
	"store/storetest", "cmd/internal/democlub", "cmd/internal/clubtest"}

type counts struct {
	lines, exported map[string]int // by package

	test, functions, unbroken, physical, wide int
}

func main() {
	root := "."
	if len(os.Args) > 1 {
		root = os.Args[1]
	}
	c := counts{lines: map[string]int{}, exported: map[string]int{}}
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		name := d.Name()
		if d.IsDir() && path != root && (strings.HasPrefix(name, ".") || name == "testdata" || name == "tools") {
			return filepath.SkipDir
		}
		if d.IsDir() || !strings.HasSuffix(name, ".go") {
			return nil
		}
		src, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		dir, err := filepath.Rel(root, filepath.Dir(path))
		if err != nil {
			return err
		}
		return c.file(dir, name, src)
	})
	if err != nil {
		fmt.Fprintln(os.Stderr, "count:", err)
		os.Exit(1)
	}
	c.print()
}

func (c *counts) file(pkg, name string, src []byte) error {
	code := codeLines(src)
	if strings.HasSuffix(name, "_test.go") {
		c.test += code
		return nil
	}
	c.lines[pkg] += code

	text := strings.Split(string(src), "\n")
	lines := bufio.NewScanner(bytes.NewReader(src))
	for lines.Scan() {
		c.physical++
		if len([]rune(strings.ReplaceAll(lines.Text(), "\t", "    "))) > 120 {
			c.wide++
		}
	}

	set := token.NewFileSet()
	file, err := parser.ParseFile(set, name, src, 0)
	if err != nil {
		return err
	}
	for _, decl := range file.Decls {
		switch d := decl.(type) {
		case *ast.FuncDecl:
			if d.Recv == nil && d.Name.IsExported() {
				c.exported[pkg]++
			}
			from, to := set.Position(d.Pos()).Line, set.Position(d.End()).Line
			if to-from+1 < 20 {
				continue
			}
			c.functions++
			if !slices.ContainsFunc(text[from-1:to], func(s string) bool { return strings.TrimSpace(s) == "" }) {
				c.unbroken++
			}
		case *ast.GenDecl:
			for _, spec := range d.Specs {
				switch s := spec.(type) {
				case *ast.TypeSpec:
					if s.Name.IsExported() {
						c.exported[pkg]++
					}
				case *ast.ValueSpec:
					for _, n := range s.Names {
						if n.IsExported() {
							c.exported[pkg]++
						}
					}
				}
			}
		}
	}
	return nil
}

// codeLines counts the lines on which a token stands.
func codeLines(src []byte) int {
	file := token.NewFileSet().AddFile("", -1, len(src))
	var s scanner.Scanner
	s.Init(file, src, nil, 0)
	lines := map[int]bool{}
	for {
		pos, tok, lit := s.Scan()
		if tok == token.EOF {
			return len(lines)
		}
		if tok == token.SEMICOLON && lit == "\n" {
			continue
		}
		for i := range strings.Count(lit, "\n") + 1 {
			lines[file.Line(pos)+i] = true
		}
	}
}

func (c *counts) print() {
	all, inKit := 0, 0
	for pkg, n := range c.lines {
		all += n
		if slices.Contains(kit, pkg) {
			inKit += n
		}
	}
	fmt.Printf("%-34s %6d\n", "packages", len(c.lines))
	fmt.Printf("%-34s %6d\n", "code lines of the program", all)
	fmt.Printf("%-34s %6d\n", "  without the demo kit", all-inKit)
	fmt.Printf("%-34s %6d\n", "code lines of tests", c.test)
	fmt.Printf("%-34s %6d of %d\n", "functions of 20+ lines, no blank", c.unbroken, c.functions)
	fmt.Printf("%-34s %6d of %d\n\n", "lines over 120 columns", c.wide, c.physical)

	fmt.Printf("%6s %8s  package\n", "lines", "exported")
	pkgs := slices.SortedFunc(maps.Keys(c.lines), func(a, b string) int { return cmp.Compare(c.lines[b], c.lines[a]) })
	for _, p := range pkgs {
		fmt.Printf("%6d %8d  %s\n", c.lines[p], c.exported[p], p)
	}
}
