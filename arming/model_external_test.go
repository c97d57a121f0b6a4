//go:build external

package arming

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// The independent model: testdata/promela, checked with spin. Its README says
// how the model is read and what it leaves out.

// verdict is what one verification came to.
type verdict struct {
	errors, states, transitions int
	broken                      string // the assertion that failed, "" for none
	folder                      string
	out                         string
}

var (
	verdictLine    = regexp.MustCompile(`errors: (\d+)`)
	statesLine     = regexp.MustCompile(`(\d+(?:\.\d+e\+\d+)?) states, stored`)
	transitionLine = regexp.MustCompile(`(\d+(?:\.\d+e\+\d+)?) transitions`)
	brokenLine     = regexp.MustCompile(`assertion violated\s+!?\(?(\w+)`)
	leftOutLine    = regexp.MustCompile(`(?m)^error: .*$`)
)

// verify runs spin, the C compiler and the verifier that they make, in a folder
// of its own, with these macros defined. mutate, if any, changes the model
// first.
func verify(t *testing.T, macros []string, mutate func(name, text string) string) verdict {
	t.Helper()
	dir := t.TempDir()
	files, err := filepath.Glob("testdata/promela/*.[ph]*")
	if err != nil || len(files) < 5 {
		t.Fatalf("the model's files: %v, %v", files, err)
	}
	for _, f := range files {
		b, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		text := string(b)
		if mutate != nil {
			text = mutate(filepath.Base(f), text)
		}
		if err := os.WriteFile(filepath.Join(dir, filepath.Base(f)), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	var spinArgs []string
	for _, m := range macros {
		spinArgs = append(spinArgs, "-D"+m)
	}
	run(t, dir, "spin", append(spinArgs, "-a", "arming.pml")...)
	// Safety only, no fairness; one process, so that there is nothing for a
	// partial order to reduce.
	run(t, dir, "gcc", "-O1", "-w", "-DSAFETY", "-DNOFAIR", "-DNOREDUCE", "-DMEMLIM=3500", "-o", "pan", "pan.c")
	v := verdict{folder: dir, out: run(t, dir, "./pan", "-m4000000", "-w22")}
	if bad := leftOutLine.FindString(v.out); bad != "" {
		t.Fatalf("not everything was looked at: %s", bad)
	}
	v.errors, v.states, v.transitions = v.number(t, verdictLine), v.number(t, statesLine), v.number(t, transitionLine)
	if m := brokenLine.FindStringSubmatch(v.out); m != nil {
		v.broken = m[1]
	}
	return v
}

func run(t *testing.T, dir, name string, args ...string) string {
	t.Helper()
	cmd := exec.Command(name, args...)
	cmd.Dir = dir
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	if err := cmd.Run(); err != nil {
		t.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, out.String())
	}
	return out.String()
}

func (v *verdict) number(t *testing.T, line *regexp.Regexp) int {
	t.Helper()
	m := line.FindStringSubmatch(v.out)
	if m == nil {
		t.Fatalf("no %v in\n%s", line, v.out)
	}
	n, err := strconv.ParseFloat(m[1], 64)
	if err != nil {
		t.Fatal(err)
	}
	return int(n)
}

// mustBeClean fails unless the whole space was searched without an error.
func (v *verdict) mustBeClean(t *testing.T) {
	t.Helper()
	t.Logf("%d states, %d transitions, errors: %d", v.states, v.transitions, v.errors)
	if v.errors != 0 || v.broken != "" || strings.Contains(v.out, "invalid end state") && strings.Contains(v.out, "pan:1:") {
		t.Fatalf("%s\n%s", v.broken, v.out)
	}
	if v.states < 100_000 {
		t.Fatalf("only %d states: the model has lost its world", v.states)
	}
}

// TestModelReachesNoLoss: no loss, no broken invariant and no dead end in the
// independent model of machine and world.
func TestModelReachesNoLoss(t *testing.T) {
	t.Parallel()
	v := verify(t, nil, nil)
	v.mustBeClean(t)
}

// TestModelReachesSetup: from every state, with the permit welded or not, a crew
// that means well comes to SETUP, also if nobody mends the relay.
func TestModelReachesSetup(t *testing.T) {
	t.Parallel()
	v := verify(t, []string{"REACH", "FAULT=1"}, nil)
	v.mustBeClean(t)
	v = verify(t, []string{"REACH", "NO_MEND", "FAULT=1"}, nil)
	v.mustBeClean(t)
}

// TestModelWithASlowDisk: the same, and no loss, when lines reach the disk whenever
// they like, or too late, in a world without hardware faults.
func TestModelWithASlowDisk(t *testing.T) {
	t.Parallel()
	v := verify(t, []string{"REACH", "SLOW_DISK", "FAULT=0"}, nil)
	v.mustBeClean(t)
}

// TestModelNeedsEachRule goes without one rule at a time, in the smallest world
// that shows it, and must find what that rule stands against: the check can
// fail. Without a rule of a pause an invariant breaks. The last two leave SETUP
// out of reach.
func TestModelNeedsEachRule(t *testing.T) {
	for _, r := range []struct {
		macros string
		broken string
	}{
		{"NO_R01 FAULT=0 FROM_READY NARROW", "going_forward_without_a_full_wait"},
		{"NO_R03 FAULT=0 FROM_READY", "going_forward_without_a_full_wait"},
		{"NO_R06 FAULT=0 FROM_READY", "test_current_with_a_person_forward"},
		{"NO_R08 FAULT=0 FROM_READY NARROW", "going_forward_without_a_full_wait"},
		{"NO_R12 FAULT=1 FROM_READY NARROW", "current_with_a_person_forward"},
		{"NO_R17 FAULT=3 FROM_READY NARROW", "current_without_a_hand"},
		{"NO_R18 FAULT=3 FROM_READY", "current_without_a_hand"},
		{"NO_R21 FAULT=0 FROM_READY NARROW", "going_forward_without_a_full_wait"},
		{"NO_OWNER FAULT=0 FROM_READY NARROW", "I02"},
		{"NO_STAND FAULT=0 FROM_READY NARROW", "I02"},
		{"NO_PAUSE_END FAULT=0 FROM_READY NARROW", "I18"},
		{"NO_R15 FAULT=0 FROM_READY NARROW", "I17"},
		{"REACH NO_PAST_WELD NO_MEND FAULT=1", "SETUP_reached"},
		{"REACH NO_ROLL FAULT=0", "SETUP_reached"},
	} {
		t.Run(r.macros, func(t *testing.T) {
			t.Parallel()
			v := verify(t, strings.Fields(r.macros), nil)
			if v.errors == 0 {
				t.Fatalf("nothing is found in %d states without it", v.states)
			}
			if v.broken != r.broken {
				t.Errorf("%s is found, want %s", v.broken, r.broken)
			}
			t.Logf("%s, after %d states", v.broken, v.states)
		})
	}
}
