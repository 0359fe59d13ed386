/* Counts the translated tick on the emulated board, as examples/boards/measure
   counts the Go one. */

#include "board.h"
#include "drive.h"

static drive d;

static void text(const char *s)
{
	while (*s)
		board_send((uint8_t)*s++);
}

static void number(uint32_t v)
{
	char digits[11];
	char *p = digits + sizeof digits - 1;

	*p = 0;
	do {
		*--p = (char)('0' + v % 10);
		v /= 10;
	} while (v > 0);
	text(" ");
	text(p);
}

int main(void)
{
	uint32_t t, from, clocks, wraps = 0, sum = 0, worst = 0, at = 0;

	board_start();
	drive_begin(&d);
	for (t = 0; t < 6000; t++) {
		drive_prepare(&d);
		from = board_clock();
		tick(&d.state, &calibration, &d.in, &d.out);
		clocks = board_since(from);
		if (clocks > worst) {
			worst = clocks;
			at = t;
		}
		sum += clocks;
		wraps += sum >> 16;
		sum &= 0xFFFF;
		drive_commits(&d);
	}
	text("launch-tick");
	number(6000);
	number(wraps);
	number(sum);
	number(worst);
	number(at);
	text("\nend\n");
	for (;;)
		;
}
