package dashboards

import (
	"fmt"
	"math"
	"slices"
	"time"

	"farthing/pipeline/result"
)

// The editions here are made up: an invented place, prices from a formula.

const jan2023 = result.Month(2023 * 12)

// spec says what a made-up edition holds.
type spec struct {
	months   int
	regions  []result.Region
	paidOn   int
	price    func(region, month int) result.Num // of one person a day
	allow    func(month int) result.Num
	imputed  func(region, month int) float64
	status   func(region, month int) string // where there is no price
	ranged   bool
	sure     bool // the ranks of the regions do not overlap
	invented bool
}

func tavrin() []result.Region {
	return []result.Region{{Region: "tavrin", Name: "Tavrin", Level: "country"}, {Region: "mirrow_bay", Name: "Mirrow Bay", Parent: "tavrin", Level: "district"},
		{Region: "oddel-skerries", Name: "Oddel Skerries", Parent: "tavrin", Level: "district"}}
}

// typical is two years of three regions with a raise, gaps and imputed months.
func typical() spec {
	return spec{months: 24, regions: tavrin(), invented: true,
		price: func(r, m int) result.Num {
			if r == 2 && (m < 3 || m == 14) {
				return result.Num{}
			}
			return result.Some(4.2486 * (1 + 0.0065*float64(m) + 0.01*math.Sin(float64(m+r)) + 0.05*float64(r)))
		},
		allow: func(m int) result.Num {
			if m < 15 {
				return result.Some(156)
			}
			return result.Some(165.36)
		},
		imputed: func(r, m int) float64 {
			switch {
			case m == 13 || m == 12 && r > 0:
				return 0.31
			case m%5 == 1:
				return 0.0807
			}
			return 0
		},
		status: func(r, m int) string {
			switch {
			case m < 3:
				return "M"
			case m == 14: // the one price of oats is held
				return "Q"
			}
			return "O"
		}}
}

var items = []struct {
	id, name, unit string
	q, share       float64
}{
	{"oats", "oats, rolled", "kg", .1, .3}, {"milk", "milk, whole", "L", .5, .5}, {"plum", "plums", "each", .2857, .2},
}

// edition makes the rows of a spec, as the formulas of the contracts have them.
func (s spec) edition() *result.Edition {
	e := &result.Edition{Hash: "0123456789abcdef"}
	e.Meta = result.Meta{Name: "Farthing demo", Invented: s.invented, AsOf: "2024-12-31", BaseMonth: "2023-01", Deflator: "all_items",
		Options: [][2]string{{"grade where none is named", "plain"}, {"sample", "matched"}}, Accepted: 3344, Counted: 3300, Held: 2, Quarantined: 3, Mended: 1, Duplicate: 1}
	e.Regions = s.regions
	e.Households = []result.Household{
		{Household: "single", Name: "Single adult", Persons: result.Count(1), Equivalents: result.Some(1.2), MealsPerDay: result.Count(3)},
		{Household: "four", Name: "Household of four", Persons: result.Count(4), Equivalents: result.Some(4), MealsPerDay: result.Count(3)},
	}
	for _, it := range items {
		e.ItemNames = append(e.ItemNames, result.ItemName{Item: it.id, Name: it.name, BaseUnit: it.unit})
	}
	e.Sources = []result.Source{{SHA256: "ab", Name: "notes.csv", Source: "notes", Producer: "our own", Licence: "CC BY 4.0",
		Read: result.Count(3350), Accepted: result.Count(3344), Quarantined: result.Count(3), Duplicate: result.Count(3), Held: result.Count(2)}}
	e.SetAside = []result.SetAside{{SHA256: "ab", Code: "dimension", Field: "pack", Name: "notes.csv", Rows: result.Count(3), Mended: result.Count(1), FirstLine: result.Count(17), Text: "12 oz", Cure: "write fl oz for a liquid"}}
	e.Warnings = []result.Warning{
		{Code: "thin", Text: "Oddel Skerries rests on 1 outlet", Cure: "note prices in at least 3 outlets", Key: "reach/x/x/oddel-skerries"},
		{Code: "deflator", Text: "the deflator all_items has no value for October 2024", Cure: "enter it in tables/deflators"},
	}
	for ri, r := range s.regions {
		for _, h := range e.Households {
			e.Publish = append(e.Publish, result.Combination{Programme: "food_support", AmountKind: "maximum", Region: r.Region, Household: h.Household, Basket: "plain"})
			for mi := range s.months {
				m := jan2023 + result.Month(mi)
				base := result.Base{CurrencyCode: "XTS", NObservations: result.Count(100 + mi), NOutlets: result.Count(4 - ri%4), ObsStatus: "A", ObsStatusAll: "A"}
				p := s.price(ri, mi)
				b := result.Basket{Region: r.Region, Household: h.Household, Basket: "plain", Month: m, BaseMonth: "2023-01", Deflator: "all_items", DeflatorRegion: "tavrin"}
				if p.OK {
					imp := s.imputed(ri, mi)
					base.ImputedShare, base.MissingShare = result.Some(imp), result.Some(0)
					if imp > 0 {
						base.ObsStatus, base.ObsStatusAll = "I", "I"
					}
					b.ObservedShare = result.Some(1 - imp)
					b.PerDay = result.Some(p.V * h.Equivalents.V)
					b.StandardMonth = result.Some(b.PerDay.V * 30.4375)
					b.KnownPart = b.PerDay
					if s.ranged {
						b.Lo, b.Hi = result.Some(b.PerDay.V*.95), result.Some(b.PerDay.V*1.06)
					}
					if mi != 21 {
						b.RealPerDay = result.Some(b.PerDay.V / (1 + 0.002*float64(mi)))
					}
				} else {
					st := s.status(ri, mi)
					base.ObsStatus, base.ObsStatusAll = st, st
					base.MissingShare, base.ImputedShare = result.Some(.08), result.Some(0)
					b.ObservedShare = result.Some(.92)
					b.KnownPart = result.Some(4 * h.Equivalents.V)
				}
				b.Base = base
				e.Baskets = append(e.Baskets, b)
				allow := s.allow(mi)
				if allow.OK {
					allow.V *= float64(h.Persons.V)
					day := max(1, s.paidOn)
					e.Allowances = append(e.Allowances, result.Allowance{Programme: "food_support", AmountKind: "maximum", Region: r.Region, Persons: h.Persons, Month: m,
						Amount: allow, AllowanceFrom: "tavrin", EffectiveFrom: "2022-04-01", PaidOnDay: result.Count(day), AmountAsPaid: allow, Per: "month"})
					if mi >= 15 {
						e.Allowances[len(e.Allowances)-1].EffectiveFrom = "2024-04-01"
					}
				}
				e.Reach = append(e.Reach, s.reach(r.Region, h, m, base, b.PerDay, allow))
			}
		}
		for mi := range s.months {
			for _, it := range items {
				l := result.BasketLine{Region: r.Region, Basket: "plain", Item: it.id, Month: jan2023 + result.Month(mi), APQuantity: result.Some(it.q), BaseUnit: it.unit,
					Weight: result.Some(it.share), Base: result.Base{CurrencyCode: "XTS", NObservations: result.Count(9), NOutlets: result.Count(4), ObsStatus: "A", ObsStatusAll: "A"}}
				if p := s.price(ri, mi); p.OK {
					l.PerDay = result.Some(p.V * it.share)
					l.UnitPrice = result.Some(l.PerDay.V / it.q)
				} else if it.id == "oats" {
					l.ObsStatus = s.status(ri, mi)
					l.ObsStatusAll = l.ObsStatus
				} else {
					l.PerDay, l.UnitPrice = result.Some(it.share*4), result.Some(it.share*4/it.q)
				}
				if it.id == "milk" && mi%5 == 1 {
					l.FilledBy, l.ObsStatus, l.ObsStatusAll = "class_change", "I", "I"
				}
				e.Lines = append(e.Lines, l)
				e.Items = append(e.Items, s.item(l, mi))
			}
		}
	}
	e.Moved = s.moved(e.Lines)
	for _, r := range s.regions {
		if !s.ranged {
			break
		}
		for _, back := range []int{1, 12, s.months - 1} {
			if back < s.months {
				e.Changes = append(e.Changes, result.BasketChange{Region: r.Region, Basket: "plain", From: jan2023 + result.Month(s.months-1-back), To: jan2023 + result.Month(s.months-1),
					Change: some(1.5), Lo: some(float64(back) - 5), Hi: some(9.25), Finding: map[bool]string{true: "rose", false: "no_clear_difference"}[back > 5]})
			}
		}
	}
	for mi := range s.months {
		e.Levels = append(e.Levels, s.levels(jan2023+result.Month(mi), mi)...)
	}
	if s.months > 1 { // one month: no meal has been costed
		kitchen(e, s.regions[0].Region)
		diets(e)
	}
	return e
}

// moved sets the newest month's lines beside those of a month and a year before,
// and of the first month. Of plums a part is size and a part is mix, and too few
// were seen.
func (s spec) moved(lines []result.BasketLine) (rows []result.Moved) {
	type key struct {
		region, item string
		month        result.Month
	}
	at := map[key]result.BasketLine{}
	for _, l := range lines {
		at[key{l.Region, l.Item, l.Month}] = l
	}
	to := jan2023 + result.Month(s.months-1)
	for _, r := range s.regions {
		for i, from := range []result.Month{to - 1, to - 12, jan2023} {
			if from < jan2023 || i == 2 && (from >= to-1 || from == to-12) {
				continue
			}
			var list []result.Moved
			cost := 0.0
			for _, it := range items {
				a, b := at[key{r.Region, it.id, from}], at[key{r.Region, it.id, to}]
				m := result.Moved{Region: r.Region, Basket: "plain", Item: it.id, From: from, To: to, PriceFrom: a.UnitPrice, PriceTo: b.UnitPrice, Base: b.Base}
				cost += a.PerDay.Or()
				m.Change = some((b.UnitPrice.Or()/a.UnitPrice.Or() - 1) * 100)
				m.Contribution = some(b.PerDay.Or() - a.PerDay.Or())
				switch {
				case a.FilledBy+b.FilledBy != "":
					m.ImputedShare, m.ObsStatus, m.ObsStatusAll = some(1), "I", "I"
				case !m.Change.OK:
					m.ObsStatus, m.ObsStatusAll = "O", "O"
				case it.id == "plum":
					m.Size, m.Mix, m.NMatched = some(2), some(-.5), result.Count(2)
					m.Pure = some(((1+m.Change.V/100)/(1.02*.995) - 1) * 100)
				default:
					m.Pure, m.Size, m.Mix, m.NMatched = m.Change, some(0), some(0), result.Count(4)
				}
				list = append(list, m)
			}
			ranks := 0
			for i := range list {
				m := &list[i]
				m.Contribution = some(m.Contribution.Or() / cost * 100)
				if m.Contribution.OK && m.NMatched.V >= 3 {
					ranks++
					m.Rank = result.Count(ranks)
				}
			}
			rows = append(rows, list...)
		}
	}
	return rows
}

func (s spec) item(l result.BasketLine, mi int) result.Item {
	r := result.Item{Region: l.Region, Item: l.Item, Month: l.Month, UnitPrice: l.UnitPrice, BaseUnit: l.BaseUnit, FilledBy: l.FilledBy, Base: l.Base}
	if l.UnitPrice.OK && l.FilledBy == "" {
		r.OldestOn, r.NewestOn = l.Month.Day(2).Format(time.DateOnly), l.Month.Day(27).Format(time.DateOnly)
		if mi > 0 {
			r.MatchedChange, r.NMatched = result.Some(0.65), result.Count(4)
		}
		if s.ranged {
			r.Lo, r.Hi = result.Some(l.UnitPrice.V*.9), result.Some(l.UnitPrice.V*1.12)
		}
	}
	r.NHeld = result.Count(0)
	switch { // a slip of the decimal point in one year, two prices of one pack and day in the other
	case l.ObsStatus == "Q":
		r.NHeld, r.HeldLo, r.HeldHi = result.Count(1), result.Some(41.5), result.Some(41.5)
	case l.Item == "plum" && mi == s.months-3:
		r.NHeld, r.HeldLo = result.Count(1), result.Some(200)
		r.HeldHi = r.HeldLo
	case l.Item == "plum" && mi == s.months-9 && l.UnitPrice.OK:
		r.NHeld, r.HeldLo, r.HeldHi = result.Count(2), result.Some(l.UnitPrice.V*.3), result.Some(l.UnitPrice.V*1.03)
	case l.Item == "milk" && mi == s.months/2:
		r.NHeld, r.HeldLo, r.HeldHi = result.Count(2), result.Some(4.5), result.Some(5)
	}
	return r
}

// levels ranks the regions without parts that have a price, which rise with
// their number: all may hold any rank, or each its own only.
func (s spec) levels(m result.Month, mi int) []result.RegionLevel {
	var rows []result.RegionLevel
	var ranked []int
	ln := 0.0
	for ri, r := range s.regions {
		p := s.price(ri, mi)
		row := result.RegionLevel{Basket: "plain", Month: m, Region: r.Region, PerDay: p, MainOutletTypeShare: some(.5),
			Base: result.Base{CurrencyCode: "XTS", NObservations: result.Count(30), NOutlets: result.Count(4), ObsStatus: "A", ObsStatusAll: "A"}}
		if !p.OK {
			row.ObsStatus, row.ObsStatusAll = s.status(ri, mi), s.status(ri, mi)
			row.MissingShare = some(.08)
		} else if ri > 0 || len(s.regions) == 1 {
			ranked, ln = append(ranked, ri), ln+math.Log(p.V)
		}
		rows = append(rows, row)
	}
	for i, ri := range ranked {
		if len(ranked) < 2 {
			break
		}
		row := &rows[ri]
		row.ParityLowe = some(row.PerDay.V / math.Exp(ln/float64(len(ranked))))
		row.ParityCPD, row.CommonShare = row.ParityLowe, some(.8924)
		row.RankLo, row.RankHi = result.Count(1), result.Count(len(ranked))
		if s.sure {
			row.RankLo, row.RankHi = result.Count(i+1), result.Count(i+1)
		}
	}
	return rows
}

func (s spec) reach(region string, h result.Household, m result.Month, base result.Base, perDay, allow result.Num) result.Reach {
	n := m.Days()
	r := result.Reach{Programme: "food_support", AmountKind: "maximum", Region: region, Household: h.Household, Basket: "plain", Month: m,
		Allowance: allow, AllowanceFrom: "tavrin", PerDay: perDay, DaysInMonth: result.Count(n), Base: base}
	if !perDay.OK || !allow.OK {
		return r
	}
	r.Days = result.Some(allow.V / perDay.V)
	pay, next := m.Day(max(1, s.paidOn)), (m + 1).Day(max(1, s.paidOn))
	paid := int(next.Sub(pay).Hours() / 24)
	fed := min(int(r.Days.V), paid)
	r.FedDays = result.Count(fed)
	if fed < paid {
		r.RunOutOn = pay.AddDate(0, 0, fed).Format(time.DateOnly)
	}
	r.Balance = result.Some(allow.V - perDay.V*float64(n))
	r.Shortfall = result.Some(max(0, -r.Balance.V))
	r.ShortfallPerMeal = result.Some(r.Shortfall.V / float64(n*h.Persons.V*h.MealsPerDay.V))
	if s.ranged {
		r.LoDays, r.HiDays = result.Some(r.Days.V*.96), result.Some(r.Days.V*1.05)
	}
	return r
}

// kitchen adds three dishes, of which one lacks a price, and a plan of two.
func kitchen(e *result.Edition, region string) {
	base := result.Base{CurrencyCode: "XTS", NObservations: result.Count(12), NOutlets: result.Count(4), ImputedShare: some(0), MissingShare: some(0), ObsStatus: "A", ObsStatusAll: "A"}
	shop := func(name, kind string, servings, portion, till, left, lost float64) result.Shopping {
		return result.Shopping{Shopping: name, Kind: kind, Region: region, Month: jan2023, PricedOn: "2023-01-31", OldestOn: "2023-01-02", Programme: "food_support", AmountKind: "maximum",
			Household: "four", Persons: result.Count(4), Days: result.Count(1), Servings: some(servings), Cupboard: "taken as there", Portion: some(portion), KnownPart: some(portion), SheetTotal: some(math.Round(portion*100) / 100),
			Till: some(till), FromPantry: some(0), FromCupboard: some(0), Saving: some(0), Leftover: some(left), Stranded: some(lost), StrandedMeals: some(lost / 1.4),
			Allowance: some(520), PerDay: some(4.1935), PerMeal: some(1.3978), UnpricedLines: result.Count(0), Base: base}
	}
	meal := func(shopping, recipe string, servings, portion float64) result.Meal {
		return result.Meal{Shopping: shopping, Recipe: recipe, Servings: some(servings), Portion: some(portion), PerServing: some(portion / servings), PerMeal: some(1.3978),
			Balance: some(1.3978 - portion/servings), UnpricedLines: result.Count(0), Base: base}
	}
	line := func(shopping, recipe, no, item string, q, size, price float64) result.MealLine {
		return result.MealLine{Shopping: shopping, Recipe: recipe, Line: no, Item: item, AsWritten: "some", Amount: some(q), Basis: "AP", APQuantity: some(q), BaseUnit: "kg", Pack: "1 kg", PackSize: some(size),
			PackPrice: some(price), UnitPrice: some(price / size), ObservedOn: "2023-01-02", Supply: "bought", Portion: some(q * price / size), Keep: result.Count(3), WeightSource: "weighed by us", YieldSource: "a table", Yield: some(.9), Base: base}
	}
	buy := func(shopping, item string, q, packs, price, lost float64) result.ShoppingLine {
		return result.ShoppingLine{Shopping: shopping, Item: item, Pack: "1 kg", APQuantity: some(q), BaseUnit: "kg", FromPantry: some(0), FromCupboard: some(0), Packs: result.Count(int(packs)), PackPrice: some(price),
			Deals: result.Count(0), Till: some(packs * price), Leftover: some(packs - q), LeftoverLCU: some((packs - q) * price), Late: some(0), UsedNext: some(0), StrandedQty: some(lost / price), Stranded: some(lost), UseByOn: "2023-02-07", Base: base}
	}
	oats, stew, pie, two := shop("oat-bowl", "recipe", 4, .96, 2.4, 1.44, 0), shop("plum-stew", "recipe", 4, 7.2, 9.6, 2.4, 1.2), shop("milk-pie", "recipe", 4, 0, 0, 0, 0), shop("two-dishes", "plan", 8, 8.16, 12, 3.84, 1.2)
	oats.Balance, stew.Balance = some(1.3978-.24), some(1.3978-1.8)
	stew.FromPantry, stew.FromCupboard, stew.Leftover = some(.2), some(.3), some(2.9) // 9.60 = 7.20 - 0.20 - 0.30 + 2.90
	two.PerPersonDay = some(2.04)                                                     // eight servings of twelve have no balance
	pie.Portion, pie.SheetTotal, pie.Till, pie.Leftover, pie.Stranded, pie.StrandedMeals, pie.Balance = result.Num{}, result.Num{}, result.Num{}, result.Num{}, result.Num{}, result.Num{}, result.Num{}
	pie.KnownPart, pie.UnpricedLines, pie.ObsStatus, pie.ObsStatusAll = some(.5), result.Count(1), "O", "O"
	e.Shoppings = []result.Shopping{pie, oats, stew, two}
	none := meal("milk-pie", "milk-pie", 4, 0)
	none.Portion, none.PerServing, none.Balance, none.UnpricedLines, none.Base = result.Num{}, result.Num{}, result.Num{}, result.Count(1), pie.Base
	e.Meals = []result.Meal{none, meal("oat-bowl", "oat-bowl", 4, .96), meal("plum-stew", "plum-stew", 4, 7.2), meal("two-dishes", "oat-bowl", 4, .96), meal("two-dishes", "plum-stew", 4, 7.2)}
	bare := line("milk-pie", "milk-pie", "2", "milk", .2, 1, 1)
	bare.PackPrice, bare.PackSize, bare.UnitPrice, bare.Portion, bare.APQuantity, bare.Lacks = result.Num{}, result.Num{}, result.Num{}, result.Num{}, result.Num{}, "how much is a jug? weigh one"
	bare.Supply, bare.Outlet = "cupboard", "market"
	e.MealLines = []result.MealLine{line("milk-pie", "milk-pie", "1", "oats", .25, 1, 2), bare, line("oat-bowl", "oat-bowl", "1", "oats", .4, 1, 2.4), line("plum-stew", "plum-stew", "1", "plum", 1.5, 1, 4.8),
		line("two-dishes", "oat-bowl", "1", "oats", .4, 1, 2.4), line("two-dishes", "plum-stew", "1", "plum", 1.5, 1, 4.8)}
	lone := buy("milk-pie", "milk", 0, 0, 1, 0)
	lone.APQuantity, lone.Packs, lone.PackPrice, lone.Till, lone.Leftover, lone.LeftoverLCU, lone.Stranded, lone.StrandedQty, lone.UsedNext, lone.UseByOn = result.Num{}, result.Int{}, result.Num{}, result.Num{}, result.Num{}, result.Num{}, result.Num{}, result.Num{}, result.Num{}, ""
	late := buy("plum-stew", "plum", 1.5, 2, 4.8, 1.2)
	late.Late, late.UsedNext, late.FromPantry, late.FromCupboard = some(.1), some(.25), some(.2), some(.3)
	e.ShoppingLines = []result.ShoppingLine{lone, buy("milk-pie", "oats", .25, 1, 2, 0), buy("oat-bowl", "oats", .4, 1, 2.4, 0), late, buy("two-dishes", "oats", .4, 1, 2.4, 0), buy("two-dishes", "plum", 1.5, 2, 4.8, 1.2)}
	swap := result.Swapped{Shopping: "plum-stew", Nth: result.Count(1), Change: "least", Recipe: "plum-stew", Line: "1", From: "plum plain", To: "oats plain", Sacrifice: result.Count(4), Saving: some(3.6), After: some(3.6), Target: some(5.5912), Enough: "yes", Base: base}
	alone, dear := swap, swap
	alone.Nth, alone.Change = result.Count(2), "alone"
	dear.Nth, dear.Change, dear.To, dear.Saving, dear.After, dear.Enough = result.Count(3), "alone", "milk plain", some(-.3), some(7.5), "no"
	both := alone
	both.Shopping, both.Nth, both.After, both.Target = "two-dishes", result.Count(1), some(4.56), some(16.774)
	e.Swaps = []result.Swapped{swap, alone, dear, both}
	for _, of := range [][2]string{{"milk-pie", "milk-pie"}, {"oat-bowl", "oat-bowl"}, {"plum-stew", "plum-stew"}, {"two-dishes", "oat-bowl"}, {"two-dishes", "plum-stew"}, {"two-dishes", ""}} {
		n := result.MealNutrient{Shopping: of[0], Recipe: of[1], Nutrient: "energy", Unit: "kcal", PerServing: some(389.25), KnownShare: some(1), IsAtLeast: "no", PersonGroup: "adult", Lower: some(2000), Percent: some(19.4625), Source: "a table", Base: base}
		iron := n
		iron.Nutrient, iron.Unit, iron.PerServing, iron.KnownShare, iron.IsAtLeast, iron.Percent, iron.Lower = "iron", "mg", result.Num{}, some(0), "yes", result.Num{}, some(18)
		e.Nutrients = append(e.Nutrients, n, iron)
	}
}

// diets adds the least-cost diets of every region and month that has oats, of
// oats alone: a month without their price has none, the newest no healthy one.
func diets(e *result.Edition) {
	for _, it := range e.Items {
		if it.Item != "oats" {
			continue
		}
		newest := !slices.ContainsFunc(e.Items, func(o result.Item) bool { return o.Region == it.Region && o.Month > it.Month })
		for n, kind := range []string{"energy", "healthy", "nutrients"} {
			row := result.Diet{Region: it.Region, Month: it.Month, Diet: kind, Programme: "food_support", AmountKind: "maximum", Household: "four", AllowancePerDay: some(4.1935),
				Priced: result.Count(2), Usable: result.Count(2), Outcome: "found", Base: it.Base}
			if kind != "healthy" {
				row.PersonGroup, row.Binding = "adult", "energy at least 2100 kcal; iron at least 11 mg"
			}
			amount := .2 * float64(n+1)
			line := result.DietLine{Region: it.Region, Month: it.Month, PersonGroup: row.PersonGroup, Diet: kind, Item: it.Item, APQuantity: some(amount), BaseUnit: "kg",
				UnitPrice: it.UnitPrice, PerDay: result.Some(amount * it.UnitPrice.Or()), FilledBy: it.FilledBy, Base: it.Base}
			if !line.PerDay.OK || newest && kind == "healthy" {
				row.Outcome, row.Lacks, row.Binding = "not_computed", "fruits: fewer priced items than the diet asks for", ""
				row.ObsStatus, row.ObsStatusAll = "O", "O"
			} else {
				row.PerDay, row.KnownPart, row.Ratio = line.PerDay, line.PerDay, some(line.PerDay.V/row.AllowancePerDay.V)
				e.DietLines = append(e.DietLines, line)
			}
			e.Diets = append(e.Diets, row)
		}
	}
}

func manyRegions(n int) []result.Region {
	var rs []result.Region
	for i := range n {
		rs = append(rs, result.Region{Region: fmt.Sprintf("r%02d", i), Name: fmt.Sprintf("Region number %d", i), Level: "district"})
	}
	return rs
}
