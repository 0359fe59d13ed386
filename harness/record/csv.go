package record

import (
	"io"
	"slices"
	"strings"
)

// WriteCSV writes a recording: a column of seconds and the channels, or a
// column of seconds before each channel if not all have the same times. It
// returns the options that read the same times, names, units and values back.
func WriteCSV(out io.Writer, r *Recording) (Options, error) {
	w := NewWriter(out, ',')
	o := Options{Delimiter: ',', Decimal: '.', HeaderLine: 1}
	if r.sharesTime() {
		o.TimeColumn = "#1"
		writeShared(w, r)
	} else {
		o.Pairing = TimeBefore
		writePaired(w, r)
	}
	return o, w.Close()
}

func (r *Recording) sharesTime() bool {
	for i := 1; i < len(r.Channels); i++ {
		if !slices.Equal(r.Channels[0].TimeUS, r.Channels[i].TimeUS) {
			return false
		}
	}
	return true
}

func writeShared(w *Writer, r *Recording) {
	w.Text("Time (s)")
	for i := range r.Channels {
		w.Text(r.Channels[i].heading())
	}
	w.End()
	if len(r.Channels) == 0 {
		return
	}
	for k, t := range r.Channels[0].TimeUS {
		w.Fixed(t, 6)
		for i := range r.Channels {
			w.Float(r.Channels[i].Value[k])
		}
		w.End()
	}
}

func writePaired(w *Writer, r *Recording) {
	rows := 0
	for i := range r.Channels {
		w.Text("Time (s)")
		w.Text(r.Channels[i].heading())
		rows = max(rows, len(r.Channels[i].TimeUS))
	}
	w.End()
	for k := range rows {
		for i := range r.Channels {
			c := &r.Channels[i]
			if k < len(c.TimeUS) {
				w.Fixed(c.TimeUS[k], 6)
				w.Float(c.Value[k])
			} else {
				w.Blank()
				w.Blank()
			}
		}
		w.End()
	}
}

// heading is a title from which splitTitle takes the same name and unit again.
func (c *Channel) heading() string {
	switch {
	case strings.ContainsAny(c.Unit, "()"):
		return c.Name + " [" + c.Unit + "]"
	case c.Unit == "" && !strings.HasSuffix(c.Name, ")") && !strings.HasSuffix(c.Name, "]"):
		return c.Name
	}
	return c.Name + " (" + c.Unit + ")"
}
