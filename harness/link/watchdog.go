package link

import (
	"sync/atomic"
	"time"
)

// watchdog closes a port whose operation has outlived its own deadline, so that
// no caller waits for ever.
type watchdog struct {
	timer *time.Timer
	port  atomic.Pointer[Port]
	bites atomic.Int64
}

// grace is how long an operation may outlive its deadline.
const grace = time.Second

// guard names the port to close from now on.
func (w *watchdog) guard(p Port) { w.port.Store(&p) }

func (w *watchdog) watch(until time.Time) {
	d := time.Until(until) + grace
	if w.timer == nil {
		w.timer = time.AfterFunc(d, w.bite)
		return
	}
	w.timer.Reset(d)
}

func (w *watchdog) bite() {
	w.bites.Add(1)
	if p := w.port.Load(); p != nil {
		(*p).Close()
	}
}

func (w *watchdog) rest() { w.timer.Stop() }
