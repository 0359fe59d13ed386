// Package report turns runs into pages that a person would rather look at than
// read: Page shows one run, Index lists many, Overlay lays two over each other,
// Tables draws a calibration's tables.
//
// A page is one HTML file. It needs no network, opens from disk, can be read on a
// phone in daylight and prints its summary on one sheet of paper. It carries the
// whole trace, packed, and a script that zooms and reads values out; without the
// script a plain drawing and tables remain. Same input, same bytes.
//
// Everything that a page says of a run is taken from its harness.Results and its
// harness.Trace, so that ReadFolder can rebuild it from results.json, trace.csv
// and events.csv. Names in those are a stranger's: they appear as text, with
// control characters and changes of writing direction spelled out.
//
// results.schema.json describes results.json.
package report
