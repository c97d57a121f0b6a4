//go:build slow

package record

import (
	"testing"
	"time"
)

func TestEveryValueOfEveryByteIsRejected(t *testing.T) {
	all := make([]byte, 256)
	for i := range all {
		all[i] = byte(i)
	}
	rejectChanges(t, func(byte) []byte { return all }, []byte("0 \n\"a\x00"))
}

func TestRecoverAfterACutAtEveryByte(t *testing.T) { recoverAfterCuts(t, 1) }

func TestFaultAtEveryByteWritten(t *testing.T) { faultAtBytes(t, 1) }

// The limit is the project's own.
func TestTenThousandLinesVerifyWithin200ms(t *testing.T) {
	path, data, sigs, o := longRecord(t, 10_000)
	best := time.Hour
	for range 5 {
		start := time.Now()
		if r := VerifyBytes(path, data, sigs, o); r.Status != OK || len(r.Log.Entries) != 10_000 {
			t.Fatalf("got %v\n%s", r.Status, r.text())
		}
		best = min(best, time.Since(start))
	}
	t.Logf("10,000 lines, %d bytes: %v", len(data), best)
	if best > 200*time.Millisecond {
		t.Errorf("10,000 lines took %v, limit 200 ms", best)
	}
}
