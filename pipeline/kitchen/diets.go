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
func (k *Kitchen) diets() ([]result.Diet, error) {
	if err := k.checkRequirements(); err != nil || len(k.tables.Requirements) == 0 || len(k.e.Items) == 0 {
		return nil, err
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
	rows, errs := make([][]result.Diet, len(k.e.Regions)), make([]error, len(k.e.Regions))
	free := make(chan struct{}, runtime.GOMAXPROCS(0))
	var wg sync.WaitGroup
	for i, r := range k.e.Regions {
		free <- struct{}{}
		wg.Go(func() {
			defer func() { <-free }()
			for m := first; m <= last; m++ {
				for _, a := range asks {
					a.Region, a.Month = r.Region, m
					row, err := k.dietRow(a)
					errs[i] = errors.Join(errs[i], err)
					perPerson(&row)
					rows[i] = append(rows[i], row)
				}
			}
		})
	}
	wg.Wait()
	return slices.Concat(rows...), errors.Join(errs...)
}

// The outcomes of a least-cost diet.
const (
	dietFound       = "found"
	dietInfeasible  = "infeasible"   // the bounds contradict each other, whatever the money
	dietNotComputed = "not_computed" // a price or a figure is missing
)

func (k *Kitchen) dietRow(a DietAsk) (result.Diet, error) {
	row := result.Diet{Region: a.Region, Month: a.Month, PersonGroup: a.Group, Diet: a.Kind}
	x, err := k.Diet(a)
	var lacks *workspace.InputError
	switch {
	case errors.As(err, &lacks): // of this region and month: others may have it
		row.Outcome, row.Lacks = dietNotComputed, lacks.Read+"; "+lacks.Instead
	case err != nil:
		return row, err
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
	var lines []result.MealLine // as a meal of packs of one base unit
	for _, f := range x.Foods {
		if f.Amount.V > 0 {
			lines = append(lines, k.dietLine(a, f.Item, f.Cost))
		}
	}
	for _, g := range x.Groups {
		for _, part := range g.parts {
			lines = append(lines, k.dietLine(a, part.Name, result.Some(part.Cost)))
		}
	}
	row.Base = together(k.currency(a.Region), lines)
	if row.Outcome != dietFound {
		row.ImputedShare, row.MissingShare, row.ObsStatus, row.ObsStatusAll = result.Num{}, result.Num{}, "O", "O"
	}
	return row, nil
}

func (k *Kitchen) dietLine(a DietAsk, item string, cost result.Num) result.MealLine {
	grade := k.settings.Prices.DefaultGrade
	row := k.typical[typicalKey{a.Region, item, grade, a.Month}]
	return result.MealLine{Item: item, Grade: grade, PackPrice: row.UnitPrice, FilledBy: row.FilledBy, Portion: cost, Base: row.Base}
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
