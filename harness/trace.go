package harness

import (
	"math/bits"
	"strings"

	"github.com/holdline/holdline/controller"
)

// Column is one tick channel of a trace: whole numbers in core units, one a
// tick.
type Column struct {
	Quantity
	// Held says that the value stands between ticks; otherwise it moves in a
	// straight line.
	Held bool
	// Words, if not nil, spells a raw value: a state by name, or a set of
	// reasons joined by a plus sign.
	Words func(int32) string

	Data []int32
	get  func(*Frame) int32
}

// EventRow is one commit of a trace.
type EventRow struct {
	Tick uint32
	Event
}

// Trace keeps a run in memory, by columns. It is a Sink. Its buffers are reused
// by Reset.
type Trace struct {
	Period  controller.Duration
	Columns []Column
	Events  []EventRow
	Ticks   int
}

// NewTrace prepares the columns that a calibration fills: fitted channels,
// stages and shots that exist.
func NewTrace(cal *controller.Calibration) *Trace {
	return &Trace{Period: cal.Period, Columns: TraceColumns(cal)}
}

// Reset empties the trace and keeps its buffers.
func (t *Trace) Reset() {
	for i := range t.Columns {
		t.Columns[i].Data = t.Columns[i].Data[:0]
	}
	t.Events, t.Ticks = t.Events[:0], 0
}

// Record implements Sink.
func (t *Trace) Record(f *Frame) error {
	if !f.EventsOnly {
		for i := range t.Columns {
			c := &t.Columns[i]
			c.Data = append(c.Data, c.get(f))
		}
		t.Ticks++
	}
	for i := range f.Events[:f.N] {
		t.Events = append(t.Events, EventRow{Tick: f.Tick, Event: f.Events[i]})
	}
	return nil
}

// Column finds a column by name, or gives nil.
func (t *Trace) Column(name string) *Column {
	for i := range t.Columns {
		if t.Columns[i].Name == name {
			return &t.Columns[i]
		}
	}
	return nil
}

// Value reads the column's raw value off a frame.
func (c *Column) Value(f *Frame) int32 { return c.get(f) }

// demandPer makes percent of a demand.
const demandPer = float64(controller.FullDemand) / 100

// TraceColumns lists the tick channels of a calibration, without data.
func TraceColumns(cal *controller.Calibration) []Column {
	cols := inputColumns(cal)
	cols = append(cols, outputColumns()...)
	for i := range cal.Stages {
		if cal.Stages[i].Kind != controller.NoStage {
			cols = append(cols, stageColumns(cal, i)...)
		}
	}
	for i := range cal.Shots {
		if cal.Shots[i].When != controller.NoShot {
			cols = append(cols, shotColumns(i)...)
		}
	}
	return cols
}

func inputColumns(cal *controller.Calibration) []Column {
	var cols []Column
	for c := range controller.NumChannels {
		if cal.Channels[c].Fitted {
			cols = append(cols, Column{Quantity: Channels[c], Held: c == controller.Gear || c == controller.SurfaceTrim,
				get: func(f *Frame) int32 { return f.In.Channels[c].Value }})
		}
	}
	on := func(f *Frame) int32 { return int32(f.In.On & f.In.Known & cal.Switches) }
	known := func(f *Frame) int32 { return int32(cal.Switches &^ f.In.Known) }
	return append(cols,
		Column{Quantity: Quantity{"switches", "", 1}, Held: true, Words: switchWords, get: on},
		Column{Quantity: Quantity{"switches-lost", "", 1}, Held: true, Words: switchWords, get: known},
		Column{Quantity: Quantity{"channels-lost", "", 1}, Held: true, Words: channelWords,
			get: func(f *Frame) int32 { return int32(f.Out.Lost) }},
		Column{Quantity: Quantity{"channels-bad", "", 1}, Held: true, Words: channelWords,
			get: func(f *Frame) int32 { return int32(badChannels(cal, f)) }},
	)
}

// badChannels is the bench's own judgement of what the unit was given: fitted
// channels that say they are faulty, are out of their electrical range or too
// old. A unit's answer is held against it.
func badChannels(cal *controller.Calibration, f *Frame) (bad controller.ChannelSet) {
	for c := range controller.NumChannels {
		spec, s := &cal.Channels[c], &f.In.Channels[c]
		if !spec.Fitted {
			continue
		}
		ok := s.Good && s.Value >= spec.Low && s.Value <= spec.High
		age := int64(s.Age) * int64(cal.Period)
		if c == controller.EngineSpeed {
			ok = ok && !staleSpeed(cal, controller.Speed(s.Value), age)
		} else {
			ok = ok && age <= int64(spec.LongestAge)
		}
		if !ok {
			bad |= 1 << c
		}
	}
	return bad
}

// staleSpeed reports whether an engine speed measured age us ago is older than
// the larger of 20 ms and two firing intervals at that speed.
func staleSpeed(cal *controller.Calibration, n controller.Speed, age int64) bool {
	if age <= 20*int64(controller.Millisecond) || n <= 0 || cal.Engine.Cylinders == 0 {
		return false
	}
	// 720 degrees take 1.2e9 us over tenths of rpm.
	return age*int64(n)*int64(cal.Engine.Cylinders) > 2*1_200_000_000
}

func outputColumns() []Column {
	held := func(name, unit string, per float64, get func(*Frame) int32) Column {
		return Column{Quantity: Quantity{name, unit, per}, Held: true, get: get}
	}
	words := func(name string, spell func(int32) string, get func(*Frame) int32) Column {
		return Column{Quantity: Quantity{name, "", 1}, Held: true, Words: spell, get: get}
	}
	return []Column{
		words("sequence", func(x int32) string { return controller.SequenceState(x).String() }, func(f *Frame) int32 { return int32(f.Out.Sequence) }),
		words("marks", markWords, func(f *Frame) int32 { return int32(f.Out.Marks) }),
		words("speed-state", func(x int32) string { return controller.SpeedState(x).String() }, func(f *Frame) int32 { return int32(f.Out.Speed) }),
		words("faults", faultWords, func(f *Frame) int32 { return int32(f.Out.Faults) }),
		held("stages-active", "", 1, func(f *Frame) int32 { return int32(f.Out.Active) }),
		held("stage", "", 1, func(f *Frame) int32 { return int32(f.Out.Stage) }),
		held("cut-stage", "", 1, func(f *Frame) int32 { return int32(f.Out.CutStage) }),
		held("ceiling", "rpm", 10, func(f *Frame) int32 { return int32(f.Out.Ceiling) }),
		held("target-ceiling", "rpm", 10, func(f *Frame) int32 { return int32(f.Out.Target) }),
		held("demand", "%", demandPer, func(f *Frame) int32 { return int32(f.Out.Demand) }),
		words("medium", func(x int32) string { return MediumName(controller.Medium(x)) }, func(f *Frame) int32 { return int32(f.Out.Medium) }),
		held("base", "deg", 100, func(f *Frame) int32 { return int32(f.Out.Base) }),
		held("timing", "deg", 100, func(f *Frame) int32 { return int32(f.Out.Timing) }),
		held("mixture", "", 10000, func(f *Frame) int32 { return int32(f.Out.Mixture) }),
		held("boost-target", "kPa", 1000, func(f *Frame) int32 { return int32(f.Out.Boost) }),
		held("trim", "rpm", 10, func(f *Frame) int32 { return int32(f.Out.Trim) }),
		held("slope", "rpm/s", 1, func(f *Frame) int32 { return f.Out.Slope }),
		held("ticks-since-release", "", 1, func(f *Frame) int32 { return int32(f.Out.SinceRelease) }),
		held("last-withheld", "", 1, func(f *Frame) int32 { return int32(f.Out.LastWithheld) }),
		held("restarted", "", 1, func(f *Frame) int32 { return bit(f.Flags&UnitRestarted != 0) }),
		held("master-valve", "", 1, func(f *Frame) int32 { return bit(f.Out.Master) }),
	}
}

func stageColumns(cal *controller.Calibration, i int) []Column {
	name := "stage-" + Slug(StageName(cal, i))
	return []Column{
		{Quantity: Quantity{name + "-active", "", 1}, Held: true, get: func(f *Frame) int32 { return int32(f.Out.Active) >> i & 1 }},
		{Quantity: Quantity{name + "-ceiling", "rpm", 10}, Held: true, get: func(f *Frame) int32 { return (int32(f.Out.Active) >> i & 1) * int32(f.Out.StageCeiling[i]) }},
		{Quantity: Quantity{name + "-inhibits", "", 1}, Held: true, Words: StageInhibitWords, get: func(f *Frame) int32 { return int32(f.Out.StageInhibits[i]) }},
	}
}

func shotColumns(i int) []Column {
	name := "shot-" + string(rune('1'+i))
	q := func(what, unit string, per float64, get func(*Frame) int32) Column {
		return Column{Quantity: Quantity{name + what, unit, per}, Held: true, get: get}
	}
	phase := q("-phase", "", 1, func(f *Frame) int32 { return int32(f.Out.Shots[i].Phase) })
	phase.Words = func(x int32) string { return controller.ShotPhase(x).String() }
	inhibits := q("-inhibits", "", 1, func(f *Frame) int32 { return int32(f.Out.Shots[i].Inhibits) })
	inhibits.Words = ShotInhibitWords
	return []Column{
		phase,
		q("-duty", "%", 100, func(f *Frame) int32 { return int32(f.Out.Shots[i].Duty) }),
		q("-fuel-duty", "%", 100, func(f *Frame) int32 { return int32(f.Out.Shots[i].FuelDuty) }),
		q("-retard", "deg", 100, func(f *Frame) int32 { return int32(f.Out.Shots[i].Retard) }),
		q("-enrich", "", 10000, func(f *Frame) int32 { return int32(f.Out.Shots[i].Enrich) }),
		inhibits,
	}
}

// Slug turns a name into lower case words joined by hyphens.
func Slug(name string) string {
	return strings.Join(strings.FieldsFunc(strings.ToLower(name), func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= '0' && r <= '9')
	}), "-")
}

func bit(b bool) int32 {
	if b {
		return 1
	}
	return 0
}

// joinBits spells a set: the name of each bit that is set, joined by +.
func joinBits(set uint32, name func(int) string) string {
	var parts []string
	for ; set != 0; set &= set - 1 {
		parts = append(parts, name(bits.TrailingZeros32(set)))
	}
	return strings.Join(parts, "+")
}

// StageInhibitWords spells a raw set of stage inhibits.
func StageInhibitWords(x int32) string {
	return joinBits(uint32(x), func(i int) string { return controller.StageInhibits(1 << i).Name() })
}

// ShotInhibitWords spells a raw set of shot inhibits.
func ShotInhibitWords(x int32) string {
	return joinBits(uint32(x), func(i int) string { return controller.ShotInhibits(1 << i).Name() })
}

func faultWords(x int32) string {
	return joinBits(uint32(x), func(i int) string { return controller.Faults(1 << i).Name() })
}

func switchWords(x int32) string {
	return joinBits(uint32(x), func(i int) string { return Switches[i%len(Switches)] })
}

func channelWords(x int32) string {
	return joinBits(uint32(x), func(i int) string { return Channels[i%len(Channels)].Name })
}

func markWords(x int32) string {
	names := [...]string{"earned", "released", "bump", "aborted", "ended"}
	return joinBits(uint32(x), func(i int) string { return names[i%len(names)] })
}
