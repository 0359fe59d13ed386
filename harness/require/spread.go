package require

import (
	"github.com/holdline/holdline/controller"
)

// spreadFold follows one stretch of constant demand from the start of an engine
// cycle on.
type spreadFold struct {
	begun, on     bool
	last          int32
	demand        int32
	events        int32
	at, low, high int64 // count less demand, in 1/55440 event
	worst         int64
	counts        [controller.MaxCylinders]int32
	within, apart int32
}

func (s *spreadFold) event(n, position, cylinder, demand int32, cut bool) {
	turned := s.begun && position <= s.last
	s.begun, s.last = true, position
	if s.on && demand != s.demand {
		*s = spreadFold{begun: true, last: position}
	}
	if !s.on {
		if !turned {
			return
		}
		*s = spreadFold{begun: true, on: true, last: position, demand: demand}
	}
	s.events++
	s.at -= int64(demand)
	if cut {
		s.at += int64(controller.FullDemand)
		s.counts[cylinder]++
	}
	s.worst = max(s.worst, s.at-s.low, s.high-s.at)
	s.low, s.high = min(s.low, s.at), max(s.high, s.at)
	apart := s.difference(n)
	s.within = max(s.within, apart)
	if s.events%n == 0 {
		s.apart = max(s.apart, apart)
	}
}

// difference is between the cylinders cut most and least.
func (s *spreadFold) difference(n int32) int32 {
	low, high := s.counts[0], s.counts[0]
	for _, c := range s.counts[1:n] {
		low, high = min(low, c), max(high, c)
	}
	return high - low
}
