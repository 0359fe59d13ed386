package sweep

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/require"
	"github.com/holdline/holdline/harness/scenario"
)

// Plan is a plan with everything that it names, read once and never changed:
// any number of workers may use it.
type Plan struct {
	PlanFile
	File string

	doc    *files.Document
	bases  []base
	texts  map[string][]byte // of every file that is named, by path
	design *design
	size   int64
	hash   [sha256.Size]byte
	hot    bool
}

// base is a scenario of the plan, or the plan itself in its place.
type base struct {
	name string // as rows show it
	path string // that the files it names are looked for from
	text []byte
	sets []string // requirement sets, resolved
}

// Load reads a plan with all files that it names and tries every value in its
// place. It returns everything that is wrong at once; the plan is nil if any of
// that is an error.
func Load(path string) (*Plan, harness.Findings) {
	text, err := files.ReadText(path)
	if err != nil {
		_, _, fs := PlanKind.Read(path) // says why
		return nil, fs
	}
	return Decode(path, text)
}

// Decode is Load for a text; files that it names are looked for from name's
// folder.
func Decode(name string, text []byte) (*Plan, harness.Findings) {
	file, doc, fs := PlanKind.Decode(name, text)
	if fs.Failed() {
		return nil, fs
	}
	p := &Plan{PlanFile: *file, File: name, doc: doc, texts: map[string][]byte{}}
	for _, step := range []func() harness.Findings{
		func() harness.Findings { return checkPlan(file, doc) },
		p.measure, p.readAll, p.try,
	} {
		if fs = append(fs, step()...); fs.Failed() {
			return nil, fs.Sorted()
		}
	}
	p.design.spread(&p.PlanFile)
	p.hash = p.digest()
	return p, fs.Sorted()
}

// measure lays out the launches.
func (p *Plan) measure() harness.Findings {
	p.design = newDesign(&p.PlanFile)
	var ok bool
	if p.size, ok = p.design.size(&p.PlanFile); !ok {
		return harness.Findings{p.finding("repeats", harness.Finding{Reason: "too many launches, or none", Allowed: fmt.Sprintf("1 to %d in all", maxLaunches)})}
	}
	return nil
}

// finding points at a key of the plan, which stands there as it was written.
func (p *Plan) finding(path string, f harness.Finding) harness.Finding {
	pos, _ := p.doc.Locate(path)
	f.Severity, f.File, f.Line, f.Column, f.Changed = harness.Error, p.File, pos.Line, pos.Column, false
	if f.Field == "" {
		f.Field = path
	}
	return f
}

// readAll reads the scenarios, and the files that they or the values of the plan
// name.
func (p *Plan) readAll() (fs harness.Findings) {
	if len(p.Scenarios) == 0 {
		p.bases = []base{{name: "plan", path: p.File, text: p.ownScenario()}}
	}
	for i, name := range p.Scenarios {
		path := files.Beside(p.File, name)
		if why := p.read(path); why != "" {
			fs = append(fs, p.finding(fmt.Sprintf("scenarios[%d]", i+1), harness.Finding{Value: name, Reason: why}))
			continue
		}
		p.bases = append(p.bases, base{name: strings.TrimSuffix(filepath.Base(path), ".toml"), path: path, text: p.texts[path]})
	}
	for i := range p.bases {
		fs = append(fs, p.readNamed(&p.bases[i], intoCar)...)
		fs = append(fs, p.readNamed(&p.bases[i], intoCalibration)...)
		p.bases[i].sets = p.requirementSets(&p.bases[i])
	}
	return fs
}

// readNamed reads the car or calibration of a scenario, and those that a
// parameter puts in its place.
func (p *Plan) readNamed(b *base, key string) (fs harness.Findings) {
	doc, _ := files.Parse(b.path, b.text)
	read := func(name, place string) {
		if why := p.read(files.Beside(b.path, name)); why != "" {
			fs = append(fs, p.finding(place, harness.Finding{Value: name, Reason: "the " + key + " file " + why}))
		}
	}
	if name, ok := valueAt(doc, key); ok {
		place := "scenarios"
		if len(p.Scenarios) == 0 {
			place = key
		}
		read(name, place)
	}
	for i := range p.Parameters {
		if q := &p.Parameters[i]; ownPath(q.Path) == key {
			for _, v := range q.levels() {
				read(q.written(v), fmt.Sprintf("parameter[%d].values", i+1))
			}
		}
	}
	return fs
}

func (p *Plan) read(path string) (why string) {
	if _, ok := p.texts[path]; ok {
		return ""
	}
	text, err := files.ReadText(path)
	if err != nil {
		return "cannot be read: " + harness.ReasonOf(err)
	}
	p.texts[path] = text
	return ""
}

// ownScenario writes the scenario of a plan that names car, calibration and
// driver itself.
func (p *Plan) ownScenario() []byte {
	var b strings.Builder
	fmt.Fprintf(&b, "format = %q\nname = %q\ncar = %q\ncalibration = %q\n\n[driver]\ndoes = [\n", scenario.Kind.Format, p.Name, p.Car, p.Calibration)
	for _, phrase := range p.Does {
		fmt.Fprintf(&b, "  %q,\n", phrase)
	}
	b.WriteString("]\n")
	return []byte(b.String())
}

// requirementSets resolves the names of the scenario's sets and the plan's.
func (p *Plan) requirementSets(b *base) (out []string) {
	add := func(from string, names []string) {
		for _, name := range names {
			if name != "standard" && !strings.HasPrefix(name, "standard/") {
				name = files.Beside(from, name)
			}
			if !slices.Contains(out, name) {
				out = append(out, name)
			}
		}
	}
	if s, _, fs := scenario.Kind.Decode(b.path, b.text); !fs.Failed() {
		add(b.path, s.Requirements)
	}
	add(p.File, p.Require)
	return out
}

// Launches is how many launches the plan asks for.
func (p *Plan) Launches() int64 { return p.size }

// Hash names the plan: what it says and the content of every file it names, but
// neither their names nor how many shards run it, what is kept or drawn.
func (p *Plan) Hash() string { return hex.EncodeToString(p.hash[:]) }

// Tag is the beginning of Hash that file names carry.
func (p *Plan) Tag() string { return p.Hash()[:tagLength] }

const tagLength = 16

// Hot reports whether a calibration of the plan moves timing or opens a shot, so
// that a caution is due.
func (p *Plan) Hot() bool { return p.hot }

// Judged reports whether launches must meet requirements.
func (p *Plan) Judged() bool {
	return slices.ContainsFunc(p.bases, func(b base) bool { return len(b.sets) > 0 })
}

// digest hashes the plan with the names of files replaced by their content.
func (p *Plan) digest() (sum [sha256.Size]byte) {
	said := p.PlanFile
	said.Shards, said.Keep, said.Pictures = 0, Keep{}, nil
	said.Car, said.Calibration, said.Scenarios, said.Require = "", "", nil, nil
	h := sha256.New()
	_ = json.NewEncoder(h).Encode(said) // plain values can always be written
	for i := range p.bases {
		b := &p.bases[i]
		doc, _ := files.Parse(b.path, b.text)
		fmt.Fprintf(h, "%q\n", b.name)
		writeContent(h, doc.Root, true)
		for _, key := range []string{intoCar, intoCalibration} {
			for _, name := range p.named(b, doc, key) {
				path := files.Beside(b.path, name)
				doc, _ := files.Parse(path, p.texts[path])
				writeContent(h, doc.Root, false)
			}
		}
	}
	_ = json.NewEncoder(h).Encode(p.asked())
	h.Sum(sum[:0])
	return sum
}

// named lists the files that a scenario or a parameter names under a key.
func (p *Plan) named(b *base, doc *files.Document, key string) (names []string) {
	if name, ok := valueAt(doc, key); ok {
		names = append(names, name)
	}
	for i := range p.Parameters {
		if q := &p.Parameters[i]; ownPath(q.Path) == key {
			for _, v := range q.levels() {
				names = append(names, q.written(v))
			}
		}
	}
	return names
}

// asked lists the requirements as they read with each scenario's calibration.
func (p *Plan) asked() (all [][]require.Requirement) {
	l := newLauncher(p)
	for i := range p.bases {
		if r, fs := l.prepare(p.settingsOf(int64(i) * (p.size / int64(len(p.bases))))); !fs.Failed() {
			all = append(all, r.cal.required)
		}
	}
	return all
}
