package main

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"holdline/tui"
)

var update = flag.Bool("update", false, "write the generated parts of README.md; look at the difference before you commit it")

// TestReadmeSaysWhatTheProgramSays holds usage, keys and picture in README.md
// against the program.
func TestReadmeSaysWhatTheProgramSays(t *testing.T) {
	path := filepath.Join(root, "README.md")
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	text := string(data)
	for _, part := range []struct{ name, want string }{
		{"usage", "```\n" + help(t) + "```\n"},
		{"keys", keyTable()},
		{"screen", "```\n" + golden(t, "setup-range-clear-80x24") + "```\n"},
	} {
		before, rest, ok := strings.Cut(text, "<!-- "+part.name)
		marker, rest, ok2 := strings.Cut(rest, "-->\n")
		got, after, ok3 := strings.Cut(rest, "<!-- end of "+part.name+" -->")
		if !ok || !ok2 || !ok3 {
			t.Fatalf("README.md has no place for %s", part.name)
		}
		if got == part.want {
			continue
		}
		if !*update {
			t.Errorf("%s in README.md differs; run: go test ./cmd/holdline -run TestReadme -update\ngot\n%s\nwant\n%s", part.name, got, part.want)
		}
		text = before + "<!-- " + part.name + marker + "-->\n" + part.want + "<!-- end of " + part.name + " -->" + after
	}
	if *update {
		if err := writeFile(path, []byte(text)); err != nil {
			t.Fatal(err)
		}
	}
}

// help is what holdline --help writes.
func help(t *testing.T) string {
	t.Helper()
	var out, errOut bytes.Buffer
	if got := run(t.Context(), []string{"--help"}, strings.NewReader(""), &out, &errOut); got != exitYes {
		t.Fatalf("--help: exit status %d: %s", got, errOut.String())
	}
	return out.String()
}

// golden is a screen that the cockpit's tests hold the cockpit to.
func golden(t *testing.T, name string) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(root, "tui", "testdata", name+".golden"))
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// keyTable lists the cockpit's keys in their order.
func keyTable() string {
	var b strings.Builder
	b.WriteString("| key | what it does |\n| --- | --- |\n")
	for _, k := range tui.Keys() {
		fmt.Fprintf(&b, "| `%s` | %s |\n", k.Help().Key, k.Help().Desc)
	}
	return b.String()
}

// The README is what a newcomer reads first: the job, then the two commands,
// then the cautions, before anything else.
func TestReadmeBeginsWithTheJobAndTheTwoCommands(t *testing.T) {
	data, err := os.ReadFile(filepath.Join(root, "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	at := -1
	for _, want := range []string{"# holdline\n", "It can never start one", "\ngo run ./cmd/holdline ", "\ngo test ./... ",
		"\n## What it does not do", "\n## The screen", "\n## First firing", "\n## Keys", "\n## The run sheet", "\n## The ground box",
		"\n## The record", "\n## Usage", "\n## Exit status", "\n## Licence"} {
		next := strings.Index(string(data), want)
		if next <= at {
			t.Errorf("README.md: %q is missing or out of order", want)
		}
		at = max(at, next)
	}
}

// Every subcommand has a help text with an example, and every example names a
// command and flags that exist.
func TestHelpExamplesAreRealCommandLines(t *testing.T) {
	p := &program{}
	commands := p.rootCommand().Commands()
	if len(commands) < 10 {
		t.Fatalf("%d subcommands, want 10 at least", len(commands))
	}
	for _, c := range append(commands, p.rootCommand()) {
		if c.Name() == "help" || c.Name() == "completion" {
			continue
		}
		if c.Example == "" || c.Short == "" {
			t.Errorf("%s has no example or no short text", c.Name())
		}
		for _, line := range strings.Split(c.Long+"\n"+c.UsageString(), "\n") {
			if width := utf8.RuneCountInString(line); width > 80 {
				t.Errorf("%s: a line of %d columns in the help, at most 80: %q", c.Name(), width, line)
			}
		}
		for _, line := range strings.Split(c.Example, "\n") {
			line, _, _ = strings.Cut(strings.TrimSpace(line), "   ")
			for _, call := range strings.Split(line, "&&") {
				words := strings.Fields(strings.ReplaceAll(call, `"`, ""))
				found, rest, err := p.rootCommand().Find(words[1:])
				if words[0] != "holdline" || err != nil {
					t.Errorf("%s: example %q: %v", c.Name(), call, err)
					continue
				}
				for _, word := range rest {
					if name, ok := strings.CutPrefix(word, "--"); ok && found.Flags().Lookup(name) == nil && found.InheritedFlags().Lookup(name) == nil {
						t.Errorf("%s: example %q: no flag --%s", c.Name(), call, name)
					}
				}
			}
		}
	}
}
