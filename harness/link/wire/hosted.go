package wire

import (
	"encoding/binary"

	"github.com/holdline/holdline/controller"
)

// Hosted is the reference controller behind a wire: the part of a Handler that
// decides. Whoever embeds it adds outputs, clock and bytes.
type Hosted struct {
	Cal   controller.Calibration
	State controller.State
}

// HostedHello describes the reference controller to a bench. Token, Buffer and
// Clock are the rig's own.
func HostedHello() Hello {
	return Hello{
		Lowest: Version, Highest: Version,
		Features:  ReportsOutputs | TakesImages | IsReference | TakesLockstep | TakesPaced,
		Channels:  allChannels,
		Switches:  1<<controller.NumSwitches - 1,
		Cylinders: controller.MaxCylinders,
		Events:    MaxEvents, Items: 4, Window: MaxWindow, Frame: 1024, Buffer: 2048,
		Shortest: 100, Clock: 1_000_000,
		Name: TextOf("reference controller"), Version: TextOf("1"),
	}
}

// Image implements Handler: it loads and seals the calibration.
func (h *Hosted) Image(image []byte) uint32 {
	if h.Cal.LoadImage(image, nil) != nil {
		return 0
	}
	return ImageChecksum(image)
}

// ImageChecksum is the checksum that names a calibration: the last four bytes
// of its image.
func ImageChecksum(image []byte) uint32 {
	if len(image) < 4 {
		return 0
	}
	return binary.LittleEndian.Uint32(image[len(image)-4:])
}

// Begin implements Handler.
func (h *Hosted) Begin(s *Start) (Refusal, uint32) {
	if h.State.Reset(&h.Cal) != nil {
		return RefuseCalibration, 0
	}
	if s.Period != h.Cal.Period {
		return RefusePeriod, uint32(h.Cal.Period)
	}
	return Fits, 0
}

// Tick implements Handler.
func (h *Hosted) Tick(_ uint32, in *controller.Input, out *controller.Output) {
	h.State.Tick(&h.Cal, in, out)
}

// Commit implements Handler.
func (h *Hosted) Commit(e *Event) {
	if e.Kind == Fuel {
		d := h.State.FuelCommit(&h.Cal, e.Cylinder, e.Cycle)
		e.Give, e.Why, e.Value = d.Give, d.Why, int32(d.Mixture)
		return
	}
	d := h.State.SparkCommit(&h.Cal, e.Cylinder, e.Cycle)
	e.Give, e.Why, e.Value, e.Unburnt, e.Drop = d.Fire, d.Why, int32(d.Angle), d.Unburnt, d.Drop
}
