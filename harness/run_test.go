package harness

import (
	"context"
	"errors"
	"io"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
)

// clutchCar is a four of our own invention: 5000 rpm while the clutch is down
// below 9000 rpm, both media, soft.
func clutchCar(t testing.TB) *controller.Calibration {
	cal := controller.Calibration{Name: controller.NameOf("clutch car"), Period: controller.Millisecond}
	cal.Engine = controller.Engine{Cylinders: 4, Order: [controller.MaxCylinders]uint8{1, 3, 4, 2}, CrankingBelow: 400 * controller.RPM, CommitLead: 2}
	cal.Channels[controller.EngineSpeed] = controller.ChannelSpec{Fitted: true, High: 150000}
	cal.Switches = cal.Switches.With(controller.ClutchDown, true)
	cut := controller.Cut{Medium: controller.Both, Style: controller.Soft, Band: 200 * controller.RPM}
	cal.Stages[0] = controller.Stage{Kind: controller.User, Name: controller.NameOf("clutch"), Cut: cut,
		When:    controller.Condition{All: [controller.MaxTerms]controller.Term{{Kind: controller.SwitchOn, Switch: controller.ClutchDown}}},
		Ceiling: controller.Curve{Const: int32(5000 * controller.RPM)}}
	cal.Stages[1] = controller.Stage{Kind: controller.Main, Name: controller.NameOf("main"), Cut: cut,
		Ceiling: controller.Curve{Const: int32(9000 * controller.RPM)}}
	var p controller.Problems
	require.True(t, cal.Seal(&p), "%+v", p.List[:p.N])
	return &cal
}

// ramp goes from 1000 rpm to 6000 rpm in a second and stays, clutch down from
// the start to 1.5 s, engine speed lost from 1.8 s.
type ramp struct {
	schedule *Schedule
	ticks    uint32
	fail     uint32 // Next fails at this tick, if not 0
	n        uint32
}

func (r *ramp) Next(f *Frame) error {
	if r.n == r.ticks {
		return io.EOF
	}
	if r.fail != 0 && r.n == r.fail {
		return errors.New("sensor box unplugged")
	}
	f.Tick = r.n
	r.n++
	n := controller.Speed(10000 + 50*min(f.Tick, 1000))
	f.In.Set(controller.EngineSpeed, int32(n))
	f.In.Channels[controller.EngineSpeed].Good = f.Tick < 1800
	f.In.Put(controller.ClutchDown, f.Tick < 1500)
	r.schedule.Advance(f, n)
	return nil
}

func (r *ramp) Apply(*Frame) error { return nil }

func newRamp(cal *controller.Calibration, ticks uint32) *ramp {
	return &ramp{schedule: NewSchedule(&cal.Engine, cal.Period, DefaultCommitAngles), ticks: ticks}
}

func TestRunFillsTraceAndDigest(t *testing.T) {
	cal := clutchCar(t)
	trace, digest := NewTrace(cal), NewDigest(cal)
	caps, err := Run(context.Background(), newRamp(cal, 2000), &Reference{}, Session{Calibration: cal}, trace, digest)
	require.NoError(t, err)
	assert.True(t, caps.Reference)
	require.Equal(t, 2000, trace.Ticks)
	assert.Equal(t, int32(50000), trace.Column("engine-speed").Data[800])
	assert.Equal(t, 0.0, trace.Column("demand").Units(trace.Column("demand").Data[700]))
	assert.Equal(t, 100.0, trace.Column("demand").Units(trace.Column("demand").Data[800]))

	var r Results
	digest.Fill(&r)
	assert.Equal(t, 2.0, r.Seconds)
	require.Len(t, r.Stages, 2)
	assert.Equal(t, []Span{{0, 1.5}}, r.Stages[0].Spans)
	assert.InDelta(t, 1.5-0.761, r.Stages[0].Cutting, 0.002, "from just above 4800 rpm to the let-go")
	assert.Equal(t, []Inhibited{
		{"condition", 0.3, Span{1.5, 1.8}}, {"speed-unknown", 0.2, Span{1.8, 2}},
	}, r.Stages[0].Inhibited)
	assert.Equal(t, []LostResult{{"engine-speed", 0.2}}, r.Lost)
	fuel, spark := 0, 0
	for _, c := range r.Cuts.Cylinders {
		fuel += c.Fuel
		spark += c.Spark
	}
	assert.Greater(t, fuel, 100)
	assert.Zero(t, r.Cuts.FuelOnly+r.Cuts.SparkOnly, "a cut of both withholds both of the same cycle (C5)")
	assert.Greater(t, r.Cuts.Blind, 0, "speed is lost for longer than an engine cycle")
	assert.InDelta(t, fuel, r.Cuts.Both, 4, "the last few sparks fall behind the end")
	_, err = r.JSON()
	assert.NoError(t, err)
}

func TestRunIsRepeatable(t *testing.T) {
	cal := clutchCar(t)
	run := func() *Trace {
		trace := NewTrace(cal)
		_, err := Run(context.Background(), newRamp(cal, 1500), &Reference{}, Session{Calibration: cal}, trace)
		require.NoError(t, err)
		return trace
	}
	a, b := run(), run()
	assert.Equal(t, a.Events, b.Events)
	for i := range a.Columns {
		assert.Equal(t, a.Columns[i].Data, b.Columns[i].Data, a.Columns[i].Name)
	}
}

func TestRunKeepsWhatItHasWhenTheStimulusFails(t *testing.T) {
	cal := clutchCar(t)
	s := newRamp(cal, 2000)
	s.fail = 700
	trace := NewTrace(cal)
	_, err := Run(context.Background(), s, &Reference{}, Session{Calibration: cal}, trace)
	var stopped *StoppedError
	require.ErrorAs(t, err, &stopped)
	assert.EqualError(t, err, "stopped at 0.699 s (tick 699): stimulus: sensor box unplugged")
	assert.Equal(t, 700, trace.Ticks)
}

func TestRunStopsWhenCancelled(t *testing.T) {
	cal := clutchCar(t)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err := Run(ctx, newRamp(cal, 2000), &Reference{}, Session{Calibration: cal})
	assert.ErrorIs(t, err, context.Canceled)
}

func TestRunRefusesAnUnsealedCalibration(t *testing.T) {
	_, err := Run(context.Background(), &ramp{}, &Reference{}, Session{Calibration: &controller.Calibration{}})
	assert.ErrorIs(t, err, controller.ErrNotSealed)
}

func TestStepOfAReferenceRunAllocatesNothing(t *testing.T) {
	cal := clutchCar(t)
	s, unit, digest := newRamp(cal, 1<<30), &Reference{}, NewDigest(cal)
	_, err := unit.Open(Session{Calibration: cal})
	require.NoError(t, err)
	var f Frame
	step := func() {
		f.N = 0
		_ = s.Next(&f)
		_ = unit.Step(&f)
		_ = digest.Record(&f)
	}
	for range 1000 {
		step()
	}
	assert.Zero(t, testing.AllocsPerRun(300, step))
}

func TestChannelNamesAreUniqueAndFound(t *testing.T) {
	seen := map[string]bool{}
	for c, q := range Channels {
		require.NotEmpty(t, q.Name)
		require.False(t, seen[q.Name], q.Name)
		seen[q.Name] = true
		got, ok := ChannelNamed(q.Name)
		require.True(t, ok)
		require.EqualValues(t, c, got)
	}
	for s, name := range Switches {
		require.False(t, seen[name], name)
		seen[name] = true
		got, ok := SwitchNamed(name)
		require.True(t, ok)
		require.EqualValues(t, s, got)
	}
}

func TestQuantityRawRoundsAndSaturates(t *testing.T) {
	q := Quantity{"x", "rpm", 10}
	assert.Equal(t, int32(49999), q.Raw(4999.9))
	assert.Equal(t, int32(1<<31-1), q.Raw(1e12))
	assert.Equal(t, int32(-1<<31), q.Raw(-1e12))
	assert.Equal(t, 4999.9, q.Units(49999))
}
