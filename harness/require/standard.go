package require

import (
	"embed"
	"fmt"
	"os"
	"path/filepath"
	"sort"
	"strconv"
	"strings"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

//go:embed standard/*.toml
var standardFiles embed.FS

// StandardSets names the sets that ship, as include = [...] takes them.
func StandardSets() []string {
	entries, err := standardFiles.ReadDir("standard")
	if err != nil {
		return nil
	}
	var names []string
	for _, e := range entries {
		names = append(names, "standard/"+strings.TrimSuffix(e.Name(), ".toml"))
	}
	return names
}

// StandardText gives the file of a standard set, to read or to copy.
func StandardText(name string) ([]byte, error) {
	base, ok := strings.CutPrefix(name, "standard/")
	if ok {
		if text, err := standardFiles.ReadFile("standard/" + base + ".toml"); err == nil {
			return text, nil
		}
	}
	return nil, fmt.Errorf("no standard set %q; there are %s", name, strings.Join(StandardSets(), ", "))
}

// Standard gives all standard requirements that concern a calibration, with its
// numbers filled in. The calibration must be sealed.
func Standard(cal *controller.Calibration) ([]Requirement, error) {
	return Include(cal, StandardSets()...)
}

// Include gives the requirements of several sets: standard/NAME, standard for all
// of those, or the path of a requirements file. Later ones override earlier ones by id. An error is a
// harness.Findings where the text is wrong.
func Include(cal *controller.Calibration, names ...string) ([]Requirement, error) {
	var m merge
	for _, name := range names {
		m.include("", name, nil)
	}
	return m.expand(cal)
}

// Read gives the requirements of a requirements file given as text, by the name
// under which findings show it; includes are sought beside it.
func Read(cal *controller.Calibration, name string, text []byte) ([]Requirement, error) {
	var m merge
	m.text(name, text, nil)
	return m.expand(cal)
}

// merge puts sets together.
type merge struct {
	order    []string
	byID     map[string]*fileRequirement
	values   values
	findings harness.Findings
}

func (m *merge) fail(file, field, value, reason, fix string) {
	if file == "" { // named by a scenario or on a command line
		field = "requirements"
	}
	m.findings = append(m.findings, harness.Finding{
		Severity: harness.Error, File: file, Field: field, Value: value, Reason: reason, Fix: fix,
	})
}

// include reads one set; path holds the files that led to it.
func (m *merge) include(from, name string, path []string) {
	if name == "standard" {
		for _, set := range StandardSets() {
			m.include(from, set, path)
		}
		return
	}
	if strings.HasPrefix(name, "standard/") {
		text, err := StandardText(name)
		if err != nil {
			m.fail(from, "include", name, "no such standard set", "use one of "+strings.Join(StandardSets(), ", "))
			return
		}
		m.text(name+".toml", text, path)
		return
	}
	if from != "" && !filepath.IsAbs(name) {
		name = filepath.Join(filepath.Dir(from), name)
	}
	for _, p := range path {
		if p == name {
			m.fail(from, "include", name, "file includes itself", "remove the include")
			return
		}
	}
	text, err := os.ReadFile(name)
	if err != nil {
		m.fail(from, "include", name, "cannot be read: "+harness.ReasonOf(err), "name a file, standard, or one of "+strings.Join(StandardSets(), ", "))
		return
	}
	m.text(name, text, path)
}

func (m *merge) text(name string, text []byte, path []string) {
	f, _, findings := FileKind.Decode(name, text)
	m.findings = append(m.findings, findings...)
	if findings.Failed() {
		return
	}
	for _, inc := range f.Include {
		m.include(name, inc, append(path, name))
	}
	for _, id := range f.Drop {
		m.drop(name, id)
	}
	for _, v := range f.Values {
		if m.values == nil {
			m.values = values{}
		}
		m.values[v.Name] = v.Is
	}
	for i := range f.Requirements {
		m.add(name, &f.Requirements[i])
	}
}

func (m *merge) drop(file, id string) {
	if m.byID[id] == nil {
		m.fail(file, "drop", id, "no included requirement has this id", "")
		return
	}
	delete(m.byID, id)
	for i, x := range m.order {
		if x == id {
			m.order = append(m.order[:i:i], m.order[i+1:]...)
			return
		}
	}
}

// add takes a requirement, or the keys that it gives over an included one.
func (m *merge) add(file string, r *fileRequirement) {
	if m.byID == nil {
		m.byID = map[string]*fileRequirement{}
	}
	old := m.byID[r.ID]
	if old == nil {
		if r.Formula == "" || r.Text == "" {
			m.fail(file, "requirement", r.ID, "formula or text is missing, and no included requirement has this id", "give both")
			return
		}
		m.byID[r.ID] = r
		m.order = append(m.order, r.ID)
		return
	}
	merged := *old
	for _, p := range []struct{ to, from *string }{
		{&merged.Text, &r.Text}, {&merged.Formula, &r.Formula}, {&merged.Premise, &r.Premise}, {&merged.Unit, &r.Unit},
		{&merged.Scale, &r.Scale}, {&merged.Reason, &r.Reason}, {&merged.Source, &r.Source},
	} {
		if *p.from != "" {
			*p.to = *p.from
		}
	}
	if r.Needs != nil {
		merged.Needs = r.Needs
	}
	if r.Each != eachRun {
		merged.Each = r.Each
	}
	merged.OfCommits = merged.OfCommits || r.OfCommits
	m.byID[r.ID] = &merged
}

// expand fills in a calibration's numbers, and repeats what is asked of each of
// several things.
func (m *merge) expand(cal *controller.Calibration) ([]Requirement, error) {
	if m.findings.Failed() {
		return nil, m.findings
	}
	run := runValues(cal)
	var out []Requirement
	for _, id := range m.order {
		r := m.byID[id]
		if !hasAll(cal, r.Needs) {
			continue
		}
		for _, thing := range things(cal, r.Each) {
			if x, ok := m.fill(r, run.with(thing).with(m.values)); ok {
				out = append(out, x)
			}
		}
	}
	if m.findings.Failed() {
		return nil, m.findings
	}
	return out, nil
}

func hasAll(cal *controller.Calibration, needs []need) bool {
	for _, n := range needs {
		if !has(cal, n) {
			return false
		}
	}
	return true
}

// fill replaces the words in braces; ok is false if the calibration lacks one.
func (m *merge) fill(r *fileRequirement, v values) (out Requirement, ok bool) {
	ok = true
	put := func(text string) string {
		filled, missing := fillIn(text, v)
		if missing != "" {
			if !knownValues[missing] {
				m.fail("", r.ID, "{"+missing+"}", "no such value", "declare it in a [[value]] table, or use one of the calibration's")
			}
			ok = false
		}
		return filled
	}
	out = Requirement{
		ID: r.ID, Text: put(r.Text), Formula: put(r.Formula), Premise: put(r.Premise),
		Unit: r.Unit, Reason: r.Reason, Source: r.Source, OfCommits: r.OfCommits,
	}
	if e := v["each"]; e != "" {
		out.ID += "." + e
	}
	if r.Scale != "" {
		s, err := strconv.ParseFloat(r.Scale, 64)
		if err != nil {
			m.fail("", r.ID+".scale", r.Scale, "not a number", "")
		}
		out.Scale = s
	}
	return out, ok
}

// fillIn replaces {words}; missing is the first one that has no value.
func fillIn(text string, v values) (filled, missing string) {
	var b strings.Builder
	for {
		before, rest, found := strings.Cut(text, "{")
		b.WriteString(before)
		if !found {
			return b.String(), missing
		}
		word, after, closed := strings.Cut(rest, "}")
		x, ok := v[word]
		if (!closed || !ok) && missing == "" {
			missing = word
		}
		b.WriteString(x)
		text = after
	}
}

// knownValues are all words that some calibration gives.
var knownValues = func() map[string]bool {
	known := map[string]bool{}
	for _, name := range strings.Fields(valueWords) {
		known[name] = true
	}
	return known
}()

// ValueWords lists the words that formulas may put in braces; which of them a
// calibration has depends on its stages and shots.
func ValueWords() []string {
	names := strings.Fields(valueWords)
	sort.Strings(names)
	return names
}

const valueWords = `
tick throttle_min throttle_shut entry_speed earn_within entry_above trim_step trim_max boost_min cranking
overrun_margin spread_bound longest_run slow_cycle fast_cycle launch_cycle lean_limit
earn earn_and_tick earn_less_tick abort_after abort_after_and_tick abort_after_less_tick
clear_after clear_after_and_tick clear_after_less_tick loss_after loss_after_and_tick loss_after_less_tick
end_lift end_lift_and_tick end_lift_less_tick end_after end_after_and_tick end_after_less_tick
return_time return_time_and_tick return_time_less_tick latch_after latch_after_and_tick latch_after_less_tick
standing_qualify standing_qualify_and_tick standing_qualify_less_tick persistence persistence_and_tick persistence_less_tick
mixture_wait mixture_wait_and_tick mixture_wait_less_tick longest_all longest_all_and_tick longest_all_less_tick
rest_below moving_below full_above least_depth main_ceiling main_overshoot launch_overshoot launch_highest launch_guard hold_below
timing_step slew_back
each stage hysteresis band highest lowest medium guard whole_limit
channel may_last low high
shot feedback shot_throttle speed_low speed_high margin margin_to_open retard enrich start_duty end_duty duty_rate duty_step
quiet quiet_and_tick quiet_less_tick delay delay_and_tick delay_less_tick trigger trigger_and_tick trigger_less_tick
rearm rearm_and_tick rearm_less_tick longest longest_and_tick longest_less_tick
retard_lead retard_lead_and_tick retard_lead_less_tick enrich_lead enrich_lead_and_tick enrich_lead_less_tick
fuel_lead fuel_lead_and_tick fuel_lead_less_tick fuel_lag fuel_lag_and_tick fuel_lag_less_tick
flow flow_and_tick flow_less_tick closes closes_and_tick closes_less_tick
`
