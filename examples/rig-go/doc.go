// Command rig-go is the reference controller as a rig: firmware for a Cortex-M3
// through TinyGo, and the same program on a desk, where it speaks on standard
// input and output.
//
//	rig-go [IMAGE]
//
// IMAGE is a calibration image. The board takes it from its calibration page;
// both also take one over the link.
package main
