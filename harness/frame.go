package harness

import (
	"github.com/holdline/holdline/controller"
)

// MaxEvents is how many commits one frame can carry: more than any engine
// reaches in one tick.
const MaxEvents = 64

// EventKind says which decision an event asks for.
type EventKind uint8

// The kinds of event.
const (
	FuelCommit EventKind = iota
	SparkCommit
)

// String gives the stable name.
func (k EventKind) String() string {
	if k == SparkCommit {
		return "spark"
	}
	return "fuel"
}

// Event is one commit: the question, and the unit's answer.
type Event struct {
	Angle    int32 // crank angle at which it falls due, 1/100 degree, 0..71999; 0 is the firing dead centre of the first cylinder in the order
	Cylinder uint8 // the maker's number, from 1
	Cycle    controller.Cycle
	Kind     EventKind

	// The answer.
	Give    bool // fuel given, or spark fired
	Why     controller.Reason
	Unburnt bool // spark: the charge passes unburnt
	Drop    bool // spark: shut all added power at once
	Timing  controller.Angle
	Mixture controller.Ratio
}

// LinkFlags says what happened on the way to a unit and back.
type LinkFlags uint8

// The link flags.
const (
	LinkLate    LinkFlags = 1 << iota // the answer came after its deadline
	LinkRetried                       // the question was sent more than once
	LinkMissed                        // no answer in time: the frame holds the last one

	UnitRestarted // the unit was started anew before this tick: it remembers nothing
)

// Frame carries one tick from stimulus to unit and back. It is reused: nobody
// keeps a pointer into it.
type Frame struct {
	Tick uint32 // from 0; time is Tick times the period
	In   controller.Input

	// Events are all commits whose angle will be reached within the tick, in
	// angle order, each once in a run.
	Events [MaxEvents]Event
	N      int

	// EventsOnly marks a frame between ticks, for commits that could not be
	// foreseen: the unit answers them from its last tick.
	EventsOnly bool

	Out       controller.Output
	Flags     LinkFlags
	LatencyNs int64 // of a unit behind a wire; 0 in process
}

// Add appends an event, and reports whether there was room.
func (f *Frame) Add(e Event) bool {
	if f.N == len(f.Events) {
		return false
	}
	f.Events[f.N] = e
	f.N++
	return true
}

// Stimulus is where inputs come from.
type Stimulus interface {
	// Next fills in the next frame's inputs and events; io.EOF ends the run.
	Next(*Frame) error
	// Apply hands the unit's decisions back. A recording ignores them.
	Apply(*Frame) error
}

// Session is what a unit needs to know before the first frame.
type Session struct {
	Calibration *controller.Calibration // sealed
	Seed        uint64
}

// Caps is what a unit says of itself.
type Caps struct {
	Name       string // of the unit
	Version    string
	Reference  bool // the reference controller itself: its output is complete
	OutputLess bool // answers commits only; Frame.Out stays zero
}

// Unit is a unit under test.
type Unit interface {
	Open(Session) (Caps, error)
	Step(*Frame) error
	Close() error
}

// Sink takes note of every frame after it has been answered. It must not keep
// the pointer.
type Sink interface {
	Record(*Frame) error
}
