package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math/big"
	"strings"

	"farthing/pipeline"
	"farthing/pipeline/kitchen"
	"farthing/pipeline/result"

	"github.com/spf13/cobra"
)

// dietCaution goes with every least-cost diet.
const dietCaution = "A least-cost diet is a yardstick of prices: it knows only the nutrients and limits it is given. It is not dietary advice and not a ration. What a person should eat is for a dietitian and local guidelines to say."

// dietAnswer is what diet prints with --json.
type dietAnswer struct {
	Schema    string            `json:"schema"`
	Edition   string            `json:"edition"`
	AsOf      string            `json:"as_of"`
	Kind      string            `json:"kind"`
	Region    string            `json:"region"`
	Month     string            `json:"month"`
	Group     string            `json:"person_group"`
	Feasible  bool              `json:"feasible"`
	Cost      *float64          `json:"cost_per_day_lcu"`
	Currency  string            `json:"currency_code"`
	Foods     []json.RawMessage `json:"foods"`
	Nutrients []json.RawMessage `json:"nutrients"`
	Groups    []json.RawMessage `json:"groups"`
	Conflict  []string          `json:"conflict"`
	LeftOut   []string          `json:"left_out"`
	Caution   string            `json:"caution"`
}

func (c *cli) dietCommand() *cobra.Command {
	a := kitchen.DietAsk{}
	var month, kcal string
	var atMost []string
	cmd := &cobra.Command{
		Use:   "diet",
		Short: "The least cost of enough energy, of the nutrients too, or of a healthy diet",
		Long: `The least cost of a person's day at a region's typical prices of a month: of enough energy from the cheapest starchy
staple, of a diet within the bounds of a person group (tables/requirements, else the reference intakes), or of a healthy diet
by food groups. Each least-cost answer is checked by a certificate in exact arithmetic. Where no diet meets all bounds, the
ones that contradict are named.` + "\n" + exitHelp,
		Example: "  farthing diet --workspace tavrin --kind nutrients --person-group adult --month 2023-01\n  farthing diet --workspace tavrin --kind energy --kcal 2100 --person-group adult --at-most oats=0.2",
		Args:    args(cobra.NoArgs),
		RunE: func(*cobra.Command, []string) error {
			_, e, err := c.edition()
			if err != nil {
				return err
			}
			k, err := pipeline.Kitchen(e)
			if err != nil {
				return err
			}
			def := k.Default("")
			if a.Region == "" {
				a.Region = def.Region
			}
			if a.Month = def.Month; month != "" {
				if a.Month, err = result.ParseMonth(month); err != nil {
					return usageError{err}
				}
			}
			if kcal != "" {
				n, ok := new(big.Rat).SetString(kcal)
				if !ok || n.Sign() <= 0 {
					return usageError{fmt.Errorf("--kcal %q: a number above 0", kcal)}
				}
				a.Kcal = n
			}
			a.AtMost = map[string]*big.Rat{}
			for _, text := range atMost {
				item, amount, ok := strings.Cut(text, "=")
				n, okN := new(big.Rat).SetString(amount)
				if !ok || !okN || n.Sign() < 0 {
					return usageError{fmt.Errorf("--at-most %q: write it as item=0.3, in base units a day", text)}
				}
				a.AtMost[item] = n
			}
			x, err := k.Diet(a)
			if err != nil {
				return err
			}
			answer := dietAnswer{"farthing.diet/1", e.Hash, e.AsOf, a.Kind, a.Region, a.Month.String(), x.Ask.Group, x.Cost.OK, value(x.Cost), x.Currency,
				rowsOfJSON(x.Foods), rowsOfJSON(x.Levels), rowsOfJSON(x.Groups), append([]string{}, x.Conflict...), append([]string{}, x.LeftOut...), dietCaution}
			return c.print(answer, func(out io.Writer) { printDiet(out, x) })
		},
	}
	f := cmd.Flags()
	f.StringVar(&a.Kind, "kind", "nutrients", "energy, nutrients or healthy")
	f.StringVar(&a.Region, "region", "", "typical prices of this region (default that of [meals])")
	f.StringVar(&month, "month", "", "of this month, as 2024-02")
	f.StringVar(&a.Group, "person-group", "", "of tables/requirements, else of the reference intakes (default that of [meals], else the only one)")
	f.StringVar(&kcal, "kcal", "", "energy a day (default the group's)")
	f.StringArrayVar(&atMost, "at-most", nil, "item=amount: the most of it a day that is acceptable, in base units as bought")
	f.StringArrayVar(&a.Without, "without", nil, "leave this item out")
	return cmd
}

func printDiet(out io.Writer, x *kitchen.DietAnswer) {
	a := x.Ask
	fmt.Fprintf(out, "least cost of %s, one person and day, %s, %s: ", map[string]string{"energy": "enough energy", "nutrients": "the nutrients of " + a.Group, "healthy": "a healthy diet"}[a.Kind], a.Region, a.Month)
	switch {
	case len(x.Conflict) > 0:
		fmt.Fprintln(out, "no diet meets all of these together; without any one of them there is one")
		for _, w := range x.Conflict {
			fmt.Fprintln(out, "  "+w)
		}
	case !x.Cost.OK:
		fmt.Fprintln(out, "not known")
	default:
		fmt.Fprintf(out, "%s %s\n\n", x.Cost.Fixed(4), x.Currency)
	}
	if len(x.Foods) > 0 {
		printTable(out, x.Foods, []string{"item", "ap_quantity_per_day", "base_unit", "cost_lcu", "least_quantity", "most_quantity", "at_its_limit"})
		fmt.Fprintln(out)
		printTable(out, x.Levels, []string{"nutrient", "amount", "unit", "lower", "upper", "binding"})
		for _, n := range x.Levels {
			switch {
			case n.Binding == "" || !n.OneMore.OK:
			case n.OneMore.V > 0:
				fmt.Fprintf(out, "one more %s of %s costs %s\n", n.Unit, n.Nutrient, n.OneMore.Fixed(6))
			case n.OneMore.V < 0 && n.Binding == "equal":
				fmt.Fprintf(out, "one more %s of %s saves %s\n", n.Unit, n.Nutrient, result.Some(-n.OneMore.V).Fixed(6))
			case n.OneMore.V < 0:
				fmt.Fprintf(out, "one more %s of %s allowed saves %s\n", n.Unit, n.Nutrient, result.Some(-n.OneMore.V).Fixed(6))
			}
		}
		for _, f := range x.Foods {
			if f.OneMore.V < 0 {
				fmt.Fprintf(out, "one more %s of %s acceptable saves %s\n", f.BaseUnit, f.Item, result.Some(-f.OneMore.V).Fixed(6))
			}
		}
	}
	if len(x.Groups) > 0 {
		printTable(out, x.Groups, []string{"group", "kcal", "items", "cost_lcu"})
	}
	for _, w := range x.LeftOut {
		fmt.Fprintln(out, "left out: "+w)
	}
	fmt.Fprintln(out, "\n"+dietCaution)
}
