// Package fit learns from a recording what it can tell of a car, and says what it
// cannot.
//
//	recording -> Log -> Launch (least squares over the simulated car) -> Report
//	                 -> Ratios, RoadLoad (from driving)               -> Report
//
// # A launch
//
// The simulated car is given what the recording's driver did (throttle, switches,
// and from the launch ceiling on the same controller), and its parameters are
// moved until engine speed, road speeds and manifold pressure come as close to the
// recorded ones as they can: Levenberg 1944 and Marquardt 1963, steps in the
// logarithm of each parameter, derivatives by central differences, brought along by
// secants between them (the plant goes from firing event to firing event, so a step
// must be wider than an event). The sum of squares has many low places: eight searches
// begin at the car file and around it, and each goes to its end, with the file's values
// taken to be within 20 % meanwhile. Two nuisances are moved with them: when the clocks of
// recording and plant agree, and for a clutch whose pedal travel was not recorded how
// long the driver took to let it up.
//
// Residuals of such a fit are not independent: an engine that hunts on its limiter
// is let go at one moment of that or another, and the whole launch remembers it. The
// intervals therefore come from launches that are made with the fitted car, with
// scatter of combustion and the logger's noise, and go through the same fit: a
// parametric bootstrap (Efron and Tibshirani 1993). What they are off in the mean is
// taken off as bias. (Linearised, it covered the truth in 86 to 90 of 100 trials only:
// the sum of squares is rough, and a search can end beside its lowest place.)
//
// # What can be told
//
// A parameter whose interval is wide, or which moves together with another, is not
// guessed: it goes back to the value of the car file, the report says with what it
// could not be told apart, and the rest is fitted anew. (Correlation of estimates,
// and their standard errors, from the covariance of the scaled problem.) The value
// that it goes back to is taken to be known within 10 % (standard deviation, an
// assumption); what the other estimates would move by that is in their intervals.
//
// # Driving
//
// Without a launch a recording can tell gear ratios, from engine speed over road
// speed, and how the car slows down with the throttle shut. It tells nothing of
// torque, grip or mass.
//
// Results are those of a model.
package fit
