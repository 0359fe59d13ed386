package advise

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/scenario"
)

// Times of a hold that looks for where torque and load meet, s.
const (
	heldFor  = 8
	openAt   = 0.65 // full throttle from here on
	settling = 1    // at the end, over which speed and pressure are meant
)

// Launches of a remedy.
const (
	heldN     = 4
	launchedN = 12
)

// ComingUp says why a car does or does not come up, and what each remedy does.
type ComingUp struct {
	*Question
	Name     string
	Grip     float64
	Ceiling  float64 // rpm, of the launch stage at full throttle
	Within   float64 // rpm below it that count as there
	Boost    float64 // kPa that is waited for; 0: none
	Meets    Hold    // with the launch ceiling out of the way
	Load     string  // what loads the engine, in words
	Remedies []Remedy
	Launches int
}

// Hold is what a hold of eight seconds came to, means over its seeds.
type Hold struct {
	Speed    float64 // rpm, at its end
	Pressure float64 // kPa, at its end
	Torque   float64 // N m behind the launch device, at its end
	Ready    float64 // s from full throttle until speed and boost are there; 0: never
	Exhaust  float64 // degC, hottest gas until then
	Late     float64 // s of ignition after top dead centre until then
	Oxidiser float64 // kg until then
}

// Remedy is one thing to try.
type Remedy struct {
	Name    string
	Cost    string
	Changes []files.Change
	Refused string
	Hold
	Launch Outcome // with the scenario's own driver
	Repeat string
}

// ComeUp compares remedies for a car that does not come up on its launch device.
func ComeUp(ctx context.Context, q Question) (*ComingUp, error) {
	base, _, err := q.begin()
	if err != nil {
		return nil, err
	}
	at, st := launchStage(base.Cal)
	if st == nil || base.Cal.Sequence.Hold == controller.HoldNone {
		return nil, errors.New("the calibration has no launch stage, or nothing that holds the car")
	}
	path := "calibration.stage." + harness.StageName(base.Cal, at) + "."
	_, high := span(base.Cal, &st.Ceiling, float64(controller.RPM))
	if st.Ceiling.Table != 0 {
		_, high = fullThrottle(base.Cal, &st.Ceiling)
	}
	c := &ComingUp{Question: &q, Name: base.Name, Grip: base.Grip, Ceiling: high, Boost: float64(base.Target.Pressure) / 1000,
		Within: float64(base.Cal.Sequence.EarnWithin) / float64(controller.RPM)}
	car := base.Model.Car()
	c.Load = "nothing but itself: the clutch is down"
	if car.Launch.K0 > 0 {
		c.Load = fmt.Sprintf("a converter with stall K %s: its load grows with the square of speed", number(car.Launch.K0))
	}
	b := newBench(ctx, &q)
	hold := files.Change{Path: "driver.does", Value: holdPhrases(base.Cal)}
	remedies := remediesOf(&q, base, path, st, c.Ceiling)
	meets, err := b.hold(append(liftCeiling(&q, base, path, st), hold), c, at)
	if err != nil {
		return nil, err
	}
	c.Meets = meets
	for _, r := range remedies {
		if err := b.try(&r, hold, c, at); err != nil {
			return nil, err
		}
		c.Remedies = append(c.Remedies, r)
	}
	c.Launches = int(b.n.Load())
	return c, nil
}

func launchStage(cal *controller.Calibration) (int, *controller.Stage) {
	for i := range cal.Stages {
		if cal.Stages[i].Kind == controller.Launch {
			return i, &cal.Stages[i]
		}
	}
	return 0, nil
}

// fullThrottle is the range of a mapped ceiling in its last column.
func fullThrottle(cal *controller.Calibration, c *controller.Curve) (low, high float64) {
	t := &cal.Tables[c.Table-1]
	low, high = 1e9, 0
	eachCell(cal, c, func(_, col int, x int32) {
		if col == int(t.Columns.N)-1 {
			low, high = min(low, float64(x)/float64(controller.RPM)), max(high, float64(x)/float64(controller.RPM))
		}
	})
	return low, high
}

// holdPhrases are a driver who opens the throttle and does not let go.
func holdPhrases(cal *controller.Calibration) string {
	open := `"throttle ramp to 100 % over 0.15 s at 0.5 s"`
	switch cal.Sequence.Hold {
	case controller.HoldClutch:
		return `["clutch 100 % at 0 s", ` + open + `]`
	case controller.HoldTransBrake:
		return fmt.Sprintf(`["arm on at 0.3 s", "trans-brake on from 0.1 s to %d s", %s]`, 2*heldFor, open)
	}
	return fmt.Sprintf(`["arm on at 0.3 s", "foot-brake on from 0.1 s to %d s", %s]`, 2*heldFor, open)
}

func liftCeiling(q *Question, base *scenario.Loaded, path string, st *controller.Stage) []files.Change {
	if k, _ := q.ceiling(base, "launch ceiling", path, &st.Ceiling); k != nil {
		return k.put(mainCeiling(base.Cal) - 200)
	}
	return nil
}

// remediesOf lists what can be tried, the cheapest first.
func remediesOf(q *Question, base *scenario.Loaded, path string, st *controller.Stage, ceiling float64) (list []Remedy) {
	add := func(name, cost string, changes ...files.Change) {
		list = append(list, Remedy{Name: name, Cost: cost, Changes: changes})
	}
	add("as it is", "none")
	if k, _ := q.ceiling(base, "launch ceiling", path, &st.Ceiling); k != nil {
		for _, less := range []float64{300, 600} {
			if x := k.Now - less; x >= k.Low {
				add(fmt.Sprintf("ceiling %.0f rpm lower", less), "less speed to launch with", k.put(x)...)
			}
		}
	}
	timings(q, base.Cal, path, st, add)
	for i := range base.Cal.Shots {
		if sh := &base.Cal.Shots[i]; sh.When != controller.NoShot {
			shots(q, base, i, add)
		}
	}
	if k := converter(base); k != nil {
		for _, more := range []float64{1.06, 1.12, 1.2} {
			add(fmt.Sprintf("converter %.0f %% looser", (more-1)*100), "another converter; slip and heat on the way", k.put(k.clip(k.Now*more))...)
		}
	}
	return list
}

func timings(q *Question, cal *controller.Calibration, path string, st *controller.Stage, add func(name, cost string, changes ...files.Change)) {
	mode := files.Change{Path: path + "timing_mode", Value: "absolute"}
	_, base, known := baseTiming(cal)
	if m := q.Limits.MostAdvance; st.Timing.Mode != controller.TimingBase && (m == nil || known && base <= *m) {
		add("ignition at base", "none; less exhaust heat for a turbo", files.Change{Path: path + "timing_mode", Value: "offset"}, files.Change{Path: path + "timing_deg", Value: "0"})
	}
	if q.Rules != nil && q.Rules.NoLateIgnition || st.Timing.Angle.Table != 0 {
		return
	}
	for _, deg := range []float64{-10, -20} {
		if l := q.Limits.LatestTiming; l != nil && deg < *l {
			continue
		}
		changes := []files.Change{mode, {Path: path + "timing_deg", Value: number(deg)}}
		if st.Guard.Longest == 0 {
			changes = append(changes, files.Change{Path: path + "guard_longest_s", Value: "3"}, files.Change{Path: path + "guard_cool_down_s", Value: "30"})
		}
		add(fmt.Sprintf("ignition %.0f deg after top", -deg), "turbine, valves and exhaust take the heat", changes...)
	}
}

// shots offers to do without a shot, and other jets for it with their retard.
func shots(q *Question, base *scenario.Loaded, i int, add func(name, cost string, changes ...files.Change)) {
	sh, jets := &base.Cal.Shots[i], base.Model.Car().Nitrous.JetM2
	at := fmt.Sprintf("calibration.shot[%d].", i+1)
	add(fmt.Sprintf("without shot %d", i+1), "none", files.Change{Path: at + "speed_high_rpm", Value: "15000"}, files.Change{Path: at + "speed_low_rpm", Value: "14999"})
	retard, power := float64(sh.Retard)/float64(controller.Degree), float64(sh.Power)
	for _, share := range []float64{0.5, 1.5, 2} {
		if i >= len(jets) || share > 1 && power*share > q.Limits.MostShot {
			continue
		}
		add(fmt.Sprintf("shot %d, jet x %s", i+1, number(share)), "nitrous, and later ignition with it",
			files.Change{Path: fmt.Sprintf("car.nitrous.jet_m2[%d]", i+1), Value: strconv.FormatFloat(jets[i]*share, 'g', 4, 64)},
			files.Change{Path: at + "power_kw", Value: number(math.Round(power * share))},
			files.Change{Path: at + "retard_deg", Value: number(math.Ceil(retard*share*2) / 2)})
	}
}

// try measures a remedy, held and launched.
func (b *bench) try(r *Remedy, hold files.Change, c *ComingUp, stage int) error {
	if _, findings := b.q.allowed(r.Changes, b.q.Seed, 1); findings.Failed() {
		r.Refused = firstError(findings)
		return nil
	}
	held, err := b.hold(append(append([]files.Change{}, r.Changes...), hold), c, stage)
	var wrong harness.Findings
	if errors.As(err, &wrong) {
		r.Refused = firstError(wrong)
		return nil
	}
	if err != nil {
		return err
	}
	r.Hold = held
	s := b.sample(nil, r.Changes)
	if err := b.measure([]*sample{s}, b.q.Seed, launchedN); err != nil {
		return err
	}
	r.Launch, r.Repeat = outcome(s, b.q.Seed, launchedN), b.q.Repeat(r.Changes, b.q.Seed)
	return nil
}

// hold keeps the car held for some seconds on a few seeds.
func (b *bench) hold(changes []files.Change, c *ComingUp, stage int) (sum Hold, err error) {
	l, findings := b.q.load(append(changes, files.Change{Path: "longest_s", Value: number(heldFor)}), b.q.Seed, heldN)
	if findings.Failed() {
		return sum, findings
	}
	ready := 0
	for _, j := range l.Jobs("advise") {
		j.Required = nil
		var w *holdWatch
		_, err := j.Run(b.ctx, &harness.Reference{}, func(ride *scenario.Ride) ([]harness.Sink, error) {
			w = &holdWatch{warmth: newWarmth(ride), c: c, stage: stage}
			return []harness.Sink{w}, nil
		})
		var diverged *harness.DivergedError
		if err != nil && !errors.As(err, &diverged) {
			return sum, err
		}
		b.n.Add(1)
		h := w.result()
		sum.Speed, sum.Pressure, sum.Torque = sum.Speed+h.Speed/heldN, sum.Pressure+h.Pressure/heldN, sum.Torque+h.Torque/heldN
		sum.Exhaust, sum.Late, sum.Oxidiser = max(sum.Exhaust, h.Exhaust), max(sum.Late, h.Late), max(sum.Oxidiser, h.Oxidiser)
		sum.Ready += h.Ready
		if h.Ready > 0 {
			ready++
		}
	}
	sum.Ready /= heldN
	if ready < heldN {
		sum.Ready = 0
	}
	return sum, nil
}

// holdWatch follows one hold.
type holdWatch struct {
	*warmth
	c     *ComingUp
	stage int
	ready float64
	at    Heat // when it was ready
	end   struct{ n, speed, pressure, torque float64 }
}

// Record implements harness.Sink.
func (w *holdWatch) Record(f *harness.Frame) error {
	if err := w.warmth.Record(f); err != nil || f.EventsOnly {
		return err
	}
	t := float64(f.Tick) * w.tick
	speed := float64(f.In.Channels[controller.EngineSpeed].Value) / float64(controller.RPM)
	pressure := float64(f.In.Channels[controller.ManifoldPressure].Value) / 1000
	there := t >= openAt && speed >= float64(f.Out.StageCeiling[w.stage])/float64(controller.RPM)-w.c.Within && f.Out.Active>>w.stage&1 != 0
	if w.c.Boost > 0 {
		there = there && pressure >= w.c.Boost
	}
	if there && w.ready == 0 {
		w.ready, w.at = t-openAt, w.heat
	}
	if t >= heldFor-settling {
		w.end.n++
		w.end.speed, w.end.pressure, w.end.torque = w.end.speed+speed, w.end.pressure+pressure, w.end.torque+w.row[deviceAt]
	}
	return nil
}

func (w *holdWatch) result() Hold {
	n := max(w.end.n, 1)
	h := Hold{Speed: w.end.speed / n, Pressure: w.end.pressure / n, Torque: w.end.torque / n, Ready: max(w.ready, 0)}
	heat := w.heat
	if w.ready > 0 {
		heat = w.at
	}
	h.Exhaust, h.Late, h.Oxidiser = heat.Exhaust, heat.Late, heat.Oxidiser
	return h
}

// Print shows the comparison on a screen of 80 columns.
func (c *ComingUp) Print(w io.Writer) {
	harness.Wrap(w, "", fmt.Sprintf("%s: coming up, %d launches from seed %d", c.Name, c.Launches, c.Seed))
	text := fmt.Sprintf("launch ceiling %.0f rpm at full throttle; there counts within %.0f rpm", c.Ceiling, c.Within)
	if c.Boost > 0 {
		text += fmt.Sprintf(", with %.0f kPa", c.Boost)
	}
	harness.Wrap(w, "wanted:    ", text)
	harness.Wrap(w, "load:      ", c.Load)
	harness.Wrap(w, "they meet: ", fmt.Sprintf("with the launch ceiling out of the way, held at full throttle for %d s, engine and load settle at %.0f rpm and %.0f kPa, with %.0f N m behind the launch device",
		heldFor, c.Meets.Speed, c.Meets.Pressure, c.Meets.Torque))
	fmt.Fprintf(w, "\n%-24s %7s %6s %5s %6s %6s %6s  %s\n", "remedy", "there s", "rpm", "kPa", "degC", "late s", "N2O g", "60 ft s")
	for i := range c.Remedies {
		r := &c.Remedies[i]
		if r.Refused != "" {
			harness.Wrap(w, fmt.Sprintf("%-24s ", r.Name), "not valid here: "+r.Refused)
			continue
		}
		ready, feet := "never", fmt.Sprintf("%.3f", r.Launch.Mean)
		if r.Ready > 0 {
			ready = fmt.Sprintf("%.2f", r.Ready)
		}
		if r.Launch.Bad > 0 {
			feet = fmt.Sprintf("%d of %d bad", r.Launch.Bad, r.Launch.N)
		}
		fmt.Fprintf(w, "%-24s %7s %6.0f %5.0f %6.0f %6.1f %6.0f  %s\n", r.Name, ready, r.Speed, r.Pressure, r.Exhaust, r.Late, r.Oxidiser*1000, feet)
	}
	fmt.Fprintln(w)
	harness.Wrap(w, "", "there: full throttle until speed and boost are there. rpm, kPa: at the end of the hold. degC: hottest gas before the turbine until there, late: ignition after top dead centre until there, N2O: nitrous used until there. 60 ft: with the scenario's own driver.")
	told := map[string]bool{}
	for _, r := range c.Remedies {
		if name, _, _ := strings.Cut(r.Name, " "); !told[name] && r.Cost != "none" {
			told[name] = true
			harness.Wrap(w, "  ", name+" costs: "+r.Cost)
		}
	}
	harness.Wrap(w, "", c.best())
	fmt.Fprintln(w)
	harness.Wrap(w, "caution: ", Caution)
}

// best names the remedy that launches fastest, and a longer hold where that is
// all it takes.
func (c *ComingUp) best() string {
	text, at := "", -1
	for i := range c.Remedies {
		if r := &c.Remedies[i]; r.Refused == "" && r.Launch.Bad == 0 && (at < 0 || r.Launch.Mean < c.Remedies[at].Launch.Mean) {
			at = i
		}
	}
	if r := &c.Remedies[0]; r.Ready > 0 && r.Launch.Bad > 0 {
		text = fmt.Sprintf("as it is it comes up, if it is held at full throttle for %.1f s. ", r.Ready)
	}
	if at < 0 {
		return text + "none of these comes up and launches well on every seed"
	}
	r := &c.Remedies[at]
	return text + fmt.Sprintf("fastest to 60 ft of those that come up: %s, %.3f s. Again: %s", r.Name, r.Launch.Mean, r.Repeat)
}
