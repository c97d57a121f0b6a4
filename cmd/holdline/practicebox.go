package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"holdline/arming/groundbox/practice"
)

// mostChannels is how many igniter channels a box has at most.
const mostChannels = 16

func (p *program) practiceBoxCommand() *cobra.Command {
	var channels int
	var faults []string
	var sheetPath, checkPort string
	var long, byHand bool
	cmd := &cobra.Command{
		Use:   "practice-box",
		Short: "the simulated box on a pseudo-terminal whose path it prints",
		Long: `Runs a simulated ground box on a pseudo-terminal and prints its path, for
holdline SHEET --box PATH in another terminal. It behaves by the firing circuit
of a sheet, or of the embedded scenario, and calls itself PRACTICE in every
answer. Its hands are lines on standard input:

` + handsHelp + `

Faults, for --fault and for the line "fault":

` + faultsHelp() + `
With --check PORT it tries the box at PORT, a real one or a simulated, against
the box contract instead, and prints what it lacks: key out, battery off and no
igniter connected, please. The clauses about the permit need hands at the box:
with --hands a person turns the key and presses the button when asked; those of
a box that another practice-box runs are used without asking. Without hands, or
without --long, the check is INCOMPLETE.

Exit status: 0; with --check 3 when a clause fails, 4 when none fails and the
check is incomplete.`,
		Example: `  holdline practice-box
  holdline practice-box --channels 2 --fault open:2 --fault weak-battery
  holdline practice-box --check /dev/ttyACM0`,
		Args: exactArgs(),
		RunE: func(c *cobra.Command, _ []string) error {
			if c.Flags().Changed("check") {
				return p.checkBox(c, checkPort, long, byHand)
			}
			if long || byHand {
				return usage(c, "--long and --hands go with --check")
			}
			cfg, err := practiceConfig(c, sheetPath, channels)
			if err != nil {
				return err
			}
			box, err := practice.New(cfg)
			if err != nil {
				return err
			}
			for _, text := range faults {
				fault, err := practice.ParseFault(text)
				if err == nil {
					err = box.SetFault(fault)
				}
				if err != nil {
					return usage(c, "--fault: %s", withoutPackages(err))
				}
			}
			return p.servePractice(c.Context(), box)
		},
	}
	cmd.Flags().IntVar(&channels, "channels", 0, "`N` igniter channels, 1 to 16; 0 is those of the sheet's motors")
	cmd.Flags().StringArrayVar(&faults, "fault", nil, "`WHAT` is wrong from the start, see above; repeatable")
	cmd.Flags().StringVar(&sheetPath, "sheet", "", "`SHEET` whose circuit hangs on the box; the embedded scenario without it")
	cmd.Flags().StringVar(&checkPort, "check", "", "try the box at this `PORT` against the box contract")
	cmd.Flags().BoolVar(&long, "long", false, "with --check: also the clauses that take 5 s and 20 s")
	cmd.Flags().BoolVar(&byHand, "hands", false, "with --check: a person is at the box and does what is asked")
	return cmd
}

const handsHelp = `  key in | key out          battery on | battery off
  igniters on | igniters off | igniters new
  shunt on | shunt off      press SECONDS | button down | button up
  fault WHAT | clear WHAT   state | wait SECONDS | quit`

func faultsHelp() string {
	var b strings.Builder
	for _, f := range practice.FaultKinds() {
		fmt.Fprintf(&b, "  %s\n%s", f.Form, indented(f.Meaning, 72))
	}
	return b.String()
}

// indented breaks a text into lines of at most width characters, set in by
// four.
func indented(text string, width int) string {
	var b strings.Builder
	column := 0
	for _, word := range strings.Fields(text) {
		switch {
		case column == 0:
			b.WriteString("    ")
		case column+1+len(word) > width:
			b.WriteString("\n    ")
			column = 0
		default:
			b.WriteByte(' ')
			column++
		}
		b.WriteString(word)
		column += len(word)
	}
	return b.String() + "\n"
}

// practiceConfig is the circuit of a sheet on the sheet's channels, or on some
// number of channels: the sheet's igniters from the first on, and round again.
func practiceConfig(c *cobra.Command, sheetPath string, channels int) (cfg practice.Config, err error) {
	s, err := loadOrScenario(sheetPath)
	if err != nil {
		return cfg, err
	}
	problem := s.Circuit()
	if channels == 0 && !c.Flags().Changed("channels") {
		return practice.Config{Problem: problem, Channels: s.Channels()}, nil
	}
	if channels < 1 || channels > mostChannels {
		return cfg, usage(c, "--channels %d: expected 1 to %d", channels, mostChannels)
	}
	igniters := problem.Igniters
	problem.Igniters = nil
	for k := range channels {
		problem.Igniters = append(problem.Igniters, igniters[k%len(igniters)])
	}
	return practice.Config{Problem: problem}, nil
}

// servePractice serves the box until its input says quit or the program is
// interrupted. An input that ends leaves the box running.
func (p *program) servePractice(parent context.Context, box *practice.Box) error {
	path, stop, err := practice.StartPTY(box)
	if err != nil {
		return withHint(err, "where there are no pseudo-terminals the cockpit's --practice runs the box inside the program")
	}
	defer stop()
	closeHands, err := listenForHands(box, path)
	if err != nil {
		return err
	}
	defer closeHands()
	ctx, release := interruptible(parent)
	defer release()
	if _, err := fmt.Fprintln(p.out, path); err != nil {
		return err
	}
	fmt.Fprintf(p.errOut, "practice box on %s; its hands are lines here, Ctrl-C ends it\n%s\n", path, handsHelp)
	quit := make(chan struct{})
	go p.hands(box, quit)
	select {
	case <-ctx.Done():
	case <-quit:
	}
	return nil
}

// hands obeys the lines of standard input until "quit".
func (p *program) hands(box *practice.Box, quit chan<- struct{}) {
	lines := bufio.NewScanner(p.in)
	for lines.Scan() {
		line := strings.Join(strings.Fields(lines.Text()), " ")
		switch line {
		case "":
			continue
		case "quit":
			close(quit)
			return
		}
		if err := moveHand(box, line, p.out); err != nil {
			fmt.Fprintf(p.errOut, "practice-box: %q: %v\n", line, err)
		}
	}
}

// handsAt is the socket beside the port of a practice box that takes lines for
// its hands, for --check.
func handsAt(port string) string { return filepath.Join(filepath.Dir(port), "hands") }

// listenForHands obeys the lines that come to the socket, each of which gets ok or
// what is wrong with it.
func listenForHands(box *practice.Box, port string) (stop func(), err error) {
	listener, err := net.Listen("unix", handsAt(port))
	if err != nil {
		return nil, fmt.Errorf("practice-box: hands: %w", err)
	}
	go func() {
		for {
			conn, err := listener.Accept()
			if err != nil {
				return // closed
			}
			go func() {
				defer func() { _ = conn.Close() }() // the other side is gone
				for lines := bufio.NewScanner(conn); lines.Scan(); {
					answer := "ok"
					if err := moveHand(box, lines.Text(), io.Discard); err != nil {
						answer = err.Error()
					}
					if _, err := fmt.Fprintln(conn, answer); err != nil {
						return
					}
				}
			}()
		}
	}()
	return func() { _ = listener.Close() }, nil // nothing is left to lose
}

// moveHand does what one line asks.
func moveHand(box *practice.Box, line string, out io.Writer) error {
	hands := box.Hands()
	simple := map[string]func(){
		"key in":       func() { hands.Key(true) },
		"key out":      func() { hands.Key(false) },
		"battery on":   func() { hands.Battery(true) },
		"battery off":  func() { hands.Battery(false) },
		"igniters on":  func() { hands.Igniters(true) },
		"igniters off": func() { hands.Igniters(false) },
		"igniters new": hands.NewIgniters,
		"shunt on":     func() { hands.Shunt(true) },
		"shunt off":    func() { hands.Shunt(false) },
		"button down":  func() { hands.Button(true) },
		"button up":    func() { hands.Button(false) },
	}
	if do, ok := simple[line]; ok {
		do()
		return nil
	}
	word, rest, _ := strings.Cut(line, " ")
	switch word {
	case "press", "wait":
		d, err := time.ParseDuration(rest + "s")
		if err != nil || d < time.Millisecond || d > time.Minute {
			return fmt.Errorf("expected %s SECONDS, 0.001 to 60", word)
		}
		if word == "wait" {
			time.Sleep(d)
		} else {
			hands.Press(d)
		}
		return nil
	case "fault", "clear":
		fault, err := practice.ParseFault(rest)
		if err != nil {
			return err
		}
		if word == "fault" {
			return box.SetFault(fault)
		}
		box.ClearFault(fault)
		return nil
	case "state":
		return writeBoxState(out, box)
	}
	return errors.New("not a hand of this box; state shows where they are")
}

// writeBoxState writes one line of where the hands and contacts are.
func writeBoxState(out io.Writer, box *practice.Box) error {
	s := box.State()
	word := func(is bool, yes, no string) string {
		if is {
			return yes
		}
		return no
	}
	var lit []string
	for _, m := range box.Lit() {
		if m.Lit {
			lit = append(lit, fmt.Sprint(m.Motor))
		}
	}
	_, err := fmt.Fprintf(out, "key %s, battery %s %.2f V, igniters %s, shunt %s, button %s, permit %s, bus %.2f V, pulses %d, lit %s\n",
		word(s.KeyIn, "in", "out"), word(s.BatteryJoined, "on", "off"), s.BatteryV,
		word(s.Igniters, "on", "off"), word(s.Shunt, "on", "off"), word(s.Button, "down", "up"),
		word(s.PermitClosed, "closed", "open"), s.BusV, s.Pulses, word(len(lit) > 0, strings.Join(lit, " "), "none"))
	return err
}
