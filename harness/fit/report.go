package fit

import (
	"context"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
)

// Estimate is what a recording says of one parameter.
type Estimate struct {
	Parameter
	Told      bool
	Value     float64
	Low, High float64 // 95 %
	Why       string  // it is not told
}

// Report is what a recording says of a car.
type Report struct {
	Name      string // of the car
	Seconds   float64
	Samples   int
	Estimates []Estimate
	Off       [len(compared)]float64 // root mean square of residuals, in the signal's unit; NaN: not recorded
	Clock     float64                // s that the recording is late
	Clutch    float64                // of the driver, a factor on 0.6 s; 0: no clutch
	Runs      int
	Ratios    []Ratio
	Drag      *Drag
	Notes     []string
}

// followed is how far engine speed may be off, root mean square in rpm, before the
// report says that the plant does something else.
const followed = 120

// Bounds of what is told.
const (
	widest = 0.25 // half width of an interval, as a share of the value
	joined = 0.97 // correlation of two estimates that move together
)

// Launch learns from a launch. Where the context ends it, its error is the context's.
func Launch(ctx context.Context, q Question) (*Report, error) {
	r, err := launch(ctx, q)
	if err != nil && ctx.Err() != nil {
		return nil, ctx.Err() // and not that of each plant that was on its way
	}
	return r, err
}

func launch(ctx context.Context, q Question) (*Report, error) {
	p, err := newProblem(ctx, &q)
	if err != nil {
		return nil, err
	}
	r := &Report{Name: p.Model.Car().Name, Notes: q.Log.Notes}
	if s := float64(q.Log.Every) * float64(q.Log.PeriodUS) / 1e6; s > slowest {
		return nil, noLaunch("a launch needs at least %.0f samples a second; this recording has one every %.2g s", 1/slowest, s)
	}
	why := map[int]string{}
	for i := range p.all {
		if p.all[i].Path == clutchPath && q.Log.Clutch == nil {
			why[i] = "no pedal travel was recorded, or none was named (--clutch-travel): what the clutch holds and how far it was let up are not told apart"
		}
	}
	x := make(point, p.size())
	var s *solved
	var spread scatter
	for {
		if s == nil {
			if s, err = p.search(x); err != nil {
				return nil, err
			}
			p.weigh(s)
			x = s.x
		}
		p.step = logSteps[len(logSteps)-1]
		if s, err = p.descend(x, againSteps, nil); err != nil {
			return nil, err
		}
		var search scatter
		if s, search, err = p.again(s); err != nil {
			return nil, err
		}
		// What the searches alone do not tell is left out before launches with
		// scatter are made: those can only widen it.
		at, reason := p.untold(s, search, true)
		if at < 0 {
			var ok bool
			if spread, ok, err = p.scattered(s); err != nil {
				return nil, err
			}
			spread.ends, spread.end = search.ends, search.sd
			at, reason = p.untold(s, spread, ok)
		}
		if at < 0 {
			break
		}
		why[p.free[at]] = reason
		p.tell("once more, without %s", p.all[p.free[at]].Name)
		p.free = append(p.free[:at:at], p.free[at+1:]...)
		// What is left goes on from where the first search ended, and not from where
		// letting this one go has taken it.
		x = append(append(point(nil), x[:at]...), x[at+1:]...)
		if len(p.free) == 0 {
			s.x = x // what is left of it: the clock, and the driver's time
			break
		}
	}
	p.fill(r, s, spread, why)
	return r, nil
}

// weigh makes the scale of each signal that of its residuals, so that a signal
// counts for what it is worth.
func (p *problem) weigh(s *solved) {
	k, n := 0, (p.window.to-p.window.from+p.Log.Every-1)/p.Log.Every
	for i := range compared {
		if !p.use[i] {
			continue
		}
		part := s.r[k*n : (k+1)*n]
		k++
		if rms := math.Sqrt(squares(part)/float64(n)) * p.scale[i]; rms > 0 {
			p.scale[i] = min(max(rms, scales[i]/20), scales[i]*5)
		}
	}
}

// halfWidth is that of an interval, in logarithms: of a further estimate and of the
// mean of so many launches, of the mean of where searches ended, and of what the
// recording does not tell and the file may have wrong.
func (s *scatter) halfWidth(i int) float64 {
	t := func(n int) float64 { return distuv.StudentsT{Sigma: 1, Nu: float64(n - 1)}.Quantile(0.975) }
	width := math.Hypot(t(s.n)*s.sd[i]*math.Sqrt(1+1/float64(s.n)), distuv.UnitNormal.Quantile(0.975)*s.held[i])
	if s.end != nil {
		width = math.Hypot(width, t(s.ends)*s.end[i]/math.Sqrt(float64(s.ends)))
	}
	return width
}

// untold finds the parameter that is told least, and says why; -1: all are told.
func (p *problem) untold(s *solved, spread scatter, ok bool) (at int, why string) {
	at = -1
	if !ok {
		weakest := math.Inf(1)
		for i := range p.free {
			if norm := mat.Norm(s.j.ColView(i), 2); norm < weakest {
				at, weakest = i, norm
			}
		}
		return at, "nothing in the recording depends on it"
	}
	worst := widest
	for i := range p.free {
		h := spread.halfWidth(i)
		if math.Abs(s.x[i])+2*spread.sd[i] >= furthest {
			return i, "the recording would take it to half or twice the car file's value, or beyond, where the search ends"
		}
		if h <= worst {
			continue
		}
		at, worst, why = i, h, fmt.Sprintf("the recording would allow \u00b1 %.0f %%", 100*min(h, 9.99))
		if with := p.partners(s, i); with != "" {
			why += ", and moves it together with " + with
		}
	}
	return at, why
}

// partners names the parameters with which one moves together, by the correlation
// of estimates of the plain problem.
func (p *problem) partners(s *solved, i int) string {
	var normal, inverse mat.Dense
	normal.Mul(s.j.T(), s.j)
	if inverse.Inverse(&normal) != nil {
		return ""
	}
	var names []string
	for k := range p.free {
		c := inverse.At(i, k) / math.Sqrt(inverse.At(i, i)*inverse.At(k, k))
		if k != i && math.Abs(c) > joined-0.25 {
			names = append(names, p.all[p.free[k]].Name)
		}
	}
	return strings.Join(names, " and ")
}

func (p *problem) fill(r *Report, s *solved, spread scatter, why map[int]string) {
	at := map[int]int{}
	for i, k := range p.free {
		at[k] = i
	}
	for k, par := range p.all {
		e := Estimate{Parameter: par, Value: par.Was, Why: why[k]}
		if i, ok := at[k]; ok {
			h := spread.halfWidth(i)
			e.Told, e.Value = true, par.Was*math.Exp(s.x[i]-spread.mean[i])
			e.Low, e.High = e.Value*math.Exp(-h), e.Value*math.Exp(h)
		}
		r.Estimates = append(r.Estimates, e)
	}
	r.Clock = s.x[len(p.free)] * clockStep
	if p.clutch {
		r.Clutch = math.Exp(s.x[len(p.free)+1])
	}
	n := (p.window.to - p.window.from + p.Log.Every - 1) / p.Log.Every
	k := 0
	for i := range compared {
		r.Off[i] = math.NaN()
		if p.use[i] {
			r.Off[i] = math.Sqrt(squares(s.r[k*n:(k+1)*n])/float64(n)) * p.scale[i]
			k++
		}
	}
	r.Samples, r.Runs = n, p.runs
	if r.Off[0] > followed {
		r.Notes = append(r.Notes, fmt.Sprintf("the plant does not follow the recording: engine speed is %.0f rpm off; the intervals below do not cover that. Look for a gear change, a slipping tyre or clutch, or a switch at another time", r.Off[0]))
	}
	r.Seconds = float64(p.window.to-p.window.from) * float64(p.Log.PeriodUS) / 1e6
}

// Changes puts what is told into a car file; volumetric is that of the file.
func (r *Report) Changes(volumetric []float64) (list []files.Change) {
	for _, e := range r.Estimates {
		if !e.Told {
			continue
		}
		if e.Path == "engine.volumetric" {
			var words []string
			for _, x := range volumetric {
				words = append(words, strconv.FormatFloat(x*e.Value, 'g', 4, 64))
			}
			list = append(list, files.Change{Path: e.Path, Value: "[" + strings.Join(words, ", ") + "]"})
			continue
		}
		list = append(list, files.Change{Path: e.Path, Value: strconv.FormatFloat(e.Value, 'g', 4, 64)})
	}
	return list
}

// Print shows the report on a screen of 80 columns.
func (r *Report) Print(w io.Writer) {
	for _, n := range r.Notes {
		harness.Wrap(w, "note: ", n)
	}
	if len(r.Estimates) > 0 {
		r.printLaunch(w)
	}
	if len(r.Ratios) > 0 {
		fmt.Fprintf(w, "\ngears, from engine speed over road speed:\n")
		for _, g := range r.Ratios {
			fmt.Fprintf(w, "  %6.1f rpm for 1 m/s (%.1f to %.1f), %d samples: overall ratio %.2f\n", g.RPM, g.Low, g.High, g.N, g.Overall)
		}
		harness.Wrap(w, "  ", "the ratio of gear, final drive and tyre together; only their product is told, here with the tyre radius of the car file")
	}
	if d := r.Drag; d != nil {
		fmt.Fprintf(w, "\nslowing down with the throttle shut: %.3f m/s2 (%.3f to %.3f) at %.0f m/s\n", d.At, d.Low, d.High, d.Speed)
		harness.Wrap(w, "  ", fmt.Sprintf("of %d stretches; drag, rolling, gradient, engine braking and the foot brake together: they are not told apart, and the mass is not told at all", d.N))
	}
}

func (r *Report) printLaunch(w io.Writer) {
	harness.Wrap(w, "", fmt.Sprintf("%s: a launch of %.1f s, %d samples of each signal, %d runs of the plant", r.Name, r.Seconds, r.Samples, r.Runs))
	fmt.Fprintf(w, "\n%-20s %9s %9s  %-19s  %s\n", "told", "car file", "fitted", "95 %", "")
	for _, e := range r.Estimates {
		if e.Told {
			fmt.Fprintf(w, "%-20s %9.4g %9.4g  %-19s  %s\n", e.Name, e.Was, e.Value, fmt.Sprintf("%.4g to %.4g", e.Low, e.High), e.Unit)
		}
	}
	fmt.Fprintf(w, "\nnot told, and left at the car file's value (the intervals allow for %.0f %%, 1 sd):\n", 100*filed)
	none := true
	for _, e := range r.Estimates {
		if !e.Told {
			none = false
			harness.Wrap(w, fmt.Sprintf("  %-18s ", e.Name), e.Why)
		}
	}
	if none {
		fmt.Fprintln(w, "  nothing")
	}
	fmt.Fprintf(w, "\nwhat is left between recording and plant (root mean square):\n")
	for i, c := range compared {
		if !math.IsNaN(r.Off[i]) {
			fmt.Fprintf(w, "  %-18s %8.3g %s\n", harness.Channels[c].Name, r.Off[i], harness.Channels[c].Unit)
		}
	}
	fmt.Fprintf(w, "the recording is %+.0f ms late on the plant\n", r.Clock*1000)
}
