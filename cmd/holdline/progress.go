package main

import (
	"fmt"
	"io"
	"os"
	"time"

	"github.com/holdline/holdline/harness"
)

// progress is a sink that shows how far a run is, on a terminal only and only
// when it takes long enough to wonder.
type progress struct {
	w      io.Writer
	label  string
	total  int64
	seen   int64
	start  time.Time
	last   time.Time
	quiet  bool
	shown  bool
	stride int64
}

func newProgress(w io.Writer, label string, total int64) *progress {
	now := time.Now()
	return &progress{w: w, label: label, total: total, start: now, last: now, quiet: !isTerminal(w), stride: 1 << 14}
}

// isTerminal reports whether w is a screen that a person looks at.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}

// Record implements harness.Sink.
func (p *progress) Record(*harness.Frame) error {
	p.seen++
	if p.quiet || p.seen%p.stride != 0 && p.seen != p.total {
		return nil
	}
	now := time.Now()
	if p.seen == p.total {
		if p.shown {
			fmt.Fprintf(p.w, "\r%-*s\r", screenWidth-1, "")
		}
		return nil
	}
	if now.Sub(p.last) < time.Second/4 {
		return nil
	}
	p.last, p.shown = now, true
	share := float64(p.seen) / float64(max(p.total, 1))
	left := time.Duration(float64(now.Sub(p.start)) * (1 - share) / share).Round(time.Second)
	line := fmt.Sprintf("%s: %3.0f %%, about %s left", p.label, share*100, left)
	fmt.Fprintf(p.w, "\r%-*s", screenWidth-1, line)
	return nil
}
