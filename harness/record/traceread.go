package record

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strings"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// Titles of a trace that are read back beside the channels; see TraceFiles and
// harness.TraceColumns.
const (
	timeColumn     = "time (s)"
	switchesColumn = "switches"
	lostColumn     = "switches-lost"
	badColumn      = "channels-bad"
)

// IsTrace reports whether a file is a trace of ours, as its titles show. One that
// cannot be read is none.
func IsTrace(path string) bool {
	_, err := traceTitles(path)
	return err == nil
}

func traceTitles(path string) ([]string, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	line, _ := bufio.NewReader(io.LimitReader(f, defaultMaxLine)).ReadString('\n')
	titles := strings.Split(strings.TrimRight(line, "\r\n"), ",")
	has := func(title string) bool { return slices.Contains(titles, title) }
	if titles[0] != timeColumn || !has(switchesColumn) || !has(lostColumn) || !has(badColumn) {
		return nil, errors.New("is no trace")
	}
	return titles, nil
}

// ReadTrace reads what the unit was given in a trace of ours: its channels, missing
// where they were bad, and for each switch a channel of SwitchTitle, 1 or 0, missing
// where it was not known.
func ReadTrace(path string) (*Recording, harness.Findings) {
	titles, err := traceTitles(path)
	if err != nil {
		return nil, ioFinding(path, 0, err)
	}
	o := Options{Delimiter: ',', Decimal: '.', TimeColumn: timeColumn, HeaderLine: 1}
	for i, title := range titles[1:] {
		name, _ := splitTitle(title)
		c, named := harness.ChannelNamed(name)
		switch {
		case title == switchesColumn || title == lostColumn:
			o.Words = append(o.Words, wordBits(title, int(controller.NumSwitches), func(i int) string { return harness.Switches[i] }))
		case title == badColumn:
			o.Words = append(o.Words, wordBits(title, int(controller.NumChannels), func(i int) string { return harness.Channels[i].Name }))
		case !named || c >= controller.NumChannels: // time since release has a name, and is no input
			o.Ignore = append(o.Ignore, fmt.Sprintf("#%d", i+2))
		}
	}
	rec, findings := ReadFile(path, o)
	if rec == nil || findings.Failed() {
		return nil, findings
	}
	rec.split()
	return rec, findings
}

// wordBits takes apart a set as a trace spells it: one bit a name.
func wordBits(column string, n int, name func(int) string) Words {
	w := Words{Column: column, Means: map[string]float64{}, Between: '+'}
	for i := range n {
		w.Means[name(i)] = math.Ldexp(1, i)
	}
	return w
}

// SwitchTitle names the channel that ReadTrace makes of a switch.
func SwitchTitle(sw controller.Switch) string {
	return switchesColumn + ": " + harness.Switches[sw%controller.NumSwitches]
}

// split takes the sets of a trace apart.
func (r *Recording) split() {
	take := func(title string) Channel {
		i, _ := r.Find(title) // traceTitles has seen it
		c := r.Channels[i]
		r.Channels = slices.Delete(r.Channels, i, i+1)
		return c
	}
	on, lost, bad := take(switchesColumn), take(lostColumn), take(badColumn)
	for i := range r.Channels {
		c, _ := harness.ChannelNamed(r.Channels[i].Name)
		r.Channels[i].leaveOut(bad.Value, 1<<c)
	}
	for sw := range controller.NumSwitches {
		c := on
		c.Title, c.Name, c.Column = SwitchTitle(sw), SwitchTitle(sw), 0
		c.Value = make([]float64, len(on.Value))
		for i, set := range on.Value {
			c.Value[i] = set
			if set == set {
				c.Value[i] = float64(uint64(set) >> sw & 1)
			}
		}
		c.leaveOut(lost.Value, 1<<sw)
		r.Channels = append(r.Channels, c)
	}
}

// leaveOut drops the values at which any of some bits is set, or not known.
func (c *Channel) leaveOut(sets []float64, bits uint64) {
	for i, set := range sets {
		if c.Value[i] == c.Value[i] && (set != set || uint64(set)&bits != 0) {
			c.Value[i] = math.NaN()
			c.Present--
		}
	}
}
