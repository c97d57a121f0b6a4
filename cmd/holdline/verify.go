package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"holdline/arming/record"
	reports "holdline/arming/record/report"
)

func (p *program) verifyCommand() *cobra.Command {
	var signersFile, principal string
	var anySigner, asJSON bool
	cmd := &cobra.Command{
		Use:   "verify RECORD...",
		Short: "chain, signature and replay of records",
		Long: `Verifies records: the chain of every line, the signatures beside the file, and
that the recorded states follow from the recorded events when they are played
through the arming machine again. What the range officer waived, and counts of
motors and igniters that do not agree with what was found, are listed: they
make no record invalid. A folder is verified whole, with the chain
from record to record, so that a missing one shows.

Signatures are accepted from the keys in --signers, a file in the
allowed_signers format of ssh-keygen; without it, from this user's own key and
from those that signed or counter-signed here, which stand in allowed_signers in
the folder of the settings.

Exit status: 0 every record is valid; 3 one is not; 1 a file could not be read.`,
		Example: `  holdline verify firing.jsonl
  holdline verify records/ --signers allowed_signers
  holdline verify firing.jsonl --json`,
		Args: func(c *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usage(c, "no RECORD given")
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			options := record.Options{
				Principal: principal, AnySigner: anySigner, At: time.Now(),
				Program: version,
			}
			var err error
			if options.Signers, err = acceptedSigners(signersFile); err != nil {
				return err
			}
			answer, err := verifyAll(args, options)
			if err != nil {
				return err
			}
			return p.answer(asJSON, answer, answer.writeText, answer.Valid)
		},
	}
	cmd.Flags().StringVar(&signersFile, "signers", "", "allowed_signers `FILE` with the keys to accept")
	cmd.Flags().StringVar(&principal, "principal", "", "accept only this `NAME` of --signers")
	cmd.Flags().BoolVar(&anySigner, "any-signer", false, "accept any good signature: shows that the bytes are those signed, not by whom")
	cmd.Flags().BoolVar(&asJSON, "json", false, "the answer as one JSON object")
	return cmd
}

// verifyAll verifies files and folders in the order given.
func verifyAll(paths []string, o record.Options) (*verifyAnswer, error) {
	answer := &verifyAnswer{Valid: true, Records: []verifyRecord{}, Folders: []verifyFolder{}, followed: map[*record.Entry]*reports.Follower{}}
	o.Replay = answer.replay
	for _, path := range paths {
		info, err := os.Stat(path)
		if err != nil {
			return nil, fmt.Errorf("verify: %q: %w", path, reason(err))
		}
		if !info.IsDir() {
			answer.add(record.VerifyFile(path, o))
			continue
		}
		folder, err := record.VerifyDir(path, o)
		if err != nil {
			return nil, fmt.Errorf("verify: %q: %w", path, reason(err))
		}
		for _, r := range folder.Records {
			answer.add(r)
		}
		answer.Valid = answer.Valid && folder.Status == record.OK
		answer.Folders = append(answer.Folders, verifyFolder{
			Path: path, Status: folder.Status.String(), Records: len(folder.Records), Findings: findings(folder.Findings),
		})
	}
	return answer, nil
}

// acceptedSigners are those of an allowed_signers file, or without one the key
// that the program made for this user and those that signed here.
func acceptedSigners(file string) ([]record.AllowedSigner, error) {
	if file != "" {
		return record.ReadAllowedSigners(file)
	}
	dir, err := settingsDir()
	if err != nil {
		return nil, nil // no settings folder, so no own key
	}
	signers, err := record.ReadAllowedSigners(record.SignersPath(dir))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	key, err := record.LoadPublicKey(record.KeyPath(dir) + ".pub")
	if errors.Is(err, fs.ErrNotExist) {
		return signers, nil
	}
	if err != nil {
		return nil, fmt.Errorf("own key: %w", err)
	}
	return append(signers, record.AllowedSigner{Principals: ownPrincipal, Key: key}), nil
}

// ownPrincipal names the key of this user where no allowed_signers does.
const ownPrincipal = "this-user"

// settingsDir is the folder of the program's settings.
func settingsDir() (string, error) {
	dir, err := os.UserConfigDir()
	if err != nil {
		return "", fmt.Errorf("settings folder: %w", err)
	}
	return filepath.Join(dir, "holdline"), nil
}
