//go:build slow && linux

package session

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"runtime"
	"strconv"
	"strings"
	"testing"

	"golang.org/x/sys/unix"

	"holdline/arming/groundbox/practice"
	"holdline/arming/groundbox/wire"
)

// peerEnv makes the test binary the box's side of a measurement: a program of
// its own, so that neither this program's scheduler nor its collector serves
// the box.
const peerEnv = "HOLDLINE_TEST_PEER"

func init() {
	if faults, err := strconv.Atoi(os.Getenv(peerEnv)); err == nil {
		peer(os.NewFile(3, "port"), faults)
		os.Exit(0)
	}
}

// monotonicNs is the system's monotonic clock, the same in every process.
func monotonicNs() int64 {
	var t unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_MONOTONIC, &t); err != nil {
		panic(err)
	}
	return t.Nano()
}

// badSnapshot is one kind of snapshot that has to end the permit.
type badSnapshot struct {
	name  string
	spoil func(*wire.Snapshot)
}

var badSnapshots = []badSnapshot{
	{"key out", func(s *wire.Snapshot) { s.KeyIn = false }},
	{"watchdog tripped", func(s *wire.Snapshot) { s.Events = wire.EventWatchdog }},
	{"key pulled", func(s *wire.Snapshot) { s.Events = wire.EventKeyPulled }},
	{"welded contact", func(s *wire.Snapshot) { s.Events = wire.EventWelded }},
	{"permit limit", func(s *wire.Snapshot) { s.Events = wire.EventPermitLimit }},
	{"permit open", func(s *wire.Snapshot) { s.PermitClosed = false }},
}

// scripted is a box that answers from a script: it takes no time of its own.
type scripted struct {
	permit   bool
	sequence uint16
	closed   int // snapshots with the permit closed since ON
	wait     int // of them before the bad one
	bad      int // bad ones sent
}

func (b *scripted) snapshot() (text string, isBad bool) {
	b.sequence++
	volt := func(is bool) wire.Reading {
		if is {
			return wire.Of(12.4)
		}
		return wire.Of(0)
	}
	s := wire.Snapshot{Practice: true, Sequence: b.sequence, KeyIn: true, PermitClosed: b.permit,
		BatteryV: wire.Of(12.4), BehindKeyV: wire.Of(12.4), BehindPermitV: volt(b.permit), BusV: wire.Of(0), ChannelOhm: make([]wire.Reading, 4)}
	if b.permit {
		b.closed++
		if b.closed > b.wait {
			badSnapshots[b.bad%len(badSnapshots)].spoil(&s)
			isBad = true
		}
	}
	return s.Text() + "\n", isBad
}

func (b *scripted) answer(line string) (text string, isBad bool) {
	head, _, _ := strings.Cut(line, " ")
	switch head {
	case "*IDN?":
		return "holdline,PRACTICE,0001,1.0\n", false
	case "SYST:VERS?":
		return "1999.0\n", false
	case "SYST:OWN?":
		return "1\n", false
	case "ROUT:CHAN:COUN?":
		return "4\n", false
	case "SENS:RES:CURR?":
		return "0.001\n", false
	case "OUTP:PERM:TIM?":
		return "0.5\n", false
	case "SYST:ERR?":
		return "0,\"No error\"\n", false
	case "STAT:SNAP?":
		return b.snapshot()
	}
	if strings.HasPrefix(line, "OUTP:PERM ON,") {
		b.permit, b.closed = true, 0
	}
	return "", false
}

// peer answers on port and, for each bad snapshot, prints when it began to
// write it.
func peer(port *os.File, faults int) {
	defer port.Close() // it must not be collected before
	runtime.LockOSThread()
	fd := int(port.Fd())
	if err := unix.SetNonblock(fd, false); err != nil {
		panic(err)
	}
	box := &scripted{wait: 1}
	framer := wire.NewFramer(wire.MaxCommandBytes)
	buf := make([]byte, 1024)
	out := bufio.NewWriter(os.Stdout)
	var wrote int64 // 0 before the bad snapshot
	for {
		n, err := unix.Read(fd, buf)
		if err == unix.EINTR {
			continue
		}
		if err != nil || n == 0 {
			fmt.Fprintln(os.Stderr, "the box's side: read:", n, err)
			return
		}
		for _, line := range framer.Push(buf[:n]) {
			if line.Text == "OUTP:PERM OFF" {
				box.permit = false
				if wrote > 0 {
					box.bad++
					box.wait = 1 + box.bad%3
					fmt.Fprintln(out, wrote)
					wrote = 0
					if box.bad == faults {
						out.Flush()
						return
					}
				}
				continue
			}
			text, isBad := box.answer(line.Text)
			if text == "" {
				continue
			}
			began := monotonicNs()
			if _, err := unix.Write(fd, []byte(text)); err != nil {
				fmt.Fprintln(os.Stderr, "the box's side: write:", err)
				return
			}
			if isBad && wrote == 0 {
				wrote = began
			}
		}
	}
}

// startPeer runs the box's side and returns the port's name and what it will
// have printed.
func startPeer(t testing.TB, faults int) (port string, printed func() []string) {
	t.Helper()
	master, user, err := practice.OpenTerminal()
	if err != nil {
		t.Fatal(err)
	}
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(exe)
	cmd.Env = append(os.Environ(), fmt.Sprintf("%s=%d", peerEnv, faults))
	cmd.ExtraFiles = []*os.File{master}
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	if err := master.Close(); err != nil {
		t.Fatal(err)
	}
	lines := make(chan []string, 1)
	go func() {
		var all []string
		for scan := bufio.NewScanner(out); scan.Scan(); {
			all = append(all, scan.Text())
		}
		lines <- all
	}()
	name := user.Name()
	t.Cleanup(func() { _ = user.Close() })
	return name, func() []string {
		all := <-lines
		if err := cmd.Wait(); err != nil {
			t.Errorf("the box's side: %v", err)
		}
		return all
	}
}
