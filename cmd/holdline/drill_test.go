package main

import (
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"holdline/arming"
	"holdline/arming/drill"
	"holdline/arming/record"
	"holdline/arming/record/journal"
	"holdline/checklist"
)

// drillPlan is a practice firing of one motor.
func drillPlan() *arming.Plan {
	times := checklist.Bounds().Default
	return &arming.Plan{Mode: arming.ModeBox, Practice: true, Motors: 1, Posts: []string{"north gate"}, Times: times, WaitSpeed: 6,
		Steps: checklist.Routine(checklist.Inputs{Boxed: true, Motors: 1, Channels: []checklist.Band{{Low: 1, High: 2, Unit: "ohm"}},
			Budget: checklist.Band{Low: 11, High: 14, Unit: "V"}, Wind: checklist.Band{Low: -1, High: 5, Unit: "m/s"},
			Mass: checklist.Band{Low: 1, High: 2, Unit: "kg"}, Posts: []checklist.Post{{Name: "north gate"}}, Times: times})}
}

// waive answers every step before the daylight and lets that pass.
func waive(p *arming.Plan, do func(time.Duration, arming.Event)) {
	at := time.Second
	for i := range p.Steps {
		st := &p.Steps[i]
		at += 200 * time.Millisecond
		do(at, arming.Tick{})
		ev := arming.Answer{Step: st.ID, Means: arming.MeansSaid, Words: "heard by " + st.ID}
		switch {
		case st.ID == "daylight":
			do(at, arming.Waive{Step: st.ID, Value: 45, Why: "one run only, lamps\x1b stand at the gate", By: "heard by " + arming.StepRangeOfficer})
			return
		case st.Kind == checklist.KindQuantity:
			ev = arming.Answer{Step: st.ID, Means: arming.MeansTyped, Value: 2, Again: 2}
		case st.Kind == checklist.KindSecret:
			ev = arming.Answer{Step: st.ID, Means: arming.MeansTyped, Value: 6}
		}
		do(at, ev)
	}
}

// makeDrill writes the record of a drill in which the crew says HOLD so many
// seconds after the spotter.
func makeDrill(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 || len(args) > 3 || len(args) == 3 && args[2] != "waived" {
		ts.Fatalf("usage: makedrill DIR SECONDS [waived]")
	}
	late, err := strconv.ParseFloat(args[1], 64)
	ts.Check(err)
	settings := filepath.Join(ts.Getenv("XDG_CONFIG_HOME"), "holdline")
	if runtime.GOOS == "darwin" {
		settings = filepath.Join(ts.Getenv("HOME"), "Library", "Application Support", "holdline")
	}
	signer, _, _, err := record.EnsureKey(settings)
	ts.Check(err)
	p := drillPlan()
	plan, err := drill.Make(p, 7, drill.Choice{Kinds: []drill.Kind{drill.SpotterHold}})
	ts.Check(err)
	now := time.Now()
	sum := record.SumSHA256([]byte("a sheet"))
	p.SheetSHA256, p.Box = sum.String(), "invented,PRACTICE,0001,1"
	w, err := record.Create(ts.MkAbs(args[0]), record.Header{
		Program: version, Title: "A drill", Mode: record.ModeGroundBox, Practice: true, WaitScale: 1 / float64(p.WaitSpeed), Seed: "1",
		SheetSHA256: sum, Basis: sum, Curves: map[string]record.Hash{}, Box: record.Box{Identity: "invented,PRACTICE,0001,1", Serial: "0001"},
	}, now)
	ts.Check(err)
	add := func(at time.Duration, kind string, body any) {
		_, _, err := w.Append(now, at, kind, body)
		ts.Check(err)
	}
	var s arming.State
	var rec journal.Recorder
	var do func(at time.Duration, ev arming.Event)
	do = func(at time.Duration, ev arming.Event) {
		instant := arming.Instant{Mono: at, Wall: at}
		next, fx, refused := arming.Step(p, s, instant, ev)
		lines, err := rec.Step(instant, ev, &s, &next, fx, refused)
		ts.Check(err)
		s = next
		for _, l := range lines {
			add(l.At.Mono, l.Kind, l.Body)
		}
		for _, e := range fx {
			if w, ok := e.(arming.Write); ok {
				do(at, arming.Written(w))
			}
		}
	}
	body, err := journal.EncodePlan(p)
	ts.Check(err)
	add(0, journal.KindPlan, body)
	do(0, arming.Start{})
	add(time.Second, journal.KindDrill, drill.PlanEntry(plan))
	if len(args) == 3 {
		waive(p, do)
	}
	add(10*time.Second, journal.KindDrill, drill.SurpriseEntry(&plan, 1))
	do(10*time.Second+time.Duration(late*float64(time.Second)), arming.HoldCall{})
	ts.Check(w.Close(now, 100*time.Second, record.Interrupted, "the test ends it"))
	_, err = record.Sign(w.Path(), signer)
	ts.Check(err)
	ts.Check(os.Rename(w.Path(), filepath.Join(ts.MkAbs(args[0]), "drill.jsonl")))
	ts.Check(os.Rename(w.Path()+".sig", filepath.Join(ts.MkAbs(args[0]), "drill.jsonl.sig")))
}
