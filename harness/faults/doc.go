// Package faults puts faults between a stimulus and a unit: sensors that fail in
// the ways in which sensors fail, switches that bounce and stick, a supply that
// dips, a controller that restarts or misses ticks.
//
// Wrap takes a list of faults and gives back a stimulus and a unit to run in
// place of the given ones. What the unit is given is what the trace records; the
// stimulus, and the car behind it, go on undisturbed. Faults that say nothing
// about chance repeat exactly, the others by seed.
//
// A fault that cannot be given, because the channel is not fitted or the unit
// has no crank wheel to disturb, is an error: nothing is silently left out.
package faults
