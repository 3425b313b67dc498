package dashboards

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

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
func plain(n result.Num, decimals int) string {
	s := num(n, decimals)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

func servings(n result.Num) string {
	if n.OK && n.V == 1 {
		return "one serving"
	}
	return plain(n, 4) + " servings"
}

// offset sets an amount beside its share of the allowance: "0.59 XTS under", "1.77 XTS over".
func offset(balance result.Num, currency string) string {
	switch {
	case !balance.OK:
		return ""
	case balance.V < 0:
		return money(result.Some(-balance.V), currency) + " over"
	}
	return money(balance, currency) + " under"
}

// goodName is an item with its grade, if that is not the default one.
func (s *site) goodName(item, grade string) string {
	name := s.itemName(item)
	if grade != "" && grade != s.defaultGrade() {
		name += ", " + strings.ReplaceAll(label(grade), "-", " ")
	}
	return name
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
	place := "typical prices of " + regionName(s.e, r.Region)
	if r.Outlet != "" {
		place = "prices of the shop " + label(r.Outlet)
	}
	return fmt.Sprintf("%s, %s", place, month(r.Month))
}

// lacks says that lines have no price, "" where each has one.
func lacks(n, portion, known result.Num, unpriced result.Int, currency string) string {
	if portion.OK {
		return ""
	}
	words := "incomplete"
	if unpriced.OK {
		words += fmt.Sprintf(": %s without a cost", count(unpriced.V, "line", "lines"))
	}
	if known.OK {
		words += fmt.Sprintf("; the known part is %s", money(known, currency))
	}
	return words
}

// mealCautions say what the pages of meals are not.
func (s *site) mealCautions() layout.Part {
	p := layout.Part{ID: "cautions", Headline: "What this page does not say", Text: []string{
		"It is arithmetic about prices and food tables. It is not dietary advice: allergy, illness, pregnancy, taste, time and equipment are not in it, nor are fuel and travel. For a diet ask a person who is licensed to advise on one.",
		"How long food keeps is a rule of thumb. The food-safety guidance of your place comes first, and so do your own eyes and nose.",
		"It does not say who may have an allowance, or how much. The rules of your place and the office that pays decide that.",
	}}
	if s.e.Invented && s.e.Caution != "" {
		p.Text = append(p.Text, clean(s.e.Caution))
	}
	return p
}

const twoCosts = "The portion cost is the part of each pack that goes into the pot. The till cost is what whole packs cost; the rest is left over."

// mealsPage sets dishes and plans beside their share of the allowance.
func mealsPage(s *site, _ *view, file string) (layout.Page, error) {
	p := layout.Page{Title: "Meals: what a serving costs", Caution: s.caution()}
	of := func(kind string) []result.Shopping {
		return among(s.e.Shoppings, func(r result.Shopping) bool { return r.Kind == kind })
	}
	dishes, plans := of("recipe"), of("plan")
	if len(dishes)+len(plans) == 0 {
		p.Headline = "No meal has been costed yet"
		p.Lead = []string{"Enter recipes in tables/recipes, then run again. The part [meals] of farthing.toml says for which place, month and household they are costed."}
		return p, nil
	}
	first := append(slices.Clone(dishes), plans...)[0]
	p.Headline, p.Strong = s.mealsHeadline(dishes, plans)
	p.Lead = []string{fmt.Sprintf("At %s.", s.where(first)), twoCosts}
	p.About = upper(s.where(first))
	if first.Household != "" {
		p.About += " · " + clean(household(s.e, first.Household).Name)
	}
	if first.Programme != "" {
		p.About += " · " + allowanceName(result.Combination{Programme: first.Programme, AmountKind: first.AmountKind})
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
	p.Parts = append(p.Parts, s.mealCautions())
	return p, nil
}

func (s *site) mealsHeadline(dishes, plans []result.Shopping) (headline, strong string) {
	if len(dishes) == 0 {
		r := plans[0]
		if !r.PerPersonDay.OK {
			return fmt.Sprintf("The plan %s has no full cost:", label(r.Shopping)), lacks(r.PerPersonDay, r.Portion, r.KnownPart, r.UnpricedLines, clean(r.CurrencyCode))
		}
		return fmt.Sprintf("A person’s day of the plan %s costs", label(r.Shopping)), money(r.PerPersonDay, clean(r.CurrencyCode))
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
		return "None of the dishes has a full price", ""
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
		share = fmt.Sprintf(" a meal’s share of the allowance, %s", money(m, currency))
	}
	switch {
	case share == "" && len(known) == 1:
		return fmt.Sprintf("A serving of %s costs", lower(dishName(dear.Shopping))), money(s.perServing(dear), currency)
	case share == "":
		return fmt.Sprintf("A serving costs from %s (%s) to", money(s.perServing(cheap), currency), lower(dishName(cheap.Shopping))),
			fmt.Sprintf("%s (%s)", money(s.perServing(dear), currency), lower(dishName(dear.Shopping)))
	case over == nil && len(known) == 1:
		return fmt.Sprintf("A serving of %s costs %s, within%s", lower(dishName(dear.Shopping)), money(s.perServing(dear), currency), share), ""
	case over == nil:
		return fmt.Sprintf("A serving of each of %s costs no more than%s", count(len(known), "dish", "dishes"), share), ""
	}
	return fmt.Sprintf("Of %s, a serving of %s costs more than%s:", count(len(known), "dish", "dishes"), plainCount(len(over)), share),
		fmt.Sprintf("%s by %s", lower(dishName(dear.Shopping)), money(result.Some(-dear.Balance.V), currency))
}

// plainCount prints a number in words where they are short.
func plainCount(n int) string { return strings.TrimSpace(count(n, "", "")) }

// lower puts a name into a sentence.
func lower(s string) string {
	first, size := utf8.DecodeRuneInString(s)
	if size == 0 || first == utf8.RuneError {
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
		Headline: fmt.Sprintf("A serving of %s", count(len(dishes), "dish", "dishes")),
		Subtitle: fmt.Sprintf("Each bar is what must be paid at the till for a serving’s share of the packs, %s; the ink is the part that is eaten.", currency)}
	limit := dishes[0].PerMeal
	var bars []draw.Purse
	rest := false
	for _, r := range dishes {
		each := s.perServing(r)
		bar := draw.Purse{Name: dishName(r.Shopping), Words: dishName(r.Shopping)}
		if r.PerMeal != limit {
			limit = result.Num{}
		}
		if !each.OK || !r.Till.OK || !r.Servings.OK || r.Servings.V <= 0 {
			bar.Gap = "no full price"
			bar.Words += ": no full price"
		} else {
			bar.Used, bar.Whole = each.V, r.Till.V/r.Servings.V
			bar.Value = fmt.Sprintf("%s of %s", num(each, 2), num(result.Some(bar.Whole), 2))
			bar.Words += fmt.Sprintf(": %s eaten of %s paid a serving", num(each, 2), money(result.Some(bar.Whole), currency))
			rest = rest || bar.Whole > bar.Used
		}
		bars = append(bars, bar)
	}
	p.Key = []layout.Mark{key("used", "eaten: portion cost")}
	if rest {
		p.Key = append(p.Key, key("kept", "left over from whole packs"))
	}
	limitWords, at := "", 0.0
	if limit.OK {
		limitWords, at = "a meal’s share "+num(limit, 2), limit.V
		p.Key = append(p.Key, key("limit", "a meal’s share of the allowance"))
	}
	type S = result.Shopping
	p.Table = tableOf(dishes, -1,
		column[S]{"Dish", false, func(r S) layout.Cell {
			return layout.Cell{Text: dishName(r.Shopping), Href: mealFile(r.Shopping) + ".html"}
		}},
		number("Servings", func(r S) string { return plain(r.Servings, 4) }),
		number("A serving", func(r S) string { return money4(s.perServing(r)) }).gap(func(r S) string {
			return lacks(s.perServing(r), r.Portion, r.KnownPart, r.UnpricedLines, currency)
		}),
		number("A meal’s share", func(r S) string { return money4(r.PerMeal) }).or("none"),
		number("Balance", func(r S) string { return money4(r.Balance) }).or("none"),
		number("Portion", func(r S) string { return money4(r.Portion) }),
		number("Till", func(r S) string { return money4(r.Till) }),
		number("Left over", func(r S) string { return money4(r.Leftover) }),
		number("Spoils", func(r S) string { return money4(r.Stranded) }),
		text("Status", func(r S) string { return letters(r.Base) }))
	p.Table.Caption = fmt.Sprintf("Money in %s, with the digits of the data file. A serving and a meal’s share are of one person’s meal; portion, till and what is left over are of all servings. Below 0 in Balance: over the share. Spoils: what keeps too short for the dish to be made again.%s",
		currency, statusKey(s.e, p.Table.Rows))
	p.Source = s.source(upper(s.where(dishes[0])))
	wide, slim := draw.Purses(bars, currency, at, limitWords, mark(p.Source, draw.Wide), mark(p.Source, draw.Slim))
	return p, s.drawn(&p, file, wide, slim, p.Headline+". The table below has the same figures.", "meals.csv", "shoppings.csv")
}

func (s *site) plansPart(plans []result.Shopping) layout.Part {
	currency := clean(plans[0].CurrencyCode)
	p := layout.Part{ID: "plans", Open: true, Links: dataLinks("shoppings.csv", "meals.csv")}
	var words []string
	for _, r := range plans {
		if r.PerPersonDay.OK {
			w := fmt.Sprintf("%s costs %s a person and day", label(r.Shopping), money(r.PerPersonDay, currency))
			if o := offset(r.Balance, currency); o != "" {
				w += ", " + o
			}
			words = append(words, w)
		}
	}
	switch {
	case words == nil:
		p.Headline = "No plan has a full price"
	case len(words) == 1 && len(plans) == 1:
		p.Headline = "The plan " + words[0]
	default:
		p.Headline = "Plans: " + strings.Join(words[:min(len(words), 3)], "; ")
	}
	p.Subtitle = "All dishes of a plan share their packs: two dishes open one, and leftovers count once."
	type S = result.Shopping
	p.Table = tableOf(plans, -1,
		column[S]{"Plan", false, func(r S) layout.Cell {
			return layout.Cell{Text: dishName(r.Shopping), Href: mealFile(r.Shopping) + ".html"}
		}},
		number("Days", func(r S) string { return r.Days.String() }),
		number("Servings", func(r S) string { return plain(r.Servings, 4) }),
		number("A person and day", func(r S) string { return money4(r.PerPersonDay) }).gap(func(r S) string {
			return lacks(r.PerPersonDay, r.Portion, r.KnownPart, r.UnpricedLines, currency)
		}),
		number("Allowance a person and day", func(r S) string { return money4(r.PerDay) }).or("none"),
		number("Balance", func(r S) string { return money4(r.Balance) }).or("none"),
		number("Portion", func(r S) string { return money4(r.Portion) }),
		number("Till", func(r S) string { return money4(r.Till) }),
		number("Left over", func(r S) string { return money4(r.Leftover) }),
		number("Spoils", func(r S) string { return money4(r.Stranded) }),
		text("Status", func(r S) string { return letters(r.Base) }))
	p.Table.Caption = fmt.Sprintf("Money in %s, with the digits of the data file. Below 0 in Balance: over the allowance.%s", currency, statusKey(s.e, p.Table.Rows))
	return p
}

// mealPage is the workings sheet of a recipe or a plan: what each line costs,
// so that it can be checked with a pencil.
func (s *site) mealPage(row result.Shopping) (layout.Page, error) {
	x := s.shopping(row)
	name, currency := dishName(x.Shopping.Shopping), clean(x.CurrencyCode)
	p := layout.Page{Title: name + ": the workings", Caution: s.caution(), Nav: s.nav("Meals", s.publish[0]),
		About: name + " · " + s.where(row), See: []layout.Link{{Text: "All meals and plans", Href: fileName("meals") + ".html"}}}
	choice := layout.Choice{Name: "Meal or plan"}
	for _, o := range s.e.Shoppings {
		choice.Links = append(choice.Links, layout.Link{Text: dishName(o.Shopping), Href: mealFile(o.Shopping) + ".html", Current: o.Shopping == x.Shopping.Shopping})
	}
	if len(choice.Links) > 1 {
		p.Choices = []layout.Choice{choice}
	}
	what := fmt.Sprintf("%s for %s", name, servings(x.Servings))
	if x.Kind == "plan" {
		what = fmt.Sprintf("%s, a plan of %s for %s", name, count(x.Days.V, "day", "days"), count(x.Persons.V, "person", "persons"))
	}
	switch {
	case !x.Portion.OK:
		p.Headline, p.Strong = what+":", lacks(x.Portion, x.Portion, x.KnownPart, x.UnpricedLines, currency)
	case !x.Till.OK:
		p.Headline, p.Strong = fmt.Sprintf("%s: %s in the pot;", what, money(x.Portion, currency)), "what the packs cost at the till is not known"
	default:
		p.Headline, p.Strong = fmt.Sprintf("%s: %s in the pot,", what, money(x.Portion, currency)), money(x.Till, currency)+" at the till"
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
	p.Parts = append(p.Parts, s.mealCautions())
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
		w := fmt.Sprintf("A person’s day costs %s", money(x.PerPersonDay, currency))
		if o := offset(x.Balance, currency); o != "" {
			w += fmt.Sprintf(", %s the allowance of %s", o, money(x.PerDay, currency))
		}
		lead = append(lead, w+".")
	case each.OK:
		w := fmt.Sprintf("A serving costs %s", money(each, currency))
		if o := offset(x.Balance, currency); o != "" {
			w += fmt.Sprintf(", %s a meal’s share of the allowance (%s)", o, money(x.PerMeal, currency))
		}
		lead = append(lead, w+".")
	}
	if changes, _ := x.least(); len(changes) > 0 {
		var words []string
		for _, c := range changes {
			words = append(words, s.change(c))
		}
		lead = append(lead, fmt.Sprintf("The least change that brings it within: %s.", list(words, 4)))
	}
	if x.Stranded.OK && x.Stranded.V > 0 {
		w := fmt.Sprintf("Of what is left over, %s spoils before the same is cooked again", money(x.Stranded, currency))
		if x.StrandedMeals.OK && x.StrandedMeals.V > 0 {
			w += fmt.Sprintf(": the worth of %s servings", plain(x.StrandedMeals, 2))
		}
		lead = append(lead, w+".")
	}
	if x.OldestOn != "" {
		lead = append(lead, fmt.Sprintf("Oldest price: %s.", dateText(x.OldestOn)))
	}
	return lead
}

// change says a swap in words.
func (s *site) change(c result.Swapped) string {
	return fmt.Sprintf("%s to %s", s.swapName(c.From), s.swapName(c.To))
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
		case !g.Till.OK || !g.LeftoverLCU.OK:
			bar.Gap = "no price"
		case g.Packs.OK && g.Packs.V == 0:
			bar.Gap = "nothing bought: it is there"
		default:
			bar.Whole, bar.Used = g.Till.V, g.Till.V-g.LeftoverLCU.V
			if g.Stranded.OK {
				bar.Lost = g.Stranded.V
			}
			bar.Value = fmt.Sprintf("%s of %s", num(result.Some(bar.Used), 2), num(g.Till, 2))
			kept, lost = kept || bar.Whole-bar.Used-bar.Lost > 1e-9, lost || bar.Lost > 0
		}
		bar.Words = strings.TrimSpace(bar.Name + ": " + bar.Value + bar.Gap)
		bars = append(bars, bar)
	}
	if bars == nil {
		p.Headline, p.Text = "Nothing has to be bought", []string{"No line of it needs a pack."}
		return p, nil
	}
	p.Headline = "What is paid, and what of it is eaten"
	if x.Till.OK && x.Leftover.OK && x.Till.V > 0 {
		p.Headline = fmt.Sprintf("Of %s paid at the till, %s is eaten and %s is left over", money(x.Till, currency), money(result.Some(x.Till.V-x.Leftover.V), currency), money(x.Leftover, currency))
	}
	p.Subtitle = fmt.Sprintf("Each bar is what the packs of one food cost, %s; the ink is the part used.", currency)
	p.Key = []layout.Mark{key("used", "goes into the pot")}
	if kept {
		p.Key = append(p.Key, key("kept", "left over, keeps"))
	}
	if lost {
		p.Key = append(p.Key, key("lost", "left over, spoils first"))
	}
	wide, slim := draw.Purses(bars, currency, 0, "", mark(p.Source, draw.Wide), mark(p.Source, draw.Slim))
	p.Notes = []layout.Note{{Head: "Two costs.", Text: twoCosts}}
	return p, s.drawn(&p, file, wide, slim, p.Headline+". The list of what to buy has the same figures.", "shopping_lines.csv")
}

func (s *site) workingsPart(x *shopping) layout.Part {
	currency := clean(x.CurrencyCode)
	p := layout.Part{ID: "workings", Open: true, Headline: "The workings, line by line", Links: dataLinks("meal_lines.csv"),
		Subtitle: "Shelf price ÷ pack × part bought = cost. Check it with a pencil."}
	type L = result.MealLine
	plan := x.Kind == "plan"
	columns := []column[L]{{"Item", false, func(l L) layout.Cell {
		return layout.Cell{Text: s.goodName(l.Item, l.Grade), Href: s.itemHref(l.Item)}
	}}}
	if plan {
		columns = append(columns, column[L]{"Dish", true, func(l L) layout.Cell {
			return layout.Cell{Text: dishName(l.Recipe), Href: s.mealHref(l.Recipe), Words: true}
		}})
	}
	columns = append(columns,
		number("Line", func(l L) string { return clean(l.Line) }),
		text("As written", func(l L) string { return clean(l.AsWritten) }))
	if hasAny(x.lines, func(l L) result.Num { return l.Yield }) {
		columns = append(columns, number("Yield", func(l L) string { return plain(l.Yield, 6) }))
	}
	columns = append(columns,
		number("Part bought", func(l L) string { return plain(l.APQuantity, 6) }).gap(func(l L) string {
			if l.Portion.OK {
				return ""
			}
			if l.Lacks == "" {
				return "no price"
			}
			return clean(l.Lacks)
		}),
		text("Unit", func(l L) string { return clean(l.BaseUnit) }),
		number("Shelf price", func(l L) string { return money4(l.PackPrice) }),
		text("Pack", func(l L) string { return clean(l.Pack) }),
		number("Unit price", func(l L) string { return money4(l.UnitPrice) }),
		number("Cost", func(l L) string { return money4(l.Portion) }))
	if slices.ContainsFunc(x.lines, func(l L) bool { return l.Supply != "bought" }) {
		columns = append(columns, text("Supply", func(l L) string { return clean(l.Supply) }))
	}
	if slices.ContainsFunc(x.lines, func(l L) bool { return l.Outlet != "" }) {
		columns = append(columns, text("Where", func(l L) string { return label(l.Outlet) }))
	} else {
		p.Subtitle += " Shelf prices are typical ones of the place and month, of the pack that is seen most."
	}
	columns = append(columns,
		text("Oldest price", func(l L) string { return dateOr(l.ObservedOn) }))
	p.Table = tableOf(x.lines, -1, columns...)
	p.Table.Broad = true
	p.Table.Caption = fmt.Sprintf("Money in %s. Yield: the edible part of what is bought; where there is none the quantity is as bought. Part bought and unit price are in the unit beside them.", currency)
	if !x.SheetTotal.OK {
		p.Foot = append(p.Foot, "There is no total, because a line has no cost. A total without it would look cheaper than it is.")
	} else {
		p.Foot = append(p.Foot, fmt.Sprintf("The printed costs add up to %s, rounded once.", money(x.SheetTotal, currency)))
	}
	if x.Cupboard != "" {
		p.Foot = append(p.Foot, fmt.Sprintf("What the cupboard holds is %s. Its part counts in the portion cost, and at the till only if bought.", clean(x.Cupboard)))
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
		p.Foot = append(p.Foot, "Weights and yields. "+strings.Join(sources, "; ")+".")
	}
	return p
}

// dateOr prints a day in short, and nothing where there is none.
func dateOr(s string) string {
	if s == "" {
		return ""
	}
	return day(s, 0, true)
}

func (s *site) goodsPart(x *shopping) layout.Part {
	currency := clean(x.CurrencyCode)
	p := layout.Part{ID: "goods", Open: true, Headline: "What to buy, and what is left of it", Links: dataLinks("shopping_lines.csv")}
	type G = result.ShoppingLine
	columns := []column[G]{
		{"Item", false, func(g G) layout.Cell {
			return layout.Cell{Text: s.goodName(g.Item, g.Grade), Href: s.itemHref(g.Item)}
		}},
		text("Pack", func(g G) string { return clean(g.Pack) }),
		number("Needed", func(g G) string { return plain(g.APQuantity, 6) }),
		text("Unit", func(g G) string { return clean(g.BaseUnit) }),
	}
	// quantity adds a column where it has something to say.
	quantity := func(head string, value func(G) result.Num) {
		if hasAny(x.goods, value) {
			columns = append(columns, number(head, func(g G) string { return plain(value(g), 6) }))
		}
	}
	quantity("From stock", func(g G) result.Num { return g.FromPantry })
	quantity("From cupboard", func(g G) result.Num { return g.FromCupboard })
	columns = append(columns,
		number("Packs", func(g G) string { return g.Packs.String() }).gap(func(g G) string {
			if g.Till.OK {
				return ""
			}
			return "no price"
		}),
		number("Pack price", func(g G) string { return money4(g.PackPrice) }),
		number("Till", func(g G) string { return money4(g.Till) }),
		number("Left", func(g G) string { return plain(g.Leftover, 6) }),
		number("Its value", func(g G) string { return money4(g.LeftoverLCU) }))
	quantity("Used late", func(g G) result.Num { return g.Late })
	quantity("Used next", func(g G) result.Num { return g.UsedNext })
	if quantity("Spoils", func(g G) result.Num { return g.StrandedQty }); hasAny(x.goods, func(g G) result.Num { return g.StrandedQty }) {
		columns = append(columns, number("Spoils, value", func(g G) string { return money4(g.Stranded) }))
	}
	columns = append(columns, text("Use by", func(g G) string { return dateOr(g.UseByOn) }))
	p.Table = tableOf(x.goods, -1, columns...)
	p.Table.Broad = true
	if x.Till.OK {
		sums := map[string]result.Num{"Till": x.Till, "Its value": x.Leftover, "Spoils, value": x.Stranded}
		total := layout.Row{Sum: true, Cells: []layout.Cell{{Text: "Together"}}}
		for _, c := range columns[1:] {
			total.Cells = append(total.Cells, layout.Cell{Text: money4(sums[c.head])})
		}
		p.Table.Rows = append(p.Table.Rows, total)
	}
	p.Table.Caption = fmt.Sprintf("Money in %s. Quantities are in the unit beside Needed. Used late: after its opened pack keeps. Used next: by the same again, before it spoils.", currency)
	if x.Leftover.OK && x.Till.OK && x.Portion.OK {
		p.Foot = append(p.Foot, fmt.Sprintf("Till %s = what is eaten of it %s + left over %s.", money4(x.Till), money4(result.Some(x.Till.V-x.Leftover.V)), money4(x.Leftover)))
	}
	if x.FromCupboard.OK && x.FromCupboard.V > 0 || x.FromPantry.OK && x.FromPantry.V > 0 {
		p.Foot = append(p.Foot, fmt.Sprintf("Eaten but not paid now: %s from the cupboard, %s from stock.", money4(x.FromCupboard), money4(x.FromPantry)))
	}
	p.Foot = append(p.Foot, "Use by: a rule of thumb for the opened or bought food, in the place where it keeps longest. Local food-safety guidance comes first.")
	return p
}

func (s *site) swapsPart(x *shopping) layout.Part {
	currency := clean(x.CurrencyCode)
	p := layout.Part{ID: "swaps", Open: true, Links: dataLinks("swaps.csv"), Subtitle: "Each change that the table of swaps offers, of the portion cost. Sacrifice: the cook’s own mark of what should stay, 9 the most."}
	changes, saving := x.least()
	target := x.swaps[0].Target
	switch {
	case len(changes) > 0 && x.Portion.OK:
		p.Headline = fmt.Sprintf("%s from %s to %s, within its share of the allowance, %s", upper(count(len(changes), "change takes it", "changes take it")),
			num(x.Portion, 2), money(result.Some(x.Portion.V-saving), currency), num(target, 2))
	case x.Balance.OK && x.Balance.V >= 0:
		p.Headline = "It is within its share of the allowance; what each change would do"
	case x.Balance.OK:
		p.Headline = "No set of these changes brings it within its share of the allowance"
	default:
		p.Headline = "What each change would do"
	}
	type W = result.Swapped
	dish := func(r W) string { return dishName(r.Recipe) }
	columns := []column[W]{
		number("No.", func(r W) string { return r.Nth.String() }),
		text("Change", func(r W) string {
			if r.Change == "least" {
				return "of the least sacrifice"
			}
			return "by itself"
		}),
	}
	if x.Kind == "plan" {
		columns = append(columns, text("Dish", dish))
	}
	columns = append(columns,
		text("From", func(r W) string { return s.swapName(r.From) }),
		text("To", func(r W) string { return s.swapName(r.To) }),
		number("Sacrifice", func(r W) string { return r.Sacrifice.String() }),
		number("Saves", func(r W) string { return money4(r.Saving) }).or("no price"),
		number("Cost then", func(r W) string { return money4(r.After) }),
		number("Target", func(r W) string { return money4(r.Target) }),
		text("Enough", func(r W) string { return clean(r.Enough) }))
	p.Table = tableOf(x.swaps, -1, columns...)
	p.Table.Caption = fmt.Sprintf("Money in %s. Cost then: the whole with this one change.", currency)
	return p
}

func (s *site) nutrientsPart(x *shopping) layout.Part {
	p := layout.Part{ID: "nutrients", Headline: "Nutrients of a serving", Links: dataLinks("meal_nutrients.csv")}
	rows := among(x.nutrients, func(r result.MealNutrient) bool { return (r.Recipe == "") == (x.Kind == "plan") })
	of := "A serving"
	if x.Kind == "plan" {
		p.Headline, of = "Nutrients of a person’s day", "A person and day"
		p.Foot = append(p.Foot, "Those of a serving stand on the sheet of each dish.")
	}
	if len(rows) == 0 {
		return p
	}
	var has []string
	for _, r := range rows {
		if (r.Nutrient == "energy" || r.Nutrient == "protein") && r.PerServing.OK {
			w := fmt.Sprintf("%s %s of %s", num(r.PerServing, 0), clean(r.Unit), label(r.Nutrient))
			if r.IsAtLeast == "yes" {
				w = "at least " + w
			}
			has = append(has, w)
		}
	}
	if has != nil {
		p.Headline += ": " + list(has, 3)
	}
	p.Subtitle = "Values of food tables for raw food, times the edible part used. Cooking losses are not taken off. Allergens are not in it."
	type N = result.MealNutrient
	p.Table = tableOf(rows, -1,
		text("Nutrient", func(r N) string { return label(r.Nutrient) }),
		number(of, func(r N) string { return plain(r.PerServing, 6) }).gap(func(r N) string {
			if r.PerServing.OK {
				return ""
			}
			return "no figure"
		}),
		text("Unit", func(r N) string { return clean(r.Unit) }),
		number("Weight with a figure", func(r N) string { return share2(r.KnownShare) }),
		text("At least", func(r N) string { return clean(r.IsAtLeast) }),
		number("At least a day", func(r N) string { return plain(r.Lower, 6) }),
		number("At most a day", func(r N) string { return plain(r.Upper, 6) }),
		number("Share, %", func(r N) string { return num(r.Percent, 3) }))
	p.Table.Caption = "At least: yes where a weight or a figure is missing, so that there may be more. Share: of the lower reference value of a day, else of the upper."
	var groups []string
	for _, r := range rows {
		if w := clean(r.PersonGroup); w != "" && !slices.Contains(groups, w) {
			groups = append(groups, w)
		}
	}
	if groups != nil {
		p.Foot = append(p.Foot, fmt.Sprintf("Reference values: %s. They are yardsticks for a population, not a need of any one person.", list(groups, 3)))
	}
	return p
}
