package harness

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/holdline/holdline/controller"
)

// Run drives a unit from a stimulus until the stimulus ends, the context is
// cancelled or something fails, and gives every answered frame to the sinks. It
// opens and closes the unit. What the sinks have recorded so far stays good
// whatever happens; the error says at which tick it happened.
func Run(ctx context.Context, stim Stimulus, unit Unit, session Session, sinks ...Sink) (caps Caps, err error) {
	caps, err = unit.Open(session)
	if err != nil {
		return caps, fmt.Errorf("open unit: %w", err)
	}
	defer func() {
		if e := unit.Close(); e != nil && err == nil {
			err = fmt.Errorf("close unit: %w", e)
		}
	}()
	return caps, loop(ctx, stim, unit, session.Calibration, sinks)
}

const ticksBetweenChecks = 1024

func loop(ctx context.Context, stim Stimulus, unit Unit, cal *controller.Calibration, sinks []Sink) error {
	var f Frame
	for n := 0; ; n++ {
		if n%ticksBetweenChecks == 0 && ctx.Err() != nil {
			return &StoppedError{Tick: f.Tick, Period: cal.Period, Doing: "interrupted", Err: ctx.Err()}
		}
		f.N, f.EventsOnly, f.Flags, f.LatencyNs = 0, false, 0, 0
		if err := stim.Next(&f); err != nil {
			if errors.Is(err, io.EOF) {
				return nil
			}
			return &StoppedError{Tick: f.Tick, Period: cal.Period, Doing: "stimulus", Err: err}
		}
		if err := unit.Step(&f); err != nil {
			return &StoppedError{Tick: f.Tick, Period: cal.Period, Doing: "unit", Err: err}
		}
		if err := stim.Apply(&f); err != nil {
			return &StoppedError{Tick: f.Tick, Period: cal.Period, Doing: "stimulus", Err: err}
		}
		for _, s := range sinks {
			if err := s.Record(&f); err != nil {
				return &StoppedError{Tick: f.Tick, Period: cal.Period, Doing: "recording the trace", Err: err}
			}
		}
	}
}

// StoppedError says where a run stopped before its stimulus ended.
type StoppedError struct {
	Tick   uint32
	Period controller.Duration
	Doing  string
	Err    error
}

// Error implements error.
func (e *StoppedError) Error() string {
	at := float64(e.Tick) * float64(e.Period) / float64(controller.Second)
	return fmt.Sprintf("stopped at %.3f s (tick %d): %s: %v", at, e.Tick, e.Doing, e.Err)
}

// Unwrap gives the cause.
func (e *StoppedError) Unwrap() error { return e.Err }
