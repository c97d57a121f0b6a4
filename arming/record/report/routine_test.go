package report

import (
	"crypto/ed25519"
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"golang.org/x/crypto/ssh"

	"holdline/arming"
	"holdline/arming/groundbox/wire"
	"holdline/arming/record"
	"holdline/arming/record/journal"
	"holdline/checklist"
)

// signOn answers everything up to the prediction, and closes the line.
func (f *firing) signOn() {
	f.t.Helper()
	f.words("crew/firing officer", officer)
	f.words("crew/range officer", ranger)
	f.words("crew/north gate", "Nora Lind")
	f.words("crew/south bank", "Sven Ostrow")
	f.words("briefing", "all four heard it, arms crossed means hold")
	f.tick(150 * time.Millisecond)
	f.must(arming.Answer{Step: "code", Value: 4, Means: arming.MeansTyped})
	if f.ground == "" {
		f.ground = "short grass, two buckets, extinguisher at the table"
	}
	f.words("ground", f.ground)
	f.typed("wind", 2.1)
	if f.dusk {
		f.typed("daylight", 45) // seen first, then waived
		f.must(arming.Waive{Step: "daylight", Value: 45, Why: "one run only, lamps stand at both posts", By: ranger})
	} else {
		f.typed("daylight", 300)
	}
	f.words("mark", "sb-3")
	f.typed("mass", 1.452)
	f.words("motors", fmt.Sprintf("%d of class D, plover lot 12", f.p.Motors))
	f.typed("motors-brought", float64(f.p.Motors+2))
	f.words("igniters", "bridge kind B, lot 7")
	f.typed("igniters-brought", float64(f.p.Motors+6))
	f.typed("igniter-lots", 1)
	f.typed("battery-rest", 14)
	f.words("running-gear", "four wheels turn, guide slides, retention holds")
	f.words("stops", "brake bites, gravel raked")
	f.tick(150 * time.Millisecond)
	f.must(arming.Answer{Step: "prediction/firing officer", Value: 1, Means: arming.MeansComputed})
	body, err := record.Canonical(predictionBody(f.t, f.p.Motors))
	if err != nil {
		f.t.Fatal(err)
	}
	f.must(arming.Answer{Step: "prediction", Value: 1, Means: arming.MeansComputed, Shown: record.SumSHA256(body).String()})
	f.lines(f.j.Flush())
	f.append(f.now(), journal.KindPrediction, body)
	f.must(arming.CloseLine{By: ranger, Count: 4})
}

// predictionBody is an invented prediction in the form of the record.
func predictionBody(t *testing.T, motors int) map[string]any {
	t.Helper()
	var speed, band []map[string]any
	for i := range 61 {
		x := 2.2 * float64(i)
		v := 38 * (1 - (x-40)*(x-40)/8600)
		if x < 40 {
			v = 38 * (1 - (x-40)*(x-40)/1600)
		}
		v = max(v, 0)
		speed = append(speed, map[string]any{"distance_m": x, "speed_m_s": v})
		band = append(band, map[string]any{"distance_m": x, "p05_m_s": 0.93 * v, "p95_m_s": 1.06 * v})
	}
	var igniters []map[string]any
	for m := range motors {
		igniters = append(igniters, map[string]any{"motor": m + 1, "worst_case_current_a": 3.1 - 0.05*float64(m), "margin": 2.07 - 0.03*float64(m), "lights_at_s": 0.041})
	}
	limit := func(name, which string, value, limit float64, unit string) map[string]any {
		return map[string]any{"name": name, "case": which, "value": value, "limit": limit, "unit": unit, "left": limit - value, "source": "the sheet", "pass": true}
	}
	predict := map[string]any{"go": true,
		"cases": []map[string]any{
			{"name": "nominal", "kind": "nominal", "stop_position_m": 132.0, "peak_speed_m_s": 38.0},
			{"name": "brake absent", "kind": "stop-absent", "stop_position_m": 158.4, "peak_speed_m_s": 38.0},
			{"name": "motor 1 silent", "kind": "motor-silent", "stop_position_m": 101.0, "peak_speed_m_s": 31.0},
			{"name": "without any stop", "kind": "all-stops-absent", "stop_position_m": 412.0, "peak_speed_m_s": 38.0}},
		"dispersion": map[string]any{"runs": 10000, "peak_speed_m_s": map[string]any{"p05": 36.2, "p50": 38.0, "p95": 39.9},
			"stop_position_m": map[string]any{"p05": 121.5, "p50": 131.8, "p95": 143.2, "p999": 151.0}, "overrun_probability_upper95": 0.0003},
		"limits": []map[string]any{limit("stop inside the cleared length", "brake absent", 158.4, 190, "m"), limit("crew distance", "", -30, -24, "m")}}
	circuit := map[string]any{"go": true, "igniters": igniters, "limits": []map[string]any{limit("test current", "motor 1", 0.01, 0.035, "A")},
		"dispersion": map[string]any{"all_light_probability": 0.9999, "all_light_probability_lower95": 0.9994}}
	return map[string]any{"predict": predict, "circuit": circuit, "basis": strings.Repeat("5e", 32),
		"chart": map[string]any{"clear_length_m": 200.0, "stop_margin_m": 10.0, "speed": speed, "band": band}}
}

func (f *firing) proof() {
	f.t.Helper()
	if f.p.Mode != arming.ModeBox {
		f.must(arming.Say{Fact: arming.FactKeyOut, By: officer})
		f.must(arming.Say{Fact: arming.FactBatteryOff, By: officer})
		f.must(arming.Say{Fact: arming.FactBusDead, By: officer})
		f.typed("contact-proof", 0)
		return
	}
	f.must(arming.StartProof{})
	f.pass(200 * time.Millisecond)
	f.battery(12.4)
	f.key(true)
	f.pass(200 * time.Millisecond)
	if f.s.Proof != arming.ProofWatchdog {
		f.t.Fatalf("proof stage %v, want the watchdog's", f.s.Proof)
	}
	f.permit = false // the watchdog trips
	f.must(arming.BoxEvents{Bits: wire.EventWatchdog})
	f.pass(100 * time.Millisecond)
	f.key(false)
	f.phase(arming.Setup)
	f.battery(0)
}

// hookUp goes from the dead check to the closed line.
func (f *firing) hookUp() {
	f.t.Helper()
	if f.p.Mode == arming.ModeBox {
		f.measured("dead-check")
	} else {
		f.typed("dead-check", 0)
	}
	f.typed("stray-current", 0.002)
	f.words("shunt-on", "clip across both posts")
	f.must(arming.SignOn{Name: goes, Role: checklist.HookUpPerson})
	f.must(arming.OpenLine{By: ranger, Names: [checklist.MaxPosts]string{goes}, Key: goes})
	f.pass(2 * time.Second)
	f.igniter = true
	f.words("hook-up", "one lead on each motor, all insulated")
	f.pass(time.Second)
	f.must(arming.CloseLine{By: ranger, Count: 1})
	f.words("key-held", ranger)
	f.words("shunt-off", "clip on its hook")
}

// gates goes from the closed line to READY.
func (f *firing) gates() {
	f.t.Helper()
	f.words("range-clear", "nobody past the line, gate shut")
	f.further(checklist.Clear)
	f.pass(200 * time.Millisecond)
	for m := range f.p.Motors {
		if f.p.Mode == arming.ModeBox {
			f.measured(arming.StepContinuity(m + 1))
		} else {
			f.typed(arming.StepContinuity(m+1), 1.5)
		}
	}
	if f.p.Mode == arming.ModeBox {
		f.battery(12.4)
		f.measured("battery-joined")
		f.measured("battery-budget")
	} else {
		f.words("meter-off", "in its case")
		f.typed("battery-joined", 12.4)
		f.typed("battery-budget", 12.4)
	}
	f.words("radios", "steering transmitter at the table, phones off")
	f.words("storm", "blue, no cloud")
	f.words("laptop", "80 %, charger out")
	f.further(checklist.Poll)
	for _, post := range f.p.Posts {
		f.tick(150 * time.Millisecond)
		for i := range f.p.Steps {
			if f.p.Steps[i].ID == arming.StepSpotter(post) {
				f.must(arming.Answer{Step: f.p.Steps[i].ID, Words: f.s.CallWord(i) + ", road empty", Means: arming.MeansSaid})
			}
		}
	}
	f.phase(arming.Ready)
}

// measureAgain answers what aged while the firing stood on hold.
func (f *firing) measureAgain() {
	f.t.Helper()
	for m := range f.p.Motors {
		f.measured(arming.StepContinuity(m + 1))
	}
}

// further answers the steps that the sheet adds to a phase.
func (f *firing) further(ph checklist.Phase) {
	f.t.Helper()
	for i := range f.p.Steps {
		if st := &f.p.Steps[i]; st.Phase == ph && strings.HasPrefix(st.ID, "sheet/") {
			if st.Optional {
				f.must(arming.Answer{Step: st.ID, Means: arming.MeansPassed})
				continue
			}
			f.words(st.ID, "empty both ways")
		}
	}
}

func (f *firing) arm() {
	f.t.Helper()
	f.must(arming.ArmEntry{By: officer})
	f.pass(2 * time.Second)
	f.must(arming.Code{Matched: true})
	f.phase(arming.Armed)
	f.pass(time.Second)
	if f.p.Mode == arming.ModeBox {
		f.key(true)
	} else {
		f.must(arming.Say{Fact: arming.FactKeyIn, By: ranger})
	}
}

func (f *firing) toReady() {
	f.t.Helper()
	f.signOn()
	f.proof()
	f.hookUp()
	f.gates()
}

func (f *firing) count() {
	f.t.Helper()
	f.must(arming.StartCount{By: officer})
	f.pass(f.p.Times.Count)
	f.phase(arming.Window)
}

// press keeps the button pressed for so long.
func (f *firing) press(d time.Duration) {
	f.t.Helper()
	f.pass(300 * time.Millisecond)
	if f.p.Mode != arming.ModeBox {
		f.must(arming.Say{Fact: arming.FactPressed, By: officer})
		f.pass(d)
		f.must(arming.Say{Fact: arming.FactReleased, By: officer})
	} else {
		f.button(true)
		f.igniter = false
		f.pass(d)
		f.button(false)
	}
	f.phase(arming.Wait)
}

// pulse is the note that the shell writes when the box has told the length.
func (f *firing) pulse(s, sheet float64) {
	f.t.Helper()
	f.lines(f.j.Flush())
	f.append(f.now(), journal.KindNote, map[string]any{"text": fmt.Sprintf("the pulse lasted %.2f s", s),
		"facts": map[string]any{"pulse_s": s, "sheet_pulse_s": sheet, "battery_v": 9.14}})
}

// afterwards waits, makes safe and closes.
func (f *firing) afterwards(restM float64) {
	f.t.Helper()
	if f.p.Mode == arming.ModeBox {
		f.key(false)
	} else {
		f.must(arming.Say{Fact: arming.FactKeyOut, By: ranger})
		f.must(arming.Say{Fact: arming.FactBusDead, By: officer})
	}
	f.must(arming.Say{Fact: arming.FactAtRest, By: officer})
	f.must(arming.Observe{Fate: arming.FateSaidLit, By: "Nora Lind"})
	f.pass(f.p.Times.Wait/time.Duration(f.p.WaitSpeed) + time.Second)
	if f.p.Mode == arming.ModeBox {
		f.battery(0)
	} else {
		for _, fact := range []arming.Fact{arming.FactKeyOut, arming.FactBatteryOff, arming.FactBusDead} {
			f.must(arming.Say{Fact: fact, By: officer})
		}
	}
	f.must(arming.GoForward{By: ranger, Person: goes})
	for m := range f.p.Motors {
		f.pass(time.Second)
		f.must(arming.Inspect{Motor: m + 1, Found: "burned out, case cool", By: goes})
	}
	f.must(arming.Say{Fact: arming.FactShunted, By: goes})
	f.pass(time.Second)
	f.must(arming.CloseLine{By: ranger, Count: 1})
	f.must(arming.Say{Fact: arming.FactFireWatched, By: ranger})
	f.must(arming.Result{RestM: restM, SpeedMps: 37.2, HasRest: true, HasSpeed: true, Words: "straight, no wobble"})
	f.typed("motors-used", float64(f.p.Motors))
	f.typed("motors-left", 2)
	f.typed("igniters-used", float64(f.p.Motors))
	f.typed("igniters-left", 6)
	f.must(arming.AllClear{By: ranger})
	f.phase(arming.Closed)
}

// takeUp breaks the program off, and another one takes the record up.
func (f *firing) takeUp() {
	f.t.Helper()
	first := journal.Resumed(&f.s)
	if err := f.w.Release(); err != nil {
		f.t.Fatal(err)
	}
	f.began = f.now().Add(time.Minute)
	var err error
	if f.w, _, err = record.Recover(f.w.Path(), f.began, "test"); err != nil {
		f.t.Fatal(err)
	}
	f.at, f.s, f.j = arming.Instant{}, arming.State{}, journal.Recorder{}
	body, err := journal.EncodePlan(f.p)
	if err != nil {
		f.t.Fatal(err)
	}
	f.append(f.now(), journal.KindPlan, body)
	f.must(first)
	f.must(arming.BoxUp{Identity: "plover works,ground box,0007,1.2", Practice: f.p.Practice, Channels: f.p.Motors})
	f.look()
}

// close ends the record and signs it with each key.
func (f *firing) close(outcome record.Outcome, reason string, keys ...byte) string {
	f.t.Helper()
	f.lines(f.j.Flush())
	if err := f.w.Close(f.now(), f.at.Mono, outcome, reason); err != nil {
		f.t.Fatal(err)
	}
	for _, k := range keys {
		if _, err := record.Sign(f.w.Path(), signer(f.t, k)); err != nil {
			f.t.Fatal(err)
		}
	}
	return f.w.Path()
}

// signer is a throw-away key whose 32 secret bytes are all the same.
func signer(t *testing.T, secret byte) ssh.Signer {
	t.Helper()
	seed := make([]byte, ed25519.SeedSize)
	for i := range seed {
		seed[i] = secret
	}
	s, err := ssh.NewSignerFromKey(ed25519.NewKeyFromSeed(seed))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// allowed accepts the throw-away keys of these tests.
func allowed(t *testing.T) []record.AllowedSigner {
	t.Helper()
	text := ""
	for k, name := range map[byte]string{1: "firing-officer", 2: "range-officer"} {
		text += name + " " + string(ssh.MarshalAuthorizedKey(signer(t, k).PublicKey()))
	}
	list, err := record.ParseAllowedSigners("signers", []byte(text), time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// verified is the record's answer without a replay of its own.
func verified(t *testing.T, path string) record.Result {
	t.Helper()
	return record.VerifyFile(path, record.Options{Signers: allowed(t), At: began})
}

// whole is a firing in which nothing went wrong, closed and signed by two.
func whole(t *testing.T, o setting) string {
	t.Helper()
	f := begin(t, t.TempDir(), o)
	f.toReady()
	f.arm()
	f.count()
	f.press(time.Second)
	if f.p.Mode == arming.ModeBox {
		f.pulse(1.02, 1)
	}
	f.afterwards(134.5)
	return f.close(record.Normal, "", 1, 2)
}

// text is a document as JSON, to search in.
func text(t *testing.T, v any) string {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}
