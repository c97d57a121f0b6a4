package main

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"
	"golang.org/x/crypto/ssh"

	"holdline/arming/record"
	"holdline/cmd/holdline/session"
)

func (p *program) countersignCommand() *cobra.Command {
	var key string
	cmd := &cobra.Command{
		Use:   "countersign RECORD --key FILE",
		Short: "a second signature on a closed record",
		Long: `Adds a signature to a closed record, as the range officer does at closing or
later: a file beside the record, whose own bytes are not touched. The record's
chain, its signatures and its replay are verified first, and one that is not
valid is not signed.

KEY is a private key file, a public one (.pub) whose private half the ssh agent
has, or the word agent for the only key of the agent.

Exit status: 0 signed; 3 the record is not valid, nothing was signed; 1 it could
not be done; 2 wrong usage.`,
		Example: `  holdline countersign firing.jsonl --key range_officer_ed25519
  holdline countersign firing.jsonl --key agent`,
		Args: exactArgs("RECORD"),
		RunE: func(c *cobra.Command, args []string) error {
			if key == "" {
				return usage(c, "no --key FILE given")
			}
			return p.countersign(args[0], key)
		},
	}
	cmd.Flags().StringVar(&key, "key", "", "private key `FILE`, public key file, or agent")
	return cmd
}

func (p *program) countersign(path, key string) error {
	r, err := readRecord("countersign", path, "")
	if err != nil {
		return err
	}
	bad := false
	for _, f := range session.Against(r) {
		if f.Status == record.StillOpen {
			return fmt.Errorf("countersign: %q: %w", path, record.ErrNotClosed)
		}
		bad = true
		_ = tell(p.errOut, "NOT VALID: %s: %s", f.Status, f.Text)
	}
	if bad {
		return errAnswerNo
	}
	signer, done, err := session.KeySigner(key)
	if err != nil {
		return err
	}
	defer done()
	print := ssh.FingerprintSHA256(signer.PublicKey())
	file, err := record.Sign(path, signer)
	if errors.Is(err, record.ErrAlreadySigned) {
		return withHint(err, "%s is on it; a counter-signature is by another person's key", print)
	}
	if err != nil {
		return err
	}
	what := "counter-signature"
	if len(r.Signatures) == 0 {
		what = "signature, the first on this record"
	}
	if err := tell(p.out, "%s: %s by %s", file, what, print); err != nil {
		return err
	}
	dir, err := settingsDir()
	if err != nil {
		return nil // then verify takes --signers alone
	}
	if err := record.AcceptSigner(dir, "counter-signer", signer.PublicKey()); err != nil {
		return err
	}
	return tell(p.out, "verify accepts this key from now on; it stands in %s", record.SignersPath(dir))
}
