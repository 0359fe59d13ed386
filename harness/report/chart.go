package report

import (
	"math"
	"slices"
	"strings"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// chart is what the script draws: columns, and panels that refer to them by
// place. Times are whole microseconds on the page's own axis.
type chart struct {
	From     int64         `json:"from"`
	To       int64         `json:"to"`
	Tick     int64         `json:"tick"`
	Decimals int           `json:"decimals"` // of a time in seconds
	Columns  []chartColumn `json:"columns"`
	Panels   []panel       `json:"panels"`
	Marks    []mark        `json:"marks"`
	Selected int           `json:"selected"` // place of the mark to start at; -1: none
	Cycles   []cycleTable  `json:"cycles"`
}

// chartColumn is a column of a trace, packed.
type chartColumn struct {
	Name     string   `json:"name"`
	Unit     string   `json:"unit"`
	Per      float64  `json:"per"`
	Decimals int      `json:"decimals"` // of a value as shown
	Held     bool     `json:"held"`
	Words    []string `json:"words,omitempty"` // by code
	Start    int64    `json:"start"`
	Tick     int64    `json:"tick"`
	N        int      `json:"n"`
	Data     string   `json:"data"`
}

// panel is one picture. Kind is lines, cycles, bars or margins.
type panel struct {
	Kind  string     `json:"kind"`
	Title string     `json:"title"`
	Note  string     `json:"note,omitempty"`
	Unit  string     `json:"unit,omitempty"`
	Tall  bool       `json:"tall,omitempty"`
	Low   *float64   `json:"low,omitempty"` // the range always includes these
	High  *float64   `json:"high,omitempty"`
	Lines []lineOf   `json:"lines,omitempty"`
	Rows  []rowOf    `json:"rows,omitempty"`
	Table int        `json:"table"` // of cycles
	Limit []marginOn `json:"limit,omitempty"`
}

type lineOf struct {
	Column int    `json:"column"`
	Label  string `json:"label"`
	Style  int    `json:"style"` // 0 full, 1 dashed, 2 dotted, 3 dash and dot
}

// rowOf is a row of bars: where the column shows one of the codes, or, without
// codes, a labelled stretch for each value.
type rowOf struct {
	Label  string `json:"label"`
	Column int    `json:"column"`
	Codes  []int  `json:"codes,omitempty"`
	Style  string `json:"style"` // full, hatched, words
}

// mark is a moment that can be gone to.
type mark struct {
	At    int64  `json:"at"`
	Label string `json:"label"`
	Kind  string `json:"kind"` // release, closest
}

// cycleTable holds the cycles of a run in columns, packed.
type cycleTable struct {
	Label     string   `json:"label"`
	Start     int64    `json:"start"`
	Every     int64    `json:"every"` // us, of a tick
	N         int      `json:"n"`
	Cylinders []int    `json:"cylinders"`
	Reasons   []string `json:"reasons"`
	Tick      string   `json:"tick"`
	Cylinder  string   `json:"cylinder"`
	Bits      string   `json:"bits"`
	Fuel      string   `json:"fuel"` // reasons, by code
	Spark     string   `json:"spark"`
	Timing    string   `json:"timing"` // 1/100 degree
	Mixture   string   `json:"mixture"`
}

// marginOn is a requirement's margin over time.
type marginOn struct {
	Mark     int     `json:"mark"` // its closest moment
	Label    string  `json:"label"`
	Verdict  string  `json:"verdict"`
	Words    string  `json:"words"` // the margin of the run
	Unit     string  `json:"unit"`
	Per      float64 `json:"per"`
	Decimals int     `json:"decimals"`
	Scale    float64 `json:"scale"` // steps that rank as 1
	Tick     int64   `json:"tick"`  // length of a stretch
	N        int     `json:"n"`
	Data     string  `json:"data"`
}

// Codes of a margin without size.
const (
	marginNone    = math.MinInt32
	marginFails   = math.MinInt32 + 1
	marginHolds   = math.MaxInt32
	largestMargin = 1 << 30
)

// timeline puts a trace on the page's axis.
type timeline struct {
	trace  *harness.Trace
	start  int64 // us, of tick 0
	prefix string
	names  map[string]int // column -> place in the chart
}

// add packs all columns of a trace.
func (c *chart) add(tr *harness.Trace, start int64, prefix string) *timeline {
	t := &timeline{tr, start, prefix, map[string]int{}}
	for i := range tr.Columns {
		col := &tr.Columns[i]
		t.names[col.Name] = len(c.Columns)
		c.Columns = append(c.Columns, packColumn(col, prefix, start, int64(tr.Period)))
	}
	return t
}

func packColumn(col *harness.Column, prefix string, start, tick int64) chartColumn {
	out := chartColumn{
		Name: prefix + shown(col.Name), Unit: unitOf(col.Unit), Per: col.Per, Decimals: decimalsOf(col.Per),
		Held: col.Held, Start: start, Tick: tick, N: len(col.Data),
	}
	data := col.Data
	if col.Words != nil {
		data, out.Words = coded(col)
	}
	out.Data = pack(data).text()
	return out
}

// coded numbers the words of a column in the order in which they come.
func coded(col *harness.Column) (codes []int32, words []string) {
	known := map[int32]int32{}
	codes = make([]int32, len(col.Data))
	for i, x := range col.Data {
		code, ok := known[x]
		if !ok {
			code = int32(len(words))
			known[x], words = code, append(words, shown(col.Words(x)))
		}
		codes[i] = code
	}
	return codes, words
}

// decimalsOf gives how many decimals tell the steps of a column apart; four where
// the step is no decimal, as trace.csv has it.
func decimalsOf(per float64) int {
	for d, p := 0, 1.0; d <= 4; d, p = d+1, p*10 {
		if per == p {
			return d
		}
	}
	return 4
}

// lines builds a panel of the columns that the trace has; a line that is 0 from
// end to end is left out unless it is the first.
func (t *timeline) lines(list ...namedLine) []lineOf {
	var out []lineOf
	for i, l := range list {
		at, ok := t.names[l.column]
		if !ok || i > 0 && !slices.ContainsFunc(t.trace.Column(l.column).Data, func(x int32) bool { return x != 0 }) {
			continue
		}
		out = append(out, lineOf{at, t.prefix + l.label, l.style})
	}
	return out
}

type namedLine struct {
	column, label string
	style         int
}

func number(x float64) *float64 { return &x }

// linePanels are the curves of a run; style shifts the dashes of a second run.
func linePanels() []struct {
	panel
	list []namedLine
} {
	type p = struct {
		panel
		list []namedLine
	}
	return []p{
		{panel{Title: "Engine speed and ceiling", Unit: "rpm", Tall: true}, []namedLine{{"engine-speed", "engine speed", 0}, {"ceiling", "ceiling", 1}}},
		{panel{Title: "Throttle", Unit: "%", Low: number(0), High: number(100)}, []namedLine{{"throttle", "throttle", 0}}},
		{panel{Title: "Manifold pressure", Unit: "kPa"}, []namedLine{{"manifold-pressure", "pressure", 0}, {"boost-target", "target", 1}}},
		{panel{Title: "Ignition timing, before dead centre", Unit: "deg"}, []namedLine{{"timing", "commanded", 0}, {"base", "base", 1}}},
		{panel{Title: "Cut demand", Unit: "%", Low: number(0), High: number(100)}, []namedLine{{"demand", "demand", 0}}},
	}
}

// cycles packs the cycles of a run as a table.
func (c *chart) cycles(t *timeline, label string) (place int) {
	list := cyclesOf(t.trace.Events)
	get := func(f func(*cycle) int32) string {
		data := make([]int32, len(list))
		for i := range list {
			data[i] = f(&list[i])
		}
		return pack(data).text()
	}
	table := cycleTable{
		Label: label, Start: t.start, Every: int64(t.trace.Period), N: len(list),
		Tick:     get(func(c *cycle) int32 { return c.tick }),
		Cylinder: get(func(c *cycle) int32 { return int32(c.cylinder) }),
		Bits:     get((*cycle).bits),
		Fuel:     get(func(c *cycle) int32 { return int32(c.fuel) }),
		Spark:    get(func(c *cycle) int32 { return int32(c.spark) }),
		Timing:   get(func(c *cycle) int32 { return int32(c.timing) }),
		Mixture:  get(func(c *cycle) int32 { return int32(c.mixture) }),
	}
	seen := [256]bool{}
	for i := range list {
		seen[list[i].cylinder] = true
	}
	for n, yes := range seen {
		if yes {
			table.Cylinders = append(table.Cylinders, n)
		}
	}
	for r := controller.WhyUnknown; r <= controller.WhyNotSeen; r++ {
		table.Reasons = append(table.Reasons, r.String())
	}
	c.Cycles = append(c.Cycles, table)
	return len(c.Cycles) - 1
}

// bars are the rows of sequence, stages and shots.
func (t *timeline) bars(c *chart, r *harness.Results) []rowOf {
	var rows []rowOf
	if at, ok := t.names["sequence"]; ok {
		rows = append(rows, rowOf{Label: t.prefix + "launch sequence", Column: at, Style: "words"})
	}
	for _, s := range r.Stages {
		name := "stage-" + harness.Slug(s.Name) + "-active"
		if at, ok := t.names[name]; ok && s.Entries > 0 && s.Kind != "main" {
			rows = append(rows, rowOf{t.prefix + "stage " + shown(s.Name), at, []int{1}, "full"})
		}
	}
	for i, s := range r.Shots {
		if at, ok := t.names[t.shotColumn(i, "-phase")]; ok {
			rows = append(rows, rowOf{Label: t.prefix + "shot " + shown(s.Name), Column: at, Style: "words"})
		}
	}
	if at, ok := t.names["master-valve"]; ok && len(r.Shots) > 0 {
		rows = append(rows, rowOf{t.prefix + "master valve open", at, []int{1}, "full"})
	}
	return append(rows, t.faults(c)...)
}

// shotColumn finds the column of the i-th shot that exists: columns go by place,
// and a place may be empty.
func (t *timeline) shotColumn(i int, what string) string {
	for n := range controller.MaxShots {
		name := "shot-" + string(rune('1'+n)) + what
		if _, ok := t.names[name]; !ok {
			continue
		}
		if i == 0 {
			return name
		}
		i--
	}
	return ""
}

func (t *timeline) faults(c *chart) (rows []rowOf) {
	for _, x := range []struct{ column, label string }{{"faults", "fault"}, {"channels-lost", "lost"}} {
		if at, ok := t.names[x.column]; ok {
			rows = append(rows, flagRows(c, at, t.prefix+x.label+" ", "full")...)
		}
	}
	return rows
}

// inhibits are the reasons that stood against stages and shots.
func (t *timeline) inhibits(c *chart, r *harness.Results) (rows []rowOf) {
	for _, s := range r.Stages {
		if at, ok := t.names["stage-"+harness.Slug(s.Name)+"-inhibits"]; ok {
			rows = append(rows, flagRows(c, at, t.prefix+shown(s.Name)+": ", "hatched")...)
		}
	}
	for i, s := range r.Shots {
		if at, ok := t.names[t.shotColumn(i, "-inhibits")]; ok {
			rows = append(rows, flagRows(c, at, t.prefix+"shot "+shown(s.Name)+": ", "full")...)
		}
	}
	return rows
}

// flagRows splits a column of sets into a row a member.
func flagRows(c *chart, column int, label, style string) (rows []rowOf) {
	var members []string
	codes := map[string][]int{}
	for code, set := range c.Columns[column].Words {
		for _, m := range strings.Split(set, "+") {
			if m == "" {
				continue
			}
			if codes[m] == nil {
				members = append(members, m)
			}
			codes[m] = append(codes[m], code)
		}
	}
	slices.Sort(members)
	for _, m := range members {
		rows = append(rows, rowOf{label + strings.ReplaceAll(m, "-", " "), column, codes[m], style})
	}
	return rows
}
