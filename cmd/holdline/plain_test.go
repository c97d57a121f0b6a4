package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode"

	"holdline/arming/record"
)

// hostile is what a record may say of itself: a line that looks like an answer,
// codes that move the cursor and set the colour, marks that turn the writing.
const hostile = "stopped\r\n/firing.jsonl: OK\x1b[2J\u009b1A\u2028\u202egood\u2066"

// hostileRecord is signed by the user's own key.
func hostileRecord(t *testing.T, folder string) string {
	t.Helper()
	settings, err := settingsDir()
	if err != nil {
		t.Fatal(err)
	}
	key, _, _, err := record.EnsureKey(settings)
	if err != nil {
		t.Fatal(err)
	}
	sum := record.SumSHA256([]byte("a sheet"))
	w, err := record.Create(folder, record.Header{Program: "x" + hostile, Title: hostile, Mode: record.ModeGroundBox, Practice: true,
		WaitScale: 1, Seed: "1", SheetSHA256: sum, Basis: sum, Box: record.Box{Identity: hostile}}, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := w.Append(time.Now(), time.Second, "note", map[string]string{"text": hostile}); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(time.Now(), 2*time.Second, record.Interrupted, hostile); err != nil {
		t.Fatal(err)
	}
	if _, err := record.Sign(w.Path(), key); err != nil {
		t.Fatal(err)
	}
	return w.Path()
}

// TestARecordCannotWriteOnTheTerminal runs every command that reads a record
// over one whose every text is meant for the terminal of the one who judges it.
func TestARecordCannotWriteOnTheTerminal(t *testing.T) {
	home := t.TempDir()
	for _, name := range []string{"HOME", "XDG_CONFIG_HOME", "AppData"} {
		t.Setenv(name, home)
	}
	folder := filepath.Join(t.TempDir(), "records\u202e")
	path := hostileRecord(t, folder)
	signers := filepath.Join(t.TempDir(), "signers")
	public, err := os.ReadFile(filepath.Join(home, "holdline", "record_ed25519.pub"))
	if err != nil {
		public, err = os.ReadFile(filepath.Join(home, "Library", "Application Support", "holdline", "record_ed25519.pub"))
	}
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(signers, append([]byte("good\x1b[2J\u202e namespaces=\"other\u009b\" "), public...), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{
		{"verify", path}, {"verify", folder}, {"verify", folder, "--signers", signers}, {"verify", path, "--signers", signers, "--any-signer"},
		{"verify", filepath.Join(folder, "none\n\u202e")}, {"verify", path, "--signers", filepath.Join(folder, "none\n\u202e")},
		{"holds", folder}, {"export", path, "--to", filepath.Join(home, "page.md")}, {"countersign", path, "--key", record.KeyPath(filepath.Join(home, "none\n\u202e"))},
	} {
		var out, errOut bytes.Buffer
		run(context.Background(), args, nil, &out, &errOut)
		text := out.String() + errOut.String()
		if text == "" {
			t.Errorf("%q says nothing", args)
		}
		for _, r := range text {
			if r != '\n' && unicode.IsControl(r) || unicode.Is(unicode.Cf, r) || r == '\u2028' {
				t.Errorf("%q writes %U:\n%q", args, r, text)
				break
			}
		}
		for line := range strings.Lines(text) {
			if strings.HasPrefix(line, "/firing.jsonl: OK") {
				t.Errorf("%q lets the record answer for the program:\n%s", args, text)
			}
		}
	}
}
