package main

import (
	"bufio"
	"fmt"
	"io"
	"net"
	"time"

	"github.com/spf13/cobra"

	"holdline/arming/groundbox"
	"holdline/arming/groundbox/conformance"
)

// boxBaud is the rate of a ground box; USB ignores it.
const boxBaud = 115200

// checkBox tries whether the box at a port keeps the box contract.
func (p *program) checkBox(c *cobra.Command, port string, long, person bool) error {
	if port == "" {
		return usage(c, "--check: no port given; holdline ports lists them")
	}
	ctx, stop := interruptible(c.Context())
	defer stop()
	rw, err := groundbox.SerialDial(port, boxBaud)(ctx)
	if err != nil {
		return withHint(fmt.Errorf("practice-box: --check %s: %w", port, err), "holdline ports lists what there is")
	}
	hands, done := handsFor(port, p.out, person)
	findings := conformance.Check(ctx, rw, p.out, long, hands)
	done()
	counts := map[conformance.Verdict]int{}
	for _, f := range findings {
		counts[f.Verdict]++
	}
	if _, err := fmt.Fprintf(p.out, "%d clauses passed, %d failed, %d not tried\n",
		counts[conformance.Passed], counts[conformance.Failed], counts[conformance.NotTried]); err != nil {
		return err
	}
	switch {
	case ctx.Err() != nil:
		return fmt.Errorf("practice-box: --check: cancelled before the last clause")
	case !conformance.Conforms(findings):
		return errAnswerNo
	case conformance.Complete(findings):
		return nil
	}
	remedy := "--long tries those that take 5 s and 20 s"
	if hands == nil {
		remedy = "--hands, with a person at the box, sees the permit close and open by itself; " + remedy
	}
	if _, err := fmt.Fprintf(p.out, "INCOMPLETE: this box is not proved. %s\n", remedy); err != nil {
		return err
	}
	return errIncomplete
}

// handsFor returns the hands at the box: those of a practice box that another
// process runs, or a person's when there is one, or none. done brings them back
// to rest.
func handsFor(port string, out io.Writer, person bool) (hands *conformance.Hands, done func()) {
	var do func(line string)
	var end func()
	h := &conformance.Hands{}
	if conn, err := net.Dial("unix", handsAt(port)); err == nil {
		answers := bufio.NewScanner(conn)
		do = func(line string) { // a hand that does not move fails its clause
			if _, err := fmt.Fprintln(conn, line); err == nil {
				answers.Scan()
			}
		}
		end = func() { _ = conn.Close() } // nothing is left to lose
		h.Exact, h.Within = true, time.Second
		h.Press = func(d time.Duration) { do(fmt.Sprintf("press %g", d.Seconds())) }
	} else if person {
		do = func(line string) { fmt.Fprintf(out, ">>>  %s\n", handWords[line]) }
		end = func() {}
		h.Within = time.Minute
		h.Press = func(d time.Duration) {
			if d < 100*time.Millisecond {
				fmt.Fprintln(out, ">>>  tap the button, once, now")
			} else {
				fmt.Fprintln(out, ">>>  press the button now, keep it pressed for half a second, let go")
			}
		}
	} else {
		return nil, func() {}
	}
	turn := func(on, off string) func(bool) { // a hand that is there already is asked for nothing
		is := false
		return func(want bool) {
			if want != is {
				is = want
				do(map[bool]string{true: on, false: off}[want])
			}
		}
	}
	h.Key, h.Battery, h.Button = turn("key in", "key out"), turn("battery on", "battery off"), turn("button down", "button up")
	return h, func() {
		h.Button(false)
		h.Key(false)
		h.Battery(false)
		end()
	}
}

// handWords are what a person is asked for.
var handWords = map[string]string{
	"key in": "turn the key in now", "key out": "take the key out now",
	"battery on": "join the battery now, no igniter connected", "battery off": "take the battery off now",
	"button down": "press the button now and keep it pressed", "button up": "let the button go now",
}
