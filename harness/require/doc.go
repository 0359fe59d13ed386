// Package require judges a run by requirements: statements in plain words over
// the channels and moments of a trace, each answered with a verdict and with a
// margin that says by how much.
//
//	always (sequence is held implies engine_speed <= ceiling + 250 rpm)
//	always (at release implies eventually within 200 ms timing >= 18 deg)
//	always (rising(brake) implies not shot_open until within 500 ms arm)
//
// The logic is signal temporal logic (Maler & Nickovic 2004) with margins in
// size and in time (Donze & Maler 2010). Judge one formula with Evaluate; bind
// many to one kind of trace with Compile and use the Set on trace after trace.
// Monitor judges a run while it is going on.
//
// # Values
//
//	engine_speed, shot1.duty     a channel; "oil pressure" if it needs quotes
//	5000 rpm, 1.5 bar, 20 ms     a number with its unit; Units lists them
//	0.85                         a bare number: only for channels without unit
//	x + y, x - y, x * y, x / y   arithmetic; * and / make units: rpm * ms is an angle
//	abs(x), min(x, y), max(x, y)
//	delta(x, 20 ms)              x now less x 20 ms ago
//	slope(x, 20 ms)              the same per second: rpm/s for a channel in rpm
//	time_since(p)                ms since condition p was last true; no end of ms if never
//	value_at(x, release)         x when the moment release last came; unknown before
//
// Units must fit: adding rpm to ms is refused, and so is a bare number where a
// unit belongs ("throttle >= 90": write 90 percent), except 0, which fits all.
// Different units of one dimension convert. 10 degC is a step of temperature;
// there is no other scale to convert it to.
//
// # Conditions
//
//	x <= 5 rpm   <, <=, >, >=    a comparison, with a margin
//	gear == 2    ==, !=          exact, without a margin: use abs(x - c) <= d for one
//	shot_open                    a switch is on
//	sequence is held             a state has this label; "is not" for any other
//	inhibit has voltage          a set of flags contains this one
//	at release                   the moment release comes at this very tick
//	true, false
//	not p;  p and q;  p or q;  p implies q
//	rising(p), falling(p)        p became true, or false, at this tick
//
// At the first tick nothing rises or falls.
//
// # Time
//
// The operators look from the present tick on, or back from it. WINDOW is
// optional; without it they reach to the end of the run, or back to its start.
//
//	always WINDOW p              p at every tick of the window
//	eventually WINDOW p          p at one tick at least
//	p until WINDOW q             q at some tick of the window, and p at every tick from now up to but not including that one
//	historically WINDOW p        p at every tick, looking back
//	once WINDOW p                p at one tick at least, looking back
//	p since WINDOW q             q at some tick, and p at every tick after that one up to now
//
// Windows, with an example each:
//
//	within 200 ms                from now to 200 ms away, both included
//	from 50 ms to 200 ms         both included; for past operators, so long ago
//	before ended                 from now up to but not including the next time that ended comes after now
//	back to release              from the latest time that release came, now included, to now
//	between release and ended    every stretch that starts with release at or after now and ends before the next ended
//	after release                the same without an end
//
// before is for always, eventually and until; back to for historically, once
// and since; between and after for always and eventually. These two judge each
// stretch by itself: "eventually between A and B p" stands for
//
//	always (at A implies eventually before B p)
//
// If the second moment does not come, the stretch lasts to the end of the run.
// A window keeps the ticks that lie inside its times; if none does, the formula
// is refused.
//
// # Grammar
//
//	formula    = or [ "implies" formula ] .
//	or         = and { "or" and } .
//	and        = until { "and" until } .
//	until      = unary [ ( "until" | "since" ) [ window ] unary ] .
//	unary      = ( "not" | ( "always" | "eventually" | "historically" | "once" ) [ window ] ) unary
//	           | comparison .
//	comparison = sum [ ( "<" | "<=" | ">" | ">=" | "==" | "!=" ) sum ]
//	           | name ( "is" [ "not" ] | "has" ) name .
//	sum        = product { ( "+" | "-" ) product } .
//	product    = negation { ( "*" | "/" ) negation } .
//	negation   = { "-" } primary .
//	primary    = number [ unit ] | name | "at" name | "true" | "false"
//	           | function "(" arguments ")" | "(" formula ")" .
//	window     = "within" time | "from" time "to" time | "before" name
//	           | "after" name | "between" name "and" name | "back" "to" name .
//
// A prefix operator takes the comparison next to it: "always p and q" is
// "(always p) and q". A name is letters, digits, underscores and inner dots, or
// anything in double quotes; keywords need quotes. White space separates and
// means nothing else.
//
// # Verdict and margin
//
// A formula is judged at the first tick. Positive margin holds, negative fails:
// the margin of x <= c is c - x; not changes the sign; and, always and
// historically take the smallest, or, eventually and once the largest, p
// implies q the larger of the one of q and minus the one of p. The size is how
// far any value may move before the verdict can change. On the limit itself the
// margin is 0 and the verdict is the one of plain logic: <= holds, < fails.
//
// Switches, states, flags, moments, == and != have a side but no size: their
// margin is infinite, so that a formula's margin is that of its quantities.
//
// Since rpm and percent do not compare, margins are divided by a scale before
// the smallest or largest is taken: the one of the Requirement for its unit, or
// else the largest that a channel of that unit declares in the comparison, or
// else the unit's own. Result.Margin gives both the scaled margin and, from the
// comparison that set it, the one in its own unit; Result.Tick is when.
//
// # What was not seen
//
// An unknown value is a margin between minus and plus infinity, and the bounds
// go through the operators. If they leave both outcomes open, the verdict is
// Inconclusive, with the bounds. Unknown are
//
//   - what lies beyond the last tick, for a window in time that reaches there;
//   - samples that are NaN, infinite or missing, and arithmetic without a
//     result, such as a division by zero;
//   - value_at before the moment first came.
//
// Without a time limit a window ends with the run: "always p" asks for the
// ticks that there are, "eventually p" fails if p did not come. If the trace
// stopped before the run did (Signals.Complete is false), such a window goes on
// into the unknown: always can then still fail but not hold, eventually hold
// but not fail. Before the first tick nothing was: a window that lies there is
// cut off, and if nothing is left of it, historically holds and once fails.
//
// # Vacuous passes
//
// "p implies q" is true if p never is. Result.Vacuous lists the premises that
// were never true at any tick where they were asked.
//
// # Margin in time
//
// Result.Earlier and Later say by how much conditions and moments may come
// earlier or later, each on its own, before the verdict can change. Instead of
// a margin, each comparison, switch or moment gives the number of ticks for
// which its truth stays as it is; the operators combine those as they do
// margins. Beyond both ends of the trace everything is taken to stay as it is.
//
// # Runs, files and standard sets
//
// OfTrace shows a harness.Trace as Signals: its columns by names that formulas
// can spell, what its commits add up to, and its moments. Standard gives the
// requirements that ship, with the numbers of a calibration filled in; Include
// and Read take files of a person's own, which build on those. Judge and Court
// give verdicts for results.json, WriteJUnit for JUnit XML. REQUIREMENTS.md in
// this folder explains files, channels and values; BROKEN.md shows what the
// standard sets catch.
//
// # Between samples
//
// A channel is sampled at ticks. One that is stored at every k-th tick only is
// filled in by holding the last sample or along a straight line, as its column
// declares. Nothing is assumed between ticks.
package require
