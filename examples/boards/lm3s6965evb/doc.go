// Package lm3s6965evb is what the firmware examples need of a small Cortex-M3
// board: a serial port, a clock, and the calibration page in flash. It is the
// board that the emulator calls lm3s6965evb; on real hardware of another kind
// this package is the one to replace.
//
// Source: the maker's data sheet of the LM3S6965 for the serial port and its
// flags; the ARMv7-M architecture reference manual, B3.3, for SysTick.
package lm3s6965evb

const (
	// PageAddress is where the calibration image lies in flash, and PageSize how
	// much of it there is: the last 64 KiB of 256.
	PageAddress = 0x30000
	PageSize    = 0x10000

	// ClocksPerMicro10 is ten times the core clock in MHz after reset, as the
	// emulator sets it.
	ClocksPerMicro10 = 125
)
