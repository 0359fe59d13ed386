package work

import "github.com/holdline/holdline/controller"

// Part is one drive of a given length.
type Part struct {
	Name  string
	Kind  Kind
	Seed  uint32
	Ticks int
}

// Parts are the drives that boards and desks compare.
var Parts = [...]Part{
	{"launch", Launch, 1, 6000},
	{"storm", Storm, 20261125, 20000},
}

// Sum runs the part on a calibration and gives the sum of all that was decided.
func (p *Part) Sum(cal *controller.Calibration) (uint32, error) {
	var d Drive
	if err := d.Begin(cal, p.Kind, p.Seed); err != nil {
		return 0, err
	}
	for range p.Ticks {
		d.Step()
	}
	return d.Sum, nil
}
