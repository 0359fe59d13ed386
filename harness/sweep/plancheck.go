package sweep

import (
	"fmt"
	"strings"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
)

// checkParameter holds a parameter's keys against each other.
func checkParameter(b *files.Block, p *Parameter) {
	if !b.Good("path", "values", "from", "to", "step") {
		return
	}
	if given := b.Given("values"); given == p.HasFrom {
		b.Fail("path", harness.Finding{Reason: "needs either values, or from with to and step", Fix: "say in one way what the parameter becomes"})
		return
	}
	if p.HasFrom {
		checkRange(b, p)
	} else if p.Sampled {
		b.Fail("sampled", harness.Finding{Reason: "only a range can be sampled", Fix: "give from, to and step"})
	}
	if p.As != "" && !strings.Contains(p.As, "{}") {
		b.Fail("as", harness.Finding{Reason: "has no {} for the value to stand in", Fix: "write {} where the value belongs"})
	}
	for _, v := range p.Values {
		if v = bare(v); p.As == "" && len(v) > maxWord && ownPath(p.Path) != "car" && ownPath(p.Path) != "calibration" {
			b.Fail("values", harness.Finding{Value: v, Reason: "too long for a result row", Allowed: fmt.Sprintf("up to %d bytes", maxWord), Fix: "use as with short values"})
		}
	}
	if p.Sampled && p.Group != "" {
		b.Fail("group", harness.Finding{Reason: "sampled parameters move together as they are", Fix: "remove group"})
	}
}

func checkRange(b *files.Block, p *Parameter) {
	switch {
	case !b.Given("to") || !b.Given("step"):
		b.Fail("from", harness.Finding{Reason: "a range needs from, to and step"})
	case p.Step <= 0:
		b.Fail("step", harness.Finding{Reason: "must be above 0"})
	case p.To < p.From:
		b.Fail("to", harness.Finding{Reason: "is below from", Allowed: "from or more"})
	case !p.Sampled && latticeSize(p) > maxLevels:
		b.Fail("step", harness.Finding{Reason: "makes too many values", Allowed: fmt.Sprintf("up to %d", maxLevels)})
	}
}

// checkPlan holds the parts of a plan against each other; doc gives places.
func checkPlan(p *PlanFile, doc *files.Document) (fs harness.Findings) {
	fail := func(path string, f harness.Finding) {
		pos, _ := doc.Locate(path)
		f.Severity, f.File, f.Line, f.Column, f.Field = harness.Error, doc.File, pos.Line, pos.Column, path
		fs = append(fs, f)
	}
	checkSources(p, fail)
	checkPaths(p, fail)
	checkGroups(p, fail)
	checkColumns(p, fail)
	sampled := 0
	for i := range p.Parameters {
		if p.Parameters[i].Sampled {
			sampled++
		}
	}
	switch {
	case sampled > 0 && p.Samples.Count == 0:
		fail("samples.count", harness.Finding{Reason: "how many samples is not said", Fix: "add [samples] with count"})
	case sampled == 0 && p.Samples.Count > 0:
		fail("samples.count", harness.Finding{Reason: "no parameter is sampled", Fix: "give sampled = true to a range, or remove [samples]"})
	}
	return fs
}

type failFunc func(path string, f harness.Finding)

func checkSources(p *PlanFile, fail failFunc) {
	whole := p.Car != "" && p.Calibration != "" && len(p.Does) > 0
	some := p.Car != "" || p.Calibration != "" || len(p.Does) > 0
	switch {
	case len(p.Scenarios) > 0 && some:
		fail("scenarios", harness.Finding{Reason: "stands beside car, calibration or does", Fix: "give one or the other"})
	case len(p.Scenarios) == 0 && !whole:
		fail("scenarios", harness.Finding{Reason: "nothing to launch", Fix: "give scenarios, or car, calibration and does"})
	}
}

func checkPaths(p *PlanFile, fail failFunc) {
	seen := map[string]bool{}
	for i := range p.Parameters {
		at := fmt.Sprintf("parameter[%d].path", i+1)
		path := p.Parameters[i].Path
		checkPath(path, at, fail)
		if seen[path] {
			fail(at, harness.Finding{Value: path, Reason: "is named by two parameters", Fix: "keep one of the two"})
		}
		seen[path] = true
	}
	scattered := map[string]bool{}
	for i := range p.Scatter {
		at := fmt.Sprintf("scatter[%d].path", i+1)
		path := p.Scatter[i].Path
		checkPath(path, at, fail)
		if scattered[path] {
			fail(at, harness.Finding{Value: path, Reason: "is scattered twice", Fix: "keep one of the two"})
		}
		scattered[path] = true
	}
}

func checkPath(path, at string, fail failFunc) {
	switch own := ownPath(path); own {
	case "seed", "repeats", "format", "car.format", "calibration.format":
		fail(at, harness.Finding{Value: path, Reason: "is set by the plan itself", Fix: "use the plan's own seed and repeats"})
		return
	}
	if strings.ContainsAny(path, " =\n\"") {
		fail(at, harness.Finding{Value: path, Reason: "is not a path", Allowed: "keys joined by dots, such as surface.grip"})
	}
}

// checkGroups asks parameters of one group for equally many values.
func checkGroups(p *PlanFile, fail failFunc) {
	first := map[string]int{}
	for i := range p.Parameters {
		q := &p.Parameters[i]
		if q.Group == "" {
			continue
		}
		n := len(q.levels())
		if j, ok := first[q.Group]; !ok {
			first[q.Group] = i
		} else if m := len(p.Parameters[j].levels()); m != n {
			fail(fmt.Sprintf("parameter[%d].group", i+1), harness.Finding{
				Value: fmt.Sprintf("%d values", n), Allowed: fmt.Sprintf("%d, as %s", m, p.Parameters[j].Path),
				Reason: "parameters of one group need equally many values",
			})
		}
	}
}

// checkColumns finds names that two columns share, and pictures of none.
func checkColumns(p *PlanFile, fail failFunc) {
	names := map[string]bool{}
	for _, c := range (&Plan{PlanFile: *p}).Columns() {
		names[c.Name] = true
	}
	fixed := map[string]bool{}
	for _, c := range (&Plan{}).Columns() {
		fixed[c.Name] = true
	}
	seen := map[string]bool{}
	for i := range p.Parameters {
		name := p.Parameters[i].column()
		if fixed[name] || seen[name] {
			fail(fmt.Sprintf("parameter[%d].name", i+1), harness.Finding{Value: name, Reason: "another column has this name"})
		}
		seen[name] = true
	}
	plan := &Plan{PlanFile: *p}
	for i, q := range p.Pictures {
		for key, name := range map[string]string{"x": q.X, "by": q.By} {
			if name != "" && !names[plan.columnOf(name)] {
				fail(fmt.Sprintf("picture[%d].%s", i+1, key), harness.Finding{Value: name, Reason: "no column has this name", Fix: "name a parameter of the plan or a measured column", Allowed: "such as hold_speed, sixty_feet, eighth, quarter"})
			}
		}
		if !isMeasured(q.Value) {
			fail(fmt.Sprintf("picture[%d].value", i+1), harness.Finding{Value: q.Value, Reason: "is not measured", Allowed: "hold_speed, hold_spread, release_pressure, sixty_feet and the like"})
		}
	}
}

func isMeasured(name string) bool {
	for i := range measured {
		if measured[i].Name == name {
			return true
		}
	}
	return false
}
