/* A rig for tests: it is driven by lines of text on standard input and answers
   each with a line: the bytes that it sent, and what was called.

       r HEX    bytes from the bench
       t MICROS the clock
       p        poll

   With PAGE defined it is the plain limiter of the page's examples; without, it
   makes its decisions from all of its inputs, so that none can go astray. */

#include "rig.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static rig r;
static uint32_t clock_now;
static unsigned long begins, ticks, commits, offs;
static uint8_t sent[1 << 16];
static size_t sent_n;

static uint8_t begin(void *user, const rig_start *start)
{
	(void)user;
	(void)start;
	begins++;
	return RIG_FITS;
}

static void off(void *user)
{
	(void)user;
	offs++;
}

static uint32_t micros(void *user)
{
	(void)user;
	return clock_now;
}

static void write_bytes(void *user, const uint8_t *bytes, uint16_t n)
{
	(void)user;
	memcpy(sent + sent_n, bytes, n);
	sent_n += n;
}

#ifdef PAGE

static int32_t speed;
static uint8_t cut_cycle[16], cut[16];

static void tick(void *user, const rig_input *in, int32_t *fields)
{
	(void)user;
	(void)fields;
	ticks++;
	speed = in->channels[RIG_SPEED].value;
}

static void commit(void *user, rig_event *e)
{
	(void)user;
	commits++;
	if (!e->spark) {
		cut_cycle[e->cylinder] = e->cycle;
		cut[e->cylinder] = speed >= 50000;
	}
	e->give = !(cut_cycle[e->cylinder] == e->cycle && cut[e->cylinder]);
	e->why = e->give ? RIG_WHY_GIVEN : RIG_WHY_CUT;
	e->value = e->spark ? 1000 : e->give ? 10000 : 0;
}

static const rig_facts facts = {"plain limiter", "1", 3, 1, 4, 1000, 1000000};

#else

static uint32_t mixed;

static void mix(uint32_t v) { mixed = (mixed ^ v) * 16777619u + 1; }

static int32_t drawn(void)
{
	mix(7);
	/* A few bits only: small differences are the common ones. */
	return (int32_t)(mixed >> 8 & 0xFFFF) - 0x8000;
}

static void tick(void *user, const rig_input *in, int32_t *fields)
{
	uint8_t c;

	(void)user;
	ticks++;
	mix(in->tick);
	mix(in->periods);
	mix(in->on);
	mix(in->known);
	for (c = 0; c < RIG_CHANNELS; c++) {
		mix((uint32_t)in->channels[c].value);
		mix(in->channels[c].age);
		mix(in->channels[c].good);
	}
	fields[RIG_OUT_SLOPE] = drawn() * 60000;
	fields[RIG_OUT_TIMING] = drawn() & 3;
	fields[RIG_OUT_MIXTURE] = 10000 + (drawn() & 1);
	fields[RIG_OUT_DEMAND] = drawn();
	fields[RIG_OUT_SEQUENCE] = drawn() & 255;
	fields[RIG_OUT_LOST] = drawn();
	fields[RIG_OUT_MASTER] = drawn() & 1;
	fields[RIG_OUT_STAGES + 2 * 7 + 1] = drawn();
	fields[RIG_OUT_SHOTS + 6 * 3 + 1] = drawn();
}

static void commit(void *user, rig_event *e)
{
	(void)user;
	commits++;
	mix(e->cylinder);
	mix(e->cycle);
	mix(e->spark);
	mix((uint32_t)e->angle);
	e->give = drawn() & 1;
	e->unburnt = drawn() & 1;
	e->drop = drawn() & 1;
	e->why = drawn() & 15;
	e->value = drawn() & 3;
}

static const rig_facts facts = {"a rig for tests", "0.1", 0x1FFFFF, 0x7FFF, 12, 100, 1000000};

#endif

static const rig_app app = {0, begin, tick, commit, off, micros, write_bytes};

static int digit(int c) { return c <= '9' ? c - '0' : c - 'a' + 10; }

static void receive(const char *hex)
{
	for (; hex[0] > ' ' && hex[1] > ' '; hex += 2)
		rig_receive(&r, (uint8_t)(digit(hex[0]) << 4 | digit(hex[1])));
}

static void answer(void)
{
	size_t i;

	for (i = 0; i < sent_n; i++)
		printf("%02x", sent[i]);
	printf(" %lu %lu %lu %lu\n", begins, ticks, commits, offs);
	fflush(stdout);
	sent_n = 0;
}

int main(void)
{
	static char line[1 << 16];

	rig_init(&r, &app, &facts, 0x01020304);
	while (fgets(line, sizeof line, stdin)) {
		if (line[0] == 'r')
			receive(line + 2);
		else if (line[0] == 't')
			clock_now = (uint32_t)strtoul(line + 2, 0, 10);
		else
			rig_poll(&r);
		answer();
	}
	return 0;
}
