package sweep

import (
	"errors"
	"fmt"
	"strings"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/scenario"
)

// triedLevels is how many values of one parameter are tried before the first
// launch; of more, so many evenly spaced ones.
const triedLevels = 100

// try reads the files as they are, and then with each value in its place, so
// that a mistake shows before the first launch and not in the night.
func (p *Plan) try() (fs harness.Findings) {
	for i := range p.bases {
		fs = append(fs, p.asWritten(i)...)
	}
	if fs.Failed() {
		return fs
	}
	l, said := newLauncher(p), map[string]bool{}
	for i := range p.bases {
		for _, s := range p.trials(i) {
			r, found := l.prepare(s)
			for _, f := range found {
				if text := f.String(); f.Severity == harness.Error && !said[text] {
					said[text] = true
					fs = append(fs, f)
				}
			}
			p.hot = p.hot || !found.Failed() && hot(r.cal.cal)
		}
	}
	return fs
}

// asWritten reads the files of a scenario without the plan's values.
func (p *Plan) asWritten(i int) harness.Findings {
	bare := *p
	bare.Parameters, bare.Scatter = nil, nil
	for j := range p.Parameters {
		if path := ownPath(p.Parameters[j].Path); path == intoCar || path == intoCalibration {
			return nil // the scenario may have none of its own
		}
	}
	bare.doc = nil // findings keep their own places
	_, fs := newLauncher(&bare).prepare(settings{point: point{scenario: i}})
	return fs
}

// trials gives settings for each value of each parameter with the first values
// of the others, and both ends of every scatter.
func (p *Plan) trials(scenario int) (out []settings) {
	first := make([]string, len(p.Parameters))
	for i := range p.Parameters {
		first[i] = p.Parameters[i].tried()[0]
	}
	add := func(values []string, z []float64) {
		out = append(out, settings{point: point{scenario: scenario, values: values}, z: z})
	}
	if len(p.Scatter) > 0 {
		add(first, p.ends(-1))
		add(first, p.ends(1))
	}
	add(first, nil)
	for i := range p.Parameters {
		for _, v := range p.Parameters[i].tried() {
			values := append([]string(nil), first...)
			values[i] = v
			add(p.together(values, i), nil)
		}
	}
	return out
}

// ends gives the lowest or the highest deviation of every scatter.
func (p *Plan) ends(sign float64) []float64 {
	z := make([]float64, len(p.Scatter))
	for i := range z {
		z[i] = sign * cutAt
		if p.Scatter[i].Shape == Uniform {
			z[i] = sign
		}
	}
	return z
}

// together moves the parameters of a group with one of them.
func (p *Plan) together(values []string, i int) []string {
	group := p.Parameters[i].Group
	if group == "" {
		return values
	}
	at := 0
	for k, v := range p.Parameters[i].levels() {
		if v == values[i] {
			at = k
			break
		}
	}
	for j := range p.Parameters {
		if p.Parameters[j].Group == group && j != i {
			values[j] = p.Parameters[j].levels()[at]
		}
	}
	return values
}

// tried lists the values of a parameter that are tried.
func (p *Parameter) tried() []string {
	if p.Sampled {
		return []string{p.lattice(0), p.lattice(latticeSize(p) - 1)}
	}
	all := p.levels()
	if len(all) <= triedLevels {
		return all
	}
	var out []string
	for i := range triedLevels {
		out = append(out, all[i*(len(all)-1)/(triedLevels-1)])
	}
	return out
}

// attribute points errors at the parameter or the scatter that set the value,
// with the path that it has in the plan.
func (p *Plan) attribute(into string, fs harness.Findings) harness.Findings {
	if p.doc == nil {
		return fs
	}
	out := append(harness.Findings(nil), fs...)
	for i, f := range out {
		if f.Severity == harness.Error {
			out[i] = p.blame(into, f)
		}
	}
	return out
}

func (p *Plan) blame(into string, f harness.Finding) harness.Finding {
	own := f.Field
	if into != "" {
		own = into + "." + own
	}
	for i := range p.Scatter {
		if ownPath(p.Scatter[i].Path) == own {
			f.Field = own
			return p.finding(fmt.Sprintf("scatter[%d].path", i+1), f)
		}
	}
	for i := range p.Parameters {
		if path := ownPath(p.Parameters[i].Path); f.Field != "" && strings.HasPrefix(path+".", own+".") {
			f.Field = own
			return p.finding(fmt.Sprintf("parameter[%d].path", i+1), f)
		}
	}
	f.Reason = fmt.Sprintf("with the values of this plan, %s: %s", shownFile(f.File), f.Reason)
	place := "scenarios"
	if len(p.Parameters) > 0 {
		place = "parameter[1].path"
	}
	return p.finding(place, f)
}

// unfit refuses scenarios that a sweep cannot launch.
func (p *Plan) unfit(b *base, s *scenario.Scenario) (fs harness.Findings) {
	fail := func(field, why, fix string) {
		fs = append(fs, harness.Finding{Severity: harness.Error, File: b.path, Field: field, Reason: why, Fix: fix})
	}
	switch {
	case s.Recording != "":
		fail("recording", "a recording cannot be swept: it does not answer what changes", "name a scenario with a car")
	case s.Car == "" || s.Calibration == "":
		fail("car", "a launch needs a car and a calibration", "name them in the scenario")
	case len(s.Vary) > 0:
		fail("vary", "the scenario varies values itself", "make them parameters of the plan")
	}
	return fs
}

func (p *Plan) cannotScatter(err error) harness.Findings {
	var e *noNumberError
	if p.doc == nil || !errors.As(err, &e) {
		return harness.Findings{{Severity: harness.Error, Reason: err.Error()}}
	}
	path := fmt.Sprintf("scatter[%d].path", e.scatter+1)
	return harness.Findings{p.finding(path, harness.Finding{Value: p.Scatter[e.scatter].Path, Reason: err.Error()})}
}

// hot reports whether a calibration moves timing or opens a shot.
func hot(cal *controller.Calibration) bool {
	for i := range cal.Shots {
		if cal.Shots[i].When != controller.NoShot {
			return true
		}
	}
	for i := range cal.Stages {
		if cal.Stages[i].Timing.Mode != controller.TimingBase {
			return true
		}
	}
	return false
}
