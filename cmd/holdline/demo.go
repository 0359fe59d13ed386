package main

import (
	"errors"
	"fmt"
	"path/filepath"

	"github.com/spf13/cobra"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/scenario"
	"github.com/holdline/holdline/sim"
)

const demoLong = `Demo launches three invented cars, closed loop, under the reference controller,
and shows what the choices that a calibrator weighs do to the hold and to the
clocks. Every figure is the mean of several launches with different seeds; the
lesson below each table is worked out from its figures.

The cars are our own invention and no measurement of any car: look at the
directions, not at the numbers.`

type demoOptions struct {
	out         string
	force, json bool
	seed        uint64
	repeats     int
	workers     int
}

func demoCommand() *cobra.Command {
	o := demoOptions{seed: 1, repeats: 5}
	c := &cobra.Command{
		Use:   "demo",
		Short: "Launch three invented cars and compare the choices",
		Long:  demoLong,
		Args:  takes(0, 0),
		RunE:  func(cmd *cobra.Command, _ []string) error { return runDemo(cmd, o) },
	}
	f := c.Flags()
	f.StringVarP(&o.out, "out", "o", "", "write a summary, and trace, events and picture of a launch of each choice, to `DIR`")
	f.BoolVar(&o.force, "force", false, "overwrite results of an earlier run in DIR")
	f.BoolVar(&o.json, "json", false, "print the results as JSON instead of tables")
	numberFlag(f, &o.seed, "seed", 0, mostSeed, "first seed")
	numberFlag(f, &o.repeats, "repeats", 1, 1000, "launches of each choice, with seeds that follow each other")
	numberFlag(f, &o.workers, "workers", 0, mostWorkers, "launches at a time (0: one a core)")
	return c
}

// cell is one choice of a comparison at one launch speed: a mean over seeds.
type cell struct {
	car, comparison, choice int
	speed                   controller.Speed // 0: the calibration's own
	name                    string
	first                   int // of its jobs
	results                 []harness.Results
}

func runDemo(cmd *cobra.Command, o demoOptions) error {
	if o.out != "" {
		if err := prepareDir(o.out, o.force); err != nil {
			return err
		}
	}
	cars := demoCars()
	cells, results, folders, err := launchDemo(cmd, cars, o)
	if err != nil {
		return err
	}
	all := together("demo", fmt.Sprintf("holdline demo --seed %d --repeats %d", o.seed, o.repeats), results)
	if o.out != "" {
		if err := saveRuns(o.out, all, results, folders); err != nil {
			return err
		}
	}
	if o.json {
		text, err := all.JSON()
		if err != nil {
			return err
		}
		_, err = cmd.OutOrStdout().Write(text)
		return err
	}
	printDemo(cmd.OutOrStdout(), cars, cells, o)
	return nil
}

// launchDemo makes every launch, and hands each cell of the tables its own.
func launchDemo(cmd *cobra.Command, cars []demoCar, o demoOptions) ([]cell, []harness.Results, []string, error) {
	cells, jobs, err := demoJobs(cars, o)
	if err != nil {
		return nil, nil, nil, err
	}
	if o.workers < 1 {
		o.workers = defaultWorkers()
	}
	results, err := runAll(cmd.Context(), jobs, o.workers, countLine(cmd.ErrOrStderr(), "demo"))
	if err != nil {
		return nil, nil, nil, interrupted(err)
	}
	for i := range cells {
		cells[i].results = results[cells[i].first : cells[i].first+o.repeats]
	}
	return cells, results, foldersOf(jobs, len(results)), nil
}

// demoJobs lists every launch of the demo, in the order of the tables.
func demoJobs(cars []demoCar, o demoOptions) (cells []cell, jobs []*job, err error) {
	for i := range cars {
		for k := range cars[i].comparisons {
			cmp := &cars[i].comparisons[k]
			for c := range cmp.choices {
				for _, speed := range cmp.each() {
					one := cell{car: i, comparison: k, choice: c, speed: speed, first: len(jobs)}
					s := cars[i].base
					cmp.choices[c].change(&s)
					one.name = cmp.choices[c].name
					if speed > 0 {
						s.launch().Ceiling.Const = int32(speed)
						one.name += fmt.Sprintf(", %d rpm", speed/controller.RPM)
					}
					more, err := s.jobs(one.name, o)
					if err != nil {
						return nil, nil, fmt.Errorf("%s, %s: %w", s.car.Name, one.name, err)
					}
					jobs, cells = append(jobs, more...), append(cells, one)
				}
			}
		}
	}
	return cells, jobs, nil
}

// each lists the launch speeds of a comparison; 0 leaves the calibration's.
func (c *comparison) each() []controller.Speed {
	if len(c.speeds) == 0 {
		return []controller.Speed{0}
	}
	return c.speeds
}

// jobs prepares one launch for each seed; files are kept of the first.
func (s *setup) jobs(name string, o demoOptions) ([]*job, error) {
	var problems controller.Problems
	cal := s.cal
	if !cal.Seal(&problems) {
		return nil, fmt.Errorf("calibration: %s: %s", problems.List[0].Field, problems.List[0].Reason)
	}
	model, findings := sim.Compile(s.car)
	if len(findings) > 0 {
		return nil, errors.New(findings[0].String())
	}
	script, wrong := files.ParseScript("", s.script, files.DriverWords())
	if wrong.Failed() {
		return nil, wrong
	}
	var jobs []*job
	for i := range o.repeats {
		cond := s.cond
		cond.Seed = o.seed + uint64(i)
		j := &job{traceAfter: demoTraceAfter, overwrite: o.force, Job: &scenario.Job{
			Name: s.car.Name + ": " + name, Verb: "demo", Repeat: fmt.Sprintf("holdline demo --seed %d --repeats %d", o.seed, o.repeats),
			Seed: cond.Seed, Cal: &cal, Launch: &scenario.Launch{
				Model: model, Cond: cond, Script: script, Shift: s.shift,
				Until: sim.Marks[6], Longest: demoLongest, Target: s.target, Teeth: true,
			},
		}}
		if i == 0 && o.out != "" {
			j.folder = filepath.Join(o.out, harness.Slug(s.car.Name), harness.Slug(name))
		}
		jobs = append(jobs, j)
	}
	return jobs, nil
}

const (
	demoLongest    = 30 // s
	demoTraceAfter = 3  // s
)
