#include "count.h"

#include "board.h"

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

void count_add(count *c, uint32_t clocks, uint32_t at)
{
	c->calls++;
	if (clocks > c->worst) {
		c->worst = clocks;
		c->at = at;
	}
	c->clocks += clocks;
	c->wraps += c->clocks >> 16;
	c->clocks &= 0xFFFF;
}

void count_print(const char *name, const count *c)
{
	text(name);
	number(c->calls);
	number(c->wraps);
	number(c->clocks);
	number(c->worst);
	number(c->at);
	text("\n");
}

void count_end(void)
{
	text("end\n");
	for (;;)
		;
}
