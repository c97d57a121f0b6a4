//go:build external

package arming

import (
	"encoding/hex"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

var updateModel = flag.Bool("update", false, "write the golden table of the independent model anew")

// ambiguous marks a step of the model that did not always come to the same.
const ambiguous = 128

// readModelTable reads what the search has written.
func readModelTable(t *testing.T, file string) []modelStep {
	t.Helper()
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	const size = int(modelFields)*2 + 4
	if len(b) == 0 || len(b)%size != 0 {
		t.Fatalf("%s: %d bytes are no rows of %d", file, len(b), size)
	}
	var steps []modelStep
	for ; len(b) > 0; b = b[size:] {
		n := int(modelFields)
		steps = append(steps, modelStep{before: modelState(b[:n]), told: b[n], bits: int(b[n+1]) | int(b[n+2])<<8, done: b[n+3], after: modelState(b[n+4 : size])})
	}
	return steps
}

// comparison is the table of phases and events, made from both sides, and the
// steps in which the two are not alike in every field.
type comparison struct {
	model, machine map[string]string // line → a step that makes it
	differ         int
	first          string
}

func compareModel(steps []modelStep) comparison {
	p := modelPlan()
	c := comparison{model: map[string]string{}, machine: map[string]string{}}
	for i := range steps {
		st := &steps[i]
		done, after, broken := goStep(p, &st.before, st.told, st.bits)
		witness := hex.EncodeToString(append(append([]byte{}, st.before[:]...), st.told, byte(st.bits), byte(st.bits>>8)))
		for side, line := range map[*map[string]string]string{&c.model: tableLine(&st.before, st.told, st.done, &st.after),
			&c.machine: tableLine(&st.before, st.told, done, &after)} {
			if old, ok := (*side)[line]; !ok || witness < old {
				(*side)[line] = witness
			}
		}
		if broken == nil && done == st.done && after == st.after {
			continue
		}
		if c.differ++; c.first == "" {
			c.first = st.story(done, &after, broken)
		}
	}
	return c
}

// story tells how a step differs.
func (st *modelStep) story(done byte, after *modelState, broken error) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%v, told %s %#x: the model does %05b, the machine %05b\n", Phase(st.before[fPhase]), toldNames[st.told], st.bits, st.done, done)
	for f, name := range modelFieldNames {
		if st.before[f] != 0 || st.after[f] != 0 || after[f] != 0 {
			mark := ""
			if st.after[f] != after[f] {
				mark = "   <---"
			}
			fmt.Fprintf(&b, "  %-14s %d, model %d, machine %d%s\n", name, st.before[f], st.after[f], after[f], mark)
		}
	}
	if broken != nil {
		fmt.Fprintf(&b, "  %v\n", broken)
	}
	return b.String()
}

// onlyIn lists the lines of a that b has not.
func onlyIn(a, b map[string]string) []string {
	var out []string
	for line := range a {
		if _, ok := b[line]; !ok {
			out = append(out, line)
		}
	}
	slices.Sort(out)
	return out
}

// TestModelTableIsTheMachines makes every step that the model's search has
// made with the real Step, and compares state after, effects and refusal with
// the model's: the two tables of phases and events are equal, and so is every
// field that the model knows.
func TestModelTableIsTheMachines(t *testing.T) {
	t.Parallel()
	v := verify(t, []string{"TABLE", "FAULT=0"}, nil)
	v.mustBeClean(t)
	steps := readModelTable(t, filepath.Join(v.folder, "table.bin"))
	paused := 0
	for i := range steps {
		paused += int(steps[i].before[fPaused])
		if steps[i].done&ambiguous != 0 {
			t.Fatalf("the model does not say what follows from %v, told %s", Phase(steps[i].before[fPhase]), toldNames[steps[i].told])
		}
	}
	c := compareModel(steps)
	t.Logf("%d steps of the machine compared, %d of them in a pause of the count, %d lines of the table", len(steps), paused, len(c.model))
	if paused == 0 {
		t.Error("the search has never come to a pause of the count")
	}
	if c.differ > 0 {
		t.Errorf("%d steps differ, such as\n%s", c.differ, c.first)
	}
	for _, line := range onlyIn(c.model, c.machine) {
		t.Errorf("only the model has %s", line)
	}
	for _, line := range onlyIn(c.machine, c.model) {
		t.Errorf("only the machine has %s", line)
	}
	if t.Failed() {
		return
	}
	checkModelGolden(t, c.machine)
}

// checkModelGolden compares the table with the golden one, with which go
// test compares the machine where there is no spin.
func checkModelGolden(t *testing.T, table map[string]string) {
	t.Helper()
	var lines []string
	for line, witness := range table {
		lines = append(lines, line+" # "+witness+"\n")
	}
	slices.Sort(lines)
	got := strings.Join(lines, "")
	if *updateModel {
		if err := os.WriteFile(modelTableFile, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(modelTableFile)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s is not the table that the search has written: go test -tags external -run ModelTable -update ./arming, and look at the difference", modelTableFile)
	}
}

// TestModelTableCanDiffer: a model in which two wrong codes are a HOLD is not taken for
// the machine.
func TestModelTableCanDiffer(t *testing.T) {
	t.Parallel()
	const right, wrong = "tries == 3", "tries == 2"
	found := false
	v := verify(t, []string{"TABLE", "FAULT=0", "FROM_READY", "NARROW", "FOR_TABLE_ONLY"}, func(_, text string) string {
		found = found || strings.Contains(text, right)
		return strings.Replace(text, right, wrong, 1)
	})
	if !found {
		t.Fatalf("%q is not in the model any more", right)
	}
	c := compareModel(readModelTable(t, filepath.Join(v.folder, "table.bin")))
	if c.differ == 0 || len(onlyIn(c.model, c.machine)) == 0 {
		t.Fatalf("%d steps differ, and the tables are the same", c.differ)
	}
	t.Logf("%d steps differ, such as\n%s", c.differ, c.first)
}
