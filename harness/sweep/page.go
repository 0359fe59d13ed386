package sweep

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/holdline/holdline/harness"
)

const pageHead = `<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>%s</title>
<style>
body { font: 16px/1.45 sans-serif; color: #000; background: #fff; max-width: 46rem; margin: 0 auto; padding: 0.8rem; }
h1 { font-size: 1.35rem; margin: 0.4rem 0; } h2 { font-size: 1.1rem; margin: 1.6rem 0 0.4rem; border-top: 1px solid #000; padding-top: 0.5rem; }
svg { width: 100%%; height: auto; display: block; }
table { border-collapse: collapse; font-variant-numeric: tabular-nums; }
th, td { text-align: right; padding: 0.1rem 0.6rem 0.1rem 0; border-bottom: 1px solid #ccc; font-weight: normal; white-space: nowrap; }
th { border-bottom-color: #000; vertical-align: bottom; } th:first-child, td:first-child { text-align: left; }
.wide { overflow-x: auto; }
.caution { border: 2px solid #000; padding: 0.5rem 0.7rem; }
p.small { font-size: 0.85rem; }
@media print { body { max-width: none; } h2 { break-after: avoid; } svg, table { break-inside: avoid; } }
</style>
</head>
<body>
`

// page is the summary for people: one file, without scripts, that prints.
func (s *Summary) page() []byte {
	var b strings.Builder
	fmt.Fprintf(&b, pageHead, esc(s.Name))
	fmt.Fprintf(&b, "<h1>%s</h1>\n<p>%d simulated launches. Verdict: <b>%s</b>. Results of a model: %s.</p>\n", esc(s.Name), s.Launches, esc(verdictWords(s.Verdict)), esc(modelNote))
	if s.Caution != "" {
		fmt.Fprintf(&b, "<p class=\"caution\">%s</p>\n", esc(s.Caution))
	}
	for i := range s.Pictures {
		s.Pictures[i].writePage(&b)
	}
	s.writeCounts(&b)
	s.writeValues(&b)
	writeNoted(&b, "Failures, first launches first", s.Failures)
	writeNoted(&b, "Smallest margins", s.Worst)
	fmt.Fprintf(&b, "<p class=\"small\">Plan %s, program %s. A launch is repeated by its number: holdline sweep PLAN --launch N -o DIR.</p>\n</body>\n</html>\n", esc(s.Plan[:tagLength]), esc(s.MadeBy))
	return []byte(b.String())
}

func upper(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

func verdictWords(v string) string {
	if v == "none" {
		return "nothing was required"
	}
	return v
}

// writePage draws a picture, with what its lines and bands mean.
func (d *Drawing) writePage(b *strings.Builder) {
	if len(d.Lines) == 0 {
		return
	}
	c := chart{d: d, share: d.Form == formWord(Limits)}
	fmt.Fprintf(b, "<h2>%s</h2>\n", esc(upper(c.title())))
	b.WriteString(svg(d))
	switch {
	case c.share:
		b.WriteString("<p class=\"small\">What took most of the time to 60 ft, as a share of the launches at each place.</p>\n")
	default:
		b.WriteString("<p class=\"small\">Lines: medians. Bands: from the tenth to the ninetieth percentile of the launches at each place.")
		if d.Binned {
			b.WriteString(" Points stand for a stretch of the axis, at its middle.")
		}
		if d.Without > 0 {
			fmt.Fprintf(b, " Left out: %s without this value.", harness.Count(d.Without, "launch"))
		}
		b.WriteString("</p>\n")
	}
	if d.Form == formWord(Map) {
		d.writeMap(b)
	}
}

// writeMap is the picture as a table of medians.
func (d *Drawing) writeMap(b *strings.Builder) {
	var xs []string
	seen := map[string]bool{}
	for _, m := range (&chart{d: d}).points() {
		if !seen[m.X] {
			seen[m.X] = true
			xs = append(xs, m.X)
		}
	}
	inOrder(xs)
	fmt.Fprintf(b, "<div class=\"wide\"><table>\n<tr><th>%s \\ %s</th>", esc(inWords(d.By)), esc(inWords(d.X)))
	for _, x := range xs {
		fmt.Fprintf(b, "<th>%s</th>", esc(x))
	}
	b.WriteString("</tr>\n")
	for _, l := range d.Lines {
		at := map[string]string{}
		for _, p := range l.Points {
			at[p.X] = short(p.Median)
		}
		fmt.Fprintf(b, "<tr><td>%s</td>", esc(l.Label))
		for _, x := range xs {
			fmt.Fprintf(b, "<td>%s</td>", at[x])
		}
		b.WriteString("</tr>\n")
	}
	fmt.Fprintf(b, "</table></div>\n<p class=\"small\">Medians of %s.</p>\n", esc(Column{Name: inWords(d.Value.Name), Unit: d.Value.Unit}.title()))
}

func (c *chart) points() (all []LinePoint) {
	for _, l := range c.d.Lines {
		all = append(all, l.Points...)
	}
	return all
}

// short writes a number to five digits.
func short(x float64) string { return strconv.FormatFloat(x, 'g', 5, 64) }

func (s *Summary) writeCounts(b *strings.Builder) {
	b.WriteString("<h2>Launches</h2>\n<table>\n")
	for _, part := range []struct {
		title string
		list  []Count
	}{{"outcome", s.Outcomes}, {"verdict", s.Verdicts}, {"limited by", s.Limits}, {"failed requirement, of each launch the first three", s.FailedBy}} {
		if len(part.list) == 0 {
			continue
		}
		fmt.Fprintf(b, "<tr><th>%s</th><th>launches</th></tr>\n", part.title)
		for _, c := range part.list {
			fmt.Fprintf(b, "<tr><td>%s</td><td>%d</td></tr>\n", esc(c.Word), c.Launches)
		}
	}
	b.WriteString("</table>\n")
}

func (s *Summary) writeValues(b *strings.Builder) {
	b.WriteString("<h2>All launches together</h2>\n<div class=\"wide\"><table>\n<tr><th>value</th><th>n</th><th>mean</th><th>sd</th><th>lowest</th><th>10 %</th><th>median</th><th>90 %</th><th>highest</th></tr>\n")
	for _, v := range s.Values {
		fmt.Fprintf(b, "<tr><td>%s</td><td>%d</td>", esc(v.title()), v.N)
		for _, x := range []float64{v.Mean, v.SD, v.Lowest, v.P10, v.Median, v.P90, v.Highest} {
			fmt.Fprintf(b, "<td>%s</td>", short(x))
		}
		b.WriteString("</tr>\n")
	}
	b.WriteString("</table></div>\n")
}

const notedOnPage = 20

func writeNoted(b *strings.Builder, title string, list []Noted) {
	if len(list) == 0 {
		return
	}
	fmt.Fprintf(b, "<h2>%s</h2>\n<div class=\"wide\"><table>\n<tr><th>launch</th><th>seed</th><th>verdict</th><th>closest requirement</th><th>scaled margin</th><th>failed, or why not run</th></tr>\n", title)
	for _, n := range list[:min(len(list), notedOnPage)] {
		why := n.Failed
		if n.Why != "" {
			why = n.Outcome + ": " + n.Why
		}
		fmt.Fprintf(b, "<tr><td>%d</td><td>%d</td><td>%s</td><td>%s</td><td>%s</td><td style=\"text-align:left\">%s</td></tr>\n",
			n.Launch, n.Seed, esc(n.Verdict), esc(n.Closest), short(n.Margin), esc(cutWord(why, 120)))
	}
	b.WriteString("</table></div>\n")
}
