package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/advise"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/scenario"
	"github.com/holdline/holdline/sim"
)

const adviseLong = `Advise says what to change for a surface: it launches the car many times, moves the
calibration's own knobs in small steps, one at a time, and tells what gains time to
60 ft, how sure that is, and what it costs on other surfaces and in other air.

Name a scenario, which says what the driver does; or a car with --cal and
--surface, and a plain driver lets go at 3.5 s (clutch) or 5 s (brake). Surfaces:
greasy (grip 1.0), fair (1.3), good (1.6), sticky (2.0), or a number: a factor on
the tyre's friction. These words are our own.

Nothing goes beyond your limits: without any, ignition is moved neither way, boost
and shots only down. What already stands beyond one is refused. Limits of ignition
are of the angle itself, also where the calibration gives an offset from base. With
--come-up it compares remedies for a car that does not come up on its launch device.

Results are those of a model: they show directions, not settings for your car.`

type adviseOptions struct {
	cal, surface, out string
	grip              string // of the surface, as a scenario writes it
	comeUp, force     bool
	set, require      []string
	rules             string
	spread, humidity  float64
	again             int
	q                 advise.Question
}

func adviseCommand() *cobra.Command {
	o := adviseOptions{spread: 0.04, again: 1, q: advise.Question{Seed: 1, LeastGain: 0.003}}
	c := &cobra.Command{
		Use:   "advise SCENARIO | CAR --cal FILE --surface S",
		Short: "Say what to change for a surface",
		Long:  adviseLong,
		Example: "  holdline advise examples/scenarios/saltmarsh-launch.toml\n" +
			"  holdline advise examples/cars/dray-mare.toml \\\n    --cal examples/calibrations/dray-mare.toml --surface greasy -o out",
		Args: takes(1, 1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runAdvise(cmd, args[0], o)
		},
	}
	f := c.Flags()
	f.StringVar(&o.cal, "cal", "", "calibration `FILE`, with a car")
	f.StringVar(&o.surface, "surface", "", "greasy, fair, good, sticky, or a `GRIP`")
	f.BoolVar(&o.comeUp, "come-up", false, "compare remedies for a car that does not come up on its launch device")
	f.StringVarP(&o.out, "out", "o", "", "write the page, and with a car its scenario, to `DIR`")
	f.BoolVar(&o.force, "force", false, "overwrite an earlier answer in DIR")
	f.StringArrayVar(&o.set, "set", nil, "change one value of the scenario: `PATH=VALUE`, such as weather.ambient_c=35")
	f.StringArrayVar(&o.require, "require", nil, "requirement `SET` that every launch must hold, beside the scenario's own")
	f.StringVar(&o.rules, "rules", "", "rules profile `FILE` of the class: what it forbids is not advised")
	f.StringArrayVar(&o.q.Knobs, "knob", nil, "move this `NAME` only (may be repeated), such as \"launch ceiling\", converter")
	numberFlag(f, &o.spread, "scatter", 0, 0.5, "relative scatter of grip from launch to launch, where the scenario has none")
	numberFlag(f, &o.humidity, "humidity", 0, 100, "relative humidity in %: its vapour is taken off the air pressure")
	numberFlag(f, &o.q.Launches, "launches", 0, 1e7, "launches to search with (0: 2400)")
	numberFlag(f, &o.q.Passes, "passes", 0, 1000, "changes at most, one a pass (0: 8)")
	numberFlag(f, &o.q.LeastGain, "least-gain-s", 0, 1, "what a change must gain to be advised; 0: anything that can be told from scatter")
	numberFlag(f, &o.q.Workers, "workers", 0, mostWorkers, "launches at a time (0: one a core)")
	numberFlag(f, &o.again, "again", 1, 100, "search with so many seeds, and say how far they agree")
	numberFlag(f, &o.q.Seed, "seed", 0, mostSeed, "first seed")
	l := &o.q.Limits
	numberFlag(f, &l.HighestCeiling, "most-rpm", 300, 20000, "highest launch ceiling")
	numberFlag(f, &l.LowestCeiling, "least-rpm", 300, 20000, "lowest launch ceiling")
	limitFlag(f, &l.LatestTiming, "latest-deg", -60, 60, "latest launch timing, before top dead centre: -25 is after")
	limitFlag(f, &l.MostAdvance, "most-advance-deg", -60, 60, "most launch timing before top dead centre: knock-safe")
	numberFlag(f, &l.MostBoost, "most-boost-kpa", 50, 1000, "highest boost target, absolute")
	numberFlag(f, &l.MostDuty, "most-duty-pct", 1, 100, "most valve duty of a shot")
	numberFlag(f, &l.MostShot, "most-shot-kw", 1, 2000, "largest shot that may stand, or be looked at with --come-up")
	numberFlag(f, &l.MostExhaust, "most-exhaust-c", 100, 2000, "hottest exhaust gas before the turbine while held")
	numberFlag(f, &l.MostDriveline, "most-driveline-nm", 1, 1e6, "most torque behind the launch device")
	numberFlag(f, &l.LongestLimit, "most-limit-s", 0.1, 600, "longest time on the launch limiter")
	return c
}

func runAdvise(cmd *cobra.Command, path string, o adviseOptions) error {
	if o.comeUp {
		if err := idle(cmd, "not with --come-up, which compares remedies and searches for nothing", "again", "knob", "launches", "least-gain-s", "passes"); err != nil {
			return err
		}
	}
	if o.surface != "" {
		var err error
		if o.grip, err = gripOf(o.surface); err != nil {
			return err
		}
	}
	if o.q.Workers < 1 {
		o.q.Workers = defaultWorkers()
	}
	o.q.Require, o.q.Progress = o.require, adviseLine(cmd.ErrOrStderr())
	if o.out != "" {
		if err := prepareAdvice(o.out, o.force); err != nil {
			return err
		}
	}
	if o.rules != "" {
		rules, findings := advise.LoadRules(o.rules)
		printFindings(cmd.ErrOrStderr(), findings)
		if findings.Failed() {
			return errors.New("nothing was run: mend the errors above")
		}
		o.q.Rules = rules
	}
	if err := adviseScenario(path, &o); err != nil {
		return err
	}
	if err := adviseChanges(&o); err != nil {
		return err
	}
	if o.comeUp {
		return comeUp(cmd, o)
	}
	return adviseSearch(cmd, o)
}

const adviceFile, adviceText, adviceScenario = "advice.html", "advice.txt", "scenario.toml"

func prepareAdvice(dir string, force bool) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	for _, name := range []string{adviceText, adviceFile} {
		if _, err := os.Lstat(filepath.Join(dir, name)); err == nil && !force {
			return fmt.Errorf("%s holds an earlier answer: choose another folder, or add --force", dir)
		}
	}
	return nil
}

// adviseScenario settles which scenario is asked about: the one that is named, or
// one written for a car.
func adviseScenario(path string, o *adviseOptions) error {
	text, err := files.ReadText(path)
	if err != nil {
		return err
	}
	doc, _ := files.Parse(path, text)
	switch files.FormatOf(doc) {
	case "holdline-scenario-1":
		if o.cal != "" {
			return errors.New("--cal goes with a car: a scenario names its calibration; change its file, or use --set")
		}
		o.q.Scenario = path
		return nil
	case "holdline-car-1":
	default:
		return fmt.Errorf("%s is neither a scenario nor a car: its first line says which", path)
	}
	if o.cal == "" || o.surface == "" || o.out == "" {
		return errors.New("a car needs --cal FILE, --surface S and --out DIR: there the scenario is kept that makes every launch again")
	}
	car, findings := files.LoadCar(path)
	cal, more := files.LoadCalibration(o.cal)
	if findings = append(findings, more...); findings.Failed() {
		return findings
	}
	o.q.Scenario = filepath.Join(o.out, adviceScenario)
	return files.WriteFile(o.q.Scenario, plainScenario(car, cal, path, *o), true)
}

// plainScenario is a launch by a driver who lets go at a fixed time.
func plainScenario(car *sim.Car, cal *controller.Calibration, path string, o adviseOptions) []byte {
	from := func(p string) string {
		rel, err := filepath.Rel(o.out, p)
		if err != nil {
			return filepath.ToSlash(p)
		}
		return filepath.ToSlash(rel)
	}
	does := []string{"arm on at 0.3 s", "trans-brake on from 0.1 s to 5 s", "throttle ramp to 100 % over 0.15 s at 0.5 s"}
	switch cal.Sequence.Hold {
	case controller.HoldClutch, controller.HoldNone:
		does = []string{"clutch 100 % at 0 s", "throttle ramp to 100 % over 0.15 s at 0.5 s", "clutch ramp to 70 % over 0.03 s at 3.5 s",
			"clutch ramp to 22 % over 0.12 s at 3.53 s", "clutch ramp to 0 % over 0.4 s at 3.7 s"}
	case controller.HoldFootBrake, controller.HoldBrakePressure:
		does[1] = "foot-brake on from 0.1 s to 5 s"
	}
	var b strings.Builder
	fmt.Fprintf(&b, "# Written by holdline advise: a plain driver, to be replaced by your own.\nformat = \"holdline-scenario-1\"\nname = %s\ncar = %s\ncalibration = %s\nrequirements = [\"standard\"]\n\n[driver]\ndoes = [\n",
		strconv.Quote(cutTo(car.Name+", plain driver", 60)), strconv.Quote(from(path)), strconv.Quote(from(o.cal)))
	for _, d := range does {
		fmt.Fprintf(&b, "  %q,\n", d)
	}
	fmt.Fprintf(&b, "]\n\n[surface]\ngrip = %s\n", o.grip)
	return []byte(b.String())
}

// grips are words for surfaces; they are our own, and show an order.
var grips = map[string]string{"greasy": "1.0", "fair": "1.3", "good": "1.6", "sticky": "2.0"}

// gripOf reads a word for a surface, or its grip, as a scenario writes it.
func gripOf(surface string) (string, error) {
	if grip, ok := grips[surface]; ok {
		return grip, nil
	}
	if x, err := strconv.ParseFloat(surface, 64); err == nil && x >= 0.05 && x <= 4 {
		return strconv.FormatFloat(x, 'f', -1, 64), nil
	}
	return "", fmt.Errorf("--surface %q is no surface: greasy, fair, good, sticky, or a factor from 0.05 to 4", surface)
}

// adviseChanges collects what the flags change in the scenario.
func adviseChanges(o *adviseOptions) error {
	if o.grip != "" {
		o.q.Changes = append(o.q.Changes, files.Change{Path: "surface.grip", Value: o.grip})
	}
	for _, text := range o.set {
		c, err := files.ParseChange(text)
		if err != nil {
			return fmt.Errorf("--set: %w", err)
		}
		o.q.Changes = append(o.q.Changes, c)
	}
	base, findings := scenario.Load(o.q.Scenario, scenario.Options{Changes: o.q.Changes, Seed: 1, Repeats: 1})
	if findings.Failed() {
		return findings
	}
	if base[0].SpreadGrip == 0 && o.spread > 0 {
		o.q.Changes = append(o.q.Changes, files.Change{Path: "spread.grip", Value: strconv.FormatFloat(o.spread, 'g', -1, 64)})
	}
	if o.humidity > 0 {
		kpa := base[0].AmbientKPa - sim.VapourPressure(base[0].AmbientC)*o.humidity/100/1000
		o.q.Changes = append(o.q.Changes, files.Change{Path: "weather.ambient_kpa", Value: strconv.FormatFloat(kpa, 'f', 2, 64)})
	}
	return nil
}

// adviseLine tells how many launches are done, on a terminal only.
func adviseLine(w io.Writer) func(int) {
	if !isTerminal(w) {
		return nil
	}
	last := -1
	return func(done int) {
		if done/10 != last/10 {
			last = done
			fmt.Fprintf(w, "\r%-40s\r%d launches", "", done)
		}
	}
}

func adviseSearch(cmd *cobra.Command, o adviseOptions) error {
	var first *advise.Answer
	var found [][]float64
	for i := range max(o.again, 1) {
		q := o.q
		q.Seed += uint64(i) * 10_000_000
		a, err := advise.Ask(cmd.Context(), q)
		if err != nil {
			return adviceFailed(cmd, err)
		}
		found = append(found, a.Values)
		if first == nil {
			first = a
		}
	}
	clearLine(cmd.ErrOrStderr())
	w := cmd.OutOrStdout()
	first.Print(w)
	printAgreement(w, first, found)
	if o.out == "" {
		return nil
	}
	if err := writePage(filepath.Join(o.out, adviceText), true, func(w io.Writer) error {
		first.Print(w)
		printAgreement(w, first, found)
		return nil
	}); err != nil {
		return err
	}
	page := filepath.Join(o.out, adviceFile)
	if err := writePage(page, true, first.Page); err != nil {
		return err
	}
	fmt.Fprintf(w, "\npage: %s\n", page)
	return nil
}

func clearLine(w io.Writer) {
	if isTerminal(w) {
		fmt.Fprintf(w, "\r%-40s\r", "")
	}
}

// printAgreement says what other seeds recommend.
func printAgreement(w io.Writer, a *advise.Answer, found [][]float64) {
	if len(found) < 2 {
		return
	}
	fmt.Fprintf(w, "\n%d searches with other seeds recommend:\n", len(found))
	for i, k := range a.Knobs {
		var words []string
		for _, x := range found {
			words = append(words, k.Say(x[i]))
		}
		harness.Wrap(w, "  "+k.Name+": ", strings.Join(words, ", "))
	}
}

func comeUp(cmd *cobra.Command, o adviseOptions) error {
	c, err := advise.ComeUp(cmd.Context(), o.q)
	if err != nil {
		return adviceFailed(cmd, err)
	}
	clearLine(cmd.ErrOrStderr())
	c.Print(cmd.OutOrStdout())
	if o.out == "" {
		return nil
	}
	return writePage(filepath.Join(o.out, adviceText), true, func(w io.Writer) error { c.Print(w); return nil })
}

func adviceFailed(cmd *cobra.Command, err error) error {
	var findings harness.Findings
	if errors.As(err, &findings) {
		printFindings(cmd.ErrOrStderr(), findings)
		return errors.New("nothing was advised: mend the errors above")
	}
	if errors.Is(err, context.Canceled) {
		return withStatus(exitInterrupted, errors.New("interrupted: nothing is advised from half a search"))
	}
	return err
}
