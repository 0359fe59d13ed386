/* What C firmware needs of the emulated Cortex-M3 board lm3s6965evb: two serial
   ports, a clock, and a word that a reset leaves alone. Sources: the maker's data
   sheet of the LM3S6965, the ARMv7-M architecture reference manual, B3.3. */

#ifndef BOARD_H
#define BOARD_H

#include <stdint.h>

void board_start(void);

/* Serial port 0: the bench. Serial port 1: what the firmware says for people. */
void board_send(uint8_t byte);
int board_receive(uint8_t *byte);
void board_monitor(uint8_t byte);

/* SysTick, counting core clocks down in 24 bits. */
uint32_t board_clock(void);
uint32_t board_since(uint32_t earlier);

/* Microseconds at 12.5 MHz, wrapping. Ask at least once a second. */
uint32_t board_micros(void);

volatile uint32_t *board_kept(void);

#endif
