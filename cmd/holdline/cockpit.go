package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"holdline/cmd/holdline/session"
)

// cockpitFlags are the flags of the cockpit.
type cockpitFlags struct {
	box, meter      string
	typed, practice bool
	tour            bool
	sessionFlags
}

// sessionFlags are the flags of the cockpit and of a drill alike.
type sessionFlags struct {
	recordDir    string
	keyFile      string
	theme        string
	practiceWait time.Duration
}

func (f *sessionFlags) add(c *cobra.Command, wait string) {
	flags := c.Flags()
	flags.StringVar(&f.recordDir, "records", "", "`FOLDER` of the records")
	flags.StringVar(&f.keyFile, "key", "", "private key `FILE` that signs the record")
	addTheme(c, &f.theme)
	flags.DurationVar(&f.practiceWait, "practice-wait", 0, wait)
}

func addTheme(c *cobra.Command, theme *string) {
	c.Flags().StringVar(theme, "theme", "", "light, dark or plain `THEME`; by the terminal without it")
}

func (f *sessionFlags) check(c *cobra.Command) error {
	if c.Flags().Changed("practice-wait") && f.practiceWait < leastPracticeWait {
		return usage(c, "--practice-wait %v: expected %v at least", f.practiceWait, leastPracticeWait)
	}
	return checkTheme(c, f.theme)
}

// options are those of a session on the sheet among args, if any.
func (f *sessionFlags) options(p *program, args []string) session.Options {
	o := session.Options{
		RecordDir: f.recordDir, KeyFile: f.keyFile, PracticeWait: f.practiceWait, Theme: f.theme, Units: p.units.System, Version: version,
	}
	if len(args) == 1 {
		o.SheetPath = args[0]
	}
	return o
}

// leastPracticeWait is how short the wait of a practice firing may be made.
const leastPracticeWait = time.Second

func (p *program) cockpitCommand() *cobra.Command {
	var f cockpitFlags
	cmd := &cobra.Command{
		Use:   "holdline [SHEET]",
		Short: "a cockpit for the countdown and arming of rocket-boosted model ground vehicles",
		Long: `A cockpit for the ground crew of rocket-boosted model vehicles: it predicts the
run, checks the firing circuit, leads through the routine, calls HOLD when
anything is in doubt, and keeps a signed record. The laptop can stop a firing;
it can never start one: firing is a button under a hand.

Without a sheet it opens an invented vehicle with a practice box, and with
nothing else. With a sheet it asks how to measure, unless a flag says so.

Exit status: 0 yes (go, valid, done); 3 the answer is no (no-go, not valid);
1 it could not be done; 2 wrong usage.`,
		Example: `  holdline                              practise on an invented vehicle
  holdline new first && holdline predict first/sheet.toml
  holdline first/sheet.toml --practice
  holdline first/sheet.toml --box /dev/ttyACM0`,
		Args: sheetOrNothing,
		RunE: func(c *cobra.Command, args []string) error {
			if err := f.check(c, len(args) > 0); err != nil {
				return err
			}
			if !isTerminal(p.in) || !isTerminal(p.out) {
				return withHint(errors.New("the cockpit needs a terminal for its screen and keys"),
					"holdline predict, circuit and check answer without one")
			}
			return p.openCockpit(c.Context(), f, tourOf(c, f.tour), args)
		},
	}
	flags := cmd.Flags()
	flags.StringVar(&f.box, "box", "", "measure by the ground box at serial `PORT`")
	flags.StringVar(&f.meter, "meter", "", "measure by the multimeter at serial `PORT`; the laptop cannot stop such a firing")
	flags.BoolVar(&f.typed, "typed", false, "type readings off a meter; the laptop cannot stop such a firing")
	flags.BoolVar(&f.practice, "practice", false, "use a practice box: nothing real can fire")
	f.add(cmd, "`TIME` that the wait of a practice firing takes, such as 10s; a sixth of a real one without it")
	flags.BoolVar(&f.tour, "tour", false, "begin with the tour of the screen, in practice; --tour=false without it")
	return cmd
}

// tourOf is what the flag --tour says.
func tourOf(c *cobra.Command, tour bool) session.Tour {
	switch {
	case !c.Flags().Changed("tour"):
		return session.TourFirst
	case tour:
		return session.TourNow
	}
	return session.TourNever
}

// openCockpit runs the cockpit on the terminal. The session sees to signals by
// itself: whatever ends it, the permit falls first.
func (p *program) openCockpit(ctx context.Context, f cockpitFlags, tour session.Tour, args []string) error {
	options := f.options(p, args)
	options.Box, options.Meter, options.Typed, options.Practice, options.Tour = f.box, f.meter, f.typed, f.practice, tour
	options.Edit = func(ctx context.Context, path string) error { return p.editSheet(ctx, path, f.theme) }
	return session.Run(ctx, options)
}

// sheetOrNothing takes at most one argument, and tells a mistyped subcommand
// from a sheet.
func sheetOrNothing(c *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	if _, err := os.Stat(args[0]); err != nil {
		c.SuggestionsMinimumDistance = 2
		if near := c.SuggestionsFor(args[0]); len(near) > 0 {
			return &usageError{fmt.Errorf("no command or sheet %q; did you mean %s?", args[0], strings.Join(near, " or ")), c.CommandPath()}
		}
	}
	if len(args) > 1 {
		return &usageError{fmt.Errorf("%q is one argument too many", args[1]), c.CommandPath()}
	}
	return nil
}

func (f *cockpitFlags) check(c *cobra.Command, sheet bool) error {
	var ways []string
	for _, name := range []string{"box", "meter", "typed", "practice"} {
		if c.Flags().Changed(name) {
			ways = append(ways, "--"+name)
		}
	}
	switch {
	case len(ways) > 1:
		return usage(c, "%s: one way to measure at a time", strings.Join(ways, " and "))
	case c.Flags().Changed("box") && f.box == "", c.Flags().Changed("meter") && f.meter == "":
		return usage(c, "%s: no port given; holdline ports lists them", ways[0])
	}
	if len(ways) == 1 && ways[0] != "--practice" && !sheet {
		return usage(c, "%s needs a SHEET: the vehicle that is opened without one is invented, and its prediction says nothing of a real one", ways[0])
	}
	if f.tour && len(ways) == 1 && ways[0] != "--practice" {
		return usage(c, "--tour is for practice, not for %s", ways[0])
	}
	return f.sessionFlags.check(c)
}

// checkTheme refuses a theme that is none; "" leaves the choice to the terminal.
func checkTheme(c *cobra.Command, name string) error {
	switch name {
	case "", "light", "dark", "plain":
		return nil
	}
	return usage(c, "--theme %q: expected light, dark or plain", name)
}

// isTerminal tells whether a stream of the program is a terminal.
func isTerminal(stream any) bool {
	f, ok := stream.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}
