package session

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"slices"
	"strings"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"holdline/arming"
	"holdline/arming/groundbox"
	"holdline/arming/groundbox/practice"
	"holdline/arming/record"
	"holdline/cmd/holdline/terminal"
	"holdline/tui"
)

// baud of a ground box. USB ignores it.
const baud = 115200

// Run opens the cockpit and returns when the firing is over or was broken
// off. A sheet with faults comes back as sheet.Faults. The terminal is as it
// was before, whatever happened.
func Run(ctx context.Context, o Options) error {
	_, err := run(ctx, o)
	return err
}

// run is Run, and returns the path of the record as far as there is one.
func run(ctx context.Context, o Options) (path string, err error) {
	if err := o.check(); err != nil {
		return "", err
	}
	if err := o.complete(); err != nil {
		return "", err
	}
	sh, err := o.prepare(ctx)
	if err != nil {
		return "", err
	}
	signer, err := openSigner(o.KeyFile, o.Settings)
	if err != nil {
		return "", err
	}
	s := &session{o: o, sheet: sh, compute: compute, terminal: &timedTerminal{file: o.Out}}
	defer s.closeDevices()
	if err := s.openDevices(ctx); err != nil {
		return "", err
	}
	first, err := s.openRecord(signer)
	if err != nil {
		return "", err
	}
	return s.record.w.Path(), s.cockpit(ctx, first)
}

// openDevices opens what measures. Whether the firing is practice is decided
// by the device.
func (s *session) openDevices(ctx context.Context) error {
	switch {
	case s.o.Practice:
		return s.openPractice(ctx)
	case s.o.Box != "":
		s.mode = arming.ModeBox
		return s.openBox(ctx, groundbox.Config{Dial: groundbox.SerialDial(s.o.Box, baud), Port: s.o.Box})
	case s.o.Meter != "":
		return s.openMeter(ctx)
	case s.o.Typed:
		s.mode = arming.ModeTyped
		return nil
	}
	return ErrHow
}

// openPractice sets up the practice box, on a pseudo-terminal where the system
// has them, so that a practice firing goes through the serial port as a real
// one does.
func (s *session) openPractice(ctx context.Context) error {
	box, err := practice.New(practice.Config{Problem: s.sheet.Circuit(), Channels: s.sheet.Channels()})
	if err != nil {
		return err
	}
	s.mode, s.trainer = arming.ModeBox, box
	cfg := groundbox.Config{Dial: box.Dial, Port: "the practice box", RequirePractice: true}
	if !s.pipe {
		if path, stop, err := practice.StartPTY(box); err == nil {
			s.stopTrainer = stop
			cfg.Dial, cfg.Port = groundbox.SerialDial(path, baud), path
		}
	}
	return s.openBox(ctx, cfg)
}

func (s *session) openBox(ctx context.Context, cfg groundbox.Config) error {
	cfg.WantChannels = slices.Max(s.sheet.Channels())
	box, err := openBox(ctx, cfg, s.sheet, func(why string) {
		if !strings.Contains(why, cfg.Port) {
			why = cfg.Port + ": " + why
		}
		fmt.Fprintf(s.o.Out, "%s; trying for %.0f s, ctrl+c ends it\n", clean(why), connectWithin.Seconds())
	})
	if err != nil {
		return err
	}
	s.box, s.practice = box, box.first.Identity.Practice()
	if err := rememberBox(s.o.Settings, box.first); err != nil { // only practice looks for it
		fmt.Fprintf(s.o.Out, "%s: %s\n", cfg.Port, clean(err.Error()))
	}
	return nil
}

func (s *session) closeDevices() {
	if s.box != nil {
		s.box.close()
	}
	if s.meter != nil {
		s.meter.Close()
	}
	if s.stopTrainer != nil {
		s.stopTrainer()
	}
}

// openRecord takes up the record of a firing that broke off, or begins one,
// and sets the driver up. It returns the firing's first event.
func (s *session) openRecord(signer signing) (arming.Start, error) {
	if err := s.mayDrill(); err != nil {
		return arming.Start{}, err
	}
	dir := s.o.folder(s.practice)
	if s.practice {
		if err := errors.Join(noRealFiring(s.o.folder(false)), noRealBox(s.o.Settings, groundbox.Ports)); err != nil {
			return arming.Start{}, err
		}
	}
	old, err := lookBack(dir, s.practice, signer, s.o.Version)
	if err != nil {
		return arming.Start{}, err
	}
	if old != nil && s.o.Drill != nil {
		return arming.Start{}, fmt.Errorf("%w: %q", ErrUnfinished, old.path)
	}
	speed := 1
	if s.practice {
		speed = waitSpeed(s.sheet.Times.Wait, s.o.PracticeWait)
	}
	s.plan = newPlan(s.sheet, s.mode, s.practice, speed)
	header := s.header()
	s.plan.SheetSHA256, s.plan.Box = header.SheetSHA256.String(), header.Box.Identity
	var first arming.Start
	var w *record.Writer
	c := clock{opened: time.Now()}
	if old != nil {
		first = old.first
		if err := s.takeUp(old); err != nil {
			return first, err
		}
		w, _, err = record.Recover(old.path, c.opened, s.o.Version)
	} else {
		w, err = record.Create(dir, header, c.opened)
	}
	if err != nil {
		return first, err
	}
	if err := s.plan.Validate(); err != nil {
		return first, errors.Join(err, w.Release())
	}
	s.record = newRecorder(w, signer)
	if err := s.record.plan(s.plan, c); err != nil {
		s.record.release()
		return first, err
	}
	var p port
	if s.box != nil {
		p = s.box.port()
	}
	h := hooks{frame: s.fill, stepped: s.stepped, tick: s.tick}
	if s.terminal != nil {
		h.stuck = s.terminal.standsStill
	}
	s.driver = newDriver(s.plan, p, s.record, c, h)
	s.driver.frame.Units = s.o.Units
	for _, said := range signLeft(dir, signer, s.o.Version) {
		fmt.Fprintln(s.o.Out, said)
		s.driver.log(c.opened, said, true)
	}
	if err := s.planDrill(); err != nil {
		s.record.release()
		return first, err
	}
	return first, nil
}

// takeUp makes the plan of the broken-off firing the plan of this run. It may
// be measured in another way now: the box may be what broke.
func (s *session) takeUp(old *unfinished) error {
	if old.plan == nil {
		return nil
	}
	if old.plan.Motors != s.plan.Motors {
		return fmt.Errorf("session: the firing recorded in %q broke off with %d motors, this sheet has %d: open it with its own sheet",
			old.path, old.plan.Motors, s.plan.Motors)
	}
	if old.plan.Mode == s.plan.Mode {
		s.plan = old.plan
		return nil
	}
	s.plan.WaitSpeed, s.plan.Times = old.plan.WaitSpeed, old.plan.Times
	return nil
}

// header is the record's first entry.
func (s *session) header() record.Header {
	h := record.Header{
		Program: s.o.Version, Title: clean(s.sheet.Title), Practice: s.practice, WaitScale: 1 / float64(s.plan.WaitSpeed),
		SheetSHA256: s.sheet.SHA256, Curves: map[string]record.Hash{}, Basis: s.sheet.Basis(s.o.Version, seed),
		Seed: fmt.Sprint(seed), Mode: record.ModeTyped,
	}
	for _, c := range s.sheet.Curves {
		h.Curves[clean(c.Name)] = c.SHA256
	}
	if s.meter != nil {
		id := s.meter.Identity()
		h.Mode, h.Box = record.ModeMeter, record.Box{Identity: clean(id.String()), Serial: clean(id.Serial)}
	}
	if s.box != nil {
		h.Mode = record.ModeGroundBox
		h.Box = record.Box{Identity: clean(s.box.first.Identity.String()), Serial: clean(s.box.first.Identity.Serial)}
	}
	return h
}

// cockpit runs the screen until it is left, then ends everything.
func (s *session) cockpit(ctx context.Context, first arming.Start) (err error) {
	s.start(first)
	s.settle()
	model := guarded{model: tui.NewModel(s.config()), off: s.driver.permitOff}
	program := tea.NewProgram(model, append(tui.Options(), tea.WithoutSignalHandler(),
		tea.WithInput(terminal.NewInput(s.o.In)), tea.WithOutput(s.terminal))...)
	over := make(chan struct{})
	watched := make(chan string, 1)
	go s.watch(ctx, program, over, watched)
	defer func() { // also when the screen's own code panics
		close(over)
		why := <-watched
		signalled := why != ""
		if !signalled {
			why = "the cockpit was left"
		}
		end, cancel := context.WithTimeout(context.Background(), endWithin)
		defer cancel()
		err = errors.Join(err, s.stop(end, why))
		if signalled && err == nil {
			err = fmt.Errorf("session: ended: %s", why)
		}
		s.tell()
	}()
	_, err = program.Run()
	if errors.Is(err, tea.ErrProgramKilled) && !errors.Is(err, tea.ErrProgramPanic) {
		err = nil // killed by watch, which says why
	}
	if err != nil {
		err = fmt.Errorf("session: screen: %w", err)
	}
	return err
}

// settle waits, for a moment at most, until there is something to show: the
// machine's first state, and a first reading where a box is there.
func (s *session) settle() {
	for end := time.Now().Add(time.Second); time.Now().Before(end); time.Sleep(time.Millisecond) {
		if f := s.driver.latest.Load(); f != nil && (s.box == nil || f.State.Box.Up) {
			return
		}
	}
}

// Times of the end.
const (
	endWithin  = 8 * time.Second // for the record
	quitWithin = time.Second     // for the screen
	exitAfter  = 12 * time.Second
)

// watch waits for a signal, for the context, or for a driver that has ended by
// itself. The permit goes first, then the record is ended, then the screen is
// given back.
func (s *session) watch(ctx context.Context, program *tea.Program, over <-chan struct{}, why chan<- string) {
	signals := make(chan os.Signal, 4)
	signal.Notify(signals, endSignals...)
	defer signal.Stop(signals)
	reason := ""
	select {
	case <-over:
		why <- ""
		return
	case sig := <-signals:
		reason = "signal: " + sig.String()
	case <-ctx.Done():
		reason = "ended from outside"
	case <-s.driver.done:
		reason = "the driver ended"
	}
	s.driver.permitOff()
	last := time.AfterFunc(exitAfter, func() { os.Exit(1) }) // a terminal that takes nothing must not keep the program
	defer last.Stop()
	end, cancel := context.WithTimeout(context.Background(), endWithin)
	_ = s.stop(end, reason) // told by the cockpit's own end
	cancel()
	go program.Quit()
	select {
	case <-over:
	case <-time.After(quitWithin):
		program.Kill()
		<-over
	}
	why <- reason
}

// tell says, on the terminal that is itself again, where the record is.
func (s *session) tell() {
	v, last := s.record.view(), s.driver.last()
	var b strings.Builder
	switch {
	case v.Closed && v.Signed != "":
		fmt.Fprintf(&b, "record: %s\nsigned by %s\nholdline verify checks it; ssh-keygen -Y verify checks the signature alone.\n", v.Path, v.Signed)
		if s.record.signer.accept != "" || v.Counter.By != "" {
			fmt.Fprintf(&b, "verify accepts every key that signed here; they stand in %s\n", record.SignersPath(s.o.Settings))
		}
		if v.Counter.By != "" {
			fmt.Fprintf(&b, "counter-signed by %s\n", v.Counter.By)
		} else {
			fmt.Fprintf(&b, "not counter-signed: holdline countersign %q --key FILE does it at any time\n", v.Path)
		}
	case v.Closed:
		fmt.Fprintf(&b, "record: %s\nclosed, NOT SIGNED: %s\nholdline countersign %q --key FILE signs it, and so does the next start.\n",
			v.Path, strings.TrimPrefix(v.Fault, "not signed: "), v.Path)
	case staysOpen(&last):
		fmt.Fprintf(&b, "record: %s\nleft OPEN in %s: the next start takes this firing up again.\n", v.Path, last.Phase)
		if last.Phase != arming.Setup {
			b.WriteString("Key out, battery off, nobody goes forward.\n")
		}
	default:
		fmt.Fprintf(&b, "record: %s\nleft OPEN in %s: the next start closes it.\n", v.Path, last.Phase)
	}
	if v.KeyNew != "" {
		fmt.Fprintf(&b, "A signing key was made on first use: %s\n", v.KeyNew)
	}
	_, _ = io.WriteString(s.o.Out, b.String()) // the terminal may be gone
}
