/* The C rig on a Cortex-M3 that behaves as boards do: it boots slowly, prints a
   banner, resets in the middle, answers late, sends a byte at a time. What it
   does stands in the first word of the calibration page. */

#include "board.h"
#include "glue.h"

enum {
	BOOTS_SLOWLY = 1,
	PRINTS_A_BANNER = 2,
	RESETS = 4,
	ANSWERS_LATE = 8,
	SENDS_ONE_BYTE = 16
};

#define PAGE (*(const volatile uint32_t *)0x30000)
#define RESET_REGISTER (*(volatile uint32_t *)0xE000ED0Cu)

static uint32_t asked; /* ticks and commits so far */

static void wait(uint32_t us)
{
	uint32_t from = board_micros();

	while (board_micros() - from < us)
		;
}

/* One answer in eighty comes 60 ms late, one in five hundred after the bench has
   asked again. */
static void be_late(void)
{
	static uint32_t answers;

	answers++;
	if (answers % 500 == 0)
		wait(400000);
	else if (answers % 80 == 0)
		wait(60000);
}

void board_write(const uint8_t *bytes, uint16_t n)
{
	if (PAGE & ANSWERS_LATE && n > 1)
		be_late();
	for (; n > 0; n--) {
		board_send(*bytes++);
		if (PAGE & SENDS_ONE_BYTE)
			wait(300);
	}
}

void board_pins(uint16_t injectors, uint16_t coils)
{
	(void)injectors;
	(void)coils;
	if (PAGE & RESETS && ++asked == 900)
		RESET_REGISTER = 0x05FA0004;
}

void board_dropped(uint32_t after) { (void)after; }

static void print(const char *s)
{
	while (*s)
		board_send((uint8_t)*s++);
}

int main(void)
{
	uint8_t byte;

	board_start();
	if (PAGE & PRINTS_A_BANNER)
		print("\r\nBoot loader 1.2 (c)\r\nchecking memory");
	if (PAGE & BOOTS_SLOWLY)
		wait(3000000);
	if (PAGE & PRINTS_A_BANNER)
		print(" ... ok\r\nADC calibrated\r\n> ");
	*board_kept() = *board_kept() * 1664525u + 1013904223u + board_clock();
	glue_init(*board_kept());
	for (;;) {
		if (board_receive(&byte))
			rig_receive(&glue_rig, byte);
		rig_poll(&glue_rig); /* noise on the line must not keep it from its turn */
	}
}
