package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math/big"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"farthing/pipeline"
	"farthing/pipeline/kitchen"
	"farthing/pipeline/quantity"
	"farthing/pipeline/result"
	"farthing/pipeline/workspace"

	"github.com/spf13/cobra"
)

// mealFlags are what meal and swap ask alike.
type mealFlags struct {
	region, outlet, month, on, household, programme, pantry, servings, then string
	with                                                                    []string
	maxAge                                                                  int
	cupboard                                                                bool
}

func (m *mealFlags) add(cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&m.region, "region", "", "typical prices of this region (default that of [meals])")
	f.StringVar(&m.month, "month", "", "of this month, as 2024-02")
	f.StringVar(&m.outlet, "outlet", "", "the latest prices at this outlet instead")
	f.StringVar(&m.on, "on", "", "the first day of a plan, as 2024-02-29; at an outlet prices are no later (typical ones are of its whole month)")
	f.IntVar(&m.maxAge, "max-age-days", 0, "how many days old the newest price of an item may be (default any of the month; at an outlet 60)")
	f.StringVar(&m.household, "household", "", "whose allowance it is set against")
	f.StringVar(&m.programme, "programme", "", "of this programme")
	f.StringVar(&m.servings, "servings", "", "so many servings of the recipe, or of each dish of the plan")
	f.StringVar(&m.pantry, "pantry", "", "what is in this pantry of tables/pantry is used first")
	f.StringArrayVar(&m.with, "with", nil, "item=grade: take this grade, whatever the recipe says")
	f.BoolVar(&m.cupboard, "buy-cupboard", false, "buy what stands in the cupboard (oil, spice) like all else")
}

// cost costs a recipe or plan of the newest edition as the flags say.
func (c *cli) cost(m *mealFlags, name string) (*kitchen.Kitchen, *result.Edition, *kitchen.Answer, error) {
	_, e, err := c.edition()
	if err != nil {
		return nil, nil, nil, err
	}
	k, err := pipeline.Kitchen(e)
	if err != nil {
		return nil, nil, nil, err
	}
	a := k.Default(name)
	for _, x := range []struct {
		to   *string
		flag string
	}{{&a.Region, m.region}, {&a.Household, m.household}, {&a.Programme, m.programme}, {&a.Pantry, m.pantry}, {&a.Outlet, m.outlet}, {&a.Then, m.then}} {
		if x.flag != "" {
			*x.to = x.flag
		}
	}
	a.MaxAgeDays, a.BuyCupboard, a.With = m.maxAge, m.cupboard, map[string]string{}
	if m.maxAge < 0 {
		return nil, nil, nil, usageError{fmt.Errorf("--max-age-days %d: at least 1", m.maxAge)}
	}
	if m.on != "" {
		if a.On, err = workspace.ParseDay(m.on); err != nil {
			return nil, nil, nil, usageError{fmt.Errorf("--on %q: write a day as 2024-02-29", m.on)}
		}
		a.Month = result.MonthOf(a.On)
	}
	if m.month != "" {
		if a.Month, err = result.ParseMonth(m.month); err != nil {
			return nil, nil, nil, usageError{err}
		}
	}
	if m.outlet != "" && m.on == "" {
		if a.On, err = workspace.ParseDay(e.AsOf); err != nil {
			return nil, nil, nil, err
		}
		if m.month != "" && a.Month.Day(31).Before(a.On) {
			a.On = a.Month.Day(31)
		}
	}
	if m.servings != "" {
		n, err := quantity.ParseDecimal(m.servings, false)
		if err != nil || n.Sign() <= 0 {
			return nil, nil, nil, usageError{fmt.Errorf("--servings %q: a number above 0", m.servings)}
		}
		a.Servings = n
	}
	for _, w := range m.with {
		item, grade, ok := strings.Cut(w, "=")
		if !ok || item == "" {
			return nil, nil, nil, usageError{fmt.Errorf("--with %q: write it as item=grade", w)}
		}
		a.With[item] = grade
	}
	x, err := k.Cost(a)
	return k, e, x, err
}

func rowsOfJSON[T any](rows []T) []json.RawMessage {
	list := []json.RawMessage{}
	for _, r := range rows {
		list = append(list, result.JSONRow(r))
	}
	return list
}

// mealAnswer is what meal prints with --json.
type mealAnswer struct {
	Schema    string            `json:"schema"`
	Edition   string            `json:"edition"`
	AsOf      string            `json:"as_of"`
	Total     *float64          `json:"total"` // null if a line has no cost
	KnownPart *float64          `json:"known_part_lcu"`
	Till      *float64          `json:"till_lcu"`
	Whole     json.RawMessage   `json:"whole"`
	Meals     []json.RawMessage `json:"meals"`
	Lines     []json.RawMessage `json:"lines"`
	Shopping  []json.RawMessage `json:"shopping"`
	Nutrients []mealNutrient    `json:"nutrients"`
	Compare   []mealCompare     `json:"compare"`
	Then      string            `json:"followed_by"` // the recipe or plan that what is left over goes to
	Leftovers []mealLeftover    `json:"leftovers"`
	Warnings  []result.Warning  `json:"warnings"`
	Caution   string            `json:"caution"`
}

type mealNutrient struct {
	Recipe     string   `json:"recipe"`
	Nutrient   string   `json:"nutrient"`
	Unit       string   `json:"unit"`
	PerServing *float64 `json:"per_serving"`
	IsAtLeast  bool     `json:"is_at_least"`
	KnownShare *float64 `json:"known_share"`
	Percent    *float64 `json:"reference_pct"`
	Group      string   `json:"person_group"`
}

type mealCompare struct {
	Per       string   `json:"per"`
	Cost      *float64 `json:"cost_lcu"`
	Allowance *float64 `json:"allowance_lcu"`
	Balance   *float64 `json:"balance_lcu"`
}

type mealLeftover struct {
	Item     string   `json:"item"`
	Grade    string   `json:"grade"`
	Quantity *float64 `json:"quantity"`
	BaseUnit string   `json:"base_unit"`
	Value    *float64 `json:"leftover_lcu"`
	Next     *float64 `json:"used_next_quantity"`
	StrandQ  *float64 `json:"stranded_quantity"`
	Stranded *float64 `json:"stranded_lcu"`
	UseByOn  string   `json:"use_by_on"`
}

func value(n result.Num) *float64 {
	if !n.OK {
		return nil
	}
	return &n.V
}

func (c *cli) mealCommand() *cobra.Command {
	var m mealFlags
	var order, workings string
	cmd := &cobra.Command{
		Use:   "meal NAME",
		Short: "What a recipe or plan costs: the part used, and at the till",
		Long: `Cost a recipe or a plan of tables/recipes and tables/plans at the prices of the newest edition, twice: by the part
used of each pack, and by what leaves the purse when all its packs are bought whole. What is left over is listed with its
value and how long it keeps, with what the next plan uses of it and what spoils, stranded, by the end of that: the same again, or
the one of --then. A line whose weight, yield or price is not known says so; the meal then has no total.
--workings writes the sums as a sheet to check with a pencil: each line's price, pack, part used and cost, the total, the till list,
and how to make it again. In XLSX the costs are formulas.` + "\n" + exitHelp,
		Example: "  farthing meal lentil-loaf --workspace tavrin\n  farthing meal week --workspace tavrin --pantry kitchen\n  farthing meal oat-bake --workspace tavrin --then week\n  farthing meal barley-pot --workspace tavrin --servings 100 --max-age-days 30 --order order.xlsx\n  farthing meal lentil-loaf --workspace tavrin --workings loaf.xlsx",
		Args:    args(cobra.ExactArgs(1)),
		RunE: func(_ *cobra.Command, list []string) error {
			ending := ""
			if workings != "" {
				var err error
				if ending, err = kitchen.WorkingsEnding(workings); err != nil {
					return usageError{fmt.Errorf("--workings %w", err)}
				}
			}
			if order != "" && !strings.EqualFold(filepath.Ext(order), ".xlsx") {
				return usageError{fmt.Errorf("--order %s: an order is a workbook: give it the ending .xlsx", order)}
			}
			if order != "" && filepath.Clean(order) == filepath.Clean(workings) {
				return usageError{fmt.Errorf("--order and --workings both name %s: give each a file of its own", order)}
			}
			k, e, x, err := c.cost(&m, list[0])
			if err != nil {
				return err
			}
			if ending != "" {
				b, err := k.Workings(x, ending)
				if err == nil {
					err = os.WriteFile(workings, b, 0o644)
				}
				if err != nil {
					return err
				}
			}
			if order != "" {
				b, err := k.Order(x)
				if err == nil {
					err = os.WriteFile(order, b, 0o644)
				}
				if err != nil {
					return err
				}
			}
			s := x.Shopping
			answer := mealAnswer{Schema: "farthing.meal/1", Edition: e.Hash, AsOf: e.AsOf, Total: value(s.Portion), KnownPart: value(s.KnownPart), Till: value(s.Till), Whole: result.JSONRow(s),
				Meals: rowsOfJSON(x.Meals), Lines: rowsOfJSON(x.Lines), Shopping: rowsOfJSON(x.Goods), Nutrients: []mealNutrient{}, Then: x.Ask.Then, Leftovers: []mealLeftover{},
				Warnings: append([]result.Warning{}, x.Warnings...), Caution: kitchen.Caution}
			for _, n := range x.Nutrients {
				answer.Nutrients = append(answer.Nutrients, mealNutrient{n.Recipe, n.Nutrient, n.Unit, value(n.PerServing), n.IsAtLeast == "yes", value(n.KnownShare), value(n.Percent), n.PersonGroup})
			}
			for _, d := range x.Meals {
				answer.Compare = append(answer.Compare, mealCompare{"serving of " + d.Recipe, value(d.PerServing), value(d.PerMeal), value(d.Balance)})
			}
			if s.PerPersonDay.OK {
				answer.Compare = append(answer.Compare, mealCompare{"person and day", value(s.PerPersonDay), value(s.PerDay), value(s.Balance)})
			}
			for _, g := range x.Goods {
				if g.Leftover.V > 0 {
					answer.Leftovers = append(answer.Leftovers, mealLeftover{g.Item, g.Grade, value(g.Leftover), g.BaseUnit, value(g.LeftoverLCU), value(g.UsedNext), value(g.StrandedQty), value(g.Stranded), g.UseByOn})
				}
			}
			return c.print(answer, func(out io.Writer) { printMeal(out, x, order, workings) })
		},
	}
	m.add(cmd)
	cmd.Flags().StringVar(&m.then, "then", "", "the recipe or plan that comes next and uses what is left over, with --servings and --with too (default the same again)")
	cmd.Flags().StringVar(&workings, "workings", "", "write the sums as a sheet to check with a pencil: a .csv or .xlsx file")
	cmd.Flags().StringVar(&order, "order", "", "write the shopping as an order in purchase units, an XLSX file")
	return cmd
}

// said is an amount, or the word for there being none.
func said(n result.Num, places int, none string) string {
	if !n.OK {
		return none
	}
	return n.Fixed(places)
}

func printMeal(out io.Writer, x *kitchen.Answer, written ...string) {
	s := x.Shopping
	where := "typical prices of " + s.Region + ", " + s.Month.String()
	if s.Outlet != "" {
		where = "prices at " + s.Outlet + " up to " + s.PricedOn
	}
	fmt.Fprintf(out, "%s: %s servings, %s; %s\n\n", s.Shopping, s.Servings.Exact(), where, oldest(x))
	printTable(out, x.Lines, []string{"recipe", "line", "item", "grade", "as_written", "ap_quantity", "base_unit", "pack", "pack_price_lcu", "unit_price_lcu", "supply", "portion_lcu"})
	for _, l := range x.Lines {
		if l.Lacks != "" {
			fmt.Fprintf(out, "%s, line %s, %s: %s\n", l.Recipe, l.Line, l.Item, l.Lacks)
		}
	}
	fmt.Fprintf(out, "\nat the till, cupboard lines %s:\n", s.Cupboard)
	printTable(out, x.Goods, []string{"item", "grade", "ap_quantity", "base_unit", "from_pantry_quantity", "packs", "pack", "till_lcu", "leftover_quantity", "leftover_lcu", "used_next_quantity", "stranded_quantity", "stranded_lcu", "use_by_on"})
	none := "incomplete, of which known " + s.KnownPart.Fixed(4)
	next := "the same again"
	if x.Ask.Then != s.Shopping {
		next = x.Ask.Then
	}
	fmt.Fprintf(out, "\nportion cost  %s %s\n", said(s.Portion, 4, none), s.CurrencyCode)
	for _, part := range []struct {
		amount result.Num
		words  string
	}{{s.FromPantry, "of it from the pantry, not paid"}, {s.FromCupboard, "of it from the cupboard, not paid"}, {s.Saving, "saved by packs sold together"}} {
		if part.amount.V > 0 {
			fmt.Fprintf(out, "            - %s %s\n", part.amount.Fixed(4), part.words)
		}
	}
	fmt.Fprintf(out, "till cost     %s %s\nleft over     %s; if next comes %s, %s of it strands", said(s.Till, 4, "incomplete"), s.CurrencyCode,
		said(s.Leftover, 4, "not known"), next, said(s.Stranded, 4, "a part not known"))
	if s.StrandedMeals.V > 0 {
		fmt.Fprintf(out, ", worth %s servings", s.StrandedMeals.Fixed(2))
	}
	fmt.Fprintln(out)
	for _, d := range x.Meals {
		fmt.Fprintf(out, "a serving of %s  %s", d.Recipe, said(d.PerServing, 4, "incomplete"))
		if d.PerMeal.OK {
			fmt.Fprintf(out, "; the allowance gives %s a meal: %s", d.PerMeal.Fixed(4), balance(d.Balance))
		}
		fmt.Fprintln(out)
	}
	printNutrients(out, x)
	switch {
	case s.PerPersonDay.OK && s.Balance.OK:
		fmt.Fprintf(out, "a person's day  %s; the allowance gives %s: %s\n", s.PerPersonDay.Fixed(4), s.PerDay.Fixed(4), balance(s.Balance))
	case s.PerPersonDay.OK && !s.PerDay.OK:
		fmt.Fprintf(out, "a person's day  %s\n", s.PerPersonDay.Fixed(4))
	case s.PerPersonDay.OK: // a warning tells how many meals are planned
		fmt.Fprintf(out, "a person's day  %s, for a part of its meals; the allowance of the whole day is %s\n", s.PerPersonDay.Fixed(4), s.PerDay.Fixed(4))
	}
	for _, w := range x.Warnings {
		if w.Code != "incomplete" {
			fmt.Fprintf(out, "%s; %s\n", w.Text, w.Cure)
		}
	}
	for _, file := range written {
		if file != "" {
			fmt.Fprintf(out, "wrote %s\n", file)
		}
	}
	fmt.Fprintln(out, "\n"+kitchen.Caution)
}

// printNutrients prints the energy and protein of each dish's serving and of a
// plan's day; --json and the pages have all.
func printNutrients(out io.Writer, x *kitchen.Answer) {
	words := map[string][]string{}
	var order []string
	for _, n := range x.Nutrients {
		if n.Nutrient != "energy" && n.Nutrient != "protein" {
			continue
		}
		if words[n.Recipe] == nil {
			order = append(order, n.Recipe)
		}
		amount := "not known"
		if n.PerServing.OK {
			if amount = n.PerServing.Fixed(0) + " " + n.Unit; n.IsAtLeast == "yes" {
				amount = "at least " + amount
			}
		}
		words[n.Recipe] = append(words[n.Recipe], n.Nutrient+" "+amount)
	}
	for _, dish := range order {
		of := "a serving of " + dish
		if dish == "" {
			of = "a person's day of the plan"
		}
		fmt.Fprintf(out, "%s holds %s (raw table values; --json has all nutrients)\n", of, strings.Join(words[dish], ", "))
	}
}

// oldest says how old the prices are.
func oldest(x *kitchen.Answer) string {
	switch priced := slices.ContainsFunc(x.Lines, func(l result.MealLine) bool { return l.PackPrice.OK }); {
	case !priced:
		return "no price is used"
	case x.Shopping.OldestOn == "":
		return "the prices are published averages"
	}
	return "the oldest price is of " + x.Shopping.OldestOn
}

func balance(n result.Num) string {
	switch {
	case !n.OK:
		return "not known"
	case n.V < 0:
		return "over by " + result.Some(-n.V).Fixed(4)
	}
	return "under by " + n.Fixed(4)
}

// swapAnswer is what swap prints with --json.
type swapAnswer struct {
	Schema    string       `json:"schema"`
	Edition   string       `json:"edition"`
	AsOf      string       `json:"as_of"`
	By        string       `json:"by"` // portion or till
	Target    *float64     `json:"target_lcu"`
	Before    *float64     `json:"before_lcu"`
	After     *float64     `json:"after_lcu"`
	Feasible  *bool        `json:"feasible"` // null: the search ended before it was known
	Sacrifice int          `json:"sacrifice"`
	Changes   []swapChange `json:"changes"`
	Tie       []swapChange `json:"tie"`
	Best      *float64     `json:"best_possible_lcu"`
	Proven    bool         `json:"proven"`
	Bound     *float64     `json:"best_possible_bound_lcu"`
	// SacrificeBound is given where a plan was found and not proven to be the least: none has less.
	SacrificeBound *int              `json:"sacrifice_bound,omitempty"`
	Singles        []json.RawMessage `json:"singles"`
	Warnings       []result.Warning  `json:"warnings"`
}

type swapChange struct {
	Line   string   `json:"line"`
	From   string   `json:"from"`
	To     string   `json:"to"`
	Saving *float64 `json:"saving_lcu"`
}

func ratValue(r *big.Rat) *float64 {
	if r == nil {
		return nil
	}
	f, _ := r.Float64()
	return &f
}

func (c *cli) swapCommand() *cobra.Command {
	var m mealFlags
	var target string
	var till bool
	cmd := &cobra.Command{
		Use:   "swap NAME",
		Short: "The least sacrifice that brings a recipe or plan under the allowance",
		Long: `Of all ways to change lines by tables/swaps, find the one that brings the cost to the target with the least sum of keep
over the lines changed, then the fewest lines, then the least cost. keep is 0, gladly changed, to 9, must stay; of a line and its
swap the greater counts, 1 where both are blank. The target is what the allowance gives for the meals that are planned, or --target.
By default the portion cost; with --till the till cost, whole packs over all its dishes.` + "\n" + exitHelp,
		Example: "  farthing swap day --workspace tavrin\n  farthing swap week --workspace tavrin --till --target 40",
		Args:    args(cobra.ExactArgs(1)),
		RunE: func(_ *cobra.Command, list []string) error {
			k, e, x, err := c.cost(&m, list[0])
			if err != nil {
				return err
			}
			var goal *big.Rat
			if target != "" {
				var ok bool
				if goal, ok = new(big.Rat).SetString(target); !ok || goal.Sign() < 0 {
					return usageError{fmt.Errorf("--target %q: a sum of money such as 12.50", target)}
				}
			}
			if x.Shopping.UnpricedLines.V > 0 {
				return &workspace.InputError{Code: "incomplete", Field: "name", Read: fmt.Sprintf("%s has lines without a cost", list[0]), Instead: "see farthing meal " + list[0] + ": each says what it lacks"}
			}
			answer := swapAnswer{Schema: "farthing.swap/1", Edition: e.Hash, AsOf: e.AsOf, By: "portion", Changes: []swapChange{}, Tie: []swapChange{}, Singles: []json.RawMessage{},
				Warnings: append([]result.Warning{}, x.Warnings...), Proven: true}
			var singles []result.Swapped
			var s *kitchen.Swaps
			if till {
				by, err := k.Till(x, goal)
				if err != nil {
					return err
				}
				s, answer.By, answer.Proven = &by.Swaps, "till", by.Proven
				if !by.Proven && by.Feasible {
					answer.SacrificeBound = &by.SacrificeBound
				}
				if !by.LeastProven {
					answer.Bound = ratValue(by.LeastBound)
				}
			} else if s, err = k.Swap(x, goal); err != nil {
				return err
			}
			if s.Target == nil {
				return &workspace.InputError{Code: "swap", Field: "target", Read: "no allowance is known", Instead: "--target with a sum of money"}
			}
			answer.Target, answer.Before, answer.After, answer.Best, answer.Sacrifice = ratValue(s.Target), ratValue(s.Before), ratValue(s.After), ratValue(s.Least), s.Sacrifice
			if s.Feasible || answer.Proven {
				answer.Feasible = &s.Feasible
			}
			answer.Warnings = append(answer.Warnings, s.Warnings...)
			change := func(r result.Swapped) swapChange {
				return swapChange{r.Recipe + ", line " + r.Line, r.From, r.To, value(r.Saving)}
			}
			for _, r := range s.Rows {
				if r.Change == "least" {
					answer.Changes = append(answer.Changes, change(r))
				} else {
					singles = append(singles, r)
				}
			}
			for _, r := range s.Tie {
				answer.Tie = append(answer.Tie, change(r))
			}
			answer.Singles = rowsOfJSON(singles)
			return c.print(answer, func(out io.Writer) { printSwap(out, list[0], &answer, singles) })
		},
	}
	m.add(cmd)
	cmd.Flags().StringVar(&target, "target", "", "sum of money for the whole of it (default what the allowance gives)")
	cmd.Flags().BoolVar(&till, "till", false, "by till cost, whole packs")
	return cmd
}

func printSwap(out io.Writer, name string, a *swapAnswer, singles []result.Swapped) {
	money := func(f *float64) string {
		if f == nil {
			return "not known"
		}
		return result.Some(*f).Fixed(4)
	}
	fmt.Fprintf(out, "%s, %s cost: %s, target %s\n", name, a.By, money(a.Before), money(a.Target))
	switch {
	case a.Feasible == nil:
		fmt.Fprintf(out, "not known whether it can be reached: the search ended; found %s, no plan is below %s\n", money(a.Best), money(a.Bound))
	case !*a.Feasible && a.Bound != nil:
		fmt.Fprintf(out, "cannot be reached: the least found is %s, and no plan is below %s\n", money(a.Best), money(a.Bound))
	case !*a.Feasible:
		fmt.Fprintf(out, "cannot be reached: the least possible is %s\n", money(a.Best))
	case len(a.Changes) == 0:
		fmt.Fprintln(out, "nothing to change")
	default:
		for _, ch := range a.Changes {
			fmt.Fprintf(out, "%s: %s -> %s saves %s\n", ch.Line, ch.From, ch.To, money(ch.Saving))
		}
		fmt.Fprintf(out, "then %s; sacrifice %d\n", money(a.After), a.Sacrifice)
		if !a.Proven {
			fmt.Fprintln(out, "the search ended before this was proven to be the least sacrifice")
			if a.SacrificeBound != nil {
				fmt.Fprintf(out, "no plan within the target has a sacrifice below %d\n", *a.SacrificeBound)
			}
		}
		if len(a.Tie) > 0 {
			fmt.Fprintln(out, "as good:")
			for _, ch := range a.Tie {
				fmt.Fprintf(out, "  %s: %s -> %s saves %s\n", ch.Line, ch.From, ch.To, money(ch.Saving))
			}
		}
	}
	if len(singles) > 0 {
		fmt.Fprintln(out, "\neach change alone:")
		printTable(out, singles, []string{"recipe", "line", "from", "to", "sacrifice", "saving_lcu", "after_lcu", "enough"})
	}
	if len(a.Warnings) > 0 {
		fmt.Fprintln(out)
	}
	for _, w := range a.Warnings {
		fmt.Fprintf(out, "%s; %s\n", w.Text, w.Cure)
	}
	fmt.Fprintln(out, "\n"+kitchen.Caution)
}
