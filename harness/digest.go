package harness

import (
	"math/bits"
	"sort"

	"github.com/holdline/holdline/controller"
)

// MaxSpans is how many stretches of one kind a digest keeps; it counts the rest.
const MaxSpans = 256

// Digest is a Sink that keeps the numbers of results.json while a run of any
// length goes by: work is done where something changes, memory is bounded.
type Digest struct {
	cal    *controller.Calibration
	period float64
	now    uint32 // tick after the last one seen

	sequence  []stateFrom
	marks     [5]int
	active    [controller.MaxStages]stretch
	cutting   [controller.MaxStages]uint32
	why       [controller.MaxStages]reasons
	open      [controller.MaxShots]stretch
	shotWhy   [controller.MaxShots]reasons
	lost      reasons
	cylinders [controller.MaxCylinders]cylinderDigest
	cuts      CutResult
	link      LinkResult
}

type stateFrom struct {
	state controller.SequenceState
	from  uint32
}

// stretch collects the spans in which something is on.
type stretch struct {
	on    bool
	from  uint32
	total uint32
	count int
	spans [][2]uint32
}

func (s *stretch) set(on bool, now uint32) {
	if on == s.on {
		return
	}
	s.on = on
	if on {
		s.from = now
		s.count++
		return
	}
	s.total += now - s.from
	if len(s.spans) < MaxSpans {
		s.spans = append(s.spans, [2]uint32{s.from, now})
	}
}

// reasons collects how long each bit of a set stood.
type reasons struct {
	set     uint32
	since   [32]uint32
	total   [32]uint32
	longest [32][2]uint32
}

func (r *reasons) update(set uint32, now uint32) {
	for changed := r.set ^ set; changed != 0; changed &= changed - 1 {
		i := bits.TrailingZeros32(changed)
		if set>>i&1 != 0 {
			r.since[i] = now
			continue
		}
		r.total[i] += now - r.since[i]
		if now-r.since[i] > r.longest[i][1]-r.longest[i][0] {
			r.longest[i] = [2]uint32{r.since[i], now}
		}
	}
	r.set = set
}

type cylinderDigest struct {
	cycles, fuel, spark int
	run, longest        int
	pending             [2]fuelMemory // fuel commits whose spark is still to come, by parity of the cycle
}

type fuelMemory struct {
	cycle     controller.Cycle
	cut, seen bool
}

// NewDigest prepares a digest.
func NewDigest(cal *controller.Calibration) *Digest {
	return &Digest{cal: cal, period: float64(cal.Period) / float64(controller.Second)}
}

// Record implements Sink.
func (d *Digest) Record(f *Frame) error {
	if !f.EventsOnly {
		d.tick(f)
	}
	for i := range f.Events[:f.N] {
		d.event(&f.Events[i])
	}
	return nil
}

func (d *Digest) tick(f *Frame) {
	o, now := &f.Out, f.Tick
	d.now = now + 1
	if n := len(d.sequence); n == 0 || d.sequence[n-1].state != o.Sequence {
		if n < 4*MaxSpans {
			d.sequence = append(d.sequence, stateFrom{o.Sequence, now})
		}
	}
	for m := o.Marks; m != 0; m &= m - 1 {
		d.marks[bits.TrailingZeros8(uint8(m))%len(d.marks)]++
	}
	for i := range d.active {
		d.active[i].set(o.Active>>i&1 != 0, now)
		if w := uint32(o.StageInhibits[i]); w != d.why[i].set {
			d.why[i].update(w, now)
		}
	}
	if o.Demand > 0 && o.Speed == controller.SpeedGood {
		d.cutting[o.CutStage%controller.MaxStages]++
	}
	for i := range d.open {
		d.open[i].set(o.Shots[i].Phase == controller.ShotOpen, now)
		if w := uint32(o.Shots[i].Inhibits); w != d.shotWhy[i].set {
			d.shotWhy[i].update(w, now)
		}
	}
	if w := uint32(o.Lost); w != d.lost.set {
		d.lost.update(w, now)
	}
	d.flags(f.Flags)
}

func (d *Digest) flags(f LinkFlags) {
	d.link.Late += int(bit(f&LinkLate != 0))
	d.link.Retried += int(bit(f&LinkRetried != 0))
	d.link.Missed += int(bit(f&LinkMissed != 0))
}

// event counts one answered commit; the spark commit closes its cycle.
func (d *Digest) event(e *Event) {
	c := &d.cylinders[(e.Cylinder-1)%controller.MaxCylinders]
	if e.Why == controller.WhySpeedUnknown && e.Kind == FuelCommit {
		d.cuts.Blind++
	}
	if e.Kind == FuelCommit {
		c.pending[e.Cycle&1] = fuelMemory{e.Cycle, !e.Give, true}
		c.fuel += int(bit(!e.Give))
		return
	}
	c.cycles++
	sparkCut := !e.Give
	c.spark += int(bit(sparkCut))
	d.cuts.Unburnt += int(bit(e.Unburnt))
	overrun := e.Why == controller.WhyOverrun
	d.cuts.Overrun += int(bit(overrun))
	fuel := &c.pending[e.Cycle&1]
	fuelCut := fuel.seen && fuel.cycle == e.Cycle && fuel.cut
	d.cuts.Both += int(bit(fuelCut && sparkCut))
	d.cuts.FuelOnly += int(bit(fuelCut && !sparkCut))
	d.cuts.SparkOnly += int(bit(sparkCut && !fuelCut))
	if sparkCut || fuelCut {
		c.run++
		c.longest = max(c.longest, c.run)
	} else {
		c.run = 0
	}
}

// Fill writes what was seen so far into results.
func (d *Digest) Fill(r *Results) {
	r.Schema, r.Period, r.Ticks = ResultsSchema, d.period, d.now
	r.Seconds = d.at(d.now)
	r.Calibration = d.cal.Name.String()
	r.Launches, r.Bumps, r.Aborts = d.marks[1], d.marks[2], d.marks[3]
	r.Sequence = d.sequenceSpans()
	r.Stages, r.Shots = nil, nil
	for i := range d.cal.Stages {
		if d.cal.Stages[i].Kind != controller.NoStage {
			r.Stages = append(r.Stages, d.stageResult(i))
		}
	}
	for i := range d.cal.Shots {
		if d.cal.Shots[i].When != controller.NoShot {
			r.Shots = append(r.Shots, d.shotResult(i))
		}
	}
	r.Cuts, r.Link = d.cuts, d.link
	r.Cuts.Cylinders = nil
	for i := range int(d.cal.Engine.Cylinders) {
		c := &d.cylinders[i]
		r.Cuts.Cylinders = append(r.Cuts.Cylinders, CylinderCuts{i + 1, c.cycles, c.fuel, c.spark, c.longest})
	}
	r.Lost = nil
	for _, x := range d.inhibited(d.lost, func(i int) string { return Channels[i%len(Channels)].Name }) {
		r.Lost = append(r.Lost, LostResult{x.Reason, x.Seconds})
	}
	if r.Requirements == nil {
		r.Requirements = []RequirementResult{}
	}
	if r.Verdict == "" {
		r.Verdict = VerdictNone
	}
}

func (d *Digest) at(tick uint32) float64 { return float64(tick) * d.period }

func (d *Digest) sequenceSpans() []StateSpan {
	spans := make([]StateSpan, len(d.sequence))
	for i, s := range d.sequence {
		to := d.now
		if i+1 < len(d.sequence) {
			to = d.sequence[i+1].from
		}
		spans[i] = StateSpan{s.state.String(), Span{d.at(s.from), d.at(to)}}
	}
	return spans
}

// spans closes a stretch at the present without changing it.
func (d *Digest) spans(s stretch) (list []Span, total float64) {
	s.set(false, d.now)
	for _, x := range s.spans {
		list = append(list, Span{d.at(x[0]), d.at(x[1])})
	}
	return list, d.at(s.total)
}

func (d *Digest) inhibited(r reasons, name func(int) string) []Inhibited {
	r.update(0, d.now)
	var list []Inhibited
	for i, total := range r.total {
		if total > 0 {
			list = append(list, Inhibited{name(i), d.at(total), Span{d.at(r.longest[i][0]), d.at(r.longest[i][1])}})
		}
	}
	sort.SliceStable(list, func(i, j int) bool { return list[i].Seconds > list[j].Seconds })
	return list
}

func (d *Digest) stageResult(i int) StageResult {
	st := &d.cal.Stages[i]
	spans, total := d.spans(d.active[i])
	return StageResult{
		Name: StageName(d.cal, i), Kind: KindName(st.Kind), Active: total, Cutting: d.at(d.cutting[i]),
		Entries: d.active[i].count, Spans: spans,
		Inhibited: d.inhibited(d.why[i], func(b int) string { return controller.StageInhibits(1 << b).Name() }),
	}
}

func (d *Digest) shotResult(i int) ShotResult {
	spans, total := d.spans(d.open[i])
	return ShotResult{
		Name: ShotName(d.cal, i), Open: total, Openings: d.open[i].count, Spans: spans,
		Inhibited: d.inhibited(d.shotWhy[i], func(b int) string { return controller.ShotInhibits(1 << b).Name() }),
	}
}
