// Vectors of a Cortex-M3 and what a fault does: reset the chip, so that every
// output falls back to its state after reset, which must be the safe one.
	.syntax unified

	.section .isr_vector, "a", %progbits
	.global vectors
vectors:
	.long _stack_top
	.long Reset_Handler
	.rept 14
	.long fault
	.endr

	.section .text.fault, "ax", %progbits
	.type fault, %function
	.thumb_func
fault:
	ldr r0, =0xE000ED0C // AIRCR
	ldr r1, =0x05FA0004 // VECTKEY, SYSRESETREQ
	str r1, [r0]
1:	b 1b
