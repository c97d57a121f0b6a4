package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// root is the module's folder, seen from this package.
var root = filepath.Join("..", "..")

// pure are the packages without I/O, clock or goroutine that outlives a call.
// The value says whether goroutines inside a call are allowed: they are where
// draws are spread over all cores, which the packages' own tests hold to the
// same answer for any number of workers.
var pure = map[string]bool{
	"holdline/arming":                false,
	"holdline/sim/circuit":           true,
	"holdline/arming/drill":          false,
	"holdline/arming/record/journal": false,
	"holdline/arming/groundbox/wire": false,
	"holdline/checklist":             false,
	"holdline/checklist/prediction":  false,
	"holdline/checklist/sheet/unit":  false,
	"holdline/sim":                   true,
	"holdline/sim/draws":             true,
}

// layers are the areas that import one way: an area imports its own packages
// and those of areas with a higher number only.
var layers = []struct{ area, layer string }{
	{"holdline/sim", "5 sim"},
	{"holdline/checklist", "4 checklist"},
	{"holdline/arming", "3 arming"},
	{"holdline/tui", "2 tui"},
	{"holdline/cmd", "1 cmd"},
}

// layerOf is the layer of a package of this module, "" for any other.
func layerOf(path string) string {
	for _, l := range layers {
		if path == l.area || strings.HasPrefix(path, l.area+"/") {
			return l.layer
		}
	}
	return ""
}

type listed struct {
	path    string
	imports []string
}

// packages lists the module's packages with what each imports itself.
func packages(t *testing.T) []listed {
	t.Helper()
	cmd := exec.Command("go", "list", "-f", `{{.ImportPath}} {{join .Imports " "}}`, "./...")
	cmd.Dir = root
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	var list []listed
	for _, line := range strings.Split(strings.TrimSpace(string(out)), "\n") {
		fields := strings.Fields(line)
		list = append(list, listed{fields[0], fields[1:]})
	}
	if len(list) < 10 {
		t.Fatalf("go list found %d packages, want 10 at least", len(list))
	}
	return list
}

func TestImportsGoOneWay(t *testing.T) {
	for _, p := range packages(t) {
		from := layerOf(p.path)
		if from == "" {
			t.Errorf("%s is in no layer", p.path)
		}
		for _, i := range p.imports {
			if problem := importProblem(p.path, i); problem != "" {
				t.Errorf("%s", problem)
			}
		}
	}
}

// forTests are packages that nothing but tests imports: the kept screens.
var forTests = []string{"holdline/tui/golden"}

// importProblem says what is wrong with one import, "" for nothing.
func importProblem(path, imported string) string {
	from, to := layerOf(path), layerOf(imported)
	inside := strings.HasPrefix(imported, "holdline/")
	switch {
	case inside && to == "":
		return fmt.Sprintf("%s imports %s, which is in no layer", path, imported)
	case inside && to != from && to[0] <= from[0]:
		return fmt.Sprintf("%s (%s) imports %s (%s): imports go down only", path, from, imported, to)
	case from == "5 sim" && !inside && strings.Contains(imported, ".") && !strings.HasPrefix(imported, "gonum.org/"):
		return fmt.Sprintf("%s imports %s: sim takes the standard library and gonum alone", path, imported)
	}
	if _, isPure := pure[path]; isPure && reachesOut(imported) {
		return fmt.Sprintf("%s imports %s, but does no I/O", path, imported)
	}
	if slices.Contains(forTests, imported) {
		return fmt.Sprintf("%s imports %s, which is for tests alone", path, imported)
	}
	if layerOf(path) == "2 tui" && path != "holdline/tui/quietstart" && !slices.Contains(forTests, path) && reachesOut(imported) && imported != "github.com/charmbracelet/bubbletea" {
		return fmt.Sprintf("%s imports %s, but the cockpit opens nothing", path, imported)
	}
	return ""
}

// reachesOut tells the packages through which a program touches the world.
func reachesOut(imported string) bool {
	for _, p := range []string{"os", "net", "syscall", "io/ioutil", "log", "go.bug.st/serial", "github.com/creack/pty",
		"github.com/charmbracelet/bubbletea", "golang.org/x/sys", "golang.org/x/term", "plugin", "runtime/cgo"} {
		if imported == p || strings.HasPrefix(imported, p+"/") {
			return true
		}
	}
	return false
}

func TestImportProblemsAreSeen(t *testing.T) {
	for _, bad := range [][2]string{
		{"holdline/checklist", "holdline/arming"},
		{"holdline/arming", "holdline/tui"},
		{"holdline/sim", "holdline/checklist/sheet"},
		{"holdline/sim/circuit", "holdline/arming"},
		{"holdline/sim", "github.com/google/go-cmp/cmp"},
		{"holdline/arming", "os"},
		{"holdline/sim/circuit", "net/http"},
		{"holdline/tui", "go.bug.st/serial"},
		{"holdline/tui/edit", "holdline/tui/golden"},
	} {
		if importProblem(bad[0], bad[1]) == "" {
			t.Errorf("%s importing %s was not refused", bad[0], bad[1])
		}
	}
	for _, good := range [][2]string{
		{"holdline/cmd/holdline", "holdline/tui"}, {"holdline/arming", "holdline/checklist"},
		{"holdline/checklist/sheet", "holdline/sim"}, {"holdline/sim", "gonum.org/v1/gonum/stat"},
		{"holdline/arming/record", "os"},
	} {
		if problem := importProblem(good[0], good[1]); problem != "" {
			t.Errorf("refused: %s", problem)
		}
	}
}

// sources reads the Go files of the module that go in a build, tests aside.
func sources(t *testing.T, visit func(path string, set *token.FileSet, file *ast.File)) {
	t.Helper()
	files := 0
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && path != root && (strings.HasPrefix(d.Name(), ".") || d.Name() == "testdata"):
			return filepath.SkipDir
		case d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go"):
			return nil
		}
		set := token.NewFileSet()
		file, err := parser.ParseFile(set, path, nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		files++
		visit(filepath.ToSlash(path), set, file)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if files < 50 {
		t.Fatalf("read %d files, want 50 at least", files)
	}
}

// packageOf is the import path of the folder a source file is in.
func packageOf(path string) string {
	relative, err := filepath.Rel(root, filepath.Dir(path))
	if err != nil {
		return ""
	}
	return "holdline/" + filepath.ToSlash(relative)
}

func TestPureCodeReadsNoClockAndStartsNothing(t *testing.T) {
	seen := map[string]bool{}
	sources(t, func(path string, set *token.FileSet, file *ast.File) {
		inTUI := strings.HasPrefix(packageOf(path)+"/", "holdline/tui/")
		workers, isPure := pure[packageOf(path)]
		if !isPure && !inTUI {
			return
		}
		seen[packageOf(path)] = true
		for _, problem := range forbiddenCalls(set, file, workers) {
			t.Errorf("%s", problem)
		}
	})
	for path := range pure {
		if !seen[path] {
			t.Errorf("%s: no source was read", path)
		}
	}
}

// forbiddenCalls lists what pure code must not do: read the clock, wait, or
// start a goroutine.
func forbiddenCalls(set *token.FileSet, file *ast.File, workers bool) []string {
	clock := []string{"Now", "Sleep", "Since", "Until", "After", "AfterFunc", "Tick", "NewTimer", "NewTicker"}
	var out []string
	ast.Inspect(file, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.SelectorExpr:
			if x, ok := n.X.(*ast.Ident); ok && x.Name == "time" && slices.Contains(clock, n.Sel.Name) {
				out = append(out, fmt.Sprintf("%s: time.%s", set.Position(n.Pos()), n.Sel.Name))
			}
		case *ast.GoStmt:
			if !workers {
				out = append(out, fmt.Sprintf("%s: a go statement", set.Position(n.Pos())))
			}
		}
		return true
	})
	return out
}

func TestForbiddenCallsAreSeen(t *testing.T) {
	const text = `package p
import "time"
func f() { go f(); _ = time.Now(); time.Sleep(1); _ = time.Second }`
	set := token.NewFileSet()
	file, err := parser.ParseFile(set, "p.go", text, 0)
	if err != nil {
		t.Fatal(err)
	}
	if got := forbiddenCalls(set, file, false); len(got) != 3 {
		t.Errorf("got %v, want 3 problems", got)
	}
	if got := forbiddenCalls(set, file, true); len(got) != 2 {
		t.Errorf("with workers: got %v, want 2 problems", got)
	}
}

// mostLines is how long a function may be.
const mostLines = 70

func TestFunctionsAreShort(t *testing.T) {
	sources(t, func(_ string, set *token.FileSet, file *ast.File) {
		for _, d := range file.Decls {
			f, ok := d.(*ast.FuncDecl)
			if !ok || f.Body == nil {
				continue
			}
			from, to := set.Position(f.Pos()), set.Position(f.End())
			if lines := to.Line - from.Line + 1; lines > mostLines {
				t.Errorf("%s: %s has %d lines, at most %d", from, f.Name.Name, lines, mostLines)
			}
		}
	})
}

// mostFileLines is how long a file of Go may be, tests too.
const mostFileLines = 500

func TestFilesAreShort(t *testing.T) {
	files := 0
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") {
			return err
		}
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		files++
		if lines := strings.Count(string(text), "\n"); lines > mostFileLines {
			t.Errorf("%s has %d lines, at most %d: split it by what it is about", path, lines, mostFileLines)
		}
		return nil
	})
	if err != nil || files < 300 {
		t.Fatalf("%d files, %v", files, err)
	}
}

func TestPackageNamesSayWhatTheyHold(t *testing.T) {
	sources(t, func(path string, _ *token.FileSet, file *ast.File) {
		if slices.Contains([]string{"util", "utils", "common", "helpers", "constants", "types", "misc"}, file.Name.Name) {
			t.Errorf("%s: package %s says nothing", path, file.Name.Name)
		}
	})
}
