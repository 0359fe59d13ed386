// Package files reads and writes every text file kind of Holdline: strict
// TOML with a place for every key, and the phrase grammar that scripts pedals
// and switches.
//
// A file kind is described once, as a function that visits its fields
// (see Kind and Block). The same function decodes a text and reports all that
// is wrong with it at once, writes a value back as a commented text, and
// prints the reference table of the kind.
//
//	text -> Parse -> Document -> Kind.Decode -> value + findings
//	value -> Kind.Encode -> text        Kind.Describe -> reference table
//
// Numbers are decimals in the text and scaled integers in the value. The
// conversion is exact (see Scale): no binary floating point takes part.
//
// The kinds themselves: Calibration (LoadCalibration, WriteCalibration) and
// ColumnsKind (LoadColumns, SuggestColumns), which says how a recording feeds the
// controller.
//
// Scripted inputs are phrases in the vocabulary Inputs, such as
//
//	clutch on at 12 s
//	throttle ramp 20 % to 100 % over 0.3 s at 13 s
//	clutch off 0.4 s after manifold pressure above 180 kPa
//
// See ParseScript for the grammar and Player for how a script is run.
package files
