//go:build e2e && (linux || darwin)

package e2e

import (
	"fmt"
	"regexp"
	"strings"
	"testing"
	"time"
)

// The crew of the drive.
const (
	firing = "Ada"
	ranger = "Ben"
	north  = "Nia"
	south  = "Sol"
	code   = "plover77"
)

// The state in large letters, top row.
const (
	bigSetup = "█▀▀ █▀▀ ▀█▀ █ █ █▀█"
	bigWait  = "█   █ █▀█ ▀█▀ ▀█▀"
	bigHold  = "█ █ █▀█ █   █▀▄"
)

// hands move the practice box: by the cockpit's own hand keys, or in the other
// terminal of a box of its own.
type hands interface {
	key(in bool)
	battery(on bool)
	igniters(on bool)
	shunt(on bool)
	button(down bool)
}

// keys are the hands by F5 to F9.
type keys struct{ x *terminal }

func (k keys) move(f int, key, want string) {
	k.x.t.Helper()
	shown := regexp.MustCompile(fmt.Sprintf(`F%d \w+ %s\b`, f, want))
	for range 4 { // a key that comes while the screen stands still is thrown away
		if shown.MatchString(k.x.screen()) {
			return
		}
		k.x.press(key)
		is := k.x.comes(3*time.Second, shown.MatchString)
		time.Sleep(850 * time.Millisecond) // a key that comes sooner again is taken for its own repeat
		if is {
			return
		}
	}
	k.x.see(shown.String(), 0)
}

func (k keys) key(in bool)      { k.x.t.Helper(); k.move(5, handKey, word(in, "in", "out")) }
func (k keys) battery(on bool)  { k.x.t.Helper(); k.move(6, handBattery, word(on, "on", "off")) }
func (k keys) igniters(on bool) { k.x.t.Helper(); k.move(7, handIgniters, word(on, "on", "off")) }
func (k keys) shunt(on bool)    { k.x.t.Helper(); k.move(8, handShunt, word(on, "on", "off")) }
func (k keys) button(bool)      { k.x.t.Helper(); k.x.press(handButton) }

func word(is bool, yes, no string) string {
	if is {
		return yes
	}
	return no
}

// crew plays the people at one cockpit.
type crew struct {
	t testing.TB
	x *terminal
	h hands

	dark string // motor that stayed dark, "" for none
}

var headOf = regexp.MustCompile(`(?m)│ (.+?) +step (\d+) of (\d+) *$`)
var orderOf = regexp.MustCompile(`│ ([A-Z][A-Z0-9 ]+[A-Z0-9])\s*$`)

// head is the title of what is due, as the screen has it; "" while a field is
// open.
func head(screen string) string {
	lines := strings.Split(screen, "\n")
	if len(lines) < 5 || strings.Contains(screen, "esc close") {
		return ""
	}
	for _, line := range lines[4:] {
		if !strings.Contains(line, "│") {
			continue
		}
		if m := headOf.FindStringSubmatch(line); m != nil {
			return strings.TrimSpace(m[1])
		}
		if m := orderOf.FindStringSubmatch(line); m != nil {
			return strings.TrimSpace(m[1])
		}
		break // it stands in the first row of its place
	}
	return ""
}

// gone waits until something else than h is due.
func (c *crew) gone(h string, within time.Duration) {
	c.t.Helper()
	c.x.until("the end of "+h, within, func(s string) bool { now := head(s); return now != "" && now != h })
}

// open opens the field of what is due. An enter that comes while the screen
// stands still is thrown away; a person presses it again.
func (c *crew) open() {
	c.t.Helper()
	for range 4 {
		c.x.press(enter)
		if c.x.shows("▏", 1500*time.Millisecond) {
			return
		}
	}
	c.t.Fatalf("no field opens; the screen:\n%s", c.x.screen())
}

// say opens what is due and types the answers.
func (c *crew) say(answers ...string) {
	c.t.Helper()
	c.open()
	for _, a := range answers {
		time.Sleep(40 * time.Millisecond)
		c.x.write(a)
	}
}

// seen are the answers in words, by what is due.
var seen = map[string]string{
	"BRIEFING":     "all four heard it",
	"GROUND":       "short grass, no stones, water stands ready",
	"MARK":         "PL-4",
	"MOTORS":       "amber D on all four",
	"IGNITERS":     "lot 7, all alike",
	"RUNNING GEAR": "wheels turn, guide slides, retainers tight",
	"STOPS":        "chute lid springs, bed raked",
	"SHEET 1":      "extinguisher, water, blanket",
	"SHEET 2":      "80 N on the scale",
	"RADIOS":       "steering at 30 m, hand-held at 30 m, phones off",
	"STORM":        "blue sky, no cloud",
	"LAPTOP":       "80 percent, charger out, notices off",
	"RANGE CLEAR":  "nobody past the hold line, gate shut",
}

// step does what the screen asks for, once; toReady looks whether it was taken.
func (c *crew) step(h, screen string) {
	c.t.Helper()
	switch {
	case h == "CREW FIRING OFFICER":
		c.say(firing)
	case h == "CREW RANGE OFFICER":
		c.say(ranger)
	case h == "CREW NORTH GATE":
		c.say(north)
	case h == "CREW SOUTH GATE":
		c.say(south)
	case h == "CODE":
		c.say(code, code)
	case h == "DAYLIGHT":
		c.say("300", "300")
	case h == "MOTORS BROUGHT" || h == "IGNITERS BROUGHT":
		c.say("8", "8")
	case h == "IGNITER LOTS":
		c.say("1", "1")
	case h == "BATTERY REST":
		c.say("12", "12")
	case h == "WIND":
		c.say("1.5", "1.6")
	case h == "MASS":
		c.say("1.85", "1.851")
	case h == "STRAY CURRENT":
		c.say("0.001", "0.001")
	case strings.HasPrefix(h, "PREDICTION"):
		c.accept(word(h == "PREDICTION", ranger, firing))
	case h == "LINE CLOSED":
		count := "4"
		if strings.Contains(screen, "line OPEN") {
			count = "1"
		}
		c.say(ranger, count)
	case h == "CONTACT PROOF":
		c.proof()
	case h == "DEAD CHECK":
		c.say("read")
	case h == "SHUNT ON":
		c.h.shunt(true)
		c.say("across the line at the box")
	case h == "LINE OPEN":
		c.openLine()
	case h == "HOOK UP":
		c.h.igniters(true)
		c.say("lead 1 to 4 on motor 1 to 4, insulated")
	case h == "KEY HANDED OVER":
		c.say(ranger)
	case h == "SHUNT OFF":
		c.h.shunt(false)
		c.say("on its hook")
	case strings.HasPrefix(h, "CONTINUITY"):
		c.x.until("a reading", 5*time.Second, func(s string) bool { return strings.Contains(s, "ohm") })
		c.say(strings.TrimSpace(strings.TrimPrefix(h, "CONTINUITY")))
	case h == "BATTERY JOINED":
		c.h.battery(true)
		c.x.see("battery 12.4", 5*time.Second)
		c.say("read")
	case h == "BATTERY BUDGET":
		c.say("read")
	case strings.HasPrefix(h, "SPOTTER"):
		c.spotter()
	default:
		text, ok := seen[h]
		if !ok {
			c.t.Fatalf("no answer to %q; the screen:\n%s", h, screen)
		}
		c.say(text)
	}
}

// accept reads the prediction and types the officer's name.
func (c *crew) accept(name string) {
	c.t.Helper()
	c.x.press(enter)
	c.x.until("the prediction", 90*time.Second, func(s string) bool {
		return strings.Contains(s, "limits kept") && !strings.Contains(s, "not computed") && !strings.Contains(s, "computing,")
	})
	c.say(name)
}

var callWord = regexp.MustCompile(`figures (\d) (\d)`)

// spotter calls the post and types the figures heard back.
func (c *crew) spotter() {
	c.t.Helper()
	c.x.press(enter)
	var m []string
	if !c.x.comes(3*time.Second, func(s string) bool {
		m = callWord.FindStringSubmatch(s)
		return m != nil
	}) {
		return // it is called again
	}
	c.x.write(m[1] + m[2])
	time.Sleep(40 * time.Millisecond)
	c.x.write("gate shut, road empty")
}

// proof goes through the contact proof. One that has failed, as it does on a
// machine that stands still, is made again.
func (c *crew) proof() {
	c.t.Helper()
	c.h.battery(true)
	c.say("prove")
	if c.x.shows("turn the key in", 8*time.Second) {
		c.h.key(true)
		c.x.shows("take the key out", 8*time.Second)
		c.h.key(false)
		c.x.shows("contacts proved", 6*time.Second)
	}
	c.h.battery(false)
	c.x.see("battery 0.0", 5*time.Second)
}

// openLine sends the firing officer forward. The test current takes a few
// seconds to lapse, and the screen says so.
func (c *crew) openLine() {
	c.t.Helper()
	for range 10 {
		c.say(ranger, firing, firing)
		time.Sleep(400 * time.Millisecond) // what was said of the try before is gone
		s := c.x.until("the line open, or why not", 5*time.Second, func(s string) bool {
			return strings.Contains(s, "line OPEN") || strings.Contains(s, "test current")
		})
		if strings.Contains(s, "line OPEN") {
			return
		}
		time.Sleep(time.Second)
	}
}

// toReady answers whatever is due until every gate stands. What was not taken is
// due again, as keys can have been thrown away or a reading late; not for ever.
func (c *crew) toReady() {
	c.t.Helper()
	last, again := "", 0
	for n := 0; n < 120 && again < 5; n++ {
		s := c.x.until("something due", 10*time.Second, func(s string) bool { return head(s) != "" })
		h := head(s)
		if h == "ARM" {
			return
		}
		if again++; h != last {
			last, again = h, 0
		}
		c.step(h, s)
		if !c.x.comes(4*time.Second, func(s string) bool { now := head(s); return now != "" && now != h }) && strings.Contains(c.x.screen(), "esc close") {
			c.x.press(escape)
		}
	}
	c.t.Fatalf("READY was not reached; the screen:\n%s", c.x.screen())
}

// toArmed takes both people and the key.
func (c *crew) toArmed() {
	c.t.Helper()
	c.say(firing)
	c.x.see("CODE", 3*time.Second)
	c.gone("ARM", 3*time.Second)
	c.say(code)
	c.x.see("KEY IN", 3*time.Second)
	if strings.Contains(c.x.screen(), code) {
		c.t.Fatal("the code is on the screen")
	}
	c.h.key(true)
	c.x.see("START THE COUNT", 3*time.Second)
}

// toCount starts the count.
func (c *crew) toCount() {
	c.t.Helper()
	c.say("count")
	c.x.see("Any doubt: HOLD", 3*time.Second)
}

// upToTheCount answers what is due, arms, and starts the count.
func (c *crew) upToTheCount() {
	c.t.Helper()
	c.toReady()
	c.toArmed()
	c.toCount()
}

// toWindow waits for zero and for the permit.
func (c *crew) toWindow(within time.Duration) {
	c.t.Helper()
	c.x.see("permit closed", within)
}

var countOf = regexp.MustCompile(`you count (\d+)`)

// counted is how many the practice's eyes count on the screen.
func counted(screen string) string {
	if m := countOf.FindStringSubmatch(screen); m != nil {
		return m[1]
	}
	return "4"
}

// closeOut makes safe and ends the firing.
func (c *crew) closeOut() {
	c.t.Helper()
	for range 40 {
		s := c.x.until("something due, or the end", 15*time.Second, func(s string) bool {
			return head(s) != "" || strings.Contains(s, "signed")
		})
		h := head(s)
		switch {
		case h == "":
			return
		case h == "BATTERY OFF":
			c.h.battery(false)
		case h == "ONE GOES FORWARD":
			c.say(ranger, firing)
		case c.dark != "" && h == "MOTOR "+c.dark:
			c.say("unlit, igniter taken out")
		case strings.HasPrefix(h, "MOTOR "):
			c.say("burned out, casing cold")
		case h == "LEADS SHUNTED":
			c.say("shunted", firing)
		case h == "LINE CLOSED":
			count := "4"
			if strings.Contains(s, "line OPEN") {
				count = "1"
			}
			c.say(ranger, count)
		case h == "FIRE WATCH":
			c.say("watched", ranger)
		case h == "RESULT":
			c.say("106", "32.5", "straight, chute open")
		case strings.HasSuffix(h, " USED"):
			n := counted(s)
			c.say(n, n)
		case strings.HasSuffix(h, " LEFT"):
			n := counted(s)
			c.say(n, n, "-")
		case h == "ALL CLEAR":
			c.say(ranger)
			c.x.see("signed", 10*time.Second)
			return
		default:
			c.t.Fatalf("nothing to do for %q; the screen:\n%s", h, s)
		}
		c.gone(h, 10*time.Second)
	}
	c.t.Fatalf("the end was not reached; the screen:\n%s", c.x.screen())
}
