/* Ties the example limiter to the wire. The board supplies a clock, a way out
   for bytes, and pins. */

#ifndef GLUE_H
#define GLUE_H

#include "rig.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Sets everything up. token should differ after every reset. */
void glue_init(uint32_t token);

/* The one rig of this program. */
extern rig glue_rig;

/* Supplied by the board: */
uint32_t board_micros(void);
void board_write(const uint8_t *bytes, uint16_t n);
/* One bit for each cylinder; 1 opens the injector or fires the coil. */
void board_pins(uint16_t injectors, uint16_t coils);
/* Told when pins that were in use go off for good, with the microseconds since
   the bench was last heard. */
void board_dropped(uint32_t silence);

#ifdef __cplusplus
}
#endif

#endif
