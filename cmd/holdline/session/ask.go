package session

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"golang.org/x/term"

	"holdline/arming/groundbox"
	"holdline/checklist/sheet"
)

// errEdit says that values of the sheet are to be changed first.
var errEdit = errors.New("session: the sheet is to be changed first")

// prepare reads the sheet and asks how to measure. Before anything is opened
// or recorded the sheet may still be changed, as often as somebody wants; from
// then on the plan of the firing is a constant.
func (o *Options) prepare(ctx context.Context) (*sheet.Sheet, error) {
	for {
		sh, err := o.load()
		if err != nil {
			return nil, err
		}
		if err = o.askHow(); !errors.Is(err, errEdit) {
			return sh, err
		}
		if err := o.Edit(ctx, o.SheetPath); err != nil {
			return nil, err
		}
	}
}

// mayEdit reports whether the sheet is a file that a form can be opened on.
func (o *Options) mayEdit() bool { return o.Edit != nil && o.SheetPath != "" }

// askHow asks how to measure, when nothing says so. Practice is not among the
// answers: it and the real thing are never one line apart.
func (o *Options) askHow() error {
	if o.Box != "" || o.Meter != "" || o.Typed || o.Practice {
		return nil
	}
	if !term.IsTerminal(int(o.In.Fd())) {
		return ErrHow
	}
	ports, err := groundbox.Ports()
	if err != nil {
		fmt.Fprintf(o.Out, "serial ports cannot be listed: %v\n", err)
	}
	return o.choose(o.In, o.Out, ports)
}

// choose asks until one of the ways is named.
func (o *Options) choose(in io.Reader, out io.Writer, ports []groundbox.PortInfo) error {
	fmt.Fprintln(out, "How is this firing measured?")
	for _, p := range ports {
		name := p.Name
		if p.Product != "" {
			name += "  " + clean(p.Product)
		}
		fmt.Fprintf(out, "  %s\n", name)
	}
	if len(ports) == 0 {
		fmt.Fprintln(out, "  (no serial port is there)")
	}
	fmt.Fprint(out, `  box PORT    a ground box: the laptop can stop the firing
  meter PORT  a multimeter on a serial line: the laptop cannot stop the firing
  typed       readings typed off a meter: the laptop cannot stop the firing
`)
	last := "type box and a port, meter and a port, typed, or quit"
	if o.mayEdit() {
		fmt.Fprintln(out, "  edit        change values of the sheet first")
		last = "type box and a port, meter and a port, typed, edit, or quit"
	}
	fmt.Fprintln(out, "To practise instead, leave with quit and start again with --practice.")
	lines := bufio.NewScanner(in)
	for {
		fmt.Fprint(out, "> ")
		if !lines.Scan() {
			return ErrHow
		}
		words := strings.Fields(lines.Text())
		switch {
		case len(words) == 2 && words[0] == "box":
			o.Box = words[1]
			return nil
		case len(words) == 2 && words[0] == "meter":
			o.Meter = words[1]
			return nil
		case len(words) == 1 && words[0] == "typed":
			o.Typed = true
			return nil
		case len(words) == 1 && words[0] == "edit" && o.mayEdit():
			return errEdit
		case len(words) == 1 && words[0] == "quit":
			return ErrHow
		}
		fmt.Fprintln(out, last)
	}
}
