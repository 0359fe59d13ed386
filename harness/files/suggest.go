package files

import (
	"fmt"
	"slices"
	"strings"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/record"
)

// SuggestColumns writes a first columns file for a recording from what titles,
// units and values tell. Each guess comes with its reason and with what a
// person must still state; nothing is stated that the recording does not say,
// so a file that lacks a unit or the zero of a pressure is refused until
// someone has added it. The same recording gives the same text.
func SuggestColumns(r *record.Recording) []byte {
	var out strings.Builder
	writeComment(&out, oneLine("A first columns file for "+r.File+", guessed from titles, units and values. "+
		"Check every line. Where a comment says what to state, state it."))
	fmt.Fprintf(&out, "\nformat = %s\n\n", quote(ColumnsKind.Format))
	suggestScript(&out)
	suggestRecording(&out, r)
	used := map[int]bool{}
	missing := suggestChannels(&out, r, record.Suggest(r), used)
	out.WriteByte('\n')
	writeComment(&out, "Nothing found for: "+strings.Join(missing, ", ")+". A channel that the recording lacks can have a constant instead of a column:")
	out.WriteString("# [channel.lambda]\n# constant = 0.85\n")
	suggestWords(&out, r)
	suggestRest(&out, r, used)
	return []byte(out.String())
}

// suggestScript shows how switches are scripted; a recording seldom has them.
func suggestScript(out *strings.Builder) {
	writeComment(out, "Switches that the recording lacks are scripted, or taken from a column with [switch.NAME], column and on_above or on_below, or on_words and off_words. "+
		"Take the comment signs off and set your own times, in seconds from the start:")
	for _, l := range []string{
		`script = """`, "clutch down off at 0 s", "foot brake  off at 0 s", "clutch down on  from 10 s to 14 s", `"""`,
	} {
		out.WriteString("# " + l + "\n")
	}
}

func suggestRecording(out *strings.Builder, r *record.Recording) {
	out.WriteString("\n[recording]\n")
	switch {
	case r.Found.TimeUnit == "" && r.IntervalUS > 0:
		fmt.Fprintf(out, "rate_hz = %s  # there is no time column: correct it if rows come at another rate\n", rateText(r.IntervalUS))
	case r.Found.TimeUnit != "":
		writeComment(out, oneLine(fmt.Sprintf("Found: time column %s in %s.", quote(r.Found.TimeColumn), r.Found.TimeUnit)))
	}
	var missing []string
	for i := range r.Channels {
		if c := &r.Channels[i]; c.Present > 0 {
			missing = append(missing, c.Text...)
		}
	}
	if len(missing) > 0 {
		slices.Sort(missing)
		writeComment(out, "Texts stand between numbers. If all of these mean that there is no value, say so:")
		fmt.Fprintf(out, "# missing = [%s]\n", quoted(slices.Compact(missing)))
	}
}

func quoted(texts []string) string {
	parts := make([]string, len(texts))
	for i, t := range texts {
		parts[i] = quote(oneLine(t))
	}
	return strings.Join(parts, ", ")
}

// suggestWords shows how a column that is written in words can be a switch.
func suggestWords(out *strings.Builder, r *record.Recording) {
	for i := range r.Channels {
		c := &r.Channels[i]
		if len(c.Text) == 0 || c.Present > 0 {
			continue
		}
		out.WriteByte('\n')
		writeComment(out, oneLine(fmt.Sprintf("Column %s is written in words: %s. If it tells a switch, say which, and what the words mean:", columnText(r, i), quoted(c.Text))))
		fmt.Fprintf(out, "# [switch.NAME]\n# column = %s\n# on_words = []\n# off_words = []\n", columnText(r, i))
	}
}

// rateText is the rate that rows at an interval have, to a thousandth of a
// hertz as the file can say it.
func rateText(intervalUS int64) string {
	return Scale{Mul: 1000}.Format(max((1_000_000_000+intervalUS/2)/intervalUS, 1))
}

// suggestChannels writes the best guess for each input, with the others as
// comments, and returns the inputs for which there is none.
func suggestChannels(out *strings.Builder, r *record.Recording, guesses []record.Guess, used map[int]bool) (missing []string) {
	for _, input := range record.Inputs() {
		name := strings.ReplaceAll(input, "_", "-")
		c, ok := harness.ChannelNamed(name)
		if !ok {
			continue
		}
		var own []record.Guess
		for _, g := range guesses {
			if g.Input == input {
				own = append(own, g)
			}
		}
		if len(own) == 0 {
			missing = append(missing, name)
			continue
		}
		used[own[0].Channel] = true
		suggestChannel(out, r, c, own)
	}
	return missing
}

func suggestChannel(out *strings.Builder, r *record.Recording, c controller.Channel, guesses []record.Guess) {
	g, ch := guesses[0], &r.Channels[guesses[0].Channel]
	out.WriteByte('\n')
	writeComment(out, oneLine(fmt.Sprintf("%d %%: %s.", g.Confidence, g.Reason)))
	for _, other := range guesses[1:] {
		writeComment(out, oneLine(fmt.Sprintf("Or column %s, %d %%: %s.", columnText(r, other.Channel), other.Confidence, other.Reason)))
	}
	fmt.Fprintf(out, "[channel.%s]\ncolumn = %s\n", harness.Channels[c].Name, columnText(r, g.Channel))
	for _, need := range g.Needs {
		writeComment(out, oneLine("State: "+strings.TrimPrefix(need, "state ")+"."))
	}
	suggestUnit(out, c, g)
	if c != controller.Gear {
		out.WriteString("interpolation = \"linear\"\n")
	}
	if ch.SteadyUS > 0 {
		fmt.Fprintf(out, "interval_s = %s  # its value never changes faster: it was sampled more slowly than it was written\n", SecondsInUs.Format(ch.SteadyUS))
	}
}

func suggestUnit(out *strings.Builder, c controller.Channel, g record.Guess) {
	u, known := record.ParseUnit(g.Unit)
	want, _ := quantityOf(c)
	switch {
	case want == "":
	case !known:
		suggestUnits(out, c)
	case fitting(c, u, known) == "":
		fmt.Fprintf(out, "unit = %s\n", quote(oneLine(g.Unit)))
	default:
		out.WriteString("# line = [[WRITTEN, MEANT], [WRITTEN, MEANT]]\n")
		suggestUnits(out, c)
	}
	if want == record.Pressure && u.Reference == record.Unstated {
		out.WriteString("# reference = \"?\"  # absolute or gauge\n")
	}
}

// suggestUnits leaves the choice open: a unit that looks chosen would be left.
func suggestUnits(out *strings.Builder, c controller.Channel) {
	fmt.Fprintf(out, "# unit = \"?\"  # one of %s\n", strings.Join(unitsFor(c), ", "))
}

// columnText names a column so that it is found again: by title, or by number
// where the title is not unique or cannot be written.
func columnText(r *record.Recording, i int) string {
	title := r.Channels[i].Title
	if k, ok := r.Find(title); ok && k == i && title != "" && badText(title, &spec{hasLen: true, maxLen: 200}) == "" && !strings.ContainsAny(title, "\t\n") {
		return quote(title)
	}
	return quote(fmt.Sprintf("#%d", r.Channels[i].Column))
}

func suggestRest(out *strings.Builder, r *record.Recording, used map[int]bool) {
	var rest []string
	for i := range r.Channels {
		if !used[i] && (len(r.Channels[i].Text) == 0 || r.Channels[i].Present > 0) {
			rest = append(rest, columnText(r, i))
		}
	}
	if len(rest) > 0 {
		out.WriteByte('\n')
		writeComment(out, oneLine("Columns without a use: "+strings.Join(rest, ", ")+"."))
	}
}

// oneLine keeps text of a recording from ending a comment.
func oneLine(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7F || r == '\u0085' || r == '\u2028' || r == '\u2029' {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(s, "?"))
}
