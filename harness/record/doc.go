// Package record reads and writes recordings as delimited text, the way that
// loggers really write it, and samples them.
//
// [Read] and [ReadFile] take comma, semicolon or tab, decimal point or comma, a
// byte-order mark, either line end, trailing separators, quoted titles, units
// in brackets, in a row of their own or nowhere, and lines of text before the
// titles. What is not stated in [Options] is found out from the first lines.
// What cannot be read is refused with line and column; a bad file gives all
// its findings at once, up to a bound. Memory is bounded by [Options.MaxCells],
// a line by [Options.MaxLine], and no input makes the reader panic.
//
// Times are whole microseconds, so that the same file gives the same samples
// on every processor. A missing value is NaN. [Channel.Cursor] walks a channel
// forwards without allocating and says of each value how old and how fresh it
// is. [ParseUnit] turns a unit as written into a line to base units; [Suggest]
// guesses which channel feeds which input. [Writer] writes results.
//
// A column in words becomes numbers with [Options.Words]; text in a column that
// nobody wants ([Options.Need]) is no error. [ReadTrace] reads a trace of our own,
// which names its inputs itself.
package record
