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

func TestEveryBitOfASignature(t *testing.T) { rejectSignatureChanges(t, 0, 1, 2, 3, 4, 5, 6, 7) }

func TestRecoverAfterACutAtEveryByte(t *testing.T) { recoverAfterCuts(t, 1) }

func TestFaultAtEveryByteWritten(t *testing.T) { faultAtBytes(t, 1) }

// The limit is the project's own. Other work on the machine can only make it
// slower, so the best of many runs counts, and the first good one is enough.
func TestTenThousandLinesVerifyWithin200ms(t *testing.T) {
	const limit = 200 * time.Millisecond
	path, data, sigs, o := longRecord(t, 10_000)
	best := time.Hour
	for i := 0; i < 30 && best > limit; i++ {
		start := time.Now()
		if r := VerifyBytes(path, data, sigs, o); r.Status != OK || len(r.Log.Entries) != 10_000 {
			t.Fatalf("got %v\n%s", r.Status, r.text())
		}
		best = min(best, time.Since(start))
	}
	t.Logf("10,000 lines, %d bytes: %v", len(data), best)
	if best > limit {
		t.Errorf("10,000 lines took %v, limit %v", best, limit)
	}
}
