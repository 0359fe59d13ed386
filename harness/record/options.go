package record

// StepPolicy says what a step back in time does.
type StepPolicy uint8

const (
	// RefuseSteps makes each step back an error.
	RefuseSteps StepPolicy = iota
	// DropSteps drops rows until time has passed its old high mark, and warns.
	DropSteps
)

// Pairing says where a channel's time stands.
type Pairing uint8

const (
	// SharedTime: one time column, or a stated rate, serves all channels.
	SharedTime Pairing = iota
	// TimeBefore: each channel's own time column stands just before it.
	TimeBefore
	// TimeAfter: each channel's own time column stands just after it.
	TimeAfter
)

// Options states what is known of a file. The zero value finds everything out.
//
// A column is named by its title as written, by its title without the unit, or
// by its number from 1 as "#3".
type Options struct {
	Delimiter byte // ',', ';' or '\t'; 0: found out
	Decimal   byte // '.' or ','; 0: found out

	HeaderLine int      // line of the titles, from 1; 0: found out
	NoHeader   bool     // the file starts with data
	Titles     []string // titles for NoHeader; missing ones become "column 3"

	Rate       float64           // rows a second (0.001 to 1e6) for a file without time column; 0: time column
	TimeColumn string            // the shared time column; "": found by title
	TimeUnit   string            // "s", "ms", "us" or "clock" (h:mm:ss.sss, mm:ss.s, ISO date before it); "": from title or units row
	Pairing    Pairing           // where own time columns stand
	TimeOf     map[string]string // channel -> its own time column; others use the shared one

	Ignore  []string // columns not to read, for instance those that hold text
	Missing []string // further words that stand for "no value"
	Words   []Words  // columns written in words
	// Need names the columns in which text is an error; in others it is a missing
	// value, and told in Channel.Text. nil: all.
	Need []string

	StepBack        StepPolicy
	StepToleranceUS int64 // a smaller step back counts as a repeated stamp; 0: 1000 us; negative: none

	MaxFindings int // of each severity; 0: 100
	MaxLine     int // longest line in bytes (256 to 64 Mi); 0: 256 Ki
	MaxCells    int // largest rows x columns, 8 bytes each; 0: 128 Mi
}

const (
	defaultStepToleranceUS = 1000
	defaultMaxFindings     = 100
	defaultMaxLine         = 256 << 10
	defaultMaxCells        = 128 << 20
	maxColumns             = 4096
	sampleLines            = 400
	// mapAbove is the size from which a file is memory-mapped; below it, reading
	// it is faster than the page faults of a mapping.
	mapAbove = 64 << 20
)

func (o Options) withDefaults() Options {
	switch {
	case o.StepToleranceUS == 0:
		o.StepToleranceUS = defaultStepToleranceUS
	case o.StepToleranceUS < 0:
		o.StepToleranceUS = 0
	}
	if o.MaxFindings <= 0 {
		o.MaxFindings = defaultMaxFindings
	}
	if o.MaxLine <= 0 {
		o.MaxLine = defaultMaxLine
	}
	o.MaxLine = min(max(o.MaxLine, 256), 64<<20)
	if o.MaxCells <= 0 {
		o.MaxCells = defaultMaxCells
	}
	return o
}

// check returns what is wrong with the options themselves.
func (o Options) check(l *findingLog) {
	if !oneOf(o.Delimiter, 0, ',', ';', '\t') {
		l.err("delimiter", string(rune(o.Delimiter)), "comma, semicolon, tab", "delimiter cannot be used", "")
	}
	if !oneOf(o.Decimal, 0, '.', ',') {
		l.err("decimal", string(rune(o.Decimal)), "point, comma", "decimal mark cannot be used", "")
	}
	if o.Delimiter == ',' && o.Decimal == ',' {
		l.err("decimal", ",", "point", "comma cannot be both delimiter and decimal mark", "state one of them")
	}
	if o.Rate != 0 && !(o.Rate >= 1e-3 && o.Rate <= 1e6) {
		l.err("rate", formatFloat(o.Rate), "0.001 to 1000000 Hz", "rate is out of range", "")
	}
	if _, ok := timeUnits[o.TimeUnit]; !ok && o.TimeUnit != "" && o.TimeUnit != clockUnit {
		l.err("time unit", o.TimeUnit, "s, ms, us, clock", "time unit is not known", "")
	}
	if o.Rate != 0 && (o.TimeColumn != "" || o.Pairing != SharedTime) {
		l.err("rate", formatFloat(o.Rate), "", "a rate and a time column are both stated", "state one of them")
	}
	if o.Pairing != SharedTime && (o.TimeColumn != "" || len(o.TimeOf) > 0) {
		l.err("time", "", "", "paired time columns and a named time column are both stated", "state one of them")
	}
	seen := map[string]bool{}
	for i := range o.Words {
		o.Words[i].check(l, seen)
	}
	if o.NoHeader && o.HeaderLine > 0 {
		l.err("header line", "", "", "a header line and no header are both stated", "state one of them")
	}
}

func oneOf(c byte, set ...byte) bool {
	for _, s := range set {
		if c == s {
			return true
		}
	}
	return false
}
