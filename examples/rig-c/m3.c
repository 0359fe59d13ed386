/* The C rig on a Cortex-M3, bare. */

#include "board.h"
#include "glue.h"

/* Where the outputs would be wired: an example has nothing to drive. */
static volatile uint32_t pins;

void board_write(const uint8_t *bytes, uint16_t n)
{
	while (n-- > 0)
		board_send(*bytes++);
}

void board_pins(uint16_t injectors, uint16_t coils) { pins = injectors | (uint32_t)coils << 16; }

static void say(const char *s)
{
	while (*s)
		board_monitor((uint8_t)*s++);
}

void board_dropped(uint32_t after)
{
	char digits[11];
	char *p = digits + sizeof digits - 1;

	*p = 0;
	do {
		*--p = (char)('0' + after % 10);
		after /= 10;
	} while (after > 0);
	say("off after ");
	say(p);
	say(" us\n");
}

int main(void)
{
	uint8_t byte;
	uint32_t token;

	board_start();
	token = *board_kept() * 1664525u + 1013904223u + board_clock();
	*board_kept() = token;
	glue_init(token);
	for (;;) {
		if (board_receive(&byte))
			rig_receive(&glue_rig, byte);
		rig_poll(&glue_rig); /* noise on the line must not keep it from its turn */
	}
}
