package record

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
)

// Format and Version name the format in the first line of a record.
const (
	Format  = "holdline-record"
	Version = 1
)

// Mode says how readings were taken. The empty Mode is refused.
type Mode string

// The modes. By meter or typed the program has no contact in the circuit.
const (
	ModeGroundBox Mode = "ground box"
	ModeMeter     Mode = "meter"
	ModeTyped     Mode = "typed"
)

// Box is the device that measured; both texts are empty when numbers were typed.
type Box struct {
	Identity string `json:"identity"` // as it answered
	Serial   string `json:"serial"`
}

// Header is the body of the first line: what this record rests on.
type Header struct {
	Format      string          `json:"format"`       // set by Create
	Version     int             `json:"version"`      // set by Create
	Program     string          `json:"program"`      // version of the program that writes
	Title       string          `json:"title"`        // of the sheet
	Mode        Mode            `json:"mode"`         // how readings are taken
	Practice    bool            `json:"practice"`     // no real circuit
	WaitScale   float64         `json:"wait_scale"`   // 1; waits may be shorter (below 1) in practice only
	SheetSHA256 Hash            `json:"sheet_sha256"` // of the sheet's bytes
	Curves      map[string]Hash `json:"curves"`       // SHA-256 of every thrust curve file, by its name in the sheet
	Basis       Hash            `json:"basis"`        // one hash over sheet, curves, program version and seed
	Seed        string          `json:"seed"`         // decimal digits, as text: it may be beyond 2^53
	Nonce       string          `json:"nonce"`        // 32 hexadecimal digits, random; Create makes it when empty
	Box         Box             `json:"box"`
	Previous    *Hash           `json:"previous"` // last line of the record before in this folder, null for the first; set by Create
}

func (h Header) check() error {
	switch {
	case h.Format != Format:
		return fmt.Errorf("format %q, want %q", h.Format, Format)
	case h.Version != Version:
		return fmt.Errorf("format version %d, want %d", h.Version, Version)
	case h.Program == "":
		return fmt.Errorf("program version is empty")
	case h.Title == "":
		return fmt.Errorf("title is empty")
	case h.Mode != ModeGroundBox && h.Mode != ModeMeter && h.Mode != ModeTyped:
		return fmt.Errorf("mode %q, want %q, %q or %q", h.Mode, ModeGroundBox, ModeMeter, ModeTyped)
	case math.IsNaN(h.WaitScale) || h.WaitScale <= 0 || h.WaitScale > 1:
		return fmt.Errorf("wait scale %v, want more than 0 and 1 at most", h.WaitScale)
	case !h.Practice && h.WaitScale != 1:
		return fmt.Errorf("wait scale %v in a real record, want 1", h.WaitScale)
	case h.SheetSHA256.IsZero():
		return fmt.Errorf("hash of the sheet is missing")
	case h.Basis.IsZero():
		return fmt.Errorf("hash of the basis is missing")
	case !digits(h.Seed, "0123456789", 1, 20):
		return fmt.Errorf("seed %q, want 1 to 20 decimal digits", h.Seed)
	case !digits(h.Nonce, "0123456789abcdef", 32, 32):
		return fmt.Errorf("nonce %q, want 32 hexadecimal digits", h.Nonce)
	case h.Previous != nil && h.Previous.IsZero():
		return fmt.Errorf("hash of the previous record is zero, want null or a hash")
	}
	return nil
}

func digits(s, alphabet string, least, most int) bool {
	for i := 0; i < len(s); i++ {
		if bytes.IndexByte([]byte(alphabet), s[i]) < 0 {
			return false
		}
	}
	return len(s) >= least && len(s) <= most
}

// Outcome is how a record ended. The empty Outcome is refused.
type Outcome string

// The outcomes.
const (
	Normal      Outcome = "normal"      // the crew closed it
	Interrupted Outcome = "interrupted" // program, laptop or power stopped it; closed afterwards
)

// Closing is the body of the last line.
type Closing struct {
	Outcome Outcome `json:"outcome"`
	Reason  string  `json:"reason"` // one plain sentence; may be empty when normal
}

func (c Closing) check() error {
	switch {
	case c.Outcome != Normal && c.Outcome != Interrupted:
		return fmt.Errorf("outcome %q, want %q or %q", c.Outcome, Normal, Interrupted)
	case c.Outcome == Interrupted && c.Reason == "":
		return fmt.Errorf("an interrupted record needs a reason")
	}
	return nil
}

// Recovered is the body of the line that takes up a record whose writer
// stopped. When the last line had been cut short, the cut bytes are in it.
type Recovered struct {
	Program    string `json:"program"`               // version of the program that recovers
	TornBytes  int64  `json:"torn_bytes"`            // length of the incomplete last line, 0 for none
	TornSHA256 *Hash  `json:"torn_sha256"`           // plain SHA-256 of those bytes, null for none
	TornBase64 string `json:"torn_base64,omitempty"` // the bytes, RFC 4648 section 4, up to maxTornInline
}

func (r Recovered) check() error {
	switch {
	case r.Program == "":
		return fmt.Errorf("program version is empty")
	case r.TornBytes < 0 || (r.TornBytes == 0) != (r.TornSHA256 == nil):
		return fmt.Errorf("%d torn bytes do not go with their hash", r.TornBytes)
	}
	return nil
}

// decodeStrict reads a canonical body into v, which must give the very same
// canonical bytes again.
func decodeStrict(body []byte, v any) error {
	dec := json.NewDecoder(bytes.NewReader(body))
	dec.DisallowUnknownFields()
	if err := dec.Decode(v); err != nil {
		return err
	}
	again, err := Canonical(v)
	if err != nil {
		return err
	}
	if !bytes.Equal(again, body) {
		return fmt.Errorf("a member is missing or written in another form")
	}
	return nil
}
