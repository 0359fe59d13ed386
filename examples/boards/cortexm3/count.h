/* Counts of clock readings, and how a firmware prints them for the tests. */

#ifndef COUNT_H
#define COUNT_H

#include <stdint.h>

/* The sum of clocks is kept in wraps of 2^16, and the worst with where it was. */
typedef struct {
	uint32_t calls, wraps, clocks, worst, at;
} count;

void count_add(count *c, uint32_t clocks, uint32_t at);
void count_print(const char *name, const count *c);

/* Says that all is said, and stays. */
void count_end(void);

#endif
