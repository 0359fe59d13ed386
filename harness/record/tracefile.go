package record

import (
	"errors"
	"fmt"
	"math"
	"path/filepath"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// Names of the files that a run leaves in its folder.
const (
	TraceFile  = "trace.csv"
	EventsFile = "events.csv"
)

// TraceFiles is a harness.Sink that writes trace.csv, a row a tick, and
// events.csv, a row a commit, while the run goes by. Only whole rows are handed
// on, and both files carry the suffix ".partial" until Close: what was recorded
// up to a failure stays.
type TraceFiles struct {
	trace, events *Writer
	columns       []traceColumn
	period        int64 // us
}

type traceColumn struct {
	harness.Column
	decimals int
	last     int32 // memo of words
	text     string
}

// CreateTraceFiles starts both files in a folder that exists.
func CreateTraceFiles(dir string, cal *controller.Calibration, overwrite bool) (*TraceFiles, error) {
	t := &TraceFiles{period: int64(cal.Period)}
	var err error
	o := CreateOptions{Overwrite: overwrite, Atomic: true}
	if t.trace, err = Create(filepath.Join(dir, TraceFile), o); err != nil {
		return nil, err
	}
	if t.events, err = Create(filepath.Join(dir, EventsFile), o); err != nil {
		t.trace.Abort(err)
		return nil, err
	}
	for _, c := range harness.TraceColumns(cal) {
		t.columns = append(t.columns, traceColumn{Column: c, decimals: decimalsOf(c.Per), last: math.MinInt32})
	}
	t.head()
	return t, nil
}

// decimalsOf gives how many decimals show one core step; demand, whose step is
// no decimal, gets four of a percent, which tell all its values apart.
func decimalsOf(per float64) int {
	for d, p := 0, 1.0; d <= 4; d, p = d+1, p*10 {
		if per == p {
			return d
		}
	}
	return -1
}

func (t *TraceFiles) head() {
	t.trace.Text("time (s)")
	for i := range t.columns {
		c := &t.columns[i]
		if c.Unit == "" {
			t.trace.Text(c.Name)
		} else {
			t.trace.Text(c.Name + " (" + c.Unit + ")")
		}
	}
	t.trace.End()
	for _, title := range []string{"time (s)", "crank angle (deg)", "cylinder", "cycle", "commit", "given", "reason", "timing (deg)", "mixture", "unburnt", "drop"} {
		t.events.Text(title)
	}
	t.events.End()
}

// Record implements harness.Sink.
func (t *TraceFiles) Record(f *harness.Frame) error {
	if !f.EventsOnly {
		t.row(f)
	}
	for i := range f.Events[:f.N] {
		t.event(f.Tick, &f.Events[i])
	}
	return errors.Join(t.trace.Err(), t.events.Err())
}

func (t *TraceFiles) row(f *harness.Frame) {
	t.trace.Fixed(int64(f.Tick)*t.period, 6)
	for i := range t.columns {
		c := &t.columns[i]
		v := c.Value(f)
		switch {
		case c.Words != nil:
			if v != c.last {
				c.last, c.text = v, c.Words(v)
			}
			t.trace.Text(c.text)
		case c.decimals >= 0:
			t.trace.Fixed(int64(v), c.decimals)
		default:
			t.trace.Fixed(int64(math.Round(c.Units(v)*10000)), 4)
		}
	}
	t.trace.End()
}

func (t *TraceFiles) event(tick uint32, e *harness.Event) {
	w := t.events
	w.Fixed(int64(tick)*t.period, 6)
	w.Fixed(int64(e.Angle), 2)
	w.Int(int64(e.Cylinder))
	w.Int(int64(e.Cycle))
	w.Text(e.Kind.String())
	w.Int(b2i(e.Give))
	w.Text(e.Why.String())
	if e.Kind == harness.SparkCommit {
		w.Fixed(int64(e.Timing), 2)
		w.Blank()
	} else {
		w.Blank()
		w.Fixed(int64(e.Mixture), 4)
	}
	w.Int(b2i(e.Unburnt))
	w.Int(b2i(e.Drop))
	w.End()
}

func b2i(b bool) int64 {
	if b {
		return 1
	}
	return 0
}

// Close completes both files.
func (t *TraceFiles) Close() error {
	return errors.Join(t.trace.Close(), t.events.Close())
}

// Abort leaves what was written so far as partial files and says where they are.
func (t *TraceFiles) Abort(cause error) string {
	t.trace.Abort(cause)
	t.events.Abort(cause)
	return fmt.Sprintf("%s and %s", t.trace.Name(), t.events.Name())
}
