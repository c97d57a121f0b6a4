//go:build slow

package arming

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
)

// mutant is one line of a step function, or of a const block, changed.
type mutant struct {
	number   int
	at       int // line of the list
	file, in string
	breaks   string
	old, new string
	lives    string // why no test can tell it from the machine as it is, "" for the rest

	start, end int // of the old line in the file
}

func (m *mutant) String() string {
	return fmt.Sprintf("testdata/mutants.txt:%d: %s %s: %s", m.at, m.file, m.in, m.breaks)
}

const mutantList = "testdata/mutants.txt"

// parseMutants reads the list.
func parseMutants(t *testing.T, text string) []*mutant {
	t.Helper()
	var out []*mutant
	var m *mutant
	head := regexp.MustCompile(`^(\w+\.go) (\w+): (.+)$`)
	for i, line := range strings.Split(text, "\n") {
		switch {
		case line == "" || strings.HasPrefix(line, "#"):
			continue
		case strings.HasPrefix(line, "-") && m != nil && m.old == "":
			m.old = strings.TrimSpace(line[1:])
			continue
		case strings.HasPrefix(line, "+") && m != nil:
			m.new = strings.TrimSpace(line[1:])
			continue
		case strings.HasPrefix(line, "!") && m != nil:
			m.lives = strings.TrimSpace(line[1:])
			continue
		}
		h := head.FindStringSubmatch(line)
		if h == nil || m != nil && m.old == "" {
			t.Fatalf("%s:%d: %q is no part of a mutant", mutantList, i+1, line)
		}
		m = &mutant{number: len(out) + 1, at: i + 1, file: h[1], in: h[2], breaks: h[3]}
		out = append(out, m)
	}
	return out
}

// mutated is a file of the package with its mutants.
type mutated struct {
	name    string
	text    []byte
	set     *token.FileSet
	file    *ast.File
	mutants []*mutant
}

func (s *mutated) offset(p token.Pos) int { return s.set.Position(p).Offset }

// place finds the old line of a mutant, which stands once in what it is in.
func (s *mutated) place(m *mutant) error {
	found := 0
	for _, d := range s.file.Decls {
		switch d := d.(type) {
		case *ast.FuncDecl:
			if d.Name.Name != m.in {
				continue
			}
		case *ast.GenDecl:
			if d.Tok.String() != m.in {
				continue
			}
		}
		from := s.offset(d.Pos())
		for _, line := range strings.SplitAfter(string(s.text[from:s.offset(d.End())]), "\n") {
			if strings.TrimSpace(line) == m.old {
				found++
				m.start, m.end = from, from+len(strings.TrimRight(line, "\n"))
			}
			from += len(line)
		}
	}
	if found != 1 {
		return fmt.Errorf("%v: the line stands %d times, the list is out of date: %s", m, found, m.old)
	}
	s.mutants = append(s.mutants, m)
	return nil
}

// assemble writes the file with a copy of its function behind it for each
// mutant, and a switch at the head of each function that chooses the copy; so
// all of them are compiled once. A mutated constant becomes a variable.
func (s *mutated) assemble() []byte {
	slices.SortStableFunc(s.mutants, func(a, b *mutant) int { return a.start - b.start })
	var out, tail bytes.Buffer
	last := 0
	consts := map[int]string{} // by where the line starts: the variable that stands for it
	for _, d := range s.file.Decls {
		fn, isFn := d.(*ast.FuncDecl)
		for _, m := range s.mutants {
			switch {
			case m.start < s.offset(d.Pos()) || m.start >= s.offset(d.End()):
			case !isFn:
				value := func(line string) string {
					_, v, _ := strings.Cut(line, "= ")
					return strings.SplitN(v, "//", 2)[0]
				}
				if consts[m.start] == "" {
					out.Write(s.text[last:m.start])
					last, consts[m.start] = m.end, value(m.old)
				}
				consts[m.start] = fmt.Sprintf("mutable(%s, %d, %s)", consts[m.start], m.number, value(m.new))
			case fn.Body != nil:
				if brace := s.offset(fn.Body.Lbrace) + 1; last < brace {
					out.Write(s.text[last:brace])
					last = brace
				}
				out.WriteString(s.call(fn, m))
				s.copyOf(&tail, fn, m)
			}
		}
	}
	out.Write(s.text[last:])
	out.Write(tail.Bytes())
	for start, expr := range consts {
		line, _, _ := strings.Cut(string(s.text[start:]), "\n")
		name, _, _ := strings.Cut(strings.TrimSpace(line), " ")
		fmt.Fprintf(&out, "\nvar %s = %s\n", name, expr)
	}
	return out.Bytes()
}

// call is the statement at the head of fn that goes into the mutant's copy.
func (s *mutated) call(fn *ast.FuncDecl, m *mutant) string {
	call := m.copyName()
	if fn.Recv != nil {
		call = fn.Recv.List[0].Names[0].Name + "." + call
	}
	var args []string
	for _, p := range fn.Type.Params.List {
		for _, n := range p.Names {
			args = append(args, n.Name)
		}
	}
	call += "(" + strings.Join(args, ", ") + ")"
	if fn.Type.Results == nil {
		return fmt.Sprintf(" if mutantNumber == %d { %s; return };", m.number, call)
	}
	return fmt.Sprintf(" if mutantNumber == %d { return %s };", m.number, call)
}

func (m *mutant) copyName() string { return fmt.Sprintf("%s_mutant%d", m.in, m.number) }

func (s *mutated) copyOf(out *bytes.Buffer, fn *ast.FuncDecl, m *mutant) {
	name := s.offset(fn.Name.Pos())
	fmt.Fprintf(out, "\n//line mutant_%d:1\n%s%s", m.number, s.text[s.offset(fn.Pos()):name], m.copyName())
	fmt.Fprintf(out, "%s%s%s\n", s.text[name+len(fn.Name.Name):m.start], m.new, s.text[m.end:s.offset(fn.End())])
}

// What chooses the mutant that runs.
const mutantSwitch = `package arming

import (
	"os"
	"strconv"
)

var mutantNumber, _ = strconv.Atoi(os.Getenv("ARMING_MUTANT"))

// mutable is the constant, or what mutant number makes of it.
func mutable[T any](value T, number int, changed T) T {
	if number == mutantNumber {
		return changed
	}
	return value
}
`

// buildMutants compiles the package's plain tests with all mutants in it, and
// leaves the tree alone.
func buildMutants(t *testing.T, sources map[string]*mutated, dir string) string {
	t.Helper()
	here, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	replace := map[string]string{}
	put := func(name string, text []byte) string {
		to := filepath.Join(dir, name)
		if err := os.WriteFile(to, text, 0o600); err != nil {
			t.Fatal(err)
		}
		return to
	}
	for name, s := range sources {
		replace[filepath.Join(here, name)] = put(name, s.assemble())
	}
	replace[filepath.Join(here, "mutant_switch.go")] = put("mutant_switch.go", []byte(mutantSwitch))
	overlay, err := json.Marshal(map[string]any{"Replace": replace})
	if err != nil {
		t.Fatal(err)
	}
	binary := filepath.Join(dir, "mutants.test")
	out, err := exec.Command("go", "test", "-c", "-vet=off", "-gcflags=-e", "-overlay", put("overlay.json", overlay), "-o", binary, ".").CombinedOutput()
	if err != nil {
		t.Fatalf("a mutant does not compile (mutant_N is the Nth of %s): %v\n%s", mutantList, err, out)
	}
	return binary
}

// The table is asked first, since it finds most; the tests that take long last.
const (
	table   = "EveryEventInEveryPhase"
	lengthy = "PhaseLeft|WaitStartsAgain|Counts|CountWants|CoreGates|TwoPeople|LineOpensOnly|BoxFaultCallsBack"
)

// run runs the plain tests with one mutant, the random ones left out, since
// what kills a mutant has to kill it each time. It returns the first test that
// failed, "" for none.
func (m *mutant) run(binary string) (string, error) {
	for _, args := range [][]string{{"-test.run", table}, {"-test.skip", "Random|" + table + "|" + lengthy}, {"-test.run", lengthy}} {
		cmd := exec.Command(binary, append(args, "-test.failfast", "-test.timeout", "2m")...)
		cmd.Env = append(os.Environ(), "ARMING_MUTANT="+strconv.Itoa(m.number))
		out, err := cmd.CombinedOutput()
		if err == nil {
			continue
		}
		var exit *exec.ExitError
		if !errors.As(err, &exit) {
			return "", err
		}
		if by := regexp.MustCompile(`--- FAIL: (\w+)`).FindSubmatch(out); by != nil {
			return string(by[1]), nil
		}
		return "a panic or the time limit", nil
	}
	return "", nil
}

// TestMutantsAreKilled makes every mutant of testdata/mutants.txt, one at a
// time, and wants the package's plain tests to fail for each but those that are
// listed as living, with their reason.
func TestMutantsAreKilled(t *testing.T) {
	text, err := os.ReadFile(mutantList)
	if err != nil {
		t.Fatal(err)
	}
	mutants := parseMutants(t, string(text))
	sources := map[string]*mutated{}
	for _, m := range mutants {
		s := sources[m.file]
		if s == nil {
			s = &mutated{name: m.file, set: token.NewFileSet()}
			if s.text, err = os.ReadFile(m.file); err != nil {
				t.Fatal(err)
			}
			if s.file, err = parser.ParseFile(s.set, m.file, s.text, parser.SkipObjectResolution); err != nil {
				t.Fatal(err)
			}
			sources[m.file] = s
		}
		if err := s.place(m); err != nil {
			t.Error(err)
		}
	}
	if len(mutants) < 60 || t.Failed() {
		t.Fatalf("%d mutants, want 60 at least", len(mutants))
	}
	binary := buildMutants(t, sources, t.TempDir())
	if by, err := (&mutant{}).run(binary); by != "" || err != nil {
		t.Fatalf("with no mutant chosen %s fails: %v", by, err)
	}
	var all tally
	kills := map[string]int{}
	var lock sync.Mutex
	work := make(chan *mutant)
	var wait sync.WaitGroup
	for range 2 {
		wait.Go(func() {
			for m := range work {
				by, err := m.run(binary)
				lock.Lock()
				if wrong := all.add(m, by, err); wrong != "" {
					t.Errorf("%v: %s", m, wrong)
				}
				if by != "" {
					kills[by]++
				}
				lock.Unlock()
			}
		})
	}
	for _, m := range mutants {
		work <- m
	}
	close(work)
	wait.Wait()
	t.Logf("%d mutants: %s", len(mutants), &all)
	for by, n := range maps.All(kills) {
		t.Logf("%4d by %s", n, by)
	}
}

// tally counts what came of each mutant.
type tally struct{ killed, reasoned, survived, broken int }

// add counts one mutant, which a test has killed or not, and says what is
// wrong with that, "" for nothing.
func (a *tally) add(m *mutant, by string, err error) (wrong string) {
	switch {
	case err != nil:
		a.broken++
		return err.Error()
	case by == "" && m.lives == "":
		a.survived++
		return "no test fails"
	case by == "":
		a.reasoned++
		return ""
	}
	a.killed++
	if m.lives != "" {
		return by + " kills it, though it is listed as living: " + m.lives
	}
	return ""
}

func (a *tally) String() string {
	text := fmt.Sprintf("%d killed, %d live with a reason", a.killed, a.reasoned)
	if a.survived > 0 {
		text += fmt.Sprintf(", %d LIVE WITHOUT ONE", a.survived)
	}
	if a.broken > 0 {
		text += fmt.Sprintf(", %d could not be run", a.broken)
	}
	return text
}

func TestTheTallyOfMutantsIsTrue(t *testing.T) {
	listed, other := &mutant{lives: "it changes nothing"}, &mutant{}
	var a tally
	for _, c := range []struct {
		m     *mutant
		by    string
		err   error
		wrong string
	}{
		{other, "TestA", nil, ""}, {other, "TestB", nil, ""}, {other, "", nil, "no test fails"}, {listed, "", nil, ""},
		{listed, "TestA", nil, "TestA kills it, though it is listed as living: it changes nothing"}, {other, "", errors.New("no such test"), "no such test"},
	} {
		if got := a.add(c.m, c.by, c.err); got != c.wrong {
			t.Errorf("got %q, want %q", got, c.wrong)
		}
	}
	if got, want := a.String(), "3 killed, 1 live with a reason, 1 LIVE WITHOUT ONE, 1 could not be run"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}
