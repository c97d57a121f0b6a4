package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"holdline/arming/groundbox"
	"holdline/arming/groundbox/conformance"
)

// boxBaud is the rate of a ground box; USB ignores it.
const boxBaud = 115200

// checkBox tries whether the box at a port keeps the box contract.
func (p *program) checkBox(c *cobra.Command, port string, long bool) error {
	if port == "" {
		return usage(c, "--check: no port given; holdline ports lists them")
	}
	ctx, stop := interruptible(c.Context())
	defer stop()
	rw, err := groundbox.SerialDial(port, boxBaud)(ctx)
	if err != nil {
		return withHint(fmt.Errorf("practice-box: --check %s: %w", port, err), "holdline ports lists what there is")
	}
	findings := conformance.Check(ctx, rw, p.out, long)
	counts := map[conformance.Verdict]int{}
	for _, f := range findings {
		counts[f.Verdict]++
	}
	if _, err := fmt.Fprintf(p.out, "%d clauses passed, %d failed, %d not tried\n",
		counts[conformance.Passed], counts[conformance.Failed], counts[conformance.NotTried]); err != nil {
		return err
	}
	if ctx.Err() != nil {
		return fmt.Errorf("practice-box: --check: cancelled before the last clause")
	}
	if !conformance.Conforms(findings) {
		return errAnswerNo
	}
	return nil
}
