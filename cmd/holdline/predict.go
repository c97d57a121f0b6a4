package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"holdline/checklist/prediction"
	"holdline/checklist/prediction/chart"
	"holdline/checklist/sheet"
	"holdline/checklist/sheet/unit"
	"holdline/sim"
)

// predictFlags are the flags of predict.
type predictFlags struct {
	draws       drawFlags
	asJSON      bool
	lightAtZero bool
	plotFile    string
	trace       traceFlags
}

func (p *program) predictCommand() *cobra.Command {
	var f predictFlags
	cmd := &cobra.Command{
		Use:   "predict SHEET",
		Short: "the predicted run",
		Long: `Predicts the run of a sheet: the nominal run, every what-if case (a motor
silent, late, or late at rest; a stopping device absent; the strongest
tailwind), the dispersion, and every limit with what is left of it.

The ending of --plot's FILE decides what is drawn; an ending alone, .svg, names
the picture after the sheet, in the current folder. Neither file may be the
sheet or one of its curves.

Exit status: 0 go; 3 no-go; 1 the sheet has faults or a run has no end;
2 wrong usage.`,
		Example: `  holdline predict run.toml
  holdline predict run.toml --units us
  holdline predict run.toml --plot run.pdf
  holdline predict run.toml --trace run.csv --case "motor 1 silent"
  holdline predict run.toml --json --runs 100000 --seed 7`,
		Args: exactArgs("SHEET"),
		RunE: func(c *cobra.Command, args []string) error {
			if err := f.check(c); err != nil {
				return err
			}
			ctx, stop := interruptible(c.Context())
			defer stop()
			s, err := sheet.Load(args[0])
			if err != nil {
				return err
			}
			if slices.Contains(chart.Formats, strings.ToLower(f.plotFile)) {
				f.plotFile = strings.TrimSuffix(filepath.Base(args[0]), filepath.Ext(args[0])) + strings.ToLower(f.plotFile)
			}
			if err := f.sparesSources(c, args[0], s); err != nil {
				return err
			}
			answer, err := p.predictAnswer(ctx, args[0], s, f)
			if err != nil {
				return err
			}
			if err := p.writeFiles(answer, f); err != nil {
				return err
			}
			return p.answer(f.asJSON, answer, answer.WriteText, answer.Go)
		},
	}
	f.draws.add(cmd)
	flags := cmd.Flags()
	flags.BoolVar(&f.asJSON, "json", false, "the answer as one JSON object")
	flags.BoolVar(&f.lightAtZero, "light-at-zero", false, "light every motor at 0 s instead of when the circuit lights it")
	flags.StringVar(&f.plotFile, "plot", "", "draw the run into `FILE`: .svg, .png or .pdf")
	f.trace.add(cmd)
	return cmd
}

func (f *predictFlags) check(c *cobra.Command) error {
	if err := f.draws.check(c); err != nil {
		return err
	}
	if c.Flags().Changed("plot") {
		if ending := strings.ToLower(filepath.Ext(f.plotFile)); !slices.Contains(chart.Formats, ending) {
			return usage(c, "--plot %q: expected a name that ends in %s", f.plotFile, strings.Join(chart.Formats, ", "))
		}
	}
	return f.trace.check(c)
}

// sparesSources refuses to write over what the prediction is made from.
func (f *predictFlags) sparesSources(c *cobra.Command, path string, s *sheet.Sheet) error {
	sources := []string{path}
	for _, curve := range s.Curves {
		sources = append(sources, curve.File)
	}
	for _, to := range []struct{ flag, file string }{{"plot", f.plotFile}, {"trace", f.trace.file}} {
		for _, source := range sources {
			if samePath(source, to.file) {
				return usage(c, "--%s %q is a file that the prediction is made from: %s", to.flag, to.file, source)
			}
		}
	}
	return nil
}

// predictAnswer computes a sheet's run, with progress and cancel.
func (p *program) predictAnswer(ctx context.Context, path string, s *sheet.Sheet, f predictFlags) (*prediction.Run, error) {
	progress := startProgress(p.errOut, "prediction", f.draws.runs)
	defer progress.stop()
	answer, err := prediction.BuildRun(ctx, s, prediction.RunOptions{
		LightAtZero: f.lightAtZero, Runs: f.draws.runs, Seed: f.draws.seed, Progress: progress.at,
	})
	if err != nil {
		if ctx.Err() != nil && errors.Is(err, ctx.Err()) {
			return nil, cancelled(err)
		}
		var endless *sim.UnfinishedError
		if errors.As(err, &endless) {
			// Several runs may have no end, one line each.
			return nil, withHint(fmt.Errorf("%s: %s", path, strings.ReplaceAll(err.Error(), "sim: ", "")),
				"every case has to come to rest, the one without any stop too: look at slope, rolling resistance, mass and wind")
		}
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return answer, nil
}

// writeFiles makes the picture and the trace, both before either is written.
func (p *program) writeFiles(answer *prediction.Run, f predictFlags) error {
	var trace bytes.Buffer
	if f.trace.file != "" {
		if err := f.trace.write(&trace, answer); err != nil {
			return err
		}
	}
	if f.plotFile != "" {
		picture, err := chart.Draw(pictureOf(answer, p.units.System == unit.US), f.plotFile)
		if err != nil {
			return err
		}
		if err := writeFile(f.plotFile, picture); err != nil {
			return err
		}
	}
	if f.trace.file != "" {
		return writeFile(f.trace.file, trace.Bytes())
	}
	return nil
}
