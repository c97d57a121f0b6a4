package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// A computation that is broken off ends soon, says so, answers nothing and
// leaves no file.
func TestCancelEndsAComputationWithoutAnAnswer(t *testing.T) {
	sheet := filepath.Join("testdata", "sheets", "two.toml")
	plotFile := filepath.Join(t.TempDir(), "run.svg")
	for _, args := range [][]string{
		{"predict", sheet, "--runs", "10000000", "--plot", plotFile},
		{"circuit", sheet, "--runs", "10000000"},
	} {
		ctx, cancel := context.WithTimeout(t.Context(), 100*time.Millisecond)
		broken, stop := context.WithCancel(t.Context())
		context.AfterFunc(ctx, stop)
		var out, errOut bytes.Buffer
		start := time.Now()
		got := run(broken, args, strings.NewReader(""), &out, &errOut)
		if took := time.Since(start); took > 5*time.Second {
			t.Errorf("%s: ended %v after it was broken off", args[0], took)
		}
		if got != exitFail || out.Len() > 0 || !strings.Contains(errOut.String(), "cancelled") {
			t.Errorf("%s: exit status %d, answered %q, said %q", args[0], got, out.String(), errOut.String())
		}
		if _, err := os.Stat(plotFile); !os.IsNotExist(err) {
			t.Errorf("%s: left a file: %v", args[0], err)
		}
		cancel()
		stop()
	}
}
