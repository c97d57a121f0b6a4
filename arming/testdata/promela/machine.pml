/* The arming machine, written from the design's requirements (R-nn) and
   invariants (I-nn). README.md says how it is read and what it leaves out. */

/* Phases, in the order of the firing. HOLD stands last: it is reached from
   many. */
#define SETUP    0
#define PROOF    1
#define READY    2
#define ARMED    3
#define COUNT    4
#define WINDOW   5
#define RUN      6
#define WAIT     7
#define MAKESAFE 8
#define CLOSED   9
#define HOLD     10

/* The line. */
#define L_UNKNOWN 0
#define L_OPEN    1
#define L_CLOSED  2

/* A contact of the button's firing pole as the box tells it, a channel, and
   the age of the last snapshot: 0.2 s a quantum, 0.3 s are fresh enough for
   the permit, 2 s for all else. */
#define P_UNKNOWN 0
#define P_OPEN    1
#define P_CLOSED  2
#define C_NONE  0
#define C_OPEN  1
#define C_VALUE 2
#define S_NOW   0
#define S_ONE   1
#define S_LEAD  2
#define S_STALE 3
#define S_NEVER 4

/* Answers that age: standing, or standing but not to the end of the window. For
   the continuity, 2 is too old. */
#define A_NONE  0
#define A_GOOD  1
#define A_SHORT 2

/* Stages of the contact proof (R-16). */
#define ST_NONE     0
#define ST_KEYOUT   1
#define ST_KEYIN    2
#define ST_PERMIT   3
#define ST_WATCHDOG 4
#define ST_KEYBACK  5

/* Whether the box may still show that no pulse began (R-01). */
#define NO_HOPE 0
#define ASKED   1
#define OPENED  2

#define FULL 2      /* the wait, in quanta */

/* The count, likewise. At either of the first two quanta that end the plan may
   have a pause; the last two are what zero needs for itself (I-02). */
#define COUNT_FULL 4
#define MAY_PAUSE  (phase == COUNT && !paused && left > 2)

/* Whose record line is not on disk yet (R-36). */
#define O_NONE    0
#define O_REQUEST 1
#define O_ZERO    2
#define O_PROOF   3

/* --- what the machine keeps ------------------------------------------- */

unsigned phase : 4 = SETUP;
unsigned line : 2 = L_UNKNOWN;
bool hooked, inspected, went;

bool a_proof, a_dead, a_shunt, a_off, a_batt, shunted;
unsigned a_clear : 2;
unsigned a_cont : 2;
bool no_record;

unsigned seen : 3 = S_NEVER;
unsigned b_p1 : 2;
unsigned b_chan : 2;
bool b_key, b_p2, b_permit, b_bus, b_batt, known;
bool tested;   /* test current may flow: no snapshot since the lease was wanted shows it off */

unsigned stage : 3;
bool p_trip, p_line;

bool entry, key_seen;
unsigned tries : 2;
unsigned left : 3;
bool paused;   /* the clock stands at a built-in hold of the count */

bool wanted, spent, ever;
unsigned page : 2;
unsigned hope : 2;

unsigned wait : 2;
bool at_rest, w_more;
unsigned ohm : 2;

bool m_shunt, m_fire, result, scrub;

unsigned out : 2;
unsigned pend : 5;

/* --- of one step ------------------------------------------------------- */

hidden byte q_phase, q_line, q_wait, q_hope, q_seen, q_out;
hidden byte q_left, q_paused, q_lease, q_ever, q_hooked, q_inspected, q_entry, q_wanted, q_spent, q_rest, q_proof;
hidden byte fx_off, fx_on, fx_write, refused, passed, old_up, was_closed, q_known;
hidden byte asked;
hidden byte r_key, r_p1, r_p2, r_permit, r_batt, r_bk, r_bp, r_bus, r_pulse, r_press;
hidden byte r_chan;

/* --- facts, each fresh (R-05, R-06, R-31) ------------------------------ */

#define FRESH       (seen <= S_LEAD)
#define KEY_OUT     (FRESH && !b_key)
#define BUS_DEAD    (FRESH && !b_bus)
#define BATTERY_OFF (FRESH && !b_batt)
#define PERMIT_OPEN (FRESH && !b_permit && !wanted)
#define BUTTON      (b_p1 == P_CLOSED || b_p2)
#define BOTH_OPEN   (b_p1 == P_OPEN && !b_p2)
#define PAST_PERMIT (phase == WINDOW || phase == RUN)
#define FROM_ARMED  (phase >= ARMED && phase <= RUN)

/* Test current is wanted only with the line CLOSED, no permit, and where a
   reading is used (R-11, I-10). */
#define LEASE (line == L_CLOSED && !wanted && ( \
	(phase == PROOF && stage <= ST_KEYIN) || \
	((phase == SETUP || phase == READY || phase == ARMED || phase == COUNT) && a_off) || \
	(phase == WAIT && wait > 0)))

/* The line may open (R-06, I-07). One person may go to make safe past a permit
   that has welded: key and battery, both read off, open the loop without it. */
#ifdef NO_R06
#define MAY_OPEN true
#define MAY_GO true
#else
#define MAY_GO (KEY_OUT && BATTERY_OFF && !wanted && BUS_DEAD && !BUTTON && !tested && b_chan == C_NONE)
#define MAY_OPEN (PERMIT_OPEN && MAY_GO)
#endif
#ifdef NO_PAST_WELD
#define SENT (MAY_GO && PERMIT_OPEN)
#else
#define SENT MAY_GO
#endif

#ifdef NO_R16
#define PROVED true
#else
#define PROVED a_proof
#endif
#define DEAD_STANDS (a_dead && !(FRESH && b_bus))

/* Every gate stands, and nothing else is in the way of arming. In the window
   the continuity no longer ages: the permit has ended the lease. */
#define GATES (PROVED && DEAD_STANDS && a_shunt && line == L_CLOSED && a_off && \
	(a_clear == A_GOOD || a_clear == A_SHORT) && (a_cont == 1 || (a_cont == 2 && phase == WINDOW)) && \
	a_batt && b_batt && FRESH && hooked && !no_record && BOTH_OPEN && (wanted || !b_permit) && known)

/* --- pieces ------------------------------------------------------------- */

/* What was asked last is no longer meant; wrong codes are counted over every
   entry to arm (R-45). */
inline to_phase(p) {
	phase = p; pend = 0; out = O_NONE;
	if :: phase != SETUP && phase != PROOF && phase != READY -> tries = 0 :: else fi
}

inline disarm() { entry = false; key_seen = false; left = 0; paused = false }

inline permit_off() { wanted = false; fx_off = true }

/* Answers that an opened line, a box fault, a changed battery or a gap in time
   takes away. */
inline drop_line_opened() { a_off = false; a_clear = A_NONE; a_cont = 0; a_batt = false }
inline drop_timed()       { a_proof = false; a_dead = false; a_clear = A_NONE; a_cont = 0; a_batt = false }

inline everyone_back() {
	if
	:: line != L_UNKNOWN -> line = L_UNKNOWN; drop_line_opened()
	:: else
	fi
}

/* What rests on the box having been whole; who is forward went on the word of
   its contact proof (R-16). */
inline drop_box_fault() {
	a_proof = false; a_dead = false; a_cont = 0; a_batt = false;
	if
	:: line == L_OPEN && phase != MAKESAFE -> everyone_back()
	:: else
	fi
}

/* The wait at its full length; with it goes every hope of a shorter way. */
inline wait_full() {
	hope = NO_HOPE; wait = FULL;
	if
	:: pend == E_REST -> pend = 0; out = O_NONE
	:: else
	fi
}

/* Nobody goes forward (R-01, R-02, R-08). The permit goes first. */
inline go_wait() {
	permit_off(); disarm();
	if
	:: line == L_OPEN -> line = L_UNKNOWN
	:: else
	fi;
#ifdef NO_R01
	if
	:: PAST_PERMIT -> to_phase(HOLD); ever = false; hope = NO_HOPE; scrub = false
	:: else ->
#endif
	to_phase(WAIT);
	at_rest = false; w_more = false; ohm = C_NONE; m_shunt = false; m_fire = false;
	wait_full()
#ifdef NO_R01
	fi
#endif
}

/* Stop before any pulse; both acts are asked again (I-12). */
inline go_hold() { permit_off(); disarm(); to_phase(HOLD); scrub = false }

inline go_makesafe() { permit_off(); disarm(); to_phase(MAKESAFE); scrub = false; m_shunt = false; m_fire = false }

inline end_proof() { permit_off(); stage = ST_NONE; p_line = false; p_trip = false; to_phase(SETUP) }

/* Any doubt: the permit goes in the same step, and the phase with it. */
inline doubt() {
	if
	:: phase == PROOF -> end_proof()
	:: phase == READY || phase == ARMED || phase == COUNT -> go_hold()
	:: PAST_PERMIT || phase == MAKESAFE -> go_wait()
	:: phase == WAIT -> wait_full()
	:: else
	fi
}

/* Nobody knows whether there was a pulse: a live cluster (R-02). */
inline unknown_pulse() {
	if
	:: !hooked || phase == CLOSED -> doubt()
	:: else ->
		ever = true;
		if
		:: phase == WAIT -> wait_full()
		:: else -> go_wait()
		fi
	fi
}

inline no_line() { no_record = true; pend = 0; if :: out == O_REQUEST -> out = O_NONE :: else fi; doubt() }

/* A window in which nobody pressed, as far as is known: the box may still
   show it. */
inline leave_window() {
	if
	:: phase == WINDOW -> go_wait(); hope = ASKED
	:: else -> go_wait()
	fi;
#ifdef NO_R01
	hope = NO_HOPE
#endif
}

/* --- a snapshot --------------------------------------------------------- */

/* R-16: key, permit and button each seen open by what lies behind it, the
   watchdog seen to open the permit. */
inline proof_reading() {
	if
	:: BUTTON || b_bus || b_chan == C_VALUE -> end_proof()
	:: else ->
		if
		:: stage == ST_KEYOUT ->
			if
			:: b_key -> end_proof()
			:: !b_key && b_batt && b_chan == C_OPEN ->
				if
				:: r_bk -> end_proof()
				:: else -> stage = ST_KEYIN
				fi
			:: else
			fi
		:: stage == ST_KEYIN && b_key && r_bk ->
			if
			:: r_bp -> end_proof()
			:: !r_bp && !p_line -> p_line = true; out = O_PROOF; fx_write = true
			:: else
			fi
		:: stage == ST_PERMIT && b_permit && r_bp -> wanted = false; stage = ST_WATCHDOG  /* no OFF: the watchdog has to do it */
		:: stage == ST_WATCHDOG && !b_permit && !r_bp && p_trip -> stage = ST_KEYBACK
		:: stage == ST_KEYBACK && !b_key && !r_bk ->
			a_proof = true; stage = ST_NONE; p_line = false; p_trip = false; to_phase(SETUP)
		:: else
		fi
	fi
}

/* The permit stands only while the key is in and, in RUN, a hand keeps the
   button pressed. */
inline window_reading() {
	if
	:: !b_key -> go_wait()
	:: b_key && phase == WINDOW && (BUTTON || r_press || r_pulse) -> to_phase(RUN)
	:: b_key && phase == RUN && !BUTTON -> go_wait()
	:: else ->
		if
		:: !b_permit && wanted && page == 2 -> go_wait()
		:: else
		fi
	fi
}

/* R-01's exception, in its order; anything else ends it. */
inline hope_reading() {
	if
	:: r_pulse || r_press || !BOTH_OPEN -> wait_full()
	:: else ->
		if
		:: hope == ASKED && !b_permit -> hope = OPENED
		:: hope == OPENED && !b_permit && !b_bus -> to_phase(HOLD); hope = NO_HOPE; ever = false; wait = 0
		:: else
		fi
	fi
}

/* R-08: button, key, a live bus, another pulse, a changed channel: from full.
   What lies behind a pulled cable is held against the counts when it is back. */
inline wait_reading() {
	if
	:: hope != NO_HOPE -> hope_reading()
#ifndef NO_R08
	:: hope == NO_HOPE && (BUTTON || b_key || b_bus) -> wait_full()
#endif
	:: else ->
		if
		:: w_more && old_up -> wait_full()
		:: else
		fi;
		w_more = false;
		if
		:: b_chan != C_NONE && b_chan != ohm ->
			if
			:: ohm != C_NONE -> wait_full()
			:: else
			fi;
			ohm = b_chan
		:: else
		fi
	fi
}

/* R-13, I-14, I-29: hands where none may be. */
inline hands() {
	if
	:: phase == READY || phase == ARMED || phase == COUNT ->
		if
		:: BUTTON -> doubt()
		:: !BUTTON && phase == ARMED && b_key -> key_seen = true
		:: !BUTTON && phase == READY && b_key -> doubt()
		:: !BUTTON && !b_key && (key_seen || phase == COUNT) -> doubt()
		:: else
		fi
	:: phase == MAKESAFE && (BUTTON || b_key || b_bus) -> doubt()
	:: (phase == SETUP || phase == HOLD || phase == CLOSED) && (BUTTON || b_key || b_bus) && line == L_OPEN -> everyone_back()
	:: else
	fi
}

/* A press that the box has counted, shown closed or not (I-29). */
inline pressed() {
	if
	:: PAST_PERMIT
	:: phase == WAIT -> if :: hope == NO_HOPE -> wait_full() :: else fi
	:: phase == PROOF || phase == READY || phase == ARMED || phase == COUNT || phase == MAKESAFE -> doubt()
	:: else -> if :: line == L_OPEN -> everyone_back() :: else fi
	fi
}

inline on_reading() {
	old_up = (seen != S_NEVER);
	was_closed = b_permit && FRESH;
	seen = S_NOW;
	b_key = r_key; b_p2 = r_p2; b_permit = r_permit; b_bus = r_bus; b_chan = r_chan;
	if   /* closed is also what the box says for what it cannot tell (R-17) */
	:: !r_p1 -> b_p1 = P_OPEN
	:: r_p1 && (r_key || r_chan != C_NONE) -> b_p1 = P_CLOSED
	:: else -> b_p1 = P_UNKNOWN
	fi;
	if   /* a permit that closes though nobody wants it (R-24) */
	:: b_permit && !was_closed && !wanted && phase != PROOF -> drop_box_fault(); doubt()
	:: else
	fi;
	if :: !q_lease && r_chan == C_NONE -> tested = false :: else fi;
	if :: !r_key -> spent = false :: else fi;
	if :: r_batt != b_batt -> a_batt = false :: else fi;
	b_batt = r_batt;
#ifndef NO_R12
	if   /* R-12: the loudest notice there is */
	:: b_batt && line != L_CLOSED && phase != WAIT -> everyone_back()
	:: else
	fi;
#endif
	if   /* R-21: a pulse that nothing allowed */
	:: known && r_pulse && hooked && !PAST_PERMIT && phase != PROOF ->
		ever = true;
		if
		:: phase == WAIT -> w_more = true
		:: phase != WAIT && phase != CLOSED -> go_wait()
		:: else
		fi
	:: known && r_pulse && !hooked && phase == WAIT -> w_more = true
	:: !known && phase == WAIT -> w_more = true
	:: else
	fi;
	if :: known && r_press -> pressed() :: else fi;
	known = true;
	if
	:: phase == PROOF -> proof_reading()
	:: PAST_PERMIT -> window_reading()
	:: phase == WAIT -> wait_reading()
	:: else -> hands()
	fi;
	if   /* a live answer follows what is read; in WINDOW and RUN what stood at zero stands */
	:: a_cont != 0 && !PAST_PERMIT && b_chan == C_VALUE -> a_cont = 1
	:: a_cont != 0 && !PAST_PERMIT && b_chan == C_OPEN -> a_cont = 0
	:: else
	fi
}

/* --- the link ------------------------------------------------------------ */

/* Who is forward went on the box's word, and a dead check says nothing of what
   hands do while nobody reads. */
inline on_lost() {
	seen = S_NEVER;
	if :: !b_batt -> a_dead = false :: else fi;
	doubt();
	if :: line == L_OPEN -> everyone_back() :: else fi
}

inline on_box_back() {
	if
	:: phase == PROOF || phase == WAIT || phase == MAKESAFE || FROM_ARMED -> doubt()
	:: else
	fi
}

inline on_new_box() {
	drop_box_fault();
	if
	:: hooked -> unknown_pulse()
	:: else -> on_box_back()
	fi
}

inline on_early() {
	if
	:: phase == SETUP -> if :: line == L_OPEN -> everyone_back() :: else fi
	:: phase == PROOF || phase == CLOSED
	:: else -> doubt()
	fi
}

inline on_trip() {
	if
	:: phase == PROOF && stage == ST_WATCHDOG -> p_trip = true
	:: else -> drop_box_fault(); doubt()
	fi
}

/* --- people --------------------------------------------------------------- */

inline on_hold_call() {
	if
	:: phase == SETUP -> everyone_back()
	:: phase == PROOF -> end_proof(); everyone_back()
	:: phase == READY || phase == ARMED || phase == COUNT -> go_hold()
	:: PAST_PERMIT -> leave_window()
	:: phase == WAIT -> everyone_back(); wait_full()
	:: phase == MAKESAFE -> everyone_back(); go_wait()
	:: else
	fi
}

inline on_movement() {
	if
	:: phase == WAIT -> at_rest = false; wait_full()
	:: phase == MAKESAFE -> everyone_back(); go_wait()
	:: else -> refused = true
	fi
}

inline on_scrub() {
	if
	:: PAST_PERMIT -> go_wait()
	:: phase == WAIT || phase == MAKESAFE || phase == CLOSED || phase == PROOF -> refused = true
	:: phase == SETUP -> if :: KEY_OUT -> go_makesafe() :: else -> refused = true fi
	:: else ->
		if :: phase != HOLD -> go_hold() :: else fi;
		if :: KEY_OUT -> go_makesafe() :: else -> scrub = true fi
	fi
}

inline on_code_bad() {
	if
	:: phase == READY && entry ->
		tries++;
		if :: tries == 3 -> doubt() :: else fi
	:: else -> refused = true
	fi
}

/* The range officer's count of the names that went, or of everybody where
   nobody knows who went (R-06). */
#ifdef NO_ROLL
#define COUNTABLE (line == L_OPEN)
#else
#define COUNTABLE (line != L_CLOSED)
#endif
inline on_count(right) {
	if
	:: right && (phase == SETUP || phase == HOLD || phase == WAIT || phase == MAKESAFE) && COUNTABLE -> line = L_CLOSED; went = false
	:: else -> refused = true
	fi
}

inline on_withdraw() {
	if
	:: a_clear != A_NONE && (phase <= COUNT || phase == HOLD) -> a_clear = A_NONE; a_cont = 0
	:: else -> refused = true
	fi
}

/* Requests that go forward wait for their line on disk, and every condition
   is looked at again when it is there (R-36). */
#define STEP_PHASE (phase == SETUP || phase == READY)
#define DARK (BATTERY_OFF && KEY_OUT)

/* Answers come in the routine's order. */
#define AFTER_PROOF a_proof
#define AFTER_DEAD  (AFTER_PROOF && a_dead)
#define AFTER_SHUNT (AFTER_DEAD && a_shunt)
#define AFTER_OFF   (AFTER_SHUNT && a_off)
#define AFTER_CLEAR (AFTER_OFF && a_clear != A_NONE)
#define AFTER_CONT  (AFTER_CLEAR && a_cont != 0)

#define CLEAR_STANDS (a_clear == A_GOOD || a_clear == A_SHORT)

/* A pause ends by the firing officer alone, on answers that last, as the count
   begins (R-15). The line before zero is asked for anew. */
#ifdef NO_OWNER
#define GOES_ON(r) (r == E_START || r == E_OTHERS)
#else
#define GOES_ON(r) (r == E_START)
#endif
#ifdef NO_R15
#define LASTS true
#else
#define LASTS (a_clear == A_GOOD)
#endif

inline allowed(r) {
	passed = (
	(r == E_PROOF && phase == SETUP && !hooked && line == L_CLOSED && KEY_OUT && PERMIT_OPEN && BUS_DEAD) ||
	(r == E_OPEN && phase == SETUP && line == L_CLOSED && shunted && PROVED && DEAD_STANDS && MAY_OPEN) ||
	(r == E_ENTRY && phase == READY && !entry && !ever && GATES) ||
	(r == E_CODE && phase == READY && entry) ||
	(r == E_START && phase == ARMED && key_seen && !spent && GATES && a_clear == A_GOOD) ||
	(GOES_ON(r) && phase == COUNT && paused && GATES && LASTS) ||
	(r == E_RESUME && phase == HOLD && KEY_OUT && PERMIT_OPEN) ||
	(r == E_REST && phase == WAIT) ||
	(r == E_SHUNTED && phase == MAKESAFE) ||
	(r == E_FIRE && phase == MAKESAFE) ||
	(r == E_GO && ((phase == WAIT && wait == 0 && at_rest) || phase == MAKESAFE) && line == L_CLOSED && SENT) ||
	(r == E_INSPECT && phase == MAKESAFE && line == L_OPEN) ||
	(r == E_RESULT && (phase == MAKESAFE || phase == WAIT)) ||
	(r == E_ALLCLEAR && phase == MAKESAFE && line == L_CLOSED && KEY_OUT && BATTERY_OFF && m_fire &&
		(!hooked || (inspected && m_shunt)) && (!ever || result)) ||
	(r == E_A_DEAD && STEP_PHASE && AFTER_PROOF && line == L_CLOSED && DARK) ||
	(r == E_A_SHUNT && STEP_PHASE && AFTER_DEAD && DARK) ||
	(r == E_A_OFF && STEP_PHASE && AFTER_SHUNT && line == L_CLOSED && DARK) ||
	(r == E_A_CLEAR && STEP_PHASE && AFTER_OFF && line == L_CLOSED) ||
	(r == E_A_CONT && STEP_PHASE && AFTER_CLEAR && CLEAR_STANDS && a_off && line == L_CLOSED && KEY_OUT && b_chan == C_VALUE) ||
	(r == E_A_BATT && STEP_PHASE && AFTER_CONT && line == L_CLOSED && KEY_OUT && b_batt))
}

inline apply(r) {
	if
	:: r == E_PROOF -> a_proof = false; p_trip = false; p_line = false; to_phase(PROOF); stage = ST_KEYOUT
	:: r == E_OPEN -> line = L_OPEN; hooked = true; inspected = false; went = true; drop_line_opened()
	:: r == E_ENTRY -> entry = true
	:: r == E_CODE -> to_phase(ARMED)
	:: r == E_START && phase == ARMED -> to_phase(COUNT); left = COUNT_FULL; out = O_ZERO; fx_write = true
	:: GOES_ON(r) && phase == COUNT -> paused = false; out = O_ZERO; fx_write = true
	:: r == E_RESUME -> to_phase(SETUP)
	:: r == E_REST -> at_rest = true
	:: r == E_SHUNTED -> m_shunt = true
	:: r == E_FIRE -> m_fire = true
	:: r == E_GO ->
		if :: phase == WAIT -> go_makesafe() :: else fi;
		line = L_OPEN; went = true
	:: r == E_INSPECT -> inspected = true
	:: r == E_RESULT -> result = true
	:: r == E_ALLCLEAR -> to_phase(CLOSED)
	:: r == E_A_DEAD -> a_dead = true
	:: r == E_A_SHUNT -> a_shunt = true; shunted = true; if :: a_off -> a_off = false; a_cont = 0 :: else fi
	:: r == E_A_OFF -> a_off = true; shunted = false
	:: r == E_A_CLEAR -> a_clear = A_GOOD
	:: r == E_A_CONT -> a_cont = 1
	:: r == E_A_BATT -> a_batt = true
	:: else
	fi
}

inline on_request(r) {
	allowed(r);
	if
	:: passed && pend == 0 -> pend = r; out = O_REQUEST; fx_write = true
	:: else -> refused = true
	fi
}

inline on_written() {
	no_record = false; asked = 0;
	if
	:: out == O_REQUEST -> asked = pend; pend = 0; out = O_NONE; allowed(asked); if :: passed -> apply(asked) :: else fi
	:: else -> out = O_NONE
	fi
}

/* --- time ------------------------------------------------------------------ */

/* Zero: key in, both poles read open in the last 0.3 s, the line before zero on
   disk, every gate (I-02, I-03, I-27). The permit is the one thing that the
   program adds to two hands. */
inline zero() {
	if
	:: out == O_ZERO -> no_line()
	:: else ->
		if
		:: seen <= S_ONE && b_key && BOTH_OPEN && !spent && known && line == L_CLOSED && GATES ->
			to_phase(WINDOW); page = 0; ever = true; hope = NO_HOPE; wanted = true; spent = true; fx_on = true
		:: else -> doubt()
		fi
	fi
}

#ifdef NO_STAND
#define CLOCK_RUNS true
#else
#define CLOCK_RUNS (!paused)
#endif

inline limits() {
	if
	:: phase == PROOF -> end_proof()
	:: phase == READY && entry -> disarm()
	:: phase == ARMED -> doubt()
#ifndef NO_PAUSE_END
	:: phase == COUNT && paused -> doubt()   /* 60 s without a word */
#endif
	:: phase == WINDOW -> leave_window()
	:: phase == RUN -> go_wait()
	:: phase == WAIT && hope != NO_HOPE -> wait_full()
	:: else
	fi
}

/* A tick of one quantum, by kind: nothing else passes; or the snapshot's 2 s,
   an answer's age, the phase's own limit or the pause's, 0.5 s for the record;
   or the count comes to a pause; or the program stood still for 1.2 s; or the
   clocks parted. */
inline on_tick(kind) {
	if
	:: seen >= S_STALE
	:: seen < S_STALE && kind == E_T_STALE -> seen = S_STALE
	:: seen < S_STALE && kind == E_T_GAP -> seen = S_LEAD
	:: else -> if :: seen < S_LEAD -> seen++ :: else fi
	fi;
	if
	:: kind == E_T_SHORT && a_clear == A_GOOD -> a_clear = A_SHORT
	:: kind == E_T_CONT && a_cont == 1 -> a_cont = 2
	:: else
	fi;
	if   /* time first, then anything else (R-31, I-26) */
	:: kind == E_T_CLOCKS -> drop_timed(); doubt()
	:: kind == E_T_GAP && FROM_ARMED -> drop_timed(); doubt()
	:: kind == E_T_GAP && phase == WAIT -> wait_full()
	:: else ->
		if   /* R-08 */
#ifdef NO_R08
		:: phase == WAIT && hope == NO_HOPE && at_rest && wait > 0 -> wait--
#else
		:: phase == WAIT && hope == NO_HOPE && at_rest && KEY_OUT && BUS_DEAD && wait > 0 -> wait--
#endif
		:: else
		fi
	fi;
	if
	:: pend != 0 && (kind == E_T_LATE || kind == E_T_GAP) -> no_line()
	:: else
	fi;
	if   /* silent for too long with people forward, whoever is at fault */
	:: line == L_OPEN && !FRESH -> doubt(); if :: line == L_OPEN -> everyone_back() :: else fi
	:: else
	fi;
	if
	:: kind == E_T_LIMIT -> limits()
	:: kind == E_T_GAP && phase == PROOF && stage == ST_WATCHDOG -> end_proof()
	:: else
	fi;
	if
	:: PAST_PERMIT && page < 2 -> page++
	:: phase == COUNT && left > 0 && CLOCK_RUNS -> left--; if :: kind == E_T_PAUSE -> paused = true :: else fi
	:: else
	fi;
	if :: phase == COUNT && left == 0 -> zero() :: else fi
}

/* What follows by itself at the end of every step. */
inline settle() {
	if   /* the permit of the proof, once its line is on disk */
	:: phase == PROOF && stage == ST_KEYIN && p_line && out != O_PROOF && line == L_CLOSED && !spent && !hooked && seen <= S_ONE ->
		wanted = true; spent = true; fx_on = true; stage = ST_PERMIT
	:: phase == HOLD && scrub && KEY_OUT -> go_makesafe()
	:: else
	fi;
	if
	:: phase == SETUP && GATES && KEY_OUT -> to_phase(READY)
	:: phase == READY && !GATES -> disarm(); to_phase(SETUP)
	:: (phase == ARMED || phase == COUNT || phase == WINDOW) && !GATES -> doubt()
	:: else
	fi
}

/* What can make no difference any more is put to zero, so that fewer states
   are told apart. */
#define FORGETS (phase == RUN || phase == MAKESAFE || phase == CLOSED || (phase == WAIT && hope == NO_HOPE))

inline forget() {
	if
	:: FORGETS ->
		a_proof = false; a_dead = false; a_shunt = false; a_off = false; a_batt = false;
		a_clear = A_NONE; a_cont = 0; shunted = false; no_record = false; spent = false
	:: else
	fi;
	if :: phase == CLOSED -> seen = S_NEVER :: else fi;
	if
	:: seen >= S_STALE ->
		b_key = false; b_p1 = P_UNKNOWN; b_p2 = false; b_permit = false; b_bus = false; b_chan = C_NONE;
		if :: FORGETS -> b_batt = false :: else fi
	:: seen <= S_LEAD && !((phase == COUNT && left < 2) || (phase == PROOF && p_line)) -> seen = S_NOW
	:: else
	fi;
	if :: phase != READY -> entry = (phase >= ARMED && phase <= RUN) :: else fi;
	if :: phase != ARMED -> key_seen = (phase >= COUNT && phase <= RUN) :: else fi;
	if :: phase != COUNT -> left = 0; paused = false :: else fi;
	if :: !PAST_PERMIT -> page = 0 :: else fi;
	if :: phase != WAIT -> wait = 0; at_rest = false; w_more = false; ohm = C_NONE; hope = NO_HOPE :: else fi;
	if :: phase != MAKESAFE -> m_shunt = false; m_fire = false :: else fi;
	if :: phase != HOLD -> scrub = false :: else fi;
	if :: !hooked -> inspected = false :: else fi;
	tested = (tested || LEASE) && phase != CLOSED
}
