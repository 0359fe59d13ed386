package harness

import (
	"github.com/holdline/holdline/sim"
)

// TruthTrace is a Sink that keeps every truth channel of a plant, a row a tick,
// as it stands at the end of the tick. Its buffers are reused by Reset.
type TruthTrace struct {
	Channels []sim.Channel
	Columns  [][]float64
	Ticks    int

	plant *Plant
	row   [sim.ChannelCount]float64
}

// NewTruthTrace prepares a truth trace of a plant, with room for a number of
// ticks; it grows if there are more.
func NewTruthTrace(p *Plant, ticks int) *TruthTrace {
	t := &TruthTrace{Channels: sim.Channels(), Columns: make([][]float64, sim.ChannelCount), plant: p}
	for i := range t.Columns {
		t.Columns[i] = make([]float64, 0, ticks)
	}
	return t
}

// Reset empties the trace for a run of a plant and keeps its buffers.
func (t *TruthTrace) Reset(p *Plant) {
	t.plant, t.Ticks = p, 0
	for i := range t.Columns {
		t.Columns[i] = t.Columns[i][:0]
	}
}

// Record implements Sink.
func (t *TruthTrace) Record(*Frame) error {
	if !t.plant.TickEnded() {
		return nil
	}
	t.plant.sim.Truth(t.row[:])
	for i, x := range t.row {
		t.Columns[i] = append(t.Columns[i], x)
	}
	t.Ticks++
	return nil
}

// Column finds a truth channel by name, or gives nil.
func (t *TruthTrace) Column(name string) []float64 {
	for i := range t.Channels {
		if t.Channels[i].Name == name {
			return t.Columns[i]
		}
	}
	return nil
}
