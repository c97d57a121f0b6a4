package session

import (
	"os"
	"path/filepath"

	"holdline/tui"
)

// Tour says when the tour of the screen comes by itself.
type Tour int

// The choices. The zero value shows it to whoever has not ended it yet.
const (
	TourFirst Tour = iota
	TourNow
	TourNever
)

// tourFile, in the user's settings, says that the tour was ended once.
const tourFile = "tour-seen"

// planTour has the cockpit begin with the tour, where it is due: with a
// practice box of the session's own, and neither in a drill nor with anything
// real.
func (s *session) planTour(cfg *tui.Config) {
	if !s.practice || s.trainer == nil || s.drill != nil {
		return
	}
	path := filepath.Join(s.o.Settings, tourFile)
	_, err := os.Stat(path)
	cfg.Tour = s.o.Tour == TourNow || s.o.Tour == TourFirst && os.IsNotExist(err)
	cfg.TourOver = func() {
		// Beside the screen; where it cannot be kept, the tour comes again.
		go func() {
			_ = os.WriteFile(path, []byte("the tour was ended; without this file it comes again\n"), 0o600)
		}()
	}
}
