package main

import (
	"bytes"
	"fmt"
	"go/ast"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"
)

// textFiles reads every text file of the tree.
func textFiles(t *testing.T, visit func(path string, data []byte)) {
	t.Helper()
	endings := []string{".go", ".md", ".txt", ".txtar", ".toml", ".csv", ".json", ".mod", ".pml", ".py", ".cir", ".sh"}
	files := 0
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && path != root && strings.HasPrefix(d.Name(), ".") && d.Name() != ".ci":
			return filepath.SkipDir
		case d.IsDir() || !d.Type().IsRegular():
			return nil
		case !slices.Contains(endings, filepath.Ext(path)) && d.Name() != "LICENSE" && filepath.Base(filepath.Dir(path)) != ".ci":
			return nil
		}
		data, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		files++
		visit(filepath.ToSlash(path), data)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if files < 80 {
		t.Fatalf("read %d files, want 80 at least", files)
	}
}

// Work that is not done is said in DEVELOPERS.md, not left as a mark in the
// text, and a test that does not run is not there.
func TestTextsHoldNoLooseEnds(t *testing.T) {
	marks := []string{"TO" + "DO", "FIX" + "ME", "XX" + "X", "t.Sk" + "ip(", "t.Sk" + "ipNow("}
	textFiles(t, func(path string, data []byte) {
		if strings.Contains(path, "/fuzz/") {
			return // found by a fuzzer, not written by anybody
		}
		for _, mark := range marks {
			if at := bytes.Index(data, []byte(mark)); at >= 0 {
				t.Errorf("%s:%d: %s", path, 1+bytes.Count(data[:at], []byte("\n")), mark)
			}
		}
	})
}

// Texts are UTF-8 without control characters, which could write to a reader's
// terminal.
func TestTextsArePlain(t *testing.T) {
	textFiles(t, func(path string, data []byte) {
		if strings.Contains(path, "/testdata/") {
			return // may hold what a program must refuse
		}
		if !utf8.Valid(data) {
			t.Errorf("%s: not UTF-8", path)
		}
		line := 1
		for _, r := range string(data) {
			switch {
			case r == '\n':
				line++
			case r == '\u200d' && strings.HasSuffix(path, "_test.go"): // joins characters in names
			case unicode.IsControl(r) && r != '\t', unicode.Is(unicode.Cf, r):
				t.Errorf("%s:%d: control character %U", path, line, r)
			}
		}
	})
}

// Error texts begin in lower case and end without a full stop, so that they
// can stand inside another.
func TestErrorTextsCanStandInsideAnother(t *testing.T) {
	sources(t, func(_ string, set *token.FileSet, file *ast.File) {
		for _, problem := range errorTexts(set, file) {
			t.Errorf("%s", problem)
		}
	})
}

// errorTexts lists the literals given to errors.New and fmt.Errorf that are
// written like sentences.
func errorTexts(set *token.FileSet, file *ast.File) []string {
	var out []string
	ast.Inspect(file, func(n ast.Node) bool {
		call, ok := n.(*ast.CallExpr)
		if !ok || len(call.Args) == 0 {
			return true
		}
		f, ok := call.Fun.(*ast.SelectorExpr)
		if !ok {
			return true
		}
		x, ok := f.X.(*ast.Ident)
		literal, isText := call.Args[0].(*ast.BasicLit)
		if !ok || !isText || !(x.Name == "errors" && f.Sel.Name == "New" || x.Name == "fmt" && f.Sel.Name == "Errorf") {
			return true
		}
		text, err := strconv.Unquote(literal.Value)
		if err != nil || text == "" {
			out = append(out, fmt.Sprintf("%s: an empty error text", set.Position(literal.Pos())))
			return true
		}
		first, size := utf8.DecodeRuneInString(text)
		second, _ := utf8.DecodeRuneInString(text[size:])
		if unicode.IsUpper(first) && unicode.IsLower(second) {
			out = append(out, fmt.Sprintf("%s: %q begins in upper case", set.Position(literal.Pos()), text))
		}
		if strings.HasSuffix(text, ".") || strings.HasSuffix(text, "\n") {
			out = append(out, fmt.Sprintf("%s: %q ends like a sentence", set.Position(literal.Pos()), text))
		}
		return true
	})
	return out
}

// HOLD means stop and nothing else, in every text that the program can show,
// send or write. The word stands in capitals; as a noun, of what a record
// counts; and in names: of the program, of the line that nobody crosses, of a
// step. The cockpit's own texts and screens are held to it in package tui.
func TestHoldMeansStopInEveryText(t *testing.T) {
	texts := 0
	sources(t, func(path string, set *token.FileSet, file *ast.File) {
		if strings.HasPrefix(packageOf(path)+"/", "holdline/tui/") {
			return
		}
		ast.Inspect(file, func(n ast.Node) bool {
			if _, is := n.(*ast.ImportSpec); is {
				return false
			}
			lit, is := n.(*ast.BasicLit)
			if !is || lit.Kind != token.STRING {
				return true
			}
			text, err := strconv.Unquote(lit.Value)
			if err != nil {
				t.Fatal(err)
			}
			texts++
			if !meansStop(text) {
				t.Errorf("%s: %q uses the word for something else than stop", set.Position(lit.Pos()), text)
			}
			return true
		})
	})
	if texts < 2000 {
		t.Errorf("only %d texts were read", texts)
	}
	for text, want := range map[string]bool{"the agent holds a key": false, "nothing is on hold": false, "held for 2 s": false,
		"HOLD called": true, "waivers and holds": true, "behind the hold line": true, "key-held": true} {
		if meansStop(text) != want {
			t.Errorf("%q: want %v", text, want)
		}
	}
}

var (
	holdWord  = regexp.MustCompile(`(?i)\b(hold|holds|holding|held)\b`)
	holdNames = regexp.MustCompile(`hold[ \x{a0}]line|holdline[-A-Za-z ]*|key-held`)
	holdNouns = regexp.MustCompile(`waivers and holds|[Hh]olds and waivers|holds of the same cause|json:"holds"|^[Hh]olds?$|^holds \[FOLDER\]$|^holds: `)
)

func meansStop(text string) bool {
	rest := holdNouns.ReplaceAllString(holdNames.ReplaceAllString(text, ""), "")
	for _, word := range holdWord.FindAllString(rest, -1) {
		if word != "HOLD" {
			return false
		}
	}
	return true
}
