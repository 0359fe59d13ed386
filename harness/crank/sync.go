package crank

// restart forgets everything but this edge.
func (d *Decoder) restart(us int64) {
	if d.sync >= Turn {
		d.Losses++
	}
	d.sync, d.began, d.last, d.pitch, d.before, d.n, d.bad = Lost, true, us, 0, 0, 0, 0
}

// ahead is how many pitches the next tooth is away from tooth i.
func (d *Decoder) ahead(i int) int64 {
	if i == d.wheel.Teeth-d.wheel.Missing-1 {
		return int64(d.wheel.Missing + 1)
	}
	return 1
}

func (d *Decoder) next(i int) int { return (i + 1) % (d.wheel.Teeth - d.wheel.Missing) }

// follow takes an edge in sync: the next tooth, the one after it where that was
// not seen, or a false edge on the way.
func (d *Decoder) follow(us int64) {
	took := (us - d.last) * perPitch
	one := d.ahead(d.index)
	two := one + d.ahead(d.next(d.index))
	switch {
	case within(took, one*d.pitch, 65, 145) && 100*took < 92*two*d.pitch: // 3 pitches of a gap are near 4
		d.accept(us, 1, one)
	case took < one*d.pitch:
		d.False++
		d.fault(us)
	case within(took, two*d.pitch, 75, 140): // one tooth was not seen
		d.Bridged++
		d.accept(us, 2, two)
		d.fault(us)
	default:
		d.restart(us)
	}
}

// within reports whether x lies between two percentages of want.
func within(x, want, low, high int64) bool { return 100*x >= low*want && 100*x <= high*want }

// fault counts one, and gives up after too many in a turn.
func (d *Decoder) fault(us int64) {
	d.bad++
	if d.bad > mostBad {
		d.restart(us)
	}
}

// accept moves on by teeth that span pitches.
func (d *Decoder) accept(us int64, teeth int, pitches int64) {
	d.pitch = (us - d.last) * perPitch / pitches
	for range teeth {
		d.index = d.next(d.index)
		if d.index == 0 {
			d.turn, d.bad = 1-d.turn, 0
		}
	}
	d.note(us, pitches)
}

func (d *Decoder) note(us, pitches int64) {
	d.pos += pitches
	d.last = us
	d.ring[d.n%ringSize] = mark{d.pos, us}
	d.n++
}

// search looks for an interval that stands out from both neighbours by the gap,
// and wants the next one exactly a turn later.
func (d *Decoder) search(us int64) {
	took := us - d.last
	gap := int64(d.wheel.Missing + 1)
	whole := d.wheel.Teeth - d.wheel.Missing
	d.counted++
	isGap := d.before > 0 && within(took, gap*d.before, 75, 140)
	switch {
	case isGap && d.sync == GapSeen && d.counted == whole:
		d.sync, d.index, d.turn, d.bad = Turn, 0, 0, 0
		d.pitch = took * perPitch / gap
		d.note(us, gap)
		d.before = 0
		return
	case isGap:
		d.sync, d.counted = GapSeen, 0
		d.before = took / gap
	default:
		if d.counted > whole {
			d.sync = Lost
		}
		d.before = took
	}
	d.last = us
}

// camEdge tells the turns apart, or finds that they were mixed up.
func (d *Decoder) camEdge(us int64) {
	if d.sync < Turn || us < d.last {
		return
	}
	off := wrap(int64(d.angleAt(us))-int64(d.wheel.Cam), 2*perTurn)
	half := wrap(off, perTurn)
	if half > camSlack && half < perTurn-camSlack {
		d.CamFaults++
		return
	}
	wrongTurn := off > perTurn/2 && off < 3*perTurn/2
	if wrongTurn {
		if d.sync == Cycle {
			d.CamFaults++
		}
		d.turn = 1 - d.turn
	}
	d.sync = Cycle
}
