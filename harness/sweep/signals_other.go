//go:build !unix

package sweep

import "os"

// StopSignals ask a sweep to finish the launches under way and stop.
var StopSignals = []os.Signal{os.Interrupt}
