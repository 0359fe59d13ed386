#include "rig.h"

#include <string.h>

enum {
	PROBE = 0x01,
	HELLO = 0x81,
	START = 0x02,
	STARTED = 0x82,
	STEP = 0x03,
	ANSWER = 0x83,
	OFF = 0x05,
	BYE = 0x06,
	DONE = 0x85,
	ECHO_ASKED = 0x07,
	ECHOED = 0x87,
	REPORT = 0x8F
};

enum { REPORT_SEQUENCE = 1, REPORT_MALFORMED = 2, REPORT_DAMAGED = 6 };

enum { ITEM_KEY = 1, ITEM_ONLY = 2, ITEM_TICK = 4, ITEM_PERIODS = 8, ITEM_SWITCHES = 16, ITEM_AGING = 32, ITEM_ODD = 64, ITEM_EVENTS = 128 };

#if RIG_FRAME < 256 || RIG_BUFFER < RIG_FRAME || RIG_EVENTS < 1 || RIG_EVENTS > 64 || RIG_ITEMS < 1 || RIG_WINDOW < 1 || RIG_WINDOW & (RIG_WINDOW - 1)
#error "rig.h: a size is out of its range"
#endif

#define VERSION 1
#define NO_SESSION 0x656E6F6Eu /* stands for the nonce outside a session */
#define CRC_SIZE 4
#define HELLO_EVERY 250000u /* us, while idle */
#define OFF_AFTER 85000u    /* us of silence: outputs are off within 100 ms */
#define FULL_TURN 72000

/* ---- bytes out ---- */

typedef struct {
	uint8_t *at, *end;
} writer;

static void put8(writer *w, uint8_t x)
{
	if (w->at < w->end)
		*w->at++ = x;
}

static void put16(writer *w, uint16_t x)
{
	put8(w, (uint8_t)(x & 0xFF));
	put8(w, (uint8_t)(x >> 8));
}

static void put32(writer *w, uint32_t x)
{
	put16(w, (uint16_t)(x & 0xFFFF));
	put16(w, (uint16_t)(x >> 16));
}

static void put_varint(writer *w, uint32_t low, uint32_t high)
{
	while (high != 0 || low >= 0x80) {
		put8(w, (uint8_t)((low & 0x7F) | 0x80));
		low = low >> 7 | high << 25;
		high >>= 7;
	}
	put8(w, (uint8_t)low);
}

static void put_difference(writer *w, int32_t now, int32_t before)
{
	uint32_t d = (uint32_t)now - (uint32_t)before;

	put_varint(w, d << 1 ^ ((uint32_t)0 - (d >> 31)), 0);
}

static void put_text(writer *w, const char *s)
{
	uint8_t n = 0;

	while (n < RIG_TEXT && s[n] != 0)
		n++;
	put8(w, n);
	while (n-- > 0)
		put8(w, (uint8_t)*s++);
}

/* ---- bytes in ---- */

typedef struct {
	const uint8_t *at, *end;
	uint8_t bad;
} reader;

static uint8_t get8(reader *r)
{
	if (r->at == r->end) {
		r->bad = 1;
		return 0;
	}
	return *r->at++;
}

static uint16_t get16(reader *r)
{
	uint16_t low = get8(r);

	return (uint16_t)(low | (uint16_t)get8(r) << 8);
}

static uint32_t get32(reader *r)
{
	uint32_t low = get16(r);

	return low | (uint32_t)get16(r) << 16;
}

/* Reads a varint of at most so many bits; a longer one is malformed. */
static uint32_t get_varint(reader *r, uint8_t bits)
{
	uint32_t x = 0, part;
	uint8_t shift, b;

	for (shift = 0; shift < bits; shift = (uint8_t)(shift + 7)) {
		b = get8(r);
		part = b & 0x7F;
		if (bits - shift < 7 && part >> (bits - shift) != 0)
			break;
		x |= part << shift;
		if (b < 0x80)
			return x;
	}
	r->bad = 1;
	return 0;
}

static int32_t get_difference(reader *r, int32_t before)
{
	uint32_t z = get_varint(r, 32);
	uint32_t sum = (uint32_t)before + (z >> 1 ^ ((uint32_t)0 - (z & 1)));

	/* Back to signed without a conversion that C leaves open. */
	if (sum <= 0x7FFFFFFFu)
		return (int32_t)sum;
	return (int32_t)(sum - 0x80000000u) + (-0x7FFFFFFF - 1);
}

/* ---- frames ---- */

uint32_t rig_crc32c(uint32_t crc, const uint8_t *bytes, uint16_t n)
{
	uint8_t bit;

	crc = ~crc;
	while (n-- > 0) {
		crc ^= *bytes++;
		for (bit = 0; bit < 8; bit++)
			crc = crc >> 1 ^ (0x82F63B78u & ((uint32_t)0 - (crc & 1)));
	}
	return ~crc;
}

/* The nonce stands before the body in the sum, but is not sent. Outside a
   session it is the letters "none". */
static uint32_t checksum(uint32_t nonce, const uint8_t *body, uint16_t n)
{
	uint8_t b[4];
	writer w;

	w.at = b;
	w.end = b + 4;
	put32(&w, nonce != 0 ? nonce : NO_SESSION);
	return rig_crc32c(rig_crc32c(0, b, 4), body, n);
}

/* Sends a body that carries its checksum, stuffed, with the delimiter behind. */
static void send_stuffed(rig *r, const uint8_t *p, uint16_t n)
{
	uint8_t code;
	uint16_t run;

	for (;;) {
		for (run = 0; run < n && run < 254 && p[run] != 0; run++)
			;
		code = (uint8_t)(run + 1);
		r->app->write(r->app->user, &code, 1);
		if (run > 0)
			r->app->write(r->app->user, p, run);
		p += run;
		n = (uint16_t)(n - run);
		if (n == 0)
			break;
		if (run < 254) { /* a zero stands here */
			p++;
			n--;
		}
	}
	code = 0;
	r->app->write(r->app->user, &code, 1);
}

static void send_lead(rig *r)
{
	uint8_t zero = 0;

	r->app->write(r->app->user, &zero, 1);
}

/* Adds the checksum behind a body, which must have room, and sends it. */
static uint16_t send(rig *r, uint32_t nonce, uint8_t *body, uint16_t n)
{
	writer w;

	w.at = body + n;
	w.end = w.at + CRC_SIZE;
	put32(&w, checksum(nonce, body, n));
	send_stuffed(r, body, (uint16_t)(n + CRC_SIZE));
	return (uint16_t)(n + CRC_SIZE);
}

static writer small_message(rig *r, uint8_t type)
{
	writer w;

	w.at = r->small;
	w.end = r->small + sizeof r->small - CRC_SIZE;
	put8(&w, type);
	return w;
}

static void send_small(rig *r, uint32_t nonce, const writer *w)
{
	(void)send(r, nonce, r->small, (uint16_t)(w->at - r->small));
}

/* ---- short messages ---- */

static void hello(rig *r)
{
	const rig_facts *f = r->facts;
	writer w = small_message(r, HELLO);

	r->greeted = 1;
	r->last_hello = r->app->micros(r->app->user);
	put8(&w, VERSION);
	put8(&w, VERSION);
	put16(&w, (uint16_t)(RIG_OUTPUTS | 1 << 2 | 1 << 4 | 1 << 5)); /* own calibration, lockstep, paced */
	put32(&w, r->token);
	put32(&w, r->nonce);
	put32(&w, f->channels);
	put32(&w, f->switches);
	put8(&w, f->cylinders);
	put8(&w, RIG_EVENTS);
	put8(&w, RIG_ITEMS);
	put8(&w, RIG_WINDOW);
	put16(&w, RIG_FRAME);
	put16(&w, RIG_BUFFER);
	put32(&w, f->shortest_period);
	put32(&w, f->clock);
	put32(&w, 0);
	put_text(&w, f->name);
	put_text(&w, f->version);
	send_lead(r);
	send_small(r, 0, &w);
}

static void report(rig *r, uint8_t code)
{
	writer w = small_message(r, REPORT);

	put32(&w, r->nonce);
	put8(&w, code);
	put16(&w, r->expected);
	put32(&w, 0);
	send_lead(r);
	send_small(r, 0, &w);
}

static void started(rig *r, uint32_t nonce, uint8_t code, uint32_t detail)
{
	writer w = small_message(r, STARTED);

	put32(&w, nonce);
	put8(&w, code);
	put32(&w, detail);
	send_small(r, 0, &w);
}

/* ---- a session begins and ends ---- */

/* Each cylinder fires once in 720 degrees, in some order. */
static uint8_t orderly(const rig_start *s)
{
	uint32_t sum = 0;
	uint16_t seen = 0;
	uint8_t i, c;

	for (i = 0; i < s->cylinders; i++) {
		c = s->order[i];
		if (c < 1 || c > s->cylinders || (seen >> c & 1) != 0)
			return 0;
		if (s->intervals[i] == 0 && s->cylinders > 1)
			return 0;
		seen = (uint16_t)(seen | 1u << c);
		sum += s->intervals[i];
	}
	return sum == FULL_TURN || (s->cylinders == 1 && sum == 0);
}

static uint8_t judge(const rig *r, const rig_start *s, uint32_t *detail)
{
	if (s->token != r->token) {
		*detail = r->token;
		return RIG_REFUSE_TOKEN;
	}
	if (s->version != VERSION) {
		*detail = VERSION;
		return RIG_REFUSE_VERSION;
	}
	if (s->mode > 1) {
		*detail = s->mode;
		return RIG_REFUSE_MODE;
	}
	if (s->period == 0 || s->period > 0x7FFFFFFFu || s->period < r->facts->shortest_period) {
		*detail = r->facts->shortest_period;
		return RIG_REFUSE_PERIOD;
	}
	if (s->cylinders == 0 || s->cylinders > r->facts->cylinders || s->cylinders > RIG_CYLINDERS) {
		*detail = r->facts->cylinders;
		return RIG_REFUSE_CYLINDERS;
	}
	return orderly(s) ? RIG_FITS : RIG_REFUSE_ORDER;
}

static uint8_t parse_start(reader *in, rig_start *s)
{
	uint8_t i;
	uint16_t length;

	memset(s, 0, sizeof *s);
	s->nonce = get32(in);
	s->token = get32(in);
	s->version = get8(in);
	s->mode = get8(in);
	s->period = get32(in);
	s->calibration = get32(in);
	s->cylinders = get8(in);
	length = (uint16_t)(3u * s->cylinders);
	if (in->bad || in->end - in->at != (long)length || s->nonce == 0 || s->nonce == NO_SESSION)
		return 0;
	if (s->cylinders > RIG_CYLINDERS)
		return 1; /* refused for their number */
	for (i = 0; i < s->cylinders; i++)
		s->order[i] = get8(in);
	for (i = 0; i < s->cylinders; i++)
		s->intervals[i] = get16(in);
	return 1;
}

static void forget(rig *r)
{
	memset(&r->memory, 0, sizeof r->memory);
#if RIG_OUTPUTS
	memset(r->last, 0, sizeof r->last);
#endif
	r->timing = 0;
	r->mixture = 0;
}

static void begin(rig *r, uint32_t nonce)
{
	r->nonce = nonce;
	r->token = r->token * 1664525u + 1013904223u;
	r->expected = 1;
	r->answered = 0;
	r->dropped = 0;
	r->was_silent = 0;
	r->last_good = r->app->micros(r->app->user);
	forget(r);
}

static void start(rig *r, reader *in)
{
	rig_start s;
	uint8_t code;
	uint32_t detail = 0;

	if (!parse_start(in, &s)) {
		report(r, REPORT_MALFORMED);
		return;
	}
	if (r->nonce != 0 && s.nonce == r->nonce) {
		started(r, s.nonce, RIG_FITS, 0);
		return;
	}
	code = judge(r, &s, &detail);
	if (code == RIG_FITS) {
		r->app->off(r->app->user);
		r->nonce = 0;
		r->ended = 0;
		code = r->app->begin(r->app->user, &s);
	}
	if (code == RIG_FITS)
		begin(r, s.nonce);
	started(r, s.nonce, code, detail);
}

static void off(rig *r, uint8_t type)
{
	uint32_t nonce = r->nonce != 0 ? r->nonce : r->ended;
	writer w;

	r->app->off(r->app->user);
	if (type == BYE && r->nonce != 0) {
		r->ended = r->nonce;
		r->nonce = 0;
		r->greeted = 1;
		r->last_hello = r->app->micros(r->app->user);
	}
	w = small_message(r, DONE);
	put8(&w, type);
	send_small(r, nonce, &w);
}

/* ---- a step: reading ---- */

static uint32_t get_channels(reader *in)
{
	uint32_t set = get_varint(in, 32);

	if (set >> RIG_CHANNELS != 0) {
		in->bad = 1;
		return 0;
	}
	return set;
}

static void read_head(rig_memory *m, reader *in, uint8_t flags)
{
	m->tick++;
	if (flags & ITEM_TICK)
		m->tick = get32(in);
	m->periods = 1;
	if (flags & ITEM_PERIODS)
		m->periods = (uint16_t)get_varint(in, 16);
	if (flags & ITEM_SWITCHES) {
		m->on = get16(in);
		m->known = get16(in);
	}
	if (flags & ITEM_AGING)
		m->aging = get_channels(in);
}

static void read_channels(rig_memory *m, reader *in, uint8_t flags)
{
	uint32_t fresh = get_channels(in), odd = 0, age;
	uint8_t c;
	rig_sample *x = m->samples;

	for (c = 0; c < RIG_CHANNELS; c++) {
		if ((fresh >> c & 1) == 0)
			continue;
		x[c].value = get_difference(in, x[c].value);
		x[c].age = 0;
		x[c].good = 1;
	}
	if (flags & ITEM_ODD)
		odd = get_channels(in);
	if (odd & fresh)
		in->bad = 1;
	for (c = 0; c < RIG_CHANNELS; c++) {
		if (odd >> c & 1) {
			x[c].value = get_difference(in, x[c].value);
			age = get_varint(in, 17);
			x[c].age = (uint16_t)(age >> 1);
			x[c].good = (uint8_t)(age & 1);
		} else if ((m->aging & ~fresh) >> c & 1 && x[c].age < 0xFFFF) {
			x[c].age++;
		}
	}
}

static void read_event(rig_memory *m, reader *in, rig_event *e)
{
	uint8_t b = get8(in);

	memset(e, 0, sizeof *e);
	e->cylinder = b & 15;
	e->spark = b >> 4 & 1;
	if (b & 0x80 || e->cylinder < 1 || e->cylinder > RIG_CYLINDERS) {
		in->bad = 1;
		return;
	}
	e->cycle = (uint8_t)(m->cycles[e->cylinder - 1][e->spark] + 1);
	e->angle = m->angles[e->cylinder - 1][e->spark];
	if (b & 0x20)
		e->cycle = get8(in);
	if (b & 0x40)
		e->angle = (int32_t)get_varint(in, 17);
	if (e->angle >= FULL_TURN)
		in->bad = 1;
	m->cycles[e->cylinder - 1][e->spark] = e->cycle;
	m->angles[e->cylinder - 1][e->spark] = e->angle;
}

/* Reads an item up to its events and gives its flags. */
static uint8_t read_item(rig_memory *m, reader *in)
{
	uint8_t flags = get8(in);

	if (flags & ITEM_ONLY) {
		if (flags != (ITEM_ONLY | ITEM_EVENTS))
			in->bad = 1;
		return flags;
	}
	if (flags & ITEM_KEY) {
		if (!(flags & ITEM_TICK))
			in->bad = 1;
		memset(m, 0, sizeof *m);
	}
	read_head(m, in, flags);
	read_channels(m, in, flags);
	return flags;
}

static uint8_t read_count(reader *in, uint8_t flags)
{
	uint8_t n;

	if (!(flags & ITEM_EVENTS))
		return 0;
	n = get8(in);
	if (n == 0)
		in->bad = 1;
	return n;
}

/* Reads a whole step on a copy of the memory and does nothing: a malformed step
   must move nothing. */
static uint8_t well_formed(rig *r, reader in)
{
	rig_event e;
	uint16_t events = 0;
	uint8_t items = 0, n;

	memcpy(&r->check, &r->memory, sizeof r->check);
	while (in.at < in.end && !in.bad) {
		n = read_count(&in, read_item(&r->check, &in));
		items++;
		events = (uint16_t)(events + n);
		if (events > RIG_EVENTS || items > RIG_ITEMS)
			return 0;
		for (; n > 0 && !in.bad; n--)
			read_event(&r->check, &in, &e);
	}
	return items > 0 && !in.bad;
}

/* ---- a step: answering ---- */

static void answer_event(rig *r, writer *w, rig_event *e)
{
	uint8_t b;
	int32_t want;

	r->app->commit(r->app->user, e);
	b = (uint8_t)((e->why & 15) << 3 | (e->drop != 0) << 2 | (e->unburnt != 0) << 1 | (e->give != 0));
	want = e->spark ? r->timing : e->give ? r->mixture : 0;
	if (e->value == want) {
		put8(w, b);
		return;
	}
	put8(w, (uint8_t)(b | 0x80));
	put_difference(w, e->value, want);
	if (e->spark)
		r->timing = e->value;
	else if (e->give)
		r->mixture = e->value;
}

#if RIG_OUTPUTS
static void answer_outputs(rig *r, writer *w)
{
	uint32_t low = 0, high = 0;
	uint8_t i;

	for (i = 0; i < RIG_FIELDS; i++) {
		if (r->out[i] == r->last[i])
			continue;
		if (i < 32)
			low |= (uint32_t)1 << i;
		else
			high |= (uint32_t)1 << (i - 32);
	}
	put_varint(w, low, high);
	for (i = 0; i < RIG_FIELDS; i++) {
		if (r->out[i] == r->last[i])
			continue;
		put_difference(w, r->out[i], r->last[i]);
		if (i == RIG_OUT_TIMING)
			r->timing = r->out[i];
		if (i == RIG_OUT_MIXTURE)
			r->mixture = r->out[i];
		r->last[i] = r->out[i];
	}
}
#endif

static void tick(rig *r, writer *w)
{
	rig_input in;
	int32_t *fields = 0;

	in.tick = r->memory.tick;
	in.periods = r->memory.periods;
	in.on = r->memory.on;
	in.known = r->memory.known;
	in.channels = r->memory.samples;
#if RIG_OUTPUTS
	memset(r->out, 0, sizeof r->out);
	fields = r->out;
#endif
	r->app->tick(r->app->user, &in, fields);
#if RIG_OUTPUTS
	answer_outputs(r, w);
#else
	(void)w;
#endif
}

static void work(rig *r, reader *in, writer *w)
{
	rig_event e;
	uint8_t n, flags = *in->at;

	if ((flags & (ITEM_KEY | ITEM_ONLY)) == ITEM_KEY)
		forget(r);
	flags = read_item(&r->memory, in);
	if (!(flags & ITEM_ONLY))
		tick(r, w);
	for (n = read_count(in, flags); n > 0; n--) {
		read_event(&r->memory, in, &e);
		answer_event(r, w, &e);
	}
}

/* A step that was answered before is answered again, byte for byte. */
static void again(rig *r, uint16_t seq)
{
	uint16_t back = (uint16_t)(r->expected - 1 - seq);

	if (back >= r->answered) {
		report(r, REPORT_SEQUENCE);
		return;
	}
	send_lead(r);
	send_stuffed(r, r->kept[seq % RIG_WINDOW], r->kept_n[seq % RIG_WINDOW]);
}

static void step(rig *r, reader *in)
{
	uint32_t began = r->app->micros(r->app->user), took;
	uint16_t seq = get16(in);
	uint8_t *kept;
	writer w, at;

	if (seq != r->expected) {
		again(r, seq);
		return;
	}
	if (in->bad || !well_formed(r, *in)) {
		report(r, REPORT_MALFORMED);
		return;
	}
	r->dropped = 0;
	kept = r->kept[seq % RIG_WINDOW];
	w.at = kept;
	w.end = kept + RIG_ANSWER - CRC_SIZE;
	put8(&w, ANSWER);
	put16(&w, seq);
	put8(&w, (uint8_t)(r->was_silent | 2));
	at = w;
	put16(&w, 0);
	while (in->at < in->end)
		work(r, in, &w);
	took = r->app->micros(r->app->user) - began;
	put16(&at, (uint16_t)(took < 0xFFFF ? took : 0xFFFF));
	r->was_silent = 0;
	r->expected++;
	if (r->answered < RIG_WINDOW)
		r->answered++;
	r->kept_n[seq % RIG_WINDOW] = send(r, r->nonce, kept, (uint16_t)(w.at - kept));
}

/* ---- what comes in ---- */

static uint8_t in_session(uint8_t type)
{
	return type == STEP || type == ANSWER || type == OFF || type == BYE || type == DONE;
}

static void dispatch(rig *r, uint8_t *body, uint16_t n)
{
	reader in;
	uint8_t type = body[0];

	in.at = body + 1;
	in.end = body + n;
	in.bad = 0;
	switch (type) {
	case PROBE:
		if (n == 1)
			hello(r);
		break;
	case ECHO_ASKED:
		body[0] = ECHOED;
		(void)send(r, 0, body, n);
		break;
	case START:
		start(r, &in);
		break;
	case STEP:
		if (r->nonce != 0)
			step(r, &in);
		break;
	case OFF:
	case BYE:
		if (n == 1)
			off(r, type);
		break;
	default:
		break;
	}
}

/* A whole frame: body and checksum. */
static void frame(rig *r)
{
	uint16_t n = r->in_n;
	uint32_t nonce = 0;
	reader sum;

	if (n <= CRC_SIZE)
		return;
	n = (uint16_t)(n - CRC_SIZE);
	if (in_session(r->in[0]))
		nonce = r->nonce != 0 ? r->nonce : r->ended;
	sum.at = r->in + n;
	sum.end = sum.at + CRC_SIZE;
	sum.bad = 0;
	if ((in_session(r->in[0]) && nonce == 0) || checksum(nonce, r->in, n) != get32(&sum)) {
		if (r->nonce != 0)
			report(r, REPORT_DAMAGED);
		return;
	}
	if (in_session(r->in[0]))
		r->last_good = r->app->micros(r->app->user);
	dispatch(r, r->in, n);
}

static void collect(rig *r, uint8_t b)
{
	if (r->in_n == sizeof r->in) {
		r->in_bad = 1;
		return;
	}
	r->in[r->in_n++] = b;
}

/* The delimiter: a frame is whole if nothing of its last group is missing. */
static void delimited(rig *r)
{
	uint8_t whole = !r->in_bad && r->in_left == 0 && r->in_code != 0;

	r->in_bad = 0;
	r->in_left = 0;
	r->in_code = 0;
	if (whole)
		frame(r);
	r->in_n = 0;
}

void rig_receive(rig *r, uint8_t byte)
{
	if (byte == 0) {
		delimited(r);
	} else if (r->in_bad) {
		return;
	} else if (r->in_left > 0) {
		collect(r, byte);
		r->in_left--;
	} else {
		if (r->in_code != 0 && r->in_code != 0xFF)
			collect(r, 0);
		r->in_code = byte;
		r->in_left = (uint8_t)(byte - 1);
	}
}

uint32_t rig_silence(const rig *r) { return r->app->micros(r->app->user) - r->last_good; }

void rig_poll(rig *r)
{
	uint32_t now = r->app->micros(r->app->user);

	if (r->nonce != 0) {
		if (!r->dropped && now - r->last_good >= OFF_AFTER) {
			r->app->off(r->app->user);
			r->dropped = 1;
			r->was_silent = 1;
		}
		return;
	}
	if (!r->greeted || now - r->last_hello >= HELLO_EVERY)
		hello(r);
}

void rig_init(rig *r, const rig_app *app, const rig_facts *facts, uint32_t token)
{
	memset(r, 0, sizeof *r);
	r->app = app;
	r->facts = facts;
	r->token = token;
}
