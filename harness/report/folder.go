package report

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/record"
)

// Names of the files that pages are rebuilt from and written to.
const (
	ResultsFile     = "results.json"
	CalibrationFile = "calibration.toml"
	PageFile        = "report.html"
	IndexFile       = "index.html"
	OverlayFile     = "overlay.html"
	TablesFile      = "tables.html"
)

// ReadFolder reads back what a run left in its folder: results.json, and if they
// are there trace.csv, events.csv, margins.csv and calibration.toml.
func ReadFolder(dir string) (*Run, error) {
	results, err := ReadResults(filepath.Join(dir, ResultsFile))
	if err != nil {
		return nil, err
	}
	run := &Run{Results: results}
	if run.Calibration, err = readCalibration(dir); err != nil {
		return nil, err
	}
	if run.Margins, err = readMargins(dir); err != nil {
		return nil, err
	}
	run.Trace, err = ReadTrace(dir)
	if errors.Is(err, os.ErrNotExist) {
		return run, nil
	}
	return run, err
}

func readCalibration(dir string) (*controller.Calibration, error) {
	path := filepath.Join(dir, CalibrationFile)
	if _, err := os.Stat(path); errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	cal, findings := files.LoadCalibration(path)
	return cal, findings.Err()
}

// ReadResults reads results.json.
func ReadResults(path string) (*harness.Results, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	var r harness.Results
	if err := json.Unmarshal(text, &r); err != nil {
		return nil, fmt.Errorf("%s: not the results of a run: %w", path, err)
	}
	if r.Schema != harness.ResultsSchema {
		return nil, fmt.Errorf("%s: schema is %q, this version reads %q", path, r.Schema, harness.ResultsSchema)
	}
	return &r, nil
}

// ReadTrace reads trace.csv and events.csv of a folder as record.TraceFiles writes
// them. Words come back as words: the integer behind them is not the
// controller's. Of a run that was cut off, up to a killed process, it gives what
// the partial files hold. An error that is os.ErrNotExist says that no trace was
// kept.
func ReadTrace(dir string) (*harness.Trace, error) {
	r := traceReader{trace: &harness.Trace{}}
	if err := eachRow(filepath.Join(dir, record.TraceFile), r.titles, r.row); err != nil {
		return nil, err
	}
	err := eachRow(filepath.Join(dir, record.EventsFile), eventTitles, r.event)
	if errors.Is(err, os.ErrNotExist) {
		err = nil
	}
	return r.trace, err
}

// eachRow goes through a file of commas, the titles first, or through the whole
// rows of the partial one. Errors name file and line.
func eachRow(path string, titles, row func([]string) error) error {
	var rows io.Reader
	f, err := os.Open(path)
	switch {
	case err == nil:
		defer f.Close()
		rows = f
	case errors.Is(err, os.ErrNotExist):
		text, e := os.ReadFile(path + record.PartialSuffix)
		if e != nil {
			return errors.Join(err, e)
		}
		rows = bytes.NewReader(text[:bytes.LastIndexByte(text, '\n')+1])
	default:
		return err
	}
	in := csv.NewReader(rows)
	in.ReuseRecord = true
	for do := titles; ; do = row {
		cells, err := in.Read()
		if err == io.EOF {
			return nil
		}
		if err == nil {
			err = do(cells)
		}
		if err != nil {
			line, _ := in.FieldPos(0)
			return fmt.Errorf("%s: line %d: %w", path, line, err)
		}
	}
}

// traceReader fills a trace row by row.
type traceReader struct {
	trace *harness.Trace
	codes []map[string]int32 // of columns that hold words; nil: numbers so far
	words []*[]string
}

// prototypes are the columns that a trace can have, by name, with one stage.
var prototypes = func() map[string]harness.Column {
	var all controller.Calibration
	for i := range all.Channels {
		all.Channels[i].Fitted = true
	}
	all.Stages[0].Kind = controller.Main
	for i := range all.Shots {
		all.Shots[i].When = controller.WhileHeld
	}
	out := map[string]harness.Column{}
	for _, c := range harness.TraceColumns(&all) {
		out[c.Name] = c
	}
	return out
}()

// prototype finds a column by its name; those of all stages are alike.
func prototype(name string) (harness.Column, bool) {
	c, ok := prototypes[name]
	if !ok && strings.HasPrefix(name, "stage-") {
		c, ok = prototypes["stage-main"+name[strings.LastIndexByte(name, '-'):]]
	}
	return c, ok
}

func (r *traceReader) titles(cells []string) error {
	if len(cells) == 0 || cells[0] != "time (s)" {
		return errors.New("no trace: the first column is not \"time (s)\"")
	}
	for _, title := range cells[1:] {
		name, unit, _ := strings.Cut(title, " (")
		p, ok := prototype(name)
		if !ok || p.Unit != strings.TrimSuffix(unit, ")") {
			return fmt.Errorf("column %q is not one of a trace", title)
		}
		c := harness.Column{Quantity: p.Quantity, Held: p.Held}
		c.Name = strings.Clone(name)
		words, codes := &[]string{}, map[string]int32(nil)
		if p.Words != nil {
			codes = map[string]int32{}
			c.Words = func(x int32) string { return (*words)[x] }
		}
		r.trace.Columns = append(r.trace.Columns, c)
		r.codes, r.words = append(r.codes, codes), append(r.words, words)
	}
	return nil
}

func (r *traceReader) row(cells []string) error {
	at, err := microseconds(cells[0])
	if err != nil {
		return err
	}
	if r.trace.Ticks == 1 {
		if at <= 0 || at > int64(controller.Second) {
			return fmt.Errorf("time %q: ticks are 1 us to 1 s long", cells[0])
		}
		r.trace.Period = controller.Duration(at)
	}
	if at != int64(r.trace.Ticks)*int64(r.trace.Period) {
		return fmt.Errorf("time %q: a tick of %d us is missing or twice there", cells[0], r.trace.Period)
	}
	for i, text := range cells[1:] {
		x, err := r.cell(i, text)
		if err != nil {
			return err
		}
		r.trace.Columns[i].Data = append(r.trace.Columns[i].Data, x)
	}
	r.trace.Ticks++
	return nil
}

func (r *traceReader) cell(i int, text string) (int32, error) {
	if codes := r.codes[i]; codes != nil {
		code, ok := codes[text]
		if !ok {
			code = int32(len(codes))
			text = strings.Clone(text) // the reader's line is reused
			codes[text], *r.words[i] = code, append(*r.words[i], text)
		}
		return code, nil
	}
	x, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
		return 0, fmt.Errorf("%s: %q is no number", r.trace.Columns[i].Name, text)
	}
	return r.trace.Columns[i].Raw(x), nil
}

// microseconds reads a time with six decimals.
func microseconds(text string) (int64, error) {
	whole, part, ok := strings.Cut(text, ".")
	us, err := strconv.ParseInt(whole+part, 10, 64)
	if !ok || len(part) != 6 || err != nil || us < 0 {
		return 0, fmt.Errorf("time %q is not in seconds with six decimals", text)
	}
	return us, nil
}

// Places of events.csv.
const (
	eventTime = iota
	eventAngle
	eventCylinder
	eventCycle
	eventKind
	eventGiven
	eventReason
	eventTiming
	eventMixture
	eventUnburnt
	eventDrop
	eventCells
)

func eventTitles(cells []string) error {
	if len(cells) != eventCells || cells[eventReason] != "reason" {
		return errors.New("no list of events")
	}
	return nil
}

func (r *traceReader) event(cells []string) error {
	at, err := microseconds(cells[eventTime])
	if err != nil {
		return err
	}
	e := harness.EventRow{Tick: uint32(at / max(int64(r.trace.Period), 1))}
	number := func(place int, per float64) float64 {
		if cells[place] == "" {
			return 0
		}
		x, bad := strconv.ParseFloat(cells[place], 64)
		if bad != nil || math.IsNaN(x) || math.Abs(x*per) > math.MaxInt32 {
			err = fmt.Errorf("%q is no number of this column", cells[place])
			return 0
		}
		return math.Round(x * per)
	}
	e.Angle, e.Cylinder, e.Cycle = int32(number(eventAngle, 100)), uint8(number(eventCylinder, 1)), controller.Cycle(number(eventCycle, 1))
	e.Give, e.Unburnt, e.Drop = cells[eventGiven] == "1", cells[eventUnburnt] == "1", cells[eventDrop] == "1"
	e.Timing, e.Mixture = controller.Angle(number(eventTiming, 100)), controller.Ratio(number(eventMixture, 10000))
	if cells[eventKind] == harness.SparkCommit.String() {
		e.Kind = harness.SparkCommit
	}
	for why := controller.WhyUnknown; why <= controller.WhyNotSeen; why++ {
		if why.String() == cells[eventReason] {
			e.Why = why
		}
	}
	r.trace.Events = append(r.trace.Events, e)
	return err
}
