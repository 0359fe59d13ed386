// Package link drives a rig, a controller under test behind a wire, as a unit of
// the bench: over USB serial, a pseudo-terminal, a program's standard streams, or
// any other stream of bytes. The protocol is described in wire/WIRE.md.
//
//	RigFile -> Dialer -> Port -> Unit.Open, Step, Step, ..., Close
//
// A Unit is a harness.Unit. In lockstep simulated time waits for the rig, the
// caller reads and writes the port itself, and the same scenario gives the same
// decisions as in process. Paced, ticks follow the wall clock, and lateness is
// recorded in each frame. Over an open loop Ahead keeps several steps under way.
//
// Nothing that happens on the wire changes a sample: a damaged frame is asked
// for again, a lost port is opened again by its identity, within stated limits,
// and where that does not help the run ends with an *Error that says what
// happened, whether cable or controller is to blame, and what to do.
package link
