package report

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
)

// MarginsFile is the file of margins over time in a run's folder.
const MarginsFile = "margins.csv"

// marginTitles head the first cells of a line; the values follow, one a stretch.
var marginTitles = []string{"requirement", "unit", "scale", "stretch (ticks)"}

// WriteMargins writes margins.csv: a line a requirement, from which ReadFolder
// gives the same margins again.
func WriteMargins(w io.Writer, list []Margin) error {
	out := csv.NewWriter(w)
	if err := out.Write(marginTitles); err != nil {
		return err
	}
	number := func(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }
	for _, m := range list {
		cells := []string{m.ID, m.Unit, number(m.Scale), strconv.Itoa(m.Step)}
		for _, x := range m.Values {
			cells = append(cells, number(x))
		}
		if err := out.Write(cells); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// readMargins reads margins.csv of a folder; none if it is not there.
func readMargins(dir string) (list []Margin, err error) {
	f, err := os.Open(filepath.Join(dir, MarginsFile))
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	defer f.Close()
	in := csv.NewReader(f)
	in.FieldsPerRecord = -1
	for first := true; ; first = false {
		cells, err := in.Read()
		if err == io.EOF {
			return list, nil
		}
		var m Margin
		if err == nil && !first {
			m, err = marginFrom(cells)
			list = append(list, m)
		}
		if err != nil {
			line, _ := in.FieldPos(0)
			return nil, fmt.Errorf("%s: line %d: %w", f.Name(), line, err)
		}
	}
}

func marginFrom(cells []string) (m Margin, err error) {
	if len(cells) < len(marginTitles) {
		return m, fmt.Errorf("%d cells, at least %d are wanted", len(cells), len(marginTitles))
	}
	m.ID, m.Unit = cells[0], cells[1]
	if m.Scale, err = strconv.ParseFloat(cells[2], 64); err != nil || !(m.Scale > 0) || math.IsInf(m.Scale, 0) {
		return m, fmt.Errorf("scale %q is no number above 0", cells[2])
	}
	if m.Step, err = strconv.Atoi(cells[3]); err != nil || m.Step < 1 {
		return m, fmt.Errorf("stretch %q is no number of ticks", cells[3])
	}
	for _, text := range cells[len(marginTitles):] {
		x, err := strconv.ParseFloat(text, 64)
		if err != nil {
			return m, fmt.Errorf("value %q is no number", text)
		}
		m.Values = append(m.Values, x)
	}
	return m, nil
}
