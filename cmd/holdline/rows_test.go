package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// requirementsFile is the document that ties rules to code and tests, beside
// the machine that they are about.
var requirementsFile = filepath.Join(root, "arming", "REQUIREMENTS.md")

// Requirements and invariants of the hazard analysis.
const (
	requirements = 55
	invariants   = 35
)

// testsOf lists the tests of each package by its folder's path, whatever build
// tags their files have.
func testsOf(t *testing.T) map[string][]string {
	t.Helper()
	out := map[string][]string{}
	err := filepath.WalkDir(root, func(name string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && name != root && (strings.HasPrefix(d.Name(), ".") || d.Name() == "testdata"):
			return filepath.SkipDir
		case d.IsDir() || !strings.HasSuffix(name, "_test.go"):
			return nil
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		dir := strings.TrimPrefix(packageOf(name), "holdline/")
		for _, d := range file.Decls {
			if f, is := d.(*ast.FuncDecl); is && f.Recv == nil && strings.HasPrefix(f.Name.Name, "Test") {
				out[dir] = append(out[dir], strings.TrimPrefix(f.Name.Name, "Test"))
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(out) < 20 {
		t.Fatalf("tests in %d packages, want 20 at least", len(out))
	}
	return out
}

// rows returns the cells of the table under a heading, without its head.
func rows(t *testing.T, file, heading string) [][]string {
	t.Helper()
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	_, text, found := strings.Cut(string(data), "\n## "+heading+"\n")
	if !found {
		t.Fatalf("%s has no part %q", file, heading)
	}
	text, _, _ = strings.Cut(text, "\n## ")
	var out [][]string
	for _, line := range strings.Split(text, "\n") {
		if !strings.HasPrefix(line, "|") {
			continue
		}
		cells := strings.Split(strings.Trim(strings.TrimSpace(line), "|"), "|")
		for i := range cells {
			cells[i] = strings.TrimSpace(cells[i])
		}
		out = append(out, cells)
	}
	if len(out) < 3 {
		t.Fatalf("%s, %q: no table", file, heading)
	}
	return out[2:]
}

var testName = regexp.MustCompile(`^[A-Z][A-Za-z0-9]*(/[a-z]+)?$`)

// missingTests holds the cell of a table, such as "`arming` One, Two; `tui`
// Three", against the tests that are there.
func missingTests(have map[string][]string, cell string) []string {
	var out []string
	for _, part := range strings.Split(cell, ";") {
		fields := strings.SplitN(strings.TrimSpace(part), " ", 2)
		if len(fields) < 2 || len(fields[0]) < 3 || strings.Trim(fields[0], "`") != fields[0][1:len(fields[0])-1] {
			out = append(out, fmt.Sprintf("%q names no package and tests", part))
			continue
		}
		name := fields[0][1 : len(fields[0])-1]
		var dirs []string
		for dir := range have {
			if path.Base(dir) == name {
				dirs = append(dirs, dir)
			}
		}
		if len(dirs) != 1 {
			out = append(out, fmt.Sprintf("`%s` stands for %d packages with tests", name, len(dirs)))
			continue
		}
		for _, test := range strings.Split(fields[1], ",") {
			test = strings.TrimSpace(test)
			function, script, _ := strings.Cut(test, "/")
			switch {
			case !testName.MatchString(test):
				out = append(out, fmt.Sprintf("`%s`: %q is no name of a test", name, test))
			case !slices.Contains(have[dirs[0]], function):
				out = append(out, fmt.Sprintf("`%s` has no Test%s", name, function))
			case script != "":
				if _, err := os.Stat(filepath.Join(root, dirs[0], "testdata", script+".txtar")); err != nil {
					out = append(out, fmt.Sprintf("`%s` has no script %s", name, script))
				}
			}
		}
	}
	return out
}

// TestRowsOfRequirements: each requirement has one row, in order, with a test
// or a decision, and each test is there.
func TestRowsOfRequirements(t *testing.T) {
	have := testsOf(t)
	table := rows(t, requirementsFile, "Requirements")
	for n := 1; n <= requirements; n++ {
		if want := fmt.Sprintf("R-%02d", n); n > len(table) || table[n-1][0] != want {
			t.Fatalf("row %d is not %s", n, want)
		}
	}
	for _, r := range table {
		switch {
		case len(r) != 5 || r[1] == "" || r[2] == "":
			t.Errorf("%s: %d cells, or no rule or place", r[0], len(r))
			continue
		case r[3] == "" && r[4] == "":
			t.Errorf("%s has neither a test nor a decision", r[0])
		}
		if r[3] != "" {
			for _, m := range missingTests(have, r[3]) {
				t.Errorf("%s: %s", r[0], m)
			}
		}
	}
	if len(table) != requirements {
		t.Errorf("%d rows, want %d", len(table), requirements)
	}
}

// TestRowsOfInvariants: each invariant is a sentence of package arming, has one
// row, and is held by Check, where the row says so, and by tests.
func TestRowsOfInvariants(t *testing.T) {
	have := testsOf(t)
	set := token.NewFileSet()
	checked := map[int]bool{}
	file, err := parser.ParseFile(set, filepath.Join(root, "arming", "invariant.go"), nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	ast.Inspect(file, func(n ast.Node) bool {
		call, is := n.(*ast.CallExpr)
		if !is || len(call.Args) != 3 {
			return true
		}
		if s, is := call.Fun.(*ast.SelectorExpr); is && s.Sel.Name == "must" {
			if lit, is := call.Args[1].(*ast.BasicLit); is {
				k, err := strconv.Atoi(lit.Value)
				if err != nil {
					t.Fatal(err)
				}
				checked[k] = true
			}
		}
		return true
	})
	doc, err := os.ReadFile(filepath.Join(root, "arming", "doc.go"))
	if err != nil {
		t.Fatal(err)
	}
	table := rows(t, requirementsFile, "Invariants")
	if len(table) != invariants {
		t.Fatalf("%d rows, want %d", len(table), invariants)
	}
	for n, r := range table {
		name := fmt.Sprintf("I-%02d", n+1)
		if len(r) != 3 || r[0] != name {
			t.Errorf("row %d is %q, want %s", n+1, r, name)
			continue
		}
		if !strings.Contains(string(doc), "\n//\t"+name+"  ") {
			t.Errorf("%s is no sentence of package arming", name)
		}
		if byCheck := r[1] == "Check"; byCheck != checked[n+1] {
			t.Errorf("%s: Check tries it %v, the row says %v", name, checked[n+1], byCheck)
		}
		for _, m := range missingTests(have, r[2]) {
			t.Errorf("%s: %s", name, m)
		}
	}
}

// TestRowsOfHazards: no hazard without a test or the plain words that no
// software covers it.
func TestRowsOfHazards(t *testing.T) {
	have := testsOf(t)
	table := rows(t, filepath.Join(root, "arming", "REQUIREMENTS.md"), "Hazards")
	if len(table) < 15 {
		t.Errorf("only %d rows", len(table))
	}
	for _, r := range table {
		if len(r) != 5 {
			t.Errorf("%q has %d cells", r, len(r))
			continue
		}
		if r[3] == "" {
			if !strings.Contains(r[2], "not covered by software") {
				t.Errorf("%q, %q: neither a test nor the words that software does not cover it", r[0], r[1])
			}
			continue
		}
		for _, m := range missingTests(have, r[3]) {
			t.Errorf("%q, %q: %s", r[0], r[1], m)
		}
	}
}

func TestMissingTestsAreSeen(t *testing.T) {
	have := map[string][]string{"arming": {"One", "Two"}, "tui": {"Three"}, "other/tui": {"Four"}, "cmd/holdline": {"Scripts"}}
	for cell, want := range map[string]int{
		"`arming` One, Two": 0, "`arming` One; `holdline` Scripts/card": 0, "`arming` One, Five": 1, "`nowhere` One": 1,
		"`tui` Three": 1, "arming One": 1, "`arming`": 1, "`arming` one of them": 1, "": 1, "`holdline` Scripts/nothing": 1,
	} {
		if got := missingTests(have, cell); len(got) != want {
			t.Errorf("%q: %q, want %d problems", cell, got, want)
		}
	}
}
