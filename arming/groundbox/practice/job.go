package practice

import (
	"strconv"
	"strings"

	"holdline/arming/groundbox/wire"
)

// job is an answer that takes time: MEASure:RESistance? or SYSTem:TEST?.
// Other queries wait for it, commands do not.
type job struct {
	channels []int // of a measurement; nil in a self-test
	answers  []wire.Reading
	startMs  int64
	phase    testPhase
	code     int
	broken   bool
}

type testPhase int

const (
	testClosing testPhase = iota
	testOpening
	testWatchdog
	testSecondWatchdog
)

// Self-test answers, a sum. 0 is passed.
const (
	testRelayDidNotClose  = 1
	testRelayDidNotOpen   = 2
	testWatchdogDidNot    = 4
	testReferenceResistor = 8
	testBrokenOff         = 16
)

const testStepMs = 70

// jobStep runs the slow answer by one millisecond.
func (c *controller) jobStep(h *hardware, ms int64) (answer string, done bool) {
	j := c.job
	if j == nil {
		return "", false
	}
	if j.channels != nil {
		done = c.measureStep(j, h, ms)
		answer = joinReadings(j.answers)
	} else {
		done = j.testStep(h, ms)
		answer = strconv.Itoa(j.code)
	}
	if done {
		c.job = nil
	}
	return answer, done
}

func (c *controller) measureStep(j *job, h *hardware, ms int64) bool {
	if ms-j.startMs < channelTestMs {
		return false
	}
	j.startMs = ms
	var r wire.Reading
	if c.leaseOn(ms) && !h.permitContact && !h.coil && h.busDead(ms) {
		r = h.ohmAt(j.channels[len(j.answers)] - 1)
	}
	j.answers = append(j.answers, r)
	return len(j.answers) == len(j.channels)
}

func (j *job) testStep(h *hardware, ms int64) bool {
	if j.broken {
		h.drive, h.testsSecond = false, false
		j.code = testBrokenOff
		return true
	}
	passed := ms - j.startMs
	switch j.phase {
	case testClosing:
		if passed == 0 {
			h.drive = true
			h.restartWatchdog(ms)
		}
		if passed >= testStepMs {
			if !h.permitContact {
				j.code |= testRelayDidNotClose
			}
			h.drive = false
			j.phase, j.startMs = testOpening, ms
		}
	case testOpening:
		if passed >= testStepMs {
			if h.permitContact {
				j.code |= testRelayDidNotOpen
			}
			h.drive = true
			h.restartWatchdog(ms)
			j.phase, j.startMs = testWatchdog, ms
		}
	case testWatchdog:
		if passed >= h.watchdogMs+testStepMs {
			if h.drive {
				j.code |= testWatchdogDidNot
			}
			h.drive, h.testsSecond = true, true
			h.restartWatchdog(ms)
			j.phase, j.startMs = testSecondWatchdog, ms
		}
	case testSecondWatchdog:
		if passed >= secondWatchdogMs+testStepMs {
			if h.drive {
				j.code |= testWatchdogDidNot
			}
			h.drive, h.testsSecond = false, false
			return true
		}
	}
	return false
}

// breakOff ends a self-test: the relay opens at once.
func (c *controller) breakOff(h *hardware, _ int64) {
	if c.job != nil && c.job.channels == nil {
		c.job.broken = true
		h.drive = false
	}
}

func joinReadings(list []wire.Reading) string {
	parts := make([]string, len(list))
	for i, r := range list {
		parts[i] = r.Text()
	}
	return strings.Join(parts, ",")
}
