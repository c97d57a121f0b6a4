package journal

import (
	"bytes"
	"encoding/json"
	"errors"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"testing"
	"time"

	"github.com/gowebpki/jcs"

	"holdline/arming"
	"holdline/arming/record"
)

// goldenFolder has a record of an earlier program, which is never written anew.
const goldenFolder = "../../../testdata/record"

func goldenRecord(t *testing.T) (path string, text []byte) {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(goldenFolder, "*.jsonl"))
	if err != nil || len(found) != 1 {
		t.Fatalf("want one record in %s: %v, %v", goldenFolder, found, err)
	}
	if text, err = os.ReadFile(found[0]); err != nil {
		t.Fatal(err)
	}
	return found[0], text
}

// TestTheGoldenRecord checks that a record written before this program is
// valid as it stands, and that today's code writes the same bytes. The rules of
// the machine may have changed since: then its replay may differ, which says
// nothing against it, and nothing else may be found.
func TestTheGoldenRecord(t *testing.T) {
	path, text := goldenRecord(t)
	if sum := record.SumSHA256(text).String(); sum != "2d16e29d832a8f9e84bf5e82f41412a4f4358168bd60cf001bef9529e62e01e3" {
		t.Fatalf("the record itself was changed: its SHA-256 is %s", sum)
	}
	signers, err := record.ReadAllowedSigners(filepath.Join(goldenFolder, "allowed_signers"))
	if err != nil {
		t.Fatal(err)
	}
	var replayed Replayer
	var differs *MismatchError
	result := record.VerifyFile(path, record.Options{Signers: signers, Principal: "crew", Program: "today", Replay: func(entries []record.Entry) error {
		for _, e := range entries {
			if err := replayed.Line(e.Kind, time.Duration(e.MonoUS)*time.Microsecond, e.Body); err != nil {
				if !errors.As(err, &differs) {
					t.Errorf("entry %d cannot be read: %v", e.Seq, err)
				}
				return err
			}
		}
		return nil
	}})
	want := record.OK
	if differs != nil {
		want = record.OtherVersion
		t.Logf("by the rules of today: %v", differs)
	}
	if result.Status != want || len(result.Signatures) != 1 || result.Signatures[0].Status != record.OK {
		t.Fatalf("%v, want %v: %+v, signatures %+v", result.Status, want, result.Findings, result.Signatures)
	}
	lines := bytes.Split(bytes.TrimSuffix(text, []byte("\n")), []byte("\n"))
	again := writer{t: t}
	for i, e := range result.Log.Entries {
		e.Body = again.body(e)
		line, err := e.Encode()
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(line, lines[i]) {
			t.Fatalf("entry %d\nwas %s\nis  %s", e.Seq, lines[i], line)
		}
	}
	if again.events < 100 || again.beats < 1000 {
		t.Errorf("only %d events and %d beats were written again", again.events, again.beats)
	}
}

// writer takes what the entries of a record say and writes it again.
type writer struct {
	t             *testing.T
	recorder      Recorder
	box           map[string]json.RawMessage // the last reading
	events, beats int
}

// effects has one of each kind of effect.
var effects = map[string]arming.Effect{
	"permit_off": arming.PermitOff{}, "permit_on": arming.PermitOn{}, "write": arming.Write{}, "lease": arming.Lease{},
	"clear_bits": arming.ClearBits{}, "notice": arming.Notice{}, "callout": arming.Callout{}, "close_record": arming.CloseRecord{},
}

// body returns the body of the entry as it is written today.
func (w *writer) body(e record.Entry) []byte {
	w.t.Helper()
	switch e.Kind {
	case KindPlan:
		p, err := DecodePlan(e.Body)
		if err != nil {
			w.t.Fatal(err)
		}
		body, err := EncodePlan(p)
		if err != nil {
			w.t.Fatal(err)
		}
		return body
	case KindEvent:
		return w.one(w.event(e.Body))
	case KindBeats:
		var body struct{ Beats [][]json.RawMessage }
		w.read(e.Body, &body)
		for _, beat := range body.Beats {
			w.beats++
			if entries := w.beat(beat); len(entries) > 0 {
				return w.one(entries) // as many as one entry may have
			}
		}
		entries, err := w.recorder.Flush()
		if err != nil {
			w.t.Fatal(err)
		}
		return w.one(entries)
	}
	return e.Body
}

func (w *writer) beat(beat []json.RawMessage) []Line {
	w.t.Helper()
	var at [2]int64
	w.read(beat[0], &at[0])
	w.read(beat[1], &at[1])
	if len(beat) == 2 {
		return w.step(at, "tick", json.RawMessage(`{}`))
	}
	var changes map[string]json.RawMessage
	w.read(beat[2], &changes)
	box := maps.Clone(w.box)
	if box == nil {
		box = map[string]json.RawMessage{}
	}
	maps.Copy(box, changes)
	seen, err := json.Marshal(at)
	if err != nil {
		w.t.Fatal(err)
	}
	box["seen"] = seen
	w.box = box
	data, err := json.Marshal(map[string]any{"box": box})
	if err != nil {
		w.t.Fatal(err)
	}
	return w.step(at, "box_reading", data)
}

// step gives the recorder an event that changed nothing.
func (w *writer) step(us [2]int64, name string, data json.RawMessage) []Line {
	w.t.Helper()
	return w.record(us, name, data, &arming.State{}, &arming.State{}, nil, nil)
}

// event gives the recorder an event with what followed from it by its entry.
func (w *writer) event(text []byte) []Line {
	w.t.Helper()
	w.events++
	var body struct {
		At                          [2]int64
		Event, Phase, Line, Refused string
		Data                        json.RawMessage
		Effects                     []map[string]json.RawMessage
	}
	w.read(text, &body)
	if body.Data == nil {
		body.Data = json.RawMessage(`{}`)
	}
	if body.Event == "box_reading" {
		var reading struct{ Box map[string]json.RawMessage }
		w.read(body.Data, &reading)
		w.box = reading.Box
	}
	var followed []arming.Effect
	for _, members := range body.Effects {
		var name string
		w.read(members["effect"], &name)
		delete(members, "effect")
		rest, err := json.Marshal(members)
		if err != nil || effects[name] == nil {
			w.t.Fatalf("effect %q: %v", name, err)
		}
		v := reflect.New(reflect.TypeOf(effects[name])).Elem()
		if err := decode(rest, v); err != nil {
			w.t.Fatal(err)
		}
		followed = append(followed, v.Interface().(arming.Effect))
	}
	after := arming.State{
		Phase: arming.Phase(slices.Index(words[reflect.TypeFor[arming.Phase]()], body.Phase)),
		Line:  arming.Line(slices.Index(words[reflect.TypeFor[arming.Line]()], body.Line)),
	}
	before := after
	before.Phase++ // so that it is no beat
	var refused error
	if body.Refused != "" {
		refused = errors.New(body.Refused)
	}
	return w.record(body.At, body.Event, body.Data, &before, &after, followed, refused)
}

func (w *writer) record(us [2]int64, name string, data json.RawMessage, before, after *arming.State, followed []arming.Effect,
	refused error) []Line {
	w.t.Helper()
	ev, err := DecodeEvent(name, data)
	if err != nil {
		w.t.Fatal(err)
	}
	at := arming.Instant{Mono: time.Duration(us[0]) * time.Microsecond, Wall: time.Duration(us[1]) * time.Microsecond}
	entries, err := w.recorder.Step(at, ev, before, after, followed, refused)
	if err != nil {
		w.t.Fatal(err)
	}
	return entries
}

// one returns the canonical body of the only entry.
func (w *writer) one(entries []Line) []byte {
	w.t.Helper()
	if len(entries) != 1 {
		w.t.Fatalf("%d entries where there was one: %+v", len(entries), entries)
	}
	body, err := jcs.Transform(entries[0].Body)
	if err != nil {
		w.t.Fatal(err)
	}
	return body
}

func (w *writer) read(text []byte, v any) {
	w.t.Helper()
	if err := json.Unmarshal(text, v); err != nil {
		w.t.Fatalf("%s: %v", text, err)
	}
}
