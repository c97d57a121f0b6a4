package session

import (
	"context"
	"errors"

	reports "holdline/arming/record/report"
)

// countBefore counts the holds and waivers of earlier firings for the sign-on
// beside everything else: the screen has them when they are there.
func (s *session) countBefore(ctx context.Context) {
	path := s.record.w.Path()
	go func() {
		tally, err := reports.TallyFolder(ctx, s.o.RecordDir, path)
		switch {
		case errors.Is(err, context.Canceled):
			return
		case err != nil:
			s.post(func() {
				_, wall := s.driver.clock.now()
				s.driver.log(wall, clean(err.Error()), false)
				s.driver.publish()
			})
			return
		}
		s.post(func() {
			s.soFar = tally.SignOn(s.practice)
			s.driver.publish()
		})
	}()
}
