package kitchen

import (
	"fmt"
	"math/big"
	"slices"
	"strings"

	"farthing/pipeline/meal"
	"farthing/pipeline/reference"
	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// label is the standard that a day is set against if the settings name no
// person group of tables/requirements.
const label, labelGroup = "daily value 2016", "adults and children from 4 years"

// weighed is a line's edible weight and the table's figures for it.
type weighed struct {
	dish string
	kg   *big.Rat // nil: not known
	food *reference.Food
}

// nutrientRows sums raw table values over a dish's edible weights. Where a
// figure or a weight is missing the sum is at least so much; known_share is the
// part of the known weight that has a figure. Of a plan there are rows of a
// person's day as well, of all dishes, without the name of a recipe.
func (k *Kitchen) nutrientRows(x *Answer, list []meal.Serving) []result.MealNutrient {
	var lines []weighed
	for _, l := range x.cooked.shop.Lines {
		g := goodOf(l.Good)
		food, _ := k.foods.Food(k.items[g.item].FoodCode)
		lines = append(lines, weighed{dish: l.Dish, kg: k.edibleKg(x.cooked, l), food: food})
	}
	needs := k.needs()
	if p := int64(x.Shopping.Persons.V * x.Shopping.Days.V); x.Shopping.Kind == "plan" && p > 0 {
		list = append(slices.Clone(list), meal.Serving{Servings: big.NewRat(p, 1)})
	}
	var rows []result.MealNutrient
	for _, dish := range list {
		of := func(l weighed) bool { return dish.Recipe == "" || l.dish == dish.Recipe }
		weight, unknown := new(big.Rat), false
		for _, l := range lines {
			if !of(l) {
				continue
			}
			if l.kg == nil {
				unknown = true
				continue
			}
			weight.Add(weight, l.kg)
		}
		for _, n := range reference.Nutrients() {
			sum, known := new(big.Rat), new(big.Rat)
			for _, l := range lines {
				if !of(l) || l.kg == nil || l.food == nil {
					continue
				}
				if content, ok := l.food.Nutrients[n.Name]; ok {
					known.Add(known, l.kg)
					part := new(big.Rat).Mul(l.kg, content.Per100g)
					sum.Add(sum, part.Mul(part, big.NewRat(10, 1)))
				}
			}
			r := result.MealNutrient{Shopping: x.Ask.Name, Recipe: dish.Recipe, Nutrient: n.Name, Unit: n.Unit, IsAtLeast: "no", KnownShare: result.Some(0), Base: x.Shopping.Base}
			if weight.Sign() > 0 {
				r.KnownShare = num(new(big.Rat).Quo(known, weight))
			}
			if unknown || known.Cmp(weight) < 0 {
				r.IsAtLeast = "yes"
			}
			if known.Sign() > 0 {
				perServing, _ := meal.Per(sum, dish.Servings)
				r.PerServing = num(perServing)
			}
			if need, ok := needs[n.Name]; ok {
				r.PersonGroup, r.Lower, r.Upper, r.Source = need.group, num(need.lower), num(need.upper), need.source
				if bound := need.lower; r.PerServing.OK {
					if bound == nil {
						bound = need.upper
					}
					if bound != nil && bound.Sign() > 0 {
						f, _ := bound.Float64()
						r.Percent = result.Some(100 * r.PerServing.V / f)
					}
				}
			}
			rows = append(rows, r)
		}
	}
	slices.SortStableFunc(rows, func(a, b result.MealNutrient) int { return strings.Compare(a.Recipe, b.Recipe) })
	return rows
}

// edibleKg is the edible weight of a line: AP quantity x edible share. Where
// that share is not known the weight is not either, for peel is not eaten.
func (k *Kitchen) edibleKg(c *cooked, l meal.Cost) *big.Rat {
	it := k.items[goodOf(l.Good).item]
	share := k.foods.Edible(it)
	if l.Basis == meal.EP && c.row(l.Line).row.Basis == "EP" { // not the yield of cooking
		share = l.Yield
	}
	return k.foods.edibleWeight(it, l.APQuantity, share)
}

// edibleWeight is the weight in kg of the eaten share of a quantity as bought, in base units.
func (f Foods) edibleWeight(it *workspace.Item, ap, share *big.Rat) *big.Rat {
	if ap == nil || share == nil {
		return nil
	}
	per := big.NewRat(1, 1) // kg of a base unit
	switch it.BaseUnit {
	case "L":
		if per = it.Density; per == nil {
			per = f.Facts(it.FoodCode, "", big.NewRat(1, 1)).Density.Amount.Rat()
		}
	case "each":
		if per = it.PieceKg; per == nil {
			per = f.Facts(it.FoodCode, "", f.Edible(it)).Piece.Amount.Rat()
		}
	}
	if per == nil {
		return nil
	}
	kg := new(big.Rat).Mul(ap, per)
	return kg.Mul(kg, share)
}

// need is a reference value of a day.
type need struct {
	group, source string
	lower, upper  *big.Rat
}

// needs are those of the person group of the settings, from tables/requirements,
// else the daily values of labels.
func (k *Kitchen) needs() map[string]need {
	units := map[string]string{}
	for _, n := range reference.Nutrients() {
		units[n.Name] = n.Unit
	}
	m := map[string]need{}
	if group := k.settings.Meals.PersonGroup; group != "" {
		for _, r := range k.tables.Requirements {
			if r.Group != group {
				continue
			}
			convert := func(b *big.Rat) *big.Rat {
				if b == nil {
					return nil
				}
				out, _ := reference.InUnit(b, r.Unit, units[r.Nutrient])
				return out
			}
			m[r.Nutrient] = need{group, r.Source, convert(r.Lower), convert(r.Upper)}
		}
		return m
	}
	for _, n := range reference.Needs(label, labelGroup) {
		m[n.Nutrient] = need{label + ", " + labelGroup, string(n.Status) + ", " + n.Source, n.Lower, n.Upper}
	}
	return m
}

// checkRequirements refuses nutrients and units that the tables do not have.
func (k *Kitchen) checkRequirements() error {
	units := map[string]string{}
	var names, groups []string
	for _, n := range reference.Nutrients() {
		units[n.Name] = n.Unit
		names = append(names, n.Name)
	}
	for _, r := range k.tables.Requirements {
		groups = append(groups, r.Group)
		if units[r.Nutrient] == "" {
			near := workspace.Nearest(r.Nutrient, names)
			return &workspace.InputError{Code: "table", File: r.File, Line: r.Line, Field: "nutrient", Read: r.Nutrient, Instead: "one of " + strings.Join(names, ", ") + map[bool]string{true: "; did you mean " + near + "?"}[near != ""]}
		}
		if _, ok := reference.InUnit(big.NewRat(1, 1), r.Unit, units[r.Nutrient]); !ok {
			return &workspace.InputError{Code: "table", File: r.File, Line: r.Line, Field: "unit", Read: fmt.Sprintf("%q for %s", r.Unit, r.Nutrient), Instead: "a unit that becomes " + units[r.Nutrient] + ", as the food tables have it"}
		}
	}
	if g := k.settings.Meals.PersonGroup; g != "" && !slices.Contains(groups, g) {
		return unknown("meals.person_group", g, groups)
	}
	return nil
}
