package report

import (
	"encoding/json"
	"maps"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"holdline/arming/record"
	"holdline/arming/record/export"
	"holdline/arming/record/journal"
	"holdline/checklist/sheet/unit"
)

// Whatever a forger puts into the lines, with a good chain, the export ends,
// without a panic, in every format; and where a state no longer follows it
// says NOT VALID.
func TestForgedLinesGiveAPageOrAWarning(t *testing.T) {
	t.Parallel()
	data, err := os.ReadFile(whole(t, normal()))
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(7, 0))
	notValid := 0
	const tries = 24
	for n := range tries {
		at := int64(2 + r.IntN(200))
		forged := rechain(t, data, func(e *record.Entry) {
			if e.Seq == at {
				e.Body = mutate(r, e.Body)
			}
		})
		d := Build(record.VerifyBytes("forged.jsonl", forged, nil, record.Options{AnySigner: true}))
		if len(d.NotValid) > 0 {
			notValid++
		}
		for k, ending := range export.Endings {
			if k == 0 && n%5 > 0 {
				continue // the PDF takes longest
			}
			if _, err := export.Write(d, "x"+ending, unit.Metric); err != nil {
				t.Errorf("try %d, line %d, %s: %v", n, at, ending, err)
			}
		}
	}
	if notValid < tries/2 {
		t.Errorf("%d of %d forgeries were seen", notValid, tries)
	}
}

// mutate changes one number or word of a body.
func mutate(r *rand.Rand, body json.RawMessage) json.RawMessage {
	var v map[string]any
	if json.Unmarshal(body, &v) != nil {
		return body
	}
	keys := slices.Sorted(maps.Keys(v)) // so that a seed gives the same forgery
	k := keys[r.IntN(len(keys))]
	v[k] = []any{nil, -1, 1e15, "CLOSED", "", []any{}, map[string]any{}, strings.Repeat("x", 9000), true}[r.IntN(9)]
	out, err := json.Marshal(v)
	if err != nil {
		return body
	}
	return out
}

// The lines that no replay vouches for, predictions and notes, may hold
// anything.
func TestWildPredictionsAndNotesAreTakenAsTheyCome(t *testing.T) {
	t.Parallel()
	for k, body := range []any{
		map[string]any{}, map[string]any{"predict": map[string]any{"cases": []any{map[string]any{}}}},
		map[string]any{"predict": map[string]any{"cases": []any{map[string]any{"stop_position_m": 1e15}}}, "chart": map[string]any{"clear_length_m": 1e15}},
		map[string]any{"predict": map[string]any{"cases": []any{map[string]any{"stop_position_m": -5}}}, "chart": map[string]any{"clear_length_m": 10,
			"speed": []any{map[string]any{"distance_m": -50, "speed_m_s": -3}, map[string]any{"distance_m": 9e4, "speed_m_s": 9e4}},
			"band":  []any{map[string]any{}, map[string]any{"distance_m": 3}}}},
		map[string]any{"predict": map[string]any{"cases": []any{map[string]any{}}}, "circuit": map[string]any{"igniters": []any{map[string]any{"motor": 99}, map[string]any{"motor": -1}}}},
		map[string]any{"text": strings.Repeat("word ", 30000), "facts": map[string]any{"pulse_s": 1}},
		map[string]any{"text": strings.Repeat("x", 300000)}, map[string]any{"text": 3, "facts": "none"},
	} {
		kind := journal.KindPrediction
		if k > 4 {
			kind = journal.KindNote
		}
		f := begin(t, t.TempDir(), first(normal()))
		f.append(f.now(), kind, body)
		d := Build(verified(t, f.close(record.Interrupted, "the test ends it")))
		for _, ending := range export.Endings {
			out, err := export.Write(d, "x"+ending, unit.US)
			if err != nil || len(out) == 0 {
				t.Errorf("%d %s: %v", k, ending, err)
			}
			if text := string(out); ending == ".pdf" && (strings.Contains(text, "NaN") || strings.Contains(text, "Inf ")) {
				t.Errorf("%d: the page holds a number that is none", k)
			}
		}
	}
}
