//go:build unix

package record

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// The tests of this file run the test binary again as a writer of its own.
const (
	childEnv = "RECORD_TEST_CHILD" // what the child does
	dirEnv   = "RECORD_TEST_DIR"
	limitEnv = "RECORD_TEST_LIMIT" // bytes that a file may have
)

func TestMain(m *testing.M) {
	if what := os.Getenv(childEnv); what != "" {
		if err := child(what); err != nil {
			fmt.Println("error", err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// child writes until it is killed or the file is full, and says after each
// line that it has been told is on disk.
func child(what string) error {
	if what == "limited" {
		n, err := strconv.ParseUint(os.Getenv(limitEnv), 10, 64)
		if err != nil {
			return err
		}
		signal.Ignore(syscall.SIGXFSZ)
		if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: n, Max: n}); err != nil {
			return err
		}
	}
	w, err := Create(os.Getenv(dirEnv), exampleHeader(), testTime)
	if err != nil {
		return err
	}
	fmt.Println("ack 1")
	for i := 0; ; i++ { // it never ends by itself: who kills it may be late
		seq, _, err := w.Append(testTime, time.Duration(i), "answer", map[string]string{"text": strings.Repeat("x", i%300)})
		if err != nil {
			if _, _, again := w.Append(testTime, 0, "answer", nil); !errors.Is(again, ErrBroken) {
				return fmt.Errorf("append after an error: %w", again)
			}
			return err
		}
		fmt.Println("ack", seq)
	}
}

func startChild(t *testing.T, what, dir string, limit int) (*exec.Cmd, *bufio.Scanner) {
	t.Helper()
	exe, err := os.Executable()
	must(t, err)
	cmd := exec.Command(exe)
	cmd.Env = append(os.Environ(), childEnv+"="+what, dirEnv+"="+dir, limitEnv+"="+strconv.Itoa(limit))
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	must(t, err)
	must(t, cmd.Start())
	return cmd, bufio.NewScanner(out)
}

// A writer that is killed at any moment leaves all that it was told is on
// disk, and a record that is taken up again, closed and signed; the next one
// follows it.
func TestKilledWriterLosesNothing(t *testing.T) {
	dir := t.TempDir()
	for round := range 6 {
		cmd, out := startChild(t, "write", dir, 0)
		acked, killed := 0, false
		for out.Scan() {
			n, ok := strings.CutPrefix(out.Text(), "ack ")
			if !ok {
				t.Fatalf("child: %s", out.Text())
			}
			acked, _ = strconv.Atoi(n)
			if acked > 1+round*7 && !killed {
				killed = true
				must(t, cmd.Process.Kill())
			}
		}
		cmd.Wait()
		if !killed {
			t.Fatal("the child ended by itself")
		}
		open, err := LastOpen(dir)
		if err != nil || len(open) != 1 || !open[0].Recoverable() {
			t.Fatalf("got %+v, %v", open, err)
		}
		if got := len(open[0].Log.Entries); got < acked {
			t.Fatalf("%d entries acknowledged, %d on disk", acked, got)
		}
		w, _, err := Recover(open[0].Path, testTime, "p")
		must(t, err)
		must(t, w.Close(testTime, 0, Interrupted, "killed"))
		_, err = Sign(w.Path(), testKey(t, 1))
		must(t, err)
	}
	if d := verifyDir(t, dir); d.Status != OK || len(d.Records) != 6 {
		t.Errorf("got %v of %d records\n%s", d.Status, len(d.Records), d.text())
	}
}

// A file that may not grow any further is what a full disk looks like: the
// kernel itself writes half a line and then refuses.
func TestFullDisk(t *testing.T) {
	stubs := 0
	for limit := 0; limit < 1600; limit += 83 {
		dir := t.TempDir()
		cmd, out := startChild(t, "limited", dir, limit)
		acked, failure := 0, ""
		for out.Scan() {
			if n, ok := strings.CutPrefix(out.Text(), "ack "); ok {
				acked, _ = strconv.Atoi(n)
			} else {
				failure = out.Text()
			}
		}
		cmd.Wait()
		if !strings.Contains(failure, syscall.EFBIG.Error()) {
			t.Fatalf("limit %d: child said %q, want %q in it", limit, failure, syscall.EFBIG)
		}
		paths, err := recordPaths(dir)
		must(t, err)
		if acked == 0 {
			if stubs++; len(paths) != 0 {
				t.Errorf("limit %d: a start that failed left %v", limit, paths)
			}
			continue
		}
		log, err := Parse(readFile(t, paths[0]))
		if err != nil && !errors.Is(err, ErrTorn) || len(log.Entries) != acked {
			t.Errorf("limit %d: %d acknowledged, %d on disk, %v", limit, acked, len(log.Entries), err)
		}
		checkAfterFault(t, paths[0], acked, fmt.Errorf("%w: disk full", ErrBroken))
	}
	if stubs == 0 || stubs > 15 {
		t.Errorf("%d of the limits were too small for a first line: the sweep misses a side", stubs)
	}
}

func TestFolderThatCannotBeWritten(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "readonly")
	must(t, os.Mkdir(dir, 0o755))
	path := writeRecord(t, dir, exampleHeader(), testTime, 1)
	before := readFile(t, path)
	for _, d := range []string{dir, filepath.Dir(dir), filepath.Dir(filepath.Dir(dir))} {
		must(t, os.Chmod(d, 0o755))
	}
	must(t, os.Chmod(dir, 0o555))
	t.Cleanup(func() { os.Chmod(dir, 0o755) })
	withoutRights(t, func() {
		if w, err := Create(dir, exampleHeader(), testTime); !errors.Is(err, os.ErrPermission) {
			t.Errorf("create: got %v, %v, want %v", w, err, os.ErrPermission)
		}
		if w, err := Create(filepath.Join(dir, "new"), exampleHeader(), testTime); !errors.Is(err, os.ErrPermission) {
			t.Errorf("create in a new folder: got %v, %v, want %v", w, err, os.ErrPermission)
		}
		if sig, err := Sign(path, testKey(t, 1)); !errors.Is(err, os.ErrPermission) {
			t.Errorf("sign: got %q, %v, want %v", sig, err, os.ErrPermission)
		}
		if r := VerifyFile(path, Options{AnySigner: true}); r.Status != Unsigned {
			t.Errorf("verify only reads: got %v\n%s", r.Status, r.text())
		}
		if _, err := LastOpen(dir); err != nil {
			t.Errorf("looking for open records only reads: got %v", err)
		}
	})
	names, err := os.ReadDir(dir)
	must(t, err)
	if string(readFile(t, path)) != string(before) || len(names) != 2 { // the record and the lock
		t.Errorf("something was written: %v", names)
	}
}
