#include "glue.h"

#include "limiter.h"

rig glue_rig;

static limiter the_limiter;
static uint16_t injectors, coils, period_ms;

static uint8_t begin(void *user, const rig_start *start)
{
	(void)user;
	if (start->period % 1000 != 0)
		return RIG_REFUSE_PERIOD; /* this limiter counts milliseconds */
	period_ms = (uint16_t)(start->period / 1000);
	limiter_reset(&the_limiter, start->cylinders, start->order);
	return RIG_FITS;
}

static uint8_t good(const rig_sample *s, int32_t low, int32_t high, uint16_t longest)
{
	return s->good && s->age <= longest && s->value >= low && s->value <= high;
}

static void fill(int32_t *fields)
{
	const limiter *l = &the_limiter;

	fields[RIG_OUT_BASE] = l->base;
	fields[RIG_OUT_TIMING] = l->timing;
	fields[RIG_OUT_DEMAND] = l->demand;
	fields[RIG_OUT_CEILING] = l->ceiling;
	fields[RIG_OUT_TARGET] = l->ceiling;
	fields[RIG_OUT_SINCE_RELEASE] = (int32_t)l->since_release;
	fields[RIG_OUT_LAST_WITHHELD] = (int32_t)l->last_withheld;
	fields[RIG_OUT_MIXTURE] = 10000;
	fields[RIG_OUT_SEQUENCE] = l->sequence;
	fields[RIG_OUT_MARKS] = l->marks;
	fields[RIG_OUT_SPEED_STATE] = l->lost_for > 20 ? 4 : l->lost_for > 0 ? 3 : l->seen ? 2 : 0;
	fields[RIG_OUT_ACTIVE] = l->active;
	fields[RIG_OUT_STAGE] = l->stage;
	fields[RIG_OUT_CUT_STAGE] = l->main_cut ? (uint8_t)LIMITER_MAIN : l->stage;
	fields[RIG_OUT_MEDIUM] = l->demand > 0 ? 3 : 0;
	fields[RIG_OUT_STAGES + 1] = l->active & 1 << LIMITER_LAUNCH ? l->ceiling : 0;
	fields[RIG_OUT_STAGES + 2] = 0;
	fields[RIG_OUT_STAGES + 3] = 74000;
	fields[RIG_OUT_STAGES] = l->active & 1 << LIMITER_LAUNCH ? 0 : 1;
}

static void tick(void *user, const rig_input *in, int32_t *fields)
{
	const rig_sample *c = in->channels;
	limiter_inputs x;

	(void)user;
	x.elapsed = (uint16_t)((in->periods > 0 ? in->periods : 1) * period_ms);
	x.speed = c[RIG_SPEED].value;
	x.speed_good = good(&c[RIG_SPEED], 0, 150000, 20);
	x.throttle = c[RIG_THROTTLE].value;
	x.throttle_good = good(&c[RIG_THROTTLE], -500, 10500, 20);
	x.road = c[RIG_ROAD].value;
	x.road_good = good(&c[RIG_ROAD], 0, 130000, 50);
	x.base = good(&c[RIG_BASE_TIMING], -4000, 6000, 20) ? c[RIG_BASE_TIMING].value : 2000;
	x.clutch_down = in->on >> RIG_CLUTCH_DOWN & 1;
	x.clutch_known = in->known >> RIG_CLUTCH_DOWN & 1;
	limiter_tick(&the_limiter, &x);
	if (fields)
		fill(fields);
	board_pins(injectors, coils);
}

static void commit(void *user, rig_event *e)
{
	uint16_t bit = (uint16_t)(1u << (e->cylinder - 1));
	uint16_t *pins = e->spark ? &coils : &injectors;

	(void)user;
	if (e->cylinder <= the_limiter.cylinders) {
		e->give = !limiter_cuts(&the_limiter, e->cylinder, e->cycle);
		e->why = e->give ? RIG_WHY_GIVEN : RIG_WHY_CUT;
		e->value = e->spark ? the_limiter.timing : e->give ? 10000 : 0;
	}
	*pins = (uint16_t)(e->give ? *pins | bit : *pins & ~bit);
	board_pins(injectors, coils);
}

static void off(void *user)
{
	uint8_t were_on = (injectors | coils) != 0;

	(void)user;
	injectors = 0;
	coils = 0;
	board_pins(0, 0);
	if (were_on)
		board_dropped(rig_silence(&glue_rig));
}

static uint32_t micros(void *user)
{
	(void)user;
	return board_micros();
}

static void write_bytes(void *user, const uint8_t *bytes, uint16_t n)
{
	(void)user;
	board_write(bytes, n);
}

static const rig_app app = {0, begin, tick, commit, off, micros, write_bytes};

static const rig_facts facts = {
	"holdline rig-c", "1",
	1ul << RIG_SPEED | 1ul << RIG_THROTTLE | 1ul << RIG_ROAD | 1ul << RIG_BASE_TIMING,
	1u << RIG_CLUTCH_DOWN,
	LIMITER_CYLINDERS, 1000, 1000000
};

void glue_init(uint32_t token) { rig_init(&glue_rig, &app, &facts, token); }
