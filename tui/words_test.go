package tui

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"holdline/tui/canvas"
)

// readingPattern finds voltages and resistances, which are always read or
// typed, and the switches as the box reads them.
var readingPattern = regexp.MustCompile(`\d (V|Ω|ohm)\b|key (in|out) ·|lead \d reads`)

// literals returns every string that the package and its parts can show.
func literals(t *testing.T) map[string]string {
	t.Helper()
	out := map[string]string{}
	files, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	more, err := filepath.Glob("*/*.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range append(files, more...) {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		parsed, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(parsed, func(n ast.Node) bool {
			if lit, is := n.(*ast.BasicLit); is && (lit.Kind == token.STRING || lit.Kind == token.CHAR) {
				text, err := strconv.Unquote(lit.Value)
				if err != nil {
					t.Fatal(err)
				}
				out[text] = name
			}
			return true
		})
	}
	if len(out) < 300 {
		t.Fatalf("only %d texts found", len(out))
	}
	return out
}

// stopWord finds the word in any of its forms; the hold line and the program's
// own name are taken out before.
var (
	stopWord = regexp.MustCompile(`(?i)\b(hold|holds|holding|held)\b`)
	ownNames = regexp.MustCompile(`hold[ \x{a0}]line|holdline[A-Za-z ]*`)
)

// meansStop are the only forms in which the word may stand: HOLD in capitals,
// and what the full-width notice asks of a HOLD.
func meansStop(text string) bool {
	rest := ownNames.ReplaceAllString(text, "")
	rest = strings.ReplaceAll(rest, "What held:", "")
	for _, word := range stopWord.FindAllString(rest, -1) {
		if word != "HOLD" {
			return false
		}
	}
	return true
}

// HOLD means one thing: stop.
func TestHoldMeansStop(t *testing.T) {
	t.Parallel()
	for text, file := range literals(t) {
		if strings.HasPrefix(text, "holdline/") {
			continue
		}
		if !meansStop(text) {
			t.Errorf("%s: %q uses the word for something else than stop", file, text)
		}
	}
	screens, err := filepath.Glob("testdata/*.golden")
	if err != nil || len(screens) < 50 {
		t.Fatalf("%d golden screens, %v", len(screens), err)
	}
	for _, name := range screens {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, line := range strings.Split(string(text), "\n") {
			if !meansStop(line) {
				t.Errorf("%s: %q", name, line)
			}
		}
	}
}

// The test above finds what it is there for.
func TestHoldMeansStopFindsOthers(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]bool{"hold the button": false, "this gate holds": false, "keep holding": false,
		"the hold line": true, "HOLD": true, "space is HOLD for anyone": true} {
		if got := meansStop(text); got != want {
			t.Errorf("%q: %v, want %v", text, got, want)
		}
	}
}

// Every character that the cockpit draws with has its like in ASCII.
func TestEveryCharacterHasAnASCIIForm(t *testing.T) {
	t.Parallel()
	for text, file := range literals(t) {
		if file == filepath.Join("canvas", "ascii.go") || file == filepath.Join("canvas", "canvas.go") {
			continue
		}
		for _, r := range text {
			if r < 127 || r == '\u200d' {
				continue
			}
			if got := canvas.ASCII(string(r)); strings.Contains(got, "?") {
				t.Errorf("%s: %q has no ASCII form", file, r)
			}
		}
	}
}

// The words that promise more than anybody knows stand nowhere: the circuit is
// SAFE only where it is proved, and no light means that a motor has
// burned.
func TestNoWordPromisesTooMuch(t *testing.T) {
	t.Parallel()
	for text, file := range literals(t) {
		for _, word := range []string{"fired", "all lit", "is safe", "safe to"} {
			if strings.Contains(strings.ToLower(text), word) {
				t.Errorf("%s: %q says %q", file, text, word)
			}
		}
	}
}
