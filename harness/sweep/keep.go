package sweep

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/record"
	"github.com/holdline/holdline/harness/scenario"
)

// Repeat runs one launch of a plan again and keeps its trace, events and results
// in a folder of its own, which it makes.
func Repeat(ctx context.Context, p *Plan, launch int64, dir string, force bool) (harness.Results, error) {
	if launch < 0 || launch >= p.size {
		return harness.Results{}, fmt.Errorf("launch %d is out of range: the plan has launches 0 to %d", launch, p.size-1)
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return harness.Results{}, err
	}
	var out *record.TraceFiles
	watch := func(ride *scenario.Ride) (_ []harness.Sink, err error) {
		out, err = record.CreateTraceFiles(dir, ride.Job.Cal, force)
		return []harness.Sink{out}, err
	}
	o, err := newLauncher(p).run(ctx, p.settingsOf(launch), watch)
	r := &o.results
	r.Repeat = p.RepeatCommand(launch)
	switch {
	case out == nil:
		if err == nil {
			err = fmt.Errorf("launch %d: %s", launch, o.why)
		}
		return *r, err
	case err != nil:
		return *r, fmt.Errorf("%w; what was recorded is kept in %s", err, out.Abort(err))
	}
	text, err := r.JSON()
	if err != nil {
		return *r, err
	}
	return *r, errors.Join(out.Close(), writeWhole(filepath.Join(dir, "results.json"), text))
}

// RepeatCommand is the command line that repeats one launch.
func (p *Plan) RepeatCommand(launch int64) string {
	return fmt.Sprintf("holdline sweep %s --launch %d -o DIR", scenario.ShellWord(filepath.ToSlash(p.File)), launch)
}

// Kept lists the launches of which the plan wants whole traces: the first that
// failed, the worst, and those that it names.
func (p *Plan) Kept(s *Summary) (launches []int64) {
	add := func(list []Noted, most int64) {
		for _, n := range list[:min(int64(len(list)), most)] {
			if n.Outcome != Refused {
				launches = append(launches, n.Launch)
			}
		}
	}
	add(s.Failures, p.Keep.Failures)
	add(s.Worst, p.Keep.Worst)
	for _, n := range p.Keep.Launches {
		if n < p.size {
			launches = append(launches, n)
		}
	}
	slices.Sort(launches)
	return slices.Compact(launches)
}

// KeepTraces runs the launches of Kept again and keeps each in a folder
// launch-N. A launch is a pure function of the plan and its number, so nothing
// has to be kept while a sweep runs.
func KeepTraces(ctx context.Context, p *Plan, s *Summary, out string) error {
	if s.Plan != p.Hash() {
		return fmt.Errorf("%s is not the plan of these results (%s, not %s): it or a file that it names has changed", p.File, p.Tag(), s.Plan[:tagLength])
	}
	for _, n := range p.Kept(s) {
		if _, err := Repeat(ctx, p, n, filepath.Join(out, fmt.Sprintf("launch-%d", n)), true); err != nil {
			return err
		}
	}
	return nil
}
