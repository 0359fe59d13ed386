package files

import (
	"fmt"
	"strings"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// nameAll makes up the names that a calibration from elsewhere lacks, before it
// is written, and reports gaps, which a text cannot show.
func (w *calibrationWork) nameAll(b *Block) {
	f, c := w.file, w.cal
	gap := func(what string, exists func(i int) bool, n int) int {
		used := 0
		for i := range n {
			if !exists(i) {
				continue
			}
			if i != used {
				b.at(Pos{}, harness.Finding{
					Severity: harness.Error, Field: fmt.Sprintf("%s %d", what, i+1),
					Reason: "cannot be written: there is an unused place before it", Fix: "move it up",
				})
			}
			used++
		}
		return used
	}
	stages := gap("stage", func(i int) bool { return c.Stages[i].Kind != controller.NoStage }, len(c.Stages))
	tables := gap("table", func(i int) bool { return c.Tables[i].Columns.N != 0 }, len(c.Tables))
	gap("shot", func(i int) bool { return c.Shots[i].When != controller.NoShot }, len(c.Shots))
	taken := map[string]bool{}
	for _, s := range f.Stages {
		taken[s] = true
	}
	for i := len(f.Stages); i < stages; i++ {
		f.Stages = append(f.Stages, unused(headerOf(harness.StageName(c, i)), taken))
	}
	w.nameTables(tables)
}

// headerOf turns a name into one that can stand in a header.
func headerOf(name string) string {
	var out strings.Builder
	for _, r := range name {
		if r < 0x80 && plainName.MatchString(string(r)) {
			out.WriteRune(r)
		} else {
			out.WriteByte('-')
		}
	}
	if out.Len() == 0 {
		return "stage"
	}
	return out.String()
}

// unused makes a name differ from those that are taken.
func unused(name string, taken map[string]bool) string {
	try := name
	for i := 2; taken[try]; i++ {
		try = fmt.Sprintf("%s-%d", name, i)
	}
	taken[try] = true
	return try
}

// nameTables names tables after what uses them first.
func (w *calibrationWork) nameTables(n int) {
	f := w.file
	taken := map[string]bool{}
	for _, t := range f.Tables {
		taken[t.Name] = true
	}
	uses := w.tableUses()
	for i := len(f.Tables); i < n; i++ {
		info := TableInfo{Name: "table", Unit: CellsRaw}
		for _, u := range uses {
			if int(u.table) != i+1 {
				continue
			}
			if info.Name == "table" {
				info = TableInfo{u.name, u.unit}
			} else if info.Unit != u.unit {
				info.Unit = CellsRaw
			}
		}
		info.Name = unused(info.Name, taken)
		f.Tables = append(f.Tables, info)
	}
}

type tableUse struct {
	table uint8
	name  string
	unit  CellUnit
}

func (w *calibrationWork) tableUses() []tableUse {
	c := w.cal
	uses := []tableUse{
		{c.Engine.BaseAngle.Table, "base-timing", CellsDegrees},
		{c.Engine.BoostBase.Table, "boost-base", CellsKilopascal},
	}
	for i := range w.file.Stages {
		st, name := &c.Stages[i], w.file.Stages[i]
		if len(name) > 20 {
			name = name[:20]
		}
		uses = append(uses,
			tableUse{st.Ceiling.Table, name, CellsRPM},
			tableUse{st.Timing.Angle.Table, name + "-timing", CellsDegrees},
			tableUse{st.Mixture.Table, name + "-mixture", CellsRatio},
			tableUse{st.Boost.Table, name + "-boost", CellsKilopascal})
	}
	return uses
}
