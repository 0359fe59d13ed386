package files

import (
	"fmt"
	"strings"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// CellUnit says in which unit a table of a calibration file writes its cells.
// The core keeps bare integers; what reads the table gives them their unit.
type CellUnit uint8

// The units of cells.
const (
	CellsRaw        CellUnit = iota // integers of the core
	CellsRPM                        // ceilings
	CellsDegrees                    // ignition angles
	CellsKilopascal                 // boost targets, absolute
	CellsRatio                      // fuel multipliers
	numCellUnits
)

// TableInfo is what only the text of a calibration knows about a table.
type TableInfo struct {
	Name string
	Unit CellUnit
}

var cellKeys = [numCellUnits]struct {
	key   string
	scale Scale
	doc   string
}{
	CellsRPM:        {"cells_rpm", RPMTenths, "for ceilings"},
	CellsDegrees:    {"cells_deg", centiDegrees, "for ignition angles, before top dead centre; negative is after"},
	CellsKilopascal: {"cells_kpa", KilopascalInPa, "for boost targets, absolute"},
	CellsRatio:      {"cells_ratio", ratioNumber, "for fuel multipliers"},
	CellsRaw:        {"cells_raw", Number, "integers of the controller, for tables of mixed use"},
}

// curveKeys names the two keys of a curve, stem+suffix for a constant and
// stem_table for a table.
type curveKeys struct {
	stem, suffix string
	scale        Scale
	unit         CellUnit
}

func (k curveKeys) constant() string { return k.stem + k.suffix }
func (k curveKeys) table() string    { return k.stem + "_table" }

// tableRef is where a text names a table; tables may stand behind what uses
// them.
type tableRef struct {
	b    *Block
	key  string
	name string
	unit CellUnit
	to   *uint8
}

// curve visits a constant, or the name of a table.
func (w *calibrationWork) curve(b *Block, c *controller.Curve, k curveKeys, bounds Option, doc string) {
	Int(b, &c.Const, k.constant(), k.scale, bounds, Optional(), Doc(doc))
	var name string
	if c.Table > 0 {
		name = w.tableName(b, k.table(), c.Table)
	}
	Text(b, &name, k.table(), Optional(), Doc("instead: NAME of a [table.NAME]"))
	if b.Decoding() && name != "" {
		w.refs = append(w.refs, tableRef{b, k.table(), name, k.unit, &c.Table})
	}
}

func (w *calibrationWork) tableName(b *Block, key string, number uint8) string {
	if int(number) <= len(w.file.Tables) {
		return w.file.Tables[number-1].Name
	}
	b.at(Pos{}, harness.Finding{
		Severity: harness.Error, Field: joinPath(b.path, key), Value: fmt.Sprint(number),
		Reason: "cannot be written: names a table that does not exist",
	})
	return "none"
}

// resolve turns names of tables into numbers.
func (w *calibrationWork) resolve() {
	for _, r := range w.refs {
		i := w.findTable(r.name)
		if i < 0 {
			r.b.Fail(r.key, harness.Finding{Reason: "no such table", Allowed: strings.Join(w.tableNames(), ", "), Fix: w.tableFix(r.name)})
			continue
		}
		*r.to = uint8(i) + 1
		if has := w.file.Tables[i].Unit; has != r.unit && has != CellsRaw {
			r.b.Fail(r.key, harness.Finding{
				Reason: "the table holds another quantity", Allowed: "a table with " + cellKeys[r.unit].key,
				Fix: fmt.Sprintf("it has %s", cellKeys[has].key),
			})
		}
	}
}

func (w *calibrationWork) tableFix(name string) string {
	if fix := didYouMean(name, w.tableNames()); fix != "" {
		return fix
	}
	return fmt.Sprintf("add [table.%s]", name)
}

func (w *calibrationWork) tableNames() []string {
	names := make([]string, len(w.file.Tables))
	for i, t := range w.file.Tables {
		names[i] = t.Name
	}
	return names
}

func (w *calibrationWork) findTable(name string) int {
	for i, t := range w.file.Tables {
		if t.Name == name {
			return i
		}
	}
	return -1
}

// tableEntry is one [table.NAME].
type tableEntry struct {
	info  TableInfo
	table controller.Table
}

func (w *calibrationWork) tables(b *Block) {
	var list []tableEntry
	for i, info := range w.file.Tables {
		list = append(list, tableEntry{info, w.cal.Tables[i]})
	}
	Named(b, Slice(&list), "table", func(e *tableEntry) *string { return &e.info.Name }, tableFields, Len(0, controller.MaxTables),
		Doc("A table, by a name of your own. Between points it is linear, beyond them it stays at the edge."))
	if !b.Decoding() {
		return
	}
	w.file.Tables = nil
	for i, e := range list {
		w.file.Tables = append(w.file.Tables, e.info)
		w.cal.Tables[i] = e.table
	}
}

// axisWords are the channels that an axis may read, counted from 1.
var axisWords = func() Words[uint8] {
	var words Words[uint8]
	for c, q := range harness.Channels {
		words = append(words, Means(q.Name, uint8(c)+1, ""))
	}
	return words
}()

func tableFields(b *Block, e *tableEntry) {
	axisFields(b, &e.table.Columns, "columns", true)
	axisFields(b, &e.table.Rows, "rows", false)
	chosen := e.unitGiven(b)
	for u := range numCellUnits {
		k := cellKeys[u]
		cellFields(b, &e.table, k.key, k.scale, u == chosen || b.s.mode == describing, k.doc)
	}
}

func axisFields(b *Block, a *controller.Axis, key string, must bool) {
	choice := uint8(0)
	if a.N > 0 {
		choice = uint8(a.Channel) + 1
	}
	opts := []Option{Doc("channel along this axis")}
	if !must {
		opts = append(opts, Optional())
	}
	words := axisWords
	if b.s.mode == encoding && choice > 0 && int(choice) <= len(words) {
		words = words[choice-1 : choice] // the comment need not list them all
	}
	Enum(b, &choice, key, words, opts...)
	scale := Scale{Unit: "the channel's unit", Mul: 10000}
	if b.s.mode != describing {
		scale = Scale{Rounded: true}
	}
	if choice > 0 {
		a.Channel = controller.Channel(choice - 1)
		scale = channelScale(a.Channel)
	}
	points := []Option{Len(2, controller.MaxTablePoints), Rising(), Doc("points of the axis")}
	if choice == 0 && !must {
		points = append(points, Optional())
	}
	Ints(b, Array(a.Points[:], &a.N), key+"_at", scale, points...)
	if b.Decoding() && !must && choice == 0 && b.Given(key+"_at") && b.Good(key) {
		b.Fail(key, harness.Finding{Reason: "required key is missing beside " + key + "_at"})
	}
}

// unitGiven finds which of the cell keys a table has; there must be exactly
// one.
func (e *tableEntry) unitGiven(b *Block) CellUnit {
	if !b.Decoding() {
		return e.info.Unit
	}
	var given []string
	for u := range numCellUnits {
		if b.Given(cellKeys[u].key) {
			given = append(given, cellKeys[u].key)
			e.info.Unit = u
		}
	}
	switch len(given) {
	case 0:
		b.Fail("", harness.Finding{Reason: "has no cells", Fix: "add one of cells_rpm, cells_deg, cells_kpa, cells_ratio, cells_raw"})
	case 1:
	default:
		b.Fail(given[1], harness.Finding{Reason: "a table has cells of one unit only: there is " + given[0] + " already"})
	}
	return e.info.Unit
}

func cellFields(b *Block, t *controller.Table, key string, s Scale, chosen bool, doc string) {
	rows, cols := 0, 0
	if chosen && t.Columns.N > 0 {
		rows, cols = max(int(t.Rows.N), 1), int(t.Columns.N)
	}
	var flat [controller.MaxTablePoints * controller.MaxTablePoints]int32
	for r := range t.Cells {
		copy(flat[r*controller.MaxTablePoints:], t.Cells[r][:])
	}
	Grid(b, flat[:], rows, cols, key, s, Stride(controller.MaxTablePoints), Optional(),
		Doc("a row of cells for each point of rows, a cell for each point of columns: "+doc))
	if !b.Decoding() || !chosen {
		return
	}
	for r := range t.Cells {
		copy(t.Cells[r][:], flat[r*controller.MaxTablePoints:])
	}
}
