package prediction

import (
	"context"
	"testing"

	"holdline/checklist/sheet"
)

// What the form asks for after each change, with the draws of the prediction.
func BenchmarkWhatMakesItAGo(b *testing.B) {
	text, err := sheet.Text(scenarioSheet)
	if err != nil {
		b.Fatal(err)
	}
	s, err := parseChanged(text)
	if err != nil {
		b.Fatal(err)
	}
	o := RemedyOptions{Seed: 1}
	for _, key := range []string{"site.clear_length", "vehicle.mass"} {
		b.Run(key, func(b *testing.B) {
			for b.Loop() {
				if _, err := FindRange(context.Background(), text, key, parseChanged, o); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
	b.Run("motors", func(b *testing.B) {
		for b.Loop() {
			if _, err := MotorCounts(context.Background(), s, o); err != nil {
				b.Fatal(err)
			}
		}
	})
}
