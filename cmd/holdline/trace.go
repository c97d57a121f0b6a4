package main

import (
	"encoding/csv"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"holdline/checklist/prediction"
	"holdline/checklist/sheet/unit"
	"holdline/sim"
)

// traceFlags say what to write step by step.
type traceFlags struct {
	file, caseName, every string
	everyS                float64
}

func (f *traceFlags) add(c *cobra.Command) {
	flags := c.Flags()
	flags.StringVar(&f.file, "trace", "", "write every moment of one case into `FILE` as CSV: time, position, speed, mass, forces, axle loads")
	flags.StringVar(&f.caseName, "case", "nominal", "`NAME` of the case to trace")
	flags.StringVar(&f.every, "every", "10 ms", "`TIME` between two lines of the trace; events have lines of their own")
}

// leastTraceStepS bounds the size of a trace.
const leastTraceStepS = 1e-5

func (f *traceFlags) check(c *cobra.Command) error {
	everyS, err := unit.ParseAs(f.every, unit.Time)
	if err != nil {
		return usage(c, "--every: %s", withoutPackages(err))
	}
	if everyS < leastTraceStepS {
		return usage(c, "--every %q: expected 0.01 ms at least", f.every)
	}
	f.everyS = everyS
	changed := c.Flags().Changed
	if !changed("trace") && (changed("case") || changed("every")) {
		return usage(c, "--case and --every go with --trace")
	}
	if changed("trace") && !strings.EqualFold(filepath.Ext(f.file), ".csv") {
		return usage(c, "--trace %q: expected a name that ends in .csv", f.file)
	}
	return nil
}

// write writes the case as CSV, all in SI units, with a header line.
func (f *traceFlags) write(w io.Writer, answer *prediction.Run) error {
	at := slices.IndexFunc(answer.Results, func(r sim.CaseResult) bool { return r.Case.Name == f.caseName })
	if at < 0 {
		var names []string
		for _, r := range answer.Results {
			names = append(names, strconv.Quote(r.Case.Name))
		}
		return withHint(fmt.Errorf("trace: no case %q", f.caseName), "the cases are %s", strings.Join(names, ", "))
	}
	runner, err := sim.NewRunner(answer.Problem)
	if err != nil {
		return err
	}
	table := csv.NewWriter(w)
	if err := table.Write([]string{"time_s", "position_m", "speed_m_s", "acceleration_m_s2", "mass_kg", "thrust_n",
		"drag_n", "rolling_n", "guide_n", "slope_n", "brake_n", "chute_n", "line_n", "bed_n", "front_load_n", "rear_load_n"}); err != nil {
		return err
	}
	row := make([]string, 0, 16)
	err = runner.Trace(answer.Results[at].Case, f.everyS, func(s sim.Sample) error {
		row = row[:0]
		for _, v := range []float64{s.TimeS, s.PositionM, s.SpeedMps, s.AccelerationMps2, s.MassKg, s.ThrustN,
			s.DragN, s.RollingN, s.GuideN, s.SlopeN, s.BrakeN, s.ChuteN, s.LineN, s.BedN, s.FrontLoadN, s.RearLoadN} {
			row = append(row, strconv.FormatFloat(v, 'g', 10, 64))
		}
		return table.Write(row)
	})
	if err != nil {
		return err
	}
	table.Flush()
	return table.Error()
}
