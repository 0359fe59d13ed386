package main

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"math"

	"github.com/holdline/holdline/harness"
)

// picture draws one run as a printed sheet: three panels over time, thin lines on
// white, told apart by dashes as well as by colours that colour-blind readers can
// tell apart (Okabe and Ito's blue and vermilion).
func picture(t *harness.Trace, r *harness.Results) []byte {
	p := &sheet{end: float64(t.Ticks) * float64(t.Period) / 1e6, ticks: t.Ticks}
	if p.end <= 0 {
		p.end = 1
	}
	p.open(fmt.Sprintf("%s, seed %d", r.Title(), r.Seed), launchLine(r))
	p.panel("engine speed, rpm", t, line{"engine-speed", "engine speed", blue, ""}, line{"ceiling", "ceiling", vermilion, "5 3"})
	p.panel("manifold pressure, kPa", t, line{"manifold-pressure", "pressure", blue, ""}, line{"boost-target", "target", vermilion, "5 3"})
	p.panel("ignition, degrees before dead centre", t, line{"timing", "commanded", blue, ""}, line{"base", "base", vermilion, "5 3"})
	p.axis()
	p.letGo(r)
	p.out.WriteString("</svg>\n")
	return p.out.Bytes()
}

func launchLine(r *harness.Results) string {
	l := r.Launch
	if l == nil || l.LetGo == 0 {
		return "never let go"
	}
	return fmt.Sprintf("held at %.0f rpm (standard deviation %.0f), let go at %.2f s and %.0f kPa; 60 ft %s, quarter mile %s",
		l.HoldSpeed, l.HoldSD, l.LetGo, l.Pressure, elapsed(l.Feet60), elapsed(l.Quarter))
}

func elapsed(s float64) string {
	if s == 0 {
		return "not reached"
	}
	return fmt.Sprintf("%.3f s", s)
}

const (
	blue      = "#0072b2"
	vermilion = "#d55e00"

	sheetWidth  = 900
	plotLeft    = 70
	plotRight   = 880
	panelHeight = 190
	panelGap    = 34
	firstPanel  = 70
	mostPoints  = 1600
)

type line struct{ column, label, colour, dash string }

type sheet struct {
	out    bytes.Buffer
	end    float64 // s
	ticks  int
	panels int
}

func (p *sheet) open(title, subtitle string) {
	height := firstPanel + 3*(panelHeight+panelGap) + 30
	fmt.Fprintf(&p.out, `<svg xmlns="http://www.w3.org/2000/svg" width="%d" height="%d" viewBox="0 0 %d %d" font-family="serif" font-size="13">`+"\n",
		sheetWidth, height, sheetWidth, height)
	fmt.Fprintf(&p.out, `<rect width="%d" height="%d" fill="#fff"/>`+"\n", sheetWidth, height)
	p.text(plotLeft, 24, "start", title, `font-size="17"`)
	p.text(plotLeft, 44, "start", subtitle, "")
}

func (p *sheet) text(x, y float64, anchor, s, more string) {
	fmt.Fprintf(&p.out, `<text x="%.1f" y="%.1f" text-anchor="%s" %s>`, x, y, anchor, more)
	_ = xml.EscapeText(&p.out, []byte(s)) // a buffer does not fail
	p.out.WriteString("</text>\n")
}

func (p *sheet) top() float64 { return float64(firstPanel + p.panels*(panelHeight+panelGap)) }

func (p *sheet) x(tick int) float64 {
	return plotLeft + float64((plotRight-plotLeft)*float64(tick)/float64(max(p.ticks, 1)))
}

// panel draws the lines that the trace has.
func (p *sheet) panel(title string, t *harness.Trace, lines ...line) {
	low, high := bounds(t, lines)
	step := niceStep(high - low)
	low, high = math.Floor(low/step)*step, math.Ceil(high/step)*step
	top := p.top()
	y := func(v float64) float64 { return top + float64(panelHeight*(high-v)/(high-low)) }
	for v := low; v <= high+step/2; v += step {
		fmt.Fprintf(&p.out, `<line x1="%d" y1="%.1f" x2="%d" y2="%.1f" stroke="#ddd"/>`+"\n", plotLeft, y(v), plotRight, y(v))
		p.text(plotLeft-6, y(v)+4, "end", fmt.Sprintf("%g", v), "")
	}
	p.text(plotLeft, top-6, "start", title, "")
	for i, l := range lines {
		c := t.Column(l.column)
		if c == nil || allZero(c.Data) {
			continue
		}
		p.text(float64(plotRight-130*(len(lines)-1-i)), top-6, "end", l.label+key(l.dash), `fill="`+l.colour+`"`)
		p.curve(c, l, func(v float64) float64 { return y(min(max(v, low), high)) })
	}
	fmt.Fprintf(&p.out, `<rect x="%d" y="%.1f" width="%d" height="%d" fill="none" stroke="#000"/>`+"\n", plotLeft, top, plotRight-plotLeft, panelHeight)
	p.panels++
}

// allZero tells a target that is never commanded.
func allZero(data []int32) bool {
	for _, x := range data {
		if x != 0 {
			return false
		}
	}
	return true
}

func key(dash string) string {
	if dash == "" {
		return " (full)"
	}
	return " (dashed)"
}

// bounds is the range of the first line of a panel, which the others may leave.
func bounds(t *harness.Trace, lines []line) (low, high float64) {
	c := t.Column(lines[0].column)
	if c == nil || len(c.Data) == 0 {
		return 0, 1
	}
	least, most := c.Data[0], c.Data[0]
	for _, x := range c.Data {
		least, most = min(least, x), max(most, x)
	}
	low, high = c.Units(least), c.Units(most)
	if high <= low {
		high = low + 1
	}
	return low, high
}

// niceStep is 1, 2 or 5 times a power of ten that cuts a span into at most six.
func niceStep(span float64) float64 {
	unit := 1.0
	for span/unit > 6 {
		unit *= 10
	}
	for span/unit <= 0.6 {
		unit /= 10
	}
	for _, m := range []float64{0.1, 0.2, 0.5} {
		if span/(m*unit) <= 6 {
			return m * unit
		}
	}
	return unit
}

// curve draws a column; where there are more ticks than points, the lowest and
// the highest value of each stretch, so that nothing short is lost.
func (p *sheet) curve(c *harness.Column, l line, y func(float64) float64) {
	stride := max(2*len(c.Data)/mostPoints, 1)
	dash := ""
	if l.dash != "" {
		dash = ` stroke-dasharray="` + l.dash + `"`
	}
	fmt.Fprintf(&p.out, `<polyline fill="none" stroke="%s" stroke-width="1"%s points="`, l.colour, dash)
	for from := 0; from < len(c.Data); from += stride {
		part := c.Data[from:min(from+stride, len(c.Data))]
		least, most := part[0], part[0]
		for _, v := range part {
			least, most = min(least, v), max(most, v)
		}
		fmt.Fprintf(&p.out, "%.1f,%.1f ", p.x(from), y(c.Units(least)))
		if most != least {
			fmt.Fprintf(&p.out, "%.1f,%.1f ", p.x(from), y(c.Units(most)))
		}
	}
	p.out.WriteString("\"/>\n")
}

// axis writes the seconds below the last panel.
func (p *sheet) axis() {
	bottom := p.top() - panelGap
	step := niceStep(p.end)
	for s := 0.0; s <= p.end+1e-9; s += step {
		x := plotLeft + float64((plotRight-plotLeft)*s/p.end)
		fmt.Fprintf(&p.out, `<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" stroke="#000"/>`+"\n", x, bottom, x, bottom+5)
		p.text(x, bottom+19, "middle", fmt.Sprintf("%g", s), "")
	}
	p.text(plotRight, bottom+34, "end", "seconds from the start of the run", "")
}

// letGo marks the moment of let-go through all panels.
func (p *sheet) letGo(r *harness.Results) {
	if r.Launch == nil || r.Launch.LetGo == 0 {
		return
	}
	x := plotLeft + float64((plotRight-plotLeft)*r.Launch.LetGo/p.end)
	fmt.Fprintf(&p.out, `<line x1="%.1f" y1="%d" x2="%.1f" y2="%.1f" stroke="#000" stroke-dasharray="1 3"/>`+"\n", x, firstPanel, x, p.top()-panelGap)
	p.text(x+4, firstPanel+14, "start", "let go", "")
}
