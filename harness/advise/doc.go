// Package advise says what a calibrator could change: it launches a simulated car
// many times, moves the calibration's own knobs in small steps, and reports what
// gains time on a surface, how sure that is, and what it costs elsewhere.
//
//	Question -> Ask -> Answer -> Print, Page
//
// # The search
//
// A pass tries every knob one step either way, each candidate on the same seeds as
// the present settings, so that surface, air, driver and combustion are drawn
// alike and their scatter cancels in the difference (common random numbers). The
// few best are launched more often; the best of them is then judged on seeds that
// had no part in choosing it, by Student's interval of the paired differences. If
// that lies below zero the step is taken; one knob changes in a pass. Where no
// step of full size helps, half and quarter steps are tried, and then the search
// ends: it says flat where what is left cannot be told from scatter.
//
// What is reported is measured on further seeds, before and after. A candidate
// that fails a requirement, breaks a limit, or does not leave the line where the
// present settings do, is never taken, nor one that stands half a step from such
// a one.
//
// Results are those of a model: they show directions, not the numbers of a car.
package advise
