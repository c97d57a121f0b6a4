/* The table: every step of the machine that a search makes, each pair of what
   it was and what it is told once, written to table.bin when the search ends.
   A row is the machine's fields before, what was told, what was done, and the
   fields after, a byte each; a step that did not always come to the same is
   marked. The Go side knows the same fields in the same order. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define TABLE_READ 39   /* E_READ and E_BEGIN of events.pml */
#define TABLE_BEGIN 50
#define TABLE_FIELDS 47
#define TABLE_TOLD 3
#define TABLE_KEY (TABLE_FIELDS + TABLE_TOLD)
#define TABLE_ROW (TABLE_KEY + 1 + TABLE_FIELDS)

static unsigned char *table_rows;
static size_t *table_slots, table_room, table_used, table_taken;
static unsigned char table_row[TABLE_ROW];

static void table_write(void)
{
	FILE *f = fopen("table.bin", "wb");
	if (!f || fwrite(table_rows, TABLE_ROW, table_used, f) != table_used || fclose(f)) {
		perror("table.bin");
		_exit(9);
	}
}

static void table_take(unsigned char *f)
{
	unsigned char v[] = {
		now.phase, now.line, now.hooked, now.inspected, now.went,
		now.a_proof, now.a_dead, now.a_shunt, now.a_off, now.a_batt, now.shunted, now.a_clear, now.a_cont, now.no_record,
		now.seen, now.b_p1, now.b_chan, now.b_key, now.b_p2, now.b_permit, now.b_bus, now.b_batt, now.known, now.tested,
		now.stage, now.p_trip, now.p_line, now.entry, now.key_seen, now.tries, now.left, now.paused,
		now.wanted, now.spent, now.ever, now.page, now.hope,
		now.wait, now.at_rest, now.w_more, now.ohm,
		now.m_shunt, now.m_fire, now.result, now.scrub, now.out, now.pend };
	memcpy(f, v, TABLE_FIELDS);
}

static size_t table_slot(const unsigned char *key)
{
	size_t h = 1469598103934665603ull, i;
	for (i = 0; i < TABLE_KEY; i++)
		h = (h ^ key[i]) * 1099511628211ull;
	for (h ^= h >> 29, h &= table_taken - 1; table_slots[h]; h = (h + 1) & (table_taken - 1))
		if (!memcmp(table_rows + (table_slots[h] - 1) * TABLE_ROW, key, TABLE_KEY))
			break;
	return h;
}

static void table_grow(void)
{
	size_t i;
	if (!table_room)
		atexit(table_write);
	table_room = table_room ? 2 * table_room : 1 << 16;
	table_rows = realloc(table_rows, table_room * TABLE_ROW);
	free(table_slots);
	table_taken = 4 * table_room;
	table_slots = calloc(table_taken, sizeof *table_slots);
	if (!table_rows || !table_slots)
		_exit(9);
	for (i = 0; i < table_used; i++)
		table_slots[table_slot(table_rows + i * TABLE_ROW)] = i + 1;
}

/* Before a step: m is what is told. */
static void table_before(void)
{
	unsigned bits = 0;
	table_take(table_row);
	if (now.m == TABLE_READ)
		bits = r_key | r_p1 << 1 | r_p2 << 2 | r_permit << 3 | r_batt << 4 | r_bk << 5 | r_bp << 6 | r_bus << 7 |
			r_chan << 8 | r_pulse << 10 | r_press << 11;
	if (now.m == TABLE_BEGIN)
		bits = now.record;
	table_row[TABLE_FIELDS] = now.m;
	table_row[TABLE_FIELDS + 1] = bits & 255;
	table_row[TABLE_FIELDS + 2] = bits >> 8;
}

static void table_after(void)
{
	size_t slot;
	unsigned char *old;
	table_row[TABLE_KEY] = (fx_off != 0) | (fx_on != 0) << 1 | (fx_write != 0) << 2 | (refused != 0) << 3 | (lease_now != 0) << 4;
	table_take(table_row + TABLE_KEY + 1);
	if (table_used == table_room)
		table_grow();
	slot = table_slot(table_row);
	if (!table_slots[slot]) {
		memcpy(table_rows + table_used++ * TABLE_ROW, table_row, TABLE_ROW);
		table_slots[slot] = table_used;
		return;
	}
	old = table_rows + (table_slots[slot] - 1) * TABLE_ROW;
	if (memcmp(old, table_row, TABLE_ROW))
		old[TABLE_KEY] |= 128;
}
