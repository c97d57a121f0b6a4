package groundbox

import (
	"fmt"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"holdline/arming/groundbox/wire"
)

// TestInputsThatStandStillAreSeen: a converter that gives the same readings for
// ever, behind a counter and a program that run.
func TestInputsThatStandStillAreSeen(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, newest := throughTap(t, nil)
		b.ready()
		var frozen wire.Snapshot
		newest().set(func(x *tap) {
			x.up = func(line string) []string {
				if s, err := wire.ParseSnapshot(line); err == nil {
					if frozen.ChannelOhm == nil {
						frozen = s
					}
					frozen.Sequence = s.Sequence
					line = frozen.Text()
				}
				return []string{line + "\n"}
			}
		})
		began := time.Now()
		wantReason(t, await[Lost](b, 3*time.Second).Reason, "inputs stand still")
		t.Logf("seen after %v", time.Since(began))
	})
}

// TestABoxWithoutTheReferenceIsRefused with a sentence that says what is missing.
func TestABoxWithoutTheReferenceIsRefused(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, _ := throughTap(t, func(x *tap) {
			x.up = func(line string) []string {
				if _, err := wire.ParseSnapshot(line); err == nil {
					fields := strings.Split(line, ",")
					body := strings.Join(fields[:len(fields)-2], ",")
					line = fmt.Sprintf("%s,%04X", body, wire.CRC16([]byte(body)))
				}
				return []string{line + "\n"}
			}
		})
		wantReason(t, await[Lost](b, 3*time.Second).Reason, "the reference reading before the check sum is missing")
	})
}

// TestOneSpoiledAnswerDecidesNothing: identity, number of channels and test
// current have no check sum, and are believed only when they come twice.
func TestOneSpoiledAnswerDecidesNothing(t *testing.T) {
	for _, c := range []struct{ good, spoiled string }{
		{"0.001", "0.009"}, {"0.001", "0.0001"}, {"4", "9"}, {"holdline,PRACTICE,0001,1.0", "holdline,PRACTICE,0007,1.0"},
		{"holdline,PRACTICE,0001,1.0", "holdline,PRACTISE,0001,1.0"},
	} {
		for nth := 1; nth <= 3; nth++ {
			synctest.Test(t, func(t *testing.T) {
				n := 0
				b, _ := throughTap(t, func(x *tap) {
					x.up = func(line string) []string {
						if line == c.good {
							if n++; n == nth {
								line = c.spoiled
							}
						}
						return []string{line + "\n"}
					}
				})
				got := await[Connected](b, 5*time.Second)
				if got.Channels != 4 || got.TestCurrentA != 0.001 || got.Identity.Serial != "0001" || !got.Identity.Practice() {
					t.Errorf("answer %d was %q: %+v", nth, c.spoiled, got)
				}
			})
		}
	}
}
