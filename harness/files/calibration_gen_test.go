package files

import (
	"reflect"
	"regexp"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/holdline/holdline/controller"
)

// calGen draws calibrations that seal, up to the limits of capacity.
type calGen struct {
	t     *rapid.T
	c     *controller.Calibration
	fits  []controller.Channel // fitted, and the time since release
	kinds [controller.MaxTables]CellUnit
	n     int // tables
}

func (g *calGen) num(lo, hi int32) int32 { return rapid.Int32Range(lo, hi).Draw(g.t, "n") }
func (g *calGen) yes() bool              { return rapid.Bool().Draw(g.t, "bool") }
func (g *calGen) rpm(lo, hi int32) controller.Speed {
	return controller.Speed(g.num(lo*10, hi*10))
}

// time draws a time of at most so many ticks, or none.
func (g *calGen) time(ticks int64) controller.Duration {
	most := min(ticks*int64(g.c.Period), 2000*int64(controller.Second))
	return controller.Duration(rapid.Int64Range(0, most/int64(g.c.Period)*int64(g.c.Period)).Draw(g.t, "time"))
}

func (g *calGen) some(ticks int64) controller.Duration { return max(g.time(ticks), 1) }

func (g *calGen) name() controller.Name {
	return controller.NameOf(rapid.StringMatching(`[a-zA-Z0-9 _.#"\\-]{1,16}`).Draw(g.t, "name"))
}

const (
	shortTime = 60000
	longTime  = 1 << 24
)

func drawCalibration(t *rapid.T) *controller.Calibration {
	g := &calGen{t: t, c: &controller.Calibration{}}
	c := g.c
	c.Name = controller.NameOf(rapid.StringMatching(`[ -~]{0,16}`).Draw(t, "name"))
	c.Period = controller.Duration(g.num(100, 10000))
	c.Switches = controller.SwitchSet(g.num(0, 1<<controller.NumSwitches-1))
	g.channels()
	g.tables()
	g.engine(&c.Engine)
	g.sequence(&c.Sequence)
	g.stages()
	if c.Sequence.Hold != controller.HoldNone && c.Engine.Fuel != controller.FuelGrouped && g.yes() {
		g.shots()
	}
	return c
}

func (g *calGen) channels() {
	always := []controller.Channel{controller.EngineSpeed, controller.Throttle, controller.RoadSpeedMain, controller.SupplyVoltage}
	for ch := range controller.NumChannels {
		must := ch == always[0] || ch == always[1] || ch == always[2] || ch == always[3]
		if !must && !g.yes() {
			continue
		}
		spec := &g.c.Channels[ch]
		spec.Fitted = true
		spec.OnLoss = controller.LossAction(g.num(0, 1))
		spec.Low = g.num(-1<<31, 1<<31-2)
		spec.High = g.num(spec.Low+1, 1<<31-1)
		spec.LongestAge = g.some(shortTime)
		g.fits = append(g.fits, ch)
	}
	speed := &g.c.Channels[controller.EngineSpeed]
	speed.Low = g.num(0, 199999)
	speed.High = g.num(speed.Low+1, 200000)
	if g.yes() {
		speed.LongestAge = 0
	}
	// All ramps must follow one road speed, so at most one is driven.
	switch driven := controller.RoadSpeedMain + controller.Channel(g.num(0, 2)); driven {
	case controller.RoadSpeedMain, controller.RoadSpeedOther:
		g.c.Channels[driven].Driven = g.c.Channels[driven].Fitted
	}
	g.fits = append(g.fits, controller.SinceRelease)
}

func (g *calGen) channel() controller.Channel {
	return g.fits[g.num(0, int32(len(g.fits)-1))]
}

// cellRanges are what every use of a unit allows.
var cellRanges = [numCellUnits][2]int32{
	CellsRaw: {3000, 10000}, CellsRPM: {3000, 200000}, CellsDegrees: {-4000, 6000}, CellsKilopascal: {0, 1000000}, CellsRatio: {10000, 20000},
}

func (g *calGen) tables() {
	g.n = int(g.num(0, controller.MaxTables))
	for i := range g.n {
		t := &g.c.Tables[i]
		g.kinds[i] = CellUnit(g.num(1, int32(numCellUnits-1)))
		g.axis(&t.Columns)
		if other := g.channel(); other != t.Columns.Channel && g.yes() {
			g.axis(&t.Rows)
			t.Rows.Channel = other
		}
		bounds := cellRanges[g.kinds[i]]
		for r := range max(int(t.Rows.N), 1) {
			for k := range int(t.Columns.N) {
				t.Cells[r][k] = g.num(bounds[0], bounds[1])
			}
		}
	}
}

func (g *calGen) axis(a *controller.Axis) {
	a.Channel = g.channel()
	a.N = uint8(g.num(2, controller.MaxTablePoints))
	x := g.num(-1<<31, 1<<31-1-controller.MaxTablePoints)
	for i := range int(a.N) {
		a.Points[i] = x
		left := int32(a.N) - int32(i)
		x += g.num(1, max(min(1<<20, (1<<31-1-x)/max(left, 1)), 1))
	}
}

// curve draws a constant, or a table with cells of the unit.
func (g *calGen) curve(u CellUnit, lo, hi int32) controller.Curve {
	if i := int(g.num(0, controller.MaxTables)); i < g.n && g.kinds[i] == u {
		return controller.Curve{Table: uint8(i) + 1}
	}
	return controller.Curve{Const: g.num(lo, hi)}
}

func (g *calGen) engine(e *controller.Engine) {
	n := int(g.num(1, controller.MaxCylinders))
	e.Cylinders = uint8(n)
	for i := range n {
		e.Order[i] = uint8(i) + 1
	}
	for i := n - 1; i > 0; i-- {
		j := g.num(0, int32(i))
		e.Order[i], e.Order[j] = e.Order[j], e.Order[i]
	}
	if g.yes() {
		left := int32(72000)
		for i := range n - 1 {
			e.Intervals[i] = controller.Angle(g.num(0, left))
			left -= int32(e.Intervals[i])
		}
		e.Intervals[n-1] = controller.Angle(left)
	}
	e.Ignition, e.Fuel = controller.Ignition(g.num(0, 2)), controller.FuelSystem(g.num(0, 2))
	e.Catalyst, e.KeepFiring, e.RateCheck = e.Fuel == controller.FuelSequential && g.yes(), g.yes(), g.yes()
	e.CommitLead = uint8(g.num(0, 2*int32(n)-1))
	e.FuelDelay, e.SparkDelay = controller.Angle(g.num(0, 144000)), controller.Angle(g.num(0, 144000))
	e.CrankingBelow, e.OverrunMargin, e.TrimStep, e.TrimMax = g.rpm(50, 1000), g.rpm(0, 2000), g.rpm(0, 1000), g.rpm(0, 2000)
	e.BaseAngle, e.BoostBase = g.curve(CellsDegrees, -4000, 6000), g.curve(CellsKilopascal, 0, 1000000)
	e.BoostMin = controller.Pressure(g.num(0, 1000000))
}

func (g *calGen) sequence(q *controller.Sequence) {
	holds := []controller.HoldInput{controller.HoldNone}
	for hold, sw := range map[controller.HoldInput]controller.Switch{controller.HoldClutch: controller.ClutchDown, controller.HoldTransBrake: controller.TransBrake, controller.HoldFootBrake: controller.FootBrake} {
		if g.c.Switches.Has(sw) {
			holds = append(holds, hold)
		}
	}
	q.Hold = controller.HoldInput(g.num(0, int32(controller.HoldBrakePressure)))
	ok := q.Hold == controller.HoldBrakePressure && g.c.Channels[controller.BrakePressure].Fitted
	for _, h := range holds {
		ok = ok || h == q.Hold
	}
	if !ok {
		q.Hold = controller.HoldNone
	}
	if q.Hold == controller.HoldNone {
		return
	}
	if q.Hold == controller.HoldBrakePressure {
		q.HoldPressure = controller.Pressure(g.num(1, 1<<31-1))
	}
	q.Earn = max(g.time(shortTime), 50*controller.Millisecond)
	q.ThrottleShut = controller.Ratio(g.num(0, 9999))
	q.ThrottleMin = controller.Ratio(g.num(int32(q.ThrottleShut)+1, 10000))
	q.EarnWithin, q.EntryAbove = g.rpm(0, 5000), g.rpm(0, 5000)
	q.AbortAfter, q.ClearAfter, q.LossAfter, q.EndLift = g.some(shortTime), g.some(shortTime), g.some(shortTime), g.some(shortTime)
	q.EndAfter, q.EntrySpeed = g.some(longTime), controller.RoadSpeed(g.num(0, 30000))
	q.ReturnTime, q.Comeback = min(g.time(shortTime), 2*controller.Second), controller.Ratio(g.num(0, 10000))
}

func (g *calGen) term() controller.Term {
	var fitted []controller.Switch
	for sw := range controller.NumSwitches {
		if g.c.Switches.Has(sw) {
			fitted = append(fitted, sw)
		}
	}
	switch k := g.num(0, 6); {
	case k <= 1 && len(fitted) > 0:
		sw := fitted[g.num(0, int32(len(fitted)-1))]
		return controller.Term{Kind: controller.SwitchOn + controller.TermKind(k), Switch: sw}
	case k == 2 && g.c.Sequence.Hold != controller.HoldNone:
		return controller.Term{Kind: controller.SequenceIn, States: uint8(g.num(1, 31))}
	}
	t := controller.Term{Kind: controller.Within, Channel: g.channel()}
	edges := []int32{-1 << 31, -1<<31 + 1, -1, 0, 1, 1<<31 - 2, 1<<31 - 1}
	a, b := rapid.SampledFrom(edges).Draw(g.t, "a"), rapid.SampledFrom(edges).Draw(g.t, "b")
	if g.yes() {
		a = g.num(-1<<31, 1<<31-1)
	}
	if g.yes() {
		b = g.num(-1<<31, 1<<31-1)
	}
	t.Low, t.High = min(a, b), max(a, b)
	return t
}

func (g *calGen) condition(c *controller.Condition) {
	for i := range g.num(1, controller.MaxTerms) {
		c.All[i] = g.term()
	}
	for i := range g.num(0, controller.MaxTerms) {
		c.Any[i] = g.term()
	}
	c.Qualify = g.time(shortTime)
}

func (g *calGen) stages() {
	n := int(g.num(1, controller.MaxStages))
	main := int(g.num(0, int32(n-1)))
	launch := -1
	if g.c.Sequence.Hold != controller.HoldNone {
		if n == 1 {
			n = 2
		}
		launch = (main + 1) % n
	}
	for i := range n {
		st := &g.c.Stages[i]
		st.Name = g.name()
		switch i {
		case main:
			st.Kind = controller.Main
		case launch:
			st.Kind = controller.Launch
		default:
			kinds := []controller.StageKind{controller.Burnout, controller.Shift, controller.User}
			if launch >= 0 {
				kinds = append(kinds, controller.AfterRelease)
			}
			st.Kind = rapid.SampledFrom(kinds).Draw(g.t, "kind")
		}
		g.stage(st)
	}
}

func (g *calGen) stage(st *controller.Stage) {
	st.Ceiling = g.curve(CellsRPM, 3000, 200000)
	if st.Kind == controller.Main {
		st.Ceiling.Const = g.num(3000, 200000)
	} else {
		g.condition(&st.When)
		st.SlewUp, st.SlewDown = g.rpm(0, 100000), g.rpm(0, 100000)
		st.Moving = st.Kind == controller.User && g.yes()
		if g.yes() {
			st.RestTo, st.RestSlew = g.rpm(300, 30000), g.rpm(0, 100000)
		}
		st.StaysDown = g.yes()
	}
	if st.Kind == controller.AfterRelease {
		st.RampLimit = g.num(1, 50000)
	}
	g.cut(st)
	st.Mixture = controller.Curve{}
	if g.yes() {
		st.Mixture = g.curve(CellsRatio, 10000, 20000)
	}
	st.Refire, st.RefireFor = controller.Ratio(g.num(0, 10000)), uint8(g.num(0, 100))
	st.Boost = g.curve(CellsKilopascal, 0, 1000000)
	g.timing(st)
	if st.Cut.Medium == controller.Spark || st.Timing.Mode != controller.TimingBase || g.yes() {
		st.Guard = controller.Guard{Longest: min(g.some(shortTime), controller.Second), CoolDown: g.some(longTime)}
	}
}

func (g *calGen) timing(st *controller.Stage) {
	if st.Kind == controller.Main || g.c.Engine.Catalyst {
		return
	}
	t := &st.Timing
	t.Mode = controller.TimingMode(g.num(0, 2))
	if t.Mode == controller.TimingBase {
		return
	}
	t.Angle = g.curve(CellsDegrees, -4000, 6000)
	t.NearBand = g.rpm(0, 3000)
	t.SlewIn, t.SlewOut = controller.Angle(g.num(0, 2000000)), controller.Angle(g.num(0, 2000000))
}

func (g *calGen) cut(st *controller.Stage) {
	c, fuel := &st.Cut, g.c.Engine.Fuel
	c.Style = controller.Style(g.num(0, 3))
	c.Medium = controller.Medium(g.num(1, 3))
	switch {
	case fuel == controller.FuelNotOurs:
		c.Medium = controller.Spark
	case fuel == controller.FuelGrouped:
		c.Medium, c.Style = controller.Fuel, controller.WholeEngine
	case c.Style == controller.WholeEngine && c.Medium == controller.Spark || g.c.Engine.Catalyst:
		c.Medium = controller.Both
	}
	if st.Kind == controller.Main && c.Style == controller.Regulate {
		c.Style = controller.WholeEngine
		if fuel != controller.FuelNotOurs && c.Medium == controller.Spark {
			c.Medium = controller.Fuel
		}
	}
	c.Pattern = controller.Pattern(g.num(0, 2))
	if c.Pattern == controller.Fixed {
		c.Cylinders = uint16(g.num(1, 1<<g.c.Engine.Cylinders-1))
	}
	c.Anticipate = g.yes()
	if c.Style == controller.Soft || c.Style == controller.Regulate {
		c.Band = g.rpm(20, 3000)
	}
	if c.Style != controller.Soft {
		c.Hysteresis = g.rpm(5, 2000)
	}
	if c.Style == controller.Hard {
		c.Depth = controller.Demand(g.num(1, 55440))
		if st.Kind == controller.Main {
			c.Depth = controller.FullDemand
		}
	}
	if c.Style == controller.Regulate {
		c.Gain, c.Integral, c.Preset = g.num(0, 20000), g.num(0, 20000), controller.Demand(g.num(0, 55440))
	}
	if c.Style == controller.WholeEngine {
		st.WholeLimit = g.time(shortTime)
	}
}

func (g *calGen) shots() {
	c := g.c
	c.Switches = c.Switches.With(controller.Arm, true)
	window := func(w *controller.Window, ch controller.Channel) {
		if !c.Channels[ch].Fitted {
			return
		}
		w.Low = g.num(-1<<31, 1<<31-2)
		w.High = g.num(w.Low+1, 1<<31-1)
	}
	s := &c.Standing
	window(&s.Coolant, controller.CoolantTemperature)
	window(&s.Fuel, controller.FuelPressure)
	window(&s.Oil, controller.OilPressure)
	window(&s.Bottle, controller.BottlePressure)
	window(&s.Voltage, controller.SupplyVoltage)
	if c.Channels[controller.Lambda].Fitted {
		s.LeanLimit = controller.Ratio(g.num(1, 20000))
	}
	s.MixtureWait, s.Persistence, s.Qualify = g.time(shortTime), controller.Duration(g.num(0, 200000)), g.time(shortTime)
	s.LatchAfter, s.LongestAll, s.CoolDown = controller.Duration(g.num(1, 100000)), g.some(longTime), g.some(longTime)
	for i := range int(g.num(1, controller.MaxShots)) {
		g.shot(&c.Shots[i], i)
	}
}

func (g *calGen) shot(s *controller.Shot, i int) {
	c := g.c
	s.When = controller.WhileReleased
	if c.Sequence.Hold == controller.HoldTransBrake {
		s.When = controller.ShotWhen(g.num(1, 3))
	}
	if g.yes() {
		s.Name = g.name()
	}
	s.Wet = c.Engine.Fuel == controller.FuelNotOurs || g.yes()
	s.After, s.Power = uint8(g.num(0, int32(i))), uint16(g.num(0, 2000))
	s.ThrottleMin = controller.Ratio(g.num(5000, 10000))
	s.SpeedLow = g.rpm(1000, 15000)
	s.SpeedHigh = s.SpeedLow + g.rpm(1, 5000)
	s.Margin, s.Reopen = controller.Speed(g.num(1, 20000)), g.rpm(0, 2000)
	s.QuietFor, s.Delay, s.Trigger, s.ReArm = g.time(shortTime), g.time(shortTime), g.time(shortTime), g.time(longTime)
	if c.Channels[controller.Gear].Fitted {
		s.Gears = uint16(g.num(0, 1<<16-1))
	}
	s.ClutchUp = c.Switches.Has(controller.ClutchUp) && g.yes()
	s.Feedback = c.Switches.Has(controller.Feedback1+controller.Switch(i)) && g.yes()
	s.OncePerHold, s.RetardByDuty, s.Longest = g.yes(), g.yes(), g.some(longTime)
	s.Retard, s.RetardLead = controller.Angle(g.num(0, 4000)), g.time(5000)
	s.EndDuty = controller.One
	if g.yes() {
		s.StartDuty, s.EndDuty = controller.Ratio(g.num(9000, 9500)), controller.Ratio(g.num(9500, 9999))
		s.Ramp, s.ValvePeriod = g.some(shortTime), controller.Duration(g.num(900000, 1000000))
	}
	s.ValveOpens, s.ValveCloses, s.Flush = min(g.time(2000), controller.Second/2), g.time(2000), g.time(5000)
	if s.Wet {
		s.FuelLead, s.FuelLag = g.time(2000), g.time(2000)
		return
	}
	s.Enrich, s.EnrichLead = controller.Ratio(g.num(10001, 30000)), g.time(5000)
}

// Any calibration that seals comes back equal from its own text, and its text
// from the calibration.
func TestCalibrationRoundTrip(t *testing.T) {
	drawn, good := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		c := drawCalibration(t)
		drawn++
		var p controller.Problems
		if !c.Seal(&p) {
			t.Logf("not sealed: %+v", p.List[:min(p.N, 3)])
			t.Skip("does not seal")
		}
		good++
		roundTrip(t, c)
	})
	assert.Greater(t, 10*good, 9*drawn, "of %d drawn calibrations %d seal", drawn, good)
}

// The calibrations drawn use every exported field, and every key that they
// write is described.
func TestNoFieldIsForgotten(t *testing.T) {
	draw := rapid.Custom(drawCalibration)
	used, keys := map[string]bool{}, map[string]bool{}
	for seed := range 300 {
		c := draw.Example(seed)
		noteUsed(reflect.ValueOf(*c), "", used)
		text, _ := Calibration.Encode(&CalibrationFile{Calibration: *c})
		for _, m := range keyOf.FindAllStringSubmatch(string(text), -1) {
			keys[m[1]] = true
		}
	}
	for path := range used {
		assert.True(t, used[path], "no calibration drawn has %s", path)
	}
	described := Calibration.Describe()
	assert.Greater(t, len(keys), 130)
	for key := range keys {
		assert.Contains(t, described, "\n| "+key+" ")
	}
	for _, c := range channelNames() {
		assert.Contains(t, described, c)
	}
}

var keyOf = regexp.MustCompile(`(?m)^([a-z0-9_]+) = `)

type fataler interface {
	Fatalf(format string, args ...any)
}

// roundTrip writes a sealed calibration and reads it back.
func roundTrip(t fataler, c *controller.Calibration) []byte {
	text, err := EncodeCalibration(c)
	if err != nil {
		t.Fatalf("%v", err)
	}
	back, findings := DecodeCalibration("c", text)
	if findings.Failed() {
		t.Fatalf("%s\n%s", text, show(findings))
	}
	if *back != *c {
		t.Fatalf("%s\n%s", text, cmp.Diff(c, back, cmpopts.IgnoreUnexported(controller.Calibration{}, controller.Engine{}, controller.Axis{},
			controller.Table{}, controller.Stage{}, controller.Sequence{}, controller.ChannelSpec{}, controller.Standing{}, controller.Shot{})))
	}
	for _, f := range findings {
		if f.Line < 1 || f.Column < 1 || f.Field == "" {
			t.Fatalf("a warning without a place: %s", f)
		}
	}
	again, err := EncodeCalibration(back)
	if err != nil || string(again) != string(text) {
		t.Fatalf("%v\n%s", err, cmp.Diff(string(text), string(again)))
	}
	return text
}

// noteUsed notes for every exported field, without its place in a list, whether
// it was ever set.
func noteUsed(v reflect.Value, path string, used map[string]bool) {
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			if f := v.Type().Field(i); f.IsExported() {
				noteUsed(v.Field(i), joinPath(path, f.Name), used)
			}
		}
	case reflect.Array:
		for i := range v.Len() {
			noteUsed(v.Index(i), path, used)
		}
	default:
		used[path] = used[path] || !v.IsZero()
	}
}

// fullCalibration uses every place there is: 12 cylinders, every channel and
// switch, 8 stages with 12 terms each, 16 tables of 8 by 8, 4 shots.
func fullCalibration() *controller.Calibration {
	c := &controller.Calibration{Name: controller.NameOf("sixteen letters!"), Period: 100}
	c.Switches = 1<<controller.NumSwitches - 1
	c.Engine = controller.Engine{
		Cylinders: 12, Order: [12]uint8{12, 11, 10, 9, 8, 7, 6, 5, 4, 3, 2, 1}, CrankingBelow: 500, CommitLead: 23,
		BaseAngle: controller.Curve{Table: 1}, BoostBase: controller.Curve{Table: 16},
	}
	for i := range c.Channels {
		c.Channels[i] = controller.ChannelSpec{Fitted: true, Low: 1, High: 200000, LongestAge: 6 * controller.Second}
	}
	c.Sequence = controller.Sequence{
		Hold: controller.HoldTransBrake, Earn: controller.Second, ThrottleMin: 6000, ThrottleShut: 500, AbortAfter: 1, ClearAfter: 1,
		LossAfter: 1, EndLift: 1, EndAfter: 1,
	}
	for i := range c.Tables {
		t := &c.Tables[i]
		t.Columns = controller.Axis{Channel: controller.Throttle, N: 8, Points: [8]int32{-1 << 31, -3, -2, -1, 0, 1, 2, 1<<31 - 1}}
		t.Rows = controller.Axis{Channel: controller.SinceRelease, N: 8, Points: [8]int32{0, 1, 2, 3, 4, 5, 6, 7}}
		for r := range t.Cells {
			for k := range t.Cells[r] {
				t.Cells[r][k] = int32(3000 + 100*i + 8*r + k)
			}
		}
	}
	for i := range c.Stages {
		st := &c.Stages[i]
		st.Name = controller.NameOf("a stage of many " + string(rune('a'+i)))
		st.Kind, st.Ceiling = controller.User, controller.Curve{Table: uint8(2 + i)}
		st.Cut = controller.Cut{Medium: controller.Both, Style: controller.Soft, Band: 2000}
		for k := range controller.MaxTerms {
			st.When.All[k] = controller.Term{Kind: controller.Within, Channel: controller.UserD, Low: int32(k), High: int32(k) + 1}
			st.When.Any[k] = controller.Term{Kind: controller.SequenceIn, States: uint8(k) + 1}
		}
	}
	c.Stages[3].Kind = controller.Launch
	c.Stages[7].Kind, c.Stages[7].When, c.Stages[7].Ceiling = controller.Main, controller.Condition{}, controller.Curve{Const: 90000, Table: 9}
	c.Standing = controller.Standing{
		Coolant: controller.Window{High: 1}, Fuel: controller.Window{High: 1}, Oil: controller.Window{High: 1}, Bottle: controller.Window{High: 1},
		Voltage: controller.Window{High: 1}, LeanLimit: 1, LatchAfter: 1, LongestAll: 1, CoolDown: 1,
	}
	for i := range c.Shots {
		c.Shots[i] = controller.Shot{
			When: controller.WhileEither, After: uint8(i), ThrottleMin: 9000, SpeedLow: 30000, SpeedHigh: 30001, Margin: 1, Gears: 1<<16 - 1,
			Longest: 1, EndDuty: controller.One, Enrich: 10001, Feedback: true, ClutchUp: true,
		}
	}
	return c
}

func TestFullCalibration(t *testing.T) {
	c := fullCalibration()
	var p controller.Problems
	require.True(t, c.Seal(&p), "%+v", p.List[:p.N])
	text := roundTrip(t, c)
	t.Logf("%d bytes of text", len(text))
	assert.Less(t, len(text), MaxSize/4)
}

// What a text cannot show is refused, not lost.
func TestUnwritableCalibrations(t *testing.T) {
	for name, spoil := range map[string]func(c *controller.Calibration){
		"unused place before it": func(c *controller.Calibration) { c.Shots[1] = controller.Shot{}; c.Shots[2].After = 1 },
		"no name":                func(c *controller.Calibration) { c.Stages[2].Name = controller.Name{} },
		"cannot be sealed":       func(c *controller.Calibration) { c.Sequence.Earn = 0 },
		"control character":      func(c *controller.Calibration) { c.Name = controller.NameOf("bell\a") },
		"UTF-8":                  func(c *controller.Calibration) { c.Name = controller.Name{0xFF} },
		"no place for":           func(c *controller.Calibration) { c.Name = controller.Name{'a', 0, 'b'} },
	} {
		c := fullCalibration()
		spoil(c)
		_, err := EncodeCalibration(c)
		assert.ErrorContains(t, err, name)
	}
}
