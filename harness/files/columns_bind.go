package files

import (
	"fmt"
	"strings"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/record"
)

// quantityOf says what a channel measures and how its core unit follows from
// the base unit of record. A channel without a quantity takes bare numbers.
func quantityOf(c controller.Channel) (record.Quantity, record.Line) {
	per := harness.Channels[c].Per
	switch harness.Channels[c].Unit {
	case "rpm":
		return record.Rotation, record.Line{Scale: per}
	case "%":
		return record.Ratio, record.Line{Scale: 100 * per}
	case "kPa":
		return record.Pressure, record.Line{Scale: per / 1000}
	case "m/s":
		return record.Velocity, record.Line{Scale: per}
	case "degC":
		return record.Temperature, record.Line{Scale: per, Offset: -273.15 * per}
	case "V":
		return record.Voltage, record.Line{Scale: per}
	case "deg":
		return record.Angle, record.Line{Scale: per}
	}
	if c == controller.Lambda {
		return record.Lambda, record.Line{Scale: per}
	}
	return "", record.Line{Scale: per}
}

// fitting says why a unit cannot be one of a channel, or "".
func fitting(c controller.Channel, u record.Unit, known bool) string {
	want, _ := quantityOf(c)
	switch {
	case want == "":
		return "the channel is a bare number without a unit"
	case !known:
		return "unit is not known"
	case u.Quantity != want && !(want == record.Lambda && u.Quantity == record.Ratio):
		return fmt.Sprintf("is a unit of %s, the channel is %s", u.Quantity, want)
	}
	return ""
}

// unitsFor lists the units that a column for a channel may have.
func unitsFor(c controller.Channel) []string {
	var names []string
	for _, name := range record.UnitNames() {
		if u, ok := record.ParseUnit(name); ok && fitting(c, u, true) == "" {
			names = append(names, name)
		}
	}
	return names
}

// ToCore returns the line from the numbers of the column to core units.
// recordedUnit is what the recording says; it counts where the file states no
// unit and no two-point line.
func (x *ColumnsChannel) ToCore(recordedUnit string, barometric controller.Pressure) (record.Line, error) {
	want, core := quantityOf(x.Channel)
	line := record.Line{Scale: 1}
	if x.HasPoints {
		var err error
		p := &x.Points
		if line, err = record.TwoPoint(micro(p[0][0]), micro(p[0][1]), micro(p[1][0]), micro(p[1][1])); err != nil {
			return line, err
		}
	}
	if want == "" {
		return line.Then(core), nil
	}
	text := x.Unit
	if text == "" && !x.HasPoints {
		text = recordedUnit
	}
	name := harness.Channels[x.Channel].Name
	if text == "" {
		return line, fmt.Errorf("no unit is stated for %s, neither in the file nor in the recording: add unit, one of %s", name, strings.Join(unitsFor(x.Channel), ", "))
	}
	u, ok := record.ParseUnit(text)
	if why := fitting(x.Channel, u, ok); why != "" {
		return line, fmt.Errorf("unit %q for %s: %s: state one of %s", text, name, why, strings.Join(unitsFor(x.Channel), ", "))
	}
	base, err := u.ToBase(x.Reference, float64(barometric))
	if err != nil {
		return line, err
	}
	return line.Then(base).Then(core), nil
}

func micro(v int64) float64 { return float64(v) / 1e6 }

// Bind ties the file to a recording that was read with its Options. All that
// does not fit is reported at once, with places in the columns file.
func (c *Columns) Bind(r *record.Recording) ([]record.Feed, []record.SwitchFeed, harness.Findings) {
	var findings harness.Findings
	fail := func(p Pos, field, value, reason, allowed string) {
		findings = append(findings, harness.Finding{
			Severity: harness.Error, File: c.File, Line: p.Line, Column: p.Column, Field: field, Value: value, Reason: reason, Allowed: allowed,
		})
	}
	inWords := map[int]bool{}
	for i := range c.Switches {
		if k, ok := r.Find(c.Switches[i].Column); ok && len(c.Switches[i].OnWords) > 0 {
			inWords[k] = true
		}
	}
	const wordy = "this column is written in words, as another switch says: it has no numbers"
	var feeds []record.Feed
	for i := range c.Channels {
		x := &c.Channels[i]
		if x.HasConstant {
			continue
		}
		path := "channel." + harness.Channels[x.Channel].Name
		k, ok := r.Find(x.Column)
		if !ok {
			fail(x.Pos, path+".column", x.Column, "no such column in "+r.File+", or several", titles(r))
			continue
		}
		if inWords[k] {
			fail(x.Pos, path+".column", x.Column, wordy, "")
			continue
		}
		line, err := x.ToCore(r.Channels[k].Unit, c.Barometric)
		if err != nil {
			fail(x.Pos, path+".unit", "", err.Error(), "")
			continue
		}
		feeds = append(feeds, record.Feed{Channel: x.Channel, Cursor: r.Channels[k].Cursor(x.Mode, x.IntervalUS), ToCore: line})
	}
	var switches []record.SwitchFeed
	for i := range c.Switches {
		x := &c.Switches[i]
		k, ok := r.Find(x.Column)
		if !ok {
			fail(x.Pos, "switch."+harness.Switches[x.Switch]+".column", x.Column, "no such column in "+r.File+", or several", titles(r))
			continue
		}
		if inWords[k] && len(x.OnWords) == 0 {
			fail(x.Pos, "switch."+harness.Switches[x.Switch]+".column", x.Column, wordy, "state on_words and off_words")
			continue
		}
		feed := record.SwitchFeed{Switch: x.Switch, Cursor: r.Channels[k].Cursor(record.Held, x.IntervalUS), Threshold: micro(x.Threshold), OnBelow: x.OnBelow}
		if len(x.OnWords) > 0 {
			words := c.wordsOf(x.Column)
			feed.On, feed.Off = bits(words, x.OnWords), bits(words, x.OffWords)
			if len(words.Means) > mostWords {
				fail(x.Pos, "switch."+harness.Switches[x.Switch]+".on_words", x.Column, "too many words for one column", fmt.Sprint("1 to ", mostWords))
			}
		}
		switches = append(switches, feed)
	}
	return feeds, switches, findings
}

// mostWords is how many words of one column a number can tell apart.
const mostWords = 53

// titles lists the columns of a recording, cut to a readable length.
func titles(r *record.Recording) string {
	const most = 400
	var names []string
	length := 0
	for i := range r.Channels {
		if length += len(r.Channels[i].Title); length > most {
			names = append(names, fmt.Sprintf("and %d more", len(r.Channels)-i))
			break
		}
		names = append(names, r.Channels[i].Title)
	}
	return strings.Join(names, ", ")
}
