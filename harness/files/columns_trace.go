package files

import (
	"fmt"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/record"
)

// TraceColumns ties a trace of ours, as record.ReadTrace gives it, to the inputs:
// it names them itself.
func TraceColumns(r *record.Recording) *Columns {
	cols := &Columns{File: r.File, Commit: harness.DefaultCommitAngles}
	row := r.IntervalUS * 2 / 3 // one and a half of it: a row tells of its own tick only
	for i := range r.Channels {
		c, ok := fittable(r.Channels[i].Name)
		if !ok {
			continue
		}
		x := ColumnsChannel{Channel: c, Column: fmt.Sprintf("#%d", r.Channels[i].Column), IntervalUS: row}
		switch quantity, _ := quantityOf(c); quantity {
		case record.Pressure:
			x.Reference = record.Absolute
		case record.Lambda:
			x.Unit = "lambda"
		}
		cols.Channels = append(cols.Channels, x)
	}
	for sw := range controller.NumSwitches {
		cols.Switches = append(cols.Switches, ColumnsSwitch{Switch: sw, Column: record.SwitchTitle(sw), Threshold: 500_000, IntervalUS: row})
	}
	return cols
}
