// Package lines says which source line each instruction of a firmware comes
// from, inlined or not, by the line table in its debugging information.
package lines

import (
	"cmp"
	"debug/dwarf"
	"debug/elf"
	"slices"
)

// Firmware is a linked program.
type Firmware struct {
	Symbols []elf.Symbol
	rows    []row // by address
}

type row struct {
	address uint32
	file    string
	line    int
	end     bool // of a sequence: what follows is no code
}

// Open reads a program in ELF.
func Open(path string) (*Firmware, error) {
	f, err := elf.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	symbols, err := f.Symbols()
	if err != nil {
		return nil, err
	}
	data, err := f.DWARF()
	if err != nil {
		return nil, err
	}
	w := &Firmware{Symbols: symbols}
	return w, w.read(data)
}

func (w *Firmware) read(data *dwarf.Data) error {
	units := data.Reader()
	for {
		unit, err := units.Next()
		if unit == nil || err != nil {
			break
		}
		units.SkipChildren()
		lines, err := data.LineReader(unit)
		if err != nil {
			return err
		}
		if lines != nil {
			w.readUnit(lines)
		}
	}
	slices.SortStableFunc(w.rows, func(a, b row) int { return cmp.Compare(a.address, b.address) })
	return nil
}

// readUnit takes over the rows of one unit. What the compiler made for no line
// in particular counts for the line before it.
func (w *Firmware) readUnit(lines *dwarf.LineReader) {
	var entry dwarf.LineEntry
	var last row
	for lines.Next(&entry) == nil {
		r := row{address: uint32(entry.Address), line: entry.Line, end: entry.EndSequence}
		if entry.File != nil {
			r.file = entry.File.Name
		}
		if r.line == 0 && !r.end {
			r.file, r.line = last.file, last.line
		}
		w.rows = append(w.rows, r)
		last = r
		if r.end {
			last = row{}
		}
	}
}

// At gives file and line of an address; an empty file if it is not known.
func (w *Firmware) At(address uint32) (string, int) {
	i, _ := slices.BinarySearchFunc(w.rows, address+1, func(r row, a uint32) int { return cmp.Compare(r.address, a) })
	if i == 0 || w.rows[i-1].end {
		return "", 0
	}
	return w.rows[i-1].file, w.rows[i-1].line
}

// Sizes gives the bytes of code that each file brought.
func (w *Firmware) Sizes() map[string]int {
	sizes := map[string]int{}
	for i := range w.rows[:max(len(w.rows)-1, 0)] {
		r := &w.rows[i]
		// Functions that were not linked keep rows at address 0.
		if r.end || r.file == "" || r.address == 0 {
			continue
		}
		if n := int(w.rows[i+1].address - r.address); n < 1<<12 {
			sizes[r.file] += n
		}
	}
	return sizes
}

// Symbol gives the address of a symbol without the Thumb bit; 0 if it is not
// there.
func (w *Firmware) Symbol(name string) uint32 {
	for _, s := range w.Symbols {
		if s.Name == name {
			return uint32(s.Value) &^ 1
		}
	}
	return 0
}
