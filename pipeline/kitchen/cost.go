package kitchen

import (
	"cmp"
	"errors"
	"fmt"
	"math/big"
	"slices"
	"strconv"
	"strings"
	"time"

	"farthing/pipeline/meal"
	"farthing/pipeline/quantity"
	"farthing/pipeline/reference"
	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// Answer is a shopping as rows, ready to be printed or published.
type Answer struct {
	Ask       Ask
	Shopping  result.Shopping
	Meals     []result.Meal
	Lines     []result.MealLine
	Goods     []result.ShoppingLine
	Nutrients []result.MealNutrient
	Warnings  []result.Warning

	cooked *cooked
}

// cooked is what the rows were made from.
type cooked struct {
	book     *book
	lines    []meal.Line
	plan     meal.Plan
	shop     *meal.Shopping
	prices   map[string]*price
	unpriced map[string]error // why, by good
	names    map[string]good
	servings *big.Rat
	target   *big.Rat // what the allowance gives for it; nil: not known
}

// Cost costs a recipe or a plan.
func (k *Kitchen) Cost(a Ask) (*Answer, error) {
	if err := k.settle(&a); err != nil {
		return nil, err
	}
	x := &Answer{Ask: a}
	if err := k.checkRequirements(); err != nil {
		return nil, err
	}
	b, err := k.book(a)
	if err != nil {
		return nil, err
	}
	c := &cooked{book: b, prices: map[string]*price{}, unpriced: map[string]error{}, names: map[string]good{}, servings: new(big.Rat)}
	x.cooked = c
	plan, kind := k.plan(a)
	for _, s := range plan {
		c.servings.Add(c.servings, s.Servings)
	}
	var days int
	if c.lines, days, err = b.planned(plan); err != nil {
		return nil, err
	}
	c.plan = meal.Plan{Lines: c.lines, BuyCupboard: a.BuyCupboard, BoughtOn: 1}
	for _, l := range c.lines {
		k.offer(a, c, goodOf(l.Good))
	}
	if err := k.pantry(a, c, x); err != nil {
		return nil, err
	}
	if c.shop, err = meal.Shop(c.plan); err != nil {
		return nil, &workspace.InputError{Code: "meal", Field: "servings, quantity", Read: strings.ReplaceAll(err.Error(), separator, " "), Instead: "amounts that a shop could hand over"}
	}
	after := a
	after.Name = a.Then
	next, _ := k.plan(after)
	nextLines, nextDays, err := b.planned(next)
	if err != nil {
		return nil, err
	}
	left, err := c.shop.Leftovers(meal.Shift(nextLines, days), days+nextDays, c.servings)
	if err != nil {
		return nil, err
	}
	k.rows(x, kind, days, plan, left)
	return x, nil
}

// planned gives the lines of some dishes in the order of days, the first of them on day 1, and how many days they take.
func (b *book) planned(plan []meal.Serving) ([]meal.Line, int, error) {
	lines, err := meal.Lines(b.recipes, plan)
	if err != nil {
		return nil, 0, badRecipes(err)
	}
	first := plan[0].Day
	return meal.Shift(lines, 1-first), plan[len(plan)-1].Day - first + 1, nil
}

// plan gives the dishes of a shopping: those of a plan, or one recipe on one day.
func (k *Kitchen) plan(a Ask) (plan []meal.Serving, kind string) {
	for _, p := range k.tables.Plans {
		if p.Plan == a.Name {
			s := meal.Serving{Day: p.Day, Meal: p.Meal, Recipe: p.Recipe, Servings: p.Servings}
			if a.Servings != nil {
				s.Servings = a.Servings
			}
			plan = append(plan, s)
		}
	}
	if len(plan) > 0 {
		slices.SortStableFunc(plan, func(x, y meal.Serving) int { return cmp.Compare(x.Day, y.Day) })
		return plan, "plan"
	}
	for _, r := range k.tables.Recipes {
		if r.Recipe == a.Name {
			s := meal.Serving{Day: 1, Recipe: r.Recipe, Servings: r.Servings}
			if a.Servings != nil {
				s.Servings = a.Servings
			}
			return []meal.Serving{s}, "recipe"
		}
	}
	return nil, ""
}

func goodOf(name string) good {
	item, grade, _ := strings.Cut(name, separator)
	return good{item, grade}
}

// offer looks a good's price up, once, with how long it keeps.
func (k *Kitchen) offer(a Ask, c *cooked, g good) {
	name := g.name()
	if _, done := c.names[name]; done {
		return
	}
	c.names[name] = g
	p, err := k.price(a, g)
	if err != nil {
		c.unpriced[name] = err
	} else {
		c.prices[name] = p
		c.plan.Offers = append(c.plan.Offers, p.Offer)
	}
	c.plan.Keeps = append(c.plan.Keeps, k.keeps(g))
}

// keeps says how long a good keeps: by its item, else by the tables of reference.
func (k *Kitchen) keeps(g good) meal.Keeps {
	it := k.items[g.item]
	keeps := meal.Keeps{Good: g.name(), Sealed: it.KeepsSealedDays, Opened: it.KeepsOpenedDays}
	if from, ok := reference.Keeps(it.FoodCode); ok {
		keeps.Sealed, keeps.Opened = cmp.Or(keeps.Sealed, from.SealedDays), cmp.Or(keeps.Opened, from.OpenedDays)
	}
	return keeps
}

// useBy is the last day of what is in the house: that of its label, or of how
// long the good keeps sealed since it was bought; once opened no later than it
// keeps opened. Zero: not known.
func (k *Kitchen) useBy(s *workspace.Stock, g good) (by time.Time) {
	keeps := k.keeps(g)
	if by = s.UseByOn; by.IsZero() && !s.BoughtOn.IsZero() && keeps.Sealed > 0 {
		by = s.BoughtOn.AddDate(0, 0, keeps.Sealed)
	}
	if !s.OpenedOn.IsZero() && keeps.Opened > 0 {
		if opened := s.OpenedOn.AddDate(0, 0, keeps.Opened); by.IsZero() || opened.Before(by) {
			by = opened
		}
	}
	return by
}

// lots are the packs of a pantry's row: what is sealed is opened one by one.
func (k *Kitchen) lots(s *workspace.Stock, all *big.Rat, region string) []*big.Rat {
	if s.Pack == "" || !s.OpenedOn.IsZero() {
		return []*big.Rat{all}
	}
	it := k.items[s.Item]
	pack, err := k.read(it, region, "", s.Pack, "", k.foods.Edible(it), nil)
	if err != nil || pack.Amount.Rat().Sign() <= 0 {
		return []*big.Rat{all}
	}
	const most = 1000 // rows beyond are one lot: who has more is no household
	var list []*big.Rat
	rest := new(big.Rat).Set(all)
	for ; rest.Cmp(pack.Amount.Rat()) > 0 && len(list) < most; rest = new(big.Rat).Sub(rest, pack.Amount.Rat()) {
		list = append(list, pack.Amount.Rat())
	}
	return append(list, rest)
}

// pantry adds what is in the house of the goods that the plan uses, and leaves
// out what is past its day.
func (k *Kitchen) pantry(a Ask, c *cooked, x *Answer) error {
	if a.Pantry == "" {
		return nil
	}
	for i := range k.tables.Pantry {
		s := &k.tables.Pantry[i]
		g := good{s.Item, cmp.Or(s.Grade, k.settings.Prices.DefaultGrade)}
		if s.Pantry != a.Pantry || c.names[g.name()].item == "" {
			continue
		}
		amount, err := k.inHouse(s, a.Region)
		if err != nil {
			return err
		}
		by := k.useBy(s, g)
		stock := meal.Stock{Good: g.name(), Sealed: s.OpenedOn.IsZero()}
		if !by.IsZero() {
			if stock.UseBy = int(by.Sub(a.On)/(24*time.Hour)) + 1; stock.UseBy < 1 {
				x.warn("past_use_by", fmt.Sprintf("%s in pantry %s is past its day, %s, and is not counted", s.Item, s.Pantry, by.Format(day)), "look at it: local food-safety guidance decides", s.Item)
				continue
			}
		}
		for _, stock.Quantity = range k.lots(s, amount, a.Region) {
			c.plan.Pantry = append(c.plan.Pantry, stock)
		}
	}
	return nil
}

// inHouse is the amount of a pantry's row in base units.
func (k *Kitchen) inHouse(s *workspace.Stock, region string) (*big.Rat, error) {
	it := k.items[s.Item]
	read, err := k.read(it, region, "", s.Quantity, s.Unit, k.foods.Edible(it), nil)
	var bad *quantity.Error
	if errors.As(err, &bad) {
		return nil, &workspace.InputError{Code: "table", File: s.File, Line: s.Line, Field: "quantity, unit", Read: bad.Read + ": " + bad.Why, Instead: bad.Instead}
	}
	return read.Amount.Rat(), err
}

func (x *Answer) warn(code, text, cure, key string) {
	w := result.Warning{Code: code, Text: text, Cure: cure, Key: key}
	if !slices.Contains(x.Warnings, w) {
		x.Warnings = append(x.Warnings, w)
	}
}

// lineKey names a line of a dish: its number, after the sub-recipes on the way.
func lineKey(l meal.Line) string {
	if l.Via == "" {
		return strconv.Itoa(l.Number)
	}
	return l.Via + " > " + strconv.Itoa(l.Number)
}

// row of the recipe that a line stands in.
func (c *cooked) row(l meal.Line) written {
	recipe := l.Dish
	if l.Via != "" {
		list := strings.Split(l.Via, " > ")
		recipe = list[len(list)-1]
	}
	return c.book.lines[recipe][l.Number]
}

// lacks says why a line has no cost, and what would give it one.
func (c *cooked) lacks(l meal.Cost) string {
	w := c.row(l.Line)
	switch l.Lacks {
	case meal.LacksQuantity:
		return "weight not known: " + cmp.Or(w.lacks, "a sub-recipe's servings are not written")
	case meal.LacksYield:
		return fmt.Sprintf("yield not known: write it in the recipe, or in tables/yields for %s %s", w.row.Item, w.row.Preparation)
	case meal.LacksPrice:
		return "price not known: " + c.unpriced[l.Good].Error()
	}
	return ""
}

func (k *Kitchen) rows(x *Answer, kind string, days int, plan []meal.Serving, left meal.Leftovers) {
	a, c := x.Ask, x.cooked
	h, amount := k.allowance(a)
	currency := k.currency(a.Region)
	base := result.Base{CurrencyCode: currency, NObservations: result.Count(0), NOutlets: result.Count(0)}
	s := result.Shopping{Shopping: a.Name, Kind: kind, Region: a.Region, Outlet: a.Outlet, Month: a.Month, PricedOn: a.On.Format(day), Programme: a.Programme,
		AmountKind: a.AmountKind, Household: a.Household, Persons: h.Persons, Days: result.Count(days), Servings: num(c.servings), Cupboard: "taken as there", Pantry: a.Pantry,
		Portion: num(c.shop.Portion), KnownPart: num(c.shop.KnownPortion), Till: num(c.shop.Till), FromPantry: num(c.shop.FromPantry), FromCupboard: num(c.shop.FromCupboard),
		Saving: num(c.shop.Saving), Leftover: num(c.shop.Leftover), Stranded: num(left.Stranded), StrandedMeals: num(left.StrandedMeals),
		UnpricedLines: result.Count(0)}
	if a.BuyCupboard {
		s.Cupboard = "bought"
	}
	x.Lines = k.lineRows(x, base)
	var costs []*big.Rat
	for i := range x.Lines {
		l := &x.Lines[i]
		if l.Lacks != "" {
			s.UnpricedLines.V++
			costs = append(costs, nil)
		} else {
			costs = append(costs, rat(l.Portion))
		}
		if l.ObservedOn != "" && (s.OldestOn == "" || l.ObservedOn < s.OldestOn) {
			s.OldestOn = l.ObservedOn
		}
	}
	s.SheetTotal = num(meal.NewSheet(costs).Total)
	s.Base = together(currency, x.Lines)

	var perMeal *big.Rat
	meals := max(h.MealsPerDay.V, 1)
	all := big.NewRat(int64(days*h.Persons.V*meals), 1) // of the household in the plan's days
	if h.Persons.OK {
		persons := big.NewRat(int64(h.Persons.V), 1)
		if rates, err := (meal.Allowance{Amount: amount, Days: a.Month.Days(), Persons: persons, MealsPerDay: big.NewRat(int64(meals), 1)}).Rates(); err == nil {
			perMeal = rates.PerMeal
			s.Allowance, s.PerDay, s.PerMeal = num(amount), num(rates.PerPersonDay), num(rates.PerMeal)
			personDays := new(big.Rat).Mul(persons, big.NewRat(int64(days), 1))
			if kind == "plan" {
				perDay, _ := meal.Per(c.shop.Portion, personDays)
				s.PerPersonDay = num(perDay)
				if c.servings.Cmp(all) < 0 {
					// A part of the meals has that part of the days' allowance, and no balance against whole days.
					c.target = meal.PortionCost(rates.PerMeal, c.servings)
				} else {
					s.Balance, c.target = num(meal.Balance(rates.PerPersonDay, perDay)), meal.PortionCost(rates.PerPersonDay, personDays)
				}
			} else {
				perServing, _ := meal.Per(c.shop.Portion, c.servings)
				s.Balance = num(meal.Balance(rates.PerMeal, perServing))
				c.target = meal.PortionCost(rates.PerMeal, c.servings)
			}
		}
	}
	if !s.Allowance.OK {
		x.warn("no_allowance", "no allowance is known for this household, region and month", "fill tables/allowances, or name another programme or household", a.Household)
	}
	x.Shopping = s
	for _, dish := range dishes(plan) {
		m := result.Meal{Shopping: a.Name, Recipe: dish.Recipe, Servings: num(dish.Servings), PerMeal: num(perMeal), UnpricedLines: result.Count(0)}
		sum := new(big.Rat)
		var lines []result.MealLine
		for _, l := range c.shop.Lines {
			switch {
			case l.Dish != dish.Recipe:
			case l.Cost == nil || sum == nil:
				sum = nil
			default:
				sum.Add(sum, l.Cost)
			}
		}
		for _, l := range x.Lines {
			if l.Recipe == dish.Recipe {
				lines = append(lines, l)
				if l.Lacks != "" {
					m.UnpricedLines.V++
				}
			}
		}
		perServing, _ := meal.Per(sum, dish.Servings)
		m.Portion, m.PerServing, m.Balance = num(sum), num(perServing), num(meal.Balance(perMeal, perServing))
		m.Base = together(currency, lines)
		x.Meals = append(x.Meals, m)
	}
	slices.SortFunc(x.Meals, func(a, b result.Meal) int { return strings.Compare(a.Recipe, b.Recipe) })
	x.Goods = k.goodRows(x, left, base)
	x.Nutrients = k.nutrientRows(x, dishes(plan))
	if kind == "plan" && h.Persons.OK && c.servings.Cmp(all) < 0 {
		x.warn("part_of_the_meals", fmt.Sprintf("the plan has %s servings for the %s meals of %d persons in %d days: its cost a day is that of what is planned", c.servings.RatString(), all.RatString(), h.Persons.V, days),
			"plan the other meals too, to set it against a whole day's allowance", "")
	}
	for _, l := range x.Lines {
		if l.Lacks != "" {
			x.warn("incomplete", fmt.Sprintf("%s, line %s, %s: %s", l.Recipe, l.Line, l.Item, l.Lacks), "without it the meal has no total", l.Recipe+"/"+l.Line)
		}
		if l.FilledBy != "" {
			x.warn("imputed", fmt.Sprintf("the price of %s is filled by rule: %s", l.Item, l.FilledBy), "note a price of it", l.Item)
		}
	}
}

// dishes are the recipes of a plan with all their servings, in the order of first use.
func dishes(plan []meal.Serving) (list []meal.Serving) {
	for _, s := range plan {
		i := slices.IndexFunc(list, func(d meal.Serving) bool { return d.Recipe == s.Recipe })
		if i < 0 {
			list = append(list, meal.Serving{Recipe: s.Recipe, Servings: new(big.Rat).Set(s.Servings)})
			continue
		}
		list[i].Servings.Add(list[i].Servings, s.Servings)
	}
	return list
}

// lineRows are the lines of all dishes; a dish cooked several times has one row
// a line, with the sum of what it uses.
func (k *Kitchen) lineRows(x *Answer, base result.Base) []result.MealLine {
	type key struct{ dish, line string }
	type sums struct{ quantity, ap, cost *big.Rat }
	at := map[key]int{}
	var rows []result.MealLine
	var all []sums
	c := x.cooked
	for _, l := range c.shop.Lines {
		id := key{l.Dish, lineKey(l.Line)}
		i, seen := at[id]
		if !seen {
			i = len(rows)
			at[id] = i
			w, g := c.row(l.Line), goodOf(l.Good)
			r := result.MealLine{Shopping: x.Ask.Name, Recipe: l.Dish, Line: id.line, Item: g.item, Grade: g.grade, AsWritten: strings.TrimSpace(w.row.Quantity + " " + w.row.Unit),
				Basis: cmp.Or(w.row.Basis, "AP"), Yield: num(w.yield.yield), YieldSource: w.yield.source, WeightSource: w.from, BaseUnit: k.items[g.item].BaseUnit,
				Supply: l.Supply.String(), Lacks: c.lacks(l), Note: w.row.Note, Base: base}
			if _, held := c.unpriced[l.Good].(heldBack); held {
				r.ObsStatus, r.ObsStatusAll = "Q", "Q"
			}
			if w.row.Assumed != "" {
				r.Note = strings.TrimSpace("assumed: " + w.row.Assumed + ". " + r.Note)
			}
			if w.row.Keep != nil {
				keep, _ := w.row.Keep.Float64()
				r.Keep = result.Count(int(keep))
			}
			if p := c.prices[l.Good]; p != nil && l.Supply != meal.Free {
				r.Pack, r.PackSize, r.PackPrice, r.UnitPrice = p.pack, num(p.Size), num(p.Price), num(l.UnitPrice)
				r.Outlet, r.ObservedOn, r.ObservationID, r.FilledBy, r.Base = p.outlet, p.oldest, p.id, p.filledBy, p.base
			}
			rows = append(rows, r)
			all = append(all, sums{new(big.Rat), new(big.Rat), new(big.Rat)})
		}
		all[i].quantity = plus(all[i].quantity, l.Line.Quantity)
		all[i].ap = plus(all[i].ap, l.APQuantity)
		all[i].cost = plus(all[i].cost, l.Cost)
	}
	for i := range rows {
		rows[i].Amount, rows[i].APQuantity, rows[i].Portion = num(all[i].quantity), num(all[i].ap), num(all[i].cost)
	}
	return rows
}

func (k *Kitchen) goodRows(x *Answer, left meal.Leftovers, base result.Base) []result.ShoppingLine {
	c := x.cooked
	var rows []result.ShoppingLine
	for _, t := range c.shop.Goods {
		g := goodOf(t.Good)
		if t.Need != nil && t.Need.Sign() == 0 && t.Packs == 0 {
			continue
		}
		r := result.ShoppingLine{Shopping: x.Ask.Name, Item: g.item, Grade: g.grade, APQuantity: num(t.Need), BaseUnit: k.items[g.item].BaseUnit, FromPantry: num(t.FromPantry),
			FromCupboard: num(t.FromCupboard), Till: num(t.Till), Leftover: num(t.Leftover), LeftoverLCU: num(t.LeftValue), Late: num(t.Late), Base: base}
		if t.Late != nil && t.Late.Sign() > 0 {
			x.warn("kept_too_long", fmt.Sprintf("%s %s of %s is used later than an opened pack keeps", t.Late.FloatString(3), r.BaseUnit, g.item), "plan it on nearer days, or buy another pack: local food-safety guidance decides", g.item)
		}
		if p := c.prices[t.Good]; p != nil {
			r.Pack, r.PackPrice, r.Outlet, r.Base = p.pack, num(p.Price), p.outlet, p.base
			if t.Till != nil { // else how much it needs is not known, and 0 packs would be wrong
				r.Packs, r.Deals = result.Count(int(t.Packs)), result.Count(int(t.Deals))
			}
		}
		next, stranded, value, useBy, some := new(big.Rat), new(big.Rat), new(big.Rat), 0, false
		for _, lot := range left.Lots {
			if lot.Good != t.Good || lot.Pantry {
				continue
			}
			some = true
			next, stranded, value = plus(next, lot.Next), plus(stranded, lot.Stranded), plus(value, lot.StrandedValue)
			if lot.UseBy > 0 && (useBy == 0 || lot.UseBy < useBy) {
				useBy = lot.UseBy
			}
		}
		if some {
			r.UsedNext, r.StrandedQty, r.Stranded = num(next), num(stranded), num(value)
		}
		if next == nil {
			x.warn("next_unknown", fmt.Sprintf("how much %s %s uses next is not known: neither is what strands of it", g.item, x.Ask.Then), "farthing meal "+x.Ask.Then+" says what its line lacks", g.item)
		}
		if useBy > 0 {
			r.UseByOn = x.Ask.On.AddDate(0, 0, useBy-1).Format(day)
		}
		rows = append(rows, r)
	}
	return rows
}

// plus is a sum: nil, not known, if a part is.
func plus(a, b *big.Rat) *big.Rat {
	if a == nil || b == nil {
		return nil
	}
	return new(big.Rat).Add(a, b)
}

// together is what the prices of some lines rest on: by cost, how much of it is filled by rule.
func together(currency string, lines []result.MealLine) result.Base {
	b := result.Base{CurrencyCode: currency, NObservations: result.Count(0), NOutlets: result.Count(0), ObsStatus: "A"}
	var known, filled, missing float64
	seen := map[good]bool{}
	incomplete := false
	letters := map[string]bool{}
	for _, l := range lines {
		incomplete = incomplete || l.Lacks != ""
		known, missing = known+l.Portion.V, missing+l.Portion.V*l.MissingShare.V
		if l.FilledBy != "" {
			filled += l.Portion.V
		}
		if l.PackPrice.OK || l.ObsStatus == "Q" {
			letters[l.ObsStatus] = true
		}
		if g := (good{l.Item, l.Grade}); l.PackPrice.OK && !seen[g] {
			seen[g] = true
			if b.NObservations.OK = b.NObservations.OK && l.NObservations.OK; b.NObservations.OK {
				b.NObservations.V += l.NObservations.V
			}
			if b.NOutlets.OK = b.NOutlets.OK && l.NOutlets.OK; b.NOutlets.OK {
				b.NOutlets.V = max(b.NOutlets.V, l.NOutlets.V)
			}
		}
	}
	if !b.NObservations.OK {
		b.NObservations = result.Int{}
	}
	if !b.NOutlets.OK {
		b.NOutlets = result.Int{}
	}
	var all []string
	for _, letter := range strings.Split("QMOLBUEIPA", "") {
		if letters[letter] || letter == "O" && incomplete {
			all = append(all, letter)
		}
	}
	if len(all) > 0 {
		b.ObsStatus, b.ObsStatusAll = all[0], strings.Join(all, "")
	}
	if known > 0 && !incomplete {
		b.ImputedShare, b.MissingShare = result.Some(filled/known), result.Some(missing/known)
	}
	return b
}

// Publish costs every recipe and plan as the settings say, and the least-cost
// diets, into the edition.
func (k *Kitchen) Publish(e *result.Edition) (err error) {
	for i := range k.tables.Pantry {
		if _, err := k.inHouse(&k.tables.Pantry[i], k.Default("").Region); err != nil {
			return err
		}
	}
	if e.Diets, e.DietLines, err = k.diets(); err != nil {
		return err
	}
	recipes, plans := k.Names()
	names := slices.Concat(recipes, plans)
	slices.Sort(names)
	for _, name := range names {
		x, err := k.Cost(k.Default(name))
		if err != nil {
			return err
		}
		swaps, err := k.Swap(x, nil)
		if err != nil {
			return err
		}
		e.Shoppings = append(e.Shoppings, x.Shopping)
		e.Meals = append(e.Meals, x.Meals...)
		e.MealLines = append(e.MealLines, x.Lines...)
		e.ShoppingLines = append(e.ShoppingLines, x.Goods...)
		e.Nutrients = append(e.Nutrients, x.Nutrients...)
		e.Swaps = append(e.Swaps, swaps.Rows...)
		for _, w := range x.Warnings {
			w.Key = name + "/" + w.Key
			e.Warnings = append(e.Warnings, w)
		}
	}
	return nil
}
