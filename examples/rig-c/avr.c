/* The C rig on an 8-bit AVR of 16 MHz with two serial ports, such as the
   ATmega2560: the small end of what a rig may be. */

#include "glue.h"

#include <avr/interrupt.h>
#include <avr/io.h>

/* Bytes from the bench wait here while the rig works: a whole frame, which is
   the credit that the rig has promised. */
static volatile uint8_t waiting[RIG_FRAME];
static volatile uint16_t head, tail;

static void take(void)
{
	uint8_t byte = UDR0;
	uint16_t next = (uint16_t)((head + 1) % RIG_FRAME);

	if (next != tail) {
		waiting[head] = byte;
		head = next;
	}
}

ISR(USART0_RX_vect) { take(); }

static int receive(uint8_t *byte)
{
	int got = 0;

	cli();
	if (UCSR0A & 1 << RXC0)
		take(); /* the emulator can lose an interrupt */
	if (tail != head) {
		*byte = waiting[tail];
		tail = (uint16_t)((tail + 1) % RIG_FRAME);
		got = 1;
	}
	sei();
	return got;
}

/* Timer 1 counts steps of 4 us and wraps every 262 ms. Whoever reads the clock adds
   up what went by: rig_poll does at least every 10 ms, so no interrupt is needed. A
   count that goes back is the emulator, which starts a lap late. */
uint32_t board_micros(void)
{
	static uint32_t micros;
	static uint16_t before;
	uint16_t now = TCNT1;
	uint16_t passed = (uint16_t)(now - before);

	before = now;
	if (passed < 0x8000u)
		micros += 4ul * passed;
	return micros;
}

static void send(uint8_t byte)
{
	while (!(UCSR0A & 1 << UDRE0))
		;
	UDR0 = byte;
}

void board_write(const uint8_t *bytes, uint16_t n)
{
	while (n-- > 0)
		send(*bytes++);
}

/* Injectors on ports A and C, coils on ports F and K, as far as they go. */
void board_pins(uint16_t injectors, uint16_t coils)
{
	PORTA = (uint8_t)injectors;
	PORTC = (uint8_t)(injectors >> 8);
	PORTF = (uint8_t)coils;
	PORTK = (uint8_t)(coils >> 8);
}

static void say(const char *s)
{
	for (; *s; s++) {
		while (!(UCSR1A & 1 << UDRE1))
			;
		UDR1 = (uint8_t)*s;
	}
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

/* A word of RAM that start-up code leaves alone, so that it outlives a reset. */
static uint32_t kept __attribute__((section(".noinit")));

int main(void)
{
	uint8_t byte;

	DDRA = DDRC = DDRF = DDRK = 0xFF;
	UBRR0 = 8; /* 115200 baud at 16 MHz, 3.5 % off: take a crystal that divides evenly for long runs */
	UCSR0B = 1 << RXCIE0 | 1 << RXEN0 | 1 << TXEN0;
	UCSR0C = 3 << UCSZ00;
	UBRR1 = 8;
	UCSR1B = 1 << TXEN1;
	TCCR1B = 1 << CS11 | 1 << CS10;
	sei();
	kept = kept * 1664525u + 1013904223u + TCNT1;
	glue_init(kept);
	for (;;) {
		if (receive(&byte))
			rig_receive(&glue_rig, byte);
		rig_poll(&glue_rig); /* noise on the line must not keep it from its turn */
	}
}
