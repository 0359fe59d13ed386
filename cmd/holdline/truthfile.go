package main

import (
	"path/filepath"
	"strconv"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/record"
	"github.com/holdline/holdline/sim"
)

const truthName = "truth.csv"

// truthFile is a sink that writes what the plant knows of itself, a row a tick,
// as it stands at the tick's end. A nil one does nothing.
type truthFile struct {
	plant *harness.Plant
	out   *record.Writer
	row   [sim.ChannelCount]float64
	text  []byte
}

func createTruthFile(dir string, p *harness.Plant, overwrite bool) (*truthFile, error) {
	w, err := record.Create(filepath.Join(dir, truthName), record.CreateOptions{Overwrite: overwrite, Atomic: true})
	if err != nil {
		return nil, err
	}
	for _, c := range sim.Channels() {
		if c.Unit == "-" {
			w.Text(c.Name)
		} else {
			w.Text(c.Name + " (" + c.Unit + ")")
		}
	}
	w.End()
	return &truthFile{plant: p, out: w}, nil
}

// Record implements harness.Sink.
func (t *truthFile) Record(*harness.Frame) error {
	if !t.plant.TickEnded() {
		return nil
	}
	t.plant.Sim().Truth(t.row[:])
	for _, x := range t.row {
		t.text = strconv.AppendFloat(t.text[:0], x, 'g', 7, 64)
		t.out.Text(string(t.text))
	}
	t.out.End()
	return t.out.Err()
}

func (t *truthFile) close() error {
	if t == nil {
		return nil
	}
	return t.out.Close()
}

func (t *truthFile) abort(cause error) {
	if t != nil {
		t.out.Abort(cause)
	}
}
