package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"farthing/pipeline"

	"github.com/spf13/cobra"
)

func (c *cli) traceCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "trace KEY",
		Short: "Walk from a published value to the lines of the files behind it",
		Long: `Walk from a published value to the lines of the files behind it, computing it again.
KEY is table/key columns/column in the order of the CSV, each part percent-encoded.` + "\n" + exitHelp,
		Example: "  farthing trace --workspace tavrin reach/food-support/maximum/tavrin/single/staples/2024-03/reach_days",
		Args:    args(cobra.ExactArgs(1)),
		RunE: func(_ *cobra.Command, list []string) error {
			w, err := c.open()
			if err != nil {
				return err
			}
			n, err := pipeline.Trace(w, list[0])
			if err != nil {
				return err
			}
			return c.print(n, func(out io.Writer) { printNode(out, n, 0) })
		},
	}
}

func printNode(out io.Writer, n *pipeline.Node, depth int) {
	name := n.Key
	if n.ObservationID != "" {
		name = "observation " + n.ObservationID
	}
	value, _ := json.Marshal(n.Value)
	fmt.Fprintf(out, "%s%s = %s", strings.Repeat("  ", depth), name, value)
	if n.Formula != "" {
		fmt.Fprintf(out, "   [%s]", n.Formula)
	}
	fmt.Fprintln(out)
	if n.File != "" {
		fmt.Fprintf(out, "%s  %s:%d: %s\n", strings.Repeat("  ", depth), n.File, n.Line, n.Text)
	}
	for _, in := range n.Inputs {
		printNode(out, in, depth+1)
	}
}
