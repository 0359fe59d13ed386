package require_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	stl "github.com/holdline/holdline/harness/require"
)

// TestStretchesAreWindows: a stretch is judged as the same formula with its window
// written out, with a premise and without, and beside requirements that share its
// nodes.
func TestStretchesAreWindows(t *testing.T) {
	for seed := range uint64(3000) {
		r := rand.New(rand.NewPCG(seed, 9))
		tr, body, premise := randomTrace(r), generator{r}.formula().String(), ""
		if seed%3 == 0 {
			premise = generator{r}.formula().String()
		}
		step := 1 + r.IntN(tr.n+1)
		set, err := stl.Compile([]stl.Requirement{
			{ID: "other", Formula: "not (always (" + body + "))"},
			{ID: "asked", Formula: "always (" + body + ")", Premise: premise},
			{ID: "once more", Formula: "always (" + body + ")"},
		}, tr)
		require.NoError(t, err)
		got, err := set.Stretches(tr, step)
		require.NoError(t, err)
		require.Nil(t, got[0])
		require.Len(t, got[1], (tr.n+step-1)/step)
		for i, part := range got[1] {
			from, to := i*step, min((i+1)*step, tr.n)-1
			written := fmt.Sprintf("always from %d us to %d us (%s)", us(tr, from), us(tr, to), body)
			one, err := stl.Compile([]stl.Requirement{{ID: "asked", Formula: written, Premise: premise}}, tr)
			require.NoError(t, err)
			want, err := one.Evaluate(tr)
			require.NoError(t, err)
			w := want[0]
			w.Earlier, w.Later, w.Vacuous = part.Earlier, part.Later, part.Vacuous
			require.Equal(t, w, part, "%s, premise %q, of %d ticks", written, premise, tr.n)
		}
	}
}

func us(tr *trace, tick int) int64 { return int64(tick) * tr.Period().Microseconds() }

// What asks nothing of every tick has no stretches.
func TestOnlyAlwaysHasStretches(t *testing.T) {
	tr := ms([]float64{0, 0, 9, 0}, 0, 1, 0, 0)
	for formula, want := range map[string]int{
		"always x < 10":                      2,
		`always ("x" < 10)`:                  2,
		"always x < 10 implies x < 9":        0,
		"always within 2 ms x < 10":          0,
		"always (x < 10) and always (x < 9)": 0,
		"eventually x < 10":                  0,
	} {
		set, err := stl.Compile([]stl.Requirement{{ID: "r", Formula: formula}}, tr)
		require.NoError(t, err, formula)
		got, err := set.Stretches(tr, 2)
		require.NoError(t, err)
		assert.Len(t, got[0], want, formula)
	}
}
