/* The world around the machine, written from the box's contract: contacts,
   hands, people, cable, program. */

/* One hardware fault at a time. */
#define F_NONE     0
#define F_WELDED   1   /* the permit stays closed, and its linked contact says so */
#define F_BRIDGED  2   /* a wire over the permit: its linked contact reads open */
#define F_POLE     3   /* the button's firing pole stays closed */
#define F_KEYWIRE  4   /* a wire over the key: the switch reads out */

#define R_NOTHING 0    /* what the record says of a program that died: nothing connected */
#define R_HOOKED  1    /* igniters may be connected, below ARMED */
#define R_ARMED   2    /* ARMED or later */

bool alive, joined, stalled;
unsigned record : 2;
bool key, batt, hand, person;
unsigned fault : 3;
bool igniter;       /* connected, burned or not */
bool relay, used;
unsigned dog : 2;
bool lease, unread_pulse, unread_press;
unsigned late_on : 2;
unsigned late_keep : 2;

/* Ghosts: a pulse after which no full wait has passed; a pulse since the wait
   last stood at its full length. */
bool unwaited, dirty;

#define KEY_CLOSED    (key || fault == F_KEYWIRE)
#define PERMIT_CLOSED (relay || fault == F_WELDED || fault == F_BRIDGED)
#define POLE_CLOSED   (hand || fault == F_POLE)
#define LIVE          (batt && KEY_CLOSED && PERMIT_CLOSED && POLE_CLOSED)

hidden byte was_live, t_trip, t_weld, t_early;
hidden byte age;

/* The losses, each a name that an assertion can say. */
hidden byte current_with_a_person_forward, going_forward_without_a_full_wait, closing_without_a_full_wait;
hidden byte current_without_a_hand, line_closed_with_a_person_forward, test_current_with_a_person_forward;

/* What a change in the loop has done to the current. */
inline flow() {
	if
	:: LIVE ->
		if :: igniter -> unwaited = true; dirty = true :: else fi;
		if :: !was_live -> unread_pulse = true :: else fi
	:: else
	fi;
	current_with_a_person_forward = LIVE && person;
	assert(!current_with_a_person_forward);
	current_without_a_hand = LIVE && !was_live && !hand && igniter;
	assert(!current_without_a_hand);
	was_live = LIVE
}

/* OUTP:PERM ON as it arrives: once per insertion, key in, both poles open, of a
   fresh snapshot (R-17, R-18, R-19). */
#ifdef NO_R17
#define BOX_POLE hand
#else
#define BOX_POLE POLE_CLOSED
#endif
#ifdef NO_R18
#define BOX_USED false
#else
#define BOX_USED used
#endif

inline close_relay() { relay = true; used = true; dog = 0; lease = false }

inline arrive_on(old) {
	if
	:: key && !BOX_POLE && old <= 1 && !relay && !BOX_USED -> close_relay()
	:: else
	fi
}

/* KEEP never closes; without R-18 it is the same command as ON, which has to
   come through while the button is pressed. */
inline arrive_keep(old) {
	if
	:: key && old <= 1 && relay -> dog = 0
#ifdef NO_R18
	:: key && old <= 1 && !relay -> close_relay()
#endif
	:: else
	fi
}

inline arrive_late() {
	if :: late_on != 0 -> arrive_on(late_on - 1) :: else fi;
	if :: late_keep != 0 -> arrive_keep(late_keep - 1) :: else fi;
	late_on = 0; late_keep = 0
}

/* 0.2 s in box and cable: the watchdog's 0.5 s lie between two and three
   (R-22); bytes of a snapshot older than 0.3 s are refused whenever they come. */
inline quantum() {
	if
	:: relay ->
#ifndef NO_R22
		dog++;
		if :: dog == 3 -> relay = false; dog = 0 :: else fi
#else
		skip
#endif
	:: else
	fi;
	if :: late_on == 2 -> late_on = 0 :: late_on == 1 -> late_on = 2 :: else fi;
	if :: late_keep == 2 -> late_keep = 0 :: late_keep == 1 -> late_keep = 2 :: else fi
}

/* The snapshot that the box would send now (R-17, R-21), and the bits to be
   told after it. */
inline take_snapshot(e) {
	r_key = key; r_p2 = hand; r_p1 = POLE_CLOSED || !(key || lease);
#ifdef NO_R17
	r_p1 = hand;
#endif
	r_permit = relay || fault == F_WELDED;
	r_batt = batt; r_bk = batt && KEY_CLOSED; r_bp = r_bk && PERMIT_CLOSED; r_bus = LIVE;
	if   /* a lead may be loose; a scan may not be whole yet */
	:: lease && !LIVE && e != E_READNONE -> r_chan = (igniter && e != E_READOPEN -> C_VALUE : C_OPEN)
	:: else -> r_chan = C_NONE
	fi;
	r_pulse = unread_pulse; r_press = unread_press;
#ifdef NO_R21
	r_pulse = false; r_press = false;
#endif
	t_trip = (e == E_READTRIP); t_early = (e == E_READEARLY);   /* the box may say so at any time */
	t_weld = batt && ((fault == F_KEYWIRE && !key) || (KEY_CLOSED && !relay && PERMIT_CLOSED));
	unread_pulse = false; unread_press = false;
	skip
}

inline press() {
	if
	:: !POLE_CLOSED ->
		unread_press = true
	:: else
	fi;
	hand = true
}

/* R-25: the release after a pulse opens the permit. */
inline let_go() {
#ifndef NO_R25
	if :: LIVE -> relay = false :: else fi;
#endif
	hand = false
}

inline pull_key() {
	key = false; relay = false; used = false
}

inline wipe_machine() {
	phase = SETUP; line = L_UNKNOWN; hooked = false; inspected = false;
	a_proof = false; a_dead = false; a_shunt = false; a_off = false; a_batt = false; shunted = false;
	a_clear = 0; a_cont = 0; no_record = false; seen = S_NEVER; b_p1 = 0; b_chan = 0; b_key = false; b_p2 = false;
	b_permit = false; b_bus = false; b_batt = false; known = false; tested = false; stage = 0; p_trip = false; p_line = false;
	entry = false; key_seen = false; tries = 0; left = 0; paused = false; wanted = false; spent = false; ever = false; page = 0; hope = 0;
	wait = 0; at_rest = false; w_more = false; ohm = 0; m_shunt = false; m_fire = false; result = false; scrub = false; out = 0; pend = 0
}

/* A program that dies takes all but the record with it. Its last lines may be
   missing where nothing waited for them. */
inline die(late) {
	if
	:: out == O_REQUEST || (phase >= ARMED && !late) -> record = R_ARMED
	:: else -> record = (hooked -> R_HOOKED : R_NOTHING)
	fi;
	if :: out == O_REQUEST -> wipe_machine(); went = true :: else -> wipe_machine() fi;
	alive = false; joined = false
}

/* R-02, R-03. */
inline on_begin() {
	wipe_machine();
	remember();   /* another firing: nothing came before it */
#ifndef NO_R03
	if
	:: record == R_ARMED -> hooked = true; ever = true; go_wait()
	:: record == R_HOOKED -> hooked = true; go_wait()
	:: else -> went = false
	fi;
#endif
	alive = true; joined = false; record = R_NOTHING
}

inline world_move(e) {
	if
	:: e == E_KEYIN -> key = true
	:: e == E_KEYOUT -> pull_key()
	:: e == E_BATTON -> batt = true
	:: e == E_BATTOFF -> batt = false
	:: e == E_PRESS -> press()
	:: e == E_RELEASE -> let_go()
	:: e == E_GOES -> person = true;
		going_forward_without_a_full_wait = unwaited;
		assert(!going_forward_without_a_full_wait)
	:: e == E_COMES -> person = false
	:: e == E_CONNECT -> igniter = true
	:: e >= E_FAULT1 && e <= E_FAULT4 -> fault = e - E_FAULT1 + 1
	:: e == E_MEND -> fault = F_NONE
	:: e == E_STALLS -> stalled = true
	:: e == E_BACK ->
		arrive_late(); flow();
		if :: !wanted -> relay = false :: else fi;
		stalled = false
	:: e == E_LATEBYTES -> arrive_late()
	:: e == E_LEASEOUT -> lease = false
	:: e == E_DIES -> die(false)
	:: e == E_DIESLATE -> die(true)
	:: else
	fi
}

/* What the machine wants done, in order. */
inline play() {
	if :: fx_off && !stalled -> relay = false :: else fi;
	flow();
	age = (seen <= S_LEAD -> seen : 3);
	if
	:: fx_on && !stalled -> arrive_on(age)
	:: fx_on && stalled && age <= 1 -> late_on = 1 + age
	:: else
	fi;
	flow();
	if
	:: q_lease != LEASE && !stalled -> lease = LEASE && !PERMIT_CLOSED && !LIVE
	:: else
	fi
}

/* The ghosts' part of a machine step, before what it does in the world. */
inline ghosts() {
	if :: phase == WAIT && wait == FULL -> dirty = LIVE && igniter :: else fi;
	if :: q_phase == WAIT && phase == WAIT && q_wait > 0 && wait == 0 -> unwaited = unwaited && dirty :: else fi;
	going_forward_without_a_full_wait = unwaited && line == L_OPEN && q_line != L_OPEN;
	assert(!going_forward_without_a_full_wait);
	closing_without_a_full_wait = unwaited && phase == CLOSED && q_phase != CLOSED;
	assert(!closing_without_a_full_wait);
	line_closed_with_a_person_forward = person && line == L_CLOSED;
	assert(!line_closed_with_a_person_forward);
	if :: inspected && !q_inspected -> igniter = false :: else fi
}

/* What makes no difference is put to zero. */
inline tidy() {
	if :: !unwaited || phase != WAIT -> dirty = false :: else fi;
	if :: !hooked && !igniter && phase != WAIT -> unread_pulse = false :: else fi;
	if :: !known -> unread_pulse = false; unread_press = false :: else fi;
	if :: !relay -> dog = 0 :: else fi;
	if :: phase == RUN || phase == CLOSED || ((phase == SETUP || phase == HOLD) && line != L_OPEN) -> unread_press = false :: else fi;
	test_current_with_a_person_forward = lease && person;
	assert(!test_current_with_a_person_forward)
}

/* --- when it may happen --------------------------------------------------- */

/* While a snapshot counts, one thing at most is otherwise than it shows. */
#define MAY_SLIP (!alive || !FRESH || (b_key == key && b_batt == batt && b_p2 == hand))
/* Nobody orders the line open while the battery is joined unseen. */
#define MOVED (batt && FRESH && !b_batt)

/* R-12: the battery is joined before arming and with the line CLOSED only,
   which the screen says, and not while an order to open it is being written. */
#ifdef NO_R12
#define MAY_JOIN true
#else
#define MAY_JOIN (alive && line == L_CLOSED && phase <= READY && pend != E_OPEN && pend != E_GO)
#endif
#define MAY_READ (alive && joined && !stalled)
#define MAY_CONNECT (person && !igniter && ((alive && phase == SETUP && hooked) || (!alive && record == R_HOOKED)))
/* A contact is bridged or welded beforehand, with nothing connected yet, or
   welds in use, while it is kept closed. */
#ifdef FAULT
#define FAULTY(f) (f == FAULT)
#else
#define FAULTY(f) true
#endif
#define BEFOREHAND (fault == F_NONE && !igniter && !hooked && record == R_NOTHING && !relay && MAY_SLIP)
#define IN_USE     (fault == F_NONE && MAY_SLIP)
#ifdef NO_MEND
#define MAY_MEND false
#else
#define MAY_MEND (fault != F_NONE && !key && !batt && !hand)
#endif

inline wipe_all() {
	wipe_machine();
	alive = false; joined = false; stalled = false; record = 0; key = false; batt = false; hand = false; person = false; 
	fault = 0; igniter = 0; relay = false; used = false; dog = 0; lease = false; unread_pulse = false; unread_press = false;
	late_on = 0; late_keep = 0;
	unwaited = false; dirty = false; ev = 0; m = 0; made = 0; end_of_story = true
}
