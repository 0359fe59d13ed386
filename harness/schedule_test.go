package harness

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/holdline/holdline/controller"
)

func engineOf(order ...uint8) *controller.Engine {
	e := &controller.Engine{Cylinders: uint8(len(order))}
	copy(e.Order[:], order)
	return e
}

// turn collects all events of some ticks at one speed.
func turn(s *Schedule, n controller.Speed, ticks int) []EventRow {
	var rows []EventRow
	var f Frame
	for tick := range ticks {
		f.N = 0
		s.Advance(&f, n)
		for _, e := range f.Events[:f.N] {
			rows = append(rows, EventRow{uint32(tick), e})
		}
	}
	return rows
}

// Event rates of a four-stroke engine: n N/120 a second (Heywood 1988, ch. 2,
// from memory); the table's cases are exact.
func TestScheduleEventRates(t *testing.T) {
	for _, c := range []struct {
		order    []uint8
		rpm      int
		perTenth int // firing events in ten seconds
	}{
		{[]uint8{1, 3, 4, 2}, 6000, 2000},
		{[]uint8{1, 8, 4, 3, 6, 5, 7, 2}, 9000, 6000},
		{[]uint8{1, 5, 3, 6, 2, 4}, 3000, 1500},
		{[]uint8{1, 2, 3}, 6000, 1500},
		{[]uint8{1}, 6000, 500},
	} {
		s := NewSchedule(engineOf(c.order...), controller.Millisecond, DefaultCommitAngles)
		rows := turn(s, controller.Speed(c.rpm)*controller.RPM, 10000)
		sparks := 0
		for _, r := range rows {
			if r.Kind == SparkCommit {
				sparks++
			}
		}
		assert.Equal(t, c.perTenth, sparks, "%d cylinders at %d rpm", len(c.order), c.rpm)
		assert.Len(t, rows, 2*c.perTenth)
	}
}

// The five-cylinder order 1-2-4-5-3 fires every 144 degrees (handbook table
// named in check-values: encyclopaedia list of firing orders).
func TestScheduleAnglesFollowTheOrder(t *testing.T) {
	s := NewSchedule(engineOf(1, 2, 4, 5, 3), controller.Millisecond, CommitAngles{Fuel: 516 * controller.Degree, Spark: 0})
	var got []string
	for _, r := range turn(s, 1000*controller.RPM, 120) {
		if r.Kind == SparkCommit {
			got = append(got, fmt.Sprintf("%d@%d", r.Cylinder, r.Angle/100))
		}
	}
	assert.Equal(t, []string{"1@0", "2@144", "4@288", "5@432", "3@576"}, got)
}

// Both commits of one engine cycle carry the same count, fuel first, for any
// engine, speed course and lead.
func TestScheduleTiesBothCommitsToOneCycle(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, controller.MaxCylinders).Draw(t, "cylinders")
		order := make([]uint8, n)
		for i, x := range rapid.Permutation(ascending(n)).Draw(t, "order") {
			order[i] = x
		}
		spark := rapid.IntRange(0, 300).Draw(t, "spark")
		fuel := spark + rapid.IntRange(1, 719).Draw(t, "lead")
		s := NewSchedule(engineOf(order...), controller.Millisecond,
			CommitAngles{controller.Angle(fuel) * controller.Degree, controller.Angle(spark) * controller.Degree})
		last := map[string]controller.Cycle{}
		fuelled := map[uint8][]controller.Cycle{}
		for range 20 {
			speed := controller.Speed(rapid.IntRange(0, 150000).Draw(t, "speed"))
			for _, r := range turn(s, speed, 40) {
				key := fmt.Sprint(r.Cylinder, r.Kind)
				if before, ok := last[key]; ok && before+1 != r.Cycle {
					t.Fatalf("%s of cylinder %d jumps from cycle %d to %d", r.Kind, r.Cylinder, before, r.Cycle)
				}
				last[key] = r.Cycle
				if r.Kind == FuelCommit {
					fuelled[r.Cylinder] = append(fuelled[r.Cylinder], r.Cycle)
				} else if list := fuelled[r.Cylinder]; len(list) > 0 {
					if list[0] != r.Cycle {
						t.Fatalf("cylinder %d sparks cycle %d, fuel was for %d", r.Cylinder, r.Cycle, list[0])
					}
					fuelled[r.Cylinder] = list[1:]
				}
			}
		}
	})
}

func ascending(n int) []uint8 {
	out := make([]uint8, n)
	for i := range out {
		out[i] = uint8(i + 1)
	}
	return out
}

// However the speed wanders, the crank turns as far as its integral.
func TestScheduleIntegratesExactly(t *testing.T) {
	s := NewSchedule(engineOf(1, 2), controller.Millisecond, CommitAngles{})
	var f Frame
	var degrees float64
	events := 0
	for i := range 20000 {
		f.N = 0
		n := controller.Speed(30000 + 7*(i%4001))
		s.Advance(&f, n)
		degrees += float64(n) * 0.6 / 1000
		events += f.N
	}
	require.InDelta(t, degrees/720*4, float64(events), 4)
}
