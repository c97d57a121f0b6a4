package main

import (
	"slices"

	"github.com/spf13/cobra"

	"holdline/arming"
	"holdline/arming/drill"
	"holdline/arming/groundbox"
	"holdline/arming/groundbox/practice"
)

// completeFlags tells the shell what the flags of a command tree take.
func completeFlags(root *cobra.Command) {
	words := func(list ...string) cobra.CompletionFunc {
		return cobra.FixedCompletions(list, cobra.ShellCompDirectiveNoFileComp)
	}
	values := map[string]cobra.CompletionFunc{
		"units": words("si", "us"),
		"theme": words("light", "dark", "plain"),
		"fault": words(faultForms()...),

		"surprises": words(surpriseNames()...),
		"box":       completePorts,
		"meter":     completePorts,
		"check":     completePorts,
	}
	names := make([]string, 0, len(values))
	for name := range values {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, c := range append(root.Commands(), root) {
		for _, name := range names {
			if c.Flags().Lookup(name) == nil && c.PersistentFlags().Lookup(name) == nil {
				continue
			}
			if err := c.RegisterFlagCompletionFunc(name, values[name]); err != nil {
				panic("holdline: internal error: " + err.Error()) // the flag is there, and once
			}
		}
	}
}

// surpriseNames are the surprises of a drill, each with what it is.
func surpriseNames() []string {
	var out []string
	for _, h := range drill.Kinds() {
		out = append(out, cobra.CompletionWithDesc(string(h.Kind), h.Meaning))
	}
	return out
}

func faultForms() []string {
	var out []string
	for _, f := range practice.FaultKinds() {
		out = append(out, f.Form)
	}
	return out
}

// completePorts offers the serial ports with what is plugged in there.
func completePorts(*cobra.Command, []string, string) ([]cobra.Completion, cobra.ShellCompDirective) {
	ports, err := groundbox.Ports()
	if err != nil {
		return nil, cobra.ShellCompDirectiveDefault
	}
	var out []cobra.Completion
	for _, port := range ports {
		out = append(out, cobra.CompletionWithDesc(port.Name, arming.Plain(port.Product)))
	}
	return out, cobra.ShellCompDirectiveDefault
}
