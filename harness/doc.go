// Package harness drives a launch controller, in process or behind a wire, from
// a recording, a simulated car or a synthetic signal, and keeps a trace of
// everything seen.
//
// One path drives every unit: a Stimulus fills a Frame with the inputs of a tick
// and with every commit that will be reached within it, a Unit answers, the
// Stimulus applies the answers, and each Sink takes note:
//
//	Stimulus.Next -> Unit.Step -> Stimulus.Apply -> Sink.Record ...
//
// A recording ignores Apply; a Plant (a simulated car with a Driver) latches each
// decision when it reaches its angle. Faults, byte logs, differential runs and
// playback wrap these interfaces. The package owns the shared types and imports
// none of its subpackages.
package harness
