/* Machine and world together. One move is one choice of what happens next,
   made with everything that follows from it at once. */
#include "events.pml"
#include "machine.pml"
#include "world.pml"
#include "check.pml"

#ifdef TABLE
hidden byte lease_now;
c_code {
\#include "table.h"
}
#endif

byte ev, m, made;
bool end_of_story;

#define MOST_MOVES 90

/* One step of the machine, in two halves: what is told, by kind, and what
   follows from it in machine and world. */
#ifdef TABLE
#define TABLE_BEFORE c_code { table_before(); }
#define TABLE_AFTER  lease_now = LEASE; c_code { table_after(); }
#else
#define TABLE_BEFORE skip
#define TABLE_AFTER  skip
#endif

#ifdef FOR_TABLE_ONLY
#define CHECK(e) skip
#else
#define CHECK(e) check(e)
#endif

inline tell() {
	if
	:: d_step { m <= E_LASTREQUEST || m == E_WRITTEN ->
		remember(); TABLE_BEFORE;
		if :: m == E_WRITTEN -> on_written() :: else -> on_request(m) fi }
	:: d_step { m > E_LASTREQUEST && m <= E_FOCUS || m == E_MISCOUNT ->
		remember(); TABLE_BEFORE;
		if
		:: m == E_HOLD -> on_hold_call()
		:: m == E_MOVEMENT -> on_movement()
		:: m == E_SCRUB -> on_scrub()
		:: m == E_CODEBAD -> on_code_bad()
		:: m == E_COUNT -> on_count(true)
		:: m == E_MISCOUNT -> on_count(false)
		:: m == E_WITHDRAW -> on_withdraw()
		:: m == E_RECFAIL -> no_line()
		:: m == E_STALLED || (m == E_FOCUS && FROM_ARMED) -> doubt()
		:: else
		fi }
	:: d_step { m >= E_TICK && m <= E_T_CLOCKS -> remember(); TABLE_BEFORE; on_tick(m) }
	:: d_step { m == E_READ -> remember(); TABLE_BEFORE; on_reading() }
	:: d_step { m > E_READ && m <= E_NEWBOX || m > E_WRITTEN && m <= E_EARLY || m == E_BEGIN ->
		remember(); TABLE_BEFORE;
		if
		:: m == E_LOST -> on_lost()
		:: m == E_UP -> on_box_back()
		:: m == E_NEWBOX -> on_new_box()
		:: m == E_TRIP -> on_trip()
		:: m == E_WELD -> drop_box_fault(); doubt()
		:: m == E_EARLY -> on_early()
		:: m == E_BEGIN -> on_begin()
		:: else
		fi }
	fi
}

/* What is told after one step: a line on disk at once, unless the disk is slow,
   then the bits that came with a snapshot. */
inline next_step() {
	if
#ifndef SLOW_DISK
	:: out != O_NONE -> m = E_WRITTEN
#endif
	:: else ->
		if
		:: t_trip -> m = E_TRIP; t_trip = false
		:: !t_trip && t_weld -> m = E_WELD; t_weld = false
		:: !t_trip && !t_weld && t_early -> m = E_EARLY; t_early = false
		:: else -> m = E_NONE
		fi
	fi
}

/* The move ev, whole: what it does in the world, the steps of the machine that
   follow from it, and what the driver does then. */
#define IS_READING(e) (e == E_READ || (e >= E_READTRIP && e <= E_READOPEN))

inline begin_move() {
	printf("move %d: phase %d line %d key %d battery %d hand %d relay %d person %d igniter %d fault %d unwaited %d lease %d stalled %d\n",
		ev, phase, line, key, batt, hand, relay, person, igniter, fault, unwaited, lease, stalled);
	was_live = LIVE;
	t_trip = false; t_weld = false; t_early = false; r_pulse = false; r_press = false;
	m = E_NONE;
	if
	:: ev >= E_TICK && ev <= E_T_CLOCKS ->
		quantum();
		if :: ev == E_T_GAP -> quantum(); quantum(); quantum() :: else fi;
		flow();
		if :: alive -> m = ev :: else fi
	:: IS_READING(ev) -> take_snapshot(ev); m = E_READ
	:: ev == E_STARTS -> m = E_BEGIN
	:: ev == E_LOST -> joined = false; m = ev
	:: ev == E_UP || ev == E_NEWBOX -> joined = true; m = ev
	:: ev > E_WORLD && ev < E_STARTS -> world_move(ev); flow()
	:: else -> m = ev
	fi
}

inline end_move() {
	if   /* the driver renews what is wanted */
	:: IS_READING(ev) ->
		lease = LEASE && !PERMIT_CLOSED && !LIVE;
		if
		:: ev == E_READHELD -> stalled = true; if :: wanted -> late_keep = 1 :: else fi
		:: ev != E_READHELD && wanted -> arrive_keep(0)
		:: else
		fi;
		flow()
	:: else
	fi;
	tidy();
	ev = E_NONE
}

inline move() {
	d_step { begin_move() };
	do
	:: m != E_NONE ->
		tell();
		skip;
		d_step { settle(); forget(); TABLE_AFTER; CHECK(m); ghosts(); play(); next_step() }
	:: m == E_NONE -> break
	od;
	skip;
	d_step { end_move() }
}

#ifdef REACH
/* What a crew that means well does next, from wherever it is: one way to SETUP
   is enough to show that there is one. */
#define OUT_OF_DATE (!FRESH || BUTTON || b_key != key || b_batt != batt || b_bus != LIVE || \
	b_permit != (relay || fault == F_WELDED) || ((b_chan != C_NONE) != lease) || (tested && !LEASE) || hope != NO_HOPE || unread_pulse || unread_press)
inline cooperate() {
	if
	:: stalled -> ev = E_BACK
	:: hand -> ev = E_RELEASE
	:: key -> ev = E_KEYOUT
	:: batt -> ev = E_BATTOFF
	:: MAY_MEND -> ev = E_MEND
	:: !alive -> if :: person -> ev = E_COMES :: else -> ev = E_STARTS fi
	:: else ->
		if
		:: phase == CLOSED -> ev = E_STARTS
		:: phase == PROOF || (phase >= READY && phase <= RUN) -> ev = E_HOLD
		:: else ->
			if
			:: !joined -> ev = E_UP
			:: joined && lease && !LEASE -> ev = E_LEASEOUT
			:: joined && !(lease && !LEASE) && OUT_OF_DATE -> ev = E_READ
			:: else ->
				if
				:: out != O_NONE -> ev = E_WRITTEN
				:: out == O_NONE && phase == HOLD -> ev = E_RESUME
				:: out == O_NONE && phase == WAIT ->
					if
					:: line != L_CLOSED && person -> ev = E_COMES
					:: line != L_CLOSED && !person -> ev = E_COUNT
					:: line == L_CLOSED && !at_rest -> ev = E_REST
					:: line == L_CLOSED && at_rest && wait > 0 -> ev = E_TICK
					:: else -> ev = E_GO
					fi
				:: else ->   /* MAKESAFE */
					if
					:: line == L_OPEN && hooked && !inspected && !person -> ev = E_GOES
					:: line == L_OPEN && hooked && !inspected && person -> ev = E_INSPECT
					:: line != L_CLOSED && !(line == L_OPEN && hooked && !inspected) && person -> ev = E_COMES
					:: line != L_CLOSED && !(line == L_OPEN && hooked && !inspected) && !person -> ev = E_COUNT
					:: line == L_CLOSED && hooked && !inspected -> ev = E_GO
					:: line == L_CLOSED && !(hooked && !inspected) && !m_shunt -> ev = E_SHUNTED
					:: line == L_CLOSED && !(hooked && !inspected) && m_shunt && !m_fire -> ev = E_FIRE
					:: line == L_CLOSED && !(hooked && !inspected) && m_shunt && m_fire && !result -> ev = E_RESULT
					:: else -> ev = E_ALLCLEAR
					fi
				fi
			fi
		fi
	fi
}
#endif

hidden byte SETUP_reached;

/* A world in which program and cable do not fail: enough to miss most rules. */
#ifdef NARROW
#define WIDE false
#else
#define WIDE true
#endif

/* What may happen next. With TABLE, people also ask for what cannot but be
   refused. */
#ifdef TABLE
#define OFFER(where) true
#else
#define OFFER(where) (where)
#endif

inline choose() {
	if
	:: ev = E_TICK
	:: alive && FRESH -> ev = E_T_STALE
	:: alive && a_clear == A_GOOD -> ev = E_T_SHORT
	:: alive && a_cont == 1 -> ev = E_T_CONT
	:: alive && (phase == PROOF || (phase == READY && entry) || phase == ARMED || paused || PAST_PERMIT || hope != NO_HOPE) -> ev = E_T_LIMIT
	:: alive && MAY_PAUSE -> ev = E_T_PAUSE
	:: alive -> ev = E_T_GAP
	:: alive -> ev = E_T_CLOCKS
	:: alive && !igniter && OFFER(phase == SETUP) -> ev = E_PROOF
	:: alive && !MOVED && OFFER(phase == SETUP) -> ev = E_OPEN
	:: alive && OFFER(phase == READY) -> ev = E_ENTRY
	:: alive && OFFER(phase == READY) -> ev = E_CODE
	:: alive && OFFER(phase == ARMED || paused) -> ev = E_START
	:: alive && OFFER(paused) -> ev = E_OTHERS
	:: alive && OFFER(phase == HOLD) -> ev = E_RESUME
	:: alive && OFFER(phase == WAIT) -> ev = E_REST
	:: alive && OFFER(phase == MAKESAFE) -> ev = E_SHUNTED
	:: alive && (m_shunt || !hooked || phase != MAKESAFE) && OFFER(phase == MAKESAFE) -> ev = E_FIRE
	:: alive && !MOVED && OFFER(phase == WAIT || phase == MAKESAFE) -> ev = E_GO
	:: alive && person && OFFER(phase == MAKESAFE) -> ev = E_INSPECT
	:: alive && phase != WAIT && (m_fire || phase != MAKESAFE) && OFFER(phase == MAKESAFE) -> ev = E_RESULT
	:: alive && OFFER(phase == MAKESAFE) -> ev = E_ALLCLEAR
	:: alive && OFFER(STEP_PHASE) -> ev = E_A_DEAD
	:: alive && OFFER(STEP_PHASE) -> ev = E_A_SHUNT
	:: alive && OFFER(STEP_PHASE) -> ev = E_A_OFF
	:: alive && OFFER(STEP_PHASE) -> ev = E_A_CLEAR
	:: alive && OFFER(STEP_PHASE) -> ev = E_A_CONT
	:: alive && OFFER(STEP_PHASE) -> ev = E_A_BATT
	:: alive -> ev = E_HOLD
	:: alive && OFFER(phase == WAIT || phase == MAKESAFE) -> ev = E_MOVEMENT
	:: alive -> ev = E_SCRUB
	:: alive && OFFER(phase == READY) -> ev = E_CODEBAD
	:: alive && !person -> ev = E_COUNT
	:: alive && OFFER(false) -> ev = E_MISCOUNT
	:: alive && OFFER(a_clear != A_NONE) -> ev = E_WITHDRAW
	:: alive -> ev = E_RECFAIL
	:: alive -> ev = E_STALLED
	:: alive && OFFER(FROM_ARMED) -> ev = E_FOCUS
	:: MAY_READ -> ev = E_READ
	:: MAY_READ && wanted -> ev = E_READHELD
	:: MAY_READ -> ev = E_READTRIP
	:: MAY_READ -> ev = E_READEARLY
	:: MAY_READ && lease && !LIVE -> ev = E_READNONE
	:: MAY_READ && lease && !LIVE && igniter -> ev = E_READOPEN
	:: alive && joined && WIDE -> ev = E_LOST
	:: alive && !joined && !stalled -> ev = E_UP
	:: alive && !joined && !stalled -> ev = E_NEWBOX
#ifdef SLOW_DISK
	:: alive && out != O_NONE -> ev = E_WRITTEN
	:: alive && pend != 0 -> ev = E_T_LATE
#endif
	:: !key && (MAY_SLIP || key != b_key) -> ev = E_KEYIN
	:: key && (MAY_SLIP || key != b_key) -> ev = E_KEYOUT
	:: !batt && MAY_JOIN && (MAY_SLIP || batt != b_batt) -> ev = E_BATTON
	:: batt && (MAY_SLIP || batt != b_batt) -> ev = E_BATTOFF
	:: !hand && (MAY_SLIP || hand != b_p2) -> ev = E_PRESS
	:: hand && (MAY_SLIP || hand != b_p2) -> ev = E_RELEASE
	:: alive && line == L_OPEN && !person -> ev = E_GOES
	:: person -> ev = E_COMES
	:: MAY_CONNECT -> ev = E_CONNECT
	:: FAULTY(F_WELDED) && (BEFOREHAND || (IN_USE && relay)) -> ev = E_FAULT1
	:: FAULTY(F_BRIDGED) && BEFOREHAND -> ev = E_FAULT2
	:: FAULTY(F_POLE) && (BEFOREHAND || (IN_USE && hand)) -> ev = E_FAULT3
	:: FAULTY(F_KEYWIRE) && BEFOREHAND -> ev = E_FAULT4
	:: MAY_MEND -> ev = E_MEND
	:: !stalled && WIDE && (phase == COUNT || phase == PROOF || PAST_PERMIT || lease || LEASE) -> ev = E_STALLS   /* elsewhere nothing is sent */
	:: stalled -> ev = E_BACK
	:: late_on != 0 || late_keep != 0 -> ev = E_LATEBYTES
	:: lease && (!alive || !joined || stalled || !LEASE) -> ev = E_LEASEOUT
	:: alive && phase != CLOSED && WIDE -> ev = E_DIES
	:: alive && phase >= ARMED && phase != CLOSED && WIDE -> ev = E_DIESLATE
	:: !alive || phase == CLOSED -> ev = E_STARTS
#ifdef REACH
	:: ev = E_COOPERATE
#endif
	fi
}

/* A short way: everything has been done as it should be, up to READY. */
inline from_ready() {
	d_step {
		alive = true; joined = true; phase = READY; line = L_CLOSED; hooked = true; igniter = true; a_proof = true; a_dead = true;
		a_shunt = true; a_off = true; a_batt = true; a_clear = A_GOOD; a_cont = 1; seen = S_NOW; b_p1 = P_OPEN; b_chan = C_VALUE;
		b_batt = true; batt = true; known = true; tested = true; lease = true
	}
}

active proctype firing() {
#ifdef FROM_READY
	from_ready();
#endif
	do
	:: atomic {
		!end_of_story;
		choose();
		if
		:: ev != E_COOPERATE -> move()
#ifdef REACH
		:: ev == E_COOPERATE ->
			do
			:: alive && phase == SETUP -> break
			:: !(alive && phase == SETUP) ->
				d_step {
					made++;
					SETUP_reached = (made < MOST_MOVES);
					assert(SETUP_reached);
					cooperate()
				};
				move()
			od;
			skip;
			d_step { wipe_all() }   /* what was asked is answered: nothing more from here */
#endif
		fi
	}
	:: end_of_story -> break
	od
}
