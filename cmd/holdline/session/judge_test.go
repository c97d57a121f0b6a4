package session

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"regexp"
	"slices"
	"strings"
	"time"

	"holdline/arming/groundbox/wire"
	"holdline/arming/record"
	"holdline/arming/record/journal"
)

// The judge knows the plant and the disk. Phases are those that the record says,
// by its own entries; nothing is asked of the machine.

const (
	openWithin   = 300 * time.Millisecond // from a doubt to a permit that is commanded open
	openByItself = 780 * time.Millisecond // by the box's watchdog, where nothing can be told to the box
	walks        = 300 * time.Millisecond // nobody is at the vehicle sooner than that after the order
	readingAge   = 800 * time.Millisecond // of a reading that SAFE may rest on
	screenLimit  = screenLate + 2*openWithin
	diskLimit    = beatsEvery + diskLate + 2*openWithin
)

// span is when something lasted.
type span struct{ from, to time.Duration }

func (s span) has(at time.Duration) bool { return s.from <= at && at < s.to }

func during(list []span, at time.Duration) bool {
	return slices.ContainsFunc(list, func(s span) bool { return s.has(at) })
}

// find notes a broken sentence, once.
func (p *plant) find(sentence, facts string) {
	if _, already := p.found[sentence]; !already {
		p.found[sentence] = fmt.Sprintf("%v: %s", p.now(), facts)
	}
}

// watch looks at the plant and the terminal.
func (p *plant) watch() {
	p.mu.Lock()
	defer p.mu.Unlock()
	st, now := p.box.State(), p.now()
	p.watchPermit(st.PermitCommanded, st.PermitClosedAt, st.PermitOpenedAt)
	if st.WatchdogRestarts == p.restarts+1 && st.PermitCommanded && p.keptAt > 0 {
		p.keeps = append(p.keeps, st.WatchdogFrom-p.keptAt)
	}
	p.restarts, p.keptAt = st.WatchdogRestarts, st.WatchdogFrom
	if !st.PermitCommanded {
		p.keptAt = 0
	}
	const faults = wire.EventWatchdog | wire.EventKeyPulled | wire.EventRestarted | wire.EventWelded | wire.EventOwnerChanged | wire.EventPermitLimit
	if fresh := st.Events & faults &^ wire.Event(p.events); fresh != 0 && p.events != 0 {
		p.doubts = append(p.doubts, doubt{now, "fault"})
	}
	p.events = uint64(st.Events&faults) | 1<<15
	if st.Pulses > p.pulseSeen && p.igniters {
		p.pulses = append(p.pulses, now)
	}
	p.pulseSeen = st.Pulses
	if p.forward {
		if st.PermitCommanded && st.BusV > wire.LiveAboveV && p.igniters {
			p.find("no current through an igniter with a person forward", "by a permit that was asked for")
		}
		if st.Lease && now >= p.frozenUntil && now-p.sentAt > walks {
			p.find("no test current while somebody is forward", "the lease is on")
		}
	}
	safe := !p.key && !p.battery && !st.PermitClosed && st.BusV < wire.DeadBelowV
	if safe {
		p.unsafeSince = -1
	} else if p.unsafeSince < 0 {
		p.unsafeSince = now
	}
	p.watchScreen(now)
}

func (p *plant) watchPermit(commanded bool, closed, opened time.Duration) {
	n := len(p.permits)
	if n > 0 && p.permits[n-1].closed == closed || closed == 0 {
		if n > 0 && p.permits[n-1].opened < 0 && !commanded {
			p.permits[n-1].opened = opened
		}
		return
	}
	e := permitEdge{closed: closed, opened: -1}
	if !commanded {
		e.opened = opened
	}
	p.permits = append(p.permits, e)
}

// watchScreen reads the terminal where there is a word that must be there, or
// must not.
func (p *plant) watchScreen(now time.Duration) {
	if p.screen.isFrozen() {
		p.calledAt = now // nobody can read what it would say
		p.lookedAt = now + readingAge
		return
	}
	danger := p.forward && p.battery
	if !danger {
		p.calledAt = now
	}
	if !danger && (p.unsafeSince < 0 || now-p.lookedAt < 150*time.Millisecond) {
		return
	}
	p.lookedAt = max(now, p.lookedAt)
	view := p.screen.shows()
	if p.unsafeSince >= 0 && now-p.unsafeSince > readingAge && now >= p.lookedAt && strings.Contains(view, " SAFE ") && !strings.Contains(view, "NOT PROVED SAFE") {
		p.find("the word SAFE is on no screen whose plant is not safe", fmt.Sprintf("not safe since %v: key %v, battery %v", p.unsafeSince, p.key, p.battery))
	}
	if !danger {
		return
	}
	for _, row := range strings.Split(view, "\n") {
		if text := strings.TrimSpace(row); strings.HasPrefix(text, "EVERYONE BACK") || strings.HasPrefix(text, "Permit did not open") {
			p.calledAt = now
		}
	}
	if now-p.calledAt > time.Second {
		p.find("a battery joined while somebody is forward is on the whole width within 1 s", "it is not")
	}
}

// diskEntry is what the judge reads of an event's entry.
type diskEntry struct {
	at      time.Duration // of the plant
	end     int64         // bytes up to its end
	phase   string
	event   string
	line    string
	refused string
	effects []string
}

// history is the record as the disk has it.
type history struct {
	log     *record.Log
	err     error
	entries []diskEntry
}

func (p *plant) history() *history {
	data, err := os.ReadFile(p.disk.path)
	if err != nil {
		return &history{log: &record.Log{}, err: err}
	}
	h := &history{}
	h.log, h.err = record.Parse(data)
	end := int64(0)
	rest := data
	for _, e := range h.log.Entries {
		n := bytes.IndexByte(rest, '\n') + 1
		end, rest = end+int64(n), rest[n:]
		if e.Kind != journal.KindEvent {
			continue
		}
		var body struct {
			Event, Phase, Line, Refused string
			Effects                     []struct{ Effect string }
		}
		if json.Unmarshal(e.Body, &body) != nil {
			continue
		}
		d := diskEntry{at: p.opened + time.Duration(e.MonoUS)*time.Microsecond, end: end, phase: body.Phase, event: body.Event, line: body.Line, refused: body.Refused}
		for _, x := range body.Effects {
			d.effects = append(d.effects, x.Effect)
		}
		h.entries = append(h.entries, d)
	}
	return h
}

// phaseAt is the phase that the record says for an instant.
func (h *history) phaseAt(at time.Duration) (phase string) {
	for _, e := range h.entries {
		if e.at > at {
			break
		}
		phase = e.phase
	}
	return phase
}

// readySince is when the gates last stood before an instant, -1 for never.
func (h *history) readySince(at time.Duration) time.Duration {
	ready, last := time.Duration(-1), ""
	for _, e := range h.entries {
		if e.at > at {
			break
		}
		if e.phase == "READY" && last != "READY" {
			ready = e.at
		}
		last = e.phase
	}
	return ready
}

// judge says which sentences were broken.
func judge(p *plant, sc script, m *team, words string, endErr error) []string {
	h := p.history()
	p.judgeRecord(h, words, endErr)
	for _, e := range p.permits {
		at := h.phaseAt(e.closed)
		if at == "PROOF" || at == "" {
			continue
		}
		p.permitCount++
		p.judgePermit(h, e)
	}
	p.judgeForward(h)
	p.judgeLink(sc)
	p.judgeRefusals(h)
	p.judgeFairWeather(h, sc)
	var out []string
	for sentence, facts := range p.found {
		out = append(out, sentence+": "+facts)
	}
	slices.Sort(out)
	return out
}

// judgePermit looks at one closing of the permit in a count.
func (p *plant) judgePermit(h *history, e permitEdge) {
	opened := e.opened
	if opened < 0 {
		opened = p.now()
	}
	ready := h.readySince(e.closed)
	if ready < 0 {
		p.find("the permit closes only after READY", fmt.Sprintf("closed at %v", e.closed))
		return
	}
	seenKey := false
	for i, d := range p.doubts {
		if d.at < ready || d.at > opened || p.unread(h, i) {
			continue
		}
		phase := h.phaseAt(d.at)
		switch {
		case d.what == "key in" && phase == "ARMED" && !seenKey:
			seenKey = true // the one that is asked for
			continue
		case d.what == "blur" && phase == "READY", d.what == "press" && d.at >= e.closed:
			continue
		}
		limit := openWithin
		if during(p.linkBad, d.at) {
			limit = openByItself
		}
		if by := max(d.at, e.closed) + limit; opened > by && opened > d.at+limit {
			p.find("a press, a key, HOLD or a fault from READY on opens the permit or keeps it open",
				fmt.Sprintf("%s at %v in %s; closed at %v, opened at %v", d.what, d.at, phase, e.closed, opened))
		}
	}
	for _, s := range p.frozen {
		if by := s.from + screenLimit; s.to > by && opened > by && e.closed < s.to && (e.closed <= by || e.closed > by && e.closed < s.to) {
			p.find("no permit without a screen", fmt.Sprintf("the terminal stood still from %v; closed at %v, opened at %v", s.from, e.closed, opened))
		}
	}
	for _, s := range p.diskHung {
		if by := s.from + diskLimit; s.to > by && opened > by && e.closed < s.to {
			p.find("no permit without a disk", fmt.Sprintf("the disk stood still from %v; closed at %v, opened at %v", s.from, e.closed, opened))
		}
	}
	p.judgeEntriesOfPermit(h, e, ready)
}

// unread reports a key that went in and out again before a box at rest is read.
func (p *plant) unread(h *history, i int) bool {
	limit := 250 * time.Millisecond
	if h.phaseAt(p.doubts[i].at) == "ARMED" {
		limit = 100 * time.Millisecond // read twice as often
	}
	for k := max(0, i-1); k+1 < len(p.doubts) && k <= i; k++ {
		in, out := p.doubts[k], p.doubts[k+1]
		if in.what == "key in" && out.what == "key out" && out.at-in.at < limit {
			return true
		}
	}
	return false
}

// judgeEntriesOfPermit demands the entries that allow a permit on the disk.
func (p *plant) judgeEntriesOfPermit(h *history, e permitEdge, ready time.Duration) {
	safe := p.disk.safeAt(e.closed)
	counted, lastSecond := false, false
	for _, x := range h.entries {
		if x.end > safe || x.at < ready || x.at > e.closed {
			continue
		}
		counted = counted || x.event == "start_count" && x.refused == ""
		lastSecond = lastSecond || x.phase == "COUNT" && slices.Contains(x.effects, "write") && e.closed-x.at < 1400*time.Millisecond
	}
	if !counted || !lastSecond {
		p.find("the permit closes by what is on the disk", fmt.Sprintf("at %v: start of the count %v, last second %v", e.closed, counted, lastSecond))
	}
}

// judgeForward looks at whoever went forward: by an order on the disk, and after
// the full wait.
func (p *plant) judgeForward(h *history) {
	for _, at := range p.goings {
		safe, ordered := p.disk.safeAt(at), false
		for _, x := range h.entries {
			ordered = ordered || x.end <= safe && x.at <= at && x.refused == "" && (x.event == "open_line" || x.event == "go_forward")
		}
		if !ordered {
			p.find("people go forward by an order on the disk", fmt.Sprintf("at %v", at))
		}
		for _, pulse := range p.pulses {
			if pulse < at && at-pulse < practiceWaitFor-100*time.Millisecond {
				p.find("after a pulse nobody is sent forward before the full wait", fmt.Sprintf("pulse at %v, forward at %v", pulse, at))
			}
		}
	}
	for _, s := range p.forwards {
		for _, at := range p.cable.leases {
			if at > s.from+walks && at < s.to {
				p.find("no test current is asked for while somebody is forward", fmt.Sprintf("at %v", at))
			}
		}
	}
}

// judgeLink looks at what went over the cable.
func (p *plant) judgeLink(sc script) {
	if n := p.cable.refusedNumber; n != "" {
		p.find("no number of a reading is used twice", n)
	}
	if len(p.linkBad) == 0 {
		for _, gap := range p.keeps {
			if gap > 2*openWithin/3+20*time.Millisecond {
				p.find("the permit is renewed every 0.1 s", fmt.Sprintf("%v between two", gap))
			}
		}
	}
	for _, s := range p.silent {
		for _, e := range p.permits {
			if e.closed >= s.from || e.opened >= 0 && e.opened < s.from || s.to-s.from < 1500*time.Millisecond {
				continue
			}
			if !slices.ContainsFunc(p.cable.offs, func(at time.Duration) bool { return at > s.from && at < s.from+1500*time.Millisecond }) {
				p.find("a box that no longer answers is sent OFF", fmt.Sprintf("silent from %v", s.from))
			}
		}
	}
}

// shellRefusals are what the shell refuses itself, which is in no entry.
var shellRefusals = regexp.MustCompile(`^(the prediction for today|there is no prediction|there is no code|the sheet is being|too many requests|this cannot be written)`)

// judgeRefusals holds what people were told against the record.
func (p *plant) judgeRefusals(h *history) {
	for why := range p.refusals {
		known := shellRefusals.MatchString(why) || h.err != nil || p.disk.fail
		for _, x := range h.entries {
			known = known || x.refused != "" && strings.Contains(x.refused, why)
		}
		if !known {
			p.find("a refusal on the screen is one", why)
		}
	}
}

// judgeRecord replays what is on the disk, and holds the last words against it.
func (p *plant) judgeRecord(h *history, words string, endErr error) {
	switch {
	case endErr != nil && strings.Contains(endErr.Error(), "internal error"):
		p.find("the program does not break", endErr.Error())
	case h.err != nil && !errors.Is(h.err, record.ErrTorn):
		p.find("the record is whole or torn", h.err.Error())
	case h.err != nil && !p.disk.fail:
		p.find("the record is whole", h.err.Error())
	}
	_, err := os.Stat(p.disk.path + ".sig")
	signed := err == nil
	if !signed { // or else its verification replays it
		if err := Replay(h.log.Entries); err != nil {
			p.find("the record replays", err.Error())
		}
	}
	if !strings.Contains(words, p.disk.path) {
		p.find("the last words name the record", words)
	}
	closed, wordsClosed := h.log.Closed(), !strings.Contains(words, "left OPEN")
	if closed != wordsClosed && !p.disk.fail {
		p.find("the last words agree with the disk", fmt.Sprintf("closed %v: %s", closed, words))
	}
	if signed != strings.Contains(words, "signed by SHA256") {
		p.find("the last words agree with the disk", fmt.Sprintf("signed %v: %s", signed, words))
	}
	if signed {
		r := record.VerifyFile(p.disk.path, record.Options{AnySigner: true, At: time.Now().Add(24 * time.Hour), Replay: Replay, Program: "test"})
		if r.Status != record.OK {
			p.find("a signed record verifies", fmt.Sprintf("%v %+v", r.Status, r.Findings))
		}
	}
}

// judgeFairWeather demands a whole firing where nothing goes wrong.
func (p *plant) judgeFairWeather(h *history, sc script) {
	if len(sc.troubles) > 0 {
		return
	}
	if !h.log.Closed() || h.phaseAt(p.now()) != "CLOSED" || p.permitCount != 1 || len(p.pulses) != 1 {
		p.find("a firing without trouble comes to its end", fmt.Sprintf("%s, %d permits, %d pulses", h.phaseAt(p.now()), p.permitCount, len(p.pulses)))
	}
}
