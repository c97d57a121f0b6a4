package session

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"holdline/arming/groundbox/practice"
	"holdline/tui"
)

// The tour comes once by itself, and only where nothing is real.
func TestTheTourComesOnce(t *testing.T) {
	dir := t.TempDir()
	planned := func(s *session) tui.Config {
		var cfg tui.Config
		s.o.Settings = dir
		s.planTour(&cfg)
		return cfg
	}
	own := func(tour Tour) *session {
		return &session{practice: true, trainer: &practice.Box{}, o: Options{Tour: tour}}
	}
	for what, s := range map[string]*session{
		"a real box":                   {},
		"a practice box of another":    {practice: true},
		"a real box that says so late": {trainer: &practice.Box{}},
		"a drill":                      {practice: true, trainer: &practice.Box{}, drill: &drilling{}},
	} {
		s.o.Tour = TourNow
		if cfg := planned(s); cfg.Tour || cfg.TourOver != nil {
			t.Errorf("%s: a tour", what)
		}
	}
	if planned(own(TourNever)).Tour {
		t.Error("a tour, though it is turned off")
	}
	first := planned(own(TourFirst))
	if !first.Tour {
		t.Fatal("no tour at the first start")
	}
	first.TourOver()
	path := filepath.Join(dir, tourFile)
	for end := time.Now().Add(5 * time.Second); ; time.Sleep(5 * time.Millisecond) {
		if _, err := os.Stat(path); err == nil {
			break
		}
		if time.Now().After(end) {
			t.Fatal("nobody remembers that the tour is over")
		}
	}
	if planned(own(TourFirst)).Tour {
		t.Error("the tour comes again")
	}
	if !planned(own(TourNow)).Tour {
		t.Error("no tour though it is asked for")
	}
}
