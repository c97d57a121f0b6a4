package practice

import "time"

// Hands are the hands at the box: the only thing that closes key and button.
// No line on the wire reaches them.
type Hands struct{ box *Box }

// Hands returns the box's hands.
func (b *Box) Hands() Hands { return Hands{b} }

// move does something by hand at the present moment.
func (h Hands) move(do func(*hardware)) {
	h.box.mu.Lock()
	defer h.box.mu.Unlock()
	h.box.catchUp()
	do(&h.box.hw)
}

// Key puts the key in or takes it out.
func (h Hands) Key(in bool) { h.move(func(hw *hardware) { hw.keyHand = in }) }

// Button presses the button or lets it go; a timed press ends as well.
func (h Hands) Button(pressed bool) {
	h.move(func(hw *hardware) { hw.button, hw.pressEnds = pressed, 0 })
}

// Press presses the button for d of device time, to the millisecond.
func (h Hands) Press(d time.Duration) {
	h.box.mu.Lock()
	defer h.box.mu.Unlock()
	h.box.catchUp()
	h.box.hw.pressEnds = h.box.ms + 1 + d.Milliseconds()
}

// Battery joins the firing battery or takes it off.
func (h Hands) Battery(joined bool) { h.move(func(hw *hardware) { hw.joined = joined }) }

// Igniters connects every igniter lead, or takes them off.
func (h Hands) Igniters(connected bool) { h.move(func(hw *hardware) { hw.connected = connected }) }

// Shunt puts the shunt on the firing lead at the box's end, or takes it off.
func (h Hands) Shunt(on bool) { h.move(func(hw *hardware) { hw.shunt = on }) }

// NewIgniters puts fresh igniters and motors in, for another firing.
func (h Hands) NewIgniters() {
	h.box.mu.Lock()
	defer h.box.mu.Unlock()
	h.box.catchUp()
	h.box.newBench()
}
