package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// A trace must tell the same run as the answer beside it: it ends where and
// when the answer says, its fastest moment is the peak speed, and the thrust in
// it, linear between its lines, adds up to the total impulse of both motors.
func TestTraceTellsTheRunOfTheAnswer(t *testing.T) {
	path := filepath.Join(t.TempDir(), "run.csv")
	var out, errOut bytes.Buffer
	args := []string{"predict", filepath.Join("testdata", "sheets", "two.toml"), "--json", "--runs", "1", "--trace", path, "--every", "5 ms"}
	if got := run(t.Context(), args, strings.NewReader(""), &out, &errOut); got != exitYes && got != exitNo {
		t.Fatalf("exit status %d: %s", got, errOut.String())
	}
	var answer struct {
		Motors []struct {
			Impulse float64 `json:"total_impulse_ns"`
		} `json:"motors"`
		Cases []struct {
			Name      string  `json:"name"`
			PeakSpeed float64 `json:"peak_speed_m_s"`
			Rest      float64 `json:"stop_position_m"`
			RestTime  float64 `json:"stop_time_s"`
		} `json:"cases"`
	}
	if err := json.Unmarshal(out.Bytes(), &answer); err != nil {
		t.Fatal(err)
	}
	rows := readTrace(t, path)
	const timeAt, positionAt, speedAt, thrustAt = 0, 1, 2, 5
	peak, impulse := 0.0, 0.0
	for i, row := range rows {
		peak = max(peak, row[speedAt])
		if i > 0 {
			impulse += (row[thrustAt] + rows[i-1][thrustAt]) / 2 * (row[timeAt] - rows[i-1][timeAt])
			if row[timeAt] < rows[i-1][timeAt] || row[positionAt] < rows[i-1][positionAt]-1e-9 {
				t.Fatalf("line %d goes back in time or place", i+2)
			}
		}
	}
	last, nominal := rows[len(rows)-1], answer.Cases[0]
	if nominal.Name != "nominal" {
		t.Fatalf("first case is %q", nominal.Name)
	}
	near := func(what string, got, want, tolerance float64) {
		if math.Abs(got-want) > tolerance {
			t.Errorf("%s: got %.9g in the trace, want %.9g", what, got, want)
		}
	}
	// Ten digits are written.
	near("position at rest", last[positionAt], nominal.Rest, 1e-7)
	near("speed at rest", last[speedAt], 0, 1e-9)
	if last[timeAt] < nominal.RestTime-1e-7 {
		t.Errorf("the trace ends at %g s, before rest at %g s", last[timeAt], nominal.RestTime)
	}
	near("total impulse", impulse, answer.Motors[0].Impulse+answer.Motors[1].Impulse, 1e-6)
	// The peak lies between two lines, 5 ms apart at most, where the
	// acceleration passes 0: it is flat there.
	near("peak speed", peak, nominal.PeakSpeed, 2e-3)
}

func readTrace(t *testing.T, path string) [][]float64 {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil || len(records) < 100 {
		t.Fatalf("%d lines, %v", len(records), err)
	}
	var rows [][]float64
	for _, record := range records[1:] {
		var row []float64
		for _, field := range record {
			v, err := strconv.ParseFloat(field, 64)
			if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
				t.Fatalf("%q is not a finite number", field)
			}
			row = append(row, v)
		}
		rows = append(rows, row)
	}
	return rows
}
