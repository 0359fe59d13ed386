// Package crank is a reference decoder: from the times of tooth edges to engine
// speed and crank angle, as a controller has to find them.
//
// A wheel has evenly pitched teeth with a gap (36-1 and 60-2 are the usual
// ones), and a cam edge once in 720 degrees tells the two turns of a cycle
// apart:
//
//	lost -> gap seen -> turn -> cycle
//
// A turn is known when two gaps stand exactly one turn apart, so that a tooth
// that was not seen cannot pass for the gap. The cycle is known from the next cam
// edge on. A single tooth that is missing, and a false edge between two teeth,
// are bridged and counted; more than two in a turn, or an edge that fits nothing,
// lose sync, and the search begins anew. All arithmetic is in integers:
// microseconds, and 1/256 of a tooth pitch.
package crank

import (
	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/sim"
)

// Wheel is the geometry of crank and cam wheel. Angles are in hundredths of a
// degree after the firing dead centre of the first cylinder in the order.
type Wheel struct {
	Teeth   int   // of the full wheel, with those that the gap leaves out
	Missing int   // teeth that the gap leaves out, at least 1
	First   int32 // first tooth after the gap, 0 to 36000
	Cam     int32 // cam edge, 0 to 71999
}

// WheelOf gives the wheel of a simulated car.
func WheelOf(c *sim.Car) Wheel {
	s := &c.Sensing
	return Wheel{Teeth: s.Teeth, Missing: s.Missing, First: int32(s.FirstDeg * 100), Cam: int32(s.CamDeg * 100)}
}

// Sync says how much of the crank angle is known.
type Sync uint8

// The states of sync.
const (
	Lost    Sync = iota
	GapSeen      // one gap was seen
	Turn         // the angle within 360 degrees is known
	Cycle        // the angle within 720 degrees is known
)

// Bounds of the decoder.
const (
	stopped  = 250_000 // us without an edge: the engine stands
	mostBad  = 2       // faults bridged in a turn
	perPitch = 256
	ringSize = 256
	perTurn  = 36000    // hundredths of a degree
	camSlack = 12 * 100 // hundredths of a degree that a cam edge may be off
	maxWheel = ringSize/2 - 1
)

// Decoder follows one crank. It allocates nothing after New.
type Decoder struct {
	wheel    Wheel
	interval int64 // firing interval in pitches, 1/256

	sync  Sync
	index int   // tooth that was seen last, 0 behind the gap
	turn  int   // 0 or 1
	pos   int64 // pitches since the start
	last  int64 // us of the last good edge
	pitch int64 // us of a pitch, 1/256
	began bool

	before  int64 // search: interval before the last one
	counted int   // search: edges since the candidate gap
	bad     int   // faults in this turn
	ring    [ringSize]mark
	n       int

	// Counts, for reports.
	Bridged, False, Losses, CamFaults int
}

// mark is one edge: where and when.
type mark struct{ pos, us int64 }

// New prepares a decoder; cylinders sets the firing interval over which speed is
// averaged. It returns nil for a wheel that has no gap, or more teeth than it can
// follow.
func New(w Wheel, cylinders int) *Decoder {
	if w.Missing < 1 || w.Teeth <= 2*w.Missing+2 || w.Teeth > maxWheel || cylinders < 1 {
		return nil
	}
	return &Decoder{wheel: w, interval: int64(2*w.Teeth) * perPitch / int64(cylinders)}
}

// Running starts as if the engine had turned at a constant speed before time 0,
// where it stands at an angle (hundredths of a degree): in sync.
func (d *Decoder) Running(angle int32, n controller.Speed) {
	if n <= 0 {
		return
	}
	const back = 5 * perTurn
	from := int64(angle) - back
	step := int64(perTurn / d.wheel.Teeth)
	for a := from - from%100; a < int64(angle); a += 100 {
		// Hundredths of a degree over tenths of rpm: 1e6/60 us.
		us := (a - int64(angle)) * 1_000_000 / (60 * int64(n))
		if wrap(a-int64(d.wheel.Cam), 2*perTurn) == 0 {
			d.Edge(us, true)
		}
		off := wrap(a-int64(d.wheel.First), perTurn)
		if off%step == 0 && off/step < int64(d.wheel.Teeth-d.wheel.Missing) {
			d.Edge(us, false)
		}
	}
}

func wrap(x, m int64) int64 { return ((x % m) + m) % m }

// Sync tells what is known now.
func (d *Decoder) Sync(nowUS int64) Sync {
	if nowUS-d.last > stopped {
		return Lost
	}
	return d.sync
}

// Synced reports whether the angle within 720 degrees is known.
func (d *Decoder) Synced(nowUS int64) bool { return d.Sync(nowUS) == Cycle }

// Edge takes one edge. Times must not go back; one that does is a false edge.
func (d *Decoder) Edge(us int64, cam bool) {
	switch {
	case cam:
		d.camEdge(us)
	case !d.began || us-d.last > stopped:
		d.restart(us)
	case us <= d.last:
		d.False++
	case d.sync >= Turn:
		d.follow(us)
	default:
		d.search(us)
	}
}

// Angle is the crank angle in hundredths of a degree, 0 to 71999; ok is false
// unless the cycle is known.
func (d *Decoder) Angle(nowUS int64) (angle int32, ok bool) {
	if !d.Synced(nowUS) {
		return 0, false
	}
	return d.angleAt(nowUS), true
}

// angleAt is the angle of the last tooth, and the way since at the speed of the
// last pitch, at most to the next tooth.
func (d *Decoder) angleAt(us int64) int32 {
	tooth := int64(d.index) * perTurn / int64(d.wheel.Teeth)
	since := int64(0)
	if d.pitch > 0 {
		since = min((us-d.last)*perPitch*perTurn/(d.pitch*int64(d.wheel.Teeth)), d.ahead(d.index)*perTurn/int64(d.wheel.Teeth))
	}
	return int32(wrap(int64(d.wheel.First)+tooth+since+int64(d.turn)*perTurn, 2*perTurn))
}

// Speed is the mean over the last firing interval, or over as much of it as has
// been seen since sync; age is that of the last edge, 0 for a time before it. ok is
// false without turn sync.
func (d *Decoder) Speed(nowUS int64) (n controller.Speed, ageUS int64, ok bool) {
	if d.Sync(nowUS) < Turn || d.n < 2 {
		return 0, 0, false
	}
	newest := d.ring[(d.n-1)%ringSize]
	goal := newest.pos*perPitch - d.interval
	first := max(0, d.n-ringSize)
	i := d.n - 2
	for i > first && d.ring[i%ringSize].pos*perPitch > goal {
		i--
	}
	from, to := d.ring[i%ringSize], d.ring[(i+1)%ringSize]
	way := newest.pos*perPitch - max(goal, from.pos*perPitch)
	// Time at the start of the interval, straight between two edges, 1/256 us.
	start := from.us * perPitch
	if goal > from.pos*perPitch {
		start += (to.us - from.us) * (goal - from.pos*perPitch) / (to.pos - from.pos)
	}
	took := newest.us*perPitch - start
	if took <= 0 {
		return 0, 0, false
	}
	// One turn a microsecond is 6e8 tenths of rpm.
	turn := int64(d.wheel.Teeth) * took
	n = controller.Speed((way*600_000_000 + turn/2) / turn)
	return n, max(0, nowUS-d.last), true
}
