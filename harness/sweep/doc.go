// Package sweep runs many simulated launches of one plan, on one machine or as
// the tasks of a scheduler, and makes one table and one page of them.
//
//	Load -> Plan -> Run (a shard) -> file -> Merge (all shards) -> Summary
//
// A plan names scenarios and values by their paths: in the scenario
// ("surface.grip", "driver.does[3]"), in its car ("car.tyre.mu") or in its
// calibration ("calibration.stage.launch.ceiling_rpm"). Values are lists, ranges
// in exact decimal steps, or samples spread over ranges; a scatter differs from
// launch to launch. Every value is put into its file's text before the file is
// read, so that the file's own checks hold, and every value is tried before the
// first launch.
//
// # What always holds
//
// A launch is a pure function of the plan, the launch's number and the seed that
// follows from the plan's seed and that number (LaunchSeed). Shard, host, time,
// workers, stops and resumes do not show: one shard or a thousand give the same
// bytes. The plan's hash covers what the plan says and the content of all files
// that it names, not their names; nothing of two plans, or of two versions of the
// program, is merged.
//
// A shard is a stretch of launch numbers and becomes one file. Run leaves a valid
// file alone, writes under a name of its own, and gives the final name after the
// data is on the disk; what a stopped or killed process has left is taken up
// again. No process knows of another, and none needs a network.
//
// Memory is bounded: rows go to the file as they come, Merge reads them once,
// sums in whole numbers and counts values. Whole traces are kept of no launch
// while a sweep runs: KeepTraces runs those that failed, the worst few, and those
// asked for, again.
//
// # Files
//
// rows.csv is a line a launch, with names and units in its first line; values by
// path have the unit that their own key names. rows.jsonl is a JSON object a
// launch: a line format, because readers for it are everywhere and it needs no
// library, which a columnar one would. A row is at most 1 KB. summary.json and
// index.html are the Summary.
//
// # Statistics
//
// Means and standard deviations of a summary are summed exactly in whole numbers
// of the last decimal, so that they do not depend on the order. Quantiles are
// between order statistics (see stats.Quantile), intervals of medians come of the
// binomial distribution and take the launches for no distribution. stats.Describe
// is the same for a sample in memory, by gonum.
//
// Results are those of a model: they show directions, not the numbers of a car.
package sweep
