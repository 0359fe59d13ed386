#include "limiter.h"

#include <string.h>

#define RPM ((int32_t)10)
#define LAUNCH_CEILING (4000 * RPM)
#define LAUNCH_BAND (400 * RPM) /* below the ceiling, over which the cut grows */
#define MAIN_CEILING (7400 * RPM)
#define MAIN_HYSTERESIS (100 * RPM)
#define NEAR_LAUNCH (500 * RPM)
#define LATE (-2000)        /* launch timing */
#define EARNED_AFTER 300    /* ms */
#define HOLD_LONGEST 5000   /* ms: a longer hold cooks the exhaust */
#define THROTTLE_HOLD 6000
#define THROTTLE_SHUT 500
#define ROAD_LAUNCH 3000    /* mm/s */
#define SPEED_LOST_AFTER 20 /* ms */
#define LATER_PER_MS 40     /* 1/100 degree */
#define EARLIER_PER_MS 60
#define RETURN_PER_MS 40    /* after release: 48 degrees in 120 ms */

static uint16_t more(uint16_t ms, uint16_t elapsed)
{
	uint32_t sum = (uint32_t)ms + elapsed;

	return (uint16_t)(sum > 60000 ? 60000 : sum);
}

static int32_t towards(int32_t from, int32_t to, int32_t step)
{
	if (from < to)
		return to - from < step ? to : from + step;
	return from - to < step ? to : from - step;
}

void limiter_reset(limiter *l, uint8_t cylinders, const uint8_t *order)
{
	uint8_t i;

	memset(l, 0, sizeof *l);
	l->cylinders = cylinders;
	/* Start the cylinders at different places, so that they take turns. */
	for (i = 0; i < cylinders; i++)
		l->owed[order[i] - 1] = (int32_t)(i * 5u % cylinders) * (LIMITER_FULL / cylinders);
}

static uint8_t clutch_down(const limiter_inputs *in) { return in->clutch_known && in->clutch_down; }

/* The launch sequence: a hold is earned, let go at once, and given up when the
   throttle is. */
static void earn(limiter *l, const limiter_inputs *in)
{
	uint8_t holds = clutch_down(in) && in->throttle_good && in->throttle >= THROTTLE_HOLD;

	if (in->speed_good && in->speed > LAUNCH_CEILING - NEAR_LAUNCH && in->speed < LAUNCH_CEILING + NEAR_LAUNCH)
		l->near = 1;
	if (!holds || !(l->active & 1 << LIMITER_LAUNCH)) {
		if (l->held_for > 0 && in->clutch_known && !in->clutch_down)
			l->marks |= 1 << 2; /* a bump */
		l->held_for = 0;
		l->near = 0;
		return;
	}
	l->held_for = more(l->held_for, in->elapsed);
	if (l->held_for >= EARNED_AFTER && l->near) {
		l->sequence = LIMITER_HELD;
		l->marks |= 1 << 0;
		l->low_for = 0;
	}
}

static void abort_hold(limiter *l)
{
	l->sequence = LIMITER_ABORTED;
	l->marks |= 1 << 3;
	l->clear_for = 0;
}

static void held(limiter *l, const limiter_inputs *in)
{
	l->low_for = in->throttle_good && in->throttle >= THROTTLE_HOLD ? 0 : more(l->low_for, in->elapsed);
	if (!in->clutch_known || !in->throttle_good || l->low_for >= 100 || l->launch_for >= HOLD_LONGEST) {
		abort_hold(l);
	} else if (!in->clutch_down) {
		l->sequence = LIMITER_RELEASED;
		l->marks |= 1 << 1;
		l->since_release = 0;
		l->last_withheld = 0;
		l->lift_for = 0;
	}
}

static void released(limiter *l, const limiter_inputs *in)
{
	l->since_release += in->elapsed;
	l->lift_for = in->throttle <= THROTTLE_SHUT ? more(l->lift_for, in->elapsed) : 0;
	if (l->lift_for >= 1000 || l->since_release >= 20000) {
		l->sequence = LIMITER_ENDED;
		l->marks |= 1 << 4;
	}
}

static void sequence(limiter *l, const limiter_inputs *in)
{
	uint8_t shut = in->throttle_good && in->throttle <= THROTTLE_SHUT;

	l->marks = 0;
	switch (l->sequence) {
	case LIMITER_IDLE:
		earn(l, in);
		break;
	case LIMITER_HELD:
		held(l, in);
		break;
	case LIMITER_RELEASED:
		released(l, in);
		break;
	case LIMITER_ENDED:
		if (shut)
			l->sequence = LIMITER_IDLE;
		break;
	default:
		l->clear_for = shut && !clutch_down(in) ? more(l->clear_for, in->elapsed) : 0;
		if (l->clear_for >= 500)
			l->sequence = LIMITER_IDLE;
	}
}

/* The launch stage is entered at standstill only; a lost input keeps it, until
   the throttle has been closed. */
static void stages(limiter *l, const limiter_inputs *in)
{
	uint8_t was = (uint8_t)(l->active >> LIMITER_LAUNCH & 1);
	uint8_t may = clutch_down(in) && in->road_good && in->road < ROAD_LAUNCH && in->speed_good &&
		in->speed <= LAUNCH_CEILING + NEAR_LAUNCH && l->sequence != LIMITER_RELEASED;

	if (was && in->clutch_known)
		was = in->clutch_down;
	else if (was && in->throttle_good && in->throttle <= THROTTLE_SHUT)
		was = 0;
	l->active = (uint8_t)(1 << LIMITER_MAIN | (was || may) << LIMITER_LAUNCH);
	l->launch_for = was || may ? more(l->launch_for, in->elapsed) : 0;
	l->stage = was || may ? LIMITER_LAUNCH : LIMITER_MAIN;
	l->ceiling = was || may ? LAUNCH_CEILING : MAIN_CEILING;
}

/* Demand: soft below the launch ceiling, hard at the main one. */
static int32_t wanted(limiter *l, const limiter_inputs *in)
{
	int32_t over = in->speed - (LAUNCH_CEILING - LAUNCH_BAND);
	int32_t soft = 0;

	if (in->speed >= MAIN_CEILING)
		l->main_cut = 1;
	else if (in->speed < MAIN_CEILING - MAIN_HYSTERESIS)
		l->main_cut = 0;
	if (l->active & 1 << LIMITER_LAUNCH && over > 0)
		soft = over >= LAUNCH_BAND ? LIMITER_FULL : over * (LIMITER_FULL / LAUNCH_BAND);
	return l->main_cut ? LIMITER_FULL : soft;
}

/* With the speed lost the last demand stands for a moment; then everything is
   withheld until the speed is back. */
static void demand(limiter *l, const limiter_inputs *in)
{
	if (in->speed_good) {
		l->seen = 1;
		l->lost_for = 0;
		l->demand = wanted(l, in);
		return;
	}
	l->lost_for = more(l->lost_for, in->elapsed);
	if (l->seen && l->lost_for > SPEED_LOST_AFTER)
		l->demand = LIMITER_FULL;
}

static void timing(limiter *l, const limiter_inputs *in)
{
	int32_t want = in->base;
	int32_t step = EARLIER_PER_MS;

	if (l->active & 1 << LIMITER_LAUNCH && l->sequence != LIMITER_ABORTED)
		want = LATE;
	if (l->sequence == LIMITER_RELEASED)
		step = RETURN_PER_MS;
	if (want < l->timing)
		step = LATER_PER_MS;
	l->base = in->base;
	l->timing = towards(l->timing, want, step * in->elapsed);
}

void limiter_tick(limiter *l, const limiter_inputs *in)
{
	if (!l->seen && in->speed_good)
		l->timing = in->base;
	stages(l, in);
	sequence(l, in);
	demand(l, in);
	timing(l, in);
}

uint8_t limiter_cuts(limiter *l, uint8_t cylinder, uint8_t cycle)
{
	uint8_t c = (uint8_t)(cylinder - 1), i = cycle & 1;

	if (l->known[c][i] && l->cycle[c][i] == cycle)
		return l->cut[c][i];
	l->owed[c] += l->demand;
	l->known[c][i] = 1;
	l->cycle[c][i] = cycle;
	l->cut[c][i] = l->owed[c] >= LIMITER_FULL;
	if (l->cut[c][i]) {
		l->owed[c] -= LIMITER_FULL;
		l->last_withheld = l->since_release;
	}
	return l->cut[c][i];
}
