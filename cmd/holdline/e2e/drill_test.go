//go:build e2e && (linux || darwin)

package e2e

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

var heardDark = regexp.MustCompile(`motor (\d), no flame`)

// TestADrill meets a spotter's HOLD in the count and a dark motor after the
// press, by keys alone, and has the judgement read off the terminal and made
// again from the record.
func TestADrill(t *testing.T) {
	env := home(t)
	// Seed 4 puts the spotter's HOLD into the count.
	x := open(t, env, "drill", "--seed", "4", "--surprises", "spotter-stop,dark-motor", "--practice-wait", "5s")
	x.until("PRACTICE DRILL in the head, at the readings, at the hands and in the log", 10*time.Second, func(s string) bool {
		return strings.Count(s, "PRACTICE DRILL") >= 4 && strings.Contains(s, "CREW FIRING OFFICER")
	})
	c := &crew{t: t, x: x, h: keys{x}}
	c.upToTheCount()
	x.see("south gate by radio: HOLD, HOLD", 10*time.Second)
	x.press(space)
	x.until("HOLD", 2*time.Second, func(s string) bool { return strings.HasPrefix(s, bigHold) })
	c.h.key(false)
	for _, due := range [][2]string{{"WHO CALLED HOLD", south}, {"RESUME", ranger}} {
		x.until(due[0], 3*time.Second, func(s string) bool { return head(s) == due[0] })
		c.say(due[1])
		c.gone(due[0], 4*time.Second)
	}
	c.upToTheCount()
	c.toWindow(20 * time.Second)
	x.press(handButton)
	x.see("KEEP IT PRESSED", 3*time.Second)
	dark := ""
	x.until("the dark motor", 6*time.Second, func(s string) bool {
		if m := heardDark.FindStringSubmatch(s); m != nil {
			dark = m[1]
		}
		return dark != ""
	})
	time.Sleep(time.Second)
	x.press(handButton)
	x.see("permit open", 6*time.Second)
	c.h.key(false)
	c.afterDark(dark)
	c.closeOut()
	x.press(ctrlC)
	if status := x.ended(10 * time.Second); status != 0 {
		t.Errorf("exit status %d after a drill that was met; the screen:\n%s", status, x.screen())
	}
	x.see("every surprise was met, rightly and in time", time.Second)
	judgeAgain(t, env)
}

// afterDark says what lit and what did not, and waits.
func (c *crew) afterDark(dark string) {
	c.t.Helper()
	c.dark = dark
	said := false
	for range 60 {
		s := c.x.until("something due", 30*time.Second, func(s string) bool { return head(s) != "" })
		switch h := head(s); {
		case h == "AT REST":
			c.say(firing)
			c.gone(h, 5*time.Second)
		case h == "WHAT LIT" && !said:
			for k := 1; k <= 4; k++ {
				c.say(fmt.Sprint(k), word(fmt.Sprint(k) == dark, "dark", "lit"), firing)
				time.Sleep(200 * time.Millisecond)
			}
			said = true
		case h == "BATTERY OFF":
			c.h.battery(false)
			c.gone(h, 10*time.Second)
		case h == "ONE GOES FORWARD":
			c.forward()
			return
		default:
			time.Sleep(200 * time.Millisecond) // the wait runs
		}
	}
	c.t.Fatalf("the wait did not end; the screen:\n%s", c.x.screen())
}

// judgeAgain has the record judged by the command alone.
func judgeAgain(t testing.TB, env []string) {
	t.Helper()
	record := only(t, filepath.Join(strings.TrimPrefix(env[0], "HOME="), "state", "holdline", "records", "practice", "*.jsonl"))
	cmd := exec.Command(program(t), "drill", "--judge", record, "--json")
	cmd.Env = append(os.Environ(), env...)
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("judging again: %v: %s", err, out)
	}
	var j struct {
		Verdict                  string
		Came, Met, Right, Judged int
		Surprises                []struct{ Kind, Phase string }
	}
	if err := json.Unmarshal(out, &j); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	if j.Verdict != "met" || j.Came != 2 || j.Met != 2 || j.Right != 5 || j.Judged != 5 || j.Surprises[0].Phase != "COUNT" {
		t.Errorf("%s", out)
	}
	t.Logf("%s", out)
}
