package link

import (
	"context"
	"testing"
	"time"

	"github.com/holdline/holdline/harness/link/wire"
	reqs "github.com/holdline/holdline/harness/require"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// On a simulated wire of known speed the doctor measures what is known.
func TestDoctorMeasures(t *testing.T) {
	virtual(t, "115200 baud", func(t *testing.T) {
		b := &bench{perByte: time.Second * 10 / 115200}
		m, err := Examine(context.Background(), b, Limits{})
		require.NoError(t, err)
		assert.False(t, b.rig.rig.InSession(), "no session is started")
		assert.Equal(t, "reference controller", m.Hello.Name.String())
		// 24 bytes, type, checksum, stuffing and delimiter, both ways
		assert.InDelta(t, 2*31*10/115200., m.RoundTrip.Quantile(0.5).Seconds(), 0.0005)
		assert.InDelta(t, 11520, m.Rate, 300)
		assert.Zero(t, m.Lost)
		t.Log(m.Lines())

		tick := time.Millisecond
		assert.Empty(t, m.Fits(Need{Mode: wire.Lockstep, Period: tick, Closed: true}).Err())
		assert.Error(t, m.Fits(Need{Mode: wire.Paced, Period: tick, Closed: true}).Err())
		assert.Error(t, m.Fits(Need{Mode: wire.Paced, Period: tick}).Err(), "32 bytes a millisecond")
		assert.NoError(t, m.Fits(Need{Mode: wire.Paced, Period: tick, Bytes: 10}).Err())
		assert.Error(t, m.Fits(Need{Mode: wire.Paced, Period: 10 * tick, Bound: 12 * tick}).Err())
		assert.NoError(t, m.Fits(Need{Mode: wire.Lockstep, Period: 10 * tick, Bound: 12 * tick}).Err())
		b.hangUp()
	})
	virtual(t, "latency timer", func(t *testing.T) {
		m := &Measured{}
		for range 100 {
			m.RoundTrip.Add(16 * time.Millisecond)
		}
		f := m.Fits(Need{Mode: wire.Lockstep, Period: time.Millisecond})
		require.Len(t, f, 1)
		assert.Contains(t, f[0].String(), "latency timer")
	})
}

func TestTooTightRequirements(t *testing.T) {
	list := []reqs.Requirement{
		{ID: "a", Formula: "always (at released implies eventually within 3 ms demand <= 0 percent)"},
		{ID: "b", Formula: "always (historically within 0.2 s blind implies shots_closed)"},
		{ID: "c", Formula: "always engine_speed < 9000 rpm"},
	}
	f := TooTight(list, 5*time.Millisecond)
	require.Len(t, f, 1)
	assert.Equal(t, "a", f[0].Field)
	assert.Empty(t, TooTight(list, time.Millisecond))
	assert.Equal(t, 3*time.Millisecond, Tightest(list))
	assert.Zero(t, Tightest(list[2:]))
}

func TestHistogramQuantiles(t *testing.T) {
	var h Histogram
	assert.Zero(t, h.Quantile(0.5))
	for i := range 1000 {
		h.Add(time.Duration(i+1) * time.Microsecond)
	}
	for _, q := range []float64{0.01, 0.5, 0.9, 0.99, 1} {
		want := q * 1e6
		assert.InEpsilon(t, want, float64(h.Quantile(q)), 1.0/14, "%v", q)
	}
	assert.Equal(t, time.Microsecond, h.Min)
	assert.Equal(t, time.Millisecond, h.Max)
	for d := time.Duration(1); d > 0; d = d*3 + 1 {
		require.LessOrEqual(t, d, topOf(bucketOf(d)))
		require.GreaterOrEqual(t, float64(d)*17/16, float64(topOf(bucketOf(d))))
		if d > 1<<60 {
			break
		}
	}
}
