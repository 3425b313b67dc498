package kitchen

import (
	"cmp"
	"errors"
	"fmt"
	"math/big"
	"runtime"
	"slices"
	"strings"
	"sync"

	"farthing/pipeline/meal"
	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// diets are the least-cost diets of every person group of tables/requirements in
// every region and month of the prices, the newest [meals] diet_months: those of
// energy and nutrients by group, the healthy one once, for it has a group of its
// own. Without requirements there are none.
func (k *Kitchen) diets() ([]result.Diet, []result.DietLine, error) {
	if err := k.checkRequirements(); err != nil || len(k.tables.Requirements) == 0 || len(k.e.Items) == 0 {
		return nil, nil, err
	}
	first, last := k.e.Items[0].Month, k.e.Items[0].Month
	for i := range k.e.Items {
		first, last = min(first, k.e.Items[i].Month), max(last, k.e.Items[i].Month)
	}
	if n := k.settings.Meals.DietMonths; n > 0 {
		first = max(first, last-result.Month(n)+1)
	}
	asks := []DietAsk{{Kind: "healthy", Brief: true}}
	for _, r := range k.tables.Requirements {
		for _, kind := range []string{"energy", "nutrients"} {
			if a := (DietAsk{Kind: kind, Group: r.Group, Brief: true}); !slices.ContainsFunc(asks, func(b DietAsk) bool { return b.Kind == kind && b.Group == r.Group }) {
				asks = append(asks, a)
			}
		}
	}
	slices.SortFunc(asks, func(a, b DietAsk) int {
		return cmp.Or(strings.Compare(a.Group, b.Group), strings.Compare(a.Kind, b.Kind))
	})
	perPerson := k.perPersonDay()
	rows, lines, errs := make([][]result.Diet, len(k.e.Regions)), make([][]result.DietLine, len(k.e.Regions)), make([]error, len(k.e.Regions))
	free := make(chan struct{}, runtime.GOMAXPROCS(0))
	var wg sync.WaitGroup
	for i, r := range k.e.Regions {
		free <- struct{}{}
		wg.Go(func() {
			defer func() { <-free }()
			for m := first; m <= last; m++ {
				for _, a := range asks {
					a.Region, a.Month = r.Region, m
					row, of, err := k.dietRow(a)
					errs[i] = errors.Join(errs[i], err)
					perPerson(&row)
					rows[i], lines[i] = append(rows[i], row), append(lines[i], of...)
				}
			}
		})
	}
	wg.Wait()
	return slices.Concat(rows...), slices.Concat(lines...), errors.Join(errs...)
}

// The outcomes of a least-cost diet.
const (
	dietFound       = "found"
	dietInfeasible  = "infeasible"   // the bounds contradict each other, whatever the money
	dietNotComputed = "not_computed" // a price or a figure is missing
)

// dietRow is a diet with its lines, which are in order of their items.
func (k *Kitchen) dietRow(a DietAsk) (result.Diet, []result.DietLine, error) {
	row := result.Diet{Region: a.Region, Month: a.Month, PersonGroup: a.Group, Diet: a.Kind}
	x, err := k.Diet(a)
	var lacks *workspace.InputError
	switch {
	case errors.As(err, &lacks): // of this region and month: others may have it
		row.Outcome, row.Lacks = dietNotComputed, lacks.Read+"; "+lacks.Instead
	case err != nil:
		return row, nil, err
	case len(x.Conflict) > 0:
		row.Outcome, row.Lacks = dietInfeasible, "no diet meets all of these together: "+strings.Join(x.Conflict, "; ")
	case !x.Cost.OK:
		row.Outcome, row.Lacks = dietNotComputed, strings.Join(x.Missing, "; ")
	default:
		row.Outcome = dietFound
	}
	row.PerDay, row.KnownPart = x.Cost, x.KnownPart
	row.Priced, row.Usable = result.Count(x.Priced), result.Count(x.Usable)
	row.Binding = binding(x.Levels)
	var lines []result.DietLine
	for _, f := range x.Foods {
		if f.Amount.V > 0 {
			lines = append(lines, k.dietLine(a, f.Item, f.Amount, f.Cost))
		}
	}
	for _, g := range x.Groups {
		if !g.Cost.OK { // too few items: it is in no sum
			continue
		}
		for _, part := range g.parts {
			lines = append(lines, k.dietLine(a, part.Name, result.Some(part.Cost/part.Price), result.Some(part.Cost)))
		}
	}
	slices.SortFunc(lines, func(a, b result.DietLine) int { return strings.Compare(a.Item, b.Item) })
	var priced []result.MealLine // as a meal of packs of one base unit
	for _, l := range lines {
		priced = append(priced, result.MealLine{Item: l.Item, Grade: k.settings.Prices.DefaultGrade, PackPrice: l.UnitPrice, FilledBy: l.FilledBy, Portion: l.PerDay, Base: l.Base})
	}
	row.Base = together(k.currency(a.Region), priced)
	if row.Outcome != dietFound {
		row.ImputedShare, row.MissingShare, row.ObsStatus, row.ObsStatusAll = result.Num{}, result.Num{}, "O", "O"
	}
	return row, lines, nil
}

func (k *Kitchen) dietLine(a DietAsk, item string, amount, cost result.Num) result.DietLine {
	of := k.typical[typicalKey{a.Region, item, k.settings.Prices.DefaultGrade, a.Month}]
	return result.DietLine{Region: a.Region, Month: a.Month, PersonGroup: a.Group, Diet: a.Kind, Item: item,
		APQuantity: amount, BaseUnit: k.items[item].BaseUnit, UnitPrice: of.UnitPrice, PerDay: cost, FilledBy: of.FilledBy, Base: of.Base}
}

// binding says in words which bounds a least-cost diet just meets.
func binding(levels []DietLevel) string {
	var list []string
	for _, n := range levels {
		word, bound := "at least", n.Lower
		switch n.Binding {
		case "":
			continue
		case "upper":
			word, bound = "at most", n.Upper
		case "equal":
			word = "just"
		}
		list = append(list, fmt.Sprintf("%s %s %s %s", n.Nutrient, word, bound.Exact(), n.Unit))
	}
	return strings.Join(list, "; ")
}

// perPersonDay sets a diet's cost against the allowance that meals are set
// against, shared out by the household's persons and the days of the month.
func (k *Kitchen) perPersonDay() func(*result.Diet) {
	type key struct {
		region string
		month  result.Month
	}
	def := k.Default("")
	h, _ := k.allowance(def)
	amounts := map[key]*big.Rat{}
	kind := def.AmountKind
	for i := range k.e.Allowances {
		a := &k.e.Allowances[i]
		if a.Programme != def.Programme || kind != "" && a.AmountKind != kind || !h.Persons.OK || a.Persons != h.Persons || !a.Amount.OK {
			continue
		}
		kind = a.AmountKind // without one in the settings the first, for all rows
		if rates, err := (meal.Allowance{Amount: rat(a.Amount), Days: a.Month.Days(), Persons: big.NewRat(int64(h.Persons.V), 1), MealsPerDay: big.NewRat(1, 1)}).Rates(); err == nil {
			amounts[key{a.Region, a.Month}] = rates.PerPersonDay
		}
	}
	return func(row *result.Diet) {
		amount := amounts[key{row.Region, row.Month}]
		if amount == nil || amount.Sign() == 0 {
			return
		}
		row.Programme, row.AmountKind, row.Household, row.AllowancePerDay = def.Programme, kind, h.Household, num(amount)
		row.Ratio = result.Some(row.PerDay.Or() / row.AllowancePerDay.V)
	}
}
