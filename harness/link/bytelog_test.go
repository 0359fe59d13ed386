package link

import (
	"bytes"
	"testing"

	"github.com/holdline/holdline/harness"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A log played back gives the same answers and so the same verdict, noise or
// not; another run is told apart; a log that was cut off plays up to there.
func TestPlaybackGivesTheSameAnswers(t *testing.T) {
	j := shortened(shippedJobs(t)[2], 4)
	var log bytes.Buffer
	b := &bench{fromRig: (&noise{r: seeded(5), bit: 2e-5}).mangle, toRig: (&noise{r: seeded(6), bit: 2e-5}).mangle}
	u := NewUnit(b, Options{Limits: fast, Log: NewLog(&log)})
	want, results, err := ride(t, j, u)
	require.NoError(t, err)
	require.NotZero(t, u.Figures().Retries)
	b.hangUp()

	records, err := ReadLog(bytes.NewReader(log.Bytes()))
	require.NoError(t, err)
	p, err := NewPlayback("run.bytes", records)
	require.NoError(t, err)
	got, again, err := ride(t, j, p.Unit(Options{Limits: fast}))
	require.NoError(t, err)
	sameAnswers(t, want, got)
	sameVerdict(t, results, again)
	assert.Zero(t, p.Left())

	other := *j
	other.Seed++
	l := *j.Launch
	l.Cond.Seed++
	other.Launch = &l
	_, _, err = ride(t, &other, p.Unit(Options{Limits: fast}))
	require.ErrorIs(t, err, Unlike)

	half := log.Bytes()[:log.Len()/2]
	records, err = ReadLog(bytes.NewReader(half))
	if err != nil {
		require.ErrorIs(t, err, ErrLogCut)
	}
	p, err = NewPlayback("cut.bytes", records)
	require.NoError(t, err)
	part, cut, err := ride(t, j, p.Unit(Options{Limits: fast}))
	require.ErrorIs(t, err, Unlike)
	require.Greater(t, len(part), 1000)
	sameAnswers(t, want[:len(part)], part)
	assert.NotEqual(t, harness.VerdictHolds, cut.Verdict)
}

func TestLogsThatAreNone(t *testing.T) {
	for _, text := range []string{"", "something else\n", "holdline-bytes-1"} {
		_, err := ReadLog(bytes.NewReader([]byte(text)))
		assert.Error(t, err, "%q", text)
	}
	_, err := ReadLog(bytes.NewReader([]byte(LogFormat + "\n\x01\xff\xff\xff\xff\xff\x0f")))
	assert.ErrorContains(t, err, "damaged")
	list, err := ReadLog(bytes.NewReader([]byte(LogFormat + "\n\x05\x05\x01\x02\x00\x09a")))
	assert.ErrorIs(t, err, ErrLogCut)
	var out bytes.Buffer
	require.NoError(t, PrintLog(&out, list))
	assert.Equal(t, "    0.000005 <- 01 02\n", out.String())
}
