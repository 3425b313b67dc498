package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"

	"farthing/pipeline"
	"farthing/pipeline/kitchen"
	"farthing/pipeline/result"

	"github.com/spf13/cobra"
)

func (c *cli) shelfCommand() *cobra.Command {
	var a pipeline.ShelfAsk
	var code string
	cmd := &cobra.Command{
		Use:   `shelf ITEM... | "LABEL" "LABEL"`,
		Short: "Packs and grades ranked by unit price, or by nutrients for money",
		Long: `Rank offers by unit price, the cheapest first, with the difference to it.

A label is a price and then a pack, as "2.49 500 g", "1.99/kg", "3 for 5.00, 6 x 330 ml" or, with
both prices, "1.89 or 3 for 5.00, 6 x 330 ml". It needs no workspace; in one with the decimal comma
prices have it. What is typed as the digits of a bar code is checked: a price or weight that the
code may hold is told, never assumed.

ITEM is a name of tables/items: of each variety, grade, pack and outlet the latest price that
counts, from the newest edition. What begins with a digit or the sign of a currency is a label.

--nutrient ranks items by how much of one nutrient of the food tables a unit of money buys, --by energy
by the energy, --by density by the NRF9.3 nutrient density score of what it buys; items sold by weight,
volume and piece then stand in one list, and all grades of an item hold what its food_code does.
--dish shows what a serving of a recipe costs with each offer in it, and how much more than with the
cheapest of that item. What is not known says why and has no rank.` + "\n" + exitHelp,
		Example: "  farthing shelf \"2.49 500 g\" \"1.99/kg\" --per 100g\n  farthing shelf oats --workspace tavrin --region mirrow-bay\n  farthing shelf lentils oats milk --workspace tavrin --nutrient protein\n" +
			"  farthing shelf tinned-fish --workspace tavrin --by density --dish barley-pot\n  farthing shelf --gtin 9520000009045",
		RunE: func(cmd *cobra.Command, list []string) error {
			answer := struct {
				shown
				Codes   []pipeline.ShelfCode `json:"codes"`
				Density string               `json:"density_measure,omitempty"`
				Caution string               `json:"caution,omitempty"`
			}{shown: shown{Schema: "farthing.shelf/1", Filters: map[string]string{}, Rows: []json.RawMessage{}, Warnings: []result.Warning{}}, Codes: []pipeline.ShelfCode{}}
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
			given := cmd.Flags().Changed
			nourished := given("by") && a.By != "price" && a.By != "edible" || given("nutrient")
			if given("nutrient") && !given("by") {
				a.By = "nutrient"
			}
			asked := map[string]string{"per": a.Per, "region": a.Region, "dish": a.Dish}
			switch {
			case nourished:
				asked["by"], asked["nutrient"] = a.By, a.Nutrient
			case given("by"):
				asked["by"] = a.By
			}
			for name, want := range asked {
				if want != "" {
					answer.Filters[name] = want
				}
			}
			var rows []pipeline.ShelfRow
			var err error
			columns := []string{"rank", "tied", "offer", "unit_price_lcu", "per", "difference_lcu", "difference_pct"}
			switch {
			case labels && (a.Region != "" || given("days") || a.Dish != "" || nourished || given("by")):
				return usageError{errors.New("--region, --days, --by, --nutrient and --dish go with items")}
			case labels:
				comma := false
				if w, err := c.open(); err == nil {
					comma = w.Prices.Decimal == ","
				}
				rows, err = pipeline.ShelfLabels(list, a.Per, comma)
			case len(list) > 0:
				if a.Days < 1 {
					return usageError{fmt.Errorf("--days %d: at least 1", a.Days)}
				}
				a.Items = list
				rows, answer.Warnings, err = c.shelfItems(&answer.shown, a)
				columns = []string{"rank", "tied", "item", "grade", "variety", "pack", "outlet", "observed_on", "n_observations", "price_lcu", "unit_price_lcu", "edible_unit_price_lcu", "per", "difference_lcu", "difference_pct"}
				if nourished {
					answer.Density, answer.Caution = kitchen.DensityMeasure, kitchen.Caution
					columns = []string{"rank", "tied", "item", "grade", "variety", "pack", "outlet", "price_lcu", "unit_price_lcu", "per", "energy_kcal_per_lcu", "nutrient", "nutrient_per_lcu", "nutrient_unit", "density_score", "density_per_lcu"}
				} else {
					answer.Warnings = slices.DeleteFunc(answer.Warnings, func(w result.Warning) bool { return w.Code == "no_nutrients" })
				}
				if a.Dish != "" {
					answer.Caution = kitchen.Caution
					columns = append(columns, "dish_quantity", "base_unit", "per_serving_lcu", "per_serving_difference_lcu")
				}
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
				if answer.Density != "" {
					fmt.Fprintf(out, "\ndensity: %s\n", answer.Density)
				}
				if answer.Caution != "" {
					fmt.Fprintln(out, "\n"+answer.Caution)
				}
			})
		},
	}
	flags := cmd.Flags()
	flags.StringVar(&a.Per, "per", "", "unit of the unit price, as 100g, lb or floz_us (default kg, L or each)")
	flags.StringVar(&a.Region, "region", "", "prices of this region and its parts")
	flags.IntVar(&a.Days, "days", 60, "how many days before as_of a price may be old")
	flags.StringVar(&a.By, "by", "price", "rank by price, edible (the price of the part that is eaten), or by what money buys: energy, nutrient or density")
	flags.StringVar(&a.Nutrient, "nutrient", "protein", "rank by this nutrient of the food tables, as iron or vitamin_c")
	flags.StringVar(&a.Dish, "dish", "", "what a serving of this recipe costs with each offer in it")
	flags.StringVar(&code, "gtin", "", "check the digits of a bar code")
	return cmd
}

// shelfItems ranks prices of the newest edition.
func (c *cli) shelfItems(answer *shown, a pipeline.ShelfAsk) ([]pipeline.ShelfRow, []result.Warning, error) {
	_, e, err := c.edition()
	if err != nil {
		return nil, nil, err
	}
	answer.Edition, answer.AsOf = e.Hash, e.AsOf
	answer.Filters["days"] = fmt.Sprint(a.Days)
	for _, item := range a.Items {
		if known := values(e.ItemNames, "item"); !slices.Contains(known, item) {
			return nil, nil, unknownName("item", item, known)
		}
	}
	if known := values(e.Regions, "region"); a.Region != "" && !slices.Contains(known, a.Region) {
		return nil, nil, unknownName("region", a.Region, known)
	}
	rows, warnings, err := pipeline.ShelfItems(e, a)
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
