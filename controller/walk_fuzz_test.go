package controller

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// stream gives bytes, and zeros when they have run out.
type stream struct{ data []byte }

func (s *stream) next() byte {
	if len(s.data) == 0 {
		return 0
	}
	b := s.data[0]
	s.data = s.data[1:]
	return b
}

// fuzzCar has two shots with short timers, so that a short input opens them.
func fuzzCar(t testing.TB) *Calibration {
	c := testCar()
	c.Period = 10 * Millisecond
	c.Switches = c.Switches.With(Feedback1, true)
	c.Standing.Qualify, c.Standing.CoolDown, c.Standing.LongestAll = 20*Millisecond, 100*Millisecond, 300*Millisecond
	c.Standing.MixtureWait, c.Sequence.Earn = 30*Millisecond, 50*Millisecond
	for i := range 2 {
		sh := &c.Shots[i]
		sh.ReArm, sh.Longest, sh.Delay, sh.QuietFor = 50*Millisecond, 200*Millisecond, 0, 20*Millisecond
	}
	c.Shots[0].Feedback = true
	return sealed(t, c)
}

// outside watches a whole controller by rules A1 to A9, from outputs and inputs
// alone.
type outside struct {
	offSeen bool
	was     [2]bool   // duty above 0
	shut    [2]uint32 // ticks since it shut
	duty    [2]Ratio
	lead    [2]uint32 // ticks that retard has been in force
	late    [2]bool   // retard was in force in the tick before
	tail    [2]uint32 // ticks since the last oxidiser
	total   [2]uint32
}

// tick checks one tick's output.
func (m *outside) tick(t require.TestingT, cal *Calibration, in *Input, out *Output) {
	arm := in.Known.Has(Arm) && in.On.Has(Arm)
	off := in.Known.Has(Arm) && !in.On.Has(Arm)
	m.offSeen = (m.offSeen || off) && in.Known.Has(Arm)
	if out.Faults != 0 && !off {
		m.offSeen = false
	}
	if out.Master {
		require.True(t, arm && m.offSeen && out.Faults == 0, "A1")
	}
	retard := Angle(0)
	for i := range 2 {
		m.shot(t, cal, i, in, out)
		retard += out.Shots[i].Retard
	}
	require.LessOrEqual(t, out.Timing, max(out.Base-retard, LatestTiming), "A4: timing")
	if out.Demand > 0 && out.Shots[0].Phase|out.Shots[1].Phase >= ShotOpen &&
		(m.was[0] || m.was[1]) {
		require.Equal(t, Both, out.Medium, "A5: medium while flowing")
	}
}

func (m *outside) shot(t require.TestingT, cal *Calibration, i int, in *Input, out *Output) {
	sh, o := &cal.Shots[i], &out.Shots[i]
	dt := min(max(uint32(in.Periods), 1), MaxPeriods)
	if m.was[i] {
		m.total[i] += dt
	}
	if in.Known.Has(Arm) && !in.On.Has(Arm) && in.Channels[RoadSpeedMain].Value < 500 {
		m.total[i] = 0
	}
	m.lead[i] += dt
	if !m.late[i] {
		m.lead[i] = 0
	}
	open := o.Duty > 0
	m.shut[i] += dt
	switch {
	case open:
		m.mayBeOpen(t, cal, i, in, out)
		m.tail[i] = 0
	case m.was[i]:
		m.shut[i], m.tail[i] = 0, 0
	default:
		m.tail[i] += dt
	}
	if open || m.tail[i] < sh.t.flow && m.total[i] > 0 {
		require.Equal(t, sh.Retard, o.Retard, "A4")
		if sh.Wet {
			require.GreaterOrEqual(t, o.FuelDuty, o.Duty, "A8")
		} else {
			require.Greater(t, o.Enrich, One, "A8")
		}
	}
	m.late[i] = o.Retard > 0
	m.was[i], m.duty[i] = open, o.Duty
}

func (m *outside) mayBeOpen(t require.TestingT, cal *Calibration, i int, in *Input, out *Output) {
	sh, o := &cal.Shots[i], &out.Shots[i]
	value := func(c Channel) int32 {
		s := in.Channels[c]
		require.True(t, s.Good && s.Value >= cal.Channels[c].Low && s.Value <= cal.Channels[c].High, "A3: channel %d", c)
		return s.Value
	}
	require.True(t, out.Master, "A1")
	require.Zero(t, o.Inhibits&^shotOpeningOnly, "A3")
	require.GreaterOrEqual(t, value(Throttle), int32(sh.ThrottleMin), "A9: lift")
	n := value(EngineSpeed)
	require.True(t, n >= int32(sh.SpeedLow) && n <= int32(sh.SpeedHigh), "A2: speed window")
	require.LessOrEqual(t, n, int32(out.Target-sh.Margin), "A5: margin")
	require.True(t, value(SupplyVoltage) >= cal.Standing.Voltage.Low, "A3: voltage")
	require.True(t, value(OilPressure) >= cal.Standing.Oil.Low, "A3: oil")
	require.True(t, value(CoolantTemperature) <= cal.Standing.Coolant.High, "A3: coolant")
	require.Equal(t, i == 0, in.On.Has(TransBrake) && in.Known.Has(TransBrake), "A2: trans-brake")
	require.Equal(t, i == 1, out.Sequence == Released, "A2: sequence")
	require.Less(t, m.total[i], sh.t.longest, "A6")
	require.Zero(t, out.Demand, "A5: open while a cut is asked for")
	if !m.was[i] {
		require.GreaterOrEqual(t, m.shut[i], sh.t.rearm, "A3: re-arm")
		require.GreaterOrEqual(t, m.lead[i], sh.t.lead, "A4: lead")
		require.True(t, sh.t.ramp == 0 || o.Duty == sh.StartDuty, "A7: ramp restarts")
	} else {
		require.GreaterOrEqual(t, o.Duty, m.duty[i], "A7: duty rises")
	}
}

// shake changes one input, mostly back to what lets a shot open.
func shake(in *Input, s *stream) {
	b := s.next()
	k := int32(b >> 4)
	switch b & 15 {
	case 0:
		in.Put(Arm, k&1 != 0)
	case 1:
		in.Put(TransBrake, k&1 != 0)
	case 2:
		in.Set(Throttle, []int32{0, int32(One), int32(One), 8999, 9000, -1, 5000, int32(One)}[k&7])
	case 3:
		in.Set(EngineSpeed, 20000+k*2000)
	case 4:
		in.Set(EngineSpeed, int32(s.next())*400)
	case 5:
		in.Set(ManifoldPressure, 100000+k*8000)
	case 6:
		in.Channels[Channel(k)%NumChannels].Good = s.next()&1 != 0
	case 7:
		in.Known = in.Known.With(Switch(k)%NumSwitches, s.next()&1 != 0)
	case 8:
		in.Put(Switch(k)%NumSwitches, s.next()&1 != 0)
	case 9:
		in.Set(SupplyVoltage, 11000+k*200)
	case 10:
		in.Set(OilPressure, k*100000)
	case 11:
		in.Set(Lambda, 8000+k*100)
	case 12:
		in.Set(RoadSpeedMain, k*300)
	case 13:
		in.Set(CoolantTemperature, 900+k*20)
	case 14:
		in.Channels[EngineSpeed].Age = uint16(k)
	default:
		keep := in.Known.Has(Arm) && in.On.Has(Arm)
		*in = calm()
		in.Put(Arm, keep)
		in.Put(TransBrake, true)
		in.Set(Throttle, int32(One))
		in.Set(EngineSpeed, int32(4200*RPM))
	}
}

// drive runs a whole controller on any bytes. It gives how many ticks had a shot
// open. tamper, if not nil, is a planted fault.
func drive(t require.TestingT, cal *Calibration, data []byte, tamper func(*Output)) (open int) {
	var st State
	require.NoError(t, st.Reset(cal))
	in, out, m := calm(), Output{}, outside{shut: [2]uint32{1 << 20, 1 << 20}}
	s := stream{data}
	for len(s.data) > 0 {
		b := s.next()
		switch b & 3 {
		case 0:
			shake(&in, &s)
		case 1:
			n := b>>2&7 + 1
			for k := range n {
				d := st.FuelCommit(cal, k+1, Cycle(b>>5))
				again := st.FuelCommit(cal, k+1, Cycle(b>>5))
				require.Equal(t, d.Give, again.Give)
			}
		case 2:
			n := b>>2&7 + 1
			for k := range n {
				d := st.SparkCommit(cal, k+1, Cycle(b>>5))
				require.Equal(t, d, st.SparkCommit(cal, k+1, Cycle(b>>5)))
			}
		default:
			in.Periods = 1
			if b == 255 {
				in.Periods = uint16(s.next())
			}
			for range b>>2&15 + 1 {
				st.Tick(cal, &in, &out)
				if tamper != nil {
					tamper(&out)
				}
				m.tick(t, cal, &in, &out)
				if out.Shots[0].Duty > 0 || out.Shots[1].Duty > 0 {
					open++
				}
			}
		}
	}
	return open
}

// A1 to A9 hold for any inputs in any order of calls.
func FuzzAddedPower(f *testing.F) {
	cal := fuzzCar(f)
	for _, seed := range fuzzSeeds() {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, data []byte) { drive(t, cal, data, nil) })
}

// fuzzSeeds open the first shot, and the second after release.
func fuzzSeeds() [][]byte {
	held := []byte{0, 0x00, 0x3f, 0, 0x10, 0x3f, 0, 0x02, 0x3f, 0, 0x0f, 0x3f, 0, 0x04, 100, 0x3f, 0x3f}
	let := append(append([]byte{}, held...), 0, 0x01, 0x3f, 0x3f, 0, 0x53, 0x3f, 0, 0x00, 0x3f)
	return [][]byte{held, let}
}

// The seeds reach open shots: the fuzz test would find little otherwise.
func TestFuzzSeedsOpenShots(t *testing.T) {
	for _, seed := range fuzzSeeds() {
		require.Positive(t, drive(t, fuzzCar(t), seed, nil))
	}
}

// A1 to A9 over seeded runs that begin with an open shot: far more of them reach
// one than a fuzzer's do.
func TestRandomRunsKeepA1toA9(t *testing.T) {
	cal, seeds := fuzzCar(t), fuzzSeeds()
	open, runs := 0, 3000
	for seed := range runs {
		r := rand.New(rand.NewPCG(uint64(seed), 2))
		data := append([]byte{}, seeds[seed%len(seeds)]...)
		for range 60 {
			switch r.IntN(6) {
			case 0:
				data = append(data, 0, 0x0f, 0x0b, 0, 0x04, byte(90+r.IntN(20)))
			case 1:
				data = append(data, 0, 0x00, 0x03, 0, 0x10)
			case 2, 3:
				data = append(data, byte(r.IntN(16)<<2|3))
			default:
				data = append(data, byte(r.IntN(256)), byte(r.IntN(256)))
			}
		}
		open += drive(t, cal, data, nil)
	}
	t.Logf("%d runs, %d ticks with a shot open", runs, open)
	require.Greater(t, open, runs)
}

// recorder takes the place of a test and remembers that it failed.
type recorder struct{ failed bool }

func (r *recorder) Errorf(string, ...any) { r.failed = true }
func (r *recorder) FailNow()              { panic(r) }

// The monitor of the fuzz test finds planted faults.
func TestFuzzMonitorFindsPlantedFaults(t *testing.T) {
	cal := fuzzCar(t)
	was := Output{}
	for name, tamper := range map[string]func(*Output){
		"A1 master always":    func(o *Output) { o.Master = true },
		"A3 a tick late":      func(o *Output) { o.Shots[0].Duty, was = max(o.Shots[0].Duty, was.Shots[0].Duty), *o },
		"A4 no retard":        func(o *Output) { o.Shots[0].Retard = 0 },
		"A4 timing at base":   func(o *Output) { o.Timing = o.Base },
		"A7 ramp goes on":     func(o *Output) { o.Shots[1].Duty = min(o.Shots[1].Duty, 1) * One; o.Shots[1].FuelDuty = One },
		"A8 no enrichment":    func(o *Output) { o.Shots[0].Enrich = One },
		"A8 no wet fuel":      func(o *Output) { o.Shots[1].FuelDuty = 0 },
		"A2 released at idle": func(o *Output) { o.Sequence = Idle },
	} {
		was = Output{}
		assert.True(t, finds(cal, tamper), name)
	}
}

func finds(cal *Calibration, tamper func(*Output)) (found bool) {
	r := &recorder{}
	defer func() {
		if x := recover(); x != nil && x != any(r) {
			panic(x)
		}
		found = r.failed
	}()
	for _, seed := range fuzzSeeds() {
		drive(r, cal, append(seed, 0, 0x32, 3, 0, 0x52, 0, 0x3a, 3), tamper)
	}
	return r.failed
}
