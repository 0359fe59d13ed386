// Package controller is the core of a launch controller: an integer-only state
// machine that decides, for every cycle of every cylinder, whether fuel and
// spark are given, and when added power may flow. It reads no clock, holds no
// lock, allocates nothing and imports nothing that needs a heap, so that the same
// code runs on a bench and in firmware, and decides alike on both.
//
// The caller owns three values. A Calibration is everything that a person sets;
// Seal checks it once, and it is read-only from then on. A State is everything
// that is remembered; copying it is a snapshot. An Input is what one tick sees.
//
//	Calibration.Seal -> State.Reset -> Tick, Tick, ...
//	                                   FuelCommit and SparkCommit of each cycle in between
//
// Call Tick once every Period and act on its Output in that tick. Call FuelCommit
// at injection start and SparkCommit at dwell start of the same cycle, both with
// the caller's small wrapping count of that cylinder's firing dead centres: the
// count ties the two together, so that a cut of both withholds fuel and spark of
// one cycle, whatever the order of the calls. Call LostSync when the crank decoder
// loses its place.
//
// Units are in the types: tenths of a revolution per minute, hundredths of a
// crank degree before top dead centre, pascals, ten-thousandths, microseconds.
// The zero value of every output is the safe one.
//
// It is a reference, certified for nothing, for competition on closed courses: a
// limiter and shut-offs that do not depend on it belong in every car.
package controller
