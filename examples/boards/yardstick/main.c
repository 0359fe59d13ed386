/* Counts the example limiter's instructions: the yardstick beside the reference
   controller, which does far more in a tick. The drive is that of
   examples/boards/work: idle, hold, release, lift. */

#include "board.h"
#include "count.h"
#include "limiter.h"

static limiter l;
static uint32_t speed = 12000;

static void prepare(limiter_inputs *in, uint32_t t)
{
	int32_t gain = in->throttle / 200 - 15 - l.demand / 800;

	if (t == 500) {
		in->clutch_down = 1;
		in->throttle = 10000;
	} else if (t == 2000) {
		in->clutch_down = 0;
	} else if (t == 4800) {
		in->throttle = 0;
	}
	speed = (uint32_t)((int32_t)speed + gain);
	if (speed < 8000)
		speed = 8000;
	in->speed = (int32_t)speed;
}

int main(void)
{
	static const uint8_t order[4] = {1, 3, 4, 2};
	limiter_inputs in = {12000, 0, 0, 2800, 1, 1, 1, 1, 0, 1};
	count ticks = {0, 0, 0, 0, 0}, commits = {0, 0, 0, 0, 0};
	uint32_t t, from, travel = 0, firing = 0;

	board_start();
	limiter_reset(&l, 4, order);
	for (t = 0; t < 6000; t++) {
		prepare(&in, t);
		from = board_clock();
		limiter_tick(&l, &in);
		count_add(&ticks, board_since(from), t);
		for (travel += speed * 6 / 100; travel >= 18000; travel -= 18000, firing++) {
			from = board_clock();
			(void)limiter_cuts(&l, order[firing % 4], (uint8_t)(firing / 4));
			count_add(&commits, board_since(from), t);
		}
	}
	count_print("launch-tick", &ticks);
	count_print("launch-commit", &commits);
	count_end();
}
