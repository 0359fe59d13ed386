package advise

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"

	"gonum.org/v1/gonum/stat"

	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/scenario"
	"github.com/holdline/holdline/harness/stats"
	"github.com/holdline/holdline/sim"
)

// Launches of the parts of a search.
const (
	screened  = 8  // of every candidate of a pass
	shortList = 3  // candidates that are launched more often
	furtherN  = 16 // of those
	judgedN   = 24 // on seeds of their own, of the best
	finalN    = 60 // before and after, on seeds of their own
	surfaceN  = 24 // the same on other surfaces
	rankedN   = 16 // of one step of a knob, for its sensitivity
	lineN     = 24 // of each point of the line over the launch ceiling
	frontN    = 24 // of each setting on the front
)

// Blocks of seeds, so that no launch is used to choose and to judge.
const (
	passSeeds  = 10_000
	finalSeeds = 1_000_000
	lineSeeds  = 2_000_000
	frontSeeds = 3_000_000
)

// Other surfaces, as a share of the one that is asked about.
const (
	slippery = 0.85
	sticky   = 1.15
)

type search struct {
	q       *Question
	bench   *bench
	knobs   []*Knob
	allowed int // launches
}

func (s *search) now() []float64 {
	var x []float64
	for _, k := range s.knobs {
		x = append(x, k.Now)
	}
	return x
}

// sample is that of values of all knobs; knobs that stand where they stood are
// not mentioned.
func (s *search) sample(x []float64, more ...files.Change) *sample {
	var changes []files.Change
	for i, k := range s.knobs {
		if x[i] != k.Now {
			changes = append(changes, k.put(x[i])...)
		}
	}
	return s.bench.sample(slices.Clone(x), append(changes, more...))
}

func with(x []float64, i int, v float64) []float64 {
	x = slices.Clone(x)
	x[i] = v
	return x
}

// times of a sample on n seeds.
func (s *sample) times(seed uint64, n int) []float64 {
	var out []float64
	for i := range n {
		if r := s.runs[seed+uint64(i)]; r != nil {
			out = append(out, r.Time)
		}
	}
	return out
}

// bad counts the launches that are no good ones, and tells what the first lacks.
func (s *sample) bad(seed uint64, n int) (count int, why string) {
	for i := range n {
		if r := s.runs[seed+uint64(i)]; r != nil && r.Bad != "" {
			if count++; why == "" {
				why = r.Bad
			}
		}
	}
	return count, why
}

// Gain is a paired difference in time: below 0 is faster.
type Gain struct {
	N    int
	Mean float64 // s
	In   stats.Interval
}

// Told reports whether the difference can be told from none.
func (g Gain) Told() bool { return g.In.High < 0 || g.In.Low > 0 }

func gain(from, to *sample, seed uint64, n int) Gain {
	a, b := from.times(seed, n), to.times(seed, n)
	if len(a) != len(b) || len(a) == 0 {
		return Gain{Mean: math.Inf(1)}
	}
	for i := range a {
		b[i] -= a[i]
	}
	if len(b) == 1 {
		return Gain{N: 1, Mean: b[0], In: stats.Interval{Low: math.Inf(-1), High: math.Inf(1)}}
	}
	mean, sd := stat.MeanStdDev(b, nil)
	return Gain{N: len(b), Mean: mean, In: stats.MeanInterval(len(b), mean, sd)}
}

// Step is one change of the search.
type Step struct {
	Knob     *Knob
	From, To float64
	Gain     Gain
	Repeat   string // a launch with it
}

// candidate is a value of one knob in a pass.
type candidate struct {
	knob int
	to   float64
	s    *sample
	gain Gain
}

// run makes the whole search.
func (s *search) run(base *scenario.Loaded) (*Answer, error) {
	a := &Answer{Question: s.q, Name: base.Name, Grip: base.Grip, Celsius: base.AmbientC, KPa: base.AmbientKPa, Knobs: s.knobs}
	x, err := s.climb(a)
	if err != nil && !errors.Is(err, errBudget) {
		return nil, err
	}
	a.Exhausted = err != nil
	a.Allowed, s.allowed = s.q.Launches, s.q.Launches
	s.bench.q.Launches = math.MaxInt // what is left is a fixed number
	a.Values = x
	if err := s.report(a, x); err != nil {
		return nil, err
	}
	a.Launches = int(s.bench.n.Load())
	return a, nil
}

// climb takes steps until none helps.
func (s *search) climb(a *Answer) ([]float64, error) {
	x, size := s.now(), 1.0
	for pass := 0; len(a.Steps) < s.q.Passes; pass++ {
		seed := s.q.Seed + uint64(passSeeds*(pass+1))
		step, err := s.pass(x, size, seed)
		if err != nil {
			return x, err
		}
		if step == nil {
			if size /= 2; size < 0.2 {
				a.Flat = true
				return x, nil
			}
			continue
		}
		step.Repeat = s.q.Repeat(s.sample(with(x, step.at, step.To)).changes, seed)
		x = with(x, step.at, step.To)
		a.Steps = append(a.Steps, step.Step)
	}
	return x, nil
}

type taken struct {
	Step
	at int
}

// pass finds the best step of a size, or none.
func (s *search) pass(x []float64, size float64, seed uint64) (*taken, error) {
	here := s.sample(x)
	list, err := s.narrow(here, s.candidates(x, size), seed, 0, screened, shortList)
	if err != nil || len(list) == 0 {
		return nil, err
	}
	list, err = s.narrow(here, list, seed, screened, furtherN, 1)
	if err != nil || len(list) == 0 {
		return nil, err
	}
	return s.judge(x, here, list[0], seed+screened+furtherN)
}

// candidates are all values one step of a size away.
func (s *search) candidates(x []float64, size float64) (list []*candidate) {
	for i, k := range s.knobs {
		for _, v := range k.near(x[i], size) {
			list = append(list, &candidate{knob: i, to: v, s: s.sample(with(x, i, v))})
		}
	}
	return list
}

// narrow launches candidates n times more, beside here, and keeps the best few on
// all of their launches.
func (s *search) narrow(here *sample, list []*candidate, seed uint64, before, n, keep int) ([]*candidate, error) {
	samples := []*sample{here}
	for _, c := range list {
		samples = append(samples, c.s)
	}
	if err := s.bench.measure(samples, seed+uint64(before), n); err != nil {
		return nil, err
	}
	return s.best(here, list, seed, before+n, keep), nil
}

// judge takes a candidate's step if seeds that had no part in choosing it say that
// it is faster by enough to be worth a change, and neither it nor what lies beyond it
// is worse.
func (s *search) judge(x []float64, here *sample, c *candidate, seed uint64) (*taken, error) {
	beyond := s.beyond(x, c)
	if err := s.bench.measure([]*sample{here, c.s, beyond}, seed, judgedN); err != nil {
		return nil, err
	}
	g := gain(here, c.s, seed, judgedN)
	if s.worse(here, c.s, seed, judgedN) || s.worse(here, beyond, seed, judgedN) || g.In.High >= 0 || g.Mean > -s.q.LeastGain {
		return nil, nil
	}
	return &taken{Step{Knob: s.knobs[c.knob], From: x[c.knob], To: c.to, Gain: g}, c.knob}, nil
}

// beyond is half a full step further than a candidate: a value is not advised
// that stands at the edge of launches which fail.
func (s *search) beyond(x []float64, c *candidate) *sample {
	k := s.knobs[c.knob]
	if len(k.Words) > 0 {
		return c.s
	}
	return s.sample(with(x, c.knob, k.clip(c.to+math.Copysign(k.Step/2, c.to-x[c.knob]))))
}

// best keeps the fastest few of those that are no worse than here.
func (s *search) best(here *sample, list []*candidate, seed uint64, n, keep int) (out []*candidate) {
	for _, c := range list {
		if c.s.refused != "" || s.worse(here, c.s, seed, n) {
			continue
		}
		if c.gain = gain(here, c.s, seed, n); c.gain.Mean < 0 {
			out = append(out, c)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].gain.Mean < out[j].gain.Mean })
	return out[:min(len(out), keep)]
}

// worse reports whether a sample has more bad launches.
func (s *search) worse(here, there *sample, seed uint64, n int) bool {
	a, _ := here.bad(seed, n)
	b, _ := there.bad(seed, n)
	return b > a
}

// n is a number of launches of the report: fewer where few were allowed.
func (s *search) n(full int) int {
	return max(6, full*min(s.allowed, defaultLaunches)/defaultLaunches)
}

// report measures what is told, on seeds that had no part in the search.
func (s *search) report(a *Answer, x []float64) error {
	before, after := s.sample(s.now()), s.sample(x)
	final := s.q.Seed + finalSeeds
	if err := s.bench.measure([]*sample{before, after}, final, s.n(finalN)); err != nil {
		return err
	}
	a.Before, a.After = outcome(before, final, s.n(finalN)), outcome(after, final, s.n(finalN))
	a.Gain = gain(before, after, final, s.n(finalN))
	a.Repeat = s.q.Repeat(after.changes, final)
	a.Changes = after.changes
	for _, share := range []float64{slippery, 1, sticky} {
		row, err := s.surface(a, x, share, final)
		if err != nil {
			return err
		}
		a.Surfaces = append(a.Surfaces, row)
	}
	if err := s.air(a, x, final); err != nil {
		return err
	}
	if err := s.rank(a, x, final); err != nil {
		return err
	}
	if err := s.line(a, x); err != nil {
		return err
	}
	return s.front(a, x)
}

func (s *search) surface(a *Answer, x []float64, share float64, seed uint64) (Surface, error) {
	grip := math.Round(a.Grip*share*1000) / 1000
	other := files.Change{Path: "surface.grip", Value: number(grip)}
	before, after := s.sample(s.now(), other), s.sample(x, other)
	if err := s.bench.measure([]*sample{before, after}, seed, s.n(surfaceN)); err != nil {
		return Surface{}, err
	}
	return Surface{Grip: grip, Before: outcome(before, seed, s.n(surfaceN)), After: outcome(after, seed, s.n(surfaceN)),
		Gain: gain(before, after, seed, s.n(surfaceN)), Repeat: s.q.Repeat(after.changes, seed)}, nil
}

// Other air: a hot day, and a track some 900 m up.
const (
	hotter = 15   // K
	higher = -10. // kPa
)

// dryDew is a dew point that means dry air, in degrees Celsius.
const dryDew = -50

// air measures the recommendation in other air, on the same seeds.
func (s *search) air(a *Answer, x []float64, seed uint64) error {
	here := s.sample(x)
	for _, d := range [][2]float64{{0, 0}, {hotter, 0}, {0, higher}} {
		c, kpa := a.Celsius+d[0], a.KPa+d[1]
		there := s.sample(x, files.Change{Path: "weather.ambient_c", Value: number(c)}, files.Change{Path: "weather.ambient_kpa", Value: number(kpa)})
		if err := s.bench.measure([]*sample{here, there}, seed, s.n(surfaceN)); err != nil {
			return err
		}
		a.Air = append(a.Air, Air{Celsius: c, KPa: kpa, Altitude: sim.DensityAltitude(kpa*1000, c, dryDew), Correction: sim.PowerCorrection(kpa*1000, c+273.15),
			Outcome: outcome(there, seed, s.n(surfaceN)), Gain: gain(here, there, seed, s.n(surfaceN)), Repeat: s.q.Repeat(there.changes, seed)})
	}
	return nil
}

// rank measures one step of every knob to either side of the recommendation.
func (s *search) rank(a *Answer, x []float64, seed uint64) error {
	here := s.sample(x)
	samples := []*sample{here}
	var rows []Sensitivity
	var of []*sample
	for i, k := range s.knobs {
		for _, v := range k.near(x[i], 1) {
			c := s.sample(with(x, i, v))
			samples, of = append(samples, c), append(of, c)
			rows = append(rows, Sensitivity{Knob: k, To: v})
		}
	}
	if err := s.bench.measure(samples, seed, s.n(rankedN)); err != nil {
		return err
	}
	for i := range rows {
		rows[i].Refused = of[i].refused
		if rows[i].Refused == "" {
			rows[i].Gain = gain(here, of[i], seed, s.n(rankedN))
			rows[i].Bad, rows[i].Why = of[i].bad(seed, s.n(rankedN))
			rows[i].Repeat = s.q.Repeat(of[i].changes, seed)
		}
	}
	sort.SliceStable(rows, func(i, j int) bool { return effect(&rows[i]) > effect(&rows[j]) })
	a.Sensitivities = rows
	return nil
}

func effect(r *Sensitivity) float64 {
	if r.Refused != "" {
		return -1
	}
	return math.Abs(r.Gain.Mean)
}

// line measures the launch ceiling along a line through the recommendation, and
// says between which values nothing is told to be slower.
func (s *search) line(a *Answer, x []float64) error {
	at := slices.IndexFunc(s.knobs, func(k *Knob) bool { return k.Unit == "rpm" })
	if at < 0 {
		return nil
	}
	k, here := s.knobs[at], s.sample(x)
	seed := s.q.Seed + lineSeeds
	samples := []*sample{here}
	for i := -6; i <= 6; i++ {
		if v := x[at] + float64(i)*k.Step/2; i != 0 && v >= k.Low && v <= k.High {
			samples = append(samples, s.sample(with(x, at, v)))
		}
	}
	if err := s.bench.measure(samples, seed, s.n(lineN)); err != nil {
		return err
	}
	sort.SliceStable(samples, func(i, j int) bool { return samples[i].x[at] < samples[j].x[at] })
	a.Line = &Line{Knob: k, Low: x[at], High: x[at]}
	for _, c := range samples {
		if c.refused != "" {
			continue
		}
		a.Line.Points = append(a.Line.Points, LinePoint{X: c.x[at], Outcome: outcome(c, seed, s.n(lineN)), Gain: gain(here, c, seed, s.n(lineN)), Repeat: s.q.Repeat(c.changes, seed)})
	}
	a.Line.reach(x[at])
	return nil
}

// reach walks from the recommendation outwards as far as nothing is told to be
// slower.
func (l *Line) reach(at float64) {
	for _, way := range []int{-1, 1} {
		i := slices.IndexFunc(l.Points, func(p LinePoint) bool { return p.X == at })
		for i += way; i >= 0 && i < len(l.Points) && l.Points[i].Gain.In.Low <= 0 && l.Points[i].Bad == 0; i += way {
			l.Low, l.High = min(l.Low, l.Points[i].X), max(l.High, l.Points[i].X)
		}
	}
}

// front offers settings to choose from: nothing beside them is both faster and
// steadier.
func (s *search) front(a *Answer, x []float64) error {
	list := []*sample{s.sample(s.now()), s.sample(x)}
	y := s.now()
	for _, step := range a.Steps {
		i := slices.Index(s.knobs, step.Knob)
		y = with(y, i, step.To)
		list = append(list, s.sample(y))
	}
	for _, r := range a.Sensitivities {
		if r.Refused == "" && r.Bad == 0 && len(list) < 12 {
			list = append(list, s.sample(with(x, slices.Index(s.knobs, r.Knob), r.To)))
		}
	}
	seed := s.q.Seed + frontSeeds
	if err := s.bench.measure(list, seed, s.n(frontN)); err != nil {
		return err
	}
	var all []Choice
	for _, c := range list {
		if slices.ContainsFunc(all, func(o Choice) bool { return slices.Equal(o.Values, c.x) }) {
			continue
		}
		all = append(all, Choice{Values: c.x, Outcome: outcome(c, seed, s.n(frontN)), Repeat: s.q.Repeat(c.changes, seed)})
	}
	for _, c := range all {
		if !slices.ContainsFunc(all, func(o Choice) bool { return o.beats(&c) }) {
			a.Front = append(a.Front, c)
		}
	}
	sort.SliceStable(a.Front, func(i, j int) bool { return a.Front[i].Mean < a.Front[j].Mean })
	return nil
}

// beats reports whether a choice is at least as fast, steady and sound as
// another, and better in one of these.
func (c *Choice) beats(o *Choice) bool {
	return c.Mean <= o.Mean && c.SD <= o.SD && c.Bad <= o.Bad && (c.Mean < o.Mean || c.SD < o.SD || c.Bad < o.Bad)
}

func outcome(s *sample, seed uint64, n int) Outcome {
	t := s.times(seed, n)
	o := Outcome{N: len(t), Refused: s.refused}
	if len(t) == 0 {
		return o
	}
	o.Mean, o.SD = t[0], 0
	if len(t) > 1 {
		o.Mean, o.SD = stat.MeanStdDev(t, nil)
		o.In = stats.MeanInterval(len(t), o.Mean, o.SD)
	}
	o.Bad, o.Why = s.bad(seed, n)
	limits := map[string]int{}
	for i := range n {
		r := s.runs[seed+uint64(i)]
		if r == nil {
			continue
		}
		limits[r.Limit]++
		o.Exhaust, o.Driveline, o.OnLimit = max(o.Exhaust, r.Exhaust), max(o.Driveline, r.Driveline), max(o.OnLimit, r.OnLimit)
		o.Late, o.Oxidiser = max(o.Late, r.Late), max(o.Oxidiser, r.Oxidiser)
		o.Held += r.Held / float64(len(t))
		o.Pressure += r.Pressure / float64(len(t))
		o.ToReady += r.ToReady / float64(len(t))
	}
	for _, word := range slices.Sorted(keys(limits)) {
		o.Limits = append(o.Limits, fmt.Sprintf("%s %d", word, limits[word]))
	}
	return o
}

func keys(m map[string]int) func(func(string) bool) {
	return func(yield func(string) bool) {
		for k := range m {
			if !yield(k) {
				return
			}
		}
	}
}
