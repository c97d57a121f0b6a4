package journal

import (
	"bytes"
	"encoding/json"
	"maps"
	"os"
	"path/filepath"
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
// valid as it stands, and that today's code writes the same bytes.
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
	result := record.VerifyFile(path, record.Options{Signers: signers, Principal: "crew", Replay: func(entries []record.Entry) error {
		for _, e := range entries {
			if err := replayed.Take(e.Kind, time.Duration(e.MonoUS)*time.Microsecond, e.Body); err != nil {
				return err
			}
		}
		return nil
	}})
	if result.Status != record.OK || len(result.Findings)+len(result.Notes) > 0 || len(result.Signatures) != 1 {
		t.Fatalf("%v: %+v, %v, signatures %+v", result.Status, result.Findings, result.Notes, result.Signatures)
	}
	if replayed.State.Phase != arming.Closed || replayed.Events < 1000 {
		t.Errorf("%d events led to %v", replayed.Events, replayed.State.Phase)
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
	if again.state != replayed.State {
		t.Errorf("the entries written anew end in another state:\n%+v\n%+v", again.state, replayed.State)
	}
}

// writer drives the machine by the events of a record and writes them again.
type writer struct {
	t        *testing.T
	plan     *arming.Plan
	state    arming.State
	recorder Recorder
	box      map[string]json.RawMessage // the last reading
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
		w.plan, w.recorder.FirstRules = p, p.FirstRules
		body, err := EncodePlan(p)
		if err != nil {
			w.t.Fatal(err)
		}
		return body
	case KindEvent:
		var body struct {
			At    [2]int64
			Event string
			Data  json.RawMessage
		}
		w.read(e.Body, &body)
		if body.Data == nil {
			body.Data = json.RawMessage(`{}`)
		}
		if body.Event == "box_reading" {
			var reading struct{ Box map[string]json.RawMessage }
			w.read(body.Data, &reading)
			w.box = reading.Box
		}
		return w.one(w.step(body.At, body.Event, body.Data))
	case KindBeats:
		var body struct{ Beats [][]json.RawMessage }
		w.read(e.Body, &body)
		for _, beat := range body.Beats {
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

func (w *writer) beat(beat []json.RawMessage) []Entry {
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

func (w *writer) step(us [2]int64, name string, data json.RawMessage) []Entry {
	w.t.Helper()
	ev, err := DecodeEvent(name, data)
	if err != nil {
		w.t.Fatal(err)
	}
	at := arming.Instant{Mono: time.Duration(us[0]) * time.Microsecond, Wall: time.Duration(us[1]) * time.Microsecond}
	before := w.state
	after, effects, refused := arming.Step(w.plan, before, at, ev)
	w.state = after
	entries, err := w.recorder.Step(at, ev, &before, &after, effects, refused)
	if err != nil {
		w.t.Fatal(err)
	}
	return entries
}

// one returns the canonical body of the only entry.
func (w *writer) one(entries []Entry) []byte {
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
