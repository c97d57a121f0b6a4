package conformance

import (
	"context"
	"io"
	"regexp"
	"slices"
	"strings"
	"testing"
	"testing/synctest"

	"holdline/arming/groundbox/practice"
	"holdline/arming/groundbox/wire"
)

// A check that can not fail is worth nothing: each of these boxes lacks one
// thing, and the clause that is about it must say so.
func TestABoxThatLacksSomethingIsFoundOut(t *testing.T) {
	refresh := regexp.MustCompile(`^OUTP:PERM:KEEP (\w+),\d+$`)
	found, tried := 0, 0
	for name, c := range map[string]struct {
		down, up func(string) string
		fault    string
		clause   string
		long     bool
	}{
		"identity of three fields":     {up: swap("holdline,PRACTICE", "holdline PRACTICE"), clause: "*IDN? answers maker"},
		"another version":              {up: swap("1999.0", "1995.0"), clause: "SYST:VERS? answers"},
		"no long form":                 {down: swap("SYSTEM:VERSION", "X"), clause: "headers in short and long form"},
		"takes any abbreviation":       {down: swap("SYSTE:VERS?", "SYST:VERS?"), clause: "headers in short and long form"},
		"knows *RST":                   {down: swap("*RST", "*CLS"), clause: "an unknown header is -113"},
		"a missing parameter is -222":  {up: swap("-109", "-222"), clause: "a missing parameter"},
		"takes bytes above 127":        {down: swap("\xc3\xa4", ""), clause: "a byte above 127"},
		"a shorter line buffer":        {up: swap("-363", "-113"), clause: "a line of 255 bytes"},
		"no queue overflow":            {up: swap("-350", "-113"), clause: "twenty errors"},
		"17 channels":                  {down: swap("ROUT:CHAN:COUN?", "SYST:ERR?"), clause: "1 to 16 channels"},
		"no P":                         {down: swap("STAT:SNAP?", "SYST:VERS?"), clause: "snapshots: check sum"},
		"any token owns":               {down: swap("SYST:OWN? C0FFEE02", "SYST:OWN? C0FFEE01"), clause: "the owner's token"},
		"events can not be cleared":    {down: swap("STAT:EVEN:CLE 32", ""), clause: "reading events"},
		"lease from anyone":            {down: swap("ON,C0FFEE02", "ON,C0FFEE01"), clause: "the lease: by token"},
		"channel 90 has a resistance":  {down: swap("(@90)", "(@1)"), clause: "MEAS:RES?"},
		"permit by a number":           {down: swap("OUTP:PERM 1", "*CLS"), clause: "the permit is refused"},
		"a watchdog of 2 s":            {down: swap("OUTP:PERM:TIM 2,", "OUTP:PERM:TIM 0.5,"), clause: "the watchdog time"},
		"a self-test that fails":       {fault: "permit-welded", clause: "the self-test passes"},
		"a welded permit":              {fault: "permit-welded", clause: "OFF opens the permit whatever"},
		"a stuck pole":                 {fault: "button-stuck", clause: "ON closes the permit"},
		"KEEP without a number":        {down: func(s string) string { return refresh.ReplaceAllString(s, "*CLS") }, clause: "a snapshot number is used once"},
		"OFF with more behind ignored": {down: swap("OFF,1,2,3", "1"), clause: "OFF opens the permit whatever"},
		"a later watchdog":             {down: swap("OUTP:PERM:TIM 0.25,", "OUTP:PERM:TIM 0.4,"), clause: "the watchdog opens"},
		"an earlier watchdog":          {down: swap("OUTP:PERM:TIM 0.5,", "OUTP:PERM:TIM 0.3,"), clause: "the watchdog opens"},

		// Sentences about snapshots, events and counts.
		"no reference":                  {up: edit(func(s *wire.Snapshot) { s.ReferenceV = wire.Reading{} }), clause: "the reference before"},
		"a reference that stands still": {up: edit(func(s *wire.Snapshot) { s.ReferenceV = wire.Of(2.5) }), clause: "the reference before"},
		"a ground of half a volt":       {up: edit(func(s *wire.Snapshot) { s.ReferenceV.Value += 0.5 }), clause: "the reference before"},
		"inputs that stand still":       {fault: "frozen-inputs", clause: "the reference before"},
		"a number up by two":            {up: edit(func(s *wire.Snapshot) { s.Sequence *= 2 }), clause: "snapshots: check sum"},
		"a number that stands still":    {up: edit(func(s *wire.Snapshot) { s.Sequence = 7 }), clause: "snapshots: check sum"},
		"one channel too few":           {up: edit(func(s *wire.Snapshot) { s.ChannelOhm = s.ChannelOhm[1:] }), clause: "snapshots: check sum"},
		"another check sum":             {up: func(l string) string { return l[:len(l)-1] + "x" }, clause: "snapshots: check sum"},
		"reading clears events":         {down: swap("STAT:SNAP?", "STAT:SNAP?\nSTAT:EVEN:CLE 511"), clause: "reading events"},
		"no event 1":                    {up: edit(without(wire.EventWatchdog)), clause: "the watchdog opens"},
		"no event 2":                    {up: edit(without(wire.EventButtonEarly)), clause: "ON is refused with the button"},
		"no event 4":                    {up: edit(without(wire.EventKeyPulled)), clause: "the key going out"},
		"no event 32":                   {up: edit(without(wire.EventOwnerChanged)), clause: "a new owner opens"},
		"no event 64":                   {up: edit(without(wire.EventErrors)), clause: "event 64"},
		"event 64 can be cleared":       {down: swap("STAT:EVEN:CLE 64", "*CLS"), clause: "event 64"},
		"no event 128":                  {up: edit(without(wire.EventPermitLimit)), clause: "the permit opens 20 s", long: true},
		"no event 256":                  {up: edit(without(wire.EventKeyOut)), clause: "the key going out"},
		"presses are not counted":       {up: edit(func(s *wire.Snapshot) { s.Presses = 0 }), clause: "ON is refused with the button"},
		"pulses are not counted":        {up: edit(func(s *wire.Snapshot) { s.Pulses = 0 }), clause: "a pulse is counted"},
		"a tap of 3 ms is lost":         {up: edit(func(s *wire.Snapshot) { s.Presses, s.Events = 0, 0 }), clause: "ON is refused with the button"},
		"a pulse has no length":         {up: swap("1,0.", "1,9.91E37,0."), clause: "a pulse is counted"},

		// Sentences about the permit.
		"no watchdog":                     {fault: "no-watchdog", clause: "the watchdog opens"},
		"no watchdog in the self-test":    {fault: "no-watchdog", clause: "the self-test passes"},
		"no second watchdog":              {fault: "no-second-watchdog", clause: "the self-test passes"},
		"ON with the key out":             {down: ignore("OUTP:PERM ON,C0FFEE01"), clause: "the permit is refused"},
		"ON from anyone":                  {down: ignore("OUTP:PERM ON,C0FFEE02"), clause: "the permit is refused"},
		"KEEP with the permit open":       {down: ignore("OUTP:PERM:KEEP"), clause: "the permit is refused"},
		"ON that does nothing":            {down: ignore("OUTP:PERM ON"), clause: "ON closes the permit"},
		"KEEP that does nothing":          {down: ignore("OUTP:PERM:KEEP"), clause: "ON closes the permit"},
		"OFF that does nothing":           {down: ignore("OUTP:PERM OFF"), clause: "ON closes the permit"},
		"ON twice for one key":            {down: nth("OUTP:PERM ON", 2, "*CLS"), clause: "ON closes the permit"},
		"ON by an old snapshot":           {down: nth("OUTP:PERM ON", 1, "*CLS"), clause: "a snapshot number is used once"},
		"KEEP by a number twice":          {down: nth("OUTP:PERM:KEEP", 2, "*CLS"), clause: "a snapshot number is used once"},
		"KEEP by a number never sent":     {down: nth("OUTP:PERM:KEEP", 3, "*CLS"), clause: "a snapshot number is used once"},
		"KEEP from anyone":                {down: nth("OUTP:PERM:KEEP", 4, "*CLS"), clause: "a snapshot number is used once"},
		"the key does not open it":        {up: keyDoesNothing(), clause: "the key going out"},
		"a new owner does not open it":    {down: ignore("SYST:OWN C0FFEE02"), clause: "a new owner opens"},
		"ON with the button pressed":      {down: nth("OUTP:PERM ON", 1, "*CLS"), clause: "ON is refused with the button"},
		"a timer while it is closed":      {down: ignore("OUTP:PERM:TIM"), clause: "the self-test, the watchdog time"},
		"a lease while it is closed":      {down: ignore("SENS:RES:STAT ON"), clause: "the self-test, the watchdog time"},
		"a self-test while it is closed":  {down: ignore("SYST:TEST?"), clause: "the self-test, the watchdog time"},
		"a self-test with the key in":     {down: nth("SYST:TEST?", 2, "*CLS"), clause: "the self-test, the watchdog time"},
		"OFF does not break the test off": {down: ignore("OUTP:PERM OFF"), clause: "OFF breaks the self-test"},
		"permit and snapshot disagree":    {up: edit(func(s *wire.Snapshot) { s.PermitClosed = false }), clause: "ON closes the permit"},

		// Sentences about lines and measuring.
		"a byte above 127 alone":            {down: swap("*CLS\xc3\xa4", "SYST:OWN"), clause: "a byte above 127"},
		"a semicolon separates":             {down: swap("SYST:VERS?;SYST:VERS?", "SYST:VERS?"), clause: "one command a line"},
		"seven queries wait":                {down: nth("SYST:VERS?", 8, ""), clause: "eight queries"},
		"an extra parameter is taken":       {down: swap("*CLS 1", "*CLS"), clause: "a missing parameter"},
		"the oldest error is the last":      {up: swap("-109", "-113"), clause: "twenty errors"},
		"a test current of 0":               {up: swap("0.001", "0"), clause: "1 to 16 channels"},
		"pole 1 told without a current":     {up: edit(func(s *wire.Snapshot) { s.Pole1Closed = false }), clause: "INP:KEY?"},
		"pole 1 closed under the lease":     {up: edit(func(s *wire.Snapshot) { s.Pole1Closed = true }), clause: "INP:KEY?"},
		"the last reading is kept":          {up: edit(func(s *wire.Snapshot) { s.ChannelOhm[0] = wire.Of(2) }), clause: "no resistance without a lease"},
		"scans that stand still":            {up: edit(func(s *wire.Snapshot) { s.Scan = 0 }), clause: "the lease: by token"},
		"OFF does not end the lease":        {down: nth("SENS:RES:STAT OFF", 2, "*CLS"), clause: "the lease: by token"},
		"a lease without an end":            {down: nth("SENS:RES:STAT ON", 1, "SENS:RES:STAT ON,C0FFEE01"), up: edit(func(s *wire.Snapshot) { s.ChannelOhm[0] = wire.Of(2) }), clause: "the lease ends", long: true},
		"a falling range":                   {down: swap("(@2:1)", "(@1)"), clause: "MEAS:RES?"},
		"volts of a node that is not there": {down: swap("(@94)", "(@93)"), clause: "MEAS:VOLT?"},
		"STAT:FIRE? of three fields":        {up: swap("0,9.91E37,", "0,"), clause: "STAT:FIRE?"},
		"a watchdog time to four digits":    {up: swap("0.25", "0.252"), clause: "the watchdog time"},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				box := newBox(t)
				if c.fault != "" {
					f, err := practice.ParseFault(c.fault)
					if err != nil {
						t.Fatal(err)
					}
					if err := box.SetFault(f); err != nil {
						t.Fatal(err)
					}
				}
				rw, err := box.Dial(context.Background())
				if err != nil {
					t.Fatal(err)
				}
				if !slices.ContainsFunc(clauses, func(cl clause) bool { return strings.HasPrefix(cl.text, c.clause) }) {
					t.Fatalf("there is no clause %q", c.clause)
				}
				one := only(withHands(handsOf(box)), c.clause)
				findings := checkClauses(context.Background(), &liar{ReadWriteCloser: rw, down: c.down, up: c.up}, io.Discard, c.long, one)
				if tried++; Conforms(findings) {
					t.Errorf("nothing was found: %+v", findings)
				} else {
					found++
				}
			})
		})
	}
	t.Logf("boxes that break one sentence each: %d of %d are found", found, tried)
}

// edit changes every snapshot, check sum and all.
func edit(change func(*wire.Snapshot)) func(string) string {
	return func(line string) string {
		s, err := wire.ParseSnapshot(line)
		if err != nil {
			return line
		}
		change(&s)
		return s.Text()
	}
}

func without(bits wire.Event) func(*wire.Snapshot) {
	return func(s *wire.Snapshot) { s.Events &^= bits }
}

// ignore has the box take a command and do nothing.
func ignore(prefix string) func(string) string {
	return func(line string) string {
		if strings.HasPrefix(line, prefix) {
			return "*CLS"
		}
		return line
	}
}

// nth changes the nth command that begins so.
func nth(prefix string, n int, with string) func(string) string {
	return func(line string) string {
		if strings.HasPrefix(line, prefix) {
			if n--; n == 0 {
				return with
			}
		}
		return line
	}
}

// keyDoesNothing shows the permit closed for a while after the key went out.
func keyDoesNothing() func(string) string {
	closed := 0
	return edit(func(s *wire.Snapshot) {
		if s.PermitClosed {
			closed = 100
		} else if closed > 0 {
			closed--
			s.PermitClosed = true
		}
	})
}

// only picks a clause and what it rests on.
func only(clauses []clause, prefix string) []clause {
	var out []clause
	for _, cl := range clauses {
		if strings.HasPrefix(cl.text, prefix) {
			out = append(out, cl)
		}
	}
	return out
}
