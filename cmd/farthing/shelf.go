package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"

	"farthing/pipeline"
	"farthing/pipeline/result"

	"github.com/spf13/cobra"
)

func (c *cli) shelfCommand() *cobra.Command {
	var per, region, code string
	var days int
	cmd := &cobra.Command{
		Use:   `shelf ITEM... | "LABEL" "LABEL"`,
		Short: "Packs and grades ranked by unit price",
		Long: `Rank offers by unit price, the cheapest first, with the difference to it.

A label is a price and then a pack, as "2.49 500 g", "1.99/kg", "3 for 5.00, 6 x 330 ml" or, with
both prices, "1.89 or 3 for 5.00, 6 x 330 ml". It needs no workspace; in one with the decimal comma
prices have it. What is typed as the digits of a bar code is checked: a price or weight that the
code may hold is told, never assumed.

ITEM is a name of tables/items: of each variety, grade, pack and outlet the latest price that
counts, from the newest edition. What begins with a digit or the sign of a currency is a label.` + "\n" + exitHelp,
		Example: "  farthing shelf \"2.49 500 g\" \"1.99/kg\" --per 100g\n  farthing shelf oats --workspace tavrin --region mirrow-bay\n  farthing shelf --gtin 9520000009045",
		RunE: func(cmd *cobra.Command, list []string) error {
			answer := struct {
				shown
				Codes []pipeline.ShelfCode `json:"codes"`
			}{shown{Schema: "farthing.shelf/1", Filters: map[string]string{}, Rows: []json.RawMessage{}, Warnings: []result.Warning{}}, []pipeline.ShelfCode{}}
			codes := slices.DeleteFunc(slices.Clone(list), func(s string) bool { return !pipeline.IsCode(s) })
			if list = slices.DeleteFunc(list, pipeline.IsCode); code != "" {
				codes = append(codes, code)
			}
			if len(list)+len(codes) == 0 {
				return usageError{errors.New("name an item, or type labels; see farthing shelf --help")}
			}
			for _, one := range codes {
				x, err := pipeline.CodeOf(one)
				if err != nil {
					return err
				}
				answer.Codes = append(answer.Codes, x)
			}
			labels := slices.ContainsFunc(list, pipeline.IsLabel)
			if labels && slices.ContainsFunc(list, func(s string) bool { return !pipeline.IsLabel(s) }) {
				return usageError{errors.New("items or labels, not both: a label begins with its price and stands in quotes")}
			}
			for name, want := range map[string]string{"per": per, "region": region} {
				if want != "" {
					answer.Filters[name] = want
				}
			}
			var rows []pipeline.ShelfRow
			var err error
			columns := []string{"rank", "tied", "offer", "unit_price_lcu", "per", "difference_lcu", "difference_pct"}
			switch {
			case labels && (region != "" || cmd.Flags().Changed("days")):
				return usageError{errors.New("--region and --days go with items")}
			case labels:
				comma := false
				if w, err := c.open(); err == nil {
					comma = w.Prices.Decimal == ","
				}
				rows, err = pipeline.ShelfLabels(list, per, comma)
			case len(list) > 0:
				if days < 1 {
					return usageError{fmt.Errorf("--days %d: at least 1", days)}
				}
				rows, answer.Warnings, err = c.shelfItems(&answer.shown, list, region, days, per)
				columns = []string{"rank", "tied", "item", "grade", "variety", "pack", "outlet", "observed_on", "n_observations", "price_lcu", "unit_price_lcu", "edible_unit_price_lcu", "per", "difference_lcu", "difference_pct"}
			}
			if err != nil {
				return err
			}
			for _, r := range rows {
				answer.Rows = append(answer.Rows, result.JSONRow(r))
			}
			return c.print(answer, func(out io.Writer) {
				for _, x := range answer.Codes {
					printCode(out, x)
				}
				if len(rows) > 0 {
					printTable(out, rows, columns)
				}
				for _, w := range answer.Warnings {
					fmt.Fprintf(out, "%s; %s\n", w.Text, w.Cure)
				}
			})
		},
	}
	flags := cmd.Flags()
	flags.StringVar(&per, "per", "", "unit of the unit price, as 100g, lb or floz_us (default kg, L or each)")
	flags.StringVar(&region, "region", "", "prices of this region and its parts")
	flags.IntVar(&days, "days", 60, "how many days before as_of a price may be old")
	flags.StringVar(&code, "gtin", "", "check the digits of a bar code")
	return cmd
}

// shelfItems ranks prices of the newest edition.
func (c *cli) shelfItems(answer *shown, items []string, region string, days int, per string) ([]pipeline.ShelfRow, []result.Warning, error) {
	_, e, err := c.edition()
	if err != nil {
		return nil, nil, err
	}
	answer.Edition, answer.AsOf = e.Hash, e.AsOf
	answer.Filters["days"] = fmt.Sprint(days)
	for _, item := range items {
		if known := values(e.ItemNames, "item"); !slices.Contains(known, item) {
			return nil, nil, unknownName("item", item, known)
		}
	}
	if known := values(e.Regions, "region"); region != "" && !slices.Contains(known, region) {
		return nil, nil, unknownName("region", region, known)
	}
	rows, warnings, err := pipeline.ShelfItems(e, items, region, days, per)
	return rows, append([]result.Warning{}, warnings...), err
}

func printCode(out io.Writer, x pipeline.ShelfCode) {
	fmt.Fprintf(out, "%s: the check digit fits; in 14 digits %s\n", x.Code, x.GTIN14)
	if x.UPCA != nil {
		fmt.Fprintf(out, "  a UPC-E, in full %s\n", *x.UPCA)
	}
	if x.Restricted {
		fmt.Fprintln(out, "  restricted: the code means something inside one company or region only, and is no key to compare shops by")
	}
	for _, r := range x.Readings {
		fmt.Fprintf(out, "  digits %s: this code may hold a price of %.2f or a weight of %.3f kg: not assumed\n", r.Digits, r.Price, r.Weight)
	}
}
