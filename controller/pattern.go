package controller

// patternState remembers where a pattern stands. It moves once per cycle of a
// cylinder, at the commit that decides.
//
// Spread cuts position i of the firing order where
//
//	(x + offset[n][i]*55440/n) mod 55440 >= 55440 - d
//
// and at the end of each engine cycle x = (x + mean d of the cycle) mod 55440.
// One add and one compare give an evenly spread sequence on every cylinder, at
// most one cut more on any cylinder than on any other at the end of a cycle, and
// events that follow each other nearly as evenly.
type patternState struct {
	x     int32 // 0..55439
	sum   int32 // of demands in this engine cycle
	next  uint8 // after the position of the last decision; 0: there was none
	first uint8 // round-robin: first position cut in this cycle
}

// spreadOffset orders the positions of the firing order so that cuts lie apart
// in time as well as over cylinders.
var spreadOffset = [MaxCylinders + 1][MaxCylinders]uint8{
	2:  {0, 1},
	3:  {0, 2, 1},
	4:  {0, 2, 1, 3},
	5:  {0, 2, 3, 4, 1},
	6:  {0, 3, 2, 5, 1, 4},
	7:  {0, 3, 5, 2, 6, 4, 1},
	8:  {0, 3, 5, 1, 7, 4, 2, 6},
	9:  {4, 0, 7, 2, 6, 3, 8, 1, 5},
	10: {3, 7, 0, 5, 1, 8, 4, 9, 6, 2},
	11: {5, 0, 9, 3, 7, 1, 4, 8, 6, 2, 10},
	12: {10, 3, 7, 0, 5, 8, 2, 11, 6, 1, 9, 4},
}

// spreads has more places than there are positions, so that a mask keeps an index
// inside: a commit on a microcontroller has few instructions to spare.
type spreads [16]uint16

// spreadStarts gives each position's offset in units of demand.
func spreadStarts(n uint8) (starts spreads) {
	for i := range min(n, MaxCylinders) {
		starts[i] = uint16(spreadOffset[min(n, MaxCylinders)][i]) * (uint16(FullDemand) / uint16(n))
	}
	return starts
}

// decide says whether the cycle at a position of the firing order is cut, and
// moves the pattern on.
func (p *patternState) decide(pat Pattern, e *Engine, list uint16, position uint8, d Demand) bool {
	n := int32(e.Cylinders)
	if position < p.next {
		p.turn(n)
	}
	p.next = position + 1
	p.sum += int32(d)
	switch pat {
	case RoundRobin:
		return p.robin(n, position, d)
	case Fixed:
		return d >= FullDemand || d > 0 && list>>(e.Order[position]-1)&1 != 0
	}
	return p.spread(e, position, d)
}

// turn ends an engine cycle.
func (p *patternState) turn(n int32) {
	mean := p.sum / n
	// Once around at most: a division by so much costs more.
	if p.x += mean; p.x >= int32(FullDemand) {
		p.x -= int32(FullDemand)
	}
	p.first = uint8((int32(p.first) + robinCount(n, Demand(mean))) % n)
	p.sum = 0
}

func (p *patternState) spread(e *Engine, position uint8, d Demand) bool {
	at := p.x + int32(e.spread[position%uint8(len(e.spread))])
	if at >= int32(FullDemand) {
		at -= int32(FullDemand)
	}
	return at >= int32(FullDemand-d)
}

// robin cuts the fewest cylinders that meet the demand, the next ones in the
// firing order on each cycle.
func (p *patternState) robin(n int32, position uint8, d Demand) bool {
	ahead := int32(position) - int32(p.first)
	if ahead < 0 {
		ahead += n
	}
	return ahead < robinCount(n, d)
}

func robinCount(n int32, d Demand) int32 {
	return (int32(d)*n + int32(FullDemand) - 1) / int32(FullDemand)
}
