/* Counts the translated tick on the emulated board, as examples/boards/measure
   counts the Go one. */

#include "board.h"
#include "count.h"
#include "drive.h"

static drive d;

int main(void)
{
	count ticks = {0, 0, 0, 0, 0};
	uint32_t t, from;

	board_start();
	drive_begin(&d);
	for (t = 0; t < 6000; t++) {
		drive_prepare(&d);
		from = board_clock();
		tick(&d.state, &calibration, &d.in, &d.out);
		count_add(&ticks, board_since(from), t);
		drive_commits(&d);
	}
	count_print("launch-tick", &ticks);
	count_end();
}
