// Package wire is the pure text layer of the ground box's protocol: lines,
// numbers, headers, channel lists, errors and snapshots, with no port, no
// clock and no goroutine. Both ends use it: the link and the practice box.
//
// What follows is the whole contract of a ground box. Whoever builds one needs
// nothing else; `holdline practice-box --check PORT` holds a box against it.
// Common commands are those of IEEE 488.2, headers are in the style of
// SCPI-1999. No command fires anything.
//
// # The box
//
// The current goes from the battery through a key switch, a permit relay and a
// spring-return button into the firing leads and through the igniters, which
// lie in parallel, each channel with a return of its own over a measuring
// switch. Key out breaks the loop by itself. The relay's contacts are
// mechanically linked, so that its read-back is true. The button has two poles:
// pole 1 in the loop, pole 2 sensed. The three contacts are independent, and
// the controller drives the relay alone, which is open without power.
//
// Two watchdogs open the relay when the laptop falls silent. The program's is
// exact (OUTPut:PERMit:TIMer). The second is of parts, shares no program, is
// fixed, and opens the relay 0.52 to 0.72 s after the last accepted ON or KEEP
// whatever the controller does.
//
// A fuse at the battery breaks a short circuit; the relay normally switches no
// current. The box senses the voltage at four nodes: battery, behind the key,
// behind the permit, bus behind the button. It is fed by USB or a cell of its
// own, never by the firing battery: 10 Mohm or more lie between USB and the
// loop, and with any one part failed at most 0.25 mA get from the controller
// into the loop, the test source under the lease apart. Resistances are
// measured one channel at a time with a test current limited by parts, under a
// lease only, with the permit open and the bus dead.
//
// # Lines
//
// 115200 baud, 8 data bits, no parity, 1 stop bit, no flow control; USB ignores
// the rate. A box may state another rate, and is opened as PORT@BAUD. All text
// is ASCII: a byte above 127 makes its line an error -113. A line ends in LF; a
// CR before it is dropped; empty lines are ignored. A line to the box has at
// most 255 bytes without its ending; a longer one is dropped whole with -363.
// Each line is one command: a semicolon separates nothing. A leading colon is
// taken. Upper-case letters of a header are its short form; the short and the
// long form are legal, in any case, and nothing between. Answers have at most
// 1023 bytes.
//
// Only queries, which end in a question mark, answer: each with one line,
// within 100 ms from the arrival of its LF (who measures that adds 10 bits for
// each byte that was sent before it). MEASure:RESistance? takes up to 100 ms a
// channel, at most 16 channels a line, SYSTem:TEST? up to 2.5 s. A query that
// fails answers nothing. While a slow one is under way commands are carried
// out, OUTPut:PERMit OFF within 5 ms of its LF whatever is queued, and queries
// without parameters wait, 8 of them at least; more of them, or one with
// parameters, may be dropped with -363. Snapshots wait too.
//
// After its port was opened a box may say nothing for 3 s, and may restart.
//
// # Numbers, channels, levels
//
// Numbers are decimal or in exponent form. 9.9E37 is open or over range, and
// 9.91E37 is not measured: what is not being taken now is that, never the last
// value. Channels are written (@1), (@1,3) or (@1:4); they are measured in the
// order given, repeats and spaces are allowed, a falling range is -222. The
// nodes are channels 90 battery, 91 bus, 92 behind the key, 93 behind the
// permit.
//
// Live is above 0.5 V, dead is below 0.1 V for 20 ms; between them a node is
// neither, and nothing is measured. A key that goes out and a pole that closes
// count at once, so that a bounce of the key in the window ends the firing; a
// key that goes in and a pole that opens, after 20 ms on end. A tap of 3 ms is
// a press.
//
// # Errors
//
// Errors queue up, 20 deep: -113 "Undefined header", -109 "Missing parameter",
// -222 "Data out of range" (a malformed or extra parameter too), -221 "Settings
// conflict", -363 "Input buffer overrun"; when the queue is full the last entry
// becomes -350 "Queue overflow". Common commands that are not named here are
// -113, *RST on purpose. ON and OFF are the only words for it; 1 and 0 are not.
//
// # Commands
//
//	*IDN?                      maker,model,serial number,version; the model of a practice box is PRACTICE
//	*CLS                       empties the error queue; events stay
//	SYSTem:ERRor?              number,"text" of the oldest error, which it takes; 0,"No error" when empty
//	SYSTem:VERSion?            1999.0
//	SYSTem:OWNer TOKEN         takes the box over, see below
//	SYSTem:OWNer? TOKEN        1 when TOKEN is the owner's, else 0
//	SYSTem:TEST? TOKEN         the self-test, see below: 0 when all of it passed
//	ROUTe:CHANnel:COUNt?       number of igniter channels, 1 to 16
//	SENSe:RESistance:CURRent?  highest test current that a bridge can see, A, with any one part failed
//	SENSe:RESistance:STATe ON,TOKEN   starts or renews the measuring lease, 5 s
//	SENSe:RESistance:STATe OFF        ends it, from anyone
//	MEASure:RESistance? CHANNELS      ohms, comma separated: all beyond the box's terminals, lead included
//	MEASure:VOLTage? CHANNEL          volts of one of the nodes 90 to 93
//	INPut:KEY?                 1 key in, 0 out
//	INPut:BUTTon?              pole 1,pole 2: each 1 closed, 0 open
//	OUTPut:PERMit ON,TOKEN,SEQUENCE    closes the relay, see below
//	OUTPut:PERMit:KEEP TOKEN,SEQUENCE  restarts both watchdogs, closes nothing
//	OUTPut:PERMit OFF          opens it: always, at once, from anyone, whatever follows the word OFF
//	OUTPut:PERMit?             1 or 0 by the relay's linked contact, which follows within 50 ms
//	OUTPut:PERMit:TIMer SECONDS,TOKEN  the program's watchdog time, 0.25 to 0.5 s
//	OUTPut:PERMit:TIMer?       what it is, s
//	STATus:SNAPshot?           everything at one moment, see below
//	STATus:EVENt:CLEar BITS    clears those events; unknown bits are -222
//	STATus:FIRE?               pulses,age,length,lowest: seconds since the last pulse began, its length (so far) in s,
//	                           the lowest battery voltage in it; 9.91E37 where there was none or after power loss
//
// A token has 8 hex digits in any case, is random for the session of one
// program and lost at a restart. A command with any other token than the
// owner's is refused. 'Refused' is -221 everywhere. 'Permit closed' in a
// refusal means commanded closed or read closed, but for SYSTem:TEST?, which
// must be able to find a weld.
//
// A new owner opens the permit, ends the lease and sets event 32, but not the
// first after power-up; it is for the new owner to clear.
//
// The lease is off after power-up. It is refused with the permit closed, with
// the bus live and while the self-test runs; ON of the permit and the self-test
// end it. Pole 1 is told by a sense current of at most 0.1 mA, which runs under
// the lease or with the key in; at other times it reads closed.
//
// The self-test makes sure that the relay opens and closes, that each of its
// switches alone does not close it, that both watchdogs trip in their times,
// and that the reference resistor reads right. It sets no event. It is refused
// with the key in or the permit commanded closed; the key going in, OFF and a
// new owner break it off: the relay opens at once and the answer is 16.
//
// # The permit
//
// ON closes the relay once for each insertion of the key that the box has seen
// since power-up: out, then in. It is refused with the key out, with either
// pole closed, while event 16 stands, for a foreign token, and for a snapshot
// number that was formed more than 0.3 s ago or was used by an accepted ON or
// KEEP. KEEP is refused likewise, and with the permit open, but not for the
// button.
//
// The program's watchdog trips never before its time and at most 20 ms after
// it, which sets event 1. Its time is 0.5 s after power-up and cannot be
// changed while the permit is closed. Whatever is sent, the relay opens 20 s
// after it closed (event 128), when the button is released after a pulse, and
// at once when the key goes out.
//
// # Snapshots
//
//	sequence,key,pole 1,pole 2,permit,battery,behind key,behind permit,bus,
//	pulses,presses,events,scan,r1,…,rN,reference,CRC
//
// (one line). A snapshot is formed in its turn, when it is answered, never
// before. The sequence counts the answers to STATus:SNAPshot?, 0 to 65535 and
// round; a practice box puts P before it, inside the CRC, but not in ON and
// KEEP. Key, poles and permit are 1 or 0, volts resolve 25 mV or better.
//
// A pulse is the bus going live, permit or not; it ends when the bus is dead or
// either pole has been open for 20 ms. A press is pole 1 closing. Both counts
// are latched to 1 ms, kept through power loss, do not wrap, and read -1 when
// unknown, until the box is serviced at the box itself: key out, battery off,
// button kept pressed for 10 s from power-up. Both are 0 then, and event 8 is
// set. Nothing on the wire does it.
//
// Scan numbers the last whole resistance scan, 0 to 65535 and round. A scan is
// one set of all channels, at most 100 ms each, taken beside the line without
// delaying it, and void when it is interrupted; r1 to rN are its values in ohm.
//
// The reference is in volts, taken by the converter of the inputs in the same
// pass: ground (0) with an even sequence, the box's own reference with an odd
// one, whose nominal value is at least 1 V. So inputs that stand still while
// the counter runs are seen. A reader takes the first value of an odd sequence
// since it took the box over as nominal, and takes nothing of a snapshot whose
// reference is more than 5 % of that away from its level: it counts as one that
// cannot be read.
//
// The CRC is [CRC16] of all before the last comma, four hex digits, any case.
//
// # Events
//
// A sum of bits; reading clears none. What still lasts comes again at once.
//
//	1    the watchdog tripped
//	2    the button closed while the permit was open (an edge)
//	4    the key was pulled while the permit was closed
//	8    the controller restarted
//	16   voltage behind an open contact, welded or bridged: a contact counts as open 20 ms after it
//	     reads open, a permit commanded open for 50 ms counts as open whatever its contact says
//	32   the owner changed
//	64   the error queue is not empty; cleared by emptying it
//	128  the permit opened by its own limit
//	256  the key was out, however short, since the last clearing
//
// After power-up: permit open, lease off, watchdog 0.5 s, no owner, event 8.
package wire
