// Package work drives the controller through a launch and through a storm of
// seeded inputs, with integers only and without a heap, so that a desk and a
// microcontroller run the very same calls and can compare what came of them.
//
// The engine in it is no model of a car: it is there so that speed meets the
// ceiling and commits come at a believable rate. Its numbers are our own.
package work

import "github.com/holdline/holdline/controller"

// Kind is what a drive does with the inputs.
type Kind uint8

// The kinds.
const (
	Launch Kind = iota // idle, hold, release, run, lift: 6,000 ticks, and again
	Storm              // any input at any time, valid or not
)

// Drive is one controller with its inputs, its engine and the sum of all that it
// decided. Start it with Begin.
type Drive struct {
	Cal   *controller.Calibration
	State controller.State
	In    controller.Input
	Out   controller.Output
	Sum   uint32 // over every field of every output and decision

	kind   Kind
	tick   uint32
	random uint32

	speed  int32  // engine speed, tenths of a revolution per minute
	travel int32  // crank angle since the last firing event, hundredths of a degree
	due    int32  // firing events still to come in this tick
	firing uint32 // firing events so far
	fuel   bool   // the fuel commit of this firing event has been made

	buf buffer
}

// Event is one commit that is due.
type Event struct {
	Spark    bool
	Cylinder uint8
	Cycle    controller.Cycle
}

// Begin starts a drive over. The same seed gives the same calls.
func (d *Drive) Begin(cal *controller.Calibration, kind Kind, seed uint32) error {
	*d = Drive{Cal: cal, kind: kind, random: seed | 1, speed: int32(1200 * controller.RPM)}
	d.calm()
	return d.State.Reset(cal)
}

// Prepare makes the inputs of the next tick.
func (d *Drive) Prepare() {
	d.In.Periods = 1
	if d.kind == Launch {
		d.launch()
	} else {
		d.storm()
	}
	d.turn()
	d.tick++
}

// Tick runs the controller once.
func (d *Drive) Tick() { d.State.Tick(d.Cal, &d.In, &d.Out) }

// Next gives the next commit that is due before the next tick.
func (d *Drive) Next() (Event, bool) {
	if d.due == 0 {
		return Event{}, false
	}
	n := uint32(d.Cal.Engine.Cylinders)
	if !d.fuel {
		d.fuel = true
		return d.event(d.firing+uint32(d.Cal.Engine.CommitLead), n, false), true
	}
	d.fuel = false
	at := d.firing
	d.firing++
	d.due--
	return d.event(at, n, true), true
}

func (d *Drive) event(firing, n uint32, spark bool) Event {
	return Event{Spark: spark, Cylinder: d.Cal.Engine.Order[firing%n], Cycle: controller.Cycle(firing / n)}
}

// Fuel and Spark make one commit each; Note them afterwards.
func (d *Drive) Fuel(e Event) controller.FuelDecision {
	return d.State.FuelCommit(d.Cal, e.Cylinder, e.Cycle)
}

// Spark makes the spark commit of an event.
func (d *Drive) Spark(e Event) controller.SparkDecision {
	return d.State.SparkCommit(d.Cal, e.Cylinder, e.Cycle)
}

// Step runs one tick with all its commits and adds them to the sum.
func (d *Drive) Step() {
	d.Prepare()
	d.Tick()
	d.NoteTick()
	for e, ok := d.Next(); ok; e, ok = d.Next() {
		if e.Spark {
			d.NoteSpark(d.Spark(e))
		} else {
			d.NoteFuel(d.Fuel(e))
		}
	}
}
