package pipeline

import (
	"cmp"
	"fmt"
	"math"
	"math/big"
	"slices"
	"strconv"
	"strings"

	"farthing/pipeline/quantity"
	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// shoppingRow is the row of a shopping.
func (t *tracer) shoppingRow(name string) (result.Shopping, error) {
	i := slices.IndexFunc(t.e.Shoppings, func(s result.Shopping) bool { return s.Shopping == name })
	if i < 0 {
		return result.Shopping{}, badKey(name, "a shopping of the edition")
	}
	return t.e.Shoppings[i], nil
}

// rounded is a node like that of computed, of a value that was rounded half-up
// to so many decimals on the way.
func rounded(published result.Num, raw float64, decimals int, formula string, inputs ...*Node) (*Node, error) {
	unit := math.Pow10(-decimals)
	if published.OK && (math.Abs(published.V-raw) > unit/2+1e-9 || !same(math.Round(published.V/unit)*unit, published.V)) {
		return nil, fmt.Errorf("trace: computed again %v, published %v (%s)", raw, published.V, formula)
	}
	if published.OK {
		raw = published.V
	}
	return computed(published, raw, formula, inputs...)
}

// shopping traces a recipe or plan as a whole.
func (t *tracer) shopping(s result.Shopping, column string) (*Node, error) {
	var lines, goods []*Node
	var portion, known, till, left, sheet float64
	unpriced := false
	for _, l := range t.e.MealLines {
		if l.Shopping != s.Shopping {
			continue
		}
		n, err := t.mealLine(l, "portion_lcu")
		if err != nil {
			return nil, err
		}
		n.Key = keyOf("meal_lines", append(result.Key(l), "portion_lcu")...)
		lines, portion = append(lines, n), portion+l.Portion.Or()
		printed, _ := strconv.ParseFloat(l.Portion.Fixed(4), 64)
		known, sheet, unpriced = known+l.Portion.V, sheet+printed, unpriced || !l.Portion.OK
	}
	if column == "till_lcu" || column == "leftover_lcu" {
		for _, l := range t.e.ShoppingLines {
			if l.Shopping != s.Shopping {
				continue
			}
			n, err := t.shoppingLine(l, column)
			if err != nil {
				return nil, err
			}
			n.Key = keyOf("shopping_lines", append(result.Key(l), column)...)
			goods, till, left = append(goods, n), till+l.Till.Or(), left+l.LeftoverLCU.Or()
		}
	}
	switch column {
	case "portion_lcu":
		return computed(s.Portion, portion, "sum of the lines", lines...)
	case "known_part_lcu":
		return computed(s.KnownPart, known, "sum of the lines that have a cost", lines...)
	case "sheet_total_lcu":
		if unpriced {
			sheet = math.NaN()
		}
		return rounded(s.SheetTotal, sheet, 2, "sum of the lines as printed, with 4 decimals, rounded half-up to cents", lines...)
	case "till_lcu":
		return computed(s.Till, till, "sum of the goods", goods...)
	case "leftover_lcu":
		return computed(s.Leftover, left, "sum of the goods", goods...)
	}
	per, err := t.perMeal(s)
	if err != nil {
		return nil, err
	}
	whole := &Node{Value: s.Portion.V, Key: keyOf("shoppings", s.Shopping, "portion_lcu"), Formula: "sum of the lines", Inputs: lines}
	personDays := float64(s.Persons.V * s.Days.V)
	switch column {
	case "allowance_lcu":
		return computed(s.Allowance, per.month, "the household's amount of the month", per.inputs...)
	case "allowance_per_meal_lcu":
		return computed(s.PerMeal, per.meal, "allowance / (days x persons x meals a day)", per.inputs...)
	case "allowance_per_person_day_lcu":
		return computed(s.PerDay, per.day, "allowance / (days x persons)", per.inputs...)
	case "per_person_day_lcu":
		again := math.NaN()
		if s.Kind == "plan" {
			again = portion / personDays
		}
		return computed(s.PerPersonDay, again, "portion cost / (persons x days of the plan)", whole)
	case "balance_lcu":
		again := per.meal - portion/s.Servings.Or()
		if s.Kind == "plan" {
			again = per.day - portion/personDays
			if s.Servings.Or() < personDays*per.meals {
				again = math.NaN() // whole days are no measure of a part of their meals
			}
		}
		return computed(s.Balance, again, "allowance - portion cost, of a plan for all meals per person and day, of a recipe per serving", append([]*Node{whole}, per.inputs...)...)
	}
	return &Node{Formula: "read off the row", Inputs: lines}, nil
}

// spending is a household's allowance of a month, what it is for a person's day and
// meal, and how many meals a day has.
type spending struct {
	month, day, meal, meals float64
	inputs                  []*Node
}

func (t *tracer) perMeal(s result.Shopping) (spending, error) {
	none := spending{math.NaN(), math.NaN(), math.NaN(), math.NaN(), nil}
	h, _, err := t.household(s.Household)
	if err != nil || !h.Persons.OK || h.Household != s.Household {
		return none, err
	}
	for _, a := range t.e.Allowances {
		if a.Programme == s.Programme && (s.AmountKind == "" || a.AmountKind == s.AmountKind) && a.Region == s.Region && a.Persons == h.Persons && a.Month == s.Month {
			n, err := find(t, t.e.Allowances, "allowances", result.Key(a), "allowance_lcu", t.allowance)
			if err != nil {
				return none, err
			}
			heads := float64(s.Month.Days() * h.Persons.V)
			meals := float64(max(h.MealsPerDay.V, 1))
			return spending{a.Amount.Or(), a.Amount.Or() / heads, a.Amount.Or() / heads / meals, meals, []*Node{n}}, nil
		}
	}
	return none, nil
}

// meal traces a dish of a shopping.
func (t *tracer) meal(x result.Meal, column string) (*Node, error) {
	s, err := t.shoppingRow(x.Shopping)
	if err != nil {
		return nil, err
	}
	servings, err := t.servings(s, x.Recipe)
	if err != nil {
		return nil, err
	}
	var lines []*Node
	var portion, unpriced float64
	for _, l := range t.e.MealLines {
		if l.Shopping != x.Shopping || l.Recipe != x.Recipe {
			continue
		}
		n, err := t.mealLine(l, "portion_lcu")
		if err != nil {
			return nil, err
		}
		n.Key = keyOf("meal_lines", append(result.Key(l), "portion_lcu")...)
		lines, portion = append(lines, n), portion+l.Portion.Or()
		if !l.Portion.OK {
			unpriced++
		}
	}
	per, err := t.perMeal(s)
	if err != nil {
		return nil, err
	}
	switch column {
	case "servings":
		return computed(x.Servings, servings.number(), "servings cooked", servings)
	case "portion_lcu":
		return computed(x.Portion, portion, "sum of the lines", lines...)
	case "per_serving_lcu":
		return computed(x.PerServing, portion/servings.number(), "sum of the lines / servings", append([]*Node{servings}, lines...)...)
	case "allowance_per_meal_lcu":
		return computed(x.PerMeal, per.meal, "allowance / (days x persons x meals a day)", per.inputs...)
	case "balance_lcu":
		return computed(x.Balance, per.meal-portion/servings.number(), "allowance of a meal - cost of a serving", slices.Concat([]*Node{servings}, per.inputs, lines)...)
	case "unpriced_lines":
		return computed(result.Some(float64(x.UnpricedLines.V)), unpriced, "lines without a cost", lines...)
	}
	return &Node{Formula: "read off the row", Inputs: lines}, nil
}

// servings of a dish are those of the plan's rows, or of the recipe itself.
func (t *tracer) servings(s result.Shopping, recipe string) (*Node, error) {
	n := &Node{Formula: "servings of the plan's rows"}
	sum := new(big.Rat)
	for _, p := range t.tables.Plans {
		if p.Plan == s.Shopping && p.Recipe == recipe {
			sum.Add(sum, p.Servings)
			in := &Node{Value: decimal(p.Servings), Formula: fmt.Sprintf("servings on day %d", p.Day)}
			if err := t.fileLine(in, p.File, p.At.Line); err != nil {
				return nil, err
			}
			n.Inputs = append(n.Inputs, in)
		}
	}
	for _, r := range t.tables.Recipes {
		if s.Kind == "recipe" && r.Recipe == recipe {
			sum, n.Formula = r.Servings, "servings of the recipe"
			if err := t.fileLine(n, r.File, r.At.Line); err != nil {
				return nil, err
			}
			break
		}
	}
	n.Value = decimal(sum)
	return n, nil
}

func decimal(r *big.Rat) float64 {
	f, _ := r.Float64()
	return f
}

// mealLine traces a line of a dish.
func (t *tracer) mealLine(l result.MealLine, column string) (*Node, error) {
	s, err := t.shoppingRow(l.Shopping)
	if err != nil {
		return nil, err
	}
	amount, err := t.amount(s, l)
	if err != nil {
		return nil, err
	}
	if column == "quantity" {
		return amount, nil
	}
	ap := amount
	if l.Basis != "AP" {
		yield, err := t.yield(s, l)
		if err != nil {
			return nil, err
		}
		if ap, err = computed(l.APQuantity, l.Amount.Or()/l.Yield.Or(), "edible quantity / yield", amount, yield); err != nil {
			return nil, err
		}
	} else if l.APQuantity != l.Amount {
		return nil, fmt.Errorf("trace: line %s of %s: as purchased %v, quantity %v", l.Line, l.Recipe, l.APQuantity, l.Amount)
	}
	if ap.Key == "" {
		ap.Key = keyOf("meal_lines", append(result.Key(l), "ap_quantity")...)
	}
	if column == "ap_quantity" {
		return ap, nil
	}
	if l.Supply == "free" {
		if column != "portion_lcu" {
			return &Node{Formula: "free: no price is asked", Inputs: []*Node{ap}}, nil
		}
		return computed(l.Portion, 0*l.APQuantity.Or(), "free", ap)
	}
	pack, err := t.packPrice(s, l)
	if err != nil {
		return nil, err
	}
	switch column {
	case "pack_price_lcu":
		return pack, nil
	case "unit_price_lcu":
		return computed(l.UnitPrice, pack.number()/l.PackSize.Or(), "price of the pack / its size", pack)
	case "portion_lcu":
		return computed(l.Portion, ap.number()*pack.number()/l.PackSize.Or(), "quantity as purchased x price of the pack / its size", ap, pack)
	}
	return &Node{Formula: "read off the row", Inputs: []*Node{ap, pack}}, nil
}

// packPrice is what the usual pack costs at the item's price.
func (t *tracer) packPrice(s result.Shopping, l result.MealLine) (*Node, error) {
	const formula = "unit price x size of the pack, rounded half-up to 4 decimals"
	price, err := find(t, t.e.Items, "item", []string{s.Region, l.Item, l.Grade, s.Month.String()}, "unit_price_lcu", t.item)
	if err != nil || !l.PackPrice.OK {
		if l.PackPrice.OK {
			return nil, err
		}
		return &Node{Formula: "no price: " + l.Lacks}, nil
	}
	pack, err := t.usualPack(s, l)
	if err != nil {
		return nil, err
	}
	n, err := rounded(l.PackPrice, price.number()*l.PackSize.V, 4, formula, price, pack)
	if n != nil {
		n.Key = keyOf("meal_lines", append(result.Key(l), "pack_price_lcu")...)
	}
	return n, err
}

// usualPack is the pack most often noted in the region and month, or the last
// month before it with any; of equals the one noted last, then the smaller.
func (t *tracer) usualPack(s result.Shopping, l result.MealLine) (*Node, error) {
	type pack struct {
		name, on, size string
		n              int
		last           map[string]string
	}
	first := s.Month
	for _, x := range t.e.Items {
		first = min(first, x.Month)
	}
	if on, err := result.ParseMonth(t.e.FirstOn[:min(7, len(t.e.FirstOn))]); err == nil {
		first = min(first, on)
	}
	for m := s.Month; m >= first; m-- {
		all, err := t.counting(m)
		if err != nil {
			return nil, err
		}
		packs := map[string]*pack{}
		var names []string
		for _, o := range all {
			if o["item"] != l.Item || cmp.Or(o["grade"], t.then.Prices.DefaultGrade) != l.Grade || o["price_type"] == "multibuy" || o["region"] != s.Region && !t.above(s.Region, o["region"]) {
				continue
			}
			p := packs[o["pack"]]
			if p == nil {
				p = &pack{name: o["pack"], size: o["quantity"]}
				packs[p.name] = p
				names = append(names, p.name)
			}
			if p.n++; o["observed_on"] >= p.on {
				p.on, p.last = o["observed_on"], o
			}
		}
		if len(packs) == 0 {
			continue
		}
		number := func(text string) float64 { x, _ := strconv.ParseFloat(text, 64); return x }
		best := packs[slices.MinFunc(names, func(a, b string) int {
			x, y := packs[a], packs[b]
			return cmp.Or(cmp.Compare(y.n, x.n), cmp.Compare(y.on, x.on), cmp.Compare(number(x.size), number(y.size)), cmp.Compare(x.name, y.name))
		})]
		if !same(number(best.size), l.PackSize.V) {
			return nil, fmt.Errorf("trace: the pack most often noted holds %s, published %v", best.size, l.PackSize.V)
		}
		n := &Node{ObservationID: best.last["observation_id"], Value: l.PackSize.V, Formula: fmt.Sprintf("size of the pack most often noted, %d times in %s; the last of them", best.n, m)}
		if src, ok := t.source(best.last["archive_file"]); ok {
			line, _ := strconv.Atoi(best.last["line"])
			err = t.fileLine(n, "archive/"+src.SHA256+"/"+src.Name, line)
		}
		return n, err
	}
	return nil, fmt.Errorf("trace: no pack of %s was noted up to %s", l.Item, s.Month)
}

// recipeRow is the row of tables/recipes that a line stands in, and the
// sub-recipes on the way to it.
func (t *tracer) recipeRow(l result.MealLine) (row workspace.Recipe, path []string, err error) {
	path = strings.Split(l.Line, " > ")
	number, err := strconv.Atoi(path[len(path)-1])
	path = path[:len(path)-1]
	recipe := l.Recipe
	if len(path) > 0 {
		recipe = path[len(path)-1]
	}
	for _, r := range t.tables.Recipes {
		if err == nil && r.Recipe == recipe && r.Line == number {
			return r, path, nil
		}
	}
	return row, nil, fmt.Errorf("trace: no row of tables/recipes for line %s of %s", l.Line, l.Recipe)
}

// times is how often the own amounts of the recipe at the end of a path are used
// for one serving of the recipe that it begins with; nil where a line on the way
// has no number of servings.
func (t *tracer) times(recipe string, path []string) *big.Rat {
	sum := new(big.Rat)
	for _, r := range t.tables.Recipes {
		if r.Recipe != recipe {
			continue
		}
		one := new(big.Rat).Inv(r.Servings)
		if len(path) == 0 {
			return one
		}
		if r.SubRecipe != path[0] {
			continue
		}
		servings, err := quantity.ParseDecimal(r.Quantity, false)
		rest := t.times(path[0], path[1:])
		if err != nil || rest == nil {
			return nil
		}
		sum.Add(sum, one.Mul(one, servings).Mul(one, rest))
	}
	return sum
}

// amount is the quantity of a line in base units: as written, for the servings cooked.
func (t *tracer) amount(s result.Shopping, l result.MealLine) (*Node, error) {
	row, path, err := t.recipeRow(l)
	if err != nil {
		return nil, err
	}
	written := &Node{Value: strings.TrimSpace(row.Quantity + " " + row.Unit), Formula: "as written"}
	if err := t.fileLine(written, row.File, row.At.Line); err != nil {
		return nil, err
	}
	servings, err := t.servings(s, l.Recipe)
	if err != nil {
		return nil, err
	}
	inputs := []*Node{written, servings}
	base, grounds, err := t.inBaseUnit(s, row)
	if err != nil {
		return nil, err
	}
	if grounds != nil {
		inputs = append(inputs, grounds)
	}
	times := t.times(l.Recipe, path)
	if row.Quantity == "" || times == nil {
		return computed(l.Amount, math.NaN(), "no quantity is written", inputs...)
	}
	if base == nil {
		n := &Node{Formula: "as written; its weight is not worked out again here, it rests on " + cmp.Or(l.WeightSource, "units")}
		if l.Amount.OK {
			n.Value = l.Amount.V
		}
		n.Inputs = inputs
		return n, nil
	}
	again := new(big.Rat).Mul(base, times)
	return computed(l.Amount, decimal(again)*servings.number(), "as written, in "+l.BaseUnit+", x servings cooked / servings of the recipe", inputs...)
}

// inBaseUnit reads a plain number of a unit, of a measure of tables/measures or
// of pieces; nil where that is not how it is written or known.
func (t *tracer) inBaseUnit(s result.Shopping, row workspace.Recipe) (*big.Rat, *Node, error) {
	number, err := quantity.ParseDecimal(row.Quantity, t.then.Prices.Decimal == ",")
	i := slices.IndexFunc(t.tables.Items, func(x workspace.Item) bool { return x.Item == row.Item })
	if err != nil || i < 0 {
		return nil, nil, nil
	}
	item := t.tables.Items[i]
	to, _ := quantity.DimensionOf(item.BaseUnit)
	bridge := quantity.Bridge{DensityKgPerL: item.Density, PieceKg: item.PieceKg, Source: item.Source}
	for _, of := range []string{row.Item, ""} {
		for _, m := range t.tables.Measures {
			unit, err := quantity.ParseUnit(m.Unit)
			if m.Item != of || !strings.EqualFold(m.Measure, row.Unit) || err != nil || m.Region != "" && m.Region != s.Region && !t.above(m.Region, s.Region) {
				continue
			}
			if strings.EqualFold(m.Measure, "piece") && cmp.Or(row.Basis, "AP") != "AP" {
				return nil, nil, nil // weighed as bought: only the yield says what is eaten of it
			}
			a, err := unit.Times(m.Quantity).To(to, bridge)
			if err != nil {
				return nil, nil, nil
			}
			n := &Node{Value: a.Float(), Formula: "one " + m.Measure + ", in " + item.BaseUnit}
			return a.Times(number).Rat(), n, t.fileLine(n, m.File, m.Line)
		}
	}
	unit, err := quantity.ParseUnit(row.Unit)
	if err != nil || unit.Dimension() != to {
		return nil, nil, nil
	}
	return unit.Times(number).Rat(), nil, nil
}

// yield is the share that a line's edible quantity is of what is bought: of the
// line itself, of tables/yields, of the item, else of the tables of reference.
func (t *tracer) yield(s result.Shopping, l result.MealLine) (*Node, error) {
	row, _, err := t.recipeRow(l)
	if err != nil {
		return nil, err
	}
	n := &Node{Formula: "yield: " + cmp.Or(l.YieldSource, "not known")}
	if l.Yield.OK {
		n.Value = l.Yield.V
	}
	check := func(yield *big.Rat, at workspace.At) (*Node, error) {
		if !l.Yield.OK || !same(decimal(yield), l.Yield.V) {
			return nil, fmt.Errorf("trace: yield of line %s of %s is %s, published %v", l.Line, l.Recipe, yield.FloatString(6), l.Yield)
		}
		return n, t.fileLine(n, at.File, at.Line)
	}
	if row.Yield != nil {
		return check(row.Yield, row.At)
	}
	for _, y := range t.tables.Yields {
		if y.Item == row.Item && y.Preparation == row.Preparation && y.Gives == l.Basis {
			return check(y.Yield, y.At)
		}
	}
	for _, it := range t.tables.Items {
		if it.Item == row.Item && l.Basis == "EP" && it.EdibleYield != nil {
			return check(it.EdibleYield, it.At)
		}
	}
	return n, nil
}

// shoppingLine traces one good of a shopping: what is needed of it, its packs and what is left.
func (t *tracer) shoppingLine(x result.ShoppingLine, column string) (*Node, error) {
	s, err := t.shoppingRow(x.Shopping)
	if err != nil {
		return nil, err
	}
	var inputs []*Node
	var need, cupboard float64
	size := math.NaN()
	var pack *Node
	for _, l := range t.e.MealLines {
		if l.Shopping != x.Shopping || l.Item != x.Item || l.Grade != x.Grade || l.Supply == "free" {
			continue
		}
		n, err := t.mealLine(l, "ap_quantity")
		if err != nil {
			return nil, err
		}
		inputs, need = append(inputs, n), need+l.APQuantity.Or()
		if l.Supply == "cupboard" && s.Cupboard != "bought" {
			cupboard += l.APQuantity.Or()
		}
		if pack == nil {
			if pack, err = t.packPrice(s, l); err != nil {
				return nil, err
			}
			size = l.PackSize.Or()
		}
	}
	if pack == nil {
		return &Node{Formula: "read off the row"}, nil
	}
	buy := need - x.FromPantry.Or() - x.FromCupboard.Or()
	whole := math.Ceil(buy/size - 1e-9)
	switch column {
	case "ap_quantity":
		return computed(x.APQuantity, need, "sum over the lines that use it", inputs...)
	case "from_cupboard_quantity":
		if s.Pantry == "" {
			return computed(x.FromCupboard, cupboard, "taken as there: the lines of supply cupboard", inputs...)
		}
	case "packs":
		return computed(result.Num{V: float64(x.Packs.V), OK: x.Packs.OK}, whole, "what the house does not give / size of the pack, rounded up", append(inputs, pack)...)
	case "pack_price_lcu":
		return computed(x.PackPrice, pack.number(), "price of the pack", pack)
	case "till_lcu":
		again := whole * pack.number()
		if buy == 0 {
			again = 0 // nothing to buy costs nothing, whatever the price
		}
		return computed(x.Till, again, "whole packs x price of the pack", append(inputs, pack)...)
	case "leftover_quantity":
		return computed(x.Leftover, whole*size-buy, "whole packs - what is used of them", append(inputs, pack)...)
	case "leftover_lcu":
		return computed(x.LeftoverLCU, (whole*size-buy)*pack.number()/size, "what is left x price of the pack / its size", append(inputs, pack)...)
	}
	return &Node{Formula: "read off the row", Inputs: append(inputs, pack)}, nil
}
