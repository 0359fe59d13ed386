#include "board.h"

#define PORT0 0x4000C000u
#define PORT1 0x4000D000u
#define UART_DATA 0x00u
#define UART_FLAGS 0x18u
#define UART_LINE 0x2Cu
#define UART_CONTROL 0x30u
#define UART_EMPTY (1u << 4)
#define UART_FULL (1u << 5)
#define TICK_CONTROL 0xE000E010u
#define TICK_RELOAD 0xE000E014u
#define TICK_CURRENT 0xE000E018u
#define TICK_MASK 0xFFFFFFu
#define KEPT_WORD 0x2000FFF0u

extern uint32_t _sidata[], _sdata[], _edata[], _sbss[], _ebss[];
int main(void);
void Reset_Handler(void);

static volatile uint32_t *at(uint32_t address) { return (volatile uint32_t *)(uintptr_t)address; }

void Reset_Handler(void)
{
	uint32_t *from = _sidata, *to;

	for (to = _sdata; to < _edata;)
		*to++ = *from++;
	for (to = _sbss; to < _ebss;)
		*to++ = 0;
	(void)main();
	for (;;)
		;
}

static void open_port(uint32_t port)
{
	*at(port + UART_CONTROL) = 0;
	*at(port + UART_LINE) = 3u << 5 | 1u << 4; /* 8 bits, buffers in use */
	*at(port + UART_CONTROL) = 1u << 9 | 1u << 8 | 1u;
}

void board_start(void)
{
	open_port(PORT0);
	open_port(PORT1);
	*at(TICK_RELOAD) = TICK_MASK;
	*at(TICK_CURRENT) = 0;
	*at(TICK_CONTROL) = 1u << 2 | 1u;
}

static void put(uint32_t port, uint8_t byte)
{
	while (*at(port + UART_FLAGS) & UART_FULL)
		;
	*at(port + UART_DATA) = byte;
}

void board_send(uint8_t byte) { put(PORT0, byte); }

void board_monitor(uint8_t byte) { put(PORT1, byte); }

int board_receive(uint8_t *byte)
{
	if (*at(PORT0 + UART_FLAGS) & UART_EMPTY)
		return 0;
	*byte = (uint8_t)*at(PORT0 + UART_DATA);
	return 1;
}

uint32_t board_clock(void) { return *at(TICK_CURRENT); }

uint32_t board_since(uint32_t earlier) { return (earlier - board_clock()) & TICK_MASK; }

uint32_t board_micros(void)
{
	static uint32_t counted, rest, micros;
	uint32_t now = board_clock();

	rest += 2u * ((counted - now) & TICK_MASK);
	counted = now;
	micros += rest / 25u;
	rest %= 25u;
	return micros;
}

volatile uint32_t *board_kept(void) { return at(KEPT_WORD); }
