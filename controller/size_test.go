package controller

import (
	"testing"
	"unsafe"

	"github.com/stretchr/testify/assert"
)

// The limits are those of design: a state of at most 512 bytes, a calibration
// of at most 12 KiB.
func TestStateAndCalibrationStaySmall(t *testing.T) {
	state, calibration := unsafe.Sizeof(State{}), unsafe.Sizeof(Calibration{})
	t.Logf("state %d bytes, calibration %d bytes", state, calibration)
	assert.LessOrEqual(t, state, uintptr(512))
	assert.LessOrEqual(t, calibration, uintptr(12<<10))
}

// State and calibration are plain values: == is equality, a copy a snapshot.
func TestStateIsAValue(t *testing.T) {
	cal := sealed(t, testCar())
	var s State
	assert.NoError(t, s.Reset(cal))
	in, out := calm(), Output{}
	s.Tick(cal, &in, &out)
	snapshot := s
	in.Put(TransBrake, true)
	s.Tick(cal, &in, &out)
	assert.NotEqual(t, snapshot, s)
	s = snapshot
	assert.True(t, s == snapshot)
}
