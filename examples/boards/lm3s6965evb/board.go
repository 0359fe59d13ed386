//go:build tinygo

package lm3s6965evb

import (
	"runtime/volatile"
	"unsafe"
)

func register(address uintptr) *volatile.Register32 {
	return (*volatile.Register32)(unsafe.Pointer(address))
}

// Serial ports 0 and 1, SysTick, the reset request, and a word of RAM that a
// reset leaves alone.
const (
	port0       = 0x4000C000
	port1       = 0x4000D000
	uartData    = 0x00
	uartFlags   = 0x18
	uartLine    = 0x2C
	uartControl = 0x30
	uartEmpty   = 1 << 4 // nothing received
	uartFull    = 1 << 5 // no room to send
	tickControl = 0xE000E010
	tickReload  = 0xE000E014
	tickCurrent = 0xE000E018
	tickMask    = 1<<24 - 1
	resetWord   = 0xE000ED0C
	keptWord    = 0x2000FFF0
)

// Start turns on the serial ports, 8 bits and no parity with their buffers in
// use, and the clock: SysTick counts core clocks, 24 bits down, without
// interrupts.
func Start() {
	for _, port := range [...]uintptr{port0, port1} {
		register(port + uartControl).Set(0)
		register(port + uartLine).Set(3<<5 | 1<<4)
		register(port + uartControl).Set(1<<9 | 1<<8 | 1<<0)
	}
	register(tickReload).Set(tickMask)
	register(tickCurrent).Set(0)
	register(tickControl).Set(1<<2 | 1<<0)
}

// Send writes one byte to the serial port. It waits for room.
func Send(b byte) { send(port0, b) }

// Monitor writes one byte to the second serial port, on which the firmware says
// what its outputs do.
func Monitor(b byte) { send(port1, b) }

func send(port uintptr, b byte) {
	for register(port+uartFlags).Get()&uartFull != 0 {
	}
	register(port + uartData).Set(uint32(b))
}

// Receive reads one byte from the serial port, if there is one.
func Receive() (byte, bool) {
	if register(port0+uartFlags).Get()&uartEmpty != 0 {
		return 0, false
	}
	return byte(register(port0 + uartData).Get()), true
}

// Clock reads the counter; Since gives the clocks since such a reading, which
// must be less than 2^24 of them ago (1.3 s at 12.5 MHz).
func Clock() uint32 { return register(tickCurrent).Get() }

// Since gives the clocks since a reading of Clock.
func Since(earlier uint32) uint32 { return (earlier - Clock()) & tickMask }

var (
	counted uint32 // the reading that micros goes up to
	rest    uint32 // clocks times two that are not a whole microsecond yet
	micros  uint32
)

// Micros is the board's own clock, wrapping. Ask at least once a second.
func Micros() uint32 {
	now := Clock()
	rest += (counted - now) & tickMask * 2
	counted = now
	micros += rest / (2 * ClocksPerMicro10 / 10)
	rest %= 2 * ClocksPerMicro10 / 10
	return micros
}

// Kept is a word that survives a reset, though not a power-up.
func Kept() *volatile.Register32 { return register(keptWord) }

// Reset restarts the chip.
func Reset() {
	register(resetWord).Set(0x05FA0004)
	for {
	}
}

// Page is the calibration page.
func Page() []byte {
	return unsafe.Slice((*byte)(unsafe.Pointer(uintptr(PageAddress))), PageSize)
}
