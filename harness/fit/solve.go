package fit

import (
	"cmp"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"sync"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

// solved is the end of a search.
type solved struct {
	x     point
	r     []float64  // residuals there
	j     *mat.Dense // their derivatives by x, minus
	sum   float64    // of squares
	steps int
}

func squares(r []float64) float64 {
	sum := 0.0
	for _, x := range r {
		sum += x * x
	}
	return sum
}

// starts of the first search: the car file, and places around it.
const (
	starts     = 8
	startWidth = 0.12 // standard deviation, in logarithms
	startSteps = 8    // with each width of derivatives
)

// search looks for the least sum of squares from several starts, each to its end: of
// these many are no good, and few steps do not show which. What the recording hardly
// tells stays near the car file meanwhile: let go, it takes the others along to where
// the launch is another.
func (p *problem) search(x point) (*solved, error) {
	ends := make([]*solved, starts)
	errs := p.each(starts, "searching, %d of %d", func(i int) (int, error) {
		r := rand.New(rand.NewPCG(1, uint64(i)))
		alone := *p
		alone.Question, alone.runs, alone.trust = p.alone(p.Log), 0, 1/trusted
		end := &solved{x: append(point(nil), x...)}
		for k := range p.free {
			if i > 0 {
				end.x[k] += startWidth * r.NormFloat64()
			}
		}
		for _, alone.step = range logSteps {
			var err error
			if end, err = alone.descend(end.x, startSteps, end.j); err != nil {
				return alone.runs, err
			}
		}
		ends[i] = end
		return alone.runs, nil
	})
	// A start that no car file allows is no start.
	ends = slices.DeleteFunc(ends, func(s *solved) bool { return s == nil })
	if len(ends) == 0 {
		return nil, errors.Join(errs...)
	}
	return slices.MinFunc(ends, func(a, b *solved) int { return cmp.Compare(a.sum, b.sum) }), nil
}

// trusted is how far a value of the car file is taken to be off while the first
// search looks around: the standard deviation of its logarithm.
const trusted = 0.2

// alone is the question of a search that runs beside others.
func (p *problem) alone(l *Log) *Question {
	q := *p.Question
	q.Log, q.Workers, q.Tell = l, 1, nil
	return &q
}

// each does n things beside each other, adds up the plants that each ran, and tells
// how many are done.
func (p *problem) each(n int, format string, do func(i int) (runs int, err error)) []error {
	errs := make([]error, n)
	var lock sync.Mutex
	done, all := 0, 0
	p.tell(format, done, n)
	p.parallel(n, func(i int) {
		runs, err := do(i)
		lock.Lock()
		defer lock.Unlock()
		all += runs // not yet of p, which the others copy
		if errs[i] = err; err == nil {
			done++
			p.tell(format, done, n)
		}
	})
	p.runs += all
	return errs
}

// The sum of squares is rough: events come and go as a parameter moves. Several
// searches that begin beside each other end beside each other, and how far apart is
// part of what is not known.
const (
	agains     = 5
	againWidth = 0.04 // standard deviation of where they begin, in logarithms
	againSteps = 8
	asGood     = 1.15 // sums of squares that count as equal
	fewest     = 3    // ends that count in any case
)

// beside searches from a place beside a solution.
func (p *problem) beside(s *solved, r *rand.Rand) (*solved, error) {
	end := &solved{x: append(point(nil), s.x...), j: s.j}
	for k := range p.free {
		end.x[k] += againWidth * r.NormFloat64()
	}
	var err error
	for _, p.step = range logSteps[1:] {
		if end, err = p.descend(end.x, againSteps, end.j); err != nil {
			return nil, err
		}
	}
	return end, nil
}

// again searches anew around a solution, and gives the mean of the ends that are
// as good, with how they differ.
func (p *problem) again(s *solved) (*solved, scatter, error) {
	r := rand.New(rand.NewPCG(2, 2))
	all := []*solved{s}
	for i := range agains - 1 {
		p.tell("searching again, %d of %d", i+1, agains-1)
		end, err := p.beside(s, r)
		if err != nil {
			return nil, scatter{}, err
		}
		all = append(all, end)
	}
	slices.SortStableFunc(all, func(a, b *solved) int { return cmp.Compare(a.sum, b.sum) })
	good := fewest
	for good < len(all) && all[good].sum <= asGood*all[0].sum {
		good++
	}
	mean := make(point, p.size())
	// As many launches with scatter will not end closer together than these searches.
	spread := scatter{n: trials, ends: good,
		mean: make([]float64, p.size()), sd: make([]float64, p.size()), held: make([]float64, p.size())}
	for k := range mean {
		var list []float64
		for _, e := range all[:good] {
			list = append(list, e.x[k])
		}
		mean[k], spread.sd[k] = stat.MeanStdDev(list, nil)
	}
	runs, err := p.runAll([]point{mean})
	if err != nil {
		return nil, scatter{}, err
	}
	out := &solved{x: mean, r: p.residuals(&runs[0], mean)}
	out.sum = squares(out.r)
	return out, spread, p.derive(out)
}

// furthest is how far a parameter may go from the car file, in logarithms: a
// factor of two.
const furthest = 0.69

// descend does so with one width of derivatives. Between two derivations the
// derivatives are brought along by secants (Broyden 1965; the secant form of this
// method is in Madsen, Nielsen and Tingleff 2004, both from memory), which takes one
// run of the plant instead of two for each parameter; they are derived anew once a
// step by them gains nothing. It begins with the derivatives j of a place nearby, if
// there is one. At its end, s.j may have been brought along.
func (p *problem) descend(x point, most int, j *mat.Dense) (*solved, error) {
	first, err := p.runAll([]point{x})
	if err != nil {
		return nil, err
	}
	s := &solved{x: x, r: p.residuals(&first[0], x)}
	s.sum = squares(s.r)
	fresh := j == nil
	if fresh {
		err = p.derive(s)
	} else {
		s.j = mat.DenseCopyOf(j)
	}
	if err != nil {
		return nil, err
	}
	damping, small, tries := 1e-2, 0, 0
	for s.steps < most && tries < 5 {
		y, err := s.step(damping, len(p.free))
		if err != nil {
			return nil, err
		}
		next, err := p.runAll([]point{y})
		if err != nil {
			damping, tries = damping*8, tries+1
			continue
		}
		r := p.residuals(&next[0], y)
		sum := squares(r)
		gain := (s.sum - sum) / s.sum
		stale := !fresh
		if sum < s.sum {
			p.secant(s, y, r)
			s.x, s.r, s.sum, s.steps = y, r, sum, s.steps+1
			damping, tries, fresh = max(damping/4, 1e-6), 0, false
			if gain > 5e-4 {
				small = 0
			} else if small++; small == 2 {
				return s, nil
			}
		} else if !stale {
			damping, tries = damping*6, tries+1
		}
		if stale && gain <= 5e-4 {
			if err := p.derive(s); err != nil {
				return nil, err
			}
			fresh = true
		}
	}
	return s, nil
}

// secant brings the derivatives along to a step from s to y, where the residuals are
// r. A step that is narrower than a derivative's width would bring the roughness along.
func (p *problem) secant(s *solved, y point, r []float64) {
	d := make([]float64, len(y))
	wide := 0.0
	for i := range y {
		d[i] = y[i] - s.x[i]
		wide = max(wide, math.Abs(d[i])/p.stepOf(i))
	}
	if wide < 1 {
		return
	}
	var off mat.VecDense // of what the derivatives said of this step
	off.MulVec(s.j, mat.NewVecDense(len(d), d))
	for k := range r {
		off.SetVec(k, s.r[k]-r[k]-off.AtVec(k))
	}
	s.j.RankOne(s.j, 1/squares(d), &off, mat.NewVecDense(len(d), d))
}

// derive fills in the derivatives, by central differences.
func (p *problem) derive(s *solved) error {
	n := p.size()
	var points []point
	for i := range n {
		for _, sign := range []float64{1, -1} {
			y := append(point(nil), s.x...)
			y[i] += sign * p.stepOf(i)
			points = append(points, y)
		}
	}
	runs, err := p.runAll(points)
	if err != nil {
		return err
	}
	s.j = mat.NewDense(len(s.r), n, nil)
	for i := range n {
		up, down := p.residuals(&runs[2*i], points[2*i]), p.residuals(&runs[2*i+1], points[2*i+1])
		for k := range s.r {
			s.j.Set(k, i, -(up[k]-down[k])/(2*p.stepOf(i)))
		}
	}
	return nil
}

func (p *problem) stepOf(i int) float64 {
	switch {
	case i < len(p.free):
		return p.step
	case i == len(p.free):
		return 0.5
	}
	return 2 * p.step
}

// largest is how far one step may go, in logarithms.
const largest = 0.35

// step solves the damped normal equations, by QR of the stacked problem.
func (s *solved) step(damping float64, free int) (point, error) {
	rows, n := s.j.Dims()
	a, b := mat.NewDense(rows+n, n, nil), mat.NewDense(rows+n, 1, nil)
	a.Slice(0, rows, 0, n).(*mat.Dense).Copy(s.j)
	for i := range n {
		norm := mat.Norm(s.j.ColView(i), 2)
		a.Set(rows+i, i, math.Sqrt(damping)*max(norm, 1e-9))
	}
	for i, r := range s.r {
		b.Set(i, 0, r)
	}
	var qr mat.QR
	qr.Factorize(a)
	var d mat.Dense
	if err := qr.SolveTo(&d, false, b); err != nil {
		var cond mat.Condition
		if !errors.As(err, &cond) {
			return nil, err
		}
	}
	y := append(point(nil), s.x...)
	for i := range y {
		y[i] += min(max(d.At(i, 0), -largest), largest)
		if i < free {
			y[i] = min(max(y[i], -furthest), furthest)
		}
	}
	return y, nil
}

// estimator gives what the parameters answer to small residuals: the least squares
// solution of the linearised problem. ok is false where it has none.
func (s *solved) estimator() (answer *mat.Dense, ok bool) {
	var normal, inverse mat.Dense
	normal.Mul(s.j.T(), s.j)
	if err := inverse.Inverse(&normal); err != nil {
		var cond mat.Condition
		if !errors.As(err, &cond) || math.IsInf(float64(cond), 1) {
			return nil, false
		}
	}
	answer = new(mat.Dense)
	answer.Mul(&inverse, s.j.T())
	return answer, true
}

// trials is how many launches with scatter say how far a fit can be off.
const trials = 12

// scatter is how the estimates of launches differ that are made with the fitted
// car, but with scatter of combustion, noise of the logger, and a driver's pedal of
// which only the plate was recorded: their mean is the bias of the fit.
type scatter struct {
	n        int       // launches
	mean, sd []float64 // of each coordinate
	ends     int       // of searches of the recording itself, whose mean is the estimate
	end      []float64 // standard deviation of theirs
	held     []float64 // standard deviation that comes from what is not told
}

// filed is how far the value of a car file is taken to be off where the recording
// does not tell it: the standard deviation of its logarithm. An estimate is made as
// if such a value were right, and is off where it is not.
const filed = 0.1

// leaning is how far the estimates move with what is held at its file's value: the
// linearised answer to a plant in which that is off by one standard deviation.
func (p *problem) leaning(s *solved, answer *mat.Dense) ([]float64, error) {
	out := make([]float64, p.size())
	for k := range p.all {
		if slices.Contains(p.free, k) {
			continue
		}
		wide := *p
		wide.free = append(slices.Clone(p.free), k)
		var ends []point
		for _, off := range []float64{filed, -filed} {
			ends = append(ends, slices.Insert(slices.Clone(s.x), len(p.free), off))
		}
		runs, err := wide.runAll(ends)
		if err != nil {
			return nil, err
		}
		p.runs = wide.runs
		up, down := p.residuals(&runs[0], s.x), p.residuals(&runs[1], s.x)
		for i := range up {
			up[i] = (up[i] - down[i]) / 2
		}
		var moved mat.VecDense
		moved.MulVec(answer, mat.NewVecDense(len(up), up))
		for i := range out {
			out[i] = math.Hypot(out[i], moved.AtVec(i))
		}
	}
	return out, nil
}

// scattered makes these launches: a parametric bootstrap (Efron and Tibshirani
// 1993). Each launch is fitted anew, from beside where it was made: a linearised
// fit would not see over the roughness, and promise too much. (They begin beside what
// is true of them. The recording's searches begin at the car file: whether those came
// to one place is counted beside it.)
func (p *problem) scattered(s *solved) (out scatter, ok bool, err error) {
	answer, ok := s.estimator()
	if !ok {
		return out, false, nil
	}
	out.n = trials
	white := p.white(s)
	deltas := make([][]float64, trials)
	errs := p.each(trials, "launches with scatter, %d of %d", func(i int) (runs int, err error) {
		deltas[i], runs, err = p.trial(s, white, uint64(i))
		return runs, err
	})
	if err := errors.Join(errs...); err != nil {
		return out, false, err
	}
	column := make([]float64, trials)
	for k := range p.size() {
		for i := range deltas {
			column[i] = deltas[i][k]
		}
		mean, sd := stat.MeanStdDev(column, nil)
		out.mean, out.sd = append(out.mean, mean), append(out.sd, sd)
	}
	out.held, err = p.leaning(s, answer)
	return out, true, err
}

// trial is one launch with scatter, how far a fit of it ends from where it was made,
// and how many plants ran for it.
func (p *problem) trial(s *solved, white [len(compared)]float64, seed uint64) (delta []float64, runs int, err error) {
	made := *p.Log
	noisy := *p
	noisy.rough = &roughness{seed: seed + 1}
	_, measured, err := noisy.run(s.x)
	if err != nil {
		return nil, 0, err
	}
	r := rand.New(rand.NewPCG(seed, 7))
	made.Throttle = measured.throttle(&made, p.window)
	for i := range compared {
		made.Values[i] = append([]float64(nil), p.Log.Values[i]...)
		for t := p.window.from; t < p.window.to; t++ {
			if !math.IsNaN(made.Values[i][t]) {
				made.Values[i][t] = between(measured.values[i], float64(t-p.window.from)) + white[i]*r.NormFloat64()
			}
		}
	}
	again := *p
	again.Question, again.runs = p.alone(&made), 0
	end, err := again.beside(s, r)
	if err != nil {
		return nil, 0, err
	}
	delta = make([]float64, len(s.x))
	for i := range delta {
		delta[i] = end.x[i] - s.x[i]
	}
	return delta, again.runs + 1, nil
}

// white is the noise of each signal from sample to sample, in its unit: half of
// the variance of the differences between neighbours.
func (p *problem) white(s *solved) (out [len(compared)]float64) {
	k, n := 0, (p.window.to-p.window.from+p.Log.Every-1)/p.Log.Every
	for i := range compared {
		if !p.use[i] {
			continue
		}
		part := s.r[k*n : (k+1)*n]
		k++
		sum, count := 0.0, 0
		for t := 1; t < n; t++ {
			if part[t] != 0 && part[t-1] != 0 {
				d := part[t] - part[t-1]
				sum, count = sum+d*d, count+1
			}
		}
		if count > 0 {
			out[i] = math.Sqrt(sum/float64(2*count)) * p.scale[i]
		}
	}
	return out
}
