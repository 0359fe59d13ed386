/* For clang's fuzzer: any bytes at any pace must neither break memory nor leave
   the outputs on. Built with -fsanitize=fuzzer,address,undefined. The input is a
   list of commands; a frame command adds a right checksum, so that the fuzzer
   reaches what lies behind it. */

#include "rig.h"

#include <stdlib.h>
#include <string.h>

static rig r;
static uint32_t clock_now, asked_at;
static int on;

static uint8_t begin(void *user, const rig_start *start)
{
	(void)user;
	if (on)
		abort(); /* outputs must be off before a session begins */
	return start->calibration & 1 ? RIG_REFUSE_OTHER : RIG_FITS;
}

static void tick(void *user, const rig_input *in, int32_t *fields)
{
	int i;

	(void)user;
	for (i = 0; i < RIG_FIELDS; i++)
		fields[i] = in->channels[i % RIG_CHANNELS].value;
	on = 1;
	asked_at = clock_now;
}

static void commit(void *user, rig_event *e)
{
	(void)user;
	if (e->cylinder < 1 || e->cylinder > RIG_CYLINDERS || e->spark > 1)
		abort();
	e->give = 1;
	e->why = 255;
	e->value = e->angle * e->cycle;
	on = 1;
	asked_at = clock_now;
}

static void off(void *user)
{
	(void)user;
	on = 0;
}

static uint32_t micros(void *user)
{
	(void)user;
	return clock_now;
}

static void write_bytes(void *user, const uint8_t *bytes, uint16_t n)
{
	static volatile uint8_t sink;

	(void)user;
	while (n-- > 0)
		sink = *bytes++;
	(void)sink;
}

static const rig_app app = {0, begin, tick, commit, off, micros, write_bytes};
static const rig_facts facts = {"fuzz", "1", 0, 0, 12, 100, 1000000};

/* Feeds a body as a good frame, by a stuffing of its own. */
static void feed(const uint8_t *body, uint16_t n)
{
	uint8_t b[4 + 300], *frame = b + 4;
	uint32_t crc, nonce = n > 0 && (body[0] == 3 || body[0] == 5 || body[0] == 6) ? r.nonce : 0x656E6F6Eu;
	uint16_t i, at, code;
	uint8_t out[320];

	memcpy(frame, body, n);
	for (i = 0; i < 4; i++)
		b[i] = (uint8_t)(nonce >> 8 * i);
	crc = rig_crc32c(0, b, (uint16_t)(n + 4));
	for (i = 0; i < 4; i++)
		frame[n + i] = (uint8_t)(crc >> 8 * i);
	n = (uint16_t)(n + 4);
	for (i = 0, at = 1, code = 0; i < n; i++) {
		if (frame[i] != 0)
			out[at++] = frame[i];
		if (frame[i] == 0 || at - code == 255) {
			out[code] = (uint8_t)(at - code);
			code = at++;
		}
	}
	out[code] = (uint8_t)(at - code);
	for (i = 0; i < at; i++)
		rig_receive(&r, out[i]);
	rig_receive(&r, 0);
}

static void pass(uint32_t us)
{
	uint32_t i;

	for (i = 0; i < us; i += 10000) {
		clock_now += 10000;
		rig_poll(&r);
		if (on && clock_now - asked_at > 100000 && clock_now - r.last_good > 100000)
			abort(); /* outputs on after 100 ms of silence */
	}
}

/* Starts a session as a bench would. */
static void open_session(void)
{
	uint8_t b[] = {2, 0x78, 0x56, 0x34, 0x12, 0, 0, 0, 0, 1, 0, 0xE8, 3, 0, 0, 0, 0, 0, 0, 4,
		1, 3, 4, 2, 0x50, 0x46, 0x50, 0x46, 0x50, 0x46, 0x50, 0x46};
	int i;

	for (i = 0; i < 4; i++)
		b[5 + i] = (uint8_t)(r.token >> 8 * i);
	feed(b, sizeof b);
}

int LLVMFuzzerTestOneInput(const uint8_t *p, size_t n);

int LLVMFuzzerTestOneInput(const uint8_t *p, size_t n)
{
	size_t length;
	unsigned runs;

	on = 0;
	clock_now = 0;
	rig_init(&r, &app, &facts, 1);
	open_session();
	while (n >= 2) {
		length = p[1] < n - 2 ? p[1] : n - 2;
		switch (p[0] & 7) {
		case 0: /* raw bytes */
			for (; length > 0; length--, p++, n--)
				rig_receive(&r, p[2]);
			break;
		case 1:
			pass((uint32_t)p[1] * 1000);
			length = 0;
			break;
		case 2:
			open_session();
			length = 0;
			break;
		case 3: /* the step that is expected */
		{
			uint8_t b[300];

			b[0] = 3;
			b[1] = (uint8_t)r.expected;
			b[2] = (uint8_t)(r.expected >> 8);
			memcpy(b + 3, p + 2, length);
			feed(b, (uint16_t)(length + 3));
			break;
		}
		case 4: /* a long run of one byte */
			for (runs = length > 0 ? p[1] * 8u : 0; runs > 0; runs--)
				rig_receive(&r, p[2]);
			break;
		default:
			feed(p + 2, (uint16_t)length);
		}
		p += 2 + length;
		n -= 2 + length;
	}
	pass(200000);
	return 0;
}
