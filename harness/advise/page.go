package advise

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"strings"

	"github.com/holdline/holdline/harness/stats"
)

//go:embed page.html
var pageText string

var pageTemplate = template.Must(template.New("page").Funcs(template.FuncMap{
	"s":    func(x float64) string { return fmt.Sprintf("%.3f", x) },
	"n":    number,
	"gain": Gain.say,
	"join": strings.Join,
}).Parse(pageText))

// Page writes the answer as one self-contained page, without scripts, that
// prints. Same answer, same bytes.
func (a *Answer) Page(w io.Writer) error { return pageTemplate.Execute(w, pageView{a}) }

type pageView struct{ *Answer }

// Caution is for the template.
func (pageView) Caution() string { return Caution }

// Differs says what a choice changes.
func (v pageView) Differs(c Choice) string { return v.differs(c.Values) }

// Asks says what the recommendation asks of the car.
func (v pageView) Asks() string { return v.After.asks() }

// Plot is the drawing of the line.
type plot struct {
	Ticks   []plotTick
	Band    string
	Points  []plotPoint
	Path    string
	Now, To float64
	Left    string
	Name    string
}

type plotTick struct {
	X, Y float64
	Text string
	Side bool
}

type plotPoint struct {
	X, Y float64
	Bad  bool
}

// Size of the drawing and the room around it, in its own units.
const (
	plotWide, plotHigh = 640.0, 300.0
	plotLeft, plotFoot = 60.0, 40.0
	plotTop            = 28.0
)

// Plot draws mean and spread against the knob, without the values at which
// launches fail.
func (v pageView) Plot() *plot {
	l := v.Line
	if l == nil {
		return nil
	}
	var good []LinePoint
	for _, p := range l.Points {
		if p.Bad == 0 {
			good = append(good, p)
		}
	}
	if len(good) < 2 {
		return nil
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, p := range good {
		low, high = min(low, p.Mean-p.SD), max(high, p.Mean+p.SD)
	}
	step := stats.Step(max(high-low, 0.004), 5)
	low, high = math.Floor(low/step)*step, math.Ceil(high/step)*step
	if high <= low {
		high = low + step
	}
	first, last := good[0].X, good[len(good)-1].X
	x := func(v float64) float64 { return plotLeft + (v-first)/(last-first)*(plotWide-plotLeft-20) }
	y := func(v float64) float64 { return plotTop + (high-v)/(high-low)*(plotHigh-plotFoot-plotTop) }
	p := &plot{Name: l.Knob.Name, Left: l.Knob.Unit}
	var there, back []string
	for i, g := range good {
		p.Points = append(p.Points, plotPoint{X: x(g.X), Y: y(g.Mean)})
		there = append(there, fmt.Sprintf("%.1f,%.1f", x(g.X), y(g.Mean+g.SD)))
		back = append([]string{fmt.Sprintf("%.1f,%.1f", x(g.X), y(g.Mean-g.SD))}, back...)
		if i%2 == 0 {
			p.Ticks = append(p.Ticks, plotTick{X: x(g.X), Y: plotHigh - plotFoot + 18, Text: number(g.X)})
		}
	}
	p.Band = strings.Join(append(there, back...), " ")
	for i, g := range p.Points {
		p.Path += fmt.Sprintf("%c%.1f,%.1f ", "ML"[min(i, 1)], g.X, g.Y)
	}
	for i := 0.0; low+i*step < high+step/2; i++ {
		v := low + float64(i*step)
		p.Ticks = append(p.Ticks, plotTick{X: plotLeft - 8, Y: y(v) + 4, Text: fmt.Sprintf("%.3f", v), Side: true})
	}
	for i, k := range v.Knobs {
		if k == l.Knob {
			p.Now, p.To = x(k.Now), x(v.Values[i])
		}
	}
	return p
}
