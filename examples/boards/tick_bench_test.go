package boards_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/examples/boards/work"
)

// BenchmarkShippedTick is a tick of a shipped calibration with four stages and two
// shots (v8-trans-brake): held on the limiter, and in the mean of whole launches,
// with the few nanoseconds of the drive.
func BenchmarkShippedTick(b *testing.B) {
	_, cal := image(b, "v8-trans-brake")
	var d work.Drive
	require.NoError(b, d.Begin(cal, work.Launch, 1))
	for range 1800 {
		d.Step()
	}
	require.Equal(b, controller.Held, d.Out.Sequence)
	b.Run("held", func(b *testing.B) {
		held := d
		b.ReportAllocs()
		for i := 0; b.Loop(); i++ {
			if i&127 == 0 {
				held = d // before the release
			}
			held.Prepare()
			held.Tick()
		}
	})
	b.Run("launch", func(b *testing.B) {
		launch := d
		b.ReportAllocs()
		for b.Loop() {
			launch.Prepare()
			launch.Tick()
		}
	})
}
