package advise

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/stats"
)

// Outcome is what came of some launches with one set of values. Heat holds the
// greatest of what asks most of the car, and means of the rest.
type Outcome struct {
	N        int
	Mean, SD float64 // s to 60 ft
	In       stats.Interval
	Bad      int    // launches that are no good ones
	Why      string // of the first of these
	Limits   []string
	Refused  string
	Heat
}

// Surface is the outcome on one grip, with and without the change.
type Surface struct {
	Grip          float64
	Before, After Outcome
	Gain          Gain
	Repeat        string
}

// Air is the outcome of the recommendation in other air.
type Air struct {
	Celsius, KPa float64
	Altitude     float64 // ft of density altitude (US National Weather Service form, dry air)
	Correction   float64 // of power (SAE J1349, June 1990)
	Outcome
	Gain   Gain // from the air that was asked about
	Repeat string
}

// Sensitivity is what one step of a knob from the recommendation does.
type Sensitivity struct {
	Knob    *Knob
	To      float64
	Gain    Gain // above 0: slower than the recommendation
	Bad     int
	Why     string
	Refused string
	Repeat  string
}

// Line is the time to 60 ft along one knob. Between Low and High nothing is
// told to be slower than the recommendation.
type Line struct {
	Knob      *Knob
	Points    []LinePoint
	Low, High float64
}

// LinePoint is one value of a line.
type LinePoint struct {
	X float64
	Outcome
	Gain   Gain
	Repeat string
}

// Choice is a setting on the front between mean and spread.
type Choice struct {
	Values []float64
	Outcome
	Repeat string
}

// Answer is what the search found.
type Answer struct {
	*Question
	Name         string
	Grip         float64
	Celsius, KPa float64 // of the air
	Knobs        []*Knob

	Steps         []Step    // in the order in which they were taken
	Values        []float64 // recommended, of Knobs
	Changes       []files.Change
	Flat          bool // no further step is worth a change
	Exhausted     bool // the launches that were allowed ended the search
	Before, After Outcome
	Gain          Gain
	Repeat        string
	Surfaces      []Surface
	Air           []Air
	Sensitivities []Sensitivity
	Line          *Line
	Front         []Choice
	Launches      int // in all
	Allowed       int // of these, for the search
}

// Patch is the recommendation as lines for the calibration file, by section.
func (a *Answer) Patch() string {
	var b strings.Builder
	section := ""
	for _, c := range a.Changes {
		path, ours := strings.CutPrefix(c.Path, "calibration.")
		head, key := "", path
		if i := strings.LastIndexByte(path, '.'); i >= 0 {
			head, key = path[:i], path[i+1:]
		}
		if head != section {
			section = head
			if ours {
				fmt.Fprintf(&b, "# in [%s]\n", head)
			} else {
				fmt.Fprintf(&b, "# not in this file: %s\n", owner(head))
			}
		}
		value := c.Value
		if strings.Trim(value, "abcdefghijklmnopqrstuvwxyz-") == "" {
			value = `"` + value + `"`
		}
		fmt.Fprintf(&b, "%s = %s\n", key, value)
	}
	return b.String()
}

// owner names what a change outside the calibration changes.
func owner(head string) string {
	if car, ok := strings.CutPrefix(head, "car."); ok {
		return "the car's [" + car + "]"
	}
	return "the scenario's [" + head + "], for the crew to set"
}

// Caution stands under every answer.
const Caution = "Results of a model: directions, not settings. Competition and closed courses only. Late ignition and added power can destroy engines and burn people: hardware cut-offs first. Change one thing at a time, in small steps, within the makers' and the sanctioning body's rules, with the car's own limits watched."

func (o *Outcome) say() string {
	if o.Refused != "" {
		return "not valid: " + o.Refused
	}
	text := fmt.Sprintf("%.3f s (%.3f to %.3f), spread %.3f", o.Mean, o.In.Low, o.In.High, o.SD)
	if o.Bad > 0 {
		text += fmt.Sprintf("; %d of %d no good launch (%s)", o.Bad, o.N, o.Why)
	}
	return text
}

// Time spells the mean, or that no launch came to 60 ft. Where some launches are no
// good it is a dash: their mean would be of what stands for a car that never left.
func (o *Outcome) Time() string {
	if o.Refused != "" || o.N > 0 && o.Bad == o.N && o.SD == 0 && o.Mean == neverLeft {
		return "none"
	}
	if o.Bad > 0 {
		return "-"
	}
	return fmt.Sprintf("%.3f", o.Mean)
}

func (g Gain) say() string {
	if math.IsInf(g.Mean, 0) {
		return "not measured"
	}
	text := fmt.Sprintf("%+.3f s (%+.3f to %+.3f)", g.Mean, g.In.Low, g.In.High)
	if !g.Told() {
		text += ", cannot be told from none"
	}
	return text
}

// Worth says what a change has to gain.
func (q *Question) Worth() string {
	told := "time that can be told from scatter"
	if q.LeastGain > 0 {
		return fmt.Sprintf("%s, and at least %.3g ms", told, 1000*q.LeastGain)
	}
	return told
}

// Print shows the answer on a screen of 80 columns.
func (a *Answer) Print(w io.Writer) {
	harness.Wrap(w, "", fmt.Sprintf("%s, grip %s: %d launches from seed %d", a.Name, number(a.Grip), a.Launches, a.Seed))
	fmt.Fprintln(w)
	switch {
	case len(a.Steps) == 0 && a.Exhausted:
		fmt.Fprintln(w, "no change is recommended: too little was tried to tell")
	case len(a.Steps) == 0:
		harness.Wrap(w, "", "no change is recommended: no small step of any knob gains "+a.Worth())
	default:
		fmt.Fprintln(w, "recommended, one change at a time, in this order:")
	}
	for i, s := range a.Steps {
		harness.Wrap(w, fmt.Sprintf("  %d. ", i+1), fmt.Sprintf("%s from %s to %s: %s", s.Knob.Name, s.Knob.Say(s.From), s.Knob.Say(s.To), s.Gain.say()))
	}
	if a.Flat && len(a.Steps) > 0 {
		harness.Wrap(w, "  ", "then no step gains "+a.Worth()+a.Ends())
	}
	if len(a.Steps) == a.Passes {
		harness.Wrap(w, "  ", fmt.Sprintf("that is as many changes as were asked for (%d), and more may help: try, and ask again from there", a.Passes))
	}
	if a.Exhausted {
		harness.Wrap(w, "  ", fmt.Sprintf("the search ended with the %s that it was allowed, before it was flat: allow more", harness.Count(a.Allowed, "launch")))
	}
	fmt.Fprintln(w)
	harness.Wrap(w, "60 ft now:    ", a.Before.say())
	if len(a.Steps) > 0 {
		harness.Wrap(w, "recommended:  ", a.After.say())
		harness.Wrap(w, "difference:   ", a.Gain.say()+fmt.Sprintf(", on %d seeds that had no part in the search", a.Gain.N))
	}
	harness.Wrap(w, "limited by:   ", strings.Join(a.After.Limits, ", "))
	harness.Wrap(w, "asks:         ", a.After.asks())
	harness.Wrap(w, "tables:       ", tablesNote)
	a.printSurfaces(w)
	a.printAir(w)
	a.printSensitivity(w)
	a.printLine(w)
	a.printFront(w)
	if p := a.Patch(); p != "" {
		fmt.Fprintf(w, "\nfor the calibration file:\n%s", p)
	}
	fmt.Fprintf(w, "\none of its launches again:\n%s\n\n", a.Repeat) // in one piece, to be copied
	harness.Wrap(w, "caution: ", Caution)
}

// tablesNote keeps a reader from comparing what was launched on other seeds.
const tablesNote = "each below is of launches of its own: compare within one, not from one to another"

func (o *Outcome) asks() string {
	text := fmt.Sprintf("%.0f s on the limiter, driveline up to %.0f N m, exhaust gas up to %.0f degC while held", o.OnLimit, o.Driveline, o.Exhaust)
	if o.OnLimit < 10 {
		text = strings.Replace(text, fmt.Sprintf("%.0f s on", o.OnLimit), fmt.Sprintf("%.1f s on", o.OnLimit), 1)
	}
	if o.Late > 0 {
		text += fmt.Sprintf(", ignition after top dead centre for %.1f s", o.Late)
	}
	if o.Oxidiser > 0 {
		text += fmt.Sprintf(", %.0f g of nitrous", o.Oxidiser*1000)
	}
	return text
}

func (a *Answer) printSurfaces(w io.Writer) {
	fmt.Fprintf(w, "\n%-12s %10s %10s   %s\n", "grip", "now", "changed", "difference")
	bad := 0
	for _, s := range a.Surfaces {
		bad += s.Before.Bad + s.After.Bad
		fmt.Fprintf(w, "%-12s %10s %10s   %s\n", number(s.Grip), s.Before.Time(), s.After.Time(), s.After.or(s.Gain))
	}
	if bad > 0 {
		fmt.Fprintln(w, "-: no mean, because some of these launches are no good")
	}
}

// or spells a difference in few words, or what is wrong with the launches.
func (o *Outcome) or(g Gain) string {
	if o.Bad > 0 {
		return fmt.Sprintf("%d of %d no good (%s)", o.Bad, o.N, o.Why)
	}
	return fmt.Sprintf("%+.3f (%+.3f to %+.3f)", g.Mean, g.In.Low, g.In.High)
}

func (a *Answer) printAir(w io.Writer) {
	fmt.Fprintf(w, "\n%-21s %9s %7s %7s  %s\n", "air, as changed", "altitude", "factor", "60 ft", "difference")
	for _, r := range a.Air {
		fmt.Fprintf(w, "%5.1f degC %6.1f kPa %7.0f ft %7.3f %7s  %s\n", r.Celsius, r.KPa, r.Altitude, r.Correction, r.Time(), r.or(r.Gain))
	}
	harness.Wrap(w, "", "altitude: density altitude; factor: power correction of SAE J1349 (June 1990)")
}

func (a *Answer) printSensitivity(w io.Writer) {
	fmt.Fprintf(w, "\none step from there, the strongest first:\n")
	for _, r := range a.Sensitivities {
		name := fmt.Sprintf("%s %s", r.Knob.Name, r.Knob.Say(r.To))
		switch {
		case r.Refused != "":
			continue
		case r.Bad > 0:
			harness.Wrap(w, fmt.Sprintf("  %-34s ", name), fmt.Sprintf("%d of %d no good launch (%s)", r.Bad, r.Gain.N, r.Why))
		default:
			harness.Wrap(w, fmt.Sprintf("  %-34s ", name), r.Gain.say())
		}
	}
}

// at is the recommended value of the line's knob.
func (a *Answer) at() float64 { return a.Values[slices.Index(a.Knobs, a.Line.Knob)] }

// Farther is the fastest value of the line that small steps do not reach: more than
// a step away, and told to gain what a change has to. It is nil if there is none.
func (a *Answer) Farther() (best *LinePoint) {
	if a.Line == nil {
		return nil
	}
	for i := range a.Line.Points {
		p := &a.Line.Points[i]
		worth := p.Bad == 0 && p.Gain.In.High < 0 && -p.Gain.Mean >= a.LeastGain
		if worth && math.Abs(p.X-a.at()) > a.Line.Knob.Step && (best == nil || p.Gain.Mean < best.Gain.Mean) {
			best = p
		}
	}
	return best
}

// Ends says what it means that no small step is worth a change.
func (a *Answer) Ends() string {
	if a.Farther() != nil {
		return "; what lies farther away is told below"
	}
	return ": the optimum is flat"
}

// Way says how to go there.
func (p *LinePoint) Way(k *Knob) string {
	return fmt.Sprintf("%s, some steps away: %s. Go there step by step, and look at each", k.Say(p.X), p.Gain.say())
}

func (a *Answer) printLine(w io.Writer) {
	l := a.Line
	if l == nil {
		return
	}
	fmt.Fprintln(w)
	if l.Low == l.High {
		harness.Wrap(w, "", fmt.Sprintf("%s: %s is told from its neighbours", l.Knob.Name, l.Knob.Say(a.at())))
	} else {
		harness.Wrap(w, "", fmt.Sprintf("%s: from %s to %s nothing is told to be slower than %s", l.Knob.Name, l.Knob.Say(l.Low), l.Knob.Say(l.High), l.Knob.Say(a.at())))
	}
	if p := a.Farther(); p != nil {
		harness.Wrap(w, "", p.Way(l.Knob))
	}
	for _, p := range l.Points {
		text := fmt.Sprintf("  %8s %9s s  spread %.3f", number(p.X), p.Time(), p.SD)
		if p.Bad > 0 {
			text = fmt.Sprintf("  %8s %9s    %d of %d no good launch (%s)", number(p.X), "", p.Bad, p.N, p.Why)
		}
		if r := []rune(text); len(r) > harness.ScreenWidth {
			text = string(r[:harness.ScreenWidth-3]) + "..."
		}
		fmt.Fprintln(w, text)
	}
}

func (a *Answer) printFront(w io.Writer) {
	if len(a.Front) < 2 {
		return
	}
	fmt.Fprintf(w, "\nto choose from: faster, or steadier\n")
	for _, c := range a.Front {
		harness.Wrap(w, fmt.Sprintf("  %.3f s  spread %.3f  ", c.Mean, c.SD), a.differs(c.Values))
	}
}

// differs says what a setting changes.
func (a *Answer) differs(x []float64) string {
	var words []string
	for i, k := range a.Knobs {
		if x[i] != k.Now {
			words = append(words, k.Name+" "+k.Say(x[i]))
		}
	}
	if len(words) == 0 {
		return "as it is"
	}
	return strings.Join(words, ", ")
}
