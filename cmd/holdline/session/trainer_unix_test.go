//go:build linux || darwin

package session

import (
	"testing"
)

// TestThePracticeBoxHangsOnATerminal: what ships goes through the serial port,
// as a real box does; only tests in simulated time take the pipe.
func TestThePracticeBoxHangsOnATerminal(t *testing.T) {
	o := Options{RecordDir: t.TempDir(), Settings: t.TempDir(), Version: "test", Out: devNull(t)}
	if err := o.complete(); err != nil {
		t.Fatal(err)
	}
	sh, err := o.load()
	if err != nil {
		t.Fatal(err)
	}
	s := &session{o: o, sheet: sh, compute: quick}
	defer s.closeDevices()
	if err := s.openDevices(t.Context()); err != nil {
		t.Fatal(err)
	}
	if s.stopTrainer == nil || !s.box.first.Identity.Practice() {
		t.Errorf("the practice box has no terminal, or did not answer over it: %+v", s.box.first)
	}
}
