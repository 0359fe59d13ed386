package sim

// Two commits belong to each engine cycle of a cylinder: fuel at injection
// start, spark at dwell start. The cycle id counts that cylinder's firing dead
// centres and wraps at 256; both commits carry the id that the counter will
// have up to the dead centre they lead to.

// Upcoming appends to buf every commit that the crank will reach within
// seconds at the present speed and a margin of a tenth and one bin, in the
// order in which it reaches them. Each commit is listed once; one that is
// reached all the same without having been listed stops Advance.
func (p *Plant) Upcoming(buf []Commit, seconds float64) []Commit {
	m, s := p.model, &p.State
	if s.Stalled {
		return buf
	}
	reach := int(1.1*s.Speed*max(0, seconds)/binRad) + 1
	reach = min(reach, bins-1)
	first := 1
	if s.waiting {
		first = 0
	}
	for ahead := first; ahead <= reach; ahead++ {
		b := (s.Bin + ahead) % bins
		for _, d := range m.agenda[b] {
			if d.kind >= dueFuel && p.list(d) {
				buf = append(buf, p.commit(d, b, ahead))
			}
		}
	}
	return buf
}

// list marks a commit as listed and reports whether it is news.
func (p *Plant) list(d due) bool {
	y := &p.State.Cyl[d.cyl]
	if d.kind == dueFuel {
		fresh := !y.fuelListed && !y.fuelSet
		y.fuelListed = true
		return fresh
	}
	fresh := !y.sparkListed && !y.sparkSet
	y.sparkListed = true
	return fresh
}

func (p *Plant) commit(d due, bin, ahead int) Commit {
	s := &p.State
	kind := FuelCommit
	if d.kind == dueSpark {
		kind = SparkCommit
	}
	return Commit{
		Cylinder: p.model.number[d.cyl],
		Cycle:    p.cycleID(d.cyl, kind),
		Kind:     kind,
		AngleDeg: binDeg * float64(bin),
		AheadDeg: float64(binDeg*float64(ahead)) - float64(s.BinRad*degPerRad),
	}
}

// cycleID is the id of a cylinder's next commit of a kind.
func (p *Plant) cycleID(k int, kind Kind) uint8 {
	m, s := p.model, &p.State
	at := m.fuelBin
	if kind == SparkCommit {
		at = m.spkBin
	}
	here := (s.Bin - m.slot[k] + bins) % bins
	id := s.Cyl[k].Cycle
	if here > at || here == at && !s.waiting {
		id++
	}
	return id
}

// Decide hands in the decision on a commit: give or withhold, and for a spark
// the advance in degrees before dead centre (negative: after). It may come any
// time before the commit is reached and again until then; the last counts. It
// returns false, and changes nothing, when cylinder and cycle do not name the
// next commit of that kind.
func (p *Plant) Decide(cylinder int, cycle uint8, kind Kind, give bool, advanceDeg float64) bool {
	k := p.position(cylinder)
	if k < 0 || cycle != p.cycleID(k, kind) {
		return false
	}
	y := &p.State.Cyl[k]
	if kind == FuelCommit {
		y.fuelSet, y.fuelGive = true, give
		return true
	}
	y.sparkSet, y.sparkGive = true, give
	y.advance = clamp(advanceDeg, -180, p.model.car.Engine.MaxAdvance)
	return true
}

func (p *Plant) position(cylinder int) int {
	for k := range p.model.n {
		if p.model.number[k] == cylinder {
			return k
		}
	}
	return -1
}

// undecided reports whether an event is a commit that lacks a decision, and
// notes which.
func (p *Plant) undecided(d due) bool {
	s := &p.State
	y := &s.Cyl[d.cyl]
	if d.kind == dueFuel && !y.fuelSet || d.kind == dueSpark && !y.sparkSet {
		s.waiting = true
		s.waitFor = p.commit(d, s.Bin, 0)
		return true
	}
	return false
}
