package main

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"

	"holdline/arming/record"
	"holdline/arming/record/export"
	reports "holdline/arming/record/report"
	"holdline/checklist/sheet/unit"
	"holdline/cmd/holdline/session"
)

// verifyAnswer is the answer of verify: its JSON form, and what its text is
// written from.
type verifyAnswer struct {
	Records []verifyRecord `json:"records"`
	Folders []verifyFolder `json:"folders"`
	Valid   bool           `json:"valid"`

	followed map[*record.Entry]*reports.Follower // by the first line of a record, once it was replayed
}

// replay plays a record through the arming machine once, for its verification
// and for what it says: the playing takes most of the time.
func (a *verifyAnswer) replay(entries []record.Entry) error {
	f := reports.Follow()
	if len(entries) > 0 { // one that does not replay is not believed, however far it was followed
		a.followed[&entries[0]] = f
	}
	return session.ReplayBy(entries, f.Entry)
}

// document is what a record says.
func (a *verifyAnswer) document(r record.Result) *export.Document {
	if f := a.followed[&r.Log.Entries[0]]; f != nil {
		return f.Document(r)
	}
	return reports.Build(r)
}

type verifyRecord struct {
	Path       string            `json:"path"`
	Status     string            `json:"status"`
	Title      string            `json:"title"`
	Practice   bool              `json:"practice"`
	Lines      int               `json:"lines"`
	LastHash   string            `json:"last_hash"`
	Outcome    string            `json:"outcome"` // empty while it is open
	Findings   []verifyFinding   `json:"findings"`
	Signatures []verifySignature `json:"signatures"`
	Notes      []string          `json:"notes"`

	// What a record says that is valid and yet not as it should be. Both are
	// empty where the record cannot be believed.
	Waivers    []export.Waiver `json:"waivers"`
	InQuestion []string        `json:"in_question"`
}

type verifyFolder struct {
	Path     string          `json:"path"`
	Status   string          `json:"status"`
	Records  int             `json:"records"`
	Findings []verifyFinding `json:"findings"`
}

type verifyFinding struct {
	Status string `json:"status"`
	Line   int    `json:"line"` // 0 when it is no single line
	Text   string `json:"text"`
}

type verifySignature struct {
	File        string `json:"file"`
	Status      string `json:"status"`
	KeyType     string `json:"key_type"`
	Fingerprint string `json:"fingerprint"`
	Principals  string `json:"principals"`
	Text        string `json:"text"`
}

func findings(list []record.Finding) []verifyFinding {
	out := []verifyFinding{}
	for _, f := range list {
		out = append(out, verifyFinding{f.Status.String(), f.Line, f.Text})
	}
	return out
}

// add takes one record's result in.
func (a *verifyAnswer) add(r record.Result) {
	v := verifyRecord{
		Path: r.Path, Status: r.Status.String(), Findings: findings(r.Findings),
		Signatures: []verifySignature{}, Notes: append([]string{}, r.Notes...),
		Waivers: []export.Waiver{}, InQuestion: []string{},
	}
	if r.Log != nil {
		v.Title, v.Practice, v.Lines = r.Log.Header.Title, r.Log.Header.Practice, len(r.Log.Entries)
		v.LastHash = r.Log.Last.String()
		if r.Log.Closing != nil {
			v.Outcome = string(r.Log.Closing.Outcome)
		}
	}
	for _, s := range r.Signatures {
		v.Signatures = append(v.Signatures, verifySignature{
			s.File, s.Status.String(), s.KeyType, s.Fingerprint, s.Principals, s.Text,
		})
	}
	if r.Log != nil && len(r.Log.Entries) > 0 {
		if d := a.document(r); len(d.NotValid) == 0 {
			v.Waivers, v.InQuestion = d.Waivers, d.InQuestion
		}
	}
	if r.Log != nil && len(r.Log.Entries) > 0 {
		if f := a.followed[&r.Log.Entries[0]]; f != nil && f.FirstRules() {
			v.Notes = append(v.Notes, "first edition: what was observed and predicted is not bound to the events")
		}
	}
	a.Valid = a.Valid && r.Status == record.OK
	a.Records = append(a.Records, v)
}

// tells reports whether a finding says it already.
func (r *verifyRecord) tells(text string) bool {
	return slices.ContainsFunc(r.Findings, func(f verifyFinding) bool { return strings.Contains(f.Text, text) })
}

// writeText writes the answer for people.
func (a *verifyAnswer) writeText(w io.Writer, units unit.System) error {
	var b strings.Builder
	say := func(format string, args ...any) { _ = tell(&b, format, args...) }
	finding := func(f verifyFinding) {
		say("  %s: %s", f.Status, record.Finding{Line: f.Line, Text: f.Text}.Sentence())
	}
	for _, r := range a.Records {
		say("%s: %s", r.Path, strings.ToUpper(r.Status))
		if r.Lines > 0 {
			kind := "real"
			if r.Practice {
				kind = "PRACTICE"
			}
			say("  %q, %s, %d lines, %s", r.Title, kind, r.Lines, cmp.Or(r.Outcome, "still open"))
			say("  last line %s", r.LastHash)
		} else {
			say("  no line of it is a line of a record: is it the right file?")
		}
		for _, w := range r.Waivers {
			say("  WAIVED %s", w.Text(units))
		}
		for _, why := range r.InQuestion {
			say("  IN QUESTION: %s", why)
		}
		for _, f := range r.Findings {
			finding(f)
		}
		for _, s := range r.Signatures {
			text := fmt.Sprintf("  signature %s: %s", s.File, s.Status)
			for _, part := range []string{s.Principals, s.KeyType, s.Fingerprint, strings.TrimPrefix(s.Text, s.Fingerprint+": ")} {
				if part != "" && !r.tells(part) {
					text += ", " + part
				}
			}
			say("%s", text)
		}
		for _, n := range r.Notes {
			say("  note: %s", n)
		}
	}
	for _, f := range a.Folders {
		say("%s: folder of %d records: %s", f.Path, f.Records, strings.ToUpper(f.Status))
		for _, fault := range f.Findings {
			finding(fault)
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}
