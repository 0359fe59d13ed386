package harness

import (
	"math"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/sim"
)

// LaunchResult is what a clock, a dyno sheet and a good ear would say of one
// simulated launch. Times are in seconds; 0 where something never happened.
type LaunchResult struct {
	Car       string  `json:"car"`
	LetGo     float64 `json:"let_go_s"`    // the launch device was let go
	HoldSpeed float64 `json:"hold_rpm"`    // mean over the window before that
	HoldSD    float64 `json:"hold_sd_rpm"` // its standard deviation
	HoldLow   float64 `json:"hold_lowest_rpm"`
	HoldHigh  float64 `json:"hold_highest_rpm"`
	Pressure  float64 `json:"release_kpa"`    // manifold pressure at let-go
	ToTarget  float64 `json:"to_target_s"`    // from open throttle to the target
	Withheld  float64 `json:"withheld_share"` // of the cycles in the window

	Reaction float64 `json:"beam_s"` // let-go to the stage beam clearing
	Feet60   float64 `json:"sixty_feet_s"`
	Feet330  float64 `json:"three_thirty_feet_s"`
	Eighth   float64 `json:"eighth_s"`
	Quarter  float64 `json:"quarter_s"`
	Trap     float64 `json:"quarter_trap_m_s"`

	LowSpeed float64 `json:"lowest_rpm"` // after let-go, to 60 ft
	Spin     float64 `json:"spin_share"` // of the time to 60 ft
	Bog      float64 `json:"bog_share"`
	Cut      float64 `json:"cut_share"`
	Grip     float64 `json:"grip_share"`
	Limit    string  `json:"limited_by"`
	Stalled  bool    `json:"stalled,omitempty"`
}

// Words of LaunchResult.Limit.
const (
	LimitStall  = "stalled"
	LimitSpin   = "wheelspin"
	LimitBog    = "engine bogs"
	LimitCut    = "ceiling"
	LimitGrip   = "grip"
	LimitEngine = "engine"
	LimitNone   = "never left"
)

// Bounds that sort the time to 60 ft: the tyre spins beyond twice the slip of
// its best force, and an engine that is pulled below this share of its held
// speed bogs (illustrative).
const (
	spinSlip  = 0.25
	bogShare  = 0.65
	deepBog   = 0.50 // pulled below this share even for a moment, it bogged
	gripShare = 0.90
)

// holdWindow is how much of the hold counts.
const holdWindow = controller.Second

// Target is what a launch waits for: a manifold pressure, an engine speed, or
// both. Zero values are not waited for.
type Target struct {
	Pressure controller.Pressure
	Speed    controller.Speed
}

// LaunchDigest is a Sink that measures one launch of a plant.
type LaunchDigest struct {
	plant  *Plant
	target Target
	result LaunchResult

	ring     []holdSample
	seen     int
	holding  bool
	letGo    bool
	openAt   uint32
	isOpen   bool
	counts   [5]int // spin, bog, cut, grip, engine
	cycles   int
	withheld int
	row      [sim.ChannelCount]float64
}

// Places of the truth channels that sort the way to 60 ft.
var (
	tyreForce    = sim.ChannelAt("tyre_force")
	tyreLoad     = sim.ChannelAt("tyre_load")
	tyreFriction = sim.ChannelAt("tyre_friction")
)

type holdSample struct {
	speed            int32
	cycles, withheld uint8
}

// NewLaunchDigest prepares a digest of a plant's run.
func NewLaunchDigest(p *Plant, target Target) *LaunchDigest {
	return &LaunchDigest{plant: p, target: target, ring: make([]holdSample, max(int(holdWindow/p.cal.Period), 1))}
}

// Record implements Sink.
func (d *LaunchDigest) Record(f *Frame) error {
	d.count(f)
	if f.EventsOnly {
		return nil
	}
	held := d.held(f)
	switch {
	case !d.letGo && d.holding && !held:
		d.release(f)
	case !d.letGo:
		d.hold(f)
	case d.result.Feet60 == 0:
		d.leave(f)
	}
	d.holding = held
	return nil
}

// held reads the input that holds the car, by the calibration's launch sequence.
func (d *LaunchDigest) held(f *Frame) bool {
	switch d.plant.cal.Sequence.Hold {
	case controller.HoldClutch:
		return f.In.On.Has(controller.ClutchDown)
	case controller.HoldTransBrake:
		return f.In.On.Has(controller.TransBrake)
	}
	return f.In.On.Has(controller.FootBrake)
}

// count adds the spark commits of a frame, and the cycles that got no power.
func (d *LaunchDigest) count(f *Frame) {
	for i := range f.Events[:f.N] {
		e := &f.Events[i]
		if e.Kind == SparkCommit {
			d.cycles++
		}
		if !e.Give && (e.Kind == FuelCommit || e.Why != controller.WhyPaired) {
			d.withheld++
		}
	}
}

func (d *LaunchDigest) hold(f *Frame) {
	speed := f.In.Channels[controller.EngineSpeed].Value
	d.ring[d.seen%len(d.ring)] = holdSample{speed, uint8(d.cycles), uint8(d.withheld)}
	d.seen++
	d.cycles, d.withheld = 0, 0
	open := f.In.Channels[controller.Throttle].Value >= int32(50*controller.Percent)
	if open && !d.isOpen {
		d.openAt = f.Tick
	}
	d.isOpen = open
	there := d.target != Target{} &&
		f.In.Channels[controller.ManifoldPressure].Value >= int32(d.target.Pressure) && speed >= int32(d.target.Speed)
	if open && there && d.result.ToTarget == 0 {
		d.result.ToTarget = d.seconds(f.Tick - d.openAt)
	}
}

func (d *LaunchDigest) seconds(ticks uint32) float64 { return float64(ticks) * d.plant.periodS }

// release closes the window of the hold.
func (d *LaunchDigest) release(f *Frame) {
	d.letGo = true
	r := &d.result
	r.LetGo = d.seconds(f.Tick)
	r.Pressure = Channels[controller.ManifoldPressure].Units(f.In.Channels[controller.ManifoldPressure].Value)
	n := min(d.seen, len(d.ring))
	var sum, square, cycles, withheld float64
	r.HoldLow, r.HoldHigh = math.Inf(1), 0
	for _, s := range d.ring[:n] {
		x := Channels[controller.EngineSpeed].Units(s.speed)
		sum += x
		square += float64(x * x)
		r.HoldLow, r.HoldHigh = min(r.HoldLow, x), max(r.HoldHigh, x)
		cycles += float64(s.cycles)
		withheld += float64(s.withheld)
	}
	if n == 0 {
		r.HoldLow = 0
		return
	}
	r.HoldSpeed = sum / float64(n)
	r.HoldSD = math.Sqrt(max(0, square/float64(n)-float64(r.HoldSpeed*r.HoldSpeed)))
	if cycles > 0 {
		r.Withheld = min(withheld/cycles, 1)
	}
	r.LowSpeed = r.HoldSpeed
}

// leave sorts one tick between let-go and 60 ft.
func (d *LaunchDigest) leave(f *Frame) {
	r := &d.result
	speed := Channels[controller.EngineSpeed].Units(f.In.Channels[controller.EngineSpeed].Value)
	r.LowSpeed = min(r.LowSpeed, speed)
	s := &d.plant.sim.State
	if s.Strip.Moved > 0 {
		d.counts[d.kind(f, speed)]++
	}
	r.Feet60 = s.Strip.Elapsed(0)
}

func (d *LaunchDigest) kind(f *Frame, speed float64) int {
	s := &d.plant.sim.State
	d.plant.sim.Truth(d.row[:])
	force, most := d.row[tyreForce], d.row[tyreLoad]*d.row[tyreFriction]
	switch {
	case s.Slip > spinSlip:
		return 0
	case speed < bogShare*d.result.HoldSpeed:
		return 1
	case f.Out.Demand > 0:
		return 2
	case force > gripShare*most:
		return 3
	}
	return 4
}

// Result gives what was measured so far.
func (d *LaunchDigest) Result() LaunchResult {
	r := d.result
	s := &d.plant.sim.State
	r.Car = d.plant.sim.Model().Car().Name
	strip := &s.Strip
	r.Feet60, r.Feet330, r.Eighth = strip.Elapsed(0), strip.Elapsed(1), strip.Elapsed(3)
	r.Quarter, r.Trap, r.Stalled = strip.Elapsed(6), strip.Trap(true), s.Stalled
	if strip.Left > 0 {
		r.Reaction = strip.Left - d.plant.sim.Conditions().StartS - r.LetGo
	}
	r.shares(d.counts)
	return r
}

// shares turns counts into shares, and names what took most of the time.
func (r *LaunchResult) shares(counts [5]int) {
	words := [5]string{LimitSpin, LimitBog, LimitCut, LimitGrip, LimitEngine}
	all, most := 0, 0
	for i, n := range counts {
		all += n
		if n > counts[most] {
			most = i
		}
	}
	switch {
	case r.Stalled:
		r.Limit = LimitStall
	case all == 0:
		r.Limit = LimitNone
	case r.LowSpeed < deepBog*r.HoldSpeed && 2*counts[0] < all:
		r.Limit = LimitBog
	default:
		r.Limit = words[most]
	}
	part := func(n int) float64 { return float64(n) / float64(max(all, 1)) }
	r.Spin, r.Bog, r.Cut, r.Grip = part(counts[0]), part(counts[1]), part(counts[2]), part(counts[3])
}

// LetGo is when the launch device was let go, in seconds; 0 before that.
func (d *LaunchDigest) LetGo() float64 { return d.result.LetGo }
