/* The tick of the reference controller without added power, translated line by line
   from Go to C: the yardstick for what the Go core costs on a microcontroller. It is
   measured beside the Go one and compared with it; use the Go core, or your own.

   types.h is made by the test from the Go types: the same fields under the same
   names, and a calibration with all that sealing works out. */

#ifndef TICK_H
#define TICK_H

#include <stdint.h>

#include "types.h"

void tick_reset(State *s);
void tick(State *s, const Calibration *cal, const Input *in, Output *out);

/* What the spark commit of a firing event tells the next tick. */
void tick_committed(State *s);

#endif
