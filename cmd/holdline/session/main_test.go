package session

import (
	"context"
	"testing"

	"go.uber.org/goleak"

	"holdline/checklist/prediction"
	"holdline/checklist/sheet"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// quick answers at once with a go: what the models say is tested where they
// are, and here only what follows from it.
func quick(context.Context, *sheet.Sheet, measured, func(float64)) predicted {
	return predicted{run: &prediction.Run{Go: true}, circuit: &prediction.Circuit{Go: true}}
}
