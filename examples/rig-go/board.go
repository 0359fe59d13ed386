//go:build tinygo

package main

import (
	"runtime/volatile"
	"unsafe"

	board "github.com/holdline/holdline/examples/boards/lm3s6965evb"
)

var (
	self   unit
	buffer [1]byte
)

func main() {
	board.Start()
	kept := board.Kept()
	kept.Set(kept.Get()*1664525 + 1013904223 + board.Clock())
	self.setUp(kept.Get(), board.Page())
	for {
		if b, ok := board.Receive(); ok {
			buffer[0] = b
			self.rig.Receive(buffer[:])
		}
		self.rig.Poll() // noise on the line must not keep it from its turn
	}
}

// Micros is the board's own clock.
func (u *unit) Micros() uint32 { return board.Micros() }

// Write sends bytes to the bench.
func (u *unit) Write(p []byte) {
	for _, b := range p {
		board.Send(b)
	}
}

// pins is where the outputs would be wired; an example has nothing to drive.
var pins volatile.Register32

func setPins(o Outputs) { pins.Set(uint32(o)) }

// dropped says on the second serial port that the outputs went off, and how many
// microseconds after the bench was last heard.
func dropped(after uint32) {
	say("off after ")
	var digits [10]byte
	i := len(digits)
	for {
		i--
		digits[i] = '0' + byte(after%10)
		after /= 10
		if after == 0 {
			break
		}
	}
	say(unsafe.String(&digits[i], len(digits)-i))
	say(" us\n")
}

func say(s string) {
	for i := range len(s) {
		board.Monitor(s[i])
	}
}
