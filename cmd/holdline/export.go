package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"holdline/arming"
	"holdline/arming/record"
	"holdline/arming/record/export"
	reports "holdline/arming/record/report"
	"holdline/cmd/holdline/session"
)

func (p *program) exportCommand() *cobra.Command {
	var to, signersFile string
	cmd := &cobra.Command{
		Use:   "export RECORD --to FILE",
		Short: "a record as PDF, Markdown, JSON or CSV",
		Long: `Writes what a record says: what was checked with value, band, age at arming and
name, waivers and holds in full, the way from arming to the all clear, what was
measured against what was predicted, the circuit, and who signed. The ending of
FILE decides: .pdf (A4, one page for a normal firing), .md, .json, .csv. JSON
and CSV are SI whatever --units says. An ending alone names the file after the
record, in the current folder, with PRACTICE in it for a practice record.

A record that is torn, open or was interrupted is exported too and says so
first. One that cannot be believed (changed, badly signed, states that do not
follow from the events) gets a NOT VALID on every page.

Exit status: 0 written; 3 written, and the record is NOT VALID; 1 nothing was
written; 2 wrong usage.`,
		Example: `  holdline export firing.jsonl --to firing.pdf
  holdline export firing.jsonl --to .md
  holdline export firing.jsonl --to firing.csv --signers allowed_signers`,
		Args: exactArgs("RECORD"),
		RunE: func(c *cobra.Command, args []string) error {
			switch {
			case to == "":
				return usage(c, "no --to FILE given")
			case !export.Known(to):
				return usage(c, "--to %q: expected a name that ends in %s", to, strings.Join(export.Endings, ", "))
			case samePath(args[0], to):
				return usage(c, "--to %q is the record itself", to)
			}
			return p.exportRecord(args[0], to, signersFile)
		},
	}
	cmd.Flags().StringVar(&to, "to", "", "write `FILE`: .pdf, .md, .json or .csv, or that ending alone")
	cmd.Flags().StringVar(&signersFile, "signers", "", "allowed_signers `FILE` with the keys to accept")
	return cmd
}

func samePath(a, b string) bool {
	first, err := os.Stat(a)
	second, err2 := os.Stat(b)
	return err == nil && err2 == nil && os.SameFile(first, second)
}

// onlyEnding reports that a file name is nothing but an ending.
func onlyEnding(to string) bool { return slices.Contains(export.Endings, strings.ToLower(to)) }

// defaultName names a page after its record. What is practice says so in the
// name, whatever the record is called.
func defaultName(recordPath string, practice bool, ending string) string {
	const word = "PRACTICE"
	name := strings.TrimSuffix(filepath.Base(recordPath), filepath.Ext(recordPath))
	if practice && !strings.Contains(name, word) {
		name += "-" + word
	}
	return name + strings.ToLower(ending)
}

func (p *program) exportRecord(path, to, signersFile string) error {
	r, err := readRecord("export", path, signersFile)
	if err != nil {
		return err
	}
	d := reports.Build(*r)
	named := onlyEnding(to)
	if named {
		to = defaultName(path, d.Practice, to)
	}
	page, err := export.Write(d, to, p.units.System)
	if err != nil {
		return err
	}
	if err := writeFile(to, page); err != nil {
		return fmt.Errorf("export: %w", err)
	}
	if named {
		_ = tell(p.errOut, "written: %s", to)
	}
	if d.Practice && !strings.Contains(strings.ToLower(filepath.Base(to)), "practice") {
		_ = tell(p.errOut, "note: a PRACTICE record; the file's name %q does not say so, its pages do", filepath.Base(to))
	}
	for _, part := range []struct {
		word string
		list []string
	}{{"note", d.Warnings}, {"in question", d.InQuestion}, {"NOT VALID", d.NotValid}} {
		for _, text := range part.list {
			_ = tell(p.errOut, "%s: %s", part.word, text)
		}
	}
	if len(d.NotValid) > 0 {
		return errAnswerNo
	}
	return nil
}

// readRecord verifies a record for a command that works with what it says. An
// error means that there is nothing to work with.
func readRecord(command, path, signersFile string) (*record.Result, error) {
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return nil, fmt.Errorf("%s: %q: %w", command, path, reason(err))
	case info.IsDir():
		return nil, withHint(fmt.Errorf("%s: %q is a folder", command, path), "name one record in it, a .jsonl file")
	}
	o := record.Options{At: time.Now(), Replay: session.Replay, Program: version}
	if o.Signers, err = acceptedSigners(signersFile); err != nil {
		return nil, err
	}
	r := record.VerifyFile(path, o)
	if len(r.Log.Entries) == 0 {
		why := errors.New("no line of it can be read")
		if len(r.Findings) > 0 {
			why = errors.New(r.Findings[0].Text)
		}
		return nil, fmt.Errorf("%s: %q is no record: %w", command, path, why)
	}
	return &r, nil
}

func (p *program) holdsCommand() *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "holds [FOLDER]",
		Short: "holds and waivers counted over a folder of records",
		Long: `Counts the holds of the same cause and the waivers over the records of a folder
and of the folder practice in it, real and practice firings apart: what comes
again and again wants a remedy, not a habit. Without FOLDER it takes the one in
which the cockpit keeps its records. Records that are not valid are left out,
and their number is told.

Exit status: 0 counted; 1 the folder could not be read; 2 wrong usage.`,
		Example: `  holdline holds
  holdline holds records/ --json`,
		Args: func(c *cobra.Command, args []string) error {
			if len(args) > 1 {
				return usage(c, "%q is one argument too many", args[1])
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			folder, err := holdsFolder(args)
			if err != nil {
				return err
			}
			tally, err := reports.TallyFolder(c.Context(), folder, "")
			if err != nil {
				return err
			}
			if asJSON {
				return writeJSON(p.out, tally)
			}
			_, err = fmt.Fprintf(p.out, "%s\n%s", arming.Plain(folder), tally.Text())
			return err
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "the answer as one JSON object")
	return cmd
}

// holdsFolder is the folder named, which has to be there, or the cockpit's,
// which is not there before the first firing.
func holdsFolder(args []string) (string, error) {
	if len(args) == 0 {
		return session.DefaultRecordDir()
	}
	info, err := os.Stat(args[0])
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "", fmt.Errorf("holds: %q: no such folder", args[0])
	case err != nil:
		return "", fmt.Errorf("holds: %q: %w", args[0], reason(err))
	case !info.IsDir():
		return "", fmt.Errorf("holds: %q is no folder", args[0])
	}
	return args[0], nil
}
