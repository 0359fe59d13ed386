package record

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/exp/mmap"

	"github.com/holdline/holdline/harness"
)

var nan = math.NaN()

// ch is what a test expects of a channel.
type ch struct {
	Name, Unit string
	T          []int64
	V          []float64
}

func channels(r *Recording) []ch {
	if r == nil {
		return nil
	}
	var out []ch
	for _, c := range r.Channels {
		out = append(out, ch{c.Name, c.Unit, c.TimeUS, c.Value})
	}
	return out
}

var sameValues = cmp.Options{cmpopts.EquateNaNs(), cmpopts.EquateEmpty()}

func ms(v ...int64) []int64 {
	for i := range v {
		v[i] *= 1000
	}
	return v
}

// TestReadsWhatLoggersWrite holds inputs that must be read right, most without
// any option.
func TestReadsWhatLoggersWrite(t *testing.T) {
	plain := []ch{{"RPM", "1/min", ms(0, 100, 200), []float64{1000, 1100.5, 1200}}}
	cases := []struct {
		name, text string
		o          Options
		want       []ch
		warn       []string // parts of the warnings, in order
	}{
		{name: "comma", text: "Time (s),RPM (1/min)\n0,1000\n0.1,1100.5\n0.2,1200\n", want: plain},
		{name: "semicolon and decimal comma", text: "Time (s);RPM (1/min)\n0;1000\n0,1;1100,5\n0,2;1200\n", want: plain},
		{name: "tab and decimal comma", text: "Time (s)\tRPM (1/min)\n0\t1000\n0,1\t1100,5\n0,2\t1200\n", want: plain},
		{name: "tab and decimal point", text: "Time (s)\tRPM (1/min)\n0\t1000\n0.1\t1100.5\n0.2\t1200\n", want: plain},
		{name: "byte-order mark and CRLF", text: "\xEF\xBB\xBFTime (s),RPM (1/min)\r\n0,1000\r\n0.1,1100.5\r\n0.2,1200\r\n", want: plain},
		{name: "trailing separators on every row", text: "Time (s),RPM (1/min)\n0,1000,\n0.1,1100.5,\n0.2,1200,\n", want: plain},
		{name: "trailing separators on titles too", text: "Time (s),RPM (1/min),,\n0,1000,,\n0.1,1100.5,,\n0.2,1200,,\n", want: plain},
		{name: "quoted titles", text: "\"Time (s)\",\"RPM (1/min)\"\n0,1000\n0.1,1100.5\n0.2,1200\n", want: plain},
		{name: "quoted everything, decimal comma between commas", text: "\"Time (s)\";\"RPM (1/min)\"\n\"0\";\"1000\"\n\"0,1\";\"1100,5\"\n\"0,2\";\"1200\"\n", want: plain},
		{name: "spaces about everything", text: " Time (s) , RPM (1/min) \n 0 , 1000\n 0.1 ,  1100.5 \n0.2,1200 \n", want: plain},
		{name: "square brackets", text: "Time [s],RPM [1/min]\n0,1000\n0.1,1100.5\n0.2,1200\n", want: plain},
		{name: "no space before bracket", text: "Time(s),RPM(1/min)\n0,1000\n0.1,1100.5\n0.2,1200\n", want: plain},
		{name: "units in a second row", text: "Time,RPM\ns,1/min\n0,1000\n0.1,1100.5\n0.2,1200\n", want: plain},
		{name: "bracketed units in a second row", text: "Time;RPM\n[s];[1/min]\n0;1000\n0,1;1100,5\n0,2;1200\n", want: plain},
		{name: "blank line between titles and data", text: "Time (s),RPM (1/min)\n\n0,1000\n0.1,1100.5\n0.2,1200\n\n\n", want: plain},
		{name: "preamble of other width", text: "Recorder 7\nDriver,Somebody,Car,Other\nNote\n\nTime (s),RPM (1/min)\n0,1000\n0.1,1100.5\n0.2,1200\n", want: plain},
		{name: "comment lines", text: "# made in a test\n// and more\nTime (s),RPM (1/min)\n0,1000\n# in between\n0.1,1100.5\n0.2,1200\n", want: plain},
		{name: "titles behind a comment sign", text: "# note\n# Time (s), RPM (1/min)\n0,1000\n0.1,1100.5\n0.2,1200\n", want: plain},
		{name: "milliseconds", text: "Time (ms),RPM (1/min)\n0,1000\n100,1100.5\n200,1200\n", want: plain},
		{name: "milliseconds in the name", text: "time_ms,RPM (1/min)\n0,1000\n100,1100.5\n200,1200\n", want: plain},
		{name: "microseconds", text: "Time (us),RPM (1/min)\n0,1000\n100000,1100.5\n200000,1200\n", want: plain},
		{name: "hours, minutes, seconds", text: "Time,RPM (1/min)\n00:00:00.000,1000\n00:00:00.100,1100.5\n0:00:00.2,1200\n", want: plain},
		{name: "clock and decimal comma", text: "Time;RPM (1/min)\n00:00:00,000;1000\n00:00:00,100;1100,5\n00:00:00,200;1200\n", want: plain},
		{name: "clock with point, numbers with comma", text: "Time;RPM (1/min)\n00:00:00.000;1000\n00:00:00.100;1100,5\n00:00:00.200;1200\n", want: plain},
		{name: "minutes and seconds", text: "Time (mm:ss.s),RPM (1/min)\n0:00.0,1000\n0:00.1,1100.5\n0:00.2,1200\n", want: plain},
		{name: "date and time", text: "Time,A\n1970-01-02 00:00:00.5,1\n1970-01-02T00:00:01.5Z,2\n", want: []ch{{"A", "", ms(86400500, 86401500), []float64{1, 2}}}},
		{name: "time in the second column", text: "RPM (1/min),Time (s)\n1000,0\n1100.5,0.1\n1200,0.2\n", want: plain},
		{name: "time column stated by title", text: "Clock,RPM (1/min)\n0,1000\n0.1,1100.5\n0.2,1200\n", o: Options{TimeColumn: "Clock", TimeUnit: "s"}, want: plain},
		{name: "time column stated by number", text: "A,RPM (1/min)\n0,1000\n0.1,1100.5\n0.2,1200\n", o: Options{TimeColumn: "#1", TimeUnit: "s"}, want: plain},
		{name: "no time column, rate stated", text: "RPM (1/min)\n1000\n1100.5\n1200\n", o: Options{Rate: 10}, want: plain},
		{name: "decimal comma appears late", text: "Time (ms);RPM (1/min)\n" + strings.Repeat("0;1000\n", 1) + "100;1100,5\n200;1200\n", want: plain},
		{name: "no titles", text: "0,1000\n0.1,1100.5\n0.2,1200\n", o: Options{NoHeader: true, Titles: []string{"Time (s)", "RPM (1/min)"}}, want: plain},
		{name: "header line stated", text: "x,y\n5,6\nTime (s),RPM (1/min)\n0,1000\n0.1,1100.5\n0.2,1200\n", o: Options{HeaderLine: 3}, want: plain},
		{name: "exponents", text: "Time (s),RPM (1/min)\n0e0,1E3\n1e-1,1.1005e+03\n2.0E-1,12e2\n", want: plain},
		{name: "text column ignored", text: "Time (s),RPM (1/min),Note\n0,1000,start\n0.1,1100.5,\"a, b\"\n0.2,1200,\n", o: Options{Ignore: []string{"Note"}}, want: plain},
		{name: "ignored column that is not there", text: "Time (s),RPM (1/min)\n0,1000\n0.1,1100.5\n0.2,1200\n", o: Options{Ignore: []string{"Notes"}}, want: plain, warn: []string{"ignore: no such column (got Notes; allowed Time (s), RPM (1/min))"}},
		{name: "no unit of time", text: "Time,RPM (1/min)\n0,1000\n0.1,1100.5\n0.2,1200\n", want: plain, warn: []string{"taken as seconds"}},
		{name: "titles repeated in the middle", text: "Time (s),RPM (1/min)\n0,1000\n0.1,1100.5\nTime (s),RPM (1/min)\n0.2,1200\n", want: plain, warn: []string{"titles is repeated"}},
		{name: "no line end at the end", text: "Time (s),RPM (1/min)\n0,1000\n0.1,1100.5\n0.2,1200", want: plain, warn: []string{"no line end"}},
		{name: "cut off before a separator", text: "Time (s),RPM (1/min)\n0,1000\n0.1,1100.5\n0.2,1200\n0.", want: plain, warn: []string{"cut off in this line; the line was left out"}},
		{name: "Latin-1 degree sign", text: "Time (s),Coolant (\xB0C)\n0,80\n1,81\n", want: []ch{{"Coolant", "°C", ms(0, 1000), []float64{80, 81}}}},
		{name: "empty brackets state no unit", text: "Time (s),Speed ()\n0,80\n1,81\n", want: []ch{{"Speed", "", ms(0, 1000), []float64{80, 81}}}},
		{name: "brackets within brackets", text: "Time (s),Oil (bar(a))\n0,4\n1,5\n", want: []ch{{"Oil", "bar(a)", ms(0, 1000), []float64{4, 5}}}},
		{name: "missing values", text: "Time (s),A,B\n0,,1\n1,NaN,-\n2,n/a,--\n3,4,null\n4, ,5\n",
			want: []ch{{"A", "", ms(0, 1000, 2000, 3000, 4000), []float64{nan, nan, nan, 4, nan}}, {"B", "", ms(0, 1000, 2000, 3000, 4000), []float64{1, nan, nan, nan, 5}}}},
		{name: "missing word stated", text: "Time (s),A\n0,1\n1,Inf\n2,3\n", o: Options{Missing: []string{"Inf"}}, want: []ch{{"A", "", ms(0, 1000, 2000), []float64{1, nan, 3}}}},
		{name: "hardly a value in the first rows", text: "Time (s),A,B,C,D\n0,,,,\n1,,,,\n2,1,2,3,4\n", want: []ch{{"A", "", ms(0, 1000, 2000), []float64{nan, nan, 1}}, {"B", "", ms(0, 1000, 2000), []float64{nan, nan, 2}},
			{"C", "", ms(0, 1000, 2000), []float64{nan, nan, 3}}, {"D", "", ms(0, 1000, 2000), []float64{nan, nan, 4}}}},
		{name: "rows of separators only", text: "Time (s),A\n0,1\n,\n1,2\n", want: []ch{{"A", "", ms(0, 1000), []float64{1, 2}}}},
		{name: "repeated stamps", text: "Time (s),A\n0,1\n0,2\n1,3\n1,4\n", want: []ch{{"A", "", ms(0, 0, 1000, 1000), []float64{1, 2, 3, 4}}}, warn: []string{"repeated time; of each instant the last row counts: 2, from"}},
		{name: "tiny step back is a repeat", text: "Time (s),A\n0,1\n1,2\n0.9995,3\n2,4\n", want: []ch{{"A", "", ms(0, 1000, 1000, 2000), []float64{1, 2, 3, 4}}}, warn: []string{"last row counts: 1, from this line on"}},
		{name: "step back, rows dropped", text: "Time (s),A\n0,1\n1,2\n2,3\n0,9\n1,9\n3,4\n", o: Options{StepBack: DropSteps}, want: []ch{{"A", "", ms(0, 1000, 2000, 3000), []float64{1, 2, 3, 4}}}, warn: []string{"dropped after a step back in time: 2, from"}},
		{name: "clock passes midnight", text: "Time,A\n23:59:59.5,1\n00:00:00.5,2\n00:00:01.5,3\n", want: []ch{{"A", "", ms(86399500, 86400500, 86401500), []float64{1, 2, 3}}}},
		{name: "paired, time before", text: "T1;Speed (km/h);T2;Gear\n0,0;10;0,0;1\n0,1;11;0,5;2\n0,2;12;;\n", o: Options{Pairing: TimeBefore, TimeUnit: "s"},
			want: []ch{{"Speed", "km/h", ms(0, 100, 200), []float64{10, 11, 12}}, {"Gear", "", ms(0, 500), []float64{1, 2}}}},
		{name: "paired, time after, one title for all times", text: "Speed (km/h),Time (ms),Gear,Time (ms)\n10,0,1,0\n11,100,2,500\n12,200,,\n", o: Options{Pairing: TimeAfter},
			want: []ch{{"Speed", "km/h", ms(0, 100, 200), []float64{10, 11, 12}}, {"Gear", "", ms(0, 500), []float64{1, 2}}}},
		{name: "one channel with its own time", text: "Time (s),A,B,Time B (ms)\n0,1,5,0\n1,2,6,250\n", o: Options{TimeOf: map[string]string{"B": "Time B (ms)"}},
			want: []ch{{"A", "", ms(0, 1000), []float64{1, 2}}, {"B", "", ms(0, 250), []float64{5, 6}}}},
		{name: "last value cut short", text: "Time (s),A\n0,1.500\n1,2.500\n2,3.5", want: []ch{{"A", "", ms(0, 1000, 2000), []float64{1.5, 2.5, nan}}}, warn: []string{"its last value was left out"}},
		{name: "last value cut to a sign", text: "Time (s),A\n0,1.500\n1,2.500\n2,-", want: []ch{{"A", "", ms(0, 1000, 2000), []float64{1.5, 2.5, nan}}}, warn: []string{"its last value was left out"}},
		{name: "last value cut in its exponent", text: "Time (s),A\n0,1.5e3\n1,2.5e3\n2,3.5e", want: []ch{{"A", "", ms(0, 1000, 2000), []float64{1500, 2500, nan}}}, warn: []string{"its last value was left out"}},
		{name: "trailing separators, cut before the last", text: "Time (s),A\n0,1.5,\n1,2.5,\n2,3.5", want: []ch{{"A", "", ms(0, 1000, 2000), []float64{1.5, 2.5, nan}}}, warn: []string{"its last value was left out"}},
		{name: "column without title", text: "Time (s),,B\n0,1,2\n1,3,4\n", want: []ch{{"column 2", "", ms(0, 1000), []float64{1, 3}}, {"B", "", ms(0, 1000), []float64{2, 4}}}, warn: []string{"no title"}},
		{name: "a title twice", text: "Time (s),A,A\n0,1,2\n1,3,4\n", want: []ch{{"A", "", ms(0, 1000), []float64{1, 3}}, {"A", "", ms(0, 1000), []float64{2, 4}}}, warn: []string{"used again in column 3"}},
		{name: "time in seconds of the epoch", text: "Time (s),A\n1700000000.001,1\n1700000000.002,2\n", want: []ch{{"A", "", []int64{1700000000001000, 1700000000002000}, []float64{1, 2}}}},
		{name: "stated rate never drifts", text: "A\n1\n2\n3\n4\n", o: Options{Rate: 3}, want: []ch{{"A", "", []int64{0, 333333, 666667, 1000000}, []float64{1, 2, 3, 4}}}},
		{name: "empty line at a stated rate", text: "A\n1\n\n\n2\n\n", o: Options{Rate: 1}, want: []ch{{"A", "", ms(0, 1000), []float64{1, 2}}}, warn: []string{"log.csv:3: warning: empty line between rows"}},
		{name: "units repeated with the titles", text: "Time;RPM\ns;1/min\n0;1000\nTime;RPM\ns;1/min\n0,1;1100,5\n0,2;1200\n", want: plain, warn: []string{"titles is repeated"}},
		{name: "words", text: "Time (s),Clutch,A\n0,Down,1\n1,,2\n2,UP,3\n3, n/a ,4\n", o: Options{Words: []Words{{Column: "Clutch", Means: map[string]float64{"down": 1, "Up": 0}}}},
			want: []ch{{"Clutch", "", ms(0, 1000, 2000, 3000), []float64{1, nan, 0, nan}}, {"A", "", ms(0, 1000, 2000, 3000), []float64{1, 2, 3, 4}}}},
		{name: "several words in a cell", text: "Time (s),On\n0,arm+clutch\n1,\n2,arm\n", o: Options{Words: []Words{{Column: "On", Means: map[string]float64{"arm": 1, "clutch": 2}, Between: '+'}}},
			want: []ch{{"On", "", ms(0, 1000, 2000), []float64{3, 0, 1}}}},
		{name: "a word cut off", text: "Time (s),Clutch\n0,down\n1,up\n2,dow", o: Options{Words: []Words{{Column: "Clutch", Means: map[string]float64{"down": 1, "up": 0}}}},
			want: []ch{{"Clutch", "", ms(0, 1000, 2000), []float64{1, 0, nan}}}, warn: []string{"its last value was left out"}},
		{name: "rate stated beside a time title", text: "Time (s),A\n5,1\n7,2\n", o: Options{Rate: 1}, want: []ch{{"Time", "s", ms(0, 1000), []float64{5, 7}}, {"A", "", ms(0, 1000), []float64{1, 2}}}, warn: []string{"a rate is stated"}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			r, f := Read(strings.NewReader(c.text), "log.csv", c.o)
			require.NoError(t, f.Err())
			if d := cmp.Diff(c.want, channels(r), sameValues); d != "" {
				t.Error(d)
			}
			require.Len(t, f, len(c.warn), "%v", f)
			for i, w := range c.warn {
				assert.Contains(t, f[i].String(), w)
			}
			slow, f2 := Read(iotest.OneByteReader(strings.NewReader(c.text)), "log.csv", c.o)
			assert.Equal(t, f, f2)
			if d := cmp.Diff(channels(r), channels(slow), sameValues); d != "" {
				t.Error("byte by byte:", d)
			}
		})
	}
}

// TestRefusesWithLineAndColumn holds inputs that must not be read, and all the
// findings that they must give.
func TestRefusesWithLineAndColumn(t *testing.T) {
	cases := []struct {
		name, text string
		o          Options
		want       []string // start of each finding
	}{
		{"empty file", "", Options{}, []string{"log.csv: error: the file is empty"}},
		{"no titles", "0,1000\n1,2000\n", Options{}, []string{"log.csv:1: error: no line of titles above the first row of numbers"}},
		{"only titles", "Time (s),A\n", Options{}, []string{"log.csv: error: no row of numbers in the first 1 lines"}},
		{"no time", "A,B\n1,2\n", Options{}, []string{"log.csv:1: error: time column: no column is titled as time"}},
		{"two times", "Time (s),A,Time (ms)\n1,2,3\n", Options{}, []string{"log.csv:1: error: time column: 2 columns are titled as time"}},
		{"stated time missing", "Time (s),A\n1,2\n", Options{TimeColumn: "Uhr"}, []string{"log.csv:1: error: time column: no such column (got Uhr; allowed Time (s), A)"}},
		{"unknown unit of time", "Time (fortnights),A\n1,2\n", Options{}, []string{"log.csv:1: error: Time (fortnights): unit of time is not known (got fortnights; allowed s, ms, us"}},
		{"unit of time could be either", "Time,A\n0,1\n10,2\n20,3\n", Options{}, []string{"log.csv:1: error: Time: unit of time is not stated, and could be"}},
		{"text for a number, twice", "Time (s),A,B\n0,1,2\n1,on,3\n2,4,5\n3,6,off\n", Options{}, []string{
			"log.csv:3:3: error: A: text where a number is expected (got on)", "log.csv:5:5: error: B: text where a number is expected (got off)"}},
		{"too few and too many", "Time (s),A,B\n0,1,2\n1,2\n2,4,5\n3,6,7,8\n", Options{}, []string{
			"log.csv:3:4: error: row has too few fields (got 2 fields; allowed 3)", "log.csv:5:7: error: row has too many fields (got 8; allowed 3 fields)"}},
		{"decimal comma between commas", "Time (s),A\n0,1,5\n1,2,5\n", Options{}, []string{"log.csv:2:5: error: row has too many fields", "log.csv:3:5: error: row has too many fields"}},
		{"mixed decimal marks", "Time (s);A\n0.0;1.5\n0.1;2,5\n", Options{}, []string{"log.csv:3:5: error: A: not a number with the decimal mark of this file (got 2,5)"}},
		{"thousands separator", "Time (s);A\n0.0;9.5\n0.1;1,234.5\n", Options{}, []string{"log.csv:3:5: error: A: text where a number is expected (got 1,234.5)"}},
		{"half of each row is text", "Time (s),State\n0,on\n1,off\n", Options{}, []string{"log.csv:2:3: error: State: text where", "log.csv:3:3: error: State: text where"}},
		{"another word", "Time (s),A\n0,on\n1,1\n2,onn\n", Options{Words: []Words{{Column: "A", Means: map[string]float64{"on": 1, "off": 0}}}}, []string{
			"log.csv:3:3: error: A: not one of the words that are stated for this column: off, on (got 1)", "log.csv:4:3: error: A: not one of the words that are stated for this column: off, on (got onn)"}},
		{"words under two names", "Time (s),A\n0,on\n", Options{Words: []Words{{Column: "A", Means: map[string]float64{"on": 1}}, {Column: "#2", Means: map[string]float64{"on": 2}}}}, []string{
			"log.csv: error: words: this column's words are stated under the name A too (got #2); use one name for it"}},
		{"words for no column", "Time (s),A\n0,1\n", Options{Words: []Words{{Column: "B", Means: map[string]float64{"on": 1}}}}, []string{"log.csv:1: error: words: no such column (got B; allowed Time (s), A)"}},
		{"words twice", "Time (s),A\n0,1\n", Options{Words: []Words{{Column: "A", Means: map[string]float64{"on": 1, "ON": 0}}, {Column: "A"}}}, []string{
			"log.csv: error: words: the word has two meanings", "log.csv: error: words: words of the column cannot be used (got A; allowed each column once, with its words)"}},
		{"infinity", "Time (s),A\n0,1\n1,Inf\n", Options{}, []string{"log.csv:3:3: error: A: text where a number is expected (got Inf)"}},
		{"number beyond range", "Time (s),A\n0,1\n1,1e999\n", Options{}, []string{"log.csv:3:3: error: A: text where"}},
		{"hexadecimal", "Time (s),A\n0,1\n1,0x1F\n", Options{}, []string{"log.csv:3:3: error: A: text where"}},
		{"step back", "Time (s),A\n0,1\n1,2\n0.5,3\n2,4\n", Options{}, []string{"log.csv:4:1: error: Time (s): time steps back (got 0.5)"}},
		{"step back, no tolerance", "Time (ms),A\n0,1\n1,2\n0.999,3\n", Options{StepToleranceUS: -1}, []string{"log.csv:4:1: error: Time (ms): time steps back (got 0.999)"}},
		{"value without time", "Time (s),A\n0,1\n,2\n2,3\n", Options{}, []string{"log.csv:3:1: error: Time (s): value without a time"}},
		{"time is text", "Time (s),A\n0,1\nsoon,2\n2,3\n", Options{}, []string{"log.csv:3:1: error: Time (s): not a time (got soon)"}},
		{"clock with 61 seconds", "Time,A\n0:00:00,1\n0:00:61,2\n", Options{}, []string{"log.csv:3:1: error: Time: not a time (got 0:00:61)"}},
		{"30 February", "Time,A\n2024-02-29 10:00:00,1\n2024-02-30 10:00:00,2\n", Options{}, []string{"log.csv:3:1: error: Time: not a time (got 2024-02-30 10:00:00)"}},
		{"time beyond range", "Time (s),A\n0,1\n1e300,2\n", Options{}, []string{"log.csv:3:1: error: Time (s): time is out of range (got 1e300)"}},
		{"quote not closed", "Time (s),A\n0,1\n1,\"2\n2,3\n", Options{}, []string{"log.csv:3:3: error: A: quote is not closed"}},
		{"text behind a quote", "Time (s),A\n0,1\n1,\"2\"x\n2,3\n", Options{}, []string{"log.csv:3:3: error: A: quote is not closed, or text follows it"}},
		{"UTF-16", "\xFF\xFET\x00i\x00", Options{}, []string{"log.csv:1:1: error: the file is UTF-16"}},
		{"zero bytes", "Time (s),A\n0,\x001\n", Options{}, []string{"log.csv:2:3: error: zero byte in text"}},
		{"CR alone", "Time (s),A\r0,1\r1,2\r", Options{}, []string{"log.csv:1:11: error: lines end in CR alone"}},
		{"huge line later on", "Time (s),A\n0,1\n" + strings.Repeat("1", 5000) + "\n", Options{MaxLine: 1000}, []string{"log.csv:3: error: line is too long; reading stopped here (allowed 1000 bytes)"}},
		{"zero bytes behind the data", "Time (s),A\n0,1\n" + strings.Repeat("\x00", 5000), Options{MaxLine: 1000}, []string{"log.csv:3: error: line is too long; reading stopped here (allowed 1000 bytes); zero bytes"}},
		{"huge first line", strings.Repeat("x", 5000), Options{MaxLine: 1000}, []string{"log.csv:1: error: line is too long"}},
		{"too many cells", "Time (s),A\n0,1\n1,2\n2,3\n", Options{MaxCells: 5}, []string{"log.csv:4: error: the recording is too large; reading stopped here (got 3 rows of 2 columns; allowed 5 cells)"}},
		{"too many columns", strings.Repeat("a,", 5000) + "\n" + strings.Repeat("1,", 5000) + "\n", Options{Rate: 1}, []string{"log.csv: error: too many columns (got 5000; allowed 1 to 4096)"}},
		{"odd pairs", "T,A,B\n0,1,2\n", Options{Pairing: TimeBefore}, []string{"log.csv: error: time: columns cannot be paired"}},
		{"everything ignored", "Time (s),A\n0,1\n", Options{Ignore: []string{"A"}}, []string{"log.csv: error: no column is left"}},
		{"options that contradict", "Time (s),A\n0,1\n", Options{Rate: 5, TimeColumn: "Time", Delimiter: ',', Decimal: ',', HeaderLine: 1, NoHeader: true}, []string{
			"log.csv: error: decimal: comma cannot be both", "log.csv: error: rate: a rate and a time column", "log.csv: error: header line: a header line and no header"}},
		{"options out of range", "A\n1\n", Options{Rate: nan, Delimiter: '|', Decimal: '\'', TimeUnit: "h"}, []string{
			"log.csv: error: delimiter: ", "log.csv: error: decimal: ", "log.csv: error: rate: rate is out of range (got NaN", "log.csv: error: time unit: "}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			_, f := Read(strings.NewReader(c.text), "log.csv", c.o)
			require.Error(t, f.Err())
			require.Len(t, f, len(c.want), "%v", f)
			for i, w := range c.want {
				assert.True(t, strings.HasPrefix(f[i].String(), w), "got  %s\nwant %s", f[i], w)
			}
		})
	}
}

func TestFindingsAreBounded(t *testing.T) {
	text := "Time (s),A\n" + strings.Repeat("x,y\n", 1000)
	text = strings.Replace(text, "x,y\n", "0,1\n", 1)
	_, f := Read(strings.NewReader(text), "log.csv", Options{MaxFindings: 10})
	require.Len(t, f, 11)
	assert.Contains(t, f[10].Reason, "1988 more findings")
	assert.Equal(t, harness.Error, f[10].Severity)
	assert.Equal(t, 1001, f[10].Line)
}

func TestWhatCouldBeReadIsKept(t *testing.T) {
	r, f := Read(strings.NewReader("Time (s),A\n0,1\n1,oops\n2,3\n"), "", Options{})
	require.Error(t, f.Err())
	assert.Equal(t, 3, r.Rows)
	assert.Equal(t, 2, r.Channels[0].Present)

	broken := io.MultiReader(strings.NewReader("Time (s),A\n0,1\n1,2\n"), iotest.ErrReader(errors.New("cable fell out")))
	r, f = Read(broken, "", Options{})
	assert.Contains(t, f.Error(), "reading stopped: cable fell out")
	assert.Equal(t, 2, r.Rows)
}

func TestReaderThatNeverDelivers(t *testing.T) {
	_, f := Read(idle{}, "", Options{})
	assert.Contains(t, f.Error(), io.ErrNoProgress.Error())
}

type idle struct{}

func (idle) Read([]byte) (int, error) { return 0, nil }

func TestSamplingIntervals(t *testing.T) {
	var b strings.Builder
	b.WriteString("Time (s),Fast,Blank between,Repeated\n")
	for i := range 1000 {
		slow := ""
		if i%100 == 0 {
			slow = fmt.Sprint(i / 100)
		}
		fmt.Fprintf(&b, "%.2f,%d,%s,%d\n", float64(i)/100, i, slow, i/100)
	}
	r, f := Read(strings.NewReader(b.String()), "", Options{})
	require.Empty(t, f)
	assert.EqualValues(t, 10_000, r.IntervalUS)
	assert.EqualValues(t, 10_000, r.Channels[0].IntervalUS)
	assert.EqualValues(t, 1_000_000, r.Channels[1].IntervalUS)
	assert.Equal(t, 10, r.Channels[1].Present)
	assert.EqualValues(t, 10_000, r.Channels[2].IntervalUS, "repeated values are values")
	assert.EqualValues(t, 1_000_000, r.Channels[2].SteadyUS)
	assert.Zero(t, r.Channels[0].SteadyUS)
}

func TestIntervalIsTheMedian(t *testing.T) {
	r, f := Read(strings.NewReader("Time (ms),A\n0,1\n9,2\n20,3\n30,4\n30,5\n5000,6\n"), "", Options{})
	require.NoError(t, f.Err())
	assert.EqualValues(t, 10_000, r.IntervalUS)
}

func TestFind(t *testing.T) {
	r, _ := Read(strings.NewReader("Time (s),RPM (1/min),A,A\n0,1,2,3\n"), "", Options{})
	for name, want := range map[string]int{"RPM": 0, "RPM (1/min)": 0, "#2": 0, "#4": 2} {
		i, ok := r.Find(name)
		assert.True(t, ok, name)
		assert.Equal(t, want, i, name)
	}
	both, _ := Read(strings.NewReader("Time (s),RPM (1/min),RPM\n0,1,2\n"), "", Options{})
	i, ok := both.Find("RPM")
	assert.True(t, ok, "a whole title goes before one without its unit")
	assert.Equal(t, 1, i)
	for _, name := range []string{"A", "rpm", "#9", "#x", ""} {
		_, ok := r.Find(name)
		assert.False(t, ok, name)
	}
}

// TestRealRecording reads the published drive of SOURCES.md: 27 channels, no
// time column, a trailing comma on every row.
func TestRealRecording(t *testing.T) {
	path := filepath.Join("..", "..", "examples", "recordings", "obd-drive-1hz.csv")
	r, f := ReadFile(path, Options{Rate: 1})
	require.Empty(t, f)
	require.Len(t, r.Channels, 27)
	assert.Equal(t, 2709, r.Rows)
	assert.EqualValues(t, 1_000_000, r.IntervalUS)
	assert.Equal(t, int64(2_708_000_000), r.EndUS)
	rpm := r.Channels[1]
	assert.Equal(t, "ENGINE_RPM ()", rpm.Title)
	assert.Equal(t, "ENGINE_RPM", rpm.Name)
	assert.Empty(t, rpm.Unit)
	assert.Equal(t, []float64{0, 0, 0, 0, 245.25, 245.25, 245.25, 1128}, rpm.Value[:8])
	for _, c := range r.Channels {
		assert.Equal(t, 2709, c.Present, c.Title)
	}
	assert.Equal(t, 255.0, r.Channels[26].Value[2708])

	_, f = ReadFile(path, Options{})
	assert.Contains(t, f.Error(), "state the rate in rows a second")
}

func TestReadFile(t *testing.T) {
	dir := t.TempDir()
	_, f := ReadFile(filepath.Join(dir, "none.csv"), Options{})
	assert.Contains(t, f.Error(), "none.csv: error: ")
	_, f = ReadFile(dir, Options{})
	assert.Contains(t, f.Error(), "is a folder")

	data := plainFile(5000)
	path := filepath.Join(dir, "large.csv")
	require.NoError(t, os.WriteFile(path, data, 0o644))
	m, err := mmap.Open(path)
	require.NoError(t, err)
	mappedOne, f := readMapped(m, path, Options{})
	require.Empty(t, f)
	fromFile, f := ReadFile(path, Options{})
	require.Empty(t, f)
	plain, f := Read(strings.NewReader(string(data)), path, Options{})
	require.Empty(t, f)
	assert.True(t, reflect.DeepEqual(plain, mappedOne), "a mapped file reads as any other")
	assert.True(t, reflect.DeepEqual(plain, fromFile))
}

// TestFileThatShrinks cuts a mapped file while it is read.
func TestFileThatShrinks(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("a mapped file cannot be cut there")
	}
	path := filepath.Join(t.TempDir(), "log.csv")
	require.NoError(t, os.WriteFile(path, plainFile(50_000), 0o644))
	m, err := mmap.Open(path)
	require.NoError(t, err)
	require.NoError(t, os.Truncate(path, 8192))
	r, f := readMapped(m, path, Options{})
	require.Error(t, f.Err())
	assert.Nil(t, r)
	assert.Contains(t, f.Error(), "became shorter while it was read")
}

// TestSameAsStdlib compares a whole plain file with encoding/csv and strconv.
func TestSameAsStdlib(t *testing.T) {
	data := string(plainFile(2000))
	want, err := stdlibRead(strings.NewReader(data))
	require.NoError(t, err)
	r, f := Read(strings.NewReader(data), "", Options{})
	require.Empty(t, f)
	for i, c := range r.Channels {
		assert.Equal(t, want[i+1], c.Value)
	}
}
