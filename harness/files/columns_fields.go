package files

import (
	"slices"
	"strings"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/record"
)

// millionths is the scale of numbers in a recording's own unit.
var millionths = Scale{Mul: 1_000_000}

func columnsFields(b *Block, c *Columns) {
	Text(b, &c.Notes, "notes", Optional(), Doc("shown with results"))
	Int(b, &c.Barometric, "barometric_kpa", KilopascalInPa, Range(50, 110), Optional(), Doc("pressure of the air, for gauge pressures"))
	Int(b, &c.Commit.Fuel, "fuel_commit_deg", centiDegrees, Range(1, 1440), DefaultRaw(int64(harness.DefaultCommitAngles.Fuel)),
		Doc("injection start, so far before a cylinder's firing dead centre"))
	Int(b, &c.Commit.Spark, "spark_commit_deg", centiDegrees, Range(1, 720), DefaultRaw(int64(harness.DefaultCommitAngles.Spark)),
		Doc("start of dwell for the earliest angle allowed, the same way"))
	Phrases(b, &c.Script, "script", inputs, Optional(), Doc("phrases for inputs that the recording lacks; times count from the start of the section"))
	Table(b, "recording", func(b *Block) { recordingFields(b, &c.Recording) }, Doc("How the recording is written. What is left out is found out."))
	Named(b, Slice(&c.Channels), "channel", channelHeader, columnsChannelFields, Len(0, int(controller.NumChannels)),
		Doc("What feeds a channel. NAME is one of "+channelList()+"."))
	Named(b, Slice(&c.Switches), "switch", switchHeader, columnsSwitchFields, Len(0, int(controller.NumSwitches)),
		Doc("What feeds a switch. NAME is one of "+strings.Join(switchWords.Names(), ", ")+"."))
}

func channelHeader(x *ColumnsChannel) *string {
	if x.name == "" && x.Channel < controller.NumChannels {
		x.name = harness.Channels[x.Channel].Name
	}
	return &x.name
}

func switchHeader(x *ColumnsSwitch) *string {
	if x.name == "" && x.Switch < controller.NumSwitches {
		x.name = harness.Switches[x.Switch]
	}
	return &x.name
}

func recordingFields(b *Block, r *RecordingFacts) {
	Int(b, &r.RateMilliHz, "rate_hz", Scale{Unit: "Hz", Mul: 1000}, RangeRaw(1, 1_000_000_000), Optional(), Doc("rows a second, for a file without time column"))
	Enum(b, &r.Delimiter, "delimiter", Words[byte]{Means[byte]("comma", ',', ""), Means[byte]("semicolon", ';', ""), Means[byte]("tab", '\t', "")}, Optional())
	Enum(b, &r.Decimal, "decimal", Words[byte]{Means[byte]("point", '.', ""), Means[byte]("comma", ',', "")}, Optional(), Doc("decimal mark"))
	Int(b, &r.HeaderLine, "header_line", Number, Range(1, 1_000_000), Optional(), Doc("line of the titles, from 1"))
	Bool(b, &r.NoHeader, "no_header", Optional(), Doc("the file starts with data"))
	Texts(b, Slice(&r.Titles), "titles", Optional(), Doc("titles for a file without them"))
	Text(b, &r.TimeColumn, "time_column", Optional(), Doc("the shared time column"))
	Enum(b, &r.TimeUnit, "time_unit", Words[string]{
		Means("s", "s", ""), Means("ms", "ms", ""), Means("us", "us", ""), Means("clock", "clock", "h:mm:ss.sss, mm:ss.s, or with a date before it"),
	}, Optional())
	Enum(b, &r.Pairing, "time_columns", Words[record.Pairing]{
		Means("shared", record.SharedTime, "one for all"),
		Means("before", record.TimeBefore, "each column's own just before it"),
		Means("after", record.TimeAfter, "just after it"),
	}, Default("shared"), Doc("where time columns stand"))
	Enum(b, &r.StepBack, "step_back", Words[record.StepPolicy]{
		Means("refuse", record.RefuseSteps, "an error"),
		Means("drop", record.DropSteps, "drop rows until time is past where it was"),
	}, Default("refuse"), Doc("what a step back in time does"))
	Texts(b, Slice(&r.Ignore), "ignore", Optional(), Doc("columns not to read, for instance those that hold text"))
	Texts(b, Slice(&r.Missing), "missing", Optional(), Doc("further words that stand for no value"))
	Int(b, &r.FromUS, "from_s", SecondsInUs, Range(0, 10_000_000), Optional(), Doc("start of the section to use, since the first row"))
	Int(b, &r.ToUS, "to_s", SecondsInUs, Range(0, 10_000_000), Optional(), Doc("its end; left out: to the end"))
	recordingChecks(b, r)
}

// recordingChecks refuses statements that contradict each other, as the reader
// would, but with their place.
func recordingChecks(b *Block, r *RecordingFacts) {
	if !b.Decoding() {
		return
	}
	clash := func(bad bool, key, reason string) {
		if bad && b.Good(key) {
			b.Fail(key, harness.Finding{Reason: reason, Fix: "state one of them"})
		}
	}
	paired := r.Pairing != record.SharedTime
	clash(r.Delimiter == ',' && r.Decimal == ',', "decimal", "a comma cannot be both delimiter and decimal mark")
	clash(r.RateMilliHz != 0 && (r.TimeColumn != "" || paired), "rate_hz", "a rate and a time column are both stated")
	clash(paired && r.TimeColumn != "", "time_columns", "paired time columns and a shared one are both stated")
	clash(r.NoHeader && r.HeaderLine > 0, "header_line", "a header line and no header are both stated")
	if r.ToUS != 0 && r.ToUS <= r.FromUS && b.Good("from_s", "to_s") {
		b.Fail("to_s", harness.Finding{Reason: "must be above from_s", Allowed: "above " + SecondsInUs.Shown(r.FromUS)})
	}
}

func columnsChannelFields(b *Block, x *ColumnsChannel) {
	c, ok := x.Channel, true
	if b.Decoding() {
		if c, ok = fittable(x.name); !ok {
			b.Fail("", harness.Finding{Reason: "no such channel", Value: x.name, Allowed: strings.Join(channelNames(), ", "), Fix: didYouMean(x.name, channelNames())})
		}
		x.Channel = c
	}
	Text(b, &x.Column, "column", Optional(), Len(0, 200), Doc("column of the recording"))
	Text(b, &x.TimeColumn, "time_column", Optional(), Len(0, 200), Doc("the column's own time column"))
	Text(b, &x.Unit, "unit", Optional(), Len(0, 20), Doc("of the column, or of what the line gives; left out: as the recording says"))
	Enum(b, &x.Reference, "reference", Words[record.Reference]{
		Means("absolute", record.Absolute, "from vacuum"), Means("gauge", record.Gauge, "from the air around; needs barometric_kpa"),
	}, Optional(), Doc("zero of a pressure; required unless its unit says it"))
	x.line(b)
	fed := b.usage(!x.HasConstant && !b.Given("constant"), "with a column")
	Enum(b, &x.Mode, "interpolation", Words[record.Mode]{
		Means("hold", record.Held, "keep a value until the next"), Means("linear", record.Linear, "in a straight line to the next"),
	}, fed.or("interpolation", "hold"))
	Int(b, &x.IntervalUS, "interval_s", SecondsInUs, RangeRaw(1, 3_600_000_000), Optional(),
		Doc("how often it is sampled; a value is fresh for one and a half of these; left out: as found"))
	x.constant(b, c, ok)
	x.checks(b, c, ok)
}

// line visits a two-point line, such as the volts of a sensor and what they
// mean.
func (x *ColumnsChannel) line(b *Block) {
	if b.Decoding() {
		x.HasPoints = b.Given("line")
	}
	n := 0
	if x.HasPoints || b.s.mode == describing {
		n = 2
	}
	flat := []int64{x.Points[0][0], x.Points[0][1], x.Points[1][0], x.Points[1][1]}
	Grid(b, flat, n, n, "line", millionths, RangeRaw(-1e15, 1e15), Optional(),
		Doc("two points [written, meant], such as [[0.5, 0], [4.5, 100]] for volts to percent"))
	if !b.Decoding() {
		return
	}
	x.Points = [2][2]int64{{flat[0], flat[1]}, {flat[2], flat[3]}}
	if x.HasPoints && b.Good("line") && flat[0] == flat[2] {
		b.Fail("line", harness.Finding{Reason: "the two points make no line", Fix: "state two different inputs"})
	}
}

func (x *ColumnsChannel) constant(b *Block, c controller.Channel, known bool) {
	scale := Scale{Unit: "the channel's unit", Mul: 10000}
	if known && b.s.mode != describing {
		scale = channelScale(c)
	}
	if !known {
		scale = Scale{Rounded: true}
	}
	if b.Decoding() {
		x.HasConstant = b.Given("constant")
	}
	opt := Optional()
	if x.HasConstant {
		opt = func(*spec) {} // 0 is a value too
	}
	Int(b, &x.Constant, "constant", scale, opt, Doc("instead of a column, for a channel that the recording lacks"))
}

func (x *ColumnsChannel) checks(b *Block, c controller.Channel, known bool) {
	if !b.Decoding() || !known {
		return
	}
	switch {
	case !b.Good("column", "constant"):
	case x.Column == "" && !x.HasConstant:
		b.Fail("", harness.Finding{Reason: "nothing feeds it", Fix: "add column, or constant"})
	case x.Column != "" && x.HasConstant:
		b.Fail("constant", harness.Finding{Reason: "a column and a constant are both stated", Fix: "remove one of them"})
	case x.HasConstant:
		for _, key := range []string{"time_column", "unit", "reference", "line", "interval_s"} {
			if b.Given(key) {
				b.Warn(key, harness.Finding{Reason: "is not used here: the constant counts"})
			}
		}
		return
	}
	if x.Unit == "" || !b.Good("unit") {
		return
	}
	unit, ok := record.ParseUnit(x.Unit)
	if why := fitting(c, unit, ok); why != "" {
		b.Fail("unit", harness.Finding{Reason: why, Allowed: strings.Join(unitsFor(c), ", ")})
		return
	}
	x.pressureZero(b, unit)
}

// pressureZero asks where a pressure counts from.
func (x *ColumnsChannel) pressureZero(b *Block, u record.Unit) {
	if !b.Good("reference") {
		return
	}
	switch {
	case u.Quantity != record.Pressure && x.Reference != record.Unstated:
		b.Fail("reference", harness.Finding{Reason: "only a pressure is absolute or gauge", Fix: "remove it"})
	case u.Quantity != record.Pressure:
	case u.Reference == record.Unstated && x.Reference == record.Unstated:
		b.Fail("reference", harness.Finding{Reason: "required for a pressure", Allowed: "absolute, gauge"})
	case u.Reference != record.Unstated && x.Reference != record.Unstated && u.Reference != x.Reference:
		b.Fail("reference", harness.Finding{Reason: "the unit says " + u.Reference.String(), Fix: "correct one of them"})
	case (u.Reference == record.Gauge || x.Reference == record.Gauge) && !b.outer.outer.Given("barometric_kpa"):
		b.Fail("reference", harness.Finding{Reason: "a gauge pressure needs the pressure of the air", Fix: "add barometric_kpa above the first table header"})
	}
}

func columnsSwitchFields(b *Block, x *ColumnsSwitch) {
	if b.Decoding() {
		sw, ok := harness.SwitchNamed(x.name)
		if !ok {
			names := switchWords.Names()
			b.Fail("", harness.Finding{Reason: "no such switch", Value: x.name, Allowed: strings.Join(names, ", "), Fix: didYouMean(x.name, names)})
		}
		x.Switch = sw
		x.OnBelow = b.Given("on_below")
	}
	Text(b, &x.Column, "column", Len(1, 200), Doc("column of the recording"))
	Text(b, &x.TimeColumn, "time_column", Optional(), Len(0, 200), Doc("the column's own time column"))
	words := len(x.OnWords) > 0 || b.Decoding() && (b.Given("on_words") || b.Given("off_words"))
	threshold(b, x, "on_above", !x.OnBelow && !words, "on above this number of the column")
	threshold(b, x, "on_below", x.OnBelow && !words, "on below this number of the column")
	switchInWords(b, x, words)
	Int(b, &x.IntervalUS, "interval_s", SecondsInUs, RangeRaw(1, 3_600_000_000), Optional(), Doc("how often it is sampled; left out: as found"))
}

// threshold visits one of two keys of which exactly one is given; on_below is
// chosen if it is.
func threshold(b *Block, x *ColumnsSwitch, key string, chosen bool, doc string) {
	other := map[string]string{"on_above": "on_below", "on_below": "on_above"}[key]
	v := x.Threshold
	opts := []Option{RangeRaw(-1e15, 1e15), Doc(doc)}
	if b.s.mode == encoding && !chosen {
		b.know(key)
		return
	}
	if b.s.mode != encoding { // written even if it is 0
		opts = append(opts, Optional())
	}
	Int(b, &v, key, millionths, opts...)
	if b.Decoding() && chosen {
		x.Threshold = v
		if !b.Given(key) {
			b.Fail(key, harness.Finding{Reason: "required key is missing", Fix: "add on_above or on_below, or on_words and off_words for a column that is written in words"})
		}
	}
	if b.Decoding() && !chosen && b.Given(key) && b.Given(other) {
		b.Fail(key, harness.Finding{Reason: other + " is stated too", Fix: "remove one of them"})
	}
}

// switchInWords visits what a column written in words says for on and for off.
func switchInWords(b *Block, x *ColumnsSwitch, words bool) {
	Texts(b, Slice(&x.OnWords), "on_words", Optional(), Doc("words of the column for on, for one that is written in words"))
	Texts(b, Slice(&x.OffWords), "off_words", Optional(), Doc("words of the column for off"))
	if !b.Decoding() || !words || !b.Good("on_words", "off_words") {
		return
	}
	for _, key := range []string{"on_above", "on_below"} {
		if b.Given(key) {
			b.Fail(key, harness.Finding{Reason: "the column's words are stated too", Fix: "state numbers or words, not both"})
		}
	}
	if len(x.OnWords) == 0 || len(x.OffWords) == 0 {
		b.Fail("on_words", harness.Finding{Reason: "words for on and for off are needed", Fix: "state on_words and off_words"})
		return
	}
	for _, word := range x.OffWords {
		if slices.ContainsFunc(x.OnWords, func(w string) bool { return strings.EqualFold(w, word) }) {
			b.Fail("off_words", harness.Finding{Value: word, Reason: "the word stands for on too", Fix: "leave one out"})
		}
	}
}
