//go:build tinygo

package main

import (
	"device/arm"
	"unsafe"
)

const colour = 0xC5C5C5C5

//go:extern _stack_bottom
var stackBottom [0]uint32

// pointer gives the stack pointer.
func pointer() uintptr {
	return arm.AsmFull("mov {}, sp", nil)
}

func cell(address uintptr) *uint32 { return (*uint32)(unsafe.Pointer(address)) }

// painted is where the paint ends: stack above it was in use when it was laid.
var painted uintptr

// paint fills the free part of the stack, less a margin for itself.
func paint() {
	painted = pointer() - 64
	for a := uintptr(unsafe.Pointer(&stackBottom)); a < painted; a += 4 {
		*cell(a) = colour
	}
}

// deepest says how many bytes below the caller's frame were used since paint.
func deepest() uint32 {
	a := uintptr(unsafe.Pointer(&stackBottom))
	for a < painted && *cell(a) == colour {
		a += 4
	}
	return uint32(painted + 64 - a)
}
