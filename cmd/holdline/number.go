package main

import (
	"errors"
	"fmt"
	"math"
	"strconv"

	"github.com/spf13/pflag"
)

// The ends of flags that several commands have.
const (
	mostWorkers = 4096
	mostSeed    = 1e15 // as in a scenario
	mostSeconds = 1e7
)

// number is the value of a flag between two ends. What lies beyond them is refused
// while the command line is read, before anything runs.
type number[N int | int64 | uint64 | float64] struct {
	put       func(N)
	low, high N
	shown     string // what holds without the flag
}

// numberFlag adds a flag whose value goes to to; without it, what is there stays. A
// value there that is out of range says "not given", and help does not show it.
func numberFlag[N int | int64 | uint64 | float64](f *pflag.FlagSet, to *N, name string, low, high N, usage string) {
	n := &number[N]{put: func(x N) { *to = x }, low: low, high: high}
	if x := *to; x >= low && x <= high && x != 0 {
		n.shown = fmt.Sprint(x)
	}
	f.Var(n, name, usage)
}

// limitFlag is numberFlag for a limit that holds only where it is stated, whatever
// its value.
func limitFlag(f *pflag.FlagSet, to **float64, name string, low, high float64, usage string) {
	f.Var(&number[float64]{put: func(x float64) { *to = &x }, low: low, high: high}, name, usage)
}

// Set reads a value.
func (n *number[N]) Set(text string) error {
	x, err := strconv.ParseFloat(text, 64)
	whole := n.Type() == "int"
	switch {
	case err != nil || math.IsNaN(x):
		return errors.New("this is no number")
	case whole && x != math.Trunc(x):
		return errors.New("this is no whole number")
	case x < float64(n.low) || x > float64(n.high):
		return fmt.Errorf("out of range: %v to %v", n.low, n.high)
	}
	n.put(N(x))
	n.shown = text
	return nil
}

// String gives the value as it was written.
func (n *number[N]) String() string { return n.shown }

// Type names the kind of value in help.
func (n *number[N]) Type() string {
	if _, is := any(n.low).(float64); is {
		return "float"
	}
	return "int"
}
