package main

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"holdline/checklist/prediction"
	"holdline/checklist/sheet"
	"holdline/checklist/sheet/unit"
)

// drawFlags are the flags of every answer that is drawn at random.
type drawFlags struct {
	runs int
	seed uint64
}

func (d *drawFlags) add(c *cobra.Command) {
	c.Flags().IntVar(&d.runs, "runs", prediction.DefaultRuns, "`N` draws of the dispersion")
	c.Flags().Uint64Var(&d.seed, "seed", 1, "`S`, the seed of the draws; the same seed gives the same answer")
}

// mostRuns bounds the draws, so that a slip of a finger ends.
const mostRuns = 10_000_000

func (d *drawFlags) check(c *cobra.Command) error {
	if d.runs < 1 || d.runs > mostRuns {
		return usage(c, "--runs %d: expected 1 to %d", d.runs, mostRuns)
	}
	return nil
}

func (p *program) circuitCommand() *cobra.Command {
	var draws drawFlags
	var asJSON bool
	var reading string
	cmd := &cobra.Command{
		Use:   "circuit SHEET",
		Short: "firing circuit and continuity bands",
		Long: `Says whether one battery lights every motor of a sheet through its leads: the
current of each igniter, nominal and at the worst corner, when each fires and
lights, what a meter should read, the dispersion, every limit with what is left
of it, and what would mend a limit that fails.

Exit status: 0 go; 3 no-go; 1 the sheet has faults; 2 wrong usage.`,
		Example: `  holdline circuit run.toml
  holdline circuit run.toml --reading "0.31 ohm"
  holdline circuit run.toml --json --runs 100000 --seed 7`,
		Args: exactArgs("SHEET"),
		RunE: func(c *cobra.Command, args []string) error {
			if err := draws.check(c); err != nil {
				return err
			}
			options := prediction.CircuitOptions{Runs: draws.runs, Seed: draws.seed}
			if c.Flags().Changed("reading") {
				ohm, err := unit.ParseAs(reading, unit.Resistance)
				if err != nil {
					return usage(c, "--reading: %s", withoutPackages(err))
				}
				options.ReadingOhm = &ohm
			}
			answer, err := p.circuitAnswer(c, args[0], options)
			if err != nil {
				return err
			}
			return p.answer(asJSON, answer, answer.WriteText, answer.Go)
		},
	}
	draws.add(cmd)
	cmd.Flags().StringVar(&reading, "reading", "", "judge a reading `R` of the whole cluster, such as \"0.31 ohm\"")
	cmd.Flags().BoolVar(&asJSON, "json", false, "the answer as one JSON object")
	return cmd
}

// circuitAnswer computes a sheet's circuit, with progress and cancel.
func (p *program) circuitAnswer(c *cobra.Command, path string, o prediction.CircuitOptions) (*prediction.Circuit, error) {
	s, err := sheet.Load(path)
	if err != nil {
		return nil, err
	}
	ctx, stop := interruptible(c.Context())
	defer stop()
	progress := startProgress(p.errOut, "firing circuit", o.Runs)
	defer progress.stop()
	o.Progress = progress.at
	answer, err := prediction.BuildCircuit(ctx, s.Title, fmt.Sprintf("%x", s.SHA256), s.Circuit(), o)
	if err != nil {
		if errors.Is(err, ctx.Err()) {
			return nil, cancelled(err)
		}
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return answer, nil
}
