package harness

import (
	"sort"

	"github.com/holdline/holdline/controller"
)

// CommitAngles says how long before a cylinder's firing dead centre its two
// decisions fall due, in degrees. They are facts of the engine's injection and
// ignition, not of the controller.
type CommitAngles struct {
	Fuel  controller.Angle // injection start
	Spark controller.Angle // dwell start for the most advanced angle allowed
}

// DefaultCommitAngles are those of a port-injected engine whose injection starts
// on the closed valve, with dwell starting 96 degrees before dead centre
// (illustrative).
var DefaultCommitAngles = CommitAngles{Fuel: 516 * controller.Degree, Spark: 96 * controller.Degree}

// Schedule lists commits from engine speed by integrating crank angle. Angles
// inside are in 1e-7 degree, so that integration is exact.
type Schedule struct {
	points []commitPoint // in angle order within 720 degrees
	next   int           // the next point to be reached
	phase  uint64        // crank angle since this turn began
	turn   uint8         // whole 720 degrees since the start
	period uint64        // us
}

type commitPoint struct {
	angle    uint64 // 1e-7 degree within 720
	cylinder uint8
	kind     EventKind
	ahead    uint8 // how many turns later its dead centre lies
}

const (
	perDegree    = 10_000_000
	perHundredth = perDegree / 100
	fullTurn     = 720 * perDegree
)

// NewSchedule prepares the commits of an engine.
func NewSchedule(e *controller.Engine, period controller.Duration, at CommitAngles) *Schedule {
	s := &Schedule{period: uint64(period)}
	angle := int64(0)
	for i := range int(e.Cylinders) {
		s.add(e.Order[i], FuelCommit, angle-int64(at.Fuel)*perHundredth)
		s.add(e.Order[i], SparkCommit, angle-int64(at.Spark)*perHundredth)
		angle += intervalOf(e, i)
	}
	sort.SliceStable(s.points, func(i, j int) bool { return s.points[i].angle < s.points[j].angle })
	return s
}

// intervalOf is the angle from firing i to the next; without a list it is even.
func intervalOf(e *controller.Engine, i int) int64 {
	if e.Intervals == [controller.MaxCylinders]controller.Angle{} {
		n := int64(e.Cylinders)
		return (int64(i)+1)*fullTurn/n - int64(i)*fullTurn/n
	}
	return int64(e.Intervals[i]) * perHundredth
}

func (s *Schedule) add(cylinder uint8, kind EventKind, angle int64) {
	p := commitPoint{cylinder: cylinder, kind: kind}
	for angle < 0 {
		angle += fullTurn
		p.ahead++
	}
	p.angle = uint64(angle)
	s.points = append(s.points, p)
}

// Advance turns the crank for one tick at a speed and adds the commits that are
// reached to the frame, each once.
func (s *Schedule) Advance(f *Frame, n controller.Speed) {
	if n <= 0 || len(s.points) == 0 {
		return
	}
	// 0.6 degrees a second for every tenth of rpm.
	end := s.phase + 6*uint64(n)*s.period
	for {
		if s.next == len(s.points) {
			if end < fullTurn {
				break
			}
			end -= fullTurn
			s.next = 0
			s.turn++
		}
		p := &s.points[s.next]
		if p.angle >= end || !f.Add(s.event(p)) {
			break
		}
		s.next++
	}
	s.phase = end
}

func (s *Schedule) event(p *commitPoint) Event {
	return Event{
		Angle: int32(p.angle / perHundredth), Cylinder: p.cylinder, Kind: p.kind,
		Cycle: controller.Cycle(s.turn + p.ahead),
	}
}
