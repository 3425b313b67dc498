package main

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"farthing/pipeline"

	"github.com/spf13/cobra"
)

func (c *cli) indexCommand() *cobra.Command {
	q := pipeline.IndexRequest{Columns: map[string]string{}}
	var columns []string
	cmd := &cobra.Command{
		Use:   "index FILE",
		Short: "Index numbers of a table of prices and quantities",
		Long: `Index numbers of a CSV table with a period (or region), a product, a price a unit
and a quantity on each row; the first period is 100. It needs no workspace. Periods
are taken in order of the numbers in their names (2024-2 before 2024-10).
METHOD is tpd, weighted_tpd (shares of value), value_tpd (values), geary_khamis, or
direct_, chained_, geks_ or weighted_geks_ before a formula: jevons, laspeyres, paasche,
fisher, walsh, tornqvist and others; a wrong name lists them.` + "\n" + exitHelp,
		Example: "  farthing index sales.csv --method geks_tornqvist --window 13 --splice mean",
		Args:    args(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, list []string) error {
			q.File = list[0]
			for _, pair := range columns {
				ours, theirs, ok := strings.Cut(pair, "=")
				if !ok {
					return usageError{fmt.Errorf("--column %s: write it as price=NAME", pair)}
				}
				q.Columns[ours] = theirs
			}
			if cmd.Flags().Changed("splice") && q.Window == 0 {
				return usageError{errors.New("--splice links rolling windows: say how long they are with --window")}
			}
			rows, err := pipeline.IndexFile(q)
			if err != nil {
				return err
			}
			answer := struct {
				Schema string              `json:"schema"`
				Method string              `json:"method"`
				Window int                 `json:"window,omitempty"`
				Splice string              `json:"splice,omitempty"`
				Rows   []pipeline.IndexRow `json:"rows"`
			}{"farthing.index/1", q.Method, q.Window, "", rows}
			if q.Window > 0 {
				answer.Splice = q.Splice
			}
			return c.print(answer, func(out io.Writer) {
				fmt.Fprintln(out, "period,index,n,of,value_share")
				for _, r := range rows {
					fmt.Fprintf(out, "%s,%s,%d,%d,%s\n", r.Period, optional(r.Index, 6), r.N, r.Of, optional(r.Share, 4))
				}
			})
		},
	}
	flags := cmd.Flags()
	flags.StringVar(&q.Method, "method", "direct_fisher", "how periods are compared")
	flags.BoolVar(&q.Monthly, "monthly", false, "periods are days: compare their months")
	flags.IntVar(&q.Window, "window", 0, "periods of a rolling window; 0 takes all at once")
	flags.StringVar(&q.Splice, "splice", "movement", "how a new window is linked: movement, window, half, half_next, mean, mean_excluding_last")
	flags.StringArrayVar(&columns, "column", nil, "which column of the file is ours, as price=prices; may be repeated")
	return cmd
}

func optional(v *float64, decimals int) string {
	if v == nil {
		return ""
	}
	return fmt.Sprintf("%.*f", decimals, *v)
}
