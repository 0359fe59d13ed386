package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/fit"
	"github.com/holdline/holdline/harness/record"
	"github.com/holdline/holdline/harness/scenario"
	"github.com/holdline/holdline/sim"
)

const fitLong = `Fit learns from a recording what it can tell of a car, and says what it cannot.

A launch, logged at 10 Hz or faster, is compared with the simulated car under the
same controller: torque scale, engine inertia, grip, drag, clutch or converter, and
spool, each with a 95 % interval. What the recording cannot tell, or not tell apart,
is left at the car file's value and named. Name the car and the calibration that was
in it. What a clutch holds takes the travel of its pedal, in a free channel.
Fitting takes a minute or two. Other driving tells gear ratios and how the car slows
down, and nothing more.

Results are those of a model: they show directions.`

type fitOptions struct {
	car, cal, columns, out string
	clutch                 string
	scripts                []string
	from, to, grip         float64
	ambientC, ambientKPa   float64
	workers                int
	driving, force         bool
}

func fitCommand() *cobra.Command {
	o := fitOptions{from: -1, to: -1}
	c := &cobra.Command{
		Use:     "fit RECORDING --car CAR --cal FILE [--columns FILE]",
		Short:   "Learn from a recording what it can tell of a car",
		Long:    fitLong,
		Example: "  holdline fit log.csv --car my-car.toml --cal my.toml \\\n    --columns my-logger.toml -o fitted",
		Args:    takes(1, 1),
		RunE:    func(cmd *cobra.Command, args []string) error { return runFit(cmd, args[0], o) },
	}
	f := c.Flags()
	f.StringVar(&o.car, "car", "", "car `FILE` to start from")
	f.StringVar(&o.cal, "cal", "", "calibration `FILE` that was in the car")
	f.StringVar(&o.columns, "columns", "", "columns `FILE`: which column feeds which input")
	f.StringArrayVar(&o.scripts, "script", nil, "scripted switch or channel, such as \"trans-brake on from 2 s to 5.1 s\"")
	numberFlag(f, &o.from, "from", 0, mostSeconds, "start here, in seconds of the recording")
	numberFlag(f, &o.to, "to", 0, mostSeconds, "end here")
	numberFlag(f, &o.grip, "grip", 0.05, 4, "grip of the surface that the car file's tyre is meant on")
	numberFlag(f, &o.ambientC, "ambient-c", -30, 55, "air temperature on the day")
	numberFlag(f, &o.ambientKPa, "ambient-kpa", 50, 110, "air pressure on the day")
	numberFlag(f, &o.workers, "workers", 0, mostWorkers, "plants at a time (0: one a core)")
	f.StringVar(&o.clutch, "clutch-travel", "", "the clutch pedal's travel: `CHANNEL`:FREE:HOLDS, its raw values where the clutch is free and where it holds, such as user-a:700:200")
	f.BoolVar(&o.driving, "driving", false, "do not look for a launch")
	f.StringVarP(&o.out, "out", "o", "", "write the report, and the fitted car, to `DIR`")
	f.BoolVar(&o.force, "force", false, "overwrite an earlier report in DIR")
	return c
}

const fitFile, fittedCar = "fit.txt", "car.toml"

func runFit(cmd *cobra.Command, path string, o fitOptions) error {
	if o.car == "" || o.cal == "" || o.columns == "" && !record.IsTrace(path) {
		return errors.New("fit needs --car FILE, --cal FILE and --columns FILE (a trace of ours needs no --columns); replay --suggest-columns writes a first columns file for a recording")
	}
	var travel *fit.Travel
	if o.clutch != "" {
		var err error
		if travel, err = fit.ParseTravel(o.clutch); err != nil {
			return err
		}
	}
	car, findings := files.LoadCar(o.car)
	cal, more := files.LoadCalibration(o.cal)
	findings = append(findings, more...)
	log, more := scenario.LoadReplay(cal, path, o.columns, scenario.ReplayOptions{Scripts: o.scripts, From: o.from, To: o.to})
	findings = append(findings, more...)
	printFindings(cmd.ErrOrStderr(), findings)
	if findings.Failed() {
		return errors.New("nothing was fitted: mend the errors above")
	}
	if o.workers < 1 {
		o.workers = defaultWorkers()
	}
	l, err := fit.ReadLog(log, cal, travel)
	if err != nil {
		return err
	}
	r := fit.Driving(l, car.Tyre.RadiusM)
	if !o.driving {
		if err := o.launch(cmd, l, car, cal, r); err != nil {
			return err
		}
	}
	r.Name = car.Name
	r.Print(cmd.OutOrStdout())
	harness.Wrap(cmd.OutOrStdout(), "caution: ", "results of a model: directions, not settings. Competition and closed courses only; hardware cut-offs first.")
	return o.save(cmd, r)
}

// launch fits a launch if the recording has one that is fast enough; what it has
// not is a note.
func (o *fitOptions) launch(cmd *cobra.Command, l *fit.Log, car *sim.Car, cal *controller.Calibration, r *fit.Report) error {
	model, bad := sim.Compile(*car)
	if len(bad) > 0 {
		return errors.New(bad[0].String())
	}
	cond := sim.Standard()
	cond.Grip, cond.AmbientK, cond.AmbientPa = o.grip, o.ambientC+273.15, o.ambientKPa*1000
	q := fit.Question{Log: l, Model: model, Cal: cal, Cond: cond, Workers: o.workers}
	if isTerminal(cmd.ErrOrStderr()) {
		q.Tell = func(what string) {
			fmt.Fprintf(cmd.ErrOrStderr(), "\r%-*s", screenWidth-1, "fitting, a minute or two: "+what)
		}
	}
	found, err := fit.Launch(cmd.Context(), q)
	clearLine(cmd.ErrOrStderr())
	var none *fit.NoLaunchError
	switch {
	case errors.As(err, &none):
		r.Notes = append(r.Notes, err.Error())
		return nil
	case errors.Is(err, context.Canceled):
		return withStatus(exitInterrupted, errors.New("interrupted: the fit was not finished, and nothing was written"))
	case err != nil:
		return err
	}
	found.Ratios, found.Drag = r.Ratios, r.Drag
	*r = *found
	return nil
}

func prepareFit(dir string, force bool) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	for _, name := range []string{fitFile, fittedCar} {
		if _, err := os.Lstat(filepath.Join(dir, name)); err == nil && !force {
			return fmt.Errorf("%s holds %s of an earlier fit: choose another folder, or add --force", dir, name)
		}
	}
	return nil
}

// save writes the report, and the car with what was told.
func (o *fitOptions) save(cmd *cobra.Command, r *fit.Report) error {
	if o.out == "" {
		return nil
	}
	if err := prepareFit(o.out, o.force); err != nil {
		return err
	}
	if err := writePage(filepath.Join(o.out, fitFile), true, func(w io.Writer) error { r.Print(w); return nil }); err != nil {
		return err
	}
	text, err := files.ReadText(o.car)
	if err != nil {
		return err
	}
	was, _ := files.LoadCar(o.car)
	changes := r.Changes(was.Engine.Eta)
	if len(changes) == 0 {
		fmt.Fprintf(cmd.OutOrStdout(), "\nreport: %s\n", filepath.Join(o.out, fitFile))
		return nil
	}
	car, findings := files.DecodeCar(o.car, text, changes...)
	if findings.Failed() {
		return findings
	}
	target := filepath.Join(o.out, fittedCar)
	if err := files.Car.Write(target, car, true); err != nil {
		return err
	}
	fmt.Fprintf(cmd.OutOrStdout(), "\nreport: %s, car: %s\n", filepath.Join(o.out, fitFile), target)
	return nil
}
