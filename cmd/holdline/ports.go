package main

import (
	"encoding/json"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"github.com/holdline/holdline/harness/link"
)

const portsLong = `Ports lists the USB serial devices with what identifies them, without opening or
writing to any. A rig file names a device by its identity, because its path
changes when it is plugged in again.`

func portsCommand() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:   "ports",
		Short: "List USB serial devices",
		Long:  portsLong,
		Args:  takes(0, 0),
		RunE:  func(cmd *cobra.Command, _ []string) error { return listPorts(cmd.OutOrStdout(), asJSON) },
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print the list as JSON")
	return c
}

func listPorts(w io.Writer, asJSON bool) error {
	ports, err := link.Ports()
	if err != nil {
		return withStatus(exitLink, err)
	}
	if asJSON {
		text, err := json.MarshalIndent(append([]link.Identity{}, ports...), "", "  ")
		if err != nil {
			return err
		}
		_, err = fmt.Fprintln(w, string(text))
		return err
	}
	if len(ports) == 0 {
		_, err := fmt.Fprintln(w, "no USB serial device is plugged in")
		return err
	}
	for i := range ports {
		p := &ports[i]
		fmt.Fprintln(w, p.Path)
		for _, x := range [][2]string{{"vendor", p.Vendor}, {"product", p.Product}, {"serial", p.Serial}, {"interface", p.Interface}, {"place", p.Place}} {
			if x[1] != "" {
				fmt.Fprintf(w, "  %-9s = %q\n", x[0], x[1])
			}
		}
		if p.Maker != "" || p.Text != "" {
			fmt.Fprintf(w, "  # %s %s\n", p.Maker, p.Text)
		}
	}
	return nil
}
