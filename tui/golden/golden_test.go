package golden

import (
	"fmt"
	"slices"
	"testing"
)

// heard collects what a test would fail with.
type heard []string

func (h *heard) Errorf(format string, args ...any) { *h = append(*h, fmt.Sprintf(format, args...)) }
func (h *heard) Helper()                           {}

func TestFitsTellsWhatDoesNotFit(t *testing.T) {
	for view, want := range map[string]heard{
		"ab\nc":       nil,
		"\x1b[1mab\n": nil,
		"ab":          {"1 lines, want 2"},
		"abc\n":       {`line 0 is 3 columns wide, the screen 2: "abc"`},
	} {
		var got heard
		if Fits(&got, view, 2, 2); !slices.Equal(got, want) {
			t.Errorf("%q: got %q, want %q", view, got, want)
		}
	}
}
