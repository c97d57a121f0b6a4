//go:build e2e && (linux || darwin)

package e2e

import (
	"strings"
	"testing"
	"time"
)

// TestTheFirstStartShowsTheScreen once, and the next one not; asked for it
// comes again, and a drill or a box in another terminal has none.
func TestTheFirstStartShowsTheScreen(t *testing.T) {
	env := newHome(t)
	x := open(t, env)
	x.until("the tour, with the state and the space bar beside it", 10*time.Second, func(s string) bool {
		return strings.HasPrefix(s, bigSetup) && strings.Contains(s, "WELCOME: PRACTICE") && strings.Contains(s, "space everyone back") && strings.Contains(s, "SAFE")
	})
	x.press(enter)
	x.see("THE CHAIN", 2*time.Second)
	x.press(space)
	x.see("EVERYONE BACK", 2*time.Second)
	x.see("THE CHAIN", 2*time.Second)
	for _, stop := range []string{"THE STEP AT HAND", "THE STRIP", "Space is HOLD", "THE LAPTOP NEVER FIRES", "HOW TO LEAVE"} {
		x.press(enter)
		x.see(stop, 2*time.Second)
	}
	x.press(enter)
	x.until("the end of the tour", 2*time.Second, func(s string) bool { return head(s) == "CREW FIRING OFFICER" && !strings.Contains(s, "HOW TO LEAVE") })
	leave(x)

	x = open(t, env)
	x.see("New here?", 10*time.Second)
	if s := x.screen(); strings.Contains(s, "WELCOME: PRACTICE") {
		t.Errorf("the tour comes again:\n%s", s)
	}
	x.press("i")
	x.see("WELCOME: PRACTICE", 2*time.Second)
	x.press(escape)
	x.see("New here?", 2*time.Second)
	leave(x)

	x = open(t, env, "--tour")
	x.see("WELCOME: PRACTICE", 10*time.Second)
	leave(x)

	fresh := newHome(t)
	x = open(t, fresh, "--tour=false")
	x.see("New here?", 10*time.Second)
	leave(x)
	b := openBox(t, fresh)
	x = open(t, fresh, quickSheet(t), "--box", b.path)
	x.see("CREW FIRING OFFICER", 10*time.Second)
	if s := x.screen(); strings.Contains(s, "WELCOME") {
		t.Errorf("a tour with a box that is not the program's own:\n%s", s)
	}
	leave(x)
}

// leave ends the program.
func leave(x *terminal) {
	x.t.Helper()
	x.press(ctrlC)
	x.press(ctrlC)
	if status := x.ended(10 * time.Second); status != 0 {
		x.t.Errorf("exit status %d; the screen:\n%s", status, x.screen())
	}
}
