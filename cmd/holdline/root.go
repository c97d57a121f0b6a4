package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"github.com/spf13/cobra"

	"holdline/checklist/sheet/unit"
)

// program is what the subcommands share: where they write, and the flags
// that all of them know.
type program struct {
	in          io.Reader
	out, errOut io.Writer
	units       unitsFlag
}

// run obeys one command line and returns the exit status.
func run(ctx context.Context, args []string, in io.Reader, out, errOut io.Writer) int {
	p := &program{in: in, out: out, errOut: errOut}
	root := p.rootCommand()
	root.SetArgs(args)
	root.SetIn(in)
	root.SetOut(out)
	root.SetErr(errOut)
	return report(errOut, root.ExecuteContext(ctx))
}

func (p *program) rootCommand() *cobra.Command {
	cmd := p.cockpitCommand()
	cmd.SilenceErrors = true
	cmd.SilenceUsage = true
	cmd.PersistentFlags().Var(&p.units, "units", "`SYSTEM` of units that people read: si or us")
	cmd.SetFlagErrorFunc(func(c *cobra.Command, err error) error { return &usageError{plainFlag(err), c.CommandPath()} })
	cmd.AddGroup(&cobra.Group{ID: "answers", Title: "Answers about a sheet:"},
		&cobra.Group{ID: "records", Title: "Records:"},
		&cobra.Group{ID: "crew", Title: "The crew:"},
		&cobra.Group{ID: "box", Title: "The box:"})
	add := func(group string, commands ...*cobra.Command) {
		for _, c := range commands {
			c.GroupID = group
			cmd.AddCommand(c)
		}
	}
	add("answers", p.predictCommand(), p.circuitCommand(), p.checkCommand(), p.newCommand(), p.editCommand())
	add("records", p.verifyCommand(), p.exportCommand(), p.countersignCommand(), p.holdsCommand())
	add("crew", p.drillCommand(), p.cardCommand())
	add("box", p.portsCommand(), p.practiceBoxCommand())
	add("", p.versionCommand())
	cmd.InitDefaultHelpCmd()
	cmd.InitDefaultCompletionCmd()
	adoptDefaults(cmd)
	completeFlags(cmd)
	cmd.SetUsageTemplate(strings.ReplaceAll(cmd.UsageTemplate(), "FlagUsages", "FlagUsagesWrapped 80"))
	return cmd
}

// adoptDefaults gives the library's own commands this program's manner: wrong
// usage is told as such.
func adoptDefaults(root *cobra.Command) {
	for _, c := range root.Commands() {
		switch c.Name() {
		case "help":
			c.Short = "help about a command, as --help"
		case "completion":
			c.Short = "completion script for bash, zsh, fish or powershell"
			for _, shell := range c.Commands() {
				shell.Args = exactArgs()
			}
			c.RunE = func(c *cobra.Command, args []string) error { return c.Help() }
			c.Args = func(c *cobra.Command, args []string) error {
				if len(args) > 0 {
					return usage(c, "%q is no shell that it knows", args[0])
				}
				return nil
			}
		}
	}
}

// exactArgs demands the arguments named, and says by name which are missing.
func exactArgs(names ...string) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		switch {
		case len(args) < len(names):
			return &usageError{fmt.Errorf("%s: no %s given", c.Name(), names[len(args)]), c.CommandPath()}
		case len(args) > len(names):
			return &usageError{fmt.Errorf("%s: %q is one argument too many", c.Name(), args[len(names)]), c.CommandPath()}
		}
		return nil
	}
}

// usage is a command line that cmd cannot obey.
func usage(c *cobra.Command, format string, args ...any) error {
	if c.HasParent() { // the program's own name stands before every message already
		format = c.Name() + ": " + format
	}
	return &usageError{fmt.Errorf(format, args...), c.CommandPath()}
}

// plainFlag says of a flag's value what was expected, without the words of the
// library that could not read it.
func plainFlag(err error) error {
	text := err.Error()
	before, why, found := strings.Cut(text, " flag: ")
	if !found {
		return err
	}
	for sign, expected := range map[string]string{
		"strconv.ParseInt": "a whole number", "strconv.ParseUint": "a whole number from 0", "strconv.ParseBool": "true or false",
		"time: ": "a time with its unit, such as 10s",
	} {
		if strings.HasPrefix(why, sign) {
			return fmt.Errorf("%s flag: expected %s", before, expected)
		}
	}
	return err
}

// interruptible is a context that an interrupt or a request to end cancels. A
// second interrupt ends the program at once.
func interruptible(parent context.Context) (context.Context, context.CancelFunc) {
	ctx, stop := signal.NotifyContext(parent, os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop)
	return ctx, stop
}

// cancelled puts the interrupt in words.
func cancelled(err error) error {
	if errors.Is(err, context.Canceled) {
		return errors.New("cancelled: nothing was written")
	}
	return err
}

// unitsFlag is the value of --units.
type unitsFlag struct{ unit.System }

func (u *unitsFlag) String() string {
	if u.System == unit.US {
		return "us"
	}
	return "si"
}

func (u *unitsFlag) Set(text string) error {
	switch text {
	case "si":
		u.System = unit.Metric
	case "us":
		u.System = unit.US
	default:
		return errors.New("expected si or us")
	}
	return nil
}

func (u *unitsFlag) Type() string { return "system" }
