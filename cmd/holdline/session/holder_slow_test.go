//go:build slow && linux

package session

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"holdline/arming"
	"holdline/arming/groundbox"
	"holdline/arming/groundbox/practice"
	"holdline/arming/record"
	"holdline/checklist/sheet/scenario"
)

// holderEnv makes the test binary a program that holds the permit, as the
// cockpit does in WINDOW: link, driver, machine and record are the real ones,
// the screen is a loop that asks for frames. Its value is the port.
const holderEnv = "HOLDLINE_TEST_HOLDER"

func init() {
	if port := os.Getenv(holderEnv); port != "" {
		if err := hold(port, os.Getenv("HOLDLINE_TEST_RECORDS")); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
}

// hold holds the permit and obeys the words of standard input, one a line, each
// answered with the time on the system's monotonic clock.
func hold(port, dir string) error {
	h, err := newHolder(port, dir)
	if err != nil {
		return err
	}
	go h.screen()
	go func() {
		h.driver.run(arming.Start{})
		fmt.Fprintln(os.Stderr, "the holder's driver has ended:", h.driver.failure)
	}()
	if err := h.window(); err != nil {
		return err
	}
	fmt.Println("holding")
	for words := bufio.NewScanner(os.Stdin); words.Scan(); {
		if err := h.obey(words.Text()); err != nil {
			return err
		}
		fmt.Println(monotonicNs())
	}
	return nil
}

type holder struct {
	driver *driver
	w      *record.Writer
	still  atomic.Bool // the screen stands still
}

func newHolder(port, dir string) (*holder, error) {
	sh, err := scenario.Open()
	if err != nil {
		return nil, err
	}
	plan := newPlan(sh, arming.ModeBox, true, 6)
	plan.Steps = nil // no answer can be out of date
	s := &session{o: Options{Version: "test"}, sheet: sh, plan: plan, practice: true, mode: arming.ModeBox}
	c := clock{opened: time.Now()}
	w, err := record.Create(filepath.Join(dir, "records"), s.header(), c.opened)
	if err != nil {
		return nil, err
	}
	signer, err := openSigner("", dir)
	if err != nil {
		return nil, err
	}
	rec := newRecorder(w, signer)
	if err := rec.plan(plan, c); err != nil {
		return nil, err
	}
	box, err := openBox(context.Background(), groundbox.Config{
		Dial: groundbox.SerialDial(port, baud), Port: port, RequirePractice: true, WantChannels: len(sh.Motors),
	}, sh, nil)
	if err != nil {
		return nil, err
	}
	return &holder{driver: newDriver(plan, box.port(), rec, c, hooks{}), w: w}, nil
}

func (h *holder) screen() {
	for ; ; time.Sleep(50 * time.Millisecond) {
		if !h.still.Load() {
			h.driver.frameAsked()
		}
	}
}

// window puts the machine into WINDOW as soon as the key reads in: the real way
// there takes minutes, and the tests of the whole program go it.
func (h *holder) window() error {
	d := h.driver
	for end := time.Now().Add(10 * time.Second); ; time.Sleep(5 * time.Millisecond) {
		f := d.latest.Load()
		if f != nil && f.State.Box.Key == arming.ContactClosed && f.State.Box.Pole1 == arming.ContactOpen {
			break
		}
		if time.Now().After(end) {
			return errors.New("the key does not read in")
		}
	}
	d.ask(func() {
		at, _ := d.clock.now()
		s := &d.state
		s.Phase, s.Line, s.Hooked = arming.Window, arming.LineClosed, true
		s.Crew.Firing, s.Crew.Range, s.ArmEntry, s.CodeOK, s.KeyInArmed = firing, ranger, true, true, true
		s.PulsesBefore, s.PressesBefore = s.Box.Pulses, s.Box.Presses
		s.PermitWanted, s.PermitSpent, s.PermitAt, s.Entered, s.Now = true, true, at, at, at
		s.WindowEnds = at.Mono + 15*time.Second
		d.wanted.Store(true)
		_ = d.box.on(time.Now().Add(permitLife)) // the box's side looks whether it closed
	})
	return nil
}

// obey does to the program what can happen to it.
func (h *holder) obey(word string) error {
	switch word {
	case "nothing":
	case "HOLD":
		h.driver.callHold()
	case "screen stands still":
		h.still.Store(true)
	case "driver stands still":
		h.driver.ask(func() { select {} })
	case "disk full":
		full, err := os.OpenFile("/dev/full", os.O_WRONLY, 0)
		if err != nil {
			return err
		}
		return h.recordBecomes(full)
	case "record blocked":
		return h.blockRecord()
	default:
		return fmt.Errorf("%q is nothing to obey", word)
	}
	return nil
}

// blockRecord lets the record's file be a pipe that nobody reads and that is
// full.
func (h *holder) blockRecord() error {
	var p [2]int
	if err := unix.Pipe2(p[:], unix.O_NONBLOCK); err != nil {
		return err
	}
	for junk := make([]byte, 4096); ; {
		if _, err := unix.Write(p[1], junk); err != nil {
			break // it is full
		}
	}
	if err := unix.SetNonblock(p[1], false); err != nil {
		return err
	}
	return h.recordBecomes(os.NewFile(uintptr(p[1]), "pipe"))
}

// recordBecomes puts another file behind the number of the record's.
func (h *holder) recordBecomes(f *os.File) error {
	path, err := filepath.EvalSymlinks(h.w.Path())
	if err != nil {
		return err
	}
	for fd := 3; fd < 200; fd++ {
		if is, _ := os.Readlink(fmt.Sprintf("/proc/self/fd/%d", fd)); is == path {
			return unix.Dup3(int(f.Fd()), fd, unix.O_CLOEXEC)
		}
	}
	return fmt.Errorf("%s is not open", path)
}

// stand is a practice box on a terminal, with a holder at its other end.
type stand struct {
	box  *practice.Box
	port string
	dir  string

	cmd *exec.Cmd
	in  io.Writer
	out *bufio.Scanner
}

func newStand(t testing.TB) *stand {
	t.Helper()
	sh, err := scenario.Open()
	if err != nil {
		t.Fatal(err)
	}
	box, err := practice.New(practice.Config{Problem: sh.Circuit()})
	if err != nil {
		t.Fatal(err)
	}
	port, stop, err := practice.StartPTY(box)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(stop)
	box.Hands().Igniters(true)
	box.Hands().Battery(true)
	return &stand{box: box, port: port, dir: quietDir(t)}
}

// hold starts a holder and waits until the permit is closed. On a machine that
// has much else to do the permit can close too late for the machine, which then
// waits: that is tried again.
func (s *stand) hold() error {
	err := s.holdOnce()
	for range 2 {
		if err != nil {
			_ = s.end() // what was wrong with it is in err
			err = s.holdOnce()
		}
	}
	return err
}

func (s *stand) holdOnce() error {
	exe, err := os.Executable()
	if err != nil {
		return err
	}
	s.box.Hands().Key(false)
	s.box.Input([]byte("*CLS\nSTAT:EVEN:CLE 255\n"))
	s.cmd = exec.Command(exe)
	s.cmd.Env = append(os.Environ(), holderEnv+"="+s.port, "HOLDLINE_TEST_RECORDS="+s.dir)
	s.cmd.Stderr = os.Stderr
	if s.in, err = s.cmd.StdinPipe(); err != nil {
		return err
	}
	out, err := s.cmd.StdoutPipe()
	if err != nil {
		return err
	}
	if err := s.cmd.Start(); err != nil {
		return err
	}
	s.out = bufio.NewScanner(out)
	time.Sleep(30 * time.Millisecond) // the key is seen out
	s.box.Hands().Key(true)
	if err := s.until(5*time.Second, func(b practice.State) bool { return b.PermitClosed }); err != nil {
		return fmt.Errorf("the permit does not close: %w", err)
	}
	if !s.out.Scan() || s.out.Text() != "holding" {
		return fmt.Errorf("the holder says %q", s.out.Text())
	}
	return nil
}

// tell makes something happen in the holder and returns when, in box time.
func (s *stand) tell(word string) (time.Duration, error) {
	if _, err := io.WriteString(s.in, word+"\n"); err != nil {
		return 0, err
	}
	if !s.out.Scan() || strings.Trim(s.out.Text(), "0123456789") != "" {
		return 0, fmt.Errorf("the holder says %q", s.out.Text())
	}
	return s.box.State().At, nil
}

// until waits for a state of the box.
func (s *stand) until(most time.Duration, ok func(practice.State) bool) error {
	for end := time.Now().Add(most); ; time.Sleep(time.Millisecond) {
		st := s.box.State()
		if ok(st) {
			return nil
		}
		if time.Now().After(end) {
			return fmt.Errorf("not within %v: %+v", most, st)
		}
	}
}

// end ends the holder and takes its record away.
func (s *stand) end() error {
	_ = s.cmd.Process.Kill() // it may have ended
	_ = s.cmd.Wait()         // by the kill
	return os.RemoveAll(filepath.Join(s.dir, "records"))
}
