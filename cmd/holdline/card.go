package main

import (
	_ "embed"
	"io"

	"github.com/spf13/cobra"
)

// cardText is what the crew carries on paper: the spoken words of this
// program, each with a sign. 'Any violent signal by anyone is stop' is the rail
// hand-signal rule, read at second hand; the other signs are common practice,
// no source.
//
//go:embed card.txt
var cardText string

func (p *program) cardCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "card",
		Short: "the spoken words and hand signs, to be printed",
		Long: `Writes the card of spoken words and hand signs that the crew carries on paper,
with what to do when the screen stands still. It fits one page of 80 columns.`,
		Example: `  holdline card
  holdline card > card.txt`,
		Args: exactArgs(),
		RunE: func(*cobra.Command, []string) error {
			_, err := io.WriteString(p.out, cardText)
			return err
		},
	}
}
