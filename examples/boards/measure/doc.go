// Command measure runs the controller on a board or on a desk, over the same
// inputs, and prints what came of it as lines of "name value". The sums must
// agree; on a board that counts instructions it prints their number as well, and
// how much stack a run took.
//
//	measure IMAGE
//
// The board takes the calibration image from its calibration page.
package main
