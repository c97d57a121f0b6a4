// Package export writes what a record says as a page for people (PDF,
// Markdown) and as data for programs (JSON, CSV).
//
// A Document is filled by whoever understands the record's lines; this package
// only puts it on paper. The same Document gives the same bytes every time. PDF
// and Markdown hold the same blocks in the same order, in the units asked for;
// JSON and CSV are SI.
package export

import (
	"encoding/json"
	"time"
)

// Format and Version name the JSON form.
const (
	Format  = "holdline-export"
	Version = 1
)

// Document is what one record says.
type Document struct {
	Format  string `json:"format"`
	Version int    `json:"version"`
	Record  string `json:"record"` // the file's name, without its folder

	NotValid []string `json:"not_valid"` // why nobody may rely on it; empty for a valid record
	State    string   `json:"state"`     // closed, interrupted, open, torn, damaged
	Warnings []string `json:"warnings"`  // what is to be read before all else
	Waivers  []Waiver `json:"waivers"`   // the same

	// InQuestion is what does not agree between what was counted and what was found, the same.
	InQuestion []string `json:"in_question"`
	PassedOver []string `json:"passed_over"` // optional steps of the sheet, as they are asked

	Title      string `json:"title"`
	Practice   bool   `json:"practice"`
	Mode       string `json:"mode"`
	CannotStop bool   `json:"laptop_could_not_stop"`
	Outcome    string `json:"outcome"` // one sentence
	Phase      string `json:"phase"`   // at the end
	Opened     Stamp  `json:"opened"`
	Ended      Stamp  `json:"ended"` // of the last line

	Program   string            `json:"program"`
	Box       Box               `json:"box"`
	WaitS     float64           `json:"wait_s"`     // asked for by the sheet
	WaitSpeed int               `json:"wait_speed"` // 1 but in practice
	Sheet     string            `json:"sheet_sha256"`
	Curves    map[string]string `json:"curves_sha256"`
	Basis     string            `json:"basis"`
	Seed      string            `json:"seed"`
	Previous  string            `json:"previous"` // last line of the record before, empty for the first

	Holds    []Hold    `json:"holds"`
	People   []Person  `json:"people"`
	Checks   []Check   `json:"checks"`
	Proofs   []Proof   `json:"contact_proofs"`
	Openings []Opening `json:"line_openings"`
	Attempts []Attempt `json:"attempts"`
	Waits    []Wait    `json:"waits"`
	Motors   []Motor   `json:"motors"`
	MakeSafe MakeSafe  `json:"make_safe"`
	Result   *Result   `json:"result"`     // null when none was typed in
	Forecast *Forecast `json:"prediction"` // null when none was accepted
	Igniters []Igniter `json:"circuit"`
	Used     []Used    `json:"consumables"`
	Notes    []Note    `json:"notes"`
	Refused  int       `json:"refused"` // entries that the machine did not take

	Lines      int         `json:"lines"`
	LastHash   string      `json:"last_hash"`
	Signatures []Signature `json:"signatures"`
	Verify     []string    `json:"verify"` // commands that check the record
}

// Stamp is a time on the wall clock, UTC; zero is null in JSON.
type Stamp struct{ time.Time }

// MarshalJSON writes RFC 3339 with a thousandth of a second, or null.
func (s Stamp) MarshalJSON() ([]byte, error) {
	if s.IsZero() {
		return []byte("null"), nil
	}
	return json.Marshal(s.UTC().Format("2006-01-02T15:04:05.000Z"))
}

// clock is the time of day for people.
func (s Stamp) clock() string {
	if s.IsZero() {
		return "–"
	}
	return s.UTC().Format("15:04:05")
}

// Box is the device that measured.
type Box struct {
	Identity string `json:"identity"`
	Serial   string `json:"serial"`
}

// Waiver is an advisory band that the range officer let pass.
type Waiver struct {
	At    Stamp   `json:"at"`
	Step  string  `json:"step"`
	Value float64 `json:"value"`
	Band
	Why string `json:"why"`
	By  string `json:"by"`
}

// Band is the range that was accepted.
type Band struct {
	Low  *float64 `json:"low"` // null where the step has no band
	High *float64 `json:"high"`
	Unit string   `json:"unit"`
}

// Hold is one stop.
type Hold struct {
	At     Stamp  `json:"at"`
	Kind   string `json:"kind"` // HOLD, WAIT (after the permit), EVERYONE BACK
	From   string `json:"from"` // phase
	Why    string `json:"why"`
	Called bool   `json:"called"` // by a person, not by the program
	Caller string `json:"caller"` // as asked afterwards, empty when nobody said
	Ended  Stamp  `json:"ended"`
	End    string `json:"end"` // what ended it
}

// Person is somebody as they signed on.
type Person struct {
	Role string `json:"role"`
	Post string `json:"post"`
	Name string `json:"entered_as"`
	At   Stamp  `json:"at"`
}

// Check is one step of the routine and the last answer to it.
type Check struct {
	Step  string   `json:"step"`
	Phase string   `json:"phase"`
	Gate  string   `json:"gate"`
	Asked string   `json:"asked"`
	Role  string   `json:"role"`
	Motor int      `json:"motor"` // 0 for none
	Seen  string   `json:"seen"`  // words, or what the value means
	Value *float64 `json:"value"` // null where the answer is no number
	Band
	By       string   `json:"by"`
	Means    string   `json:"means"`
	At       Stamp    `json:"at"`           // when it was last answered
	AgeS     *float64 `json:"age_s"`        // at arming; null when it never came to that
	Standing string   `json:"standing"`     // stood at arming, answered, after the firing, withdrawn: why, not answered
	Waived   bool     `json:"waived"`       //
	Answers  int      `json:"answered"`     // how many times
	Optional bool     `json:"not_required"` // asked, but no gate
}

// Proof is one contact proof.
type Proof struct {
	From   Stamp  `json:"from"`
	To     Stamp  `json:"to"`
	Passed bool   `json:"passed"`
	Why    string `json:"why"` // when it failed
}

// Opening is one time that the line was open.
type Opening struct {
	At      Stamp    `json:"at"`
	Names   []string `json:"names"`
	KeyWith string   `json:"key_with"`
	Phase   string   `json:"phase"`
	Ended   Stamp    `json:"ended"`
	End     string   `json:"end"`
}

// Attempt is one time that both people armed, and what came of it.
type Attempt struct {
	ArmedBy    string   `json:"armed_by"`
	EntryAt    Stamp    `json:"entry_at"`
	CodeAt     Stamp    `json:"code_entered_at"`
	WrongCodes int      `json:"wrong_codes"`
	KeyAt      Stamp    `json:"key_in_at"`
	CountBy    string   `json:"count_by"`
	CountAt    Stamp    `json:"count_at"`
	CountS     float64  `json:"count_s"`
	WindowAt   Stamp    `json:"window_at"`
	WindowS    float64  `json:"window_s"` // longest
	PermitS    *float64 `json:"permit_s"` // closed for; null without a permit contact
	PressAt    Stamp    `json:"press_at"`
	PressS     *float64 `json:"press_s"`       // from the press as seen to its end as seen
	PulseS     *float64 `json:"pulse_s"`       // as the box measured it
	SheetPulse *float64 `json:"sheet_pulse_s"` // what the sheet counts on
	PulseV     *float64 `json:"pulse_battery_v"`
	EndAt      Stamp    `json:"end_at"`
	End        string   `json:"end"`
}

// Wait is one WAIT.
type Wait struct {
	At       Stamp     `json:"at"`
	Why      string    `json:"why"`
	LengthS  float64   `json:"length_s"` // full, before the speed
	Speed    int       `json:"speed"`
	Restarts []Restart `json:"restarts"`
	OverAt   Stamp     `json:"over_at"` // when nothing was left of it
	EndAt    Stamp     `json:"end_at"`
	End      string    `json:"end"`
}

// Restart is what set a wait to full again.
type Restart struct {
	At  Stamp  `json:"at"`
	Why string `json:"why"`
}

// Motor is what is known of one motor.
type Motor struct {
	Motor   int    `json:"motor"`
	Seen    string `json:"seen"` // empty when nobody said
	SeenBy  string `json:"seen_by"`
	SeenAt  Stamp  `json:"seen_at"`
	Found   string `json:"found"` // empty until inspected
	FoundBy string `json:"found_by"`
	FoundAt Stamp  `json:"found_at"`
	Note    string `json:"note"`
	Fate    string `json:"fate"` // at the end
	Live    bool   `json:"live"`
}

// MakeSafe are the facts that end a firing.
type MakeSafe struct {
	Forward    string `json:"forward"`
	ForwardAt  Stamp  `json:"forward_at"`
	OrderedBy  string `json:"ordered_by"`
	KeyWith    string `json:"key_with"`
	ShuntedBy  string `json:"shunted_by"`
	ShuntedAt  Stamp  `json:"shunted_at"`
	FireBy     string `json:"fire_watched_by"`
	FireAt     Stamp  `json:"fire_watched_at"`
	BackAt     Stamp  `json:"back_at"`
	AllClearBy string `json:"all_clear_by"`
	AllClearAt Stamp  `json:"all_clear_at"`
	Missing    string `json:"missing"` // what stood in the way at the end, empty for nothing
}

// Result is what was measured of the run.
type Result struct {
	At       Stamp    `json:"at"`
	RestM    *float64 `json:"rest_m"` // null when it was not measured
	SpeedMps *float64 `json:"speed_m_s"`
	Words    string   `json:"words"`
}

// Forecast is the prediction that was accepted.
type Forecast struct {
	At        Stamp    `json:"at"`
	Go        bool     `json:"go"`
	Basis     string   `json:"basis"`
	Runs      int      `json:"runs"`
	Accepted  int      `json:"accepted"` // how many times one was
	RestM     Spread   `json:"stop_position_m"`
	SpeedMps  Spread   `json:"peak_speed_m_s"`
	Overrun   *float64 `json:"overrun_probability_upper95"`
	AllLight  *float64 `json:"all_light_probability"`
	AllLow    *float64 `json:"all_light_probability_lower95"`
	WorstCase string   `json:"worst_single_fault"`
	WorstM    *float64 `json:"worst_single_fault_m"`
	Limits    []Limit  `json:"limits"`
	Chart     *Chart   `json:"chart"` // null in a record without one
}

// Spread is the nominal value and the quantiles of the drawn ones.
type Spread struct {
	Nominal float64 `json:"nominal"`
	P05     float64 `json:"p05"`
	P50     float64 `json:"p50"`
	P95     float64 `json:"p95"`
}

// Limit is one requirement held against the value that decided it.
type Limit struct {
	Name  string   `json:"name"`
	Case  string   `json:"case"`
	Value *float64 `json:"value"`
	Limit *float64 `json:"limit"`
	Unit  string   `json:"unit"`
	Left  *float64 `json:"left"`
	Pass  bool     `json:"pass"`
}

// Chart is the predicted speed over the distance.
type Chart struct {
	ClearLengthM float64 `json:"clear_length_m"`
	StopMarginM  float64 `json:"stop_margin_m"`
	Speed        []Point `json:"speed"`
	Band         []Range `json:"band"`
}

// Point is one place of the nominal run.
type Point struct {
	DistanceM float64 `json:"distance_m"`
	SpeedMps  float64 `json:"speed_m_s"`
}

// Range is the 5th and 95th percentile of the speed at a distance.
type Range struct {
	DistanceM float64 `json:"distance_m"`
	P05Mps    float64 `json:"p05_m_s"`
	P95Mps    float64 `json:"p95_m_s"`
}

// Igniter is one row of the circuit.
type Igniter struct {
	Motor      int      `json:"motor"`
	ReadingOhm *float64 `json:"reading_ohm"` // null when it was not measured
	Band
	WorstA  *float64 `json:"worst_case_current_a"`
	Margin  *float64 `json:"margin"`
	LightsS *float64 `json:"lights_at_s"`
}

// Used is what was said and counted of something that is used up. Counts are
// null where nobody counted.
type Used struct {
	What      string   `json:"what"`
	Said      string   `json:"said"`
	Brought   *float64 `json:"brought"`
	Used      *float64 `json:"used"`
	Left      *float64 `json:"left"`
	Explained string   `json:"explained"` // what was said of a count that does not add up
}

// Missing returns how many are not accounted for, negative where there are
// more than were brought; known is false where a count is not there.
func (u *Used) Missing() (n float64, known bool) {
	if u.Brought == nil || u.Used == nil || u.Left == nil {
		return 0, false
	}
	return *u.Brought - *u.Used - *u.Left, true
}

// counts puts the counts in one sentence, "" where nobody counted.
func (u *Used) counts() string {
	if u.Brought == nil && u.Used == nil && u.Left == nil {
		return ""
	}
	say := func(v *float64, word string) string {
		if v == nil {
			return word + " NOT COUNTED"
		}
		return short(*v, 6) + " " + word
	}
	text := say(u.Brought, "brought") + ", " + say(u.Used, "used") + ", " + say(u.Left, "left")
	switch n, known := u.Missing(); {
	case !known || n == 0:
	case n > 0:
		text += "; " + short(n, 6) + " NOT ACCOUNTED FOR"
	default:
		text += "; " + short(-n, 6) + " MORE THAN BROUGHT"
	}
	if u.Explained != "" {
		text += ", explained: " + u.Explained
	}
	return text
}

// Note is a sentence beside the machine's steps.
type Note struct {
	At   Stamp  `json:"at"`
	Text string `json:"text"`
}

// Signature is what is known of one signature.
type Signature struct {
	File        string `json:"file"`
	State       string `json:"state"`
	Fingerprint string `json:"fingerprint"`
	KeyType     string `json:"key_type"`
	Principals  string `json:"principals"`
	Text        string `json:"text"`
}

// Stood is the standing of a check whose answer stood when both had armed.
const Stood = "stood at arming"

// PassedOver is the standing of an optional step that the crew passed over.
const PassedOver = "passed over"

// AfterFiring is the standing of a check that belongs after the firing.
const AfterFiring = "answered after the firing"

// Kind is PRACTICE or REAL, the word that every page carries.
func (d *Document) Kind() string {
	if d.Practice {
		return "PRACTICE"
	}
	return "REAL"
}
