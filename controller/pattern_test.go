package controller

import (
	"fmt"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// long reports whether the slow variants of the tests are asked for.
func long() bool { return os.Getenv("HOLDLINE_LONG") == "1" }

// publishedEven holds the evenly spread patterns of Toussaint, "The Euclidean
// Algorithm Generates Traditional Musical Rhythms", BRIDGES 2005, pp. 47-56, as
// regenerated with Bjorklund's algorithm (the printed E(5,16) has one slot too
// many). They are unique up to rotation: Demaine et al. 2009, Comput. Geom.
// 42:429.
var publishedEven = []string{
	"xx.", "x.x..", "xxx.", "x.x.x", "x.x.x..", "x..x..x.", "x.x.x.x", "x.x.x.x..", "x..x..x..x.",
	"xxxxx.", "x.xx.xx", "x.xx.xx.", "x.x.x.x.x", "x.x.x.x.x..", "x..x.x..x.x.", "x..x..x..x..x...",
	"xxxxxxx.", "x.xx.x.xx.x.", "x..x.x.x..x.x.x.", "x.xx.x.x.xx.x.x.",
	"x..x.x.x.x.x..x.x.x.x.x.", "x.xx.x.x.x.x.xx.x.x.x.x.",
}

// isRotation compares two cyclic sequences as necklaces.
func isRotation(a, b string) bool { return len(a) == len(b) && strings.Contains(a+a, b) }

func engineOf(n int) *Engine {
	e := &Engine{Cylinders: uint8(n)}
	for i := range n {
		e.Order[i] = uint8(n - i)
		e.position[n-i-1] = uint8(i)
	}
	e.spread = spreadStarts(e.Cylinders)
	return e
}

func TestC4EachCylinderFollowsThePublishedEvenSpread(t *testing.T) {
	for _, want := range publishedEven {
		slots, marks := len(want), strings.Count(want, "x")
		d := FullDemand / Demand(slots) * Demand(marks)
		for n := 1; n <= MaxCylinders; n++ {
			e := engineOf(n)
			for _, x := range []int32{0, 1, 12345, 55439} {
				p, got := patternState{x: x}, make([]strings.Builder, n)
				for range slots {
					for pos := range n {
						got[pos].WriteByte(".x"[b2i(p.decide(Spread, e, 0, uint8(pos), d))])
					}
				}
				p.decide(Spread, e, 0, 0, d) // ends the last cycle: x is where it began
				require.Equal(t, x, p.x)
				for pos := range n {
					require.True(t, isRotation(want, got[pos].String()),
						"E(%d,%d), %d cylinders, position %d: %s is no rotation of %s", marks, slots, n, pos, got[pos].String(), want)
				}
			}
		}
	}
	assert.Len(t, publishedEven, 22)
}

// spreadBound is the promised distance from m*d over any m consecutive events.
func spreadBound(n int) float64 {
	switch n {
	case 1:
		return 1
	case 2:
		return 2
	case 4:
		return 2.5
	case 11:
		return 3.3
	}
	return 3
}

// checkSpread runs one demand for some cycles and judges the plain sequence of
// cuts: it knows nothing of how it is made. The distance of the count over every
// window from m*d is the range of the running deviation. It returns the first
// complaint and the largest distance, in events.
func checkSpread(e *Engine, p patternState, d Demand, cycles int) (complaint string, worst float64) {
	n := int(e.Cylinders)
	var counts [MaxCylinders]int
	run, low, high := 0, 0, 0
	for c := range cycles {
		for pos := range n {
			cut := p.decide(Spread, e, 0, uint8(pos), d)
			if d == 0 && cut || d == FullDemand && !cut {
				return fmt.Sprintf("demand %d: cut %v", d, cut), worst
			}
			run -= int(d)
			if cut {
				run += int(FullDemand)
				counts[pos]++
			}
			low, high = min(low, run), max(high, run)
			if uneven(counts[:n]) > 2 {
				return fmt.Sprintf("cycle %d position %d: counts %v inside a cycle", c, pos, counts[:n]), worst
			}
		}
		if uneven(counts[:n]) > 1 {
			return fmt.Sprintf("cycle %d: counts %v at its end", c, counts[:n]), worst
		}
	}
	worst = float64(high-low) / float64(FullDemand)
	if worst > spreadBound(n) {
		return fmt.Sprintf("a window is %.3f events off", worst), worst
	}
	return "", worst
}

func uneven(counts []int) int {
	low, high := counts[0], counts[0]
	for _, c := range counts {
		low, high = min(low, c), max(high, c)
	}
	return high - low
}

func TestC4SpreadBoundsForEveryDemand(t *testing.T) {
	cycles := 24
	if long() {
		cycles = 300
	}
	r := rand.New(rand.NewPCG(4, 1))
	events := 0
	for n := 1; n <= MaxCylinders; n++ {
		e, worst := engineOf(n), 0.0
		for d := Demand(0); d <= FullDemand; d++ {
			p := patternState{x: int32(r.IntN(int(FullDemand)))}
			complaint, w := checkSpread(e, p, d, cycles)
			require.Empty(t, complaint, "%d cylinders, demand %d/55440, x %d", n, d, p.x)
			worst = max(worst, w)
			events += n * cycles
		}
		t.Logf("%2d cylinders: worst window %.3f of %.1f", n, worst, spreadBound(n))
	}
	t.Logf("%d events", events)
}

// Some demands over their whole period, and from every memory that a change of
// demand, of pattern or a broken-off cycle can leave.
func TestC4SpreadBoundsWhateverWentBefore(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 2))
	rounds := 3000
	if long() {
		rounds = 300000
	}
	for i := range rounds {
		n := 1 + i%MaxCylinders
		e := engineOf(n)
		var p patternState
		for range r.IntN(40) {
			p.decide(Pattern(r.IntN(3)), e, 5, uint8(r.IntN(n)), Demand(r.IntN(int(FullDemand)+1)))
		}
		require.GreaterOrEqual(t, p.x, int32(0))
		require.Less(t, p.x, int32(FullDemand))
		cycles := 60
		if i < 36 {
			cycles = int(FullDemand) + 1
		}
		d := Demand(r.IntN(int(FullDemand) + 1))
		complaint, _ := checkSpread(e, p, d, cycles)
		require.Empty(t, complaint, "%d cylinders, demand %d, after %+v", n, d, p)
	}
}

func TestC4TheCheckerFindsAnUnevenPattern(t *testing.T) {
	e := engineOf(8)
	for i := range 8 {
		e.spread[i] = uint16(i) * uint16(FullDemand/8) // every cut of a cycle in a row
	}
	found := 0
	for d := Demand(0); d <= FullDemand; d += 7 {
		if complaint, _ := checkSpread(e, patternState{}, d, 8); complaint != "" {
			found++
		}
	}
	assert.Positive(t, found)
}

func TestRoundRobinCutsTheFewestCylindersAndMovesOn(t *testing.T) {
	for n := 1; n <= MaxCylinders; n++ {
		e := engineOf(n)
		for k := 0; k <= n; k++ {
			d := FullDemand / Demand(n) * Demand(k)
			var p patternState
			counts := make([]int, n)
			for range n {
				cut := 0
				for pos := range n {
					if p.decide(RoundRobin, e, 0, uint8(pos), d) {
						counts[pos]++
						cut++
					}
				}
				require.Equal(t, k, cut, "%d cylinders", n)
			}
			for pos := range n {
				require.Equal(t, k, counts[pos], "%d of %d: every cylinder in turn", k, n)
			}
			if k < n {
				require.EqualValues(t, k+1, robinCount(int32(n), d+1), "the next demand takes one more")
			}
		}
	}
}

func TestFixedCutsItsListAndAllAtFullDemand(t *testing.T) {
	e := engineOf(6)
	var p patternState
	for pos := range uint8(6) {
		cyl := e.Order[pos]
		assert.Equal(t, cyl == 2 || cyl == 5, p.decide(Fixed, e, 1<<1|1<<4, pos, 1))
		assert.True(t, p.decide(Fixed, e, 1<<1|1<<4, pos, FullDemand))
		assert.False(t, p.decide(Fixed, e, 1<<1|1<<4, pos, 0))
	}
}
