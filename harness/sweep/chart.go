package sweep

import (
	"fmt"
	"html"
	"math"
	"strconv"
	"strings"

	"github.com/holdline/holdline/harness/stats"
)

// Size of a picture, in its own units: it scales to the width of the screen.
const (
	chartWide, chartHigh = 480.0, 330.0
	plotLeft, plotRight  = 60.0, 368.0
	plotTop, plotBottom  = 12.0, 276.0
	labelHeight          = 15.0
	marksX, marksY       = 5, 6
)

// Colours that people with any of the usual kinds of colour blindness tell apart
// (Okabe and Ito 2008, less their yellow), with a dash pattern each, so that a
// black-and-white print does too.
var (
	lineColours = []string{"#000000", "#0072b2", "#d55e00", "#009e73", "#cc79a7", "#56b4e9", "#e69f00"}
	lineDashes  = []string{"", "7 3", "2 3", "10 3 2 3", "5 5", "1 5", "12 4"}
)

// chart draws the lines of a picture as SVG.
type chart struct {
	strings.Builder
	d     *Drawing
	x, y  scale
	share bool
}

// scale maps numbers to a stretch of the sheet.
type scale struct{ low, high, from, to, step float64 }

func (s scale) at(v float64) float64 {
	if s.high == s.low {
		return (s.from + s.to) / 2
	}
	return s.from + float64((v-s.low)/(s.high-s.low)*(s.to-s.from))
}

// niceScale widens a range to whole steps of 1, 2 or 5.
func niceScale(low, high, from, to float64, marks int) scale {
	if !(high > low) {
		half := max(math.Abs(low)*0.05, 0.05)
		low, high = low-half, high+half
	}
	step := stats.Step(high-low, float64(marks))
	return scale{math.Floor(low/step+1e-9) * step, math.Ceil(high/step-1e-9) * step, from, to, step}
}

// svg draws a picture.
func svg(d *Drawing) string {
	c := &chart{d: d, share: d.Form == formWord(Limits)}
	c.scales()
	fmt.Fprintf(c, `<svg viewBox="0 0 %g %g" role="img" aria-label="%s" font-family="sans-serif" font-size="13">`+"\n", chartWide, chartHigh, esc(c.title()))
	c.grid()
	for i := range d.Lines {
		c.band(i)
	}
	for i := range d.Lines {
		c.line(i)
	}
	c.labels()
	c.WriteString("</svg>\n")
	return c.String()
}

func (c *chart) title() string {
	if c.share {
		return "what limited the launches, against " + inWords(c.d.X)
	}
	text := inWords(c.d.Value.Name) + " against " + inWords(c.d.X)
	if c.d.By != "" {
		text += ", by " + inWords(c.d.By)
	}
	return text
}

func (c *chart) scales() {
	xLow, xHigh, yLow, yHigh := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for _, l := range c.d.Lines {
		for _, p := range l.Points {
			xLow, xHigh = min(xLow, p.At), max(xHigh, p.At)
			low, high := p.Median, p.Median
			if !c.share {
				low, high = min(low, p.P10), max(high, p.P90)
			}
			yLow, yHigh = min(yLow, low), max(yHigh, high)
		}
	}
	if c.share || yLow > yHigh {
		yLow, yHigh = 0, 1
	}
	if xLow > xHigh {
		xLow, xHigh = 0, 1
	}
	c.x, c.y = niceScale(xLow, xHigh, plotLeft, plotRight, marksX), niceScale(yLow, yHigh, plotBottom, plotTop, marksY)
	if c.d.Words {
		c.x = scale{xLow - 0.5, xHigh + 0.5, plotLeft, plotRight, 1}
	}
}

// grid draws thin rules with numbers.
func (c *chart) grid() {
	for v := c.y.low; v <= c.y.high+c.y.step/2; v += c.y.step {
		y := c.y.at(v)
		fmt.Fprintf(c, `<path d="M%s %sH%s" stroke="#ccc" stroke-width="1"/><text x="%s" y="%s" text-anchor="end">%s</text>`+"\n",
			coord(plotLeft), coord(y), coord(plotRight), coord(plotLeft-6), coord(y+4.5), c.yMark(v))
	}
	for _, m := range c.xMarks() {
		x := c.x.at(m.at)
		fmt.Fprintf(c, `<path d="M%s %sV%s" stroke="#ccc" stroke-width="1"/><text x="%s" y="%s" text-anchor="middle">%s</text>`+"\n",
			coord(x), coord(plotTop), coord(plotBottom), coord(x), coord(plotBottom+18), esc(m.text))
	}
	name := Column{Name: inWords(c.d.Value.Name), Unit: c.d.Value.Unit}.title()
	if c.share {
		name = "share of launches"
	}
	fmt.Fprintf(c, `<text x="%s" y="%s" text-anchor="middle">%s</text>`+"\n", coord((plotLeft+plotRight)/2), coord(plotBottom+42), esc(inWords(c.d.X)))
	fmt.Fprintf(c, `<text transform="translate(12 %s) rotate(-90)" text-anchor="middle">%s</text>`+"\n", coord((plotTop+plotBottom)/2), esc(name))
}

func (c *chart) yMark(v float64) string {
	if c.share {
		return strconv.FormatFloat(math.Round(v*100), 'f', -1, 64) + " %"
	}
	return markText(v, c.y.step)
}

type mark struct {
	at   float64
	text string
}

func (c *chart) xMarks() (marks []mark) {
	if !c.d.Words {
		for v := c.x.low; v <= c.x.high+c.x.step/2; v += c.x.step {
			marks = append(marks, mark{v, markText(v, c.x.step)})
		}
		return marks
	}
	seen := map[float64]bool{}
	for _, l := range c.d.Lines {
		for _, p := range l.Points {
			if !seen[p.At] {
				seen[p.At] = true
				marks = append(marks, mark{p.At, cutWord(p.X, 16)})
			}
		}
	}
	return marks
}

func markText(v, step float64) string {
	places := max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
	text := strconv.FormatFloat(v, 'f', places, 64)
	if strings.Trim(text, "-0.") == "" {
		return "0"
	}
	return text
}

func cutWord(s string, n int) string {
	if r := []rune(s); len(r) > n {
		return string(r[:n-1]) + "…"
	}
	return s
}

func esc(s string) string { return html.EscapeString(s) }

// coord is a coordinate as text, to a tenth.
func coord(v float64) string {
	text := strings.TrimSuffix(strconv.FormatFloat(v, 'f', 1, 64), ".0")
	if text == "-0" {
		return "0"
	}
	return text
}

func lineColour(i int) string { return lineColours[i%len(lineColours)] }
func lineDash(i int) string   { return lineDashes[i%len(lineDashes)] }

// band is the stretch from the tenth to the ninetieth percentile.
func (c *chart) band(i int) {
	points := c.d.Lines[i].Points
	if c.share || len(points) < 2 {
		return
	}
	c.WriteString(`<path d="`)
	for k, p := range points {
		fmt.Fprintf(c, "%s%s %s", move(k), coord(c.x.at(p.At)), coord(c.y.at(p.P90)))
	}
	for k := len(points) - 1; k >= 0; k-- {
		fmt.Fprintf(c, "L%s %s", coord(c.x.at(points[k].At)), coord(c.y.at(points[k].P10)))
	}
	fmt.Fprintf(c, `Z" fill="%s" fill-opacity="0.1" stroke="%s" stroke-opacity="0.45" stroke-width="0.7"/>`+"\n", lineColour(i), lineColour(i))
}

func move(k int) string {
	if k == 0 {
		return "M"
	}
	return "L"
}

func (c *chart) line(i int) {
	points := c.d.Lines[i].Points
	c.WriteString(`<path d="`)
	for k, p := range points {
		fmt.Fprintf(c, "%s%s %s", move(k), coord(c.x.at(p.At)), coord(c.y.at(p.Median)))
	}
	fmt.Fprintf(c, `" fill="none" stroke="%s" stroke-width="2"`, lineColour(i))
	if dash := lineDash(i); dash != "" {
		fmt.Fprintf(c, ` stroke-dasharray="%s"`, dash)
	}
	c.WriteString("/>\n")
	for _, p := range points {
		fmt.Fprintf(c, `<circle cx="%s" cy="%s" r="2.5" fill="%s"/>`, coord(c.x.at(p.At)), coord(c.y.at(p.Median)), lineColour(i))
	}
	c.WriteString("\n")
}

// labels names each line at its end; names that would touch move apart.
func (c *chart) labels() {
	n := len(c.d.Lines)
	places := make([]float64, n)
	for i, l := range c.d.Lines {
		places[i] = c.y.at(l.Points[len(l.Points)-1].Median)
	}
	for i, y := range apart(places) {
		l := &c.d.Lines[i]
		last := l.Points[len(l.Points)-1]
		x := c.x.at(last.At)
		fmt.Fprintf(c, `<path d="M%s %sL%s %s" stroke="%s" stroke-width="0.7"/>`, coord(x+4), coord(places[i]), coord(plotRight+7), coord(y), lineColour(i))
		fmt.Fprintf(c, `<text x="%s" y="%s" fill="%s">%s</text>`+"\n", coord(plotRight+10), coord(y+4.5), lineColour(i), esc(cutWord(c.labelOf(l), 14)))
	}
}

func (c *chart) labelOf(l *Line) string {
	if l.Label == "" {
		return "median"
	}
	if _, ok := number(l.Label); ok {
		return lastKey(c.d.By) + " " + l.Label
	}
	return l.Label
}

// inWords names a measured column in words, and a path by its last two keys.
func inWords(name string) string {
	if name == "sixty_feet" {
		return "60 ft"
	}
	keys := strings.Split(name, ".")
	return strings.ReplaceAll(strings.Join(keys[max(0, len(keys)-2):], " "), "_", " ")
}

// lastKey is the end of a path.
func lastKey(path string) string { return path[strings.LastIndexByte(path, '.')+1:] }

// apart moves places that are closer than a line of text, keeping their order.
func apart(places []float64) []float64 {
	order := make([]int, len(places))
	for i := range order {
		order[i] = i
	}
	for i := 1; i < len(order); i++ {
		for j := i; j > 0 && places[order[j]] < places[order[j-1]]; j-- {
			order[j], order[j-1] = order[j-1], order[j]
		}
	}
	out := append([]float64(nil), places...)
	for k := 1; k < len(order); k++ {
		out[order[k]] = max(out[order[k]], out[order[k-1]]+labelHeight)
	}
	if len(order) == 0 {
		return out
	}
	if over := out[order[len(order)-1]] - plotBottom; over > 0 {
		out[order[len(order)-1]] -= over
		for k := len(order) - 2; k >= 0; k-- {
			out[order[k]] = min(out[order[k]], out[order[k+1]]-labelHeight)
		}
	}
	return out
}
