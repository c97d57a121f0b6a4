package main

import (
	"io"

	"github.com/spf13/cobra"
)

// cardText is what the crew carries on paper: the spoken words of this
// program, each with a sign. 'Any violent signal by anyone is stop' is the rail
// hand-signal rule, read at second hand; the other signs are common practice,
// no source.
const cardText = `HOLDLINE: SPOKEN WORDS AND SIGNS

Read it aloud at the briefing, agree on every sign, carry it on paper. Local
law, the range's rules and the land owner come first.

  WORD             WHO SAYS IT     SIGN                    WHAT IT MEANS
  HOLD             anyone          one arm straight up,    Stop. Let go of the
                                   kept up; any violent    button. Nobody asks
                                   signal by anyone is     why until later.
                                   HOLD
  EVERYONE BACK    anyone          both arms pulled to     All come behind the
                                   the chest, again and    line and are counted.
                                   again
  LINE OPEN        range officer   arm pointing forward    Only those named go,
                                                           the key with them.
  LINE CLOSED      range officer   both arms out level     All are counted back.
  figures, and     spotter         arm out level, to the   The figures of this
  what is seen                     side the road is on     call. None heard is
                                                           NO.
  the count        range officer   fingers, from five      Read off the screen,
                                                           never ahead of it.
  GO               range officer   spoken only, after      The firing officer
                                   zero                    may press.
  KEEP PRESSED     firing officer  none                    The button stays
                                                           down. It never means
                                                           HOLD.
  NOT LIT          anyone          arms crossed overhead   Live, and stays live:
                                                           nobody moves.
  AT REST          who sees it     arm lowered, palm down  The wait may begin.
  ALL CLEAR        range officer   a wide slow circle      The firing is over.

STOP WITHOUT THE LAPTOP
  Let go of the button. Then pull the key. Then the battery.

IF THE SCREEN DIES OR STANDS STILL
  Let go. Key out. Battery off. Everyone stays. The full wait by a watch, 60 s
  at least. Then one person goes, the key in their pocket.

WHO MAY
  HOLD and EVERYONE BACK: anyone, always.
  resume, line, go forward, all clear: the range officer.
  arm: the firing officer, then the range officer's code. Press: the firing
  officer, who made the last connection, and nobody else.

EVERY MOTOR IS LIVE UNTIL A PERSON HAS LOOKED AT IT.
`

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
