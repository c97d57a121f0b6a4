//go:build external

package circuit

import (
	"bufio"
	"bytes"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// spiceCases are circuits of our own that the reference folder does not have.
func spiceCases() map[string]*Problem {
	warm := alike(3)
	warm.LeadTemperatureC = 45
	warm.Lead = Lead{Kind: LeadArea, AreaM2: 0.75e-6, LengthM: 25}
	for k := range warm.Igniters {
		warm.Igniters[k].TimeConstantS *= 1 + float64(k)
		warm.Igniters[k].BranchLead.LengthM = 0.3 + 0.4*float64(k)
	}

	// The first bridge shorts; the second fires late on what is left, the third
	// never does.
	robbed := alike(3)
	robbed.Battery = Battery{VoltageV: 9, InternalOhm: 0.4, HighestInternalOhm: 0.4}
	robbed.Lead = Lead{Kind: LeadMeasured, LoopOhm: 1.6}
	robbed.Igniters[0].ShortProbability, robbed.Igniters[0].ShortOhm = 1, 0.12
	robbed.Igniters[0].TimeConstantS = 0.002
	robbed.Igniters[1].AllFireA, robbed.Igniters[1].TimeConstantS = 0.9, 0.009
	robbed.Igniters[2].NoFireA, robbed.Igniters[2].AllFireA, robbed.Igniters[2].TimeConstantS = 0.7, 2.2, 0.010

	// Below its threshold until the others have opened.
	waiting := alike(4)
	waiting.Battery = Battery{VoltageV: 6, InternalOhm: 0.8, HighestInternalOhm: 0.8}
	waiting.Lead = Lead{Kind: LeadGauge, Gauge: 22, LengthM: 20}
	for k := range 3 {
		waiting.Igniters[k].TimeConstantS = 0.003 + 0.002*float64(k)
	}
	waiting.Igniters[3].NoFireA, waiting.Igniters[3].AllFireA, waiting.Igniters[3].TimeConstantS = 0.6, 1.2, 0.006

	// Five unlike bridges: a cascade with a short in its middle.
	cascade := alike(5)
	cascade.Battery = Battery{VoltageV: 11.1, InternalOhm: 0.3, HighestInternalOhm: 0.5}
	cascade.Lead = Lead{Kind: LeadMeasured, LoopOhm: 2.4}
	for k := range cascade.Igniters {
		ig := &cascade.Igniters[k]
		ig.ResistanceOhm, ig.TimeConstantS = 0.6+0.2*float64(k), 0.003*float64(1+k)
		ig.AllFireA = 0.5 + 0.1*float64(k)
	}
	cascade.Igniters[1].ShortProbability, cascade.Igniters[1].ShortOhm = 1, 2.5
	return map[string]*Problem{"warm": warm, "robbed": robbed, "waiting": waiting, "cascade": cascade}
}

// netlist writes p for ngspice. The thermal node of bridge k is a current
// source u = I²/I_t² into 1 ohm beside τ farads; a latching switch opens or
// shorts the bridge when that node reaches 1 V. times[i] are when to read the
// currents.
func netlist(p *Problem, stepS, endS float64, times []float64) string {
	var b strings.Builder
	w := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	w("* firing circuit of %d branches", len(p.Igniters))
	w(".options method=trap reltol=1e-6 abstol=1e-10 vntol=1e-9 chgtol=1e-16 trtol=1")
	w("Vb bat 0 %.17g", p.Battery.VoltageV)
	w("Rs bat bus %.17g", p.SourceOhm())
	w("Vone one 0 1")
	w(".model ind sw(vt=0 vh=1 ron=1u roff=1e9)")
	for k := range p.Igniters {
		ig := &p.Igniters[k]
		w("Vm%d bus a%d 0", k, k)
		w("Rl%d a%d b%d %.17g", k, k, k, p.BranchLeadOhm(k))
		w("Rb%d b%d c%d %.17g", k, k, k, ig.ResistanceOhm)
		w("So%d c%d 0 th%d 0 open%d", k, k, k, k)
		w(".model open%d sw(vt=0 vh=1 ron=1e9 roff=1e-7)", k)
		if ig.ShortProbability == 1 {
			w("Ss%d b%d 0 th%d 0 short%d", k, k, k, k)
			w(".model short%d sw(vt=0 vh=1 ron=%.17g roff=1e9)", k, ig.ShortOhm)
		}
		w("Bt%d 0 th%d I=i(Vm%d)*i(Vm%d)/%.17g", k, k, k, k, ig.NoFireA*ig.AllFireA)
		w("Rt%d th%d 0 1", k, k)
		w("Ct%d th%d 0 %.17g IC=0", k, k, ig.TimeConstantS)
		w("Rq%d one q%d 1k", k, k)
		w("Sq%d q%d 0 th%d 0 ind", k, k, k)
	}
	w(".tran %.17g %.17g 0 %.17g uic", stepS, endS, stepS)
	w(".control\nset numdgt=12\nrun")
	for k := range p.Igniters {
		w("meas tran tf%d WHEN v(q%d)=0.5 FALL=1", k, k)
		for i, at := range times {
			w("meas tran i%d_%d FIND i(Vm%d) AT=%.17g", k, i, k, at)
		}
	}
	w("quit\n.endc\n.end")
	return b.String()
}

// runSpice returns ngspice's measurements by name.
func runSpice(t *testing.T, text string) map[string]float64 {
	t.Helper()
	program, err := exec.LookPath("ngspice")
	if err != nil {
		t.Fatalf("ngspice is needed for this check: %v", err)
	}
	file := filepath.Join(t.TempDir(), "circuit.cir")
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.CommandContext(t.Context(), program, "-b", file).CombinedOutput()
	if err != nil {
		t.Fatalf("ngspice: %v\n%s", err, out)
	}
	found := map[string]float64{}
	for lines := bufio.NewScanner(bytes.NewReader(out)); lines.Scan(); {
		name, value, ok := strings.Cut(lines.Text(), "=")
		if fields := strings.Fields(value); ok && len(fields) > 0 {
			if v, err := strconv.ParseFloat(fields[0], 64); err == nil {
				found[strings.TrimSpace(name)] = v
			}
		}
	}
	return found
}

// Against ngspice, a general-purpose circuit simulator: branch currents between
// all events to 1e-5 (its open switch leaks some 10 nA), firing times to the simulator's step. It sees a firing
// only at a step, and each firing delays the next by as much.
func TestAgainstNgspice(t *testing.T) {
	if n := len(spiceCases()); n < 3 {
		t.Fatalf("%d circuits, want at least 3", n)
	}
	for name, p := range spiceCases() {
		t.Run(name, func(t *testing.T) {
			if err := Validate(p); err != nil {
				t.Fatal(err)
			}
			sol := Solve(p)
			last := sol.Events[len(sol.Events)-1].TimeS
			slowest := 0.0
			for k := range p.Igniters {
				slowest = max(slowest, p.Igniters[k].TimeConstantS)
			}
			// Long enough to see that a bridge that never fires does not.
			endS := 1.2 * last
			if !sol.AllFire {
				endS += 3 * slowest
			}
			stepS := last / 40000
			// Halfway between the events, and close to the end.
			var times []float64
			for i := range sol.Events {
				next := endS
				if i+1 < len(sol.Events) {
					next = sol.Events[i+1].TimeS
				}
				times = append(times, (sol.Events[i].TimeS+next)/2)
			}
			got := runSpice(t, netlist(p, stepS, endS, times))
			for i, ev := range sol.Events {
				for k := range p.Igniters {
					amps, ok := got[fmt.Sprintf("i%d_%d", k, i)]
					if !ok || math.Abs(amps-ev.CurrentA[k]) > 1e-5*max(ev.CurrentA[k], 0.01) {
						t.Errorf("current of bridge %d after event %d: ngspice %v A (found %v), ours %v A", k, i, amps, ok, ev.CurrentA[k])
					}
				}
			}
			tolerance := stepS * float64(len(sol.Events))
			for k := range p.Igniters {
				at, fired := got[fmt.Sprintf("tf%d", k)]
				want := sol.Igniters[k].FiresS
				if fired != !math.IsInf(want, 1) {
					t.Errorf("bridge %d: ngspice fires it: %v at %v s, ours at %v s", k, fired, at, want)
				} else if fired && math.Abs(at-want) > tolerance {
					t.Errorf("bridge %d: ngspice at %v s, ours at %v s, within %v s", k, at, want, tolerance)
				}
			}
			t.Logf("%d events, last %.6g s, step %.3g s", len(sol.Events)-1, last, stepS)
		})
	}
}
