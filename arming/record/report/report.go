// Package report gives a record's lines their meaning for people: Build follows
// a record through the arming machine and fills an export.Document with what
// happened, Tally counts holds and waivers over a folder of records.
//
// Everything comes from the record alone: no sheet, no clock, no device. A
// record that is torn or was broken off gives a document that says so first;
// one that cannot be believed gives a document that is NOT VALID, with what
// stands in the lines before the fault.
package report

import (
	"fmt"
	"path/filepath"

	"holdline/arming"
	"holdline/arming/record"
	"holdline/arming/record/export"
)

// Build returns the document of a verified record. It plays the record through
// the arming machine itself, so that a replay that differs makes the document
// NOT VALID whatever options the record was verified with.
func Build(r record.Result) *export.Document {
	f := Follow()
	for _, e := range r.Log.Entries {
		_, _, _ = f.Entry(e) // what does not follow is told in the document
	}
	return f.Document(r)
}

// Follower follows a record's lines one by one through the arming machine, so
// that a verification's replay makes the document as well.
type Follower struct{ w *walk }

// Follow begins a record.
func Follow() *Follower {
	return &Follower{newWalk(&export.Document{
		Format: export.Format, Version: export.Version,
		NotValid: []string{}, Warnings: []string{}, Curves: map[string]string{}, Waivers: []export.Waiver{}, InQuestion: []string{}, PassedOver: []string{}, Holds: []export.Hold{},
		People: []export.Person{}, Checks: []export.Check{}, Proofs: []export.Proof{}, Openings: []export.Opening{},
		Attempts: []export.Attempt{}, Waits: []export.Wait{}, Motors: []export.Motor{}, Igniters: []export.Igniter{},
		Used: []export.Used{}, Notes: []export.Note{}, Signatures: []export.Signature{}, Verify: []string{},
	})}
}

// Entry takes the next line. It returns the plan and the state that the lines
// lead to, or why this one does not follow.
func (f *Follower) Entry(e record.Entry) (*arming.Plan, *arming.State, error) {
	f.w.entry(e)
	return f.w.rep.Plan, &f.w.rep.State, f.w.broken
}

// FirstRules reports a record of the first edition, whose entries do not bind the
// whole state.
func (f *Follower) FirstRules() bool { return f.w.rep.Plan != nil && f.w.rep.Plan.FirstRules }

// Document ends the record, which verified as r.
func (f *Follower) Document(r record.Result) *export.Document {
	d := f.w.d
	d.Record, d.State = filepath.Base(r.Path), stateOf(&r)
	header(d, &r)
	f.w.finish()
	standing(d, &r, f.w.broken)
	signatures(d, &r)
	return d
}

// The states of a record.
const (
	stateClosed      = "closed"
	stateInterrupted = "interrupted"
	stateOpen        = "open"
	stateTorn        = "torn"
	stateDamaged     = "damaged" // not read to its end
)

func stateOf(r *record.Result) string {
	for _, f := range r.Findings {
		if f.Status == record.Changed {
			return stateDamaged
		}
	}
	switch {
	case r.Log.Torn != nil:
		return stateTorn
	case !r.Log.Closed():
		return stateOpen
	case r.Log.Closing.Outcome == record.Interrupted:
		return stateInterrupted
	}
	return stateClosed
}

func header(d *export.Document, r *record.Result) {
	h := r.Log.Header
	d.Title, d.Practice, d.Mode, d.Program = h.Title, h.Practice, string(h.Mode), h.Program
	d.CannotStop = h.Mode == record.ModeMeter || h.Mode == record.ModeTyped
	d.Box = export.Box{Identity: h.Box.Identity, Serial: h.Box.Serial}
	d.Sheet, d.Basis, d.Seed = h.SheetSHA256.String(), h.Basis.String(), h.Seed
	for name, sum := range h.Curves {
		d.Curves[name] = sum.String()
	}
	if h.Previous != nil {
		d.Previous = h.Previous.String()
	}
	d.Lines, d.LastHash = len(r.Log.Entries), r.Log.Last.String()
	if n := len(r.Log.Entries); n > 0 {
		d.Opened, d.Ended = export.Stamp{Time: r.Log.Entries[0].Time}, export.Stamp{Time: r.Log.Entries[n-1].Time}
	}
}

// standing says what is to be read before all else. A gap in the chain of a
// folder is no fault of the record itself, and neither is a signer who is not
// known here: both are told, not made a NOT VALID.
func standing(d *export.Document, r *record.Result, broken error) {
	differs := false
	for _, f := range r.Findings {
		switch f.Status {
		case record.Torn, record.StillOpen:
		case record.ChainGap, record.UnknownSigner, record.Unsigned:
			d.Warnings = append(d.Warnings, capital(f.Status.String())+": "+f.Text)
		case record.OtherVersion:
			differs = true
			d.NotValid = append(d.NotValid, "not verified by this version, export it with the one that made it: "+f.Text)
		default:
			differs = differs || f.Status == record.ReplayDiffers
			d.NotValid = append(d.NotValid, fmt.Sprintf("%s: %s", f.Status, f.Sentence()))
		}
	}
	if broken != nil && !differs {
		d.NotValid = append(d.NotValid, fmt.Sprintf("%s: %v", record.ReplayDiffers, broken))
	}
	if broken != nil {
		d.Warnings = append(d.Warnings, "What follows stands in the lines before the fault; nothing after it is told")
	}
	if broken != nil || d.State != stateClosed && d.State != stateInterrupted {
		d.Outcome = "As far as it can be followed: " + d.Outcome
	}
	first := ""
	switch d.State {
	case stateTorn:
		first = fmt.Sprintf("TORN: the last line is incomplete; the %d whole lines before it are told here", len(r.Log.Entries))
	case stateDamaged:
		first = fmt.Sprintf("DAMAGED: the record can be read for %d lines; what comes after is not told here", len(r.Log.Entries))
	case stateOpen:
		first = "STILL OPEN: the record has no closing line: cut off, or still being written"
	case stateInterrupted:
		first = "INTERRUPTED: " + r.Log.Closing.Reason
	}
	if first != "" {
		d.Warnings = append([]string{first}, d.Warnings...)
	}
	if n := r.Log.Recovered; n > 0 {
		d.Warnings = append(d.Warnings, "Taken up again after a stop of the program, "+record.HowOften(n))
	}
}

func signatures(d *export.Document, r *record.Result) {
	for _, s := range r.Signatures {
		d.Signatures = append(d.Signatures, export.Signature{File: filepath.Base(s.File), State: s.Status.String(),
			Fingerprint: s.Fingerprint, KeyType: s.KeyType, Principals: s.Principals, Text: s.Text})
	}
	name := filepath.Base(r.Path)
	d.Verify = append(d.Verify, "holdline verify "+name,
		fmt.Sprintf("ssh-keygen -Y verify -f allowed_signers -I NAME -n %s -s %s < %s", record.Namespace, filepath.Base(record.SignaturePath(name, 1)), name))
}

// outcome is the firing in one sentence.
func outcome(d *export.Document, s *arming.State) string {
	text := "Never armed"
	if n := len(d.Attempts); n > 0 {
		text = fmt.Sprintf("Armed %s, no permit was given", record.HowOften(n))
		for _, a := range d.Attempts {
			switch {
			case !a.PressAt.IsZero():
				text = "The button was pressed"
			case !a.WindowAt.IsZero() && text != "The button was pressed":
				text = "The window opened, the button was not pressed"
			}
		}
	}
	live := 0
	for _, m := range d.Motors {
		if m.Live {
			live++
		}
	}
	switch {
	case s.Phase == arming.Closed:
		text += "; made safe, all clear"
	case live > 0:
		text += fmt.Sprintf("; %d of %d motors count as LIVE at the end of this record", live, len(d.Motors))
	}
	return text + "."
}
