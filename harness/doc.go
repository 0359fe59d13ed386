// Package harness drives a launch controller, in process or behind a wire,
// from a recording, a simulated car or a synthetic signal, and keeps a trace
// of everything seen.
package harness
