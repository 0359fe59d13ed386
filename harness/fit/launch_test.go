package fit

import (
	"bytes"
	"context"
	"math"
	"math/rand/v2"
	"os"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/scenario"
	"github.com/holdline/holdline/sim"
)

const (
	heron = "../../examples/scenarios/iron-heron-small-shot.toml"
	mare  = "../../examples/scenarios/dray-mare-missing-teeth.toml"
)

// noise of a usual logger: engine speed 15 rpm, road speeds 0.08 m/s, pressure
// 0.8 kPa, throttle 0.3 % (illustrative).
var noise = [len(compared)]float64{15, 0.08, 0.08, 0.8}

// tapped is where recordedWithPedal has the travel of the clutch pedal, in thousandths.
var tapped = &Travel{Channel: controller.UserA, Free: 700, Holds: 200}

// pedalTap puts a sensor on a driver's clutch pedal.
type pedalTap struct{ harness.Driver }

func (d pedalTap) Drive(see *harness.Seen, do *harness.Controls) {
	d.Driver.Drive(see, do)
	do.User[0] = int32(do.Clutch / 10)
}

// recorded is a launch of a simulated car with scatter of its own, as a logger
// with noise would keep it.
func recorded(t testing.TB, path string, seed uint64, hz int, change func(*sim.Car)) (*Log, *scenario.Job, *sim.Car) {
	return record(t, path, seed, hz, change, func(j *scenario.Job, l *Log) error {
		_, err := j.Run(context.Background(), &harness.Reference{}, func(*scenario.Ride) ([]harness.Sink, error) {
			return []harness.Sink{recorder(func(f *harness.Frame) { l.add(&f.In, nil) })}, nil
		})
		return err
	})
}

// recordedWithPedal has the travel of the clutch pedal too.
func recordedWithPedal(t testing.TB, path string, seed uint64, hz int, change func(*sim.Car)) (*Log, *scenario.Job, *sim.Car) {
	return record(t, path, seed, hz, change, func(j *scenario.Job, l *Log) error {
		car := j.Launch.Model.Car()
		driver := files.NewScriptDriver(j.Launch.Script, rand.New(rand.NewPCG(seed, 98)), files.ShiftsOf(&car, j.Launch.Shift))
		plant, err := harness.NewPlant(j.Launch.Model, j.Launch.Cond, j.Cal, harness.PlantOptions{
			Driver: pedalTap{driver}, Until: j.Launch.Until, Ticks: uint32(j.Launch.Longest * 1e6 / float64(j.Cal.Period)),
		})
		if err != nil {
			return err
		}
		_, err = harness.Run(context.Background(), plant, &harness.Reference{}, harness.Session{Calibration: j.Cal}, recorder(func(f *harness.Frame) { l.add(&f.In, tapped) }))
		return err
	})
}

func record(t testing.TB, path string, seed uint64, hz int, change func(*sim.Car), drive func(*scenario.Job, *Log) error) (*Log, *scenario.Job, *sim.Car) {
	list, findings := scenario.Load(path, scenario.Options{Seed: int64(seed), Repeats: 1,
		Changes: []files.Change{{Path: "longest_s", Value: "9.5"}, {Path: "noise.lose_tooth", Value: "0"}}})
	require.False(t, findings.Failed(), findings)
	j := list[0].Jobs("fit")[0]
	j.Required = nil
	car := j.Launch.Model.Car()
	truth := car
	if change != nil {
		change(&truth)
	}
	model, bad := sim.Compile(truth)
	require.Empty(t, bad)
	plain := j.Launch.Model
	j.Launch.Model = model
	l := &Log{PeriodUS: int64(j.Cal.Period), Every: 1_000_000 / hz / int(j.Cal.Period)}
	require.NoError(t, drive(j, l))
	j.Launch.Model = plain
	r := rand.New(rand.NewPCG(seed, 99))
	for i := range l.Values {
		for k := range l.Values[i] {
			l.Values[i][k] += noise[i] * r.NormFloat64()
		}
	}
	for k := range l.Clutch {
		l.Clutch[k] = min(max(l.Clutch[k]+0.005*r.NormFloat64(), 0), 1)
	}
	for k := range l.Throttle {
		l.Throttle[k] += controller.Ratio(30 * r.NormFloat64())
	}
	return l, j, &truth
}

func trialsAsked() int { return asked("HOLDLINE_TRIALS") }

func asked(name string) int {
	n, _ := strconv.Atoi(os.Getenv(name))
	return n
}

func ask(l *Log, j *scenario.Job) Question {
	return Question{Log: l, Model: j.Launch.Model, Cal: j.Cal, Cond: j.Launch.Cond, Workers: runtime.GOMAXPROCS(0)}
}

func learn(t testing.TB, l *Log, j *scenario.Job) *Report {
	r, err := Launch(context.Background(), ask(l, j))
	require.NoError(t, err)
	return r
}

// truthOf is the true value of an estimate.
func truthOf(e *Estimate, was, truth *sim.Car) float64 {
	for _, p := range parametersOf(truth) {
		if p.Path == e.Path {
			if e.Path == "engine.volumetric" {
				return truth.Engine.Eta[0] / was.Engine.Eta[0]
			}
			return p.Was
		}
	}
	return math.NaN()
}

// The true values lie inside the 95 % intervals in at least 90 of 100 trials, each
// with a car that differs from its file in everything that is asked, scatter of
// combustion, noise of the logger and a seed of its own. HOLDLINE_TRIALS says how
// many; each takes a minute or two. HOLDLINE_FIRST is the first of them: what ran
// before need not run again.
func TestIntervalsHoldTheTruth(t *testing.T) {
	trials, cars := 1, map[string]string{"pedal": mare}
	if n := trialsAsked(); n > 0 {
		trials, cars["converter"], cars["clutch"] = n, heron, mare
	}
	for name, path := range cars {
		t.Run(name, func(t *testing.T) {
			inside, told := map[string]int{}, map[string]int{}
			first, refused := asked("HOLDLINE_FIRST"), 0
			count := trials - first
			for trial := first; trial < trials; trial++ {
				r := rand.New(rand.NewPCG(uint64(trial), 5))
				off := func() float64 { return math.Exp(0.08 * r.NormFloat64()) }
				from := recorded
				if name == "pedal" {
					from = recordedWithPedal
				}
				l, j, truth := from(t, path, uint64(trial)+1, 50, func(c *sim.Car) {
					scale := math.Exp(0.04 * r.NormFloat64())
					eta := append([]float64(nil), c.Engine.Eta...)
					for i := range eta {
						eta[i] *= scale
					}
					c.Engine.Eta = eta
					c.Engine.InertiaKgM2 *= off()
					c.Tyre.Mu0 *= off()
					c.Body.CdA *= off()
					if c.Launch.Kind == "converter" {
						c.Launch.K0 *= math.Exp(0.05 * r.NormFloat64())
					} else {
						c.Launch.ClutchNm *= off()
					}
					c.Turbo.InertiaKgM2 *= off()
				})
				rep, err := Launch(context.Background(), ask(l, j))
				if err != nil { // a car far enough off its file can bog, and tell nothing
					t.Logf("trial %d: %v", trial, err)
					refused++
					continue
				}
				var text bytes.Buffer
				rep.Print(&text)
				narrow(t, text.String())
				was := j.Launch.Model.Car()
				t.Logf("%d: %d runs", trial, rep.Runs)
				for i := range rep.Estimates {
					e := &rep.Estimates[i]
					if !e.Told {
						continue
					}
					told[e.Name]++
					x := truthOf(e, &was, truth)
					t.Logf("%d %-18s file %.4g true %.4g: %.4g (%.4g to %.4g) off %.3g", trial, e.Name, e.Was, x, e.Value, e.Low, e.High, rep.Off)
					if x >= e.Low && x <= e.High {
						inside[e.Name]++
					}
					if count < 20 { // too few to count: no value is off by twice its interval
						assert.InDelta(t, x, e.Value, 2*max(e.High-e.Value, e.Value-e.Low), e.Name)
					}
				}
			}
			for name, n := range told {
				t.Logf("%-20s told in %3d of %d, true value inside in %3d (%.0f %%)", name, n, count, inside[name], 100*float64(inside[name])/float64(n))
				if count >= 20 {
					assert.GreaterOrEqual(t, float64(inside[name]), 0.9*float64(n), name)
				}
			}
			assert.GreaterOrEqual(t, len(told), 3)
			assert.LessOrEqual(t, refused, count/20)
		})
	}
}

// What cannot be told apart is said, not guessed: with the throttle held for a
// moment only, and no pressure, a converter launch does not tell the turbo.
func TestSaysWhatItCannotTell(t *testing.T) {
	if trialsAsked() == 0 {
		t.Skip("a minute: set HOLDLINE_TRIALS")
	}
	l, j, _ := recorded(t, heron, 3, 20, nil)
	for i := range l.Values[3] {
		l.Values[3][i] = math.NaN()
	}
	r := learn(t, l, j)
	var text bytes.Buffer
	r.Print(&text)
	for _, e := range r.Estimates {
		if !e.Told {
			assert.NotEmpty(t, e.Why)
			assert.Equal(t, e.Was, e.Value)
		}
	}
	assert.True(t, math.IsNaN(r.Off[3]))
	narrow(t, text.String())
}

func narrow(t testing.TB, text string) {
	for _, line := range strings.Split(text, "\n") {
		assert.LessOrEqual(t, len([]rune(line)), harness.ScreenWidth, line)
	}
}

// What is held at its file's value leans on the others: with grip held they may be
// off by what a wrong grip would move them. With everything free nothing is held.
func TestWhatIsHeldWidensTheRest(t *testing.T) {
	l, j, _ := recorded(t, mare, 2, 50, nil)
	q := Question{Log: l, Model: j.Launch.Model, Cal: j.Cal, Cond: j.Launch.Cond, Workers: 2}
	p, err := newProblem(context.Background(), &q)
	require.NoError(t, err)
	p.step = logSteps[0]
	lean := func() []float64 {
		runs, err := p.runAll([]point{make(point, p.size())})
		require.NoError(t, err)
		s := &solved{x: make(point, p.size()), r: p.residuals(&runs[0], make(point, p.size()))}
		require.NoError(t, p.derive(s))
		answer, ok := s.estimator()
		require.True(t, ok)
		before := p.runs
		out, err := p.leaning(s, answer)
		require.NoError(t, err)
		assert.Equal(t, 2*(len(p.all)-len(p.free)), p.runs-before)
		return out
	}
	p.free = nil
	for i := range p.all {
		p.free = append(p.free, i)
	}
	assert.Equal(t, make([]float64, p.size()), lean())
	p.free = slices.DeleteFunc(p.free, func(i int) bool { return p.all[i].Name == "grip" })
	out := lean()
	for i, k := range p.free {
		if p.all[k].Name == "torque scale" {
			assert.Greater(t, out[i], 0.005)
		}
	}
}

// A value that the search would take to its edge is not told: what it could be beyond
// is not known.
func TestTheEdgeOfTheSearchIsNotTold(t *testing.T) {
	p := &problem{all: []Parameter{{Name: "drag"}, {Name: "grip"}}, free: []int{0, 1}}
	s := &solved{j: mat.NewDense(2, 2, []float64{1, 0, 0, 1})}
	for _, c := range []struct {
		x, sd float64
		told  bool
	}{{0, 0.01, true}, {-furthest, 0.001, false}, {furthest, 0.001, false}, {-0.6, 0.01, true}, {-0.6, 0.05, false}} {
		s.x = point{0, c.x, 0}
		at, why := p.untold(s, scatter{n: trials, mean: make([]float64, 3), sd: []float64{0.01, c.sd, 0}, held: make([]float64, 3)}, true)
		assert.Equal(t, c.told, at < 0, "%+v: %s", c, why)
		if !c.told {
			assert.Equal(t, 1, at)
			assert.Contains(t, why, "half or twice")
		}
	}
}

// A fit that is stopped says that and nothing of its plants.
func TestAStoppedFitSaysSo(t *testing.T) {
	l, j, _ := recorded(t, mare, 2, 50, nil)
	ctx, stop := context.WithCancel(context.Background())
	q := ask(l, j)
	var told []string
	q.Tell = func(what string) {
		told = append(told, what)
		stop()
	}
	_, err := Launch(ctx, q)
	assert.Equal(t, context.Canceled, err)
	assert.Equal(t, []string{"searching, 0 of 8"}, told)
}

// The fit does not depend on how many plants run at a time.
func TestWorkersDoNotShow(t *testing.T) {
	l, j, _ := recorded(t, mare, 2, 50, nil)
	q := Question{Log: l, Model: j.Launch.Model, Cal: j.Cal, Cond: j.Launch.Cond}
	var sums [2]float64
	for i := range sums {
		q.Workers = 1 + 2*i
		p, err := newProblem(context.Background(), &q)
		require.NoError(t, err)
		p.step = logSteps[0]
		s, err := p.descend(make(point, p.size()), 2, nil)
		require.NoError(t, err)
		sums[i] = s.sum
	}
	assert.Equal(t, sums[0], sums[1])
}

// An interval is as wide as what it is made of says: with published quantiles of
// Student's distribution (t of 0.975: 2.201 for 11, 4.303 for 2 degrees of freedom,
// from memory) and 1.960 of the normal one.
func TestWidthsOfIntervals(t *testing.T) {
	s := scatter{n: 12, sd: []float64{0.01}, held: []float64{0}}
	assert.InDelta(t, 2.201*0.01*math.Sqrt(13./12), s.halfWidth(0), 1e-5)
	s.held[0] = 0.02
	assert.InDelta(t, math.Hypot(2.201*0.01*math.Sqrt(13./12), 1.960*0.02), s.halfWidth(0), 1e-5)
	s.held[0], s.ends, s.end = 0, 3, []float64{0.03}
	assert.InDelta(t, math.Hypot(2.201*0.01*math.Sqrt(13./12), 4.303*0.03/math.Sqrt(3)), s.halfWidth(0), 1e-5)
}

// After a step the derivatives say of it what it did (the secant condition), and of
// a direction across it what they said before. A narrow step leaves them alone.
func TestSecantsSayWhatAStepDid(t *testing.T) {
	p := &problem{free: []int{0, 1}, step: 0.04}
	s := &solved{x: point{0, 0, 0}, r: []float64{3, -1}, j: mat.NewDense(2, 3, []float64{1, 2, 3, 4, 5, 6})}
	y, r := point{0.08, 0, 0}, []float64{2.5, -0.75}
	p.secant(s, y, r)
	assert.InDelta(t, s.r[0]-r[0], 0.08*s.j.At(0, 0), 1e-12)
	assert.InDelta(t, s.r[1]-r[1], 0.08*s.j.At(1, 0), 1e-12)
	assert.Equal(t, []float64{2, 3, 5, 6}, []float64{s.j.At(0, 1), s.j.At(0, 2), s.j.At(1, 1), s.j.At(1, 2)})
	before := mat.DenseCopyOf(s.j)
	p.secant(s, point{0.03, 0, 0}, []float64{9, 9})
	assert.Equal(t, before, s.j)
}
