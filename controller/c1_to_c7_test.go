package controller

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// C2 and C3 are in arch_test.go and size_test.go, C4 in pattern_test.go, C5 in
// commit_test.go.

// shakeInput moves a few inputs at random, favouring edges and losses.
func shakeInput(r *rand.Rand, in *Input) {
	for range 1 + r.IntN(3) {
		switch r.IntN(8) {
		case 0:
			c := Channel(r.IntN(int(NumChannels)))
			in.Channels[c].Good = r.IntN(4) > 0
			in.Channels[c].Age = uint16(r.IntN(4) * r.IntN(40))
		case 1:
			sw := Switch(r.IntN(int(NumSwitches)))
			in.Put(sw, r.IntN(2) == 0)
			in.Known = in.Known.With(sw, r.IntN(6) > 0)
		case 2:
			in.Set(Throttle, []int32{0, 500, 501, 5999, 6000, 9999, 10000, -1, 10001}[r.IntN(9)])
		case 3:
			in.Set(ManifoldPressure, int32(r.IntN(300000)))
		case 4:
			in.Set(RoadSpeedMain, int32(r.IntN(5000)))
		case 5:
			in.Set(SurfaceTrim, int32(r.IntN(15)-7))
		default:
			in.Set(EngineSpeed, int32(r.IntN(120000)))
		}
	}
	in.Periods = uint16([]int{1, 1, 1, 1, 0, 2, 7, 5000}[r.IntN(8)])
}

// C1: whatever is active, trimmed, lost or at fault, no ceiling in force lies
// above main's, and main's is the constant that the calibration says.
func TestC1TheLowestCeilingIsInForceAndNothingRaisesMain(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	cal := sealed(t, testCar())
	for range 60 {
		var s State
		require.NoError(t, s.Reset(cal))
		in, out := calm(), Output{}
		for range 3000 {
			shakeInput(r, &in)
			s.Tick(cal, &in, &out)
			require.Equal(t, 9000*RPM, out.StageCeiling[mainStage])
			lowest := maxSpeed
			for i := range cal.Stages {
				if out.Active>>i&1 != 0 {
					lowest = min(lowest, out.StageCeiling[i])
				}
			}
			require.NotZero(t, out.Active>>mainStage&1)
			require.Equal(t, lowest, out.Ceiling)
			require.Equal(t, out.StageCeiling[out.Stage], out.Ceiling)
			require.LessOrEqual(t, out.Target, out.Ceiling)
			if out.Speed == SpeedGood && Speed(in.Channels[EngineSpeed].Value) >= 9000*RPM {
				require.Equal(t, FullDemand, out.Demand, "main cuts on its own")
			}
		}
	}
}

// C6: while the launch device holds, no loss, and no guard, raises the ceiling.
// The inputs keep their values; only their validity changes.
func TestC6LossNeverRaisesACeiling(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 1))
	c := testCar()
	c.Stages[4] = Stage{
		Kind: User, Name: NameOf("moving"), Moving: true,
		When:    Condition{All: [MaxTerms]Term{{Kind: Within, Channel: ManifoldPressure, Low: 0, High: 200000}}},
		Ceiling: Curve{Table: 1}, StaysDown: true,
		Cut:   Cut{Medium: Fuel, Style: Soft, Band: 200 * RPM},
		Guard: Guard{Longest: Second, CoolDown: Second},
	}
	c.Channels[ManifoldPressure].OnLoss = LossRest
	k := newTrack(t, c)
	start := *k
	for range 400 {
		*k = start
		k.t = t
		k.throttle(Ratio(6000 + r.IntN(4001)))
		k.in.Set(ManifoldPressure, int32(100000+r.IntN(100000)))
		k.in.Set(SurfaceTrim, int32(r.IntN(13)-6))
		k.run(2)
		k.hold(true)
		k.speed(Speed(30000 + r.IntN(12000)))
		k.run(r.IntN(900))
		for last := k.out.Ceiling; ; last = k.out.Ceiling {
			ch := Channel(r.IntN(int(NumChannels)))
			k.in.Channels[ch].Good = r.IntN(3) > 0
			if r.IntN(4) == 0 {
				sw := Switch(r.IntN(int(NumSwitches)))
				k.in.Known = k.in.Known.With(sw, !k.in.Known.Has(sw))
			}
			k.tick()
			require.LessOrEqual(t, k.out.Ceiling, last, "sequence %v, inhibits %v, lost %b", k.out.Sequence, k.out.StageInhibits, k.out.Lost)
			if r.IntN(300) == 0 {
				break
			}
		}
	}
}

// C7: a stage that is not active, and a cycle that is withheld, has a reason
// with a name. (That a withheld commit has one is also part of TestC5.)
func TestC7EverythingWithheldHasAReason(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 1))
	cal := sealed(t, testCar())
	var s State
	require.NoError(t, s.Reset(cal))
	in, out := calm(), Output{}
	withheld := 0
	for i := range 200000 {
		shakeInput(r, &in)
		s.Tick(cal, &in, &out)
		for j := range cal.Stages {
			st := &cal.Stages[j]
			if st.Kind == NoStage {
				require.Zero(t, out.StageInhibits[j])
			} else if out.Active>>j&1 == 0 {
				require.NotEmpty(t, out.StageInhibits[j].Name(), "stage %d: %016b", j, out.StageInhibits[j])
			}
		}
		f := s.FuelCommit(cal, uint8(i%8)+1, Cycle(i/8))
		sp := s.SparkCommit(cal, uint8((i+5)%8)+1, Cycle((i+5)/8-1))
		if !f.Give {
			require.Contains(t, []Reason{WhyCut, WhySpeedUnknown}, f.Why)
			withheld++
		}
		if !sp.Fire {
			require.Contains(t, []Reason{WhyCut, WhyPaired, WhySpeedUnknown, WhyOverrun}, sp.Why)
			withheld++
		}
	}
	t.Logf("%d withheld", withheld)
	assert.Positive(t, withheld)
}
