package report

import (
	"fmt"
	"html/template"
	"math"
	"strconv"
	"strings"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/stats"
)

// frame is a drawing of curves on white: thin lines, named where they end, told
// apart by dashes as well as by tone.
type frame struct {
	out                      strings.Builder
	width, height            float64
	left, right, top, bottom float64
	x0, x1, y0, y1           float64 // the ranges
}

// tones and dashes of curves, by place. The tones are far apart in grey as well.
var (
	tones  = [...]string{"#003f75", "#b04a00", "#000000", "#5c5c5c"}
	dashes = [...]string{"", "7 4", "2 3", "9 3 2 3", "14 4", "4 2", "1 4", "9 3 2 3 2 3"}
)

func newFrame(label string, width, height, left, right, top, bottom float64) *frame {
	f := &frame{width: width, height: height, left: left, right: width - right, top: top, bottom: height - bottom}
	fmt.Fprintf(&f.out, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" role="img" aria-label="%s">`,
		width, height, template.HTMLEscapeString(label))
	return f
}

func (f *frame) html() template.HTML { return template.HTML(f.out.String() + "</svg>") }

func (f *frame) x(v float64) float64 {
	return f.left + (f.right-f.left)*(v-f.x0)/(f.x1-f.x0)
}

func (f *frame) y(v float64) float64 {
	return f.bottom - (f.bottom-f.top)*(v-f.y0)/(f.y1-f.y0)
}

// span sets the ranges, the vertical one widened to whole steps.
func (f *frame) span(x0, x1, y0, y1 float64) {
	if x1 <= x0 {
		x1 = x0 + 1
	}
	if y1 <= y0 {
		y0, y1 = y0-1, y0+1
	}
	step := stats.Step(y1-y0, 5)
	f.x0, f.x1 = x0, x1
	f.y0, f.y1 = math.Floor(y0/step)*step, math.Ceil(y1/step)*step
}

func (f *frame) axes(xName, yName string) {
	step := stats.Step(f.y1-f.y0, 5)
	for i := 0.0; f.y0+i*step <= f.y1+step/2; i++ {
		y := f.y(f.y0 + i*step)
		fmt.Fprintf(&f.out, `<path d="M%.1f %.1fH%.1f" stroke="#ccc" stroke-width=".6"/>`, f.left, y, f.right)
		f.text(f.left-5, y+3.5, "end", plain(f.y0+i*step))
	}
	step = stats.Step(f.x1-f.x0, 10)
	for v := math.Ceil(f.x0/step-1e-9) * step; v <= f.x1+step*1e-6; v += step {
		x := f.x(v)
		fmt.Fprintf(&f.out, `<path d="M%.1f %.1fv4" stroke="#000" stroke-width=".8"/>`, x, f.bottom)
		f.text(x, f.bottom+15, "middle", plain(v))
	}
	fmt.Fprintf(&f.out, `<path d="M%.1f %.1fV%.1fH%.1f" fill="none" stroke="#000" stroke-width=".8"/>`, f.left, f.top, f.bottom, f.right)
	f.text(f.left-5, f.top-7, "start", yName)
	f.text(f.right, f.bottom+29, "end", xName)
}

// plain spells a number of an axis.
func plain(v float64) string {
	s := strconv.FormatFloat(math.Round(v*1e6)/1e6+0, 'f', -1, 64) // +0: no minus at 0
	return strings.Replace(s, "-", "\u2212", 1)
}

func (f *frame) text(x, y float64, anchor, s string) {
	fmt.Fprintf(&f.out, `<text x="%.1f" y="%.1f" text-anchor="%s">%s</text>`, x, y, anchor, template.HTMLEscapeString(s))
}

func (f *frame) path(points []point, style int) {
	fmt.Fprintf(&f.out, `<path fill="none" stroke="%s" stroke-width="1.3" stroke-linejoin="round"`, tones[style%len(tones)])
	if d := dashes[style%len(dashes)]; d != "" {
		fmt.Fprintf(&f.out, ` stroke-dasharray="%s"`, d)
	}
	f.out.WriteString(` d="`)
	for i, p := range points {
		fmt.Fprintf(&f.out, "%c%.1f %.1f", "ML"[min(i, 1)], f.x(p.x), f.y(p.y))
	}
	f.out.WriteString(`"/>`)
}

type point struct{ x, y float64 }

// thinned keeps the lowest and the highest of each stretch of a column, in the
// order in which they came, so that nothing short is lost.
func thinned(c *harness.Column, period float64, stretches int) (out []point) {
	step := max((len(c.Data)+stretches-1)/stretches, 1)
	for from := 0; from < len(c.Data); from += step {
		part := c.Data[from:min(from+step, len(c.Data))]
		low, high := 0, 0
		for i, x := range part {
			if x < part[low] {
				low = i
			}
			if x > part[high] {
				high = i
			}
		}
		for _, i := range []int{min(low, high), max(low, high)} {
			out = append(out, point{float64(from+i) * period, c.Units(part[i])})
			if low == high {
				break
			}
		}
	}
	return out
}

func boundsOf(columns []*harness.Column) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, c := range columns {
		for _, x := range c.Data {
			low, high = min(low, c.Units(x)), max(high, c.Units(x))
		}
	}
	if low > high {
		return 0, 1
	}
	return low, high
}

// drawing is the fallback for paper and for browsers without script: speed and
// ceiling, with the release and the moment that the headline names.
func (r *Run) drawing(list []harness.RequirementResult) template.HTML {
	speed, ceiling := r.Trace.Column("engine-speed"), r.Trace.Column("ceiling")
	if speed == nil || len(speed.Data) == 0 {
		return ""
	}
	columns, names := []*harness.Column{speed}, []string{"engine speed (full line)"}
	if ceiling != nil {
		columns, names = append(columns, ceiling), append(names, "ceiling (dashed)")
	}
	f := newFrame("Engine speed and ceiling over time", 760, 270, 52, 12, 40, 36)
	low, high := boundsOf(columns)
	f.span(0, float64(r.Trace.Ticks)*r.Results.Period, low, high)
	f.axes("seconds from the start", "rpm")
	for i, c := range columns {
		f.path(thinned(c, r.Results.Period, 700), i)
		f.text(f.right-float64(170*(len(columns)-1-i)), f.top-24, "end", names[i])
	}
	if at, ok := r.release(); ok {
		f.moment(at, "release", "1 3", 0)
	}
	if len(list) > 0 && list[0].Verdict != harness.VerdictHolds {
		f.moment(list[0].ClosestAt, shown(list[0].ID), "", 1)
	}
	return f.html()
}

// moment marks a time through the drawing, its name on a line of its own.
func (f *frame) moment(at float64, name, dash string, line int) {
	x := f.x(at)
	fmt.Fprintf(&f.out, `<path d="M%.1f %.1fV%.1f" stroke="#000" stroke-width="1" stroke-dasharray="%s"/>`, x, f.top-8, f.bottom, dash)
	anchor, dx := "start", 4.0
	if x > (f.left+f.right)/2 {
		anchor, dx = "end", -4
	}
	f.text(x+dx, f.top+10+float64(13*line), anchor, name)
}
