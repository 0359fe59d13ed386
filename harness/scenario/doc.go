// Package scenario turns scenario files into runs: it loads what a file names,
// a simulated car or a recording, a calibration, faults and requirements, lists
// a job for every combination of varied values and every seed, and drives a unit
// through each.
//
// A run is a pure function of the files, the changes and the seed. The same job
// serves the reference controller in process, a rig behind a wire, and a sweep.
package scenario
