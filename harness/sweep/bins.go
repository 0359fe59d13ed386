package sweep

import (
	"math"
	"strconv"
	"strings"
)

// pictureSpec is a picture of a plan with its columns found and its axes cut.
type pictureSpec struct {
	Form   string `json:"form"`
	X      string `json:"x"`
	By     string `json:"by,omitempty"`
	Value  string `json:"value"`
	XBins  bins   `json:"x_bins"`
	ByBins bins   `json:"by_bins"`
}

// bins cuts an axis: into steps of Width from From, or not at all.
type bins struct {
	From  float64 `json:"from,omitempty"`
	Width float64 `json:"width,omitempty"`
}

// of gives the middle of the bin of a value; the value itself where nothing is
// cut.
func (b bins) of(value string) string {
	if b.Width == 0 || value == "" {
		return value
	}
	x, ok := number(value)
	if !ok {
		return ""
	}
	k := math.Floor((x - b.From) / b.Width)
	middle := b.From + float64((k+0.5)*b.Width)
	return strconv.FormatFloat(middle, 'g', 9, 64)
}

// mostMarks is how many places of an axis are drawn one by one.
const mostMarks = 48

// binsOf cuts a parameter's axis if it has too many values.
func binsOf(p *Parameter) bins {
	if p.Sampled {
		return cut(p.From, p.To)
	}
	levels := p.levels()
	if len(levels) <= mostMarks || !p.numeric() {
		return bins{}
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, v := range levels {
		x, _ := number(v)
		low, high = min(low, x), max(high, x)
	}
	return cut(low, high)
}

const sampledBins = 12

func cut(from, to float64) bins {
	if to <= from {
		return bins{}
	}
	return bins{from, (to - from) / sampledBins * (1 + 1e-9)}
}

// Widths of the bins of measured columns, by unit.
var measuredWidth = map[string]float64{"rpm": 100, "kPa": 5, "s": 0.05, "m/s": 1, "": 0.05}

// pictures lists the plan's pictures, or those that fit its parameters.
func (p *Plan) pictures() (specs []pictureSpec) {
	list := p.Pictures
	if len(list) == 0 {
		list = p.usualPictures()
	}
	for _, q := range list {
		s := pictureSpec{Form: formWord(q.Form), X: p.columnOf(q.X), By: p.columnOf(q.By), Value: q.Value}
		s.XBins, s.ByBins = p.axisBins(s.X), p.axisBins(s.By)
		specs = append(specs, s)
	}
	return specs
}

// columnOf finds the column that a picture names by a parameter's path.
func (p *Plan) columnOf(name string) string {
	for i := range p.Parameters {
		if q := &p.Parameters[i]; ownPath(q.Path) == ownPath(name) {
			return q.column()
		}
	}
	return name
}

func formWord(f PictureForm) string {
	name, _ := formWords.Name(f)
	return name
}

func (p *Plan) axisBins(name string) bins {
	for i := range p.Parameters {
		if p.Parameters[i].column() == name {
			return binsOf(&p.Parameters[i])
		}
	}
	for i := range measured {
		if measured[i].Name == name {
			return bins{0, measuredWidth[measured[i].Unit]}
		}
	}
	return bins{}
}

// usualPictures draws 60 ft against launch speed, by surface where that is
// varied; a map where a second value is; and what limited the launches.
func (p *Plan) usualPictures() []Picture {
	x, by := "hold_speed", ""
	var others []string
	for i := range p.Parameters {
		q := &p.Parameters[i]
		path := ownPath(q.Path)
		switch {
		case q.numeric() && x == "hold_speed" && strings.HasSuffix(path, "launch.ceiling_rpm"):
			x = path
		case path == "surface.grip":
			by = path
		default:
			others = append(others, path)
		}
	}
	for _, path := range others {
		if x == "hold_speed" && p.numericPath(path) {
			x = path
		} else if by == "" {
			by = path
		}
	}
	if by == "" && len(p.Scenarios) > 1 {
		by = "scenario"
	}
	form := Lines
	if by != "" && x != "hold_speed" {
		form = Map
	}
	return []Picture{{form, x, by, "sixty_feet"}, {Limits, x, "", "sixty_feet"}}
}

func (p *Plan) numericPath(path string) bool {
	for i := range p.Parameters {
		if ownPath(p.Parameters[i].Path) == path {
			return p.Parameters[i].numeric()
		}
	}
	return false
}
