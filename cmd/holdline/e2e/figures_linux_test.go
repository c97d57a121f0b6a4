//go:build e2e && linux

package e2e

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"

	"holdline/checklist/sheet"
)

// The figures that the cockpit is to reach, held against the least program of
// its kind (testdata/baseline) in the same run. Times by the wall clock depend
// on what else the machine does, so the two take turns; each aim is printed
// beside the value, and only what no busy machine can upset is asserted: bytes
// and memory as they are, the rest with room.
const (
	aimStart    = 1.3   // start to first frame, of the baseline's
	aimKey      = 1.3   // key to frame, p99 of the baseline's
	aimRest     = 3.0   // percent of a core, in SETUP
	aimCount    = 5.0   // percent of a core, counting
	aimResident = 40e6  // bytes
	aimIdle     = 600.0 // bytes a second to the terminal, in SETUP: whole rows of 200 columns
	room        = 2.5   // over an aim that depends on the machine's load
)

// probe is a program on a pseudo-terminal that is read as fast as it writes
// and painted nowhere.
type probe struct {
	t     testing.TB
	cmd   *exec.Cmd
	tty   *os.File
	began time.Time
	done  chan struct{}

	mu    sync.Mutex
	more  *sync.Cond
	buf   []byte // since the last mark
	total int
	over  bool
}

func startProbe(t testing.TB, cmd *exec.Cmd, w, h uint16) *probe {
	t.Helper()
	p := &probe{t: t, cmd: cmd, done: make(chan struct{})}
	p.more = sync.NewCond(&p.mu)
	p.began = time.Now()
	tty, err := pty.StartWithSize(cmd, &pty.Winsize{Rows: h, Cols: w})
	if err != nil {
		t.Fatal(err)
	}
	p.tty = tty
	go p.read()
	t.Cleanup(p.end)
	return p
}

// read takes what the program writes, and answers what it asks as a terminal
// does that sits beside it.
func (p *probe) read() {
	defer close(p.done)
	chunk := make([]byte, 1<<16)
	for {
		n, err := p.tty.Read(chunk)
		got := chunk[:n]
		if bytes.Contains(got, []byte("\x1b]11;?")) {
			_, _ = p.tty.WriteString("\x1b]11;rgb:0000/0000/0000\x1b\\") // it may have ended
		}
		if bytes.Contains(got, []byte("\x1b[6n")) {
			_, _ = p.tty.WriteString("\x1b[1;1R")
		}
		p.mu.Lock()
		p.buf = append(p.buf, got...)
		p.total += n
		p.over = err != nil
		p.more.Broadcast()
		p.mu.Unlock()
		if err != nil {
			return
		}
	}
}

// mark forgets what was written so far, and returns the number of bytes since
// the start.
func (p *probe) mark() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.buf = p.buf[:0]
	return p.total
}

// await waits until text has been written since the last mark.
func (p *probe) await(text string, most time.Duration) {
	p.t.Helper()
	late := time.AfterFunc(most, func() {
		p.mu.Lock()
		p.over = true
		p.more.Broadcast()
		p.mu.Unlock()
	})
	defer late.Stop()
	p.mu.Lock()
	defer p.mu.Unlock()
	for !bytes.Contains(p.buf, []byte(text)) {
		if p.over {
			p.t.Fatalf("%q did not come within %v: %q", text, most, p.buf)
		}
		p.more.Wait()
	}
}

// key presses a key and returns how long text took to come back.
func (p *probe) key(key, text string) time.Duration {
	p.t.Helper()
	p.mark()
	began := time.Now()
	if _, err := p.tty.WriteString(key); err != nil {
		p.t.Fatal(err)
	}
	p.await(text, 10*time.Second)
	return time.Since(began)
}

// settle waits until the prediction is computed, which takes a busy machine a
// while: it gives way to all else. Three calm seconds in a row say so.
func (p *probe) settle() {
	p.t.Helper()
	const computing = 100 * time.Millisecond // of processor time in a second
	for calm, end := 0, time.Now().Add(time.Minute); calm < 3; calm++ {
		if time.Now().After(end) {
			p.t.Fatal("it does not come to rest")
		}
		used := cpu(p.t, p.cmd.Process.Pid)
		time.Sleep(time.Second)
		if cpu(p.t, p.cmd.Process.Pid)-used >= computing {
			calm = -1
		}
	}
}

func (p *probe) end() {
	_ = p.cmd.Process.Signal(syscall.SIGTERM) // it may have ended
	late := time.AfterFunc(10*time.Second, func() { _ = p.cmd.Process.Kill() })
	defer late.Stop()
	_ = p.cmd.Wait() // ended by the signal
	<-p.done
	_ = p.tty.Close()
}

// cpu is the processor time that the program has used, user and system.
func cpu(t testing.TB, pid int) time.Duration {
	t.Helper()
	text := string(read(t, fmt.Sprintf("/proc/%d/stat", pid)))
	fields := strings.Fields(text[strings.LastIndex(text, ")")+1:])
	sum := 0
	for _, f := range fields[11:13] { // utime and stime, proc(5)
		n, err := strconv.Atoi(f)
		if err != nil {
			t.Fatal(err)
		}
		sum += n
	}
	const perSecond = 100 // USER_HZ, the same on every Linux that Go runs on
	return time.Duration(sum) * (time.Second / perSecond)
}

// memory is the resident memory in bytes, now and at its highest.
func memory(t testing.TB, pid int) (now, most float64) {
	t.Helper()
	for _, line := range strings.Split(string(read(t, fmt.Sprintf("/proc/%d/status", pid))), "\n") {
		name, value, _ := strings.Cut(line, ":")
		kb, _ := strconv.ParseFloat(strings.TrimSuffix(strings.TrimSpace(value), " kB"), 64)
		switch name {
		case "VmRSS":
			now = kb * 1024
		case "VmHWM":
			most = kb * 1024
		}
	}
	if now == 0 || most == 0 {
		t.Fatal("the system does not tell the resident memory")
	}
	return now, most
}

var baselineOnce = sync.OnceValues(func() (string, error) {
	path := filepath.Join(filepath.Dir(binary), "baseline")
	if out, err := exec.Command("go", "build", "-o", path, "./testdata/baseline").CombinedOutput(); err != nil {
		return "", fmt.Errorf("%w: %s", err, out)
	}
	return path, nil
})

// pair are the two programs, run in turns.
type pair struct {
	t        testing.TB
	env      []string
	baseline string
}

func newPair(t testing.TB) *pair {
	t.Helper()
	program(t)
	path, err := baselineOnce()
	if err != nil {
		t.Fatal(err)
	}
	p := &pair{t: t, baseline: path}
	for _, e := range os.Environ() {
		if name, _, _ := strings.Cut(e, "="); name != "CI" && name != "NO_COLOR" && name != "LANG" {
			p.env = append(p.env, e)
		}
	}
	p.env = append(append(p.env, "TERM=xterm-256color", "COLORTERM=truecolor", "LANG=C.UTF-8"), home(t)...)
	return p
}

// The first words of both that stand in a whole frame only.
const (
	firstOfCockpit  = "PRACTICE hands"
	firstOfBaseline = "> keys 0."
)

func (p *pair) cockpit(w, h uint16, args ...string) *probe {
	p.t.Helper()
	return p.start(exec.Command(binary, args...), w, h, firstOfCockpit)
}

func (p *pair) bare(w, h uint16) *probe {
	p.t.Helper()
	return p.start(exec.Command(p.baseline), w, h, firstOfBaseline)
}

func (p *pair) start(cmd *exec.Cmd, w, h uint16, first string) *probe {
	p.t.Helper()
	cmd.Env = append(slices.Clip(p.env), "XDG_STATE_HOME="+quietDir(p.t)) // records of its own
	x := startProbe(p.t, cmd, w, h)
	x.await(first, 20*time.Second)
	return x
}

// times are measured durations.
type times []time.Duration

func (d times) at(share float64) time.Duration {
	s := slices.Sorted(slices.Values(d))
	return s[max(0, int(math.Ceil(share*float64(len(s))))-1)]
}

func (d times) String() string {
	return fmt.Sprintf("least %.1f  p50 %.1f  p90 %.1f  p99 %.1f  most %.1f ms (%d)", ms(d.at(0)), ms(d.at(0.5)), ms(d.at(0.9)), ms(d.at(0.99)), ms(d.at(1)), len(d))
}

func ms(d time.Duration) float64 { return float64(d) / float64(time.Millisecond) }

// TestFigureStart is the time from the start of the process to the last byte of
// its first frame.
func TestFigureStart(t *testing.T) {
	p := newPair(t)
	var ours, bare times
	took := func(x *probe) time.Duration {
		d := time.Since(x.began)
		x.end()
		return d
	}
	p.cockpit(columns, rows).end() // makes the key of the first use
	for range 20 {
		ours = append(ours, took(p.cockpit(columns, rows)))
		bare = append(bare, took(p.bare(columns, rows)))
	}
	ratio := float64(ours.at(0)) / float64(bare.at(0))
	t.Logf("start to first frame: cockpit   %v", ours)
	t.Logf("start to first frame: baseline  %v", bare)
	t.Logf("start to first frame: ratio of the medians %.2f, of the shortest %.2f, aim %.1f", float64(ours.at(0.5))/float64(bare.at(0.5)), ratio, aimStart)
	if ratio > aimStart*room {
		t.Errorf("the first frame takes %.2f of the baseline's", ratio)
	}
}

// slowSheet is the practice scenario with curves of so many points that its
// dispersion runs for as long as keys are pressed.
func slowSheet(t testing.TB) string {
	t.Helper()
	path := quickSheet(t)
	var b strings.Builder
	b.WriteString("time_s,thrust_n\n0,0\n")
	const points = 9000
	for i := 1; i < points; i++ {
		fmt.Fprintf(&b, "%.6f,%.6f\n", 1.86*float64(i)/points, 9.2+0.1*math.Sin(float64(i)))
	}
	b.WriteString("1.86,0\n")
	write(t, filepath.Join(filepath.Dir(path), "curves", "amber-d.csv"), []byte(b.String()))
	return path
}

// TestFigureKeys is the time from a key to the frame that shows it, while the
// cockpit computes the dispersion.
func TestFigureKeys(t *testing.T) {
	p := newPair(t)
	path := slowSheet(t)
	var ours, bare times
	var used, passed time.Duration
	var now, most float64
	for range 5 {
		x := p.cockpit(columns, rows, path, "--practice")
		x.key(enter, "▏")
		began, from := time.Now(), cpu(t, x.cmd.Process.Pid)
		for i := range 100 {
			if i > 0 && i%20 == 0 {
				x.key(emptyField, "▏")
			}
			time.Sleep(time.Duration(7+i%11) * time.Millisecond) // no step with anybody's frames
			letter := string(rune('a' + i%20))
			ours = append(ours, x.key(letter, letter+"▏"))
		}
		used, passed = used+cpu(t, x.cmd.Process.Pid)-from, passed+time.Since(began)
		n, m := memory(t, x.cmd.Process.Pid)
		now, most = max(now, n), max(most, m)
		x.end()
		x = p.bare(columns, rows)
		for i := range 100 {
			time.Sleep(time.Duration(7+i%11) * time.Millisecond)
			bare = append(bare, x.key("x", fmt.Sprintf("> keys %d.", i+1)))
		}
		x.end()
	}
	ratio := float64(ours.at(0.99)) / float64(bare.at(0.99))
	t.Logf("key to frame: cockpit, dispersion running  %v, %.0f %% of a core", ours, 100*float64(used)/float64(passed))
	t.Logf("key to frame: baseline                     %v", bare)
	t.Logf("key to frame: ratio of p99 %.2f, aim %.1f; of the medians %.2f", ratio, aimKey, float64(ours.at(0.5))/float64(bare.at(0.5)))
	t.Logf("resident: %.1f MB, at most %.1f MB, with %d points in each curve; aim %.0f MB", now/1e6, most/1e6, 9000, aimResident/1e6)
	if ratio > aimKey*room {
		t.Errorf("a key takes %.2f of the baseline's time to its frame", ratio)
	}
	if used < passed/4 {
		t.Errorf("the dispersion did not run beside the keys: %v of processor time in %v", used, passed)
	}
}

// load is what a program uses while nobody touches it.
type load struct {
	cpu, passed time.Duration
	bytes       int
}

func (l *load) measure(t testing.TB, x *probe, d time.Duration) {
	t.Helper()
	began, used, written := time.Now(), cpu(t, x.cmd.Process.Pid), x.mark()
	time.Sleep(d)
	l.cpu += cpu(t, x.cmd.Process.Pid) - used
	l.bytes += x.mark() - written
	l.passed += time.Since(began)
}

func (l *load) percent() float64 { return 100 * float64(l.cpu) / float64(l.passed) }
func (l *load) rate() float64    { return float64(l.bytes) / l.passed.Seconds() }

// TestFigureRest is what the cockpit uses in SETUP with its practice box, the
// prediction computed and the heartbeat turning.
func TestFigureRest(t *testing.T) {
	p := newPair(t)
	small, large, bare := p.cockpit(columns, rows), p.cockpit(200, 50), p.bare(columns, rows)
	for _, x := range []*probe{small, large} {
		x.settle()
	}
	var ofSmall, ofLarge, ofBare load
	for range 3 {
		ofSmall.measure(t, small, 5*time.Second)
		ofLarge.measure(t, large, 5*time.Second)
		ofBare.measure(t, bare, 5*time.Second)
	}
	now, most := memory(t, large.cmd.Process.Pid)
	bareNow, _ := memory(t, bare.cmd.Process.Pid)
	t.Logf("at rest in SETUP:  80 by 24 %.1f %% of a core, 200 by 50 %.1f %%, aim %.0f %%; baseline with its tick %.1f %%", ofSmall.percent(), ofLarge.percent(), aimRest, ofBare.percent())
	t.Logf("at rest in SETUP:  80 by 24 %.0f bytes a second, 200 by 50 %.0f, aim %.0f", ofSmall.rate(), ofLarge.rate(), aimIdle)
	t.Logf("resident: %.1f MB, at most %.1f MB with the dispersion, aim %.0f MB; baseline %.1f MB", now/1e6, most/1e6, aimResident/1e6, bareNow/1e6)
	for _, l := range []load{ofSmall, ofLarge} {
		if l.percent() > aimRest*room {
			t.Errorf("%.1f %% of a core at rest", l.percent())
		}
		if l.rate() >= aimIdle {
			t.Errorf("%.0f bytes a second at rest, aim %.0f", l.rate(), aimIdle)
		}
		if l.bytes == 0 {
			t.Error("the heartbeat does not turn")
		}
	}
	if most > aimResident {
		t.Errorf("%.1f MB resident, aim %.0f MB", most/1e6, aimResident/1e6)
	}
}

// TestFigureCount is what the cockpit uses while it counts.
func TestFigureCount(t *testing.T) {
	path := quickSheet(t)
	data, err := sheet.Set(read(t, path), "times.count", "60 s")
	if err != nil {
		t.Fatal(err)
	}
	write(t, path, data)
	x := open(t, home(t), path, "--practice")
	c := &crew{t: t, x: x, h: keys{x}}
	x.see("CREW FIRING OFFICER", 10*time.Second)
	c.upToTheCount()
	for _, size := range []pty.Winsize{{Rows: rows, Cols: columns}, {Rows: 50, Cols: 200}} {
		x.resize(&size)
		time.Sleep(time.Second) // the painting anew
		began, used := time.Now(), cpu(t, x.cmd.Process.Pid)
		time.Sleep(15 * time.Second)
		percent := 100 * float64(cpu(t, x.cmd.Process.Pid)-used) / float64(time.Since(began))
		x.see("Any doubt: HOLD", time.Second) // it counts still
		t.Logf("counting: %d by %d %.1f %% of a core, aim %.0f %%", size.Cols, size.Rows, percent, aimCount)
		if percent > aimCount*room {
			t.Errorf("%.1f %% of a core while counting", percent)
		}
	}
}
