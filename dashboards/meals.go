package dashboards

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"farthing/dashboards/catalogue"
	"farthing/dashboards/draw"
	"farthing/dashboards/layout"
	"farthing/pipeline/result"
)

// shopping is a recipe or a plan with its rows.
type shopping struct {
	result.Shopping
	dishes    []result.Meal
	lines     []result.MealLine
	goods     []result.ShoppingLine
	swaps     []result.Swapped
	nutrients []result.MealNutrient
}

func (s *site) shopping(row result.Shopping) *shopping {
	return &shopping{row,
		among(s.e.Meals, func(r result.Meal) bool { return r.Shopping == row.Shopping }),
		among(s.e.MealLines, func(r result.MealLine) bool { return r.Shopping == row.Shopping }),
		among(s.e.ShoppingLines, func(r result.ShoppingLine) bool { return r.Shopping == row.Shopping }),
		among(s.e.Swaps, func(r result.Swapped) bool { return r.Shopping == row.Shopping }),
		among(s.e.Nutrients, func(r result.MealNutrient) bool { return r.Shopping == row.Shopping })}
}

// among are the rows that fit.
func among[T any](rows []T, fits func(T) bool) (kept []T) {
	for _, r := range rows {
		if fits(r) {
			kept = append(kept, r)
		}
	}
	return kept
}

func mealFile(shopping string) string { return fileName("meal", shopping) }

// mealHref is the sheet of a recipe, "" where it has none.
func (s *site) mealHref(shopping string) string {
	if slices.ContainsFunc(s.e.Shoppings, func(r result.Shopping) bool { return r.Shopping == shopping }) {
		return mealFile(shopping) + ".html"
	}
	return ""
}

// dishName prints a dish's key as a name: "barley-pot" as "Barley pot".
func dishName(key string) string {
	name := label(key)
	if !strings.Contains(name, " ") {
		name = strings.ReplaceAll(name, "-", " ")
	}
	first, size := utf8.DecodeRuneInString(name)
	if size == 0 || first == utf8.RuneError {
		return name
	}
	return string(unicode.ToUpper(first)) + name[size:]
}

// plain prints a quantity without the zeros that end it.
func (t tongue) plain(n result.Num, decimals int) string {
	s := digits(n, decimals)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return t.Figure(s)
}

func (t tongue) servings(n result.Num) string {
	if n.OK && n.V == 1 {
		return t.T("one serving")
	}
	return t.T("%s servings", t.plain(n, 4))
}

// offset sets an amount beside its share of the allowance: "0.59 XTS under", "1.77 XTS over".
func (t tongue) offset(balance result.Num, currency string) string {
	switch {
	case !balance.OK:
		return ""
	case balance.V < 0:
		return t.T("%s over", t.money(result.Some(-balance.V), currency))
	}
	return t.T("%s under", t.money(balance, currency))
}

// goodName is an item with its grade, if that is not the default one.
func (s *site) goodName(item, grade string) string {
	return s.graded(item, grade, grade != s.defaultGrade())
}

// defaultGrade is the grade that a name without one means.
func (s *site) defaultGrade() string {
	for _, o := range s.e.Options {
		if o[0] == "grade where none is named" {
			return o[1]
		}
	}
	return ""
}

// where says which prices a shopping is costed at.
func (s *site) where(r result.Shopping) string {
	place := s.T("typical prices of %s", regionName(s.e, r.Region))
	if r.Outlet != "" {
		place = s.T("prices of the shop %s", label(r.Outlet))
	}
	return fmt.Sprintf("%s, %s", place, s.month(r.Month))
}

// lacks says that lines have no price, "" where each has one.
func (t tongue) incomplete(n, portion, known result.Num, unpriced result.Int, currency string) string {
	if portion.OK {
		return ""
	}
	words := t.T("incomplete")
	if unpriced.OK {
		words += t.Count(unpriced.V, ": one line without a cost", ": %s lines without a cost")
	}
	if known.OK {
		words += t.T("; the known part is %s", t.money(known, currency))
	}
	return words
}

// mealCautions say what the pages of meals are not.
func (s *site) mealCautions() layout.Part {
	p := layout.Part{ID: "cautions", Headline: s.T("What this page does not say"), Text: []string{
		s.T("It is arithmetic about prices and food tables. It is not dietary advice: allergy, illness, pregnancy, taste, time and equipment are not in it, nor are fuel and travel. For a diet ask a person who is licensed to advise on one."),
		s.T("How long food keeps is a rule of thumb. The food-safety guidance of your place comes first, and so do your own eyes and nose."),
		s.T("It does not say who may have an allowance, or how much. The rules of your place and the office that pays decide that."),
	}}
	if s.e.Invented && s.e.Caution != "" {
		p.Text = append(p.Text, clean(s.e.Caution))
	}
	return p
}

// mealOf is the shopping that a doubt is about, "" where it is about none.
func (s *site) mealOf(w result.Warning) string {
	name, _, about := strings.Cut(w.Key, "/")
	if !about || !slices.ContainsFunc(s.e.Shoppings, func(r result.Shopping) bool { return r.Shopping == name }) {
		return ""
	}
	return name
}

// eaten is the part of what is paid for a good that goes into the pot: its value, or
// where a deal made the packs cheaper that part of the quantity.
func eaten(g result.ShoppingLine) result.Num {
	switch bought := g.APQuantity.V - g.FromPantry.V - g.FromCupboard.V + g.Leftover.V; {
	case !g.Till.OK || !g.LeftoverLCU.OK:
		return result.Num{}
	case g.Deals.V == 0:
		return result.Some(g.Till.V - g.LeftoverLCU.V)
	case !g.APQuantity.OK || !g.Leftover.OK || bought <= 0:
		return result.Num{}
	default:
		return result.Some(g.Till.V * (1 - g.Leftover.V/bought))
	}
}

// eatenOf adds up eaten over a shopping; missing where it is of a good.
func (s *site) eatenOf(r result.Shopping) result.Num {
	sum := result.Some(0)
	for _, g := range s.e.ShoppingLines {
		if g.Shopping == r.Shopping {
			n := eaten(g)
			sum = result.Num{V: sum.V + n.V, OK: sum.OK && n.OK}
		}
	}
	return sum
}

// forPart says whether a plan has less than all meals of its days.
func (s *site) forPart(r result.Shopping) bool {
	all := s.mealsOf(r)
	return all.OK && r.Servings.OK && r.Servings.V < float64(all.V)
}

// mealsOf are all meals of the persons and days of a plan; missing where it is not known.
func (s *site) mealsOf(r result.Shopping) result.Int {
	if !r.Persons.OK || !r.Days.OK {
		return result.Int{}
	}
	return result.Count(r.Days.V * r.Persons.V * max(household(s.e, r.Household).MealsPerDay.V, 1))
}

const twoCosts catalogue.Key = "The portion cost is the part of each pack that goes into the pot. The till cost is what whole packs cost; the rest is left over."

// mealsPage sets dishes and plans beside their share of the allowance.
func mealsPage(s *site, _ *view, file string) (layout.Page, error) {
	p := layout.Page{Title: s.T("Meals: what a serving costs"), Caution: s.caution()}
	of := func(kind string) []result.Shopping {
		return among(s.e.Shoppings, func(r result.Shopping) bool { return r.Kind == kind })
	}
	dishes, plans := of("recipe"), of("plan")
	if len(dishes)+len(plans) == 0 {
		p.Headline = s.T("No meal has been costed yet")
		p.See = s.seeDiets()
		p.Lead = []string{s.T("Enter recipes in tables/recipes, then run again. The part [meals] of farthing.toml says for which place, month and household they are costed.")}
		return p, nil
	}
	first := append(slices.Clone(dishes), plans...)[0]
	p.Headline, p.Strong = s.mealsHeadline(dishes, plans)
	p.Lead = []string{s.T("At %s.", s.where(first))}
	if n := s.newestMonth(); n > first.Month {
		p.Lead = append(p.Lead, s.T("These are not the newest prices: those are of %s.", s.month(n)))
	}
	if n := s.overAtTill(dishes); n > 0 {
		p.Lead = append([]string{s.Count(n, "Bought in whole packs, each dish by itself, one takes more than a meal’s share at the till.", "Bought in whole packs, each dish by itself, %s take more than a meal’s share at the till.")}, p.Lead...)
	}
	p.Lead = append(p.Lead, s.T(twoCosts))
	p.About = upper(s.where(first))
	if first.Household != "" {
		p.About += " · " + clean(household(s.e, first.Household).Name)
	}
	if first.Programme != "" {
		p.About += " · " + s.allowanceName(result.Combination{Programme: first.Programme, AmountKind: first.AmountKind})
	}
	if len(dishes) > 0 {
		part, err := s.dishesPart(file, dishes)
		if err != nil {
			return p, err
		}
		p.Parts = append(p.Parts, part)
	}
	if len(plans) > 0 {
		p.Parts = append(p.Parts, s.plansPart(plans))
	}
	p.See = s.seeDiets()
	p.Parts = append(p.Parts, s.mealCautions())
	return p, nil
}

func (s *site) mealsHeadline(dishes, plans []result.Shopping) (headline, strong string) {
	if len(dishes) == 0 {
		r := plans[0]
		if !r.PerPersonDay.OK {
			return s.T("In %s the plan %s has no full cost:", s.month(r.Month), label(r.Shopping)), s.incomplete(r.PerPersonDay, r.Portion, r.KnownPart, r.UnpricedLines, clean(r.CurrencyCode))
		}
		if s.forPart(r) && r.Servings.V > 0 {
			return s.T("In %s the plan %s cost, for %s of %s meals,", s.month(r.Month), label(r.Shopping), s.plain(r.Servings, 4), s.Figure(s.mealsOf(r).String())),
				s.T("%s a serving", s.money(result.Some(r.Portion.V/r.Servings.V), clean(r.CurrencyCode)))
		}
		return s.T("In %s a person’s day of the plan %s cost", s.month(r.Month), label(r.Shopping)), s.money(r.PerPersonDay, clean(r.CurrencyCode))
	}
	var known, over []result.Shopping
	for _, r := range dishes {
		if r.Portion.OK {
			known = append(known, r)
			if r.Balance.OK && r.Balance.V < 0 {
				over = append(over, r)
			}
		}
	}
	currency := clean(dishes[0].CurrencyCode)
	if known == nil {
		return s.T("None of the dishes has a full price"), ""
	}
	dearer := func(a, b result.Shopping) int {
		x, y := s.perServing(a), s.perServing(b)
		switch {
		case x.V < y.V:
			return -1
		case x.V > y.V:
			return 1
		}
		return strings.Compare(a.Shopping, b.Shopping)
	}
	cheap, dear := slices.MinFunc(known, dearer), slices.MaxFunc(known, dearer)
	share := ""
	if m := known[0].PerMeal; m.OK {
		share = s.T("a meal’s share of the allowance, %s", s.money(m, currency))
	}
	switch {
	case share == "" && len(known) == 1:
		return s.T("In %s a serving of %s cost", s.month(dear.Month), s.lower(dishName(dear.Shopping))), s.money(s.perServing(dear), currency)
	case share == "":
		return s.T("In %s a serving cost from %s (%s) to", s.month(dear.Month), s.money(s.perServing(cheap), currency), s.lower(dishName(cheap.Shopping))),
			fmt.Sprintf("%s (%s)", s.money(s.perServing(dear), currency), s.lower(dishName(dear.Shopping)))
	case over == nil && len(known) == 1:
		return s.T("In %s a serving of %s cost %s, within %s", s.month(dear.Month), s.lower(dishName(dear.Shopping)), s.money(s.perServing(dear), currency), share), ""
	case over == nil:
		return s.T("In %s a serving of each of %s cost no more than %s", s.month(dear.Month), s.Count(len(known), "one dish", "%s dishes"), share), ""
	}
	dish, most := s.lower(dishName(dear.Shopping)), catalogue.Key("%s by %s")
	if len(known) == 1 {
		return s.T("In %s a serving of %s cost %s, more than %s", s.month(dear.Month), dish, s.money(s.perServing(dear), currency), share), ""
	}
	if len(over) > 1 {
		most = "most of all %s by %s"
	}
	strong = s.T(most, dish, s.money(result.Some(-dear.Balance.V), currency))
	if len(over) == len(known) {
		return s.T("In %s each of %s dishes cost more a serving than %s:", s.month(dear.Month), s.Small(len(known)), share), strong
	}
	return s.T("In %s %s of %s cost more a serving than %s:", s.month(dear.Month), s.plainCount(len(over)), s.Count(len(known), "one dish", "%s dishes"), share), strong
}

// overAtTill counts the dishes whose packs cost more a serving than a meal's share.
func (s *site) overAtTill(dishes []result.Shopping) (n int) {
	for _, r := range dishes {
		if r.Till.OK && r.PerMeal.OK && r.Servings.OK && r.Servings.V > 0 && r.Till.V/r.Servings.V > r.PerMeal.V {
			n++
		}
	}
	return n
}

// plainCount prints a number in words where they are short.
func (t tongue) plainCount(n int) string { return t.Count(n, "one", "%s") }

// lower puts a name into a sentence.
func (t tongue) lower(s string) string {
	first, size := utf8.DecodeRuneInString(s)
	if t.Capitals() || size == 0 || first == utf8.RuneError {
		return s
	}
	return string(unicode.ToLower(first)) + s[size:]
}

// perServing is the portion cost of a serving of a recipe.
func (s *site) perServing(r result.Shopping) result.Num {
	for _, m := range s.e.Meals {
		if m.Shopping == r.Shopping && m.Recipe == r.Shopping {
			return m.PerServing
		}
	}
	return result.Num{}
}

func (s *site) dishesPart(file string, dishes []result.Shopping) (layout.Part, error) {
	currency := clean(dishes[0].CurrencyCode)
	p := layout.Part{ID: "dishes", Open: true,
		Headline: s.T("A serving of %s", s.Count(len(dishes), "one dish", "%s dishes")),
		Subtitle: s.T("Each bar is what must be paid at the till for a serving’s share of the packs, %s; the ink is the part of it that is eaten.", currency)}
	limit := dishes[0].PerMeal
	var bars []draw.Purse
	rest := false
	for _, r := range dishes {
		bar := draw.Purse{Name: dishName(r.Shopping), Words: dishName(r.Shopping)}
		if r.PerMeal != limit {
			limit = result.Num{}
		}
		paid := s.eatenOf(r)
		if !r.Till.OK || !paid.OK || !r.Servings.OK || r.Servings.V <= 0 {
			bar.Gap = s.T("no full price")
			bar.Words += ": " + bar.Gap
		} else {
			bar.Used, bar.Whole = paid.V/r.Servings.V, r.Till.V/r.Servings.V
			used, whole := result.Some(bar.Used), result.Some(bar.Whole)
			bar.Value = s.T("%s of %s", s.num(used, 2), s.num(whole, 2))
			bar.Words += ": " + s.T("%s eaten of %s paid a serving", s.num(used, 2), s.money(whole, currency))
			rest = rest || bar.Whole > bar.Used
		}
		bars = append(bars, bar)
	}
	p.Key = []layout.Mark{key("used", s.T("eaten, of what is paid"))}
	if rest {
		p.Key = append(p.Key, key("kept", s.T("left over from whole packs")))
	}
	limitWords, at := "", 0.0
	if limit.OK {
		limitWords, at = s.T("a meal’s share %s", s.num(limit, 2)), limit.V
		p.Key = append(p.Key, key("limit", s.T("a meal’s share of the allowance")))
	}
	type S = result.Shopping
	kitchen := s.fromKitchen(dishes)
	columns := []column[S]{
		{head: s.T("Dish"), cell: func(r S) layout.Cell {
			return layout.Cell{Text: dishName(r.Shopping), Href: mealFile(r.Shopping) + ".html"}
		}},
		number(s.T("Servings"), func(r S) string { return s.plain(r.Servings, 4) }),
		number(s.T("A serving"), func(r S) string { return s.money4(s.perServing(r)) }).gap(func(r S) string {
			return s.incomplete(s.perServing(r), r.Portion, r.KnownPart, r.UnpricedLines, currency)
		}),
		number(s.T("A meal’s share"), func(r S) string { return s.money4(r.PerMeal) }).or(s.T("none")),
		number(s.T("Balance"), func(r S) string { return s.money4(r.Balance) }).or(s.T("none")),
		number(s.T("Portion"), func(r S) string { return s.money4(r.Portion) }),
	}
	p.Table = tableOf(dishes, -1, append(append(columns, kitchen...),
		number(s.T("Till"), func(r S) string { return s.money4(r.Till) }),
		number(s.T("Left over"), func(r S) string { return s.money4(r.Leftover) }),
		number(s.T("Spoils"), func(r S) string { return s.money4(r.Stranded) }),
		status(s.tongue, func(r S) result.Base { return r.Base }))...)
	p.Table.Caption = s.T("Money in %s, with the digits of the data file. A serving and a meal’s share are of one person’s meal; the others are of all servings. Till = portion, less what is from stock or cupboard, plus what is left over, less what deals save. Below 0 in Balance: over the share. Spoils: what keeps too short for the dish to be made again.%s",
		currency, s.statusKey(s.e, p.Table.Rows))
	if kitchen != nil {
		p.Foot = append(p.Foot, s.T("What comes from stock or cupboard is not in the bars: it is not paid now. It is in the cost of a serving."))
	}
	p.Source = s.source(upper(s.where(dishes[0])))
	wide, slim := draw.Purses(s.drawing(), bars, currency, at, limitWords, mark(p.Source, draw.Wide), mark(p.Source, draw.Slim))
	return p, s.drawn(&p, file, wide, slim, s.T("%s. The table below has the same figures.", p.Headline), "meals.csv", "shoppings.csv")
}

// fromKitchen are columns of what was there before, nil where nothing was.
func (s *site) fromKitchen(rows []result.Shopping) (columns []column[result.Shopping]) {
	for _, c := range []struct {
		head  catalogue.Key
		value func(result.Shopping) result.Num
	}{{"From stock", func(r result.Shopping) result.Num { return r.FromPantry }}, {"From cupboard", func(r result.Shopping) result.Num { return r.FromCupboard }}} {
		if hasAny(rows, c.value) {
			columns = append(columns, number(s.T(c.head), func(r result.Shopping) string { return s.money4(c.value(r)) }))
		}
	}
	return columns
}

func (s *site) plansPart(plans []result.Shopping) layout.Part {
	currency := clean(plans[0].CurrencyCode)
	p := layout.Part{ID: "plans", Open: true, Links: dataLinks("shoppings.csv", "meals.csv")}
	var words []string
	for _, r := range plans {
		if r.PerPersonDay.OK {
			w := s.T("%s costs %s a person and day", label(r.Shopping), s.money(r.PerPersonDay, currency))
			if s.forPart(r) && r.Servings.V > 0 {
				w = s.T("%s costs %s a serving, for %s of %s meals", label(r.Shopping), s.money(result.Some(r.Portion.V/r.Servings.V), currency), s.plain(r.Servings, 4), s.Figure(s.mealsOf(r).String()))
			} else if o := s.offset(r.Balance, currency); o != "" {
				w += ", " + o
			}
			words = append(words, w)
		}
	}
	switch {
	case words == nil:
		p.Headline = s.T("No plan has a full price")
	case len(words) == 1 && len(plans) == 1:
		p.Headline = s.T("The plan %s", words[0])
	default:
		p.Headline = s.T("Plans: %s", strings.Join(words[:min(len(words), 3)], "; "))
	}
	p.Subtitle = s.T("All dishes of a plan share their packs: two dishes open one, and leftovers count once.")
	type S = result.Shopping
	columns := []column[S]{
		{head: s.T("Plan"), cell: func(r S) layout.Cell {
			return layout.Cell{Text: dishName(r.Shopping), Href: mealFile(r.Shopping) + ".html"}
		}},
		number(s.T("Days"), func(r S) string { return s.whole(r.Days) }),
		number(s.T("Servings"), func(r S) string { return s.plain(r.Servings, 4) }),
		number(s.T("A person and day"), func(r S) string {
			if s.forPart(r) { // it is no day
				return ""
			}
			return s.money4(r.PerPersonDay)
		}).gap(func(r S) string {
			return s.incomplete(r.PerPersonDay, r.Portion, r.KnownPart, r.UnpricedLines, currency)
		}).or(s.T("a part of the meals")),
		number(s.T("Allowance a person and day"), func(r S) string { return s.money4(r.PerDay) }).or(s.T("none")),
		number(s.T("Balance"), func(r S) string { return s.money4(r.Balance) }).orWhy(func(r S) string {
			if s.forPart(r) {
				return s.T("a part of the meals")
			}
			return s.T("none")
		}),
		number(s.T("Portion"), func(r S) string { return s.money4(r.Portion) }),
	}
	p.Table = tableOf(plans, -1, append(append(columns, s.fromKitchen(plans)...),
		number(s.T("Till"), func(r S) string { return s.money4(r.Till) }),
		number(s.T("Left over"), func(r S) string { return s.money4(r.Leftover) }),
		number(s.T("Spoils"), func(r S) string { return s.money4(r.Stranded) }),
		status(s.tongue, func(r S) result.Base { return r.Base }))...)
	p.Table.Broad = true
	p.Table.Caption = s.T("Money in %s, with the digits of the data file. Below 0 in Balance: over the allowance. A plan for a part of the meals has no balance against whole days.%s", currency, s.statusKey(s.e, p.Table.Rows))
	return p
}

// mealPage is the workings sheet of a recipe or a plan: what each line costs,
// so that it can be checked with a pencil.
func (s *site) mealPage(row result.Shopping) (layout.Page, error) {
	x := s.shopping(row)
	name, currency := dishName(x.Shopping.Shopping), clean(x.CurrencyCode)
	p := layout.Page{Title: s.T("%s: the workings", name), Caution: s.caution(), Nav: s.nav("Meals", s.publish[0]),
		About: name + " · " + s.where(row), See: []layout.Link{{Text: s.T("All meals and plans"), Href: fileName("meals") + ".html"}}}
	choice := layout.Choice{Name: s.T("Meal or plan")}
	for _, o := range s.e.Shoppings {
		choice.Links = append(choice.Links, layout.Link{Text: dishName(o.Shopping), Href: mealFile(o.Shopping) + ".html", Current: o.Shopping == x.Shopping.Shopping})
	}
	if len(choice.Links) > 1 {
		p.Choices = []layout.Choice{choice}
	}
	what := s.T("%s for %s", name, s.servings(x.Servings))
	if x.Kind == "plan" {
		what = s.T("%s, a plan of %s for %s", name, s.Count(x.Days.V, "one day", "%s days"), s.Count(x.Persons.V, "one person", "%s persons"))
	}
	switch {
	case !x.Portion.OK:
		p.Headline, p.Strong = what+":", s.incomplete(x.Portion, x.Portion, x.KnownPart, x.UnpricedLines, currency)
	case !x.Till.OK:
		p.Headline, p.Strong = s.T("%s: %s in the pot;", what, s.money(x.Portion, currency)), s.T("what the packs cost at the till is not known")
	default:
		p.Headline, p.Strong = s.T("%s: %s in the pot,", what, s.money(x.Portion, currency)), s.T("%s at the till", s.money(x.Till, currency))
	}
	p.Lead = s.mealLead(x)
	goods, err := s.pursePart(mealFile(x.Shopping.Shopping), x)
	if err != nil {
		return p, err
	}
	p.Parts = append(p.Parts, goods, s.workingsPart(x))
	if len(x.goods) > 0 {
		p.Parts = append(p.Parts, s.goodsPart(x))
	}
	if len(x.swaps) > 0 {
		p.Parts = append(p.Parts, s.swapsPart(x))
	}
	if len(x.nutrients) > 0 {
		p.Parts = append(p.Parts, s.nutrientsPart(x))
	}
	cautions := s.mealCautions()
	for _, w := range s.e.Warnings {
		if s.mealOf(w) == x.Shopping.Shopping && w.Code != "incomplete" { // its lines say that
			cautions.Warnings = append(cautions.Warnings, s.warning(w))
		}
	}
	p.Parts = append(p.Parts, cautions)
	return p, nil
}

// least are the changes of the least sacrifice, and what they save together.
func (x *shopping) least() (changes []result.Swapped, saving float64) {
	for _, r := range x.swaps {
		if r.Change == "least" {
			changes, saving = append(changes, r), saving+r.Saving.V
		}
	}
	return changes, saving
}

func (s *site) mealLead(x *shopping) []string {
	currency := clean(x.CurrencyCode)
	var lead []string
	switch each := s.perServing(x.Shopping); {
	case x.Kind == "plan" && x.PerPersonDay.OK:
		if s.forPart(x.Shopping) { // what it costs a day is no day's cost
			w := s.T("The plan has only %s of the %s meals of these days", s.plain(x.Servings, 4), s.Figure(s.mealsOf(x.Shopping).String()))
			if x.Portion.OK && x.Servings.V > 0 {
				w += s.T(": %s a serving", s.money(result.Some(x.Portion.V/x.Servings.V), currency))
			}
			lead = append(lead, w+".")
			if x.PerDay.OK && x.PerMeal.OK && x.Portion.OK {
				lead = append(lead, s.T("So the allowance of a whole day, %s, is no measure of it: the share of these meals is %s, and in the pot they cost %s.",
					s.money(x.PerDay, currency), s.money(result.Some(x.PerMeal.V*x.Servings.V), currency), s.money(x.Portion, currency)))
			}
			break
		}
		w := s.T("A person’s day costs %s", s.money(x.PerPersonDay, currency))
		if o := s.offset(x.Balance, currency); o != "" {
			w += s.T(", %s the allowance of %s", o, s.money(x.PerDay, currency))
		}
		lead = append(lead, w+".")
	case each.OK:
		w := s.T("A serving costs %s", s.money(each, currency))
		if o := s.offset(x.Balance, currency); o != "" {
			w += s.T(", %s a meal’s share of the allowance (%s)", o, s.money(x.PerMeal, currency))
		}
		lead = append(lead, w+".")
	}
	if there := result.Some(x.FromPantry.V + x.FromCupboard.V); x.FromPantry.OK && x.FromCupboard.OK && there.Fixed(2) != "0.00" {
		lead = append(lead, s.T("%s of what is in the pot was in the kitchen before, and is not paid at the till.", s.money(there, currency)))
	}
	if changes, _ := x.least(); len(changes) > 0 {
		var words []string
		for _, c := range changes {
			words = append(words, s.change(c))
		}
		lead = append(lead, s.T("The least change that is enough for what is in the pot: %s.", s.list(words, 4)))
	}
	if x.Stranded.OK && x.Stranded.V > 0 {
		w := s.T("Of what is left over, %s spoils before the same is cooked again", s.money(x.Stranded, currency))
		if x.StrandedMeals.OK && x.StrandedMeals.V > 0 {
			w += s.T(": the worth of %s servings", s.plain(x.StrandedMeals, 2))
		}
		lead = append(lead, w+".")
	}
	var late []string
	for _, g := range x.goods {
		if g.Late.OK && g.Late.V > 0 {
			late = append(late, s.goodName(g.Item, g.Grade))
		}
	}
	if late != nil {
		lead = append(lead, s.T("By the rules of thumb, used after its opened pack keeps: %s.", s.list(late, 4)))
	}
	if x.OldestOn != "" {
		lead = append(lead, s.T("Oldest price: %s.", s.dateText(x.OldestOn)))
	}
	return lead
}

// change says a swap in words.
func (s *site) change(c result.Swapped) string {
	return s.T("swap|%s to %s", s.swapName(c.From), s.swapName(c.To))
}

// swapName names what a change is from or to, which a file writes as "item grade".
func (s *site) swapName(key string) string {
	for _, n := range s.e.ItemNames {
		if grade, ok := strings.CutPrefix(key, n.Item); ok && (grade == "" || grade[0] == ' ') {
			return s.goodName(n.Item, strings.TrimSpace(grade))
		}
	}
	return label(key)
}

// hasAny says whether a row has a number other than zero, so that its column is worth its room.
func hasAny[T any](rows []T, value func(T) result.Num) bool {
	return slices.ContainsFunc(rows, func(r T) bool { return value(r).OK && value(r).V != 0 })
}

// pursePart draws what each good costs at the till, and how much of it is eaten, kept and lost.
func (s *site) pursePart(file string, x *shopping) (layout.Part, error) {
	currency := clean(x.CurrencyCode)
	p := layout.Part{ID: "purse", Source: s.source(upper(s.where(x.Shopping)))}
	var bars []draw.Purse
	kept, lost := false, false
	for _, g := range x.goods {
		bar := draw.Purse{Name: s.goodName(g.Item, g.Grade)}
		switch {
		case !eaten(g).OK:
			bar.Gap = s.T("no price")
		case g.Packs.OK && g.Packs.V == 0:
			bar.Gap = s.T("not bought: the kitchen has it")
		default:
			bar.Whole, bar.Used = g.Till.V, eaten(g).V
			if g.Stranded.OK {
				bar.Lost = min(g.Stranded.V, bar.Whole-bar.Used)
			}
			bar.Value = s.T("%s of %s", s.num(result.Some(bar.Used), 2), s.num(g.Till, 2))
			kept, lost = kept || bar.Whole-bar.Used-bar.Lost > 1e-9, lost || bar.Lost > 0
		}
		bar.Words = strings.TrimSpace(bar.Name + ": " + bar.Value + bar.Gap)
		bars = append(bars, bar)
	}
	if bars == nil {
		p.Headline, p.Text = s.T("Nothing has to be bought"), []string{s.T("No line of it needs a pack.")}
		return p, nil
	}
	p.Headline = s.T("What is paid, and what of it is eaten")
	if paid := s.eatenOf(x.Shopping); x.Till.OK && paid.OK && x.Till.V > 0 {
		p.Headline = s.T("Of %s paid at the till, %s is eaten and %s is left over", s.money(x.Till, currency), s.money(paid, currency), s.money(result.Some(x.Till.V-paid.V), currency))
	}
	p.Subtitle = s.T("Each bar is what the packs of one food cost, %s; the ink is the part used.", currency)
	p.Key = []layout.Mark{key("used", s.T("goes into the pot"))}
	if kept {
		p.Key = append(p.Key, key("kept", s.T("left over, keeps")))
	}
	if lost {
		p.Key = append(p.Key, key("lost", s.T("left over, spoils first")))
	}
	wide, slim := draw.Purses(s.drawing(), bars, currency, 0, "", mark(p.Source, draw.Wide), mark(p.Source, draw.Slim))
	p.Notes = []layout.Note{{Head: s.T("Two costs."), Text: s.T(twoCosts)}}
	return p, s.drawn(&p, file, wide, slim, s.T("%s. The list of what to buy has the same figures.", p.Headline), "shopping_lines.csv")
}

func (s *site) workingsPart(x *shopping) layout.Part {
	currency := clean(x.CurrencyCode)
	p := layout.Part{ID: "workings", Open: true, Headline: s.T("The workings, line by line"), Links: dataLinks("meal_lines.csv"),
		Subtitle: s.T("Part used ÷ yield, if there is one = part paid for. Shelf price ÷ pack × part paid for = cost. Check it with a pencil.")}
	type L = result.MealLine
	plan := x.Kind == "plan"
	columns := []column[L]{{head: s.T("Item"), cell: func(l L) layout.Cell {
		return layout.Cell{Text: s.goodName(l.Item, l.Grade), Href: s.itemHref(l.Item)}
	}}}
	if plan {
		columns = append(columns, column[L]{head: s.T("Dish"), words: true, cell: func(l L) layout.Cell {
			return layout.Cell{Text: dishName(l.Recipe), Href: s.mealHref(l.Recipe), Words: true}
		}})
	}
	columns = append(columns,
		number(s.T("Line"), func(l L) string { return clean(l.Line) }),
		text(s.T("As written"), func(l L) string { return clean(l.AsWritten) }),
		number(s.T("Part used"), func(l L) string { return s.plain(l.Amount, 6) }))
	if hasAny(x.lines, func(l L) result.Num { return l.Yield }) {
		columns = append(columns, number(s.T("Yield"), func(l L) string { return s.plain(l.Yield, 6) }))
	}
	columns = append(columns,
		number(s.T("Part paid for"), func(l L) string { return s.plain(l.APQuantity, 6) }).gap(func(l L) string {
			if l.Portion.OK {
				return ""
			}
			if l.Lacks == "" {
				return s.T("no price")
			}
			words, _ := s.said(l.Lacks)
			return words
		}),
		text(s.T("Unit"), func(l L) string { return s.code(l.BaseUnit) }),
		number(s.T("Shelf price"), func(l L) string { return s.money4(l.PackPrice) }),
		text(s.T("Pack"), func(l L) string { return clean(l.Pack) }),
		number(s.T("Unit price"), func(l L) string { return s.money4(l.UnitPrice) }),
		number(s.T("Cost"), func(l L) string { return s.money4(l.Portion) }))
	if slices.ContainsFunc(x.lines, func(l L) bool { return l.Supply != "bought" }) {
		columns = append(columns, text(s.T("Supply"), func(l L) string { return s.code(l.Supply) }))
	}
	if slices.ContainsFunc(x.lines, func(l L) bool { return l.Outlet != "" }) {
		columns = append(columns, text(s.T("Where"), func(l L) string { return label(l.Outlet) }))
	} else {
		p.Subtitle += " " + s.T("Shelf prices are typical ones of the place and month, of the pack that is seen most.")
	}
	columns = append(columns,
		text(s.T("Oldest price"), func(l L) string { return s.dateOr(l.ObservedOn) }))
	p.Table = tableOf(x.lines, -1, columns...)
	p.Table.Broad = true
	p.Table.Caption = s.T("Money in %s. As written: for the recipe’s own servings; part used: for those of this sheet. Yield: the edible part of what is bought; where there is none the quantity is as bought. Parts and unit price are in the unit beside them; a pack of 500 g is 0.5 kg.", currency)
	if !x.SheetTotal.OK {
		p.Foot = append(p.Foot, s.T("There is no total, because a line has no cost. A total without it would look cheaper than it is."))
	} else {
		p.Foot = append(p.Foot, s.T("The printed costs add up to %s, rounded once.", s.money(x.SheetTotal, currency)))
	}
	if x.Cupboard != "" {
		p.Foot = append(p.Foot, s.T("What the cupboard holds is %s. Its part counts in the portion cost, and at the till only if bought.", s.code(x.Cupboard)))
	}
	var sources []string
	for _, l := range x.lines {
		for _, src := range []string{l.WeightSource, l.YieldSource} {
			if w := s.itemName(l.Item) + ": " + clean(src); src != "" && !slices.Contains(sources, w) {
				sources = append(sources, w)
			}
		}
	}
	if sources != nil {
		p.Foot = append(p.Foot, s.T("Weights and yields. %s.", strings.Join(sources, "; ")))
	}
	return p
}

// dateOr prints a day in short, and nothing where there is none.
func (t tongue) dateOr(s string) string {
	if s == "" {
		return ""
	}
	return t.day(s, 0, true)
}

func (s *site) goodsPart(x *shopping) layout.Part {
	currency := clean(x.CurrencyCode)
	p := layout.Part{ID: "goods", Open: true, Headline: s.T("What to buy, and what is left of it"), Links: dataLinks("shopping_lines.csv")}
	type G = result.ShoppingLine
	columns := []column[G]{
		{head: s.T("Item"), cell: func(g G) layout.Cell {
			return layout.Cell{Text: s.goodName(g.Item, g.Grade), Href: s.itemHref(g.Item)}
		}},
		text(s.T("Pack"), func(g G) string { return clean(g.Pack) }),
		number(s.T("Needed"), func(g G) string { return s.plain(g.APQuantity, 6) }),
		text(s.T("Unit"), func(g G) string { return s.code(g.BaseUnit) }),
	}
	// quantity adds a column where it has something to say.
	quantity := func(head string, value func(G) result.Num) {
		if hasAny(x.goods, value) {
			columns = append(columns, number(head, func(g G) string { return s.plain(value(g), 6) }))
		}
	}
	quantity(s.T("From stock"), func(g G) result.Num { return g.FromPantry })
	quantity(s.T("From cupboard"), func(g G) result.Num { return g.FromCupboard })
	columns = append(columns,
		number(s.T("Packs"), func(g G) string { return s.whole(g.Packs) }).gap(func(g G) string {
			if g.Till.OK {
				return ""
			}
			return s.T("no price")
		}),
		number(s.T("Pack price"), func(g G) string { return s.money4(g.PackPrice) }),
		number(s.T("Till"), func(g G) string { return s.money4(g.Till) }),
		number(s.T("Left"), func(g G) string { return s.plain(g.Leftover, 6) }),
		number(s.T("Its value"), func(g G) string { return s.money4(g.LeftoverLCU) }))
	quantity(s.T("Used late"), func(g G) result.Num { return g.Late })
	quantity(s.T("Used next"), func(g G) result.Num { return g.UsedNext })
	if quantity(s.T("Spoils"), func(g G) result.Num { return g.StrandedQty }); hasAny(x.goods, func(g G) result.Num { return g.StrandedQty }) {
		columns = append(columns, number(s.T("Spoils, value"), func(g G) string { return s.money4(g.Stranded) }))
	}
	columns = append(columns, text(s.T("Use by"), func(g G) string {
		if g.UseByOn == "" {
			return s.dateOr(g.UseByOn)
		}
		return s.day(g.UseByOn, x.Month.Year(), true) // the year where it is another: the table is wide
	}))
	p.Table = tableOf(x.goods, -1, columns...)
	p.Table.Broad = true
	if x.Till.OK {
		sums := map[string]result.Num{s.T("Till"): x.Till, s.T("Its value"): x.Leftover, s.T("Spoils, value"): x.Stranded}
		total := layout.Row{Sum: true, Cells: []layout.Cell{{Text: s.T("Together")}}}
		for _, c := range columns[1:] {
			total.Cells = append(total.Cells, layout.Cell{Text: s.money4(sums[c.head])})
		}
		p.Table.Rows = append(p.Table.Rows, total)
	}
	p.Table.Caption = s.T("Money in %s. Quantities are in the unit beside Needed. Used late: after its opened pack keeps. Used next: by the same again, before it spoils.", currency)
	if x.Leftover.OK && x.Till.OK && x.Portion.OK && x.Saving.V == 0 { // a deal makes what is left cheaper than its value
		p.Foot = append(p.Foot, s.T("Till %s = what is eaten of it %s + left over %s.", s.money4(x.Till), s.money4(result.Some(x.Till.V-x.Leftover.V)), s.money4(x.Leftover)))
	}
	if x.FromCupboard.OK && x.FromCupboard.V > 0 || x.FromPantry.OK && x.FromPantry.V > 0 {
		p.Foot = append(p.Foot, s.T("Eaten but not paid now: %s from the cupboard, %s from stock.", s.money4(x.FromCupboard), s.money4(x.FromPantry)))
	}
	p.Foot = append(p.Foot, s.T("Use by: a rule of thumb for the opened or bought food, in the place where it keeps longest. Local food-safety guidance comes first."))
	return p
}

func (s *site) swapsPart(x *shopping) layout.Part {
	currency := clean(x.CurrencyCode)
	p := layout.Part{ID: "swaps", Open: true, Links: dataLinks("swaps.csv"), Subtitle: s.T("Each change that the table of swaps offers, of the portion cost. Sacrifice: the cook’s own mark of what should stay, 9 the most.")}
	changes, saving := x.least()
	target := x.swaps[0].Target
	switch {
	case len(changes) > 0 && x.Portion.OK:
		p.Headline = upper(s.T("in the pot %s from %s to %s, within its share of the allowance, %s", s.Count(len(changes), "one change takes it", "%s changes take it"),
			s.num(x.Portion, 2), s.money(result.Some(x.Portion.V-saving), currency), s.num(target, 2)))
	case target.OK && x.Portion.OK && x.Portion.V <= target.V:
		p.Headline = s.T("It costs %s, within its share of the allowance, %s; what each change would do", s.num(x.Portion, 2), s.money(target, currency))
	case target.OK && x.Portion.OK:
		p.Headline = s.T("No set of these changes brings it within its share of the allowance")
	default:
		p.Headline = s.T("What each change would do")
	}
	type W = result.Swapped
	dish := func(r W) string { return dishName(r.Recipe) }
	columns := []column[W]{
		number(s.T("No."), func(r W) string { return s.whole(r.Nth) }),
		text(s.T("swap|Change"), func(r W) string {
			if r.Change == "least" {
				if len(changes) == 1 {
					return s.T("by itself, and the least that is enough")
				}
				return s.T("with others the least that is enough")
			}
			return s.T("by itself")
		}),
	}
	if x.Kind == "plan" {
		columns = append(columns, text(s.T("Dish"), dish))
	}
	columns = append(columns,
		text(s.T("swap|From"), func(r W) string { return s.swapName(r.From) }),
		text(s.T("swap|To"), func(r W) string { return s.swapName(r.To) }),
		number(s.T("Sacrifice"), func(r W) string { return s.whole(r.Sacrifice) }),
		number(s.T("Saves"), func(r W) string { return s.money4(r.Saving) }).or(s.T("no price")),
		number(s.T("Cost then"), func(r W) string { return s.money4(r.After) }),
		number(s.T("Target"), func(r W) string { return s.money4(r.Target) }))
	if !target.OK || !x.Portion.OK || x.Portion.V > target.V { // else it needs no change
		columns = append(columns, text(s.T("Enough"), func(r W) string { return s.code(r.Enough) }))
	}
	shown := x.swaps
	if len(changes) == 1 { // it stands in the list of each by itself too
		shown = slices.DeleteFunc(slices.Clone(x.swaps), func(r W) bool {
			return r.Change == "alone" && r.Recipe == changes[0].Recipe && r.Line == changes[0].Line && r.From == changes[0].From && r.To == changes[0].To
		})
	}
	p.Table = tableOf(shown, -1, columns...)
	p.Table.Caption = s.T("Money in %s, of all servings. Below 0 in Saves: dearer. Cost then: the whole with this one change.", currency)
	p.Foot = []string{s.T("All of this is the part of the packs that is used. At the till whole packs are paid, which may be above the share all the same.")}
	return p
}

func (s *site) nutrientsPart(x *shopping) layout.Part {
	p := layout.Part{ID: "nutrients", Headline: s.T("Nutrients of a serving"), Links: dataLinks("meal_nutrients.csv")}
	rows := among(x.nutrients, func(r result.MealNutrient) bool { return (r.Recipe == "") == (x.Kind == "plan") })
	of := s.T("A serving")
	if x.Kind == "plan" {
		p.Headline, of = s.T("Nutrients of a person’s day"), s.T("A person and day")
		p.Foot = append(p.Foot, s.T("Those of a serving stand on the sheet of each dish."))
		if s.forPart(x.Shopping) {
			p.Headline = s.T("Nutrients of %s of %s meals, spread over persons and days", s.plain(x.Servings, 4), s.Figure(s.mealsOf(x.Shopping).String()))
			p.Foot = append(p.Foot, s.T("The plan has %s of the %s meals of these days; the reference values are of whole days.", s.plain(x.Servings, 4), s.Figure(s.mealsOf(x.Shopping).String())))
		}
	}
	if len(rows) == 0 {
		return p
	}
	var has []string
	for _, r := range rows {
		if (r.Nutrient == "energy" || r.Nutrient == "protein") && r.PerServing.OK {
			w := s.T("%s %s of %s", s.num(r.PerServing, 0), clean(r.Unit), s.nutrient(r.Nutrient))
			if r.IsAtLeast == "yes" { // rounded up it would be more than is known
				w = s.T("at least %s", s.T("%s %s of %s", s.num(result.Some(math.Floor(r.PerServing.V)), 0), clean(r.Unit), s.nutrient(r.Nutrient)))
			}
			has = append(has, w)
		}
	}
	if has != nil {
		p.Headline += ": " + s.list(has, 3)
	}
	p.Subtitle = s.T("Values of food tables for raw food, times the edible part used. Cooking losses are not taken off. Allergens are not in it.")
	type N = result.MealNutrient
	p.Table = tableOf(rows, -1,
		text(s.T("Nutrient"), func(r N) string { return s.nutrient(r.Nutrient) }),
		number(of, func(r N) string { return s.plain(r.PerServing, 3) }).gap(func(r N) string {
			if r.PerServing.OK {
				return ""
			}
			return s.T("no figure")
		}),
		text(s.T("Unit"), func(r N) string { return clean(r.Unit) }),
		number(s.T("Weight with a figure"), func(r N) string {
			if r.IsAtLeast == "yes" && r.KnownShare.OK && r.KnownShare.Fixed(4) == "1.0000" {
				return "" // not all of it
			}
			return s.share2(r.KnownShare)
		}).or(s.T("nearly all")),
		text(s.T("At least"), func(r N) string { return s.code(r.IsAtLeast) }),
		number(s.T("At least a day"), func(r N) string { return s.plain(r.Lower, 6) }),
		number(s.T("At most a day"), func(r N) string { return s.plain(r.Upper, 6) }),
		number(s.T("Share, %"), func(r N) string { return s.num(r.Percent, 3) }))
	p.Table.Caption = s.T("At least: yes where a weight or a figure is missing, so that there may be more. Share: of the lower reference value of a day, else of the upper.")
	var groups []string
	for _, r := range rows {
		if w := clean(r.PersonGroup); w != "" && !slices.Contains(groups, w) {
			groups = append(groups, w)
		}
	}
	if groups != nil {
		p.Foot = append(p.Foot, s.T("Reference values: %s. They are yardsticks for a population, not a need of any one person.", s.list(groups, 3)))
	}
	return p
}
