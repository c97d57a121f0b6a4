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
	reports "holdline/arming/record/report"
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

// TestARecordOfTheFirstEdition is valid, and says what it cannot show; one whose
// states differ by the rules known today is another version's, also where every
// version is called the same.
func TestARecordOfTheFirstEdition(t *testing.T) {
	folder := filepath.Join("..", "..", "testdata", "record")
	found, err := filepath.Glob(filepath.Join(folder, "*.jsonl"))
	if err != nil || len(found) != 1 {
		t.Fatalf("%v, %v", found, err)
	}
	var out, errOut bytes.Buffer
	if status := run(context.Background(), []string{"verify", found[0], "--signers", filepath.Join(folder, "allowed_signers")}, nil, &out, &errOut); status != exitYes {
		t.Errorf("exit status %d\n%s%s", status, &out, &errOut)
	}
	if n := strings.Count(out.String(), "note: first edition: what was observed and predicted is not bound to the events\n"); n != 1 {
		t.Errorf("%d notes in\n%s", n, &out)
	}
	data, err := os.ReadFile(found[0])
	if err != nil {
		t.Fatal(err)
	}
	log, err := record.Parse(data)
	if err != nil {
		t.Fatal(err)
	}
	for i, e := range log.Entries {
		log.Entries[i].Body = bytes.Replace(e.Body, []byte(`"phase":"COUNT"`), []byte(`"phase":"WINDOW"`), 1)
	}
	var prev record.Hash
	var forged []byte
	for _, e := range log.Entries {
		e.Prev = prev
		line, err := e.Encode()
		if err != nil {
			t.Fatal(err)
		}
		prev, forged = record.HashLine(line), append(append(forged, line...), '\n')
	}
	answer := &verifyAnswer{followed: map[*record.Entry]*reports.Follower{}}
	r := record.VerifyBytes(found[0], forged, nil, record.Options{Replay: answer.replay, Program: log.Header.Program})
	if r.Status != record.OtherVersion {
		t.Errorf("%v: %+v", r.Status, r.Findings)
	}
}
