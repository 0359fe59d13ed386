package files

import (
	"math"
	"slices"
	"strings"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/record"
)

// Columns says which column of a recording feeds which input.
type Columns struct {
	Notes      string // shown with results
	Recording  RecordingFacts
	Barometric controller.Pressure // for gauge pressures; 0: not stated
	Commit     harness.CommitAngles
	Channels   []ColumnsChannel
	Switches   []ColumnsSwitch
	Script     Script // in the vocabulary Inputs; times count from FromUS

	File string // that it was read from, for findings
}

// RecordingFacts is what is stated about the recording itself.
type RecordingFacts struct {
	RateMilliHz int64 // rows a second, for a file without time column; 0: time column
	Delimiter   byte  // 0: found out
	Decimal     byte  // 0: found out
	HeaderLine  int32 // 0: found out
	NoHeader    bool
	Titles      []string
	TimeColumn  string
	TimeUnit    string
	Pairing     record.Pairing
	StepBack    record.StepPolicy
	Ignore      []string
	Missing     []string
	FromUS      int64 // section to use, since the first row
	ToUS        int64 // 0: to the end
}

// ColumnsChannel feeds one channel, from a column or with a constant.
type ColumnsChannel struct {
	Channel     controller.Channel
	Column      string // as record names columns; "": the constant counts
	TimeColumn  string // the column's own time column; "": the shared one
	Unit        string // of the column, or of what Points give; "": as the recording says
	Reference   record.Reference
	HasPoints   bool
	Points      [2][2]int64 // two-point line from the number written to the Unit, in millionths
	Mode        record.Mode
	IntervalUS  int64 // sampling interval; 0: as found
	HasConstant bool
	Constant    int32 // in core units
	Pos         Pos   // of its table

	name string
}

// ColumnsSwitch feeds one switch from a column.
type ColumnsSwitch struct {
	Switch     controller.Switch
	Column     string
	TimeColumn string
	Threshold  int64 // in millionths of the recording's own unit
	OnBelow    bool
	OnWords    []string // of a column written in words, such as ON: instead of a threshold
	OffWords   []string
	IntervalUS int64
	Pos        Pos

	name string
}

// ColumnsKind is the file kind of columns files.
var ColumnsKind = Kind[Columns]{
	Name: "columns", Format: "holdline-columns-1",
	Doc: "A columns file: which column of a recording feeds which input. " +
		"A column is named by its title, by its title without the unit, or by its number as \"#3\".",
	Fields: columnsFields,
}

// LoadColumns reads a columns file. It returns everything that is wrong with it
// at once; the columns are nil if any of that is an error.
func LoadColumns(path string) (*Columns, harness.Findings) {
	c, doc, findings := ColumnsKind.Read(path)
	return placeColumns(c, doc, findings)
}

// DecodeColumns is LoadColumns for a text; name is used in findings.
func DecodeColumns(name string, text []byte) (*Columns, harness.Findings) {
	c, doc, findings := ColumnsKind.Decode(name, text)
	return placeColumns(c, doc, findings)
}

func placeColumns(c *Columns, doc *Document, findings harness.Findings) (*Columns, harness.Findings) {
	if findings.Failed() {
		return nil, findings
	}
	c.File = doc.File
	for i := range c.Channels {
		c.Channels[i].Pos, _ = doc.Locate("channel." + c.Channels[i].name)
	}
	for i := range c.Switches {
		c.Switches[i].Pos, _ = doc.Locate("switch." + c.Switches[i].name)
	}
	return c, findings
}

// Options gives what the file states about the recording, for record.Read.
func (c *Columns) Options() record.Options {
	r := &c.Recording
	o := record.Options{
		Delimiter: r.Delimiter, Decimal: r.Decimal, HeaderLine: int(r.HeaderLine), NoHeader: r.NoHeader, Titles: r.Titles,
		Rate: float64(r.RateMilliHz) / 1000, TimeColumn: r.TimeColumn, TimeUnit: r.TimeUnit, Pairing: r.Pairing,
		Ignore: r.Ignore, Missing: r.Missing, StepBack: r.StepBack,
	}
	o.Need = []string{}
	own := func(column, time string) {
		if column != "" {
			o.Need = append(o.Need, column)
		}
		if time == "" {
			return
		}
		if o.TimeOf == nil {
			o.TimeOf = map[string]string{}
		}
		o.TimeOf[column] = time
	}
	for _, x := range c.Channels {
		own(x.Column, x.TimeColumn)
	}
	for _, x := range c.Switches {
		own(x.Column, x.TimeColumn)
		if len(x.OnWords) > 0 && !slices.ContainsFunc(o.Words, func(w record.Words) bool { return w.Column == x.Column }) {
			o.Words = append(o.Words, c.wordsOf(x.Column))
		}
	}
	return o
}

// wordsOf gives every word that any switch states for a column a bit of its own.
func (c *Columns) wordsOf(column string) record.Words {
	w := record.Words{Column: column, Means: map[string]float64{}}
	for i := range c.Switches {
		if x := &c.Switches[i]; x.Column == column {
			for _, word := range slices.Concat(x.OnWords, x.OffWords) {
				if _, stated := w.Means[strings.ToLower(word)]; !stated {
					w.Means[strings.ToLower(word)] = math.Ldexp(1, len(w.Means))
				}
			}
		}
	}
	return w
}

// bits are those of some words of a column.
func bits(of record.Words, words []string) (set uint64) {
	for _, word := range words {
		set |= uint64(of.Means[strings.ToLower(word)])
	}
	return set
}

// Constants sets the channels that the recording lacks and the file states.
func (c *Columns) Constants(in *controller.Input) {
	for i := range c.Channels {
		if x := &c.Channels[i]; x.HasConstant {
			in.Set(x.Channel, x.Constant)
		}
	}
}
