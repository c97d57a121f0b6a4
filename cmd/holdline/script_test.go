package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
	"golang.org/x/crypto/ssh"

	"holdline/arming/record"
)

// TestMain lets the scripts run this test binary as the command itself.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"holdline": main})
}

// TestScripts runs testdata/*.txtar. Beside the runner's own commands they use
//
//	status N holdline …   runs it and demands that exit status
//	makerecord DIR NAME   writes a signed record of a practice firing that was
//	                      broken off into DIR, by the key of NAME; "own" is the
//	                      key that the command makes for its user. The key's
//	                      line for allowed_signers goes to NAME.signer.
//	makedrill DIR SECONDS [waived]
//	                      writes the signed record of a drill into DIR, by the
//	                      key of the command's user: a spotter calls HOLD, and
//	                      after so many seconds the crew does; "waived" lets
//	                      an advisory limit pass before that
//	jsonlike FILE         demands that the last standard output is one JSON
//	                      value of the shape of FILE, see jsonShape
//
// $SHEETS is the folder of the shared sheets.
func TestScripts(t *testing.T) {
	sheets, err := filepath.Abs(filepath.Join("testdata", "sheets"))
	if err != nil {
		t.Fatal(err)
	}
	scripts, err := filepath.Glob(filepath.Join("testdata", "*.txtar"))
	if err != nil || len(scripts) < leastScripts {
		t.Fatalf("found %d scripts, want %d at least: %v", len(scripts), leastScripts, err)
	}
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata",
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		Setup: func(env *testscript.Env) error {
			env.Setenv("SHEETS", sheets)
			// A home of its own: no script reads or makes a key elsewhere.
			for _, name := range []string{"HOME", "XDG_CONFIG_HOME", "XDG_STATE_HOME", "AppData", "LocalAppData"} {
				env.Setenv(name, filepath.Join(env.WorkDir, "home", name))
			}
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"status":     runForStatus,
			"jsonlike":   checkJSONShape,
			"makerecord": makeRecord,
			"makedrill":  makeDrill,
		},
	})
}

// leastScripts guards against a glob that finds nothing.
const leastScripts = 8

func runForStatus(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: status N command...")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	got := 0
	if err := ts.Exec(args[1], args[2:]...); err != nil {
		var exit *exec.ExitError
		if !errors.As(err, &exit) {
			ts.Fatalf("%v", err)
		}
		got = exit.ExitCode()
	}
	if got != want {
		ts.Fatalf("exit status %d, want %d", got, want)
	}
}

func makeRecord(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: makerecord DIR NAME")
	}
	settings := ts.MkAbs(args[1])
	if args[1] == "own" {
		settings = filepath.Join(ts.Getenv("XDG_CONFIG_HOME"), "holdline")
		if runtime.GOOS == "darwin" {
			settings = filepath.Join(ts.Getenv("HOME"), "Library", "Application Support", "holdline")
		}
	}
	signer, _, _, err := record.EnsureKey(settings)
	ts.Check(err)
	now := time.Now()
	sum := record.SumSHA256([]byte("a sheet"))
	w, err := record.Create(ts.MkAbs(args[0]), record.Header{
		Program: version, Title: "A firing that was broken off", Mode: record.ModeGroundBox, Practice: true,
		WaitScale: 1, Seed: "1", SheetSHA256: sum, Basis: sum, Curves: map[string]record.Hash{}, Box: record.Box{Identity: "invented,PRACTICE,0001,1", Serial: "0001"},
	}, now)
	ts.Check(err)
	_, _, err = w.Append(now, time.Second, "note", map[string]string{"text": "a note beside the machine"})
	ts.Check(err)
	ts.Check(w.Close(now, 2*time.Second, record.Interrupted, "the test ends it"))
	_, err = record.Sign(w.Path(), signer)
	ts.Check(err)
	ts.Check(os.Rename(w.Path(), filepath.Join(ts.MkAbs(args[0]), "firing.jsonl")))
	ts.Check(os.Rename(w.Path()+".sig", filepath.Join(ts.MkAbs(args[0]), "firing.jsonl.sig")))
	line := args[1] + ` namespaces="` + record.Namespace + `" ` + string(ssh.MarshalAuthorizedKey(signer.PublicKey()))
	ts.Check(os.WriteFile(ts.MkAbs(args[1]+".signer"), []byte(line), 0o600))
}

func checkJSONShape(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: jsonlike FILE")
	}
	var got, want any
	if err := json.Unmarshal([]byte(ts.ReadFile("stdout")), &got); err != nil {
		ts.Fatalf("standard output is not JSON: %v", err)
	}
	ts.Check(json.Unmarshal([]byte(ts.ReadFile(args[0])), &want))
	for _, difference := range jsonShape("$", got, want) {
		ts.Logf("%s", difference)
		defer ts.Fatalf("the shape differs")
	}
}

// jsonShape compares the shape of a JSON value with a pattern: the same keys
// and the same kinds of value. A pattern null takes a number or null, "…" any
// text; another text, true and false must be equal. Each item of an array must
// fit the pattern's first.
func jsonShape(path string, got, want any) []string {
	bad := func(format string, args ...any) []string { return []string{path + ": " + fmt.Sprintf(format, args...)} }
	switch w := want.(type) {
	case map[string]any:
		g, ok := got.(map[string]any)
		if !ok {
			return bad("got %v, want an object", got)
		}
		var out []string
		for key, value := range w {
			if _, ok := g[key]; !ok {
				out = append(out, bad("no key %q", key)...)
				continue
			}
			out = append(out, jsonShape(path+"."+key, g[key], value)...)
		}
		for key := range g {
			if _, ok := w[key]; !ok {
				out = append(out, bad("key %q is not specified", key)...)
			}
		}
		return out
	case []any:
		g, ok := got.([]any)
		if !ok {
			return bad("got %v, want an array", got)
		}
		if len(w) == 0 {
			return nil
		}
		if len(g) == 0 {
			return bad("an empty array, want items")
		}
		var out []string
		for i, item := range g {
			out = append(out, jsonShape(fmt.Sprintf("%s[%d]", path, i), item, w[0])...)
		}
		return out
	case string:
		if g, ok := got.(string); !ok || w != "…" && g != w {
			return bad("got %v, want text %q", got, w)
		}
	case bool:
		if got != want {
			return bad("got %v, want %v", got, want)
		}
	case float64:
		if _, ok := got.(float64); !ok {
			return bad("got %v, want a number", got)
		}
	case nil:
		if _, ok := got.(float64); !ok && got != nil {
			return bad("got %v, want a number or null", got)
		}
	}
	return nil
}

func TestJSONShapeTellsDifferences(t *testing.T) {
	const pattern = `{"a": 0, "b": null, "c": [{"d": "…"}], "e": true}`
	cases := []struct {
		value string
		want  int
	}{
		{`{"a": 1, "b": 2, "c": [{"d": "x"}, {"d": "y"}], "e": true}`, 0},
		{`{"a": 1, "b": null, "c": [{"d": "x"}], "e": true}`, 0},
		{`{"a": null, "b": null, "c": [{"d": "x"}], "e": true}`, 1},
		{`{"a": 1, "b": "2", "c": [], "e": false}`, 3},
		{`{"a": 1, "b": 2, "c": [{"d": 1, "f": 0}]}`, 3},
	}
	for _, c := range cases {
		var got, want any
		if err := errors.Join(json.Unmarshal([]byte(c.value), &got), json.Unmarshal([]byte(pattern), &want)); err != nil {
			t.Fatal(err)
		}
		if differences := jsonShape("$", got, want); len(differences) != c.want {
			t.Errorf("%s: got %d differences, want %d: %s", c.value, len(differences), c.want, strings.Join(differences, "; "))
		}
	}
}

// TestWriteFileIsWholeOrNotThere holds the writer of answer files to its word.
func TestWriteFileIsWholeOrNotThere(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "answer.csv")
	for _, text := range []string{"one", "another"} {
		if err := writeFile(path, []byte(text)); err != nil {
			t.Fatal(err)
		}
		if got, err := os.ReadFile(path); err != nil || string(got) != text {
			t.Errorf("got %q, %v, want %q", got, err, text)
		}
	}
	if err := writeFile(folder, []byte("x")); err == nil {
		t.Error("a folder was replaced by a file")
	}
	if err := writeFile(filepath.Join(folder, "none", "answer.csv"), []byte("x")); err == nil {
		t.Error("a file was written into a folder that is not there")
	}
	names, err := filepath.Glob(filepath.Join(folder, "*"))
	hidden, hiddenErr := filepath.Glob(filepath.Join(folder, ".*"))
	if err != nil || hiddenErr != nil || len(names) != 1 || len(hidden) != 0 {
		t.Errorf("left behind: %v %v", names, hidden)
	}
}
