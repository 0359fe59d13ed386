#include "tick.h"

#include <string.h>

enum { NO, UNKNOWN, YES };
enum { ABSENT, ACTIVE, KEPT };
enum { RATE_OPEN, RATE_RUNNING, RATE_SLOW };

#define PHASE_OF_EVENT 65536u
#define SLOPE_SHIFT 8
#define SLOPE_TICKS 8
#define MAX_PHASE (1u << 28)
#define STOPPED_BELOW (30 * RPM)
#define STOPPED_FOR 12u
#define RATE_TOLERANCE 5u
#define QUIET_WINDOWS 50u
#define MAX_SPEED (1 << 24)
#define MAX_ERROR (5000 * RPM)
#define NO_BOOST 0x7FFFFFFF
#define MAX_ANGLE_STEP 0x7FFF

typedef struct {
	const Input *in;
	const Calibration *cal;
	uint32_t dt, ok, lost, on, blind;
	int32_t speed;
	uint8_t known, seq;
	int32_t since;
	uint8_t hold, shut, open, shut_for;
	int32_t trim, start, rises[4];
	uint8_t risen;
	int32_t ramp;
} view;

static int32_t least(int32_t a, int32_t b) { return a < b ? a : b; }
static int32_t most(int32_t a, int32_t b) { return a > b ? a : b; }
static uint32_t uleast(uint32_t a, uint32_t b) { return a < b ? a : b; }
static uint32_t umost(uint32_t a, uint32_t b) { return a > b ? a : b; }
static int32_t clamp(int32_t x, int32_t low, int32_t high) { return most(low, least(x, high)); }
static int32_t size(int32_t x) { return most(x, -x); }
static uint8_t truth_of(int b) { return b ? YES : NO; }
static uint16_t add_sat(uint16_t a, uint32_t d) { return (uint16_t)uleast(a + d, 0xFFFF); }
static uint32_t distance(uint32_t a, uint32_t b) { return a > b ? a - b : b - a; }
static uint32_t count_if(int cond, uint32_t n, uint32_t dt, uint32_t limit) { return cond ? uleast(n + dt, limit) : 0; }

/* ---- inputs ---- */

static uint8_t switch_state(const view *v, uint8_t sw)
{
	if (v->on >> sw & 1)
		return YES;
	return v->blind >> sw & 1 ? UNKNOWN : NO;
}

static int value(const view *v, uint8_t c, int32_t *x)
{
	if (c >= NumChannels) {
		*x = v->since;
		return 1;
	}
	*x = v->in->Channels[c].Value;
	return v->ok >> c & 1;
}

static void judge_channels(view *v)
{
	const Calibration *cal = v->cal;
	uint32_t good = 0, left = cal->fitted & ~(1u << EngineSpeed);

	for (; left != 0; left &= left - 1) {
		int c = __builtin_ctz(left);
		const ChannelSpec *spec = &cal->Channels[c];
		const Sample *s = &v->in->Channels[c];

		if (s->Good && (uint32_t)s->Value - (uint32_t)spec->Low <= spec->span && s->Age <= spec->age)
			good |= 1u << c;
	}
	if (v->known)
		good |= 1u << EngineSpeed;
	v->ok = good;
	v->lost = cal->fitted & ~good;
}

static uint8_t term(const view *v, const Term *t)
{
	int32_t x;

	switch (t->Kind) {
	case SwitchOn:
		return switch_state(v, t->Switch);
	case SwitchOff:
		return (uint8_t)(YES - switch_state(v, t->Switch));
	case SequenceIn:
		return truth_of(t->States >> v->seq & 1);
	case Within:
		if (!value(v, t->Channel, &x))
			return UNKNOWN;
		return truth_of(t->Low <= x && x <= t->High);
	}
	return YES;
}

static uint8_t condition(const view *v, const Stage *st)
{
	const Condition *c = &st->When;
	uint8_t result = YES, any = NO, x;
	int i;

	if (st->t.plain) {
		if ((st->t.on & ~(v->on | v->blind)) != 0 || (st->t.off & v->on) != 0)
			return NO;
		return (st->t.on | st->t.off) & v->blind ? UNKNOWN : YES;
	}
	for (i = 0; i < MaxTerms && c->All[i].Kind != NoTerm; i++) {
		x = term(v, &c->All[i]);
		result = x < result ? x : result;
	}
	if (c->Any[0].Kind == NoTerm || result == NO)
		return result;
	for (i = 0; i < MaxTerms && c->Any[i].Kind != NoTerm; i++) {
		x = term(v, &c->Any[i]);
		any = x > any ? x : any;
	}
	return any < result ? any : result;
}

/* ---- tables ---- */

static int locate(const Axis *a, int32_t x, int *next, int32_t *frac)
{
	int i = 0, last = a->N - 1;
	uint32_t dx, span;

	*frac = 0;
	if (x <= a->Points[0])
		return *next = 0;
	if (x >= a->Points[last & 7])
		return *next = last;
	if (x >= a->Points[4])
		i = 4;
	if (x >= a->Points[i + 2])
		i += 2;
	if (x >= a->Points[i + 1])
		i++;
	*next = (i + 1) & 7;
	dx = (uint32_t)x - (uint32_t)a->Points[i];
	span = (uint32_t)a->Points[*next] - (uint32_t)a->Points[i];
	*frac = (int32_t)((uint64_t)dx * a->recip[i] >> (16 + 32 - __builtin_clz(span)));
	return i;
}

static int32_t blend(int32_t a, int32_t b, int32_t frac)
{
	return a + (int32_t)((((int64_t)b - a) * frac + (1 << 14)) >> 15);
}

static int32_t look_up(const Table *t, int32_t x, int32_t y)
{
	int32_t fx, fy, top;
	int c1, r1, r, c = locate(&t->Columns, x, &c1, &fx);

	if (t->Rows.N == 0)
		return blend(t->Cells[0][c], t->Cells[0][c1], fx);
	r = locate(&t->Rows, y, &r1, &fy);
	top = blend(t->Cells[r][c], t->Cells[r][c1], fx);
	if (fy == 0)
		return top;
	return blend(top, blend(t->Cells[r1][c], t->Cells[r1][c1], fx), fy);
}

static int32_t believed(const view *v, uint8_t c, int32_t x)
{
	return c < NumChannels && v->cal->Channels[c].Driven ? least(x, v->ramp) : x;
}

static int curve(const view *v, const Curve *c, int ramped, int32_t *out)
{
	const Table *t;
	int32_t x, y;
	int ok_x, ok_y;

	if (c->Table == 0) {
		*out = c->Const;
		return 1;
	}
	t = &v->cal->Tables[(c->Table - 1) % MaxTables];
	ok_x = value(v, t->Columns.Channel, &x);
	ok_y = value(v, t->Rows.Channel, &y);
	if (!ok_x || (t->Rows.N > 0 && !ok_y)) {
		*out = t->lowest;
		return 0;
	}
	if (ramped) {
		x = believed(v, t->Columns.Channel, x);
		y = believed(v, t->Rows.Channel, y);
	}
	*out = look_up(t, x, y);
	return 1;
}

static int wished(const Curve *c) { return c->Table != 0 || c->Const != 0; }

/* ---- engine speed ---- */

static uint32_t phase_of(const Engine *e, int32_t n)
{
	return n <= 0 ? 0 : (uint32_t)((uint64_t)(uint32_t)n * e->t.phaseGain >> 20);
}

static uint32_t cycle_phase(const Engine *e) { return (uint32_t)e->Cylinders * PHASE_OF_EVENT; }

static int stale(const speedState *s, const Engine *e, const Sample *x)
{
	uint64_t fine;

	if (x->Age <= e->t.staleMin || s->last <= 0)
		return 0;
	fine = (uint64_t)(uint32_t)s->last * e->t.phaseGain >> 8;
	if (fine > (uint64_t)1 << 44)
		fine = (uint64_t)1 << 44;
	return x->Age * fine > (uint64_t)(2 * PHASE_OF_EVENT) << 12;
}

static void open_rate(speedState *s)
{
	s->phase = 0;
	s->window = 0;
	s->events = 0;
	s->rate = RATE_OPEN;
}

static int disagrees(const speedState *s, uint32_t slack, int slow)
{
	uint32_t seen = s->events * PHASE_OF_EVENT;

	if (slow && seen <= s->phase)
		return 0;
	return distance(seen, s->phase) > seen / RATE_TOLERANCE + slack;
}

static void close_rate(speedState *s, const Engine *e, uint32_t per, int slow)
{
	uint32_t want = 2, slack = 2 * per;
	int missing, full, over;
	uint8_t rate = s->rate;

	if (!e->t.evenFire) {
		want = 2u * e->Cylinders;
		slack += PHASE_OF_EVENT;
	}
	missing = !slow && s->phase > want * PHASE_OF_EVENT * 2 + slack + cycle_phase(e);
	full = s->commits > 0 && s->events >= want && s->window >= e->t.windowMin;
	over = s->window > QUIET_WINDOWS * e->t.windowMin;
	if (!missing && !full && !over)
		return;
	s->doubt = (uint8_t)disagrees(s, slack, slow);
	open_rate(s);
	if (full)
		s->rate = rate;
}

static void judge_rate(speedState *s, const Engine *e, uint32_t dt, int valid)
{
	uint32_t per;
	uint8_t kind = RATE_RUNNING;

	if (!e->RateCheck || s->mode < SpeedCranking) {
		open_rate(s);
		s->doubt = 0;
		return;
	}
	if (!valid) {
		open_rate(s);
		return;
	}
	per = phase_of(e, s->last);
	if (s->mode == SpeedCranking || per == 0)
		kind = RATE_SLOW;
	if (s->mode == SpeedCranking)
		per = phase_of(e, e->CrankingBelow);
	if (s->rate != RATE_OPEN && s->rate != kind)
		open_rate(s);
	s->phase = uleast(s->phase + per * dt, MAX_PHASE);
	s->window = add_sat(s->window, dt);
	if (s->rate == RATE_OPEN && s->events > 0) {
		open_rate(s);
		s->rate = kind;
		return;
	}
	close_rate(s, e, per * dt, kind == RATE_SLOW);
}

static void follow(speedState *s, int32_t n, int fresh, uint32_t dt)
{
	int32_t gap, raw;

	s->gap = add_sat(s->gap, dt);
	if (!fresh && n == s->last)
		return;
	gap = s->gap;
	s->gap = 0;
	if (s->mode < SpeedCranking || s->mode > SpeedGood) {
		s->last = n;
		s->slope = 0;
		return;
	}
	raw = (n - s->last) * (1 << SLOPE_SHIFT);
	if (gap > 1)
		raw /= gap;
	s->slope += (raw - s->slope) * least(gap, SLOPE_TICKS) / SLOPE_TICKS;
	s->last = n;
}

static void pass(speedState *s, const Engine *e, uint32_t dt)
{
	s->since = uleast(s->since + uleast(phase_of(e, s->last) * dt, MAX_PHASE), MAX_PHASE);
}

static void move_speed(speedState *s, const Engine *e, int valid, uint32_t dt, int32_t ceiling)
{
	if (valid && s->last < e->CrankingBelow) {
		s->mode = SpeedCranking;
	} else if (valid && s->mode != SpeedWithheld) {
		s->mode = SpeedGood;
	} else if (valid) {
		pass(s, e, dt);
		if (s->since >= cycle_phase(e) && s->last < ceiling)
			s->mode = SpeedGood;
	} else if (s->mode == SpeedGood || (s->mode == SpeedCranking && s->doubt)) {
		s->mode = SpeedStanding;
		s->since = 0;
		s->decided = 0;
	} else if (s->mode == SpeedCranking) {
		s->mode = SpeedUnseen;
	} else if (s->mode == SpeedStanding) {
		pass(s, e, dt);
		if (s->since >= cycle_phase(e) || s->decided >= e->Cylinders) {
			s->mode = SpeedWithheld;
			s->since = 0;
		}
	} else if (s->mode == SpeedWithheld) {
		s->since = 0;
	}
}

static void step_speed(speedState *s, const Engine *e, const Sample *x, int valid, uint32_t dt, int32_t ceiling)
{
	valid = valid && !stale(s, e, x);
	s->idle = (uint16_t)uleast(s->idle + dt, STOPPED_FOR * e->t.staleMin);
	judge_rate(s, e, dt, valid);
	s->commits = 0;
	if (valid)
		follow(s, x->Value, x->Age == 0, dt);
	else
		s->slope = 0;
	move_speed(s, e, valid && !s->doubt, dt, ceiling);
}

static int32_t ahead(const speedState *s, int32_t angle, const Engine *e)
{
	uint32_t us, ticks;
	uint64_t rise;

	if (s->slope <= 0 || s->last < 100 * RPM)
		return 0;
	us = (uint32_t)angle * 16667u / (uint32_t)s->last;
	ticks = (uint32_t)((uint64_t)us * e->t.microQ >> 22);
	rise = (uint64_t)(uint32_t)s->slope * ticks >> (2 * SLOPE_SHIFT);
	return rise < MAX_SPEED ? (int32_t)rise : MAX_SPEED;
}

static void step_mean(cycleMean *m, const Engine *e, int32_t n, uint32_t dt)
{
	m->phase = uleast(m->phase + phase_of(e, n) * dt, MAX_PHASE);
	m->sum += (uint32_t)n * dt;
	m->ticks = add_sat(m->ticks, dt);
	m->fresh = m->phase >= cycle_phase(e) || m->ticks > 20000;
	if (m->fresh) {
		m->mean = (int32_t)(m->sum / m->ticks);
		m->phase = 0;
		m->sum = 0;
		m->ticks = 0;
	}
}

/* ---- the launch sequence ---- */

typedef struct {
	uint8_t hold, open, shut, near, entry, fail, brake;
} facts;

static void low_if(sequenceState *s, int cond, uint32_t dt, uint32_t limit)
{
	s->low = (uint16_t)count_if(cond, s->low, dt, limit);
}

static void drop_hold(sequenceState *s)
{
	s->holding = 0;
	s->near = 0;
	s->earn = 0;
}

static void enter_idle(sequenceState *s)
{
	memset(s, 0, sizeof *s);
	s->state = Idle;
	s->ready = 1;
}

static uint8_t step_idle(sequenceState *s, const Sequence *q, const facts *in, uint32_t dt)
{
	if (in->hold != YES || !s->ready) {
		int bump = s->holding && in->hold == NO;

		drop_hold(s);
		return bump ? MarkBump : 0;
	}
	if (!s->holding && !in->entry)
		return 0;
	if (s->holding)
		s->earn = (uint16_t)uleast(s->earn + dt, q->t.earn);
	s->holding = 1;
	s->near = s->near || in->near;
	if (s->earn < q->t.earn || !s->near || in->open != YES || in->fail)
		return 0;
	drop_hold(s);
	s->state = Held;
	s->low = 0;
	return MarkEarned;
}

static uint8_t step_held(sequenceState *s, const Sequence *q, const facts *in, uint32_t dt)
{
	if (in->hold == NO && !in->fail) {
		memset(s, 0, sizeof *s);
		s->state = Released;
		return MarkReleased;
	}
	low_if(s, in->open != YES, dt, q->t.abort);
	if (in->fail || in->hold == UNKNOWN || in->open == UNKNOWN || s->low >= q->t.abort) {
		s->state = Aborted;
		s->low = 0;
		return MarkAborted;
	}
	return 0;
}

static uint8_t step_released(sequenceState *s, const Sequence *q, const facts *in, uint32_t dt)
{
	s->since = uleast(s->since + dt, q->t.endAfter);
	low_if(s, in->open == NO, dt, q->t.endLift);
	if (s->low < q->t.endLift && !in->brake && s->since < q->t.endAfter)
		return 0;
	s->state = Ended;
	s->low = 0;
	return MarkEnded;
}

static uint8_t step_sequence(sequenceState *s, const Sequence *q, const facts *in, uint32_t dt)
{
	if (in->shut == YES)
		s->ready = s->ready || s->state == Idle;
	switch (s->state) {
	case Idle:
		return step_idle(s, q, in, dt);
	case Held:
		return step_held(s, q, in, dt);
	case Released:
		return step_released(s, q, in, dt);
	case Ended:
		if (in->shut == YES)
			enter_idle(s);
		break;
	case Aborted:
		low_if(s, in->hold == NO && in->shut == YES, dt, q->t.clear);
		if (s->low >= q->t.clear)
			enter_idle(s);
		break;
	}
	return 0;
}

/* ---- entering a stage ---- */

static uint16_t launch_entry(const State *s, const view *v, const Stage *st, uint8_t at)
{
	const Sequence *q = &v->cal->Sequence;
	uint16_t why = 0;
	int32_t road, ceiling;

	switch (s->sequence.state) {
	case Released:
	case Ended:
		return StageSequence;
	case Aborted:
		if (at == ABSENT)
			return StageSequence;
		break;
	case Idle:
		if (!s->sequence.ready)
			why |= StageReentry;
		break;
	}
	if (at == ACTIVE)
		return 0;
	if (!value(v, RoadSpeedMain, &road) || road > q->EntrySpeed)
		why |= StageRoadSpeed;
	(void)curve(v, &st->Ceiling, 0, &ceiling);
	if (!v->known || v->speed > ceiling + s->trim + q->EntryAbove)
		why |= StageTooFast;
	return why;
}

static uint16_t entry(const State *s, const view *v, const Stage *st, const stageState *x)
{
	if (st->Kind == Launch)
		return launch_entry(s, v, st, x->presence);
	return st->Kind == AfterRelease && s->sequence.state != Released ? StageSequence : 0;
}

static void release(State *s, const Calibration *cal)
{
	int i;
	uint32_t ticks = cal->Sequence.t.ret;

	for (i = 0; i < MaxStages; i++)
		s->stages[i].latched = 0;
	s->timing.back = ticks > 0 ? (uint16_t)(((uint32_t)size(s->timing.dev) + ticks - 1) / ticks) : 0;
	s->ramp = 0;
}

static uint8_t move_sequence(State *s, view *v)
{
	const Calibration *cal = v->cal;
	facts in = {0, 0, 0, 0, 0, 0, 0};
	uint8_t marks;
	int by_foot;

	if (cal->Sequence.Hold == HoldNone)
		return 0;
	in.hold = v->hold;
	in.open = v->open;
	in.shut = v->shut;
	by_foot = cal->Sequence.Hold == HoldFootBrake || cal->Sequence.Hold == HoldBrakePressure;
	in.brake = (!by_foot || s->sequence.since >= cal->Sequence.t.reapply) && switch_state(v, FootBrake) == YES;
	in.fail = s->speed.mode != SpeedGood;
	if (cal->launch < MaxStages) {
		const stageState *x = &s->stages[cal->launch];

		in.fail = in.fail || x->presence == KEPT || (x->expired && x->presence == ACTIVE);
		in.entry = s->sequence.state == Idle && (x->presence == ACTIVE || entry(s, v, &cal->Stages[cal->launch], x) == 0);
		in.near = v->known && x->presence == ACTIVE && v->speed >= x->ceiling - cal->Sequence.EarnWithin;
	}
	marks = step_sequence(&s->sequence, &cal->Sequence, &in, v->dt);
	v->seq = s->sequence.state;
	v->since = s->sequence.state == Idle ? 0 : (int32_t)((uint64_t)s->sequence.since * cal->Sequence.t.millisQ >> 16);
	if (marks & MarkReleased)
		release(s, cal);
	return marks;
}

/* ---- stages ---- */

static int held(const Stage *st)
{
	return st->Kind == Burnout || st->Kind == Launch || (st->Kind == User && !st->Moving);
}

static int trimmed(const Stage *st) { return st->Kind == Launch || st->Kind == AfterRelease; }

static int32_t step_of(int32_t per, uint32_t dt) { return (int32_t)uleast((uint32_t)per * dt, 1u << 30); }

static int32_t slew(int32_t from, int32_t to, int32_t up, int32_t down, uint32_t dt)
{
	int32_t d = to - from;

	if (d > 0 && up > 0)
		return from + least(d, step_of(up, dt));
	if (d < 0 && down > 0)
		return from - least(-d, step_of(down, dt));
	return to;
}

static int32_t stays_down(stageState *s, const Stage *st, const view *v, int32_t n)
{
	int32_t throttle;
	int ok;

	if (!st->StaysDown || st->Ceiling.Table == 0 || v->hold == NO) {
		s->fallen = MAX_SPEED;
		return n;
	}
	ok = value(v, Throttle, &throttle);
	if (ok && throttle <= s->fellAt - v->cal->Sequence.Comeback)
		s->fallen = MAX_SPEED;
	if (n < s->fallen) {
		s->fallen = n;
		s->fellAt = (int16_t)clamp(throttle, 0, 0x7FFF);
	}
	return s->fallen;
}

static int32_t target(stageState *s, const Stage *st, const view *v)
{
	int32_t n;
	int ok = curve(v, &st->Ceiling, st->RampLimit > 0, &n);

	if (st->Kind == Main)
		return st->Ceiling.Table != 0 ? least(n, st->Ceiling.Const) : n;
	if (trimmed(st))
		n += v->trim;
	return ok ? stays_down(s, st, v, n) : s->ceiling;
}

static uint16_t cooling_mark(const stageState *s) { return s->expired ? StageCooling : 0; }

static uint16_t keep(stageState *s, const view *v)
{
	if (v->shut_for) {
		s->presence = ABSENT;
		return StageCondition;
	}
	return (uint16_t)(StageKept | (s->expired ? StageGuard : 0));
}

static uint16_t enter(stageState *s, const Stage *st, const view *v)
{
	if (s->presence == ACTIVE)
		return 0;
	s->presence = ACTIVE;
	s->fallen = MAX_SPEED;
	s->fellAt = 0;
	s->ceiling = target(s, st, v);
	if (st->t.slewUp > 0 && v->start < s->ceiling)
		s->ceiling = v->start;
	return cooling_mark(s);
}

static uint16_t stay(stageState *s, const Stage *st, const view *v, uint8_t when, uint16_t why, int lost)
{
	why &= StageSequence;
	if (when == NO)
		why |= StageCondition;
	if (why != 0) {
		s->presence = ABSENT;
		return why;
	}
	if (held(st) && (lost || when == UNKNOWN || (s->expired && v->hold == YES))) {
		s->presence = KEPT;
		return keep(s, v);
	}
	if (s->expired && !held(st) && v->hold == NO) {
		s->presence = ABSENT;
		return StageCooling;
	}
	return cooling_mark(s);
}

static uint16_t place(stageState *s, const Stage *st, const view *v, uint8_t when, uint16_t bar)
{
	int lost;

	if (st->Kind == Main)
		return enter(s, st, v);
	lost = (st->t.needs & v->lost) != 0 || (st->t.needsSw & v->blind) != 0;
	if (s->presence == KEPT)
		return keep(s, v);
	if (s->presence == ACTIVE)
		return stay(s, st, v, when, bar, lost);
	s->spent = s->spent && when == YES;
	if (when == NO || when == UNKNOWN || lost) {
		s->qualify = 0;
		return when == NO ? StageCondition : StageInputLost;
	}
	if (s->spent)
		return StageWholeLimit;
	if (bar != 0) {
		s->qualify = 0;
		return bar;
	}
	if (s->expired && !held(st))
		return StageCooling;
	s->qualify = (uint16_t)uleast(s->qualify + v->dt, st->t.qualify);
	if (s->qualify < st->t.qualify)
		return StageQualifying;
	return enter(s, st, v);
}

static void leave(stageState *s)
{
	uint32_t heat = s->heat;
	uint8_t expired = s->expired, spent = s->spent;

	memset(s, 0, sizeof *s);
	s->heat = heat;
	s->expired = expired;
	s->spent = spent;
	s->ceiling = MAX_SPEED;
}

static int wants_rest(const view *v, uint32_t needs)
{
	int c;

	for (c = 0; c < NumChannels; c++)
		if ((needs & v->lost) >> c & 1 && v->cal->Channels[c].OnLoss == LossRest)
			return 1;
	return 0;
}

static int32_t rest(stageState *s, const Stage *st, const view *v, int32_t *want)
{
	int32_t next = s->ceiling, raw;

	if (!curve(v, &st->Ceiling, st->RampLimit > 0, &raw))
		next = least(next, raw + (trimmed(st) ? v->trim : 0));
	if (st->RestTo == 0 || st->RestTo >= next || !wants_rest(v, st->t.needs))
		return *want = next;
	*want = st->RestTo;
	return slew(next, st->RestTo, 0, st->t.restSlew, v->dt);
}

static uint16_t step_stage(stageState *s, const Stage *st, const view *v, uint8_t when, uint16_t bar, int32_t *want)
{
	uint8_t was = s->presence;
	uint16_t why = place(s, st, v, when, bar);

	if (s->presence == ABSENT) {
		if (was != ABSENT)
			leave(s);
		*want = MAX_SPEED;
		return why;
	}
	if (s->presence == KEPT) {
		s->ceiling = rest(s, st, v, want);
	} else {
		*want = target(s, st, v);
		s->ceiling = slew(s->ceiling, *want, st->t.slewUp, st->t.slewDown, v->dt);
	}
	return why;
}

static void move_trim(State *s, const view *v)
{
	const Engine *e = &v->cal->Engine;
	int32_t x;

	if (s->ceiling != MAX_SPEED && v->hold != NO && v->cal->Sequence.Hold != HoldNone && s->sequence.state != Released)
		return;
	if (!value(v, SurfaceTrim, &x)) {
		s->trim = 0;
		return;
	}
	s->trim = clamp(clamp(x, -1000, 1000) * e->TrimStep, -e->TrimMax, e->TrimMax);
}

static void move_ramp(State *s, const view *v)
{
	int32_t x;

	if (s->sequence.state != Released || v->cal->rampStep == 0)
		return;
	if (value(v, v->cal->rampChannel, &x))
		s->ramp = most(s->ramp, least(x, s->ramp + step_of(v->cal->rampStep, v->dt)));
}

static void move_stages(State *s, view *v, Output *out)
{
	const Calibration *cal = v->cal;
	int i, frozen = s->speed.mode >= SpeedStanding;

	move_trim(s, v);
	move_ramp(s, v);
	v->trim = s->trim;
	v->ramp = s->ramp;
	v->start = s->ceiling;
	v->shut_for = s->shutFor >= cal->Sequence.t.loss;
	for (i = 0; i < cal->stages; i++) {
		const Stage *st = &cal->Stages[i];
		stageState *x = &s->stages[i];
		uint8_t when;
		uint16_t bar = 0;

		if (st->Kind == NoStage)
			continue;
		if (frozen && st->Kind != Main) {
			out->StageInhibits[i] = StageSpeed;
			out->StageCeiling[i] = x->ceiling;
			continue;
		}
		when = condition(v, st);
		if (x->presence == ACTIVE || (x->presence == ABSENT && when != NO))
			bar = entry(s, v, st, x);
		out->StageInhibits[i] = step_stage(x, st, v, when, bar, &out->StageCeiling[i]);
	}
}

/* ---- limiters ---- */

static int latch(stageState *s, int32_t n, int32_t hysteresis)
{
	if (n >= s->ceiling)
		s->latched = 1;
	else if (n < s->ceiling - hysteresis)
		s->latched = 0;
	return s->latched;
}

static int32_t soft(int32_t n, int32_t ceiling, int32_t band)
{
	int32_t over = n - (ceiling - band);

	if (over <= 0)
		return 0;
	return over >= band ? FullDemand : over * FullDemand / band;
}

static void integrate(stageState *s, int32_t step, int32_t p)
{
	int32_t sum = s->integral + p;

	if ((step > 0 && sum >= FullDemand) || (step < 0 && sum <= 0))
		return;
	s->integral = (uint16_t)clamp(s->integral + step, 0, FullDemand);
}

static int32_t regulate(stageState *s, const Cut *c, cycleMean *m, int32_t n, int32_t now)
{
	int was = s->latched;
	int32_t err, p;

	if (!latch(s, n, c->Hysteresis)) {
		s->integral = 0;
		return 0;
	}
	if (!was) {
		s->integral = (uint16_t)c->Preset;
		memset(m, 0, sizeof *m);
		m->mean = s->ceiling;
	}
	if (now >= s->ceiling + c->Band)
		return FullDemand;
	err = clamp(m->mean - s->ceiling, -MAX_ERROR, MAX_ERROR);
	p = c->Gain * err / RPM;
	if (m->fresh && was)
		integrate(s, c->Integral * err / RPM, p);
	return clamp(s->integral + p, 0, FullDemand);
}

static int32_t demand(stageState *s, const Cut *c, cycleMean *m, int32_t n, int32_t now)
{
	switch (c->Style) {
	case Soft:
		return soft(n, s->ceiling, c->Band);
	case Hard:
		return latch(s, n, c->Hysteresis) ? c->Depth : 0;
	case WholeEngine:
		return latch(s, n, c->Hysteresis) ? FullDemand : 0;
	case Regulate:
		return regulate(s, c, m, n, now);
	}
	return 0;
}

/* ---- arbitration ---- */

typedef struct {
	uint8_t set, absolute, rich;
	int32_t dev, in, out, mixture, boost;
} wishes;

static int32_t delay(const Engine *e, uint8_t m)
{
	if (m == Fuel)
		return e->FuelDelay;
	return m == Spark ? e->SparkDelay : most(e->FuelDelay, e->SparkDelay);
}

static int32_t rise(const State *s, view *v, uint8_t m)
{
	if ((v->risen >> m & 1) == 0) {
		v->rises[m & 3] = ahead(&s->speed, delay(&v->cal->Engine, m), &v->cal->Engine);
		v->risen = (uint8_t)(v->risen | 1 << m);
	}
	return v->rises[m & 3];
}

static int32_t stage_demand(State *s, view *v, const Stage *st, stageState *x, uint8_t m)
{
	int32_t n = v->speed;

	if (s->speed.mode != SpeedGood)
		return 0;
	if (st->Cut.Anticipate)
		n += rise(s, v, m);
	return demand(x, &st->Cut, &s->mean, n, v->speed);
}

static int consider_timing(wishes *w, const stageState *s, const Stage *st, const view *v, int32_t base)
{
	const Timing *t = &st->Timing;
	int absolute = t->Mode == TimingAbsolute;
	int32_t dev;

	if (t->Mode == TimingBase)
		return 0;
	if (t->NearBand > 0 && (!v->known || v->speed < s->ceiling - t->NearBand))
		return 0;
	if (!curve(v, &t->Angle, st->RampLimit > 0, &dev))
		return 0;
	if (absolute)
		dev -= base;
	if (!w->set || dev < w->dev) {
		w->set = 1;
		w->absolute = (uint8_t)absolute;
		w->dev = dev;
		w->in = st->t.slewIn;
		w->out = st->t.slewOut;
	}
	return base + dev < 0;
}

static void warm(stageState *s, const Stage *st, int hot, uint32_t dt)
{
	uint64_t cold;

	if (st->t.heatFull == 0)
		return;
	if (hot) {
		s->heat = uleast(s->heat + st->t.heatUp * dt, st->t.heatFull);
		s->expired = s->expired || s->heat == st->t.heatFull;
		return;
	}
	cold = (uint64_t)st->t.heatDown * dt;
	s->heat -= cold < s->heat ? (uint32_t)cold : s->heat;
	if (s->heat == 0)
		s->expired = 0;
}

static void limit_whole(stageState *s, const Stage *st, const view *v, int cutting)
{
	if (!cutting) {
		s->whole = 0;
		return;
	}
	s->whole = (uint16_t)uleast(s->whole + v->dt, st->t.whole);
	if (s->whole < st->t.whole)
		return;
	if (held(st)) {
		s->presence = KEPT;
	} else if (v->hold == NO) {
		s->spent = 1;
		leave(s);
	}
}

static void consider(State *s, view *v, int i, Output *out, wishes *w)
{
	const Stage *st = &v->cal->Stages[i];
	stageState *x = &s->stages[i];
	int32_t want = out->StageCeiling[i], d, y;
	uint8_t medium = st->Cut.Medium;
	int late = 0;

	out->Active = (uint8_t)(out->Active | 1 << i);
	out->StageCeiling[i] = x->ceiling;
	if (x->ceiling < out->Ceiling) {
		out->Ceiling = x->ceiling;
		out->Stage = (uint8_t)i;
	}
	out->Target = least(out->Target, least(x->ceiling, want));
	if (medium == Spark && (x->expired || x->presence == KEPT) && v->cal->Engine.Fuel == FuelSequential)
		medium = Fuel;
	d = stage_demand(s, v, st, x, medium);
	if (d > 0)
		out->Medium |= medium;
	if (d > out->Demand) {
		out->Demand = d;
		out->CutStage = (uint8_t)i;
	}
	if (st->Cut.Style == WholeEngine && st->Kind != Main)
		limit_whole(x, st, v, d == FullDemand);
	if (x->presence == ACTIVE && !x->expired && !(st->Kind == Launch && v->seq == Aborted)) {
		late = consider_timing(w, x, st, v, out->Base);
		if (wished(&st->Mixture) && curve(v, &st->Mixture, 0, &y) && (!w->rich || y > w->mixture)) {
			w->rich = 1;
			w->mixture = y;
		}
	}
	warm(x, st, d > 0 || late || (v->open != NO && st->Kind != Main), v->dt);
	if (wished(&st->Boost)) {
		if (!curve(v, &st->Boost, st->RampLimit > 0, &y))
			y = v->cal->Engine.BoostMin;
		w->boost = least(w->boost, y);
	}
}

static int towards_zero(int32_t from, int32_t to) { return size(from) > size(to); }

static void step_timing(timingState *s, const wishes *w, uint32_t dt)
{
	int32_t from = s->dev, to = w->dev, rate = s->out;

	if (w->set) {
		s->absolute = w->absolute;
		s->out = (uint16_t)least(w->out, MAX_ANGLE_STEP);
		rate = towards_zero(from, to) ? w->out : w->in;
	}
	if (s->back > 0 && towards_zero(from, to))
		rate = s->back;
	s->dev = (int16_t)slew(from, to, rate, rate, dt);
	if (s->dev == to) {
		s->back = 0;
		s->absolute = s->absolute && w->set;
	}
}

static int32_t boost(const view *v, int32_t wish)
{
	const Engine *e = &v->cal->Engine;
	int32_t x;

	if (v->lost >> ManifoldPressure & 1)
		return e->BoostMin;
	if (wish != NO_BOOST)
		return wish;
	return curve(v, &e->BoostBase, 0, &x) ? x : e->BoostMin;
}

static void arbitrate(State *s, view *v, Output *out)
{
	const Calibration *cal = v->cal;
	wishes w = {0, 0, 0, 0, 0, 0, 0, NO_BOOST};
	int32_t x;
	int i;

	if (!value(v, BaseTiming, &x))
		(void)curve(v, &cal->Engine.BaseAngle, 0, &x);
	out->Base = clamp(x, LatestTiming, EarliestTiming);
	out->Ceiling = out->Target = MAX_SPEED;
	consider(s, v, cal->main, out, &w);
	for (i = 0; i < cal->stages; i++) {
		if (i == cal->main)
			continue;
		if (s->stages[i].presence != ABSENT) {
			consider(s, v, i, out, &w);
		} else {
			out->StageCeiling[i] = 0;
			warm(&s->stages[i], &cal->Stages[i], 0, v->dt);
		}
	}
	step_timing(&s->timing, &w, v->dt);
	s->ceiling = out->Ceiling;
	out->Mixture = w.rich ? w.mixture : One;
	out->Boost = boost(v, w.boost);
}

/* What the commits carry. */
static void carry(State *s, const view *v, Output *out)
{
	const Calibration *cal = v->cal;
	const Stage *st;
	command *c = &s->cmd;

	out->Timing = clamp(out->Base + s->timing.dev, LatestTiming, EarliestTiming);
	c->timing = (int16_t)out->Timing;
	c->mixture = out->Mixture;
	if (s->speed.mode >= SpeedStanding) {
		out->Demand = c->demand;
		out->Medium = c->medium;
	}
	c->demand = out->Demand;
	c->medium = out->Medium;
	if (s->speed.mode >= SpeedStanding)
		return; /* what is withheld then, the launch drive does not come to */
	st = &cal->Stages[out->CutStage];
	c->pattern = st->Cut.Pattern;
	c->list = st->Cut.Cylinders;
	if (out->Demand > 0) {
		c->refire = (int16_t)st->Refire;
		c->cycles = st->RefireFor;
	}
}

/* ---- the tick ---- */

static uint8_t hold_input(const view *v)
{
	int32_t p;

	switch (v->cal->Sequence.Hold) {
	case HoldClutch:
		return switch_state(v, ClutchDown);
	case HoldTransBrake:
		return switch_state(v, TransBrake);
	case HoldFootBrake:
		return switch_state(v, FootBrake);
	case HoldBrakePressure:
		if (!value(v, BrakePressure, &p))
			return UNKNOWN;
		return truth_of(p >= v->cal->Sequence.HoldPressure);
	}
	return NO;
}

static void judge(State *s, view *v)
{
	const Calibration *cal = v->cal;
	const ChannelSpec *spec = &cal->Channels[EngineSpeed];
	const Sample *x = &v->in->Channels[EngineSpeed];
	int valid = x->Good && x->Value >= spec->Low && x->Value <= spec->High;
	int32_t throttle;

	step_speed(&s->speed, &cal->Engine, x, valid, v->dt, s->ceiling);
	if (valid && s->speed.last < STOPPED_BELOW && s->speed.idle >= STOPPED_FOR * cal->Engine.t.staleMin)
		s->fuelled = 0;
	v->known = s->speed.mode == SpeedGood || s->speed.mode == SpeedCranking;
	v->speed = s->speed.last;
	judge_channels(v);
	step_mean(&s->mean, &cal->Engine, v->speed, v->dt);
	v->hold = hold_input(v);
	v->open = v->shut = UNKNOWN;
	if (value(v, Throttle, &throttle)) {
		v->open = truth_of(throttle >= cal->Sequence.ThrottleMin);
		v->shut = truth_of(throttle <= cal->Sequence.ThrottleShut);
	}
	s->shutFor = (uint16_t)count_if(v->shut == YES, s->shutFor, v->dt, cal->Sequence.t.loss);
}

static void clear(Output *out)
{
	int i;

	out->Active = out->Stage = out->CutStage = out->Medium = 0;
	out->Demand = 0;
	out->Master = 0;
	memset(out->Shots, 0, sizeof out->Shots);
	for (i = 0; i < MaxStages; i++) {
		out->StageInhibits[i] = 0;
		out->StageCeiling[i] = 0;
	}
}

static void report(const State *s, const view *v, Output *out)
{
	out->Sequence = s->sequence.state;
	out->Speed = s->speed.mode;
	out->Faults = s->power.faults;
	out->SinceRelease = s->sequence.since;
	out->LastWithheld = s->sequence.lastWith;
	out->Trim = s->trim;
	out->Lost = v->lost;
	out->Slope = (int32_t)((int64_t)s->speed.slope * v->cal->Engine.t.slopeQ >> 16);
}

void tick(State *s, const Calibration *cal, const Input *in, Output *out)
{
	view v;

	memset(&v, 0, sizeof v);
	clear(out);
	v.in = in;
	v.cal = cal;
	v.dt = uleast(umost(in->Periods, 1), MaxPeriods);
	v.on = cal->Switches & in->Known & in->On;
	v.blind = cal->Switches & ~in->Known;
	judge(s, &v);
	out->Marks = move_sequence(s, &v);
	move_stages(s, &v, out);
	arbitrate(s, &v, out);
	carry(s, &v, out);
	report(s, &v, out);
}

void tick_committed(State *s)
{
	s->speed.idle = 0;
	if (s->speed.events < 255)
		s->speed.events++;
	if (s->speed.commits < 255)
		s->speed.commits++;
}

void tick_reset(State *s)
{
	int i;

	memset(s, 0, sizeof *s);
	s->ceiling = MAX_SPEED;
	for (i = 0; i < MaxStages; i++)
		s->stages[i].ceiling = MAX_SPEED;
	s->cmd.mixture = One;
}
