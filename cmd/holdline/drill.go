package main

import (
	"crypto/rand"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"holdline/arming/drill"
	"holdline/arming/record"
	"holdline/checklist/sheet/unit"
	"holdline/cmd/holdline/session"
)

// drillFlags are the flags of a drill.
type drillFlags struct {
	seed         uint64
	surprises    string
	judge        string
	list, asJSON bool
	signers      string
	sessionFlags
}

func (p *program) drillCommand() *cobra.Command {
	var f drillFlags
	cmd := &cobra.Command{
		Use:   "drill [SHEET]",
		Short: "a practice firing with surprises, and how the crew met them",
		Long: `Runs a practice firing in the cockpit and lets surprises come: a spotter's HOLD,
an igniter that goes open, a dark motor, a box that says nothing. When the
cockpit is left it tells, from the record alone, how fast and how rightly the
crew reacted, and what to practise next. The box is always a practice box of
its own: nothing real can be drilled with. The same seed, sheet and
--surprises give the same drill.

Only what people did is judged: HOLD, what was typed, the practice hands. Where
the cockpit stops by itself, nobody is praised for it. With --judge a record is
judged again, later or elsewhere.

Exit status: 0 every surprise came and was met; 3 not; 1 it could not be done;
2 wrong usage.`,
		Example: `  holdline drill
  holdline drill first/sheet.toml --surprises 5
  holdline drill --surprises spotter-stop,dark-motor --seed 7
  holdline drill --list
  holdline drill --judge firing.jsonl --json`,
		Args: sheetOrNothing,
		RunE: func(c *cobra.Command, args []string) error {
			choice, err := f.check(c, args)
			switch {
			case err != nil:
				return err
			case f.list:
				return p.listSurprises(f.asJSON)
			case f.judge != "":
				return p.judgeDrill(f.judge, &f)
			case !isTerminal(p.in) || !isTerminal(p.out):
				return withHint(errors.New("drill: it needs a terminal for its screen and keys"), "holdline drill --judge RECORD and --list need none")
			}
			return p.openDrill(c, &f, choice, args)
		},
	}
	flags := cmd.Flags()
	flags.Uint64Var(&f.seed, "seed", 0, "`SEED` of the surprises; another one each time without it")
	flags.StringVar(&f.surprises, "surprises", strconv.Itoa(drill.Usual), fmt.Sprintf("how `MANY`, 1 to %d, or their names with commas between", drill.Most))
	flags.BoolVar(&f.list, "list", false, "list every surprise with what is right after it")
	flags.StringVar(&f.judge, "judge", "", "judge the drill in this `RECORD` and open no cockpit")
	flags.BoolVar(&f.asJSON, "json", false, "the answer as one JSON object")
	f.add(cmd, "`TIME` that the wait takes, such as 10s; a sixth of a real one without it")
	flags.StringVar(&f.signers, "signers", "", "allowed_signers `FILE` with the keys to accept, for --judge")
	return cmd
}

// check reads what the flags say together.
func (f *drillFlags) check(c *cobra.Command, args []string) (drill.Choice, error) {
	var choice drill.Choice
	only := func(name string, given bool) error {
		if !given {
			return nil
		}
		for _, other := range []string{"seed", "surprises", "records", "key", "theme", "practice-wait"} {
			if c.Flags().Changed(other) {
				return usage(c, "--%s does not go with %s", other, name)
			}
		}
		if len(args) > 0 {
			return usage(c, "a SHEET does not go with %s", name)
		}
		return nil
	}
	for _, err := range []error{only("--list", f.list), only("--judge", c.Flags().Changed("judge"))} {
		if err != nil {
			return choice, err
		}
	}
	switch {
	case f.list && c.Flags().Changed("judge"):
		return choice, usage(c, "--list and --judge do not go together")
	case c.Flags().Changed("judge") && f.judge == "":
		return choice, usage(c, "--judge: no RECORD given")
	}
	if err := f.sessionFlags.check(c); err != nil {
		return choice, err
	}
	if n, err := strconv.Atoi(f.surprises); err == nil {
		if n < 1 || n > drill.Most {
			return choice, usage(c, "--surprises %d: expected 1 to %d, or names", n, drill.Most)
		}
		choice.Count = n
		return choice, nil
	}
	kinds, err := drill.ParseKinds(f.surprises)
	if err != nil {
		return choice, usage(c, "--surprises: %s; see --list", strings.TrimPrefix(err.Error(), "drill: "))
	}
	choice.Kinds = kinds
	return choice, nil
}

// openDrill runs the cockpit, then judges its record.
func (p *program) openDrill(c *cobra.Command, f *drillFlags, choice drill.Choice, args []string) error {
	if !c.Flags().Changed("seed") {
		f.seed = newSeed()
	}
	options := f.options(p, args)
	options.Drill = &session.Drill{Seed: f.seed, Choice: choice}
	path, err := session.RunDrill(c.Context(), options)
	switch {
	case errors.Is(err, session.ErrUnfinished):
		return withHint(err, "holdline takes it up where it stands")
	case err != nil:
		return err
	}
	fmt.Fprintln(p.out)
	return p.judgeDrill(path, f)
}

// newSeed is a seed short enough to be told to somebody.
func newSeed() uint64 {
	var b [2]byte
	_, _ = rand.Read(b[:]) // never fails, see crypto/rand
	return 1 + uint64(binary.BigEndian.Uint16(b[:]))
}

// judgeDrill judges the drill of a record. A record that cannot be believed is
// not judged.
func (p *program) judgeDrill(path string, f *drillFlags) error {
	r, err := readRecord("drill", path, f.signers)
	if err != nil {
		return err
	}
	for _, finding := range r.Findings {
		switch finding.Status {
		case record.Torn, record.StillOpen, record.ChainGap, record.UnknownSigner, record.Unsigned:
			_ = tell(p.errOut, "note: %s: %s", finding.Status, finding.Text)
		default:
			_ = tell(p.errOut, "NOT VALID: %s: line %d: %s", finding.Status, finding.Line, finding.Text)
			return errAnswerNo
		}
	}
	var judge drill.Judge
	for _, e := range r.Log.Entries {
		if err := judge.Entry(e.Kind, time.Duration(e.MonoUS)*time.Microsecond, e.Body); err != nil {
			return fmt.Errorf("drill: %q: entry %d: %w", path, e.Seq, err)
		}
	}
	j, err := judge.Judgement()
	if err != nil {
		return withHint(fmt.Errorf("drill: %q: %w", path, err), "holdline drill makes one that is")
	}
	text := func(w io.Writer, _ unit.System) error {
		_, err := fmt.Fprintf(w, "%sjudged from %s\n", j.Text(), path)
		return err
	}
	return p.answer(f.asJSON, j, text, j.Verdict == drill.Met)
}

// listedSurprise is a surprise in the list as JSON.
type listedSurprise struct {
	Kind    drill.Kind `json:"kind"`
	Meaning string     `json:"meaning"`
	Phases  []string   `json:"phases"`
	Right   []string   `json:"right"`
}

func (p *program) listSurprises(asJSON bool) error {
	if !asJSON {
		_, err := fmt.Fprint(p.out, drill.List())
		return err
	}
	list := []listedSurprise{}
	for _, h := range drill.Kinds() {
		l := listedSurprise{Kind: h.Kind, Meaning: h.Meaning, Right: h.Right()}
		for _, ph := range h.Phases {
			l.Phases = append(l.Phases, ph.String())
		}
		list = append(list, l)
	}
	return writeJSON(p.out, list)
}
