package work

import "github.com/holdline/holdline/controller"

// buffer collects little-endian words before they are summed. It is part of a
// Drive: a stack of 1 KiB has no room for it.
type buffer struct {
	bytes [256]byte
	n     int
}

func (b *buffer) word(v uint32) {
	b.bytes[b.n] = byte(v)
	b.bytes[b.n+1] = byte(v >> 8)
	b.bytes[b.n+2] = byte(v >> 16)
	b.bytes[b.n+3] = byte(v >> 24)
	b.n += 4
}

func (b *buffer) bit(v bool) {
	if v {
		b.word(1)
	} else {
		b.word(0)
	}
}

// NoteTick adds every field of the last output to the sum.
func (d *Drive) NoteTick() {
	b := &d.buf
	b.n = 0
	o := &d.Out
	b.word(uint32(o.Sequence) | uint32(o.Marks)<<8 | uint32(o.Speed)<<16 | uint32(o.Faults)<<24)
	b.word(uint32(o.Active) | uint32(o.Stage)<<8 | uint32(o.CutStage)<<16 | uint32(o.Medium)<<24)
	b.word(uint32(o.Ceiling))
	b.word(uint32(o.Target))
	b.word(uint32(o.Demand))
	b.word(uint32(o.Base))
	b.word(uint32(o.Timing))
	b.word(uint32(o.Mixture))
	b.word(uint32(o.Boost))
	b.word(uint32(o.Trim))
	b.word(uint32(o.Slope))
	b.word(o.SinceRelease)
	b.word(o.LastWithheld)
	b.bit(o.Master)
	for i := range o.Shots {
		s := &o.Shots[i]
		b.word(uint32(s.Phase))
		b.word(uint32(s.Duty)<<16 | uint32(s.FuelDuty))
		b.word(uint32(s.Retard))
		b.word(uint32(s.Enrich))
		b.word(uint32(s.Inhibits))
	}
	for i := range o.StageInhibits {
		b.word(uint32(o.StageInhibits[i]))
	}
	for i := range o.StageCeiling {
		b.word(uint32(o.StageCeiling[i]))
	}
	b.word(uint32(o.Lost))
	d.Sum = controller.CRC32C(d.Sum, b.bytes[:b.n])
}

// NoteFuel adds a decision to the sum.
func (d *Drive) NoteFuel(f controller.FuelDecision) {
	b := &d.buf
	b.n = 0
	b.bit(f.Give)
	b.word(uint32(f.Mixture))
	b.word(uint32(f.Why))
	d.Sum = controller.CRC32C(d.Sum, b.bytes[:b.n])
}

// NoteSpark adds a decision to the sum.
func (d *Drive) NoteSpark(s controller.SparkDecision) {
	b := &d.buf
	b.n = 0
	b.bit(s.Fire)
	b.word(uint32(s.Angle))
	b.word(uint32(s.Why))
	b.bit(s.Unburnt)
	b.bit(s.Drop)
	d.Sum = controller.CRC32C(d.Sum, b.bytes[:b.n])
}
