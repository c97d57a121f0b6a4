package quietstart

import (
	"go/parser"
	"go/token"
	"os"
	"testing"
)

// What makes the package come before Bubble Tea is that it imports os alone
// (see the package comment).
func TestImportsOsAlone(t *testing.T) {
	f, err := parser.ParseFile(token.NewFileSet(), "quietstart.go", nil, parser.ImportsOnly)
	if err != nil {
		t.Fatal(err)
	}
	if len(f.Imports) != 1 || f.Imports[0].Path.Value != `"os"` {
		t.Errorf("imports %v, want os alone", f.Imports)
	}
}

func TestRestoreTakesBack(t *testing.T) {
	if !set && os.Getenv(variable) == "" {
		t.Fatal("the start said nothing")
	}
	said := set
	Restore()
	if said && os.Getenv(variable) != "" {
		t.Errorf("%s is still %q", variable, os.Getenv(variable))
	}
	Restore()
}
