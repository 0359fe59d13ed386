package controller

// Severity of a Problem.
const (
	problemWarning = false
	problemError   = true
)

// Part names what a Problem is about.
type Part uint8

// The parts of a calibration.
const (
	PartEngine Part = iota
	PartChannel
	PartSequence
	PartStage
	PartTable
	PartStanding
	PartShot
	PartCalibration
)

// Problem is one thing that keeps a calibration from being sealed (Error), or
// that its author should know. All texts are constants, so that firmware can
// collect problems without a heap.
type Problem struct {
	Error  bool
	Part   Part
	Index  uint8  // of channel, stage, table or shot
	Field  string // key, as calibration files spell it without its unit
	Reason string
	Value  int32 // in the field's own unit; meaningful with Low and High
	Low    int32
	High   int32
	Ranged bool // Value, Low and High are filled in
}

// Problems collects up to a fixed number of problems.
type Problems struct {
	List  [64]Problem
	N     int // in List
	Total int // found
	Fatal int // of those, errors
}

func (p *Problems) add(x Problem) {
	if p.N < len(p.List) {
		p.List[p.N] = x
		p.N++
	}
	p.Total++
	if x.Error {
		p.Fatal++
	}
}

// sealer walks a calibration once: it checks every field and rule and fills in
// what the step needs in ticks.
type sealer struct {
	cal   *Calibration
	p     *Problems // nil: nobody asked
	fatal bool
	part  Part
	index uint8
}

// Seal checks a calibration and prepares it for use: times become ticks,
// tables get the reciprocals of their segments. It reports everything it finds
// and returns whether the calibration is usable; a calibration that is not
// sealed commands nothing. Sealing again is harmless. p may be nil where the
// reasons are of no use, as in firmware: it is several kilobytes.
func (c *Calibration) Seal(p *Problems) bool {
	if p != nil {
		*p = Problems{}
	}
	c.sealed = false
	s := sealer{cal: c, p: p}
	s.at(PartCalibration, 0)
	s.between("period", int32(c.Period), 100, 10000)
	if s.fatal {
		return false
	}
	s.engine(&c.Engine)
	s.channels()
	s.sequence(&c.Sequence)
	for i := range c.Tables {
		s.at(PartTable, i)
		s.table(&c.Tables[i])
	}
	s.stages()
	s.shots()
	c.sealed = !s.fatal
	return c.sealed
}

// Sealed reports whether the calibration has been accepted.
func (c *Calibration) Sealed() bool { return c.sealed }

func (s *sealer) at(part Part, index int) { s.part, s.index = part, uint8(index) }

// What follows up to perTick is called from some two hundred places. Inlined there it
// would be half of a firmware.

//go:noinline
func (s *sealer) add(x Problem) {
	s.fatal = s.fatal || x.Error
	if s.p != nil {
		s.p.add(x)
	}
}

//go:noinline
func (s *sealer) fail(field, reason string) {
	s.add(Problem{Error: problemError, Part: s.part, Index: s.index, Field: field, Reason: reason})
}

//go:noinline
func (s *sealer) warn(field, reason string) {
	s.add(Problem{Error: problemWarning, Part: s.part, Index: s.index, Field: field, Reason: reason})
}

//go:noinline
func (s *sealer) failIf(bad bool, field, reason string) {
	if bad {
		s.fail(field, reason)
	}
}

//go:noinline
func (s *sealer) warnIf(bad bool, field, reason string) {
	if bad {
		s.warn(field, reason)
	}
}

//go:noinline
func (s *sealer) between(field string, x, low, high int32) bool {
	if x >= low && x <= high {
		return true
	}
	s.add(Problem{
		Error: problemError, Part: s.part, Index: s.index, Field: field,
		Reason: "out of range", Value: x, Low: low, High: high, Ranged: true,
	})
	return false
}

// ticks converts a time, rounded up, and checks its range. longest is in ticks.
//
//go:noinline
func (s *sealer) ticks(field string, d Duration, longest uint32) uint32 {
	period := uint32(s.cal.Period)
	high := Duration(min(longest, uint32(2000*Second)/period) * period)
	if !s.between(field, int32(d), 0, int32(high)) {
		return 0
	}
	return (uint32(d) + period - 1) / period
}

// perTick converts a rate per second, rounded up so that a ramp never takes
// longer than stated; 0 stays 0.
//
//go:noinline
func (s *sealer) perTick(field string, rate, highest int32) int32 {
	if !s.between(field, rate, 0, highest) || rate == 0 {
		return 0
	}
	return int32(quotient(uint64(rate)*uint64(s.cal.Period)+uint64(Second)-1, uint32(Second)))
}

const (
	shortTicks = 60000   // what a 16-bit timer holds
	longTicks  = 1 << 24 // what the guards' and totals' counters hold
)

func (s *sealer) engine(e *Engine) {
	s.at(PartEngine, 0)
	if !s.between("cylinders", int32(e.Cylinders), 1, MaxCylinders) {
		return
	}
	s.order(e)
	s.intervals(e)
	s.failIf(e.Ignition >= numIgnitions, "ignition", "no such arrangement of coils")
	s.failIf(e.Fuel >= numFuelSystems, "fuel", "no such arrangement of injectors")
	s.between("fuel_delay", int32(e.FuelDelay), 0, 1440*int32(Degree))
	s.between("spark_delay", int32(e.SparkDelay), 0, 1440*int32(Degree))
	s.between("cranking_below", int32(e.CrankingBelow), 50*int32(RPM), 1000*int32(RPM))
	s.between("overrun_margin", int32(e.OverrunMargin), 0, 2000*int32(RPM))
	// Two slots a cylinder: a cycle must get its spark before the fuel of the
	// next but one.
	s.between("commit_lead", int32(e.CommitLead), 0, 2*int32(e.Cylinders)-1)
	s.between("trim_step", int32(e.TrimStep), 0, 1000*int32(RPM))
	s.between("trim_max", int32(e.TrimMax), 0, 2000*int32(RPM))
	s.between("boost_min", int32(e.BoostMin), 0, 10*int32(Bar))
	s.curve("base", e.BaseAngle, int32(LatestTiming), int32(EarliestTiming))
	s.curve("boost_base", e.BoostBase, 0, 10*int32(Bar))
	s.warnIf(e.KeepFiring, "keep_firing", "an unknown engine speed will not stop the engine: nothing limits it then")
	s.warnIf(!e.RateCheck, "rate_check", "without it a speed sensor stuck at zero passes for a cranking engine: nothing limits it then")
	s.warnIf(e.TrimMax > 500*RPM, "trim_max", "a trim of more than 500 rpm is a different launch; change the ceiling")
	period := uint32(s.cal.Period)
	e.t.staleMin = (20000 + period - 1) / period
	e.t.windowMin = (10000 + period - 1) / period
	// One event takes 120/(n N) s; phases are in 1/65536 event, speed in tenths.
	e.t.phaseGain = quotient(uint64(e.Cylinders)*uint64(period)*(phaseOfEvent<<20), 1200000000)
	e.t.microQ = quotient(1<<30, period)
	e.t.slopeQ = quotient(uint64(Second)<<16, period*uint32(RPM)<<slopeShift)
}

func (s *sealer) order(e *Engine) {
	var seen uint16
	e.position = [MaxCylinders]uint8{}
	for i := range MaxCylinders {
		cyl := e.Order[i]
		if i >= int(e.Cylinders) {
			s.failIf(cyl != 0, "firing_order", "names more cylinders than the engine has")
			continue
		}
		if cyl < 1 || cyl > e.Cylinders || seen>>(cyl-1)&1 != 0 {
			s.fail("firing_order", "must name every cylinder from 1 up exactly once")
			return
		}
		seen |= 1 << (cyl - 1)
		e.position[cyl-1] = uint8(i)
	}
	e.spread = spreadStarts(e.Cylinders)
}

func (s *sealer) intervals(e *Engine) {
	sum, first := Angle(0), e.Intervals[0]
	e.t.evenFire = true
	for i, a := range e.Intervals {
		if i < int(e.Cylinders) {
			e.t.evenFire = e.t.evenFire && a == first
			s.failIf(a < 0, "intervals", "an interval cannot be negative")
		} else {
			s.failIf(a != 0, "intervals", "gives more intervals than the engine has cylinders")
		}
		sum += a
	}
	s.failIf(sum != 0 && sum != 720*Degree, "intervals", "firing intervals must sum to 720 degrees")
}

// channelRange is what the unit of a channel can sensibly hold.
func (s *sealer) channels() {
	s.cal.fitted = 0
	for i := range s.cal.Channels {
		s.at(PartChannel, i)
		c := &s.cal.Channels[i]
		if !c.Fitted {
			c.age, c.span = 0, 0
			continue
		}
		s.cal.fitted |= 1 << i
		s.failIf(c.High <= c.Low, "range", "the upper end of the electrical range must lie above the lower")
		s.failIf(c.OnLoss >= numLossActions, "on_loss", "no such action")
		s.warnIf(c.Driven && i != int(RoadSpeedMain) && i != int(RoadSpeedOther), "driven", "only a road speed can come from driven wheels")
		c.age = s.ticks("longest_age", c.LongestAge, shortTicks)
		c.span = uint32(c.High) - uint32(c.Low)
		s.failIf(Channel(i) != EngineSpeed && c.age == 0, "longest_age", "a channel without a longest age would be stale at once")
	}
	s.at(PartChannel, int(EngineSpeed))
	speed := &s.cal.Channels[EngineSpeed]
	s.failIf(!speed.Fitted, "fitted", "engine speed must be fitted")
	s.between("range", speed.Low, 0, 20000*int32(RPM))
	s.between("range", speed.High, 0, 20000*int32(RPM))
	s.at(PartCalibration, 0)
	s.failIf(s.cal.Switches>>NumSwitches != 0, "switches", "no such switch")
}

func (s *sealer) sequence(q *Sequence) {
	s.at(PartSequence, 0)
	s.failIf(q.Hold >= numHoldInputs, "hold", "no such hold input")
	q.t = sequenceTicks{
		earn:     s.ticks("earn", q.Earn, shortTicks),
		abort:    s.ticks("abort_after", q.AbortAfter, shortTicks),
		clear:    s.ticks("clear_after", q.ClearAfter, shortTicks),
		loss:     s.ticks("loss_after", q.LossAfter, shortTicks),
		endLift:  s.ticks("end_lift", q.EndLift, shortTicks),
		reapply:  s.ticks("foot_brake", 300*Millisecond, shortTicks),
		endAfter: s.ticks("end_after", q.EndAfter, longTicks),
		ret:      s.ticks("return_time", q.ReturnTime, shortTicks),
		millisQ:  quotient(uint64(s.cal.Period)<<16, 1000),
	}
	s.between("throttle_closed", int32(q.ThrottleShut), 0, int32(One))
	s.between("throttle_min", int32(q.ThrottleMin), 0, int32(One))
	s.between("comeback", int32(q.Comeback), 0, int32(One))
	if q.Hold == HoldNone {
		return
	}
	s.failIf(q.ThrottleMin <= q.ThrottleShut, "throttle_min", "must lie above throttle_closed: otherwise no lift is ever seen")
	s.failIf(q.Earn < 50*Millisecond, "earn", "a hold must be earned for at least 50 ms: a bump into the beams would pass for a launch")
	s.failIf(q.EndAfter == 0, "end_after", "a launch needs a longest time")
	s.failIf(q.t.abort == 0, "abort_after", "must be above 0")
	s.failIf(q.t.clear == 0, "clear_after", "must be above 0")
	s.failIf(q.t.loss == 0, "loss_after", "must be above 0")
	s.failIf(q.t.endLift == 0, "end_lift", "must be above 0")
	s.between("entry_road_speed", int32(q.EntrySpeed), 0, 30*int32(MetrePerSecond))
	s.between("entry_above", int32(q.EntryAbove), 0, 5000*int32(RPM))
	s.between("earn_within", int32(q.EarnWithin), 0, 5000*int32(RPM))
	s.between("return_time", int32(q.ReturnTime), 0, 2*int32(Second))
	s.failIf(!s.fitted(Throttle), "throttle_min", "the launch sequence needs the throttle channel")
	s.failIf(!s.fitted(RoadSpeedMain), "entry_road_speed", "the launch sequence needs the road speed channel: without it a clutch pressed at speed could pass for a launch")
	s.holdInput(q)
}

func (s *sealer) holdInput(q *Sequence) {
	switch q.Hold {
	case HoldClutch:
		s.needSwitch("hold", ClutchDown)
	case HoldTransBrake:
		s.needSwitch("hold", TransBrake)
	case HoldFootBrake:
		s.needSwitch("hold", FootBrake)
	case HoldBrakePressure:
		s.failIf(!s.fitted(BrakePressure), "hold", "the brake pressure channel is not fitted")
		s.failIf(q.HoldPressure <= 0, "hold_pressure", "must be above 0")
	}
}

//go:noinline
func (s *sealer) fitted(c Channel) bool {
	return c >= NumChannels || s.cal.Channels[c].Fitted
}

//go:noinline
func (s *sealer) needSwitch(field string, sw Switch) {
	s.failIf(!s.cal.Switches.Has(sw), field, "names a switch that is not fitted")
}

// table checks the axes, prepares them, and finds the lowest cell.
func (s *sealer) table(t *Table) {
	t.lowest = 0
	if t.Columns.N == 0 {
		s.failIf(t.Rows.N != 0, "columns", "a table needs a column axis")
		return
	}
	ok := s.axis("columns", &t.Columns)
	if t.Rows.N != 0 {
		ok = s.axis("rows", &t.Rows) && ok
		s.failIf(t.Rows.Channel == t.Columns.Channel, "rows", "both axes read the same channel")
	}
	if !ok {
		return
	}
	t.lowest = t.Cells[0][0]
	for r := range max(int(t.Rows.N), 1) {
		for c := range int(t.Columns.N) {
			t.lowest = min(t.lowest, t.Cells[r][c])
		}
	}
}

func (s *sealer) axis(field string, a *Axis) bool {
	if a.N < 2 || a.N > MaxTablePoints {
		s.fail(field, "an axis has 2 to 8 points")
		return false
	}
	for i := 0; i+1 < int(a.N); i++ {
		if a.Points[i+1] <= a.Points[i] {
			s.fail(field, "points must rise")
			return false
		}
	}
	if a.Channel > SinceRelease || !s.fitted(a.Channel) {
		s.fail(field, "the channel of this axis is not fitted")
		return false
	}
	a.prepare()
	return true
}

// curve checks a constant, or every cell of a table, against a range.
func (s *sealer) curve(field string, c Curve, low, high int32) {
	if c.Table > MaxTables || c.Table > 0 && s.cal.Tables[c.Table-1].Columns.N == 0 {
		s.fail(field, "names a table that does not exist")
		return
	}
	for i := 0; ; i++ {
		x, more := s.cal.cell(c, i)
		if !more || !s.between(field, x, low, high) {
			return
		}
	}
}

// cell gives the i-th value that a curve can take at its points.
func (c *Calibration) cell(x Curve, i int) (value int32, more bool) {
	if x.Table == 0 || x.Table > MaxTables {
		return x.Const, i == 0
	}
	t := &c.Tables[x.Table-1]
	columns := clamp(int32(t.Columns.N), 1, MaxTablePoints)
	rows := clamp(int32(t.Rows.N), 1, MaxTablePoints)
	if int32(i) >= columns*rows {
		return 0, false
	}
	return t.Cells[int32(i)/columns][int32(i)%columns], true
}

// lowest is the least value that a curve can give.
func (c *Calibration) lowest(x Curve) int32 {
	low, _ := c.cell(x, 0)
	for i := 1; ; i++ {
		v, more := c.cell(x, i)
		if !more {
			return low
		}
		low = min(low, v)
	}
}
