package wire

import (
	"math/bits"

	"github.com/holdline/holdline/controller"
)

// Registers is what the differences of an answer refer to: the last outputs
// reported, and the last timing and mixture.
type Registers struct {
	Out     controller.Output
	timing  int32
	mixture int32
}

// Reset forgets everything.
func (g *Registers) Reset() { *g = Registers{} }

// AnswerFlags is the set of flags of an answer.
type AnswerFlags uint8

// The flags of an answer.
const (
	WasSilent     AnswerFlags = 1 << iota // outputs had been dropped for silence
	HasTurnaround                         // microseconds follow
)

// Fields of an output, in their order on the wire.
const (
	fieldTiming  = 2
	fieldMixture = 7
	fieldStages  = 21
	fieldShots   = fieldStages + 2*controller.MaxStages
	NumFields    = fieldShots + 6*controller.MaxShots
)

// AnswerRoom is the most bytes that the answer to an item takes.
func AnswerRoom(outputs bool, events int) int {
	n := events * 6
	if outputs {
		n += 9 + 5*NumFields
	}
	return n
}

// field reads field i of an output.
func field(o *controller.Output, i int) int32 {
	switch {
	case i >= fieldShots:
		return shotField(&o.Shots[(i-fieldShots)/6], (i-fieldShots)%6)
	case i >= fieldStages && (i-fieldStages)&1 == 0:
		return int32(o.StageInhibits[(i-fieldStages)/2])
	case i >= fieldStages:
		return int32(o.StageCeiling[(i-fieldStages)/2])
	}
	switch i {
	case 0:
		return o.Slope
	case 1:
		return int32(o.Base)
	case fieldTiming:
		return int32(o.Timing)
	case 3:
		return int32(o.Demand)
	case 4:
		return int32(o.Ceiling)
	case 5:
		return int32(o.SinceRelease)
	case 6:
		return int32(o.Target)
	case fieldMixture:
		return int32(o.Mixture)
	case 8:
		return int32(o.LastWithheld)
	case 9:
		return int32(o.Sequence)
	case 10:
		return int32(o.Marks)
	case 11:
		return int32(o.Speed)
	case 12:
		return int32(o.CutStage)
	case 13:
		return int32(o.Active)
	case 14:
		return int32(o.Medium)
	case 15:
		return int32(o.Stage)
	case 16:
		return int32(o.Boost)
	case 17:
		return int32(o.Trim)
	case 18:
		return int32(o.Faults)
	case 19:
		return int32(o.Lost)
	}
	if o.Master {
		return 1
	}
	return 0
}

func shotField(s *controller.ShotOutput, i int) int32 {
	switch i {
	case 0:
		return int32(s.Phase)
	case 1:
		return int32(s.Duty)
	case 2:
		return int32(s.FuelDuty)
	case 3:
		return int32(s.Retard)
	case 4:
		return int32(s.Enrich)
	}
	return int32(s.Inhibits)
}

// setField stores field i, and reports whether the value fits it.
func setField(o *controller.Output, i int, x int32) bool {
	switch {
	case i >= fieldShots:
		return setShotField(&o.Shots[(i-fieldShots)/6], (i-fieldShots)%6, x)
	case i >= fieldStages && (i-fieldStages)&1 == 0:
		o.StageInhibits[(i-fieldStages)/2] = controller.StageInhibits(x)
		return field(o, i) == x
	case i >= fieldStages:
		o.StageCeiling[(i-fieldStages)/2] = controller.Speed(x)
		return true
	}
	switch i {
	case 0:
		o.Slope = x
	case 1:
		o.Base = controller.Angle(x)
	case fieldTiming:
		o.Timing = controller.Angle(x)
	case 3:
		o.Demand = controller.Demand(x)
	case 4:
		o.Ceiling = controller.Speed(x)
	case 5:
		o.SinceRelease = uint32(x)
	case 6:
		o.Target = controller.Speed(x)
	case fieldMixture:
		o.Mixture = controller.Ratio(x)
	case 8:
		o.LastWithheld = uint32(x)
	case 9:
		o.Sequence = controller.SequenceState(x)
	case 10:
		o.Marks = controller.Marks(x)
	case 11:
		o.Speed = controller.SpeedState(x)
	case 12:
		o.CutStage = uint8(x)
	case 13:
		o.Active = uint8(x)
	case 14:
		o.Medium = controller.Medium(x)
	case 15:
		o.Stage = uint8(x)
	case 16:
		o.Boost = controller.Pressure(x)
	case 17:
		o.Trim = controller.Speed(x)
	case 18:
		o.Faults = controller.Faults(x)
	case 19:
		o.Lost = controller.ChannelSet(x)
	default:
		o.Master = x != 0
	}
	return field(o, i) == x
}

func setShotField(s *controller.ShotOutput, i int, x int32) bool {
	switch i {
	case 0:
		s.Phase = controller.ShotPhase(x)
	case 1:
		s.Duty = controller.Ratio(x)
	case 2:
		s.FuelDuty = controller.Ratio(x)
	case 3:
		s.Retard = controller.Angle(x)
	case 4:
		s.Enrich = controller.Ratio(x)
	default:
		s.Inhibits = controller.ShotInhibits(x)
	}
	return shotField(s, i) == x
}

// AppendOutput writes what has changed in a tick's output.
func (g *Registers) AppendOutput(w *Writer, o *controller.Output) {
	var changed uint64
	for i := range NumFields {
		if field(o, i) != field(&g.Out, i) {
			changed |= 1 << i
		}
	}
	w.V(changed)
	for s := changed; s != 0; s &= s - 1 {
		i := bits.TrailingZeros64(s)
		w.Z(field(o, i), field(&g.Out, i))
	}
	g.follow(o, changed)
}

// follow takes over an output and the registers that it sets.
func (g *Registers) follow(o *controller.Output, changed uint64) {
	g.Out = *o
	if changed>>fieldTiming&1 != 0 {
		g.timing = int32(o.Timing)
	}
	if changed>>fieldMixture&1 != 0 {
		g.mixture = int32(o.Mixture)
	}
}

// ParseOutput reads an output into g.Out, and reports whether it is well
// formed.
func (g *Registers) ParseOutput(r *Reader) bool {
	changed := r.V(64)
	if changed>>NumFields != 0 {
		return false
	}
	for s := changed; s != 0; s &= s - 1 {
		i := bits.TrailingZeros64(s)
		if !setField(&g.Out, i, r.Z(field(&g.Out, i))) {
			return false
		}
	}
	g.follow(&g.Out, changed)
	return r.OK()
}

// The bits of a decision.
const (
	decisionGive = 1 << iota
	decisionUnburnt
	decisionDrop
	decisionValue = 1 << 7
	reasonShift   = 3
)

// expected is the value that a decision has without a difference.
func (g *Registers) expected(e *Event) int32 {
	switch {
	case e.Kind == Spark:
		return g.timing
	case e.Give:
		return g.mixture
	}
	return 0
}

func (g *Registers) learn(e *Event) {
	switch {
	case e.Kind == Spark:
		g.timing = e.Value
	case e.Give:
		g.mixture = e.Value
	}
}

// AppendDecision writes the decision of an event.
func (g *Registers) AppendDecision(w *Writer, e *Event) {
	b := uint8(e.Why) & 15 << reasonShift
	if e.Give {
		b |= decisionGive
	}
	if e.Unburnt {
		b |= decisionUnburnt
	}
	if e.Drop {
		b |= decisionDrop
	}
	want := g.expected(e)
	if e.Value == want {
		w.U8(b)
		return
	}
	w.U8(b | decisionValue)
	w.Z(e.Value, want)
	g.learn(e)
}

// ParseDecision reads a decision into its event, whose kind is known.
func (g *Registers) ParseDecision(r *Reader, e *Event) {
	b := r.U8()
	e.Give, e.Unburnt, e.Drop = b&decisionGive != 0, b&decisionUnburnt != 0, b&decisionDrop != 0
	e.Why = controller.Reason(b >> reasonShift & 15)
	e.Value = g.expected(e)
	if b&decisionValue != 0 {
		e.Value = r.Z(e.Value)
		g.learn(e)
	}
}
