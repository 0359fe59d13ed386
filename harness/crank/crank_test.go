package crank_test

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness/crank"
	"github.com/holdline/holdline/sim"
)

var (
	wheel36 = crank.Wheel{Teeth: 36, Missing: 1, First: 9000, Cam: 43200}
	wheel60 = crank.Wheel{Teeth: 60, Missing: 2, First: 11400, Cam: 43200}
)

// edge is one tooth or cam edge with the true angle that it stands for.
type edge struct {
	us    int64
	cam   bool
	index int     // of the tooth, 0 behind the gap
	deg   float64 // since the start; 0 is the firing dead centre of the first
}

// spin makes the edges of turns at a speed given over degrees since the start.
// The time of an edge is rounded to whole microseconds.
func spin(w crank.Wheel, turns float64, rpm func(deg float64) float64) (edges []edge) {
	const step = 0.5 // degrees
	t := 0.0
	pitch := 360 / float64(w.Teeth)
	for deg := 0.0; deg < turns*360; deg += step {
		at := math.Mod(deg-float64(w.First)/100+36000, 360)
		if i := at / pitch; i == math.Floor(i) && int(i) < w.Teeth-w.Missing {
			edges = append(edges, edge{int64(math.Round(t)), false, int(i), deg})
		}
		if math.Mod(deg-float64(w.Cam)/100+72000, 720) == 0 {
			edges = append(edges, edge{int64(math.Round(t)), true, 0, deg})
		}
		t += step / (6 * rpm(deg+step/2)) * 1e6
	}
	return edges
}

func steady(n float64) func(float64) float64 { return func(float64) float64 { return n } }

// Tooth times of the table in the project's check values, section 10: 360/Z
// degrees a tooth, 60/(N Z) s; the gap is missing+1 pitches; pulses a turn.
func TestHandbookGeometry(t *testing.T) {
	for _, c := range []struct {
		w      crank.Wheel
		rpm    float64
		us     float64
		pulses int
	}{
		{wheel36, 300, 5555.556, 35}, {wheel36, 1000, 1666.667, 35}, {wheel36, 6000, 277.778, 35}, {wheel36, 9000, 185.185, 35},
		{wheel60, 300, 3333.333, 58}, {wheel60, 1000, 1000.000, 58}, {wheel60, 6000, 166.667, 58}, {wheel60, 9000, 111.111, 58},
	} {
		edges := spin(c.w, 8, steady(c.rpm))
		perTurn, cams := 0, 0
		for i, e := range edges {
			perTurn += map[bool]int{true: 1}[!e.cam]
			cams += map[bool]int{true: 1}[e.cam]
			if i > 0 && !e.cam && !edges[i-1].cam {
				want := c.us
				if e.index == 0 {
					want *= float64(c.w.Missing + 1)
				}
				require.InDelta(t, want, e.us-edges[i-1].us, 1.001)
			}
		}
		assert.Equal(t, 8*c.pulses, perTurn)
		assert.Equal(t, 4, cams)

		for _, cylinders := range []int{3, 4, 5, 6, 8, 12} {
			d := crank.New(c.w, cylinders)
			for _, e := range edges {
				d.Edge(e.us, e.cam)
			}
			now := edges[len(edges)-1].us
			n, age, ok := d.Speed(now)
			require.True(t, ok)
			assert.Zero(t, age)
			// Edges are known to half a microsecond at both ends of an interval.
			interval := 120e6 / c.rpm / float64(cylinders)
			assert.InDelta(t, c.rpm*10, float64(n), 0.5+c.rpm*10*1.5/interval, "%d cylinders, %v rpm", cylinders, c.rpm)
		}
	}
}

// follow feeds edges and checks that a known angle is the true one.
func follow(t *testing.T, d *crank.Decoder, w crank.Wheel, edges []edge) (synced int) {
	for _, e := range edges {
		d.Edge(e.us, e.cam)
		if angle, ok := d.Angle(e.us); ok && !e.cam {
			synced++
			want := math.Mod(e.deg, 720)
			off := math.Mod(float64(angle)/100-want+1080, 720) - 360
			require.LessOrEqual(t, math.Abs(off), 0.01, "at %d us: %v, true %v", e.us, float64(angle)/100, want)
		}
	}
	return synced
}

func TestAngleIsTrueAtEveryTooth(t *testing.T) {
	for _, w := range []crank.Wheel{wheel36, wheel60} {
		for _, first := range []int32{0, 6000, 9000, 18000, 30000} {
			for _, cam := range []int32{0, 3000, 21000, 43200, 70000} {
				w.First, w.Cam = first, cam
				d := crank.New(w, 4)
				edges := spin(w, 12, steady(2000))
				synced := follow(t, d, w, edges)
				assert.Greater(t, synced, len(edges)/2)
				assert.Equal(t, crank.Cycle, d.Sync(edges[len(edges)-1].us))
				assert.Zero(t, d.Losses+d.Bridged+d.False+d.CamFaults)
			}
		}
	}
}

// Cranking: 250 rpm with 25 % ripple, then up to 6000 within a few turns.
func TestCrankingAndRunUp(t *testing.T) {
	speed := func(deg float64) float64 {
		base := min(250+max(0, deg-3600)*0.5, 6000)
		return base * (1 + 0.25*math.Sin(deg*math.Pi/90)*250/base)
	}
	for _, w := range []crank.Wheel{wheel36, wheel60} {
		d := crank.New(w, 4)
		edges := spin(w, 45, speed)
		assert.Greater(t, follow(t, d, w, edges), len(edges)*8/10)
		assert.Zero(t, d.Losses)
	}
}

// One tooth that is not seen, or one false edge, at every place of a turn: sync
// stays, the fault is counted, and the angle is true again at the next tooth.
func TestOneFaultAtEveryPlaceIsBridged(t *testing.T) {
	for _, w := range []crank.Wheel{wheel36, wheel60} {
		edges := spin(w, 12, steady(3000))
		for i := range edges {
			if edges[i].cam || edges[i].deg < 5*360 || edges[i].deg > 7*360 {
				continue
			}
			d := crank.New(w, 8)
			lost := append(append([]edge{}, edges[:i]...), edges[i+1:]...)
			follow(t, d, w, lost)
			assert.Equal(t, [4]int{1, 0, 0, 0}, [4]int{d.Bridged, d.False, d.Losses, d.CamFaults}, "lost tooth %d", edges[i].index)

			d = crank.New(w, 8)
			for k, e := range edges {
				d.Edge(e.us, e.cam)
				if k == i {
					half := int64(60e6 / 3000 / float64(w.Teeth) / 2)
					d.Edge(e.us+half, false)
				}
			}
			_, ok := d.Angle(edges[len(edges)-1].us)
			assert.True(t, ok)
			assert.Equal(t, [3]int{0, 1, 0}, [3]int{d.Bridged, d.False, d.Losses}, "extra edge after tooth %d", edges[i].index)
		}
	}
}

// A burst loses sync, says so, and it comes back within four turns.
func TestSyncIsLostAndFoundAgain(t *testing.T) {
	for _, w := range []crank.Wheel{wheel36, wheel60} {
		edges := spin(w, 20, steady(3000))
		d := crank.New(w, 4)
		var lostAt, backAt float64
		for i, e := range edges {
			if e.deg > 2500 && e.deg < 2600 && i%2 == 0 {
				continue // every other edge over 100 degrees
			}
			d.Edge(e.us, e.cam)
			synced := d.Synced(e.us)
			if e.deg > 2500 && lostAt == 0 && !synced {
				lostAt = e.deg
			}
			if lostAt > 0 && backAt == 0 && synced {
				backAt = e.deg
			}
		}
		assert.Positive(t, lostAt)
		assert.Positive(t, d.Losses)
		assert.Less(t, lostAt, 2600.0)
		assert.LessOrEqual(t, backAt-2600, 4*360.0)
		assert.Positive(t, backAt)
		_, _, ok := d.Speed(edges[len(edges)-1].us)
		assert.True(t, ok)
	}
}

// A missing tooth must never pass for the gap: sync is only claimed where the
// angle is true, whatever is lost or added at random. Bridging a tooth that was
// lost needs the next one, so one pitch of error is allowed for.
func TestRandomFaultsNeverGiveAWrongAngle(t *testing.T) {
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(seed, 7))
		w := []crank.Wheel{wheel36, wheel60}[seed%2]
		edges := spin(w, 60, func(deg float64) float64 { return 2500 + 1500*math.Sin(deg/4000) })
		d := crank.New(w, 4)
		good, seen := 0, 0
		for _, e := range edges {
			switch u := r.Float64(); {
			case u < 0.004 && !e.cam:
				continue
			case u > 0.996 && !e.cam:
				d.Edge(e.us+int64(r.IntN(60)), false)
			}
			d.Edge(e.us, e.cam)
			seen++
			angle, ok := d.Angle(e.us)
			if !ok || e.cam {
				continue
			}
			good++
			off := math.Mod(float64(angle)/100-e.deg+720000+360, 720) - 360
			require.LessOrEqual(t, math.Abs(off), 2.1*360/float64(w.Teeth), "seed %d at %v deg", seed, e.deg)
		}
		assert.Greater(t, good, seen/3, fmt.Sprint("seed ", seed))
	}
}

func TestAnEngineThatStandsHasNoSync(t *testing.T) {
	d := crank.New(wheel60, 4)
	edges := spin(wheel60, 10, steady(800))
	follow(t, d, wheel60, edges)
	now := edges[len(edges)-1].us
	require.True(t, d.Synced(now))
	_, age, ok := d.Speed(now + 100_000)
	assert.True(t, ok)
	assert.EqualValues(t, 100_000, age)
	assert.False(t, d.Synced(now+300_000))
	_, _, ok = d.Speed(now + 300_000)
	assert.False(t, ok)
	d.Edge(now+400_000, false)
	assert.Equal(t, 1, d.Losses)
}

func TestRunningStartsInSync(t *testing.T) {
	for _, w := range []crank.Wheel{wheel36, wheel60} {
		for _, angle := range []int32{0, 1234, 30000, 43200, 71900} {
			d := crank.New(w, 8)
			d.Running(angle, 15000)
			got, ok := d.Angle(0)
			require.True(t, ok)
			assert.InDelta(t, 0, (int(got)-int(angle)+72000+36000)%72000-36000, 100)
			n, _, ok := d.Speed(0)
			require.True(t, ok)
			assert.InEpsilon(t, 15000, int(n), 0.002)
		}
	}
}

// The simulated car's own teeth, with its pitch errors: the decoder finds the
// crank angle that the plant has, and the speed.
func TestAgainstThePlant(t *testing.T) {
	car := sim.TurboFour()
	p := sim.New(sim.MustCompile(car), sim.Standard())
	d := crank.New(crank.WheelOf(&car), len(car.Engine.Order))
	d.Running(int32(p.AngleDeg()*100), controller.Speed(p.RPM()*10))
	in := sim.Actuators{Throttle: 1, Gear: 1}
	var teeth []sim.Tooth
	for p.State.Tick < 800 {
		for s := p.Advance(&in); s.Why == sim.NeedDecision; s = p.Advance(&in) {
			p.Decide(s.Commit.Cylinder, s.Commit.Cycle, s.Commit.Kind, p.RPM() < 6000, 15)
		}
		teeth = p.Teeth(teeth[:0])
		for _, x := range teeth {
			d.Edge(x.TimeNs/1000, x.Cam)
		}
		now := int64(p.State.Tick) * 1000
		angle, ok := d.Angle(now)
		require.True(t, ok, "tick %d", p.State.Tick)
		off := math.Mod(float64(angle)/100-p.AngleDeg()+1080, 720) - 360
		require.InDelta(t, 0, off, 6, "tick %d", p.State.Tick)
		n, _, ok := d.Speed(now)
		require.True(t, ok)
		require.InEpsilon(t, p.RPM(), float64(n)/10, 0.15)
	}
	assert.Zero(t, d.Losses)
}

func TestUnusableWheels(t *testing.T) {
	assert.Nil(t, crank.New(crank.Wheel{Teeth: 36}, 4))
	assert.Nil(t, crank.New(crank.Wheel{Teeth: 3, Missing: 1}, 4))
	assert.Nil(t, crank.New(crank.Wheel{Teeth: 500, Missing: 1}, 4))
	assert.Nil(t, crank.New(wheel36, 0))
}

func TestEdgeAllocatesNothing(t *testing.T) {
	d := crank.New(wheel60, 8)
	us := int64(0)
	assert.Zero(t, testing.AllocsPerRun(1000, func() {
		us += 200
		d.Edge(us, us%7 == 0)
		d.Speed(us)
		d.Angle(us)
	}))
}

func FuzzEdges(f *testing.F) {
	f.Add([]byte{1, 2, 3, 4, 5, 6, 7, 8})
	f.Fuzz(func(t *testing.T, data []byte) {
		d := crank.New(wheel60, 4)
		us := int64(0)
		for ; len(data) >= 3; data = data[3:] {
			us += int64(int16(binary.LittleEndian.Uint16(data)))
			d.Edge(us, data[2]&1 != 0)
			if n, age, ok := d.Speed(us); ok && (n < 0 || age < 0) {
				t.Fatalf("speed %d, age %d", n, age)
			}
			if a, ok := d.Angle(us); ok && (a < 0 || a >= 72000) {
				t.Fatalf("angle %d", a)
			}
		}
	})
}
