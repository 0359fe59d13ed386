package files

import (
	"fmt"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// Calibration is the file kind of calibrations.
var Calibration = Kind[CalibrationFile]{
	Name: "calibration", Format: "holdline-calibration-1",
	Doc: "A calibration: everything that a person sets for a launch controller. " +
		"Launch control holds the engine at a ceiling while the car stands (trade word: two-step; three-step with a burnout stage), " +
		"can make boost there with late ignition (trade word: anti-lag), and lets the ceiling rise after release. " +
		"Competition and closed courses only. Late ignition and added power can destroy engines and burn people: hardware cut-offs first.",
	Fields: calibrationFields,
}

// CalibrationFile is a calibration with the names that only its text knows.
type CalibrationFile struct {
	Calibration controller.Calibration
	Stages      []string    // the NAME of each [stage.NAME]; made up where missing
	Tables      []TableInfo // of each [table.NAME]; made up where missing
}

// LoadCalibration reads a calibration file and seals it. It returns everything
// that is wrong with the file at once, each with its place; the calibration is
// nil if any of that is an error.
func LoadCalibration(path string, changes ...Change) (*controller.Calibration, harness.Findings) {
	f, doc, findings := Calibration.Read(path, changes...)
	return sealFile(f, doc, findings)
}

// DecodeCalibration is LoadCalibration for a text; name is used in findings.
func DecodeCalibration(name string, text []byte, changes ...Change) (*controller.Calibration, harness.Findings) {
	f, doc, findings := Calibration.Decode(name, text, changes...)
	return sealFile(f, doc, findings)
}

// EncodeCalibration writes a calibration as a commented text. It refuses one
// that cannot be sealed, and one that the text cannot give back so that its
// image is the same: with gaps between stages, shots or tables, or with a stage
// that has no name.
func EncodeCalibration(c *controller.Calibration) ([]byte, error) {
	own := *c
	var p controller.Problems
	if !own.Seal(&p) {
		return nil, fmt.Errorf("calibration %q cannot be sealed: %s: %s", c.Name.String(), p.List[0].Field, p.List[0].Reason)
	}
	text, err := Calibration.Encode(&CalibrationFile{Calibration: own})
	if err != nil {
		return nil, err
	}
	back, findings := DecodeCalibration("", text)
	if err := findings.Err(); err != nil {
		return nil, fmt.Errorf("calibration %q cannot be written: %w", c.Name.String(), err)
	}
	if !sameImage(&own, back) {
		return nil, fmt.Errorf("calibration %q cannot be written: it holds values that the text has no place for", c.Name.String())
	}
	return text, nil
}

// WriteCalibration writes a calibration into a file, see EncodeCalibration and
// WriteFile.
func WriteCalibration(path string, c *controller.Calibration, force bool) error {
	text, err := EncodeCalibration(c)
	if err != nil {
		return err
	}
	return WriteFile(path, text, force)
}

// sameImage compares what a firmware would store of two sealed calibrations.
func sameImage(a, b *controller.Calibration) bool {
	var bufA, bufB [controller.MaxImage]byte
	nA, errA := a.Image(bufA[:])
	nB, errB := b.Image(bufB[:])
	return errA == nil && errB == nil && string(bufA[:nA]) == string(bufB[:nB])
}

// calibrationWork is what the description of one calibration shares.
type calibrationWork struct {
	file *CalibrationFile
	cal  *controller.Calibration
	refs []tableRef // decode: where tables are named
}

func calibrationFields(b *Block, f *CalibrationFile) {
	w := &calibrationWork{file: f, cal: &f.Calibration}
	c := w.cal
	if b.s.mode == encoding {
		w.nameAll(b)
	}
	nameText(b, &c.Name, "name", Optional(), Doc("shown with results"))
	Int(b, &c.Period, "period_ms", MillisInUs, Range(0.1, 10), Default(1), Doc("of a tick"))
	Set(b, &c.Switches, "switches", switchWords, Optional(), Doc("switches that are fitted"))
	Table(b, "engine", func(b *Block) { w.engine(b, &c.Engine) }, Doc("Facts of engine and actuators."))
	w.channels(b)
	Table(b, "sequence", func(b *Block) { sequenceFields(b, &c.Sequence) },
		Doc("The launch sequence: what earns a hold, what aborts it, what ends a launch. Without it there is none."))
	w.stages(b)
	w.tables(b)
	w.addedPower(b)
	w.resolve()
}

// nameText visits a Name as a text.
func nameText(b *Block, n *controller.Name, key string, opts ...Option) {
	s := n.String()
	Text(b, &s, key, append(opts, Len(1, len(n)))...)
	if b.Decoding() {
		*n = controller.NameOf(s)
	}
}

// switchWords are the switches by their stable names, as bits.
var switchWords = func() Words[controller.SwitchSet] {
	var words Words[controller.SwitchSet]
	for sw, name := range harness.Switches {
		words = append(words, Means(name, controller.SwitchSet(1)<<sw, ""))
	}
	return words
}()

// usage tells keys that count only under a condition, such as the band of a
// soft cut. Where the condition holds they have a default; elsewhere they may
// be left out, and one that is given gets a warning.
type usage struct {
	b    *Block
	used bool
	why  string
	on   []string
}

func (b *Block) usage(used bool, why string, on ...string) usage {
	return usage{b, used || b.s.mode == describing, why, on}
}

// or is the default of a key where it is used.
func (u usage) or(key string, def any) Option {
	u.warn(key)
	if !u.used {
		return Optional()
	}
	return Default(def)
}

// must asks for a key where it is used; its doc says where that is.
func (u usage) must(key string) Option {
	u.warn(key)
	if !u.used || u.b.s.mode == describing {
		return Optional()
	}
	return func(*spec) {}
}

// may lets a key be left out also where it is used.
func (u usage) may(key string) Option {
	u.warn(key)
	return Optional()
}

func (u usage) warn(key string) {
	if !u.used && u.b.Given(key) && u.b.Good(u.on...) {
		u.b.Warn(key, harness.Finding{Reason: "is not used here: only " + u.why})
	}
}
