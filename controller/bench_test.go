package controller

import "testing"

// benchmarks run in a live state: held on the limiter, two shots configured.
func liveState(b testing.TB) (*Calibration, State, Input) {
	cal := sealed(b, testCar())
	var s State
	_ = s.Reset(cal)
	in, out := calm(), Output{}
	for range 10 {
		s.Tick(cal, &in, &out)
	}
	in.Put(Arm, true)
	in.Put(TransBrake, true)
	in.Set(Throttle, int32(One))
	in.Set(ManifoldPressure, 151000)
	in.Set(EngineSpeed, int32(3700*RPM))
	for range 900 {
		s.Tick(cal, &in, &out)
	}
	return cal, s, in
}

func BenchmarkTick(b *testing.B) {
	cal, live, in := liveState(b)
	s := live
	var out Output
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		if i&1023 == 0 {
			s = live // before the guard expires
		}
		in.Channels[EngineSpeed].Value = int32(3700*RPM) + int32(i&1023)
		s.Tick(cal, &in, &out)
	}
}

func BenchmarkFuelCommit(b *testing.B) {
	cal, s, _ := liveState(b)
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		s.FuelCommit(cal, uint8(i&7)+1, Cycle(i>>3))
	}
}

func BenchmarkSparkCommit(b *testing.B) {
	cal, s, _ := liveState(b)
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		s.SparkCommit(cal, uint8(i&7)+1, Cycle(i>>3))
	}
}

func BenchmarkTableLookup(b *testing.B) {
	cal, _, _ := liveState(b)
	t := &cal.Tables[0]
	var sum int32
	for i := 0; b.Loop(); i++ {
		sum += t.At(int32(i&8191), 100000+int32(i&65535))
	}
	_ = sum
}
