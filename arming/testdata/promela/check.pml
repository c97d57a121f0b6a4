/* The invariants of package arming that show at this abstraction, each held on
   every step of the machine. Those not here: README.md. */

hidden byte I01, I02, I03, I04, I05, I06, I07, I08, I09, I10, I11, I12, I13, I14, I16, I17, I18, I19, I20, I21, I22, I23, I24, I25, I27, I28, I29, I34, I35;

#define STOPPED   (phase == HOLD || phase == WAIT)
#define IN_FIRING (q_phase >= READY && q_phase <= RUN)
#define CAME(p)   (phase == p && q_phase != p)
#define LEFT(p)   (q_phase == p && phase != p)
#define IN_PAUSE  (q_paused && phase == COUNT)
#define WENT_ON   (IN_PAUSE && !paused)
#define PRESSED   (BUTTON || (r_press && q_known))

inline remember() {
	q_phase = phase; q_line = line; q_left = left; q_paused = paused; q_wait = wait; q_hope = hope; q_seen = seen; q_out = out; q_lease = LEASE; q_ever = ever;
	q_hooked = hooked; q_inspected = inspected; q_entry = entry; q_wanted = wanted; q_spent = spent; q_rest = at_rest;
	q_proof = PROVED; q_known = known; asked = 0;
	fx_off = false; fx_on = false; fx_write = false; refused = false
}

inline check(e) {
	I01 = !wanted || PAST_PERMIT || (phase == PROOF && stage == ST_PERMIT && !hooked);
	assert(I01);
	I02 = (!CAME(WINDOW) || (q_phase == COUNT && !q_paused && b_key && BOTH_OPEN && seen <= S_ONE)) &&
		(!IN_PAUSE || left == q_left) && (!WENT_ON || (e == E_WRITTEN && asked == E_START));
	assert(I02);
	I03 = (!wanted || line == L_CLOSED) && (phase != WINDOW || GATES);
	assert(I03);
	I04 = !fx_on || !q_spent || !b_key;
	assert(I04);
	I05 = (!LEFT(RUN) || phase == WAIT) && (!LEFT(WINDOW) || phase == RUN || phase == WAIT) &&
		(!LEFT(WAIT) || phase == MAKESAFE || (phase == HOLD && q_hope == OPENED && !b_permit && !r_pulse && !r_press));
#ifndef NO_R01
	assert(I05);
#endif
	I06 = (!LEFT(CLOSED)) && (!CAME(CLOSED) || (q_phase == MAKESAFE && line == L_CLOSED && (!hooked || inspected))) &&
		(!ever || (phase >= WINDOW && phase <= CLOSED));
	assert(I06);
	I07 = (line != L_OPEN || ((phase == SETUP || phase == MAKESAFE || phase == CLOSED) && !wanted && !LEASE)) &&
		(line != L_OPEN || q_line == L_OPEN || (KEY_OUT && BATTERY_OFF && (PERMIT_OPEN || (asked == E_GO && !wanted)) && BUS_DEAD));
#ifndef NO_R06
	assert(I07);
#endif
	I08 = (line != L_OPEN || q_line == L_OPEN || asked == E_OPEN || asked == E_GO) && (line != L_CLOSED || q_line == L_CLOSED || e == E_COUNT);
	assert(I08);
	I09 = (phase < READY || phase > RUN || line == L_CLOSED) && (phase != WAIT || line != L_OPEN);
	assert(I09);
	I10 = !LEASE || (line == L_CLOSED && !wanted);
	assert(I10);
	I11 = e != E_HOLD || !IN_FIRING || (STOPPED && fx_off && !wanted);
	assert(I11);
	I12 = !LEFT(HOLD) || phase == SETUP || phase == READY || phase == MAKESAFE || phase == WAIT;
	assert(I12);
	I13 = (!CAME(ARMED) || (q_phase == READY && q_entry)) && ((phase != COUNT && phase != WINDOW) || key_seen);
	assert(I13);
	I14 = e != E_READ || !b_key || phase != READY;
	assert(I14);
	I16 = e != E_T_CLOCKS || (a_clear == A_NONE && a_cont == 0 && !a_proof);
	assert(I16);
	I17 = !(CAME(COUNT) || WENT_ON) || a_clear == A_GOOD;
	assert(I17);
	I18 = e != E_T_LIMIT || phase != q_phase || (phase != ARMED && !PAST_PERMIT && !paused);
	assert(I18);
	I19 = q_phase != WAIT || phase != WAIT || wait >= q_wait || (e >= E_TICK && e <= E_T_LATE && q_wait - wait == 1 && q_rest && KEY_OUT && BUS_DEAD);
#ifndef NO_R08
	assert(I19);
#endif
	I20 = phase != WAIT || wait == FULL || !(e == E_HOLD || e == E_LOST || e == E_UP || e == E_NEWBOX || e == E_STALLED ||
		e == E_MOVEMENT || e == E_TRIP || e == E_WELD || e == E_EARLY || e == E_T_GAP || e == E_T_CLOCKS);
	assert(I20);
	I21 = !CAME(WAIT) || wait == FULL;
	assert(I21);
	I22 = !CAME(MAKESAFE) || (q_phase == WAIT -> (q_wait == 0 && asked == E_GO) : !q_ever);
	assert(I22);
	I23 = !inspected || q_inspected || (asked == E_INSPECT && q_phase == MAKESAFE);
	assert(I23);
	I24 = e != E_READ || inspected == q_inspected;
	assert(I24);
	I25 = !(e == E_LOST || e == E_STALLED || e == E_FOCUS || e == E_RECFAIL || e == E_WELD || e == E_TRIP) ||
		phase == q_phase || STOPPED || phase == SETUP;
	assert(I25);
	I27 = !fx_on || (q_out != O_ZERO && out == O_NONE);
	assert(I27);
	I28 = e != E_RECFAIL || !IN_FIRING || STOPPED;
	assert(I28);
	I29 = e != E_READ || !(b_key || PRESSED) || (
		(q_phase != READY || STOPPED) && ((q_phase != ARMED && q_phase != COUNT) || !PRESSED || STOPPED) &&
		(q_phase != MAKESAFE || phase == WAIT) && (q_phase != WAIT || wait == FULL || phase == HOLD || q_hope != NO_HOPE) &&
		((q_phase != SETUP && q_phase != HOLD) || line != L_OPEN));
#ifndef NO_R08
	assert(I29);
#endif
	I34 = !hooked || q_hooked || e == E_BEGIN || q_proof;
	assert(I34);
	I35 = !refused || (phase == q_phase && line == q_line && wait == q_wait && hope == q_hope && out == q_out && wanted == q_wanted &&
		ever == q_ever && entry == q_entry && at_rest == q_rest && left == q_left && paused == q_paused && !fx_off && !fx_on && !fx_write);
	assert(I35)
}
