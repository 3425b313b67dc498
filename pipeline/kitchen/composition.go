package kitchen

import (
	"cmp"
	"fmt"
	"math/big"
	"slices"
	"strings"

	"farthing/pipeline/diet"
	"farthing/pipeline/meal"
	"farthing/pipeline/reference"
	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// Composition is what a base unit of an item holds, as bought.
type Composition struct {
	kg    *big.Rat // edible; nil: not known
	food  *reference.Food
	lacks string
}

// Composition looks an item up in the food tables.
func (f Foods) Composition(it *workspace.Item) Composition {
	c := Composition{kg: f.edibleOf(it)}
	c.food, _ = f.Food(it.FoodCode)
	switch {
	case it.FoodCode == "":
		c.lacks = "no food_code in tables/items"
	case c.food == nil:
		c.lacks = fmt.Sprintf("food_code %s is not in the food tables", it.FoodCode)
	case c.kg == nil:
		c.lacks = "its edible weight is not known: edible_yield, density_kg_per_l or piece_kg of tables/items give it"
	}
	return c
}

// edibleOf is the edible weight of a base unit as bought; nil: not known.
func (f Foods) edibleOf(it *workspace.Item) *big.Rat {
	return f.edibleWeight(it, big.NewRat(1, 1), f.Edible(it))
}

// Content is the amount of a nutrient in a base unit as bought, in the nutrient's
// unit; nil, and why, where it is not known.
func (c Composition) Content(nutrient string) (amount *big.Rat, lacks string) {
	if c.lacks != "" {
		return nil, c.lacks
	}
	n, ok := c.food.Nutrients[nutrient]
	if !ok {
		return nil, fmt.Sprintf("no figure of %s for food %s", nutrient, c.food.Code)
	}
	amount = new(big.Rat).Mul(n.Per100g, c.kg)
	return amount.Mul(amount, big.NewRat(10, 1)), ""
}

// DensityMeasure says in words what Density scores.
const DensityMeasure = "NRF9.3 per 100 kcal (Fulgoni, Keast, Drewnowski 2009), each of nine nutrients up to 100 % of its Daily Value of the 2016 rule, less saturated fat, sodium and sugars; " +
	"total sugars stand for added ones, which the food table lacks, so that the score is at least this"

// tableNames are the names in the food tables of the nutrients of the density
// score that are called otherwise there. The table has total sugars, never less
// than the added ones.
var tableNames = map[string]string{"saturated fat": "saturated_fat", "added sugars": "sugars", "vitamin A": "vitamin_a_rae", "vitamin C": "vitamin_c", "vitamin E": "vitamin_e"}

// Density is the nutrient-rich foods score NRF9.3 of a food for 100 kcal, in
// percent points, as DensityMeasure says; missing, and why, where a figure is.
func (c Composition) Density() (score result.Num, lacks string) {
	if c.food == nil {
		return result.Num{}, c.lacks
	}
	lacking := ""
	per100g := func(name string) float64 {
		n, ok := c.food.Nutrients[name]
		if !ok {
			lacking = cmp.Or(lacking, fmt.Sprintf("no figure of %s for food %s", name, c.food.Code))
			return 0
		}
		f, _ := n.Per100g.Float64()
		return f
	}
	shares := func(names []string) (list []diet.Share) {
		for _, name := range names {
			dv, _ := diet.DV(diet.DailyValues2016, name) // each has one, in the unit of the food tables
			list = append(list, diet.Share{Per100g: per100g(cmp.Or(tableNames[name], name)), Reference: dv.Amount})
		}
		return list
	}
	kcal := per100g("energy")
	d := diet.NutrientRich(shares(diet.NRF9), shares(diet.NRF3), kcal, 100, true)
	switch {
	case lacking != "":
		return result.Num{}, lacking
	case kcal == 0:
		return result.Num{}, "a food without energy has no density per energy"
	}
	return result.Some(d.Score), ""
}

// PerMoney is what one unit of money buys of a nutrient at the price of a base
// unit as bought, in the nutrient's unit.
func (c Composition) PerMoney(nutrient string, price *big.Rat) (amount *big.Rat, lacks string) {
	if amount, lacks = c.Content(nutrient); amount == nil || price.Sign() <= 0 {
		return nil, cmp.Or(lacks, "it costs nothing")
	}
	return amount.Quo(amount, price), ""
}

// DensityPerMoney is the density score of what one unit of money buys, at the
// price of a base unit as bought: score x kcal / 100 / price. A score that is
// not above 0 gives none: the dearer the food, the better it would look.
func (c Composition) DensityPerMoney(price *big.Rat) (score result.Num, lacks string) {
	density, lacks := c.Density()
	if !density.OK {
		return result.Num{}, lacks
	}
	if density.V <= 0 {
		return result.Num{}, "its density score is not above 0: for money, the dearest would look best"
	}
	kcal, lacks := c.Content("energy")
	if kcal == nil || price.Sign() <= 0 {
		return result.Num{}, cmp.Or(lacks, "it costs nothing")
	}
	k, _ := kcal.Float64()
	p, _ := price.Float64()
	return result.Some(diet.DensityPerMoney(density.V, k, p)), ""
}

// Nutrients are the nutrients of the food tables, in their order.
func Nutrients() (names []string) {
	for _, n := range reference.Nutrients() {
		names = append(names, n.Name)
	}
	return names
}

// NutrientUnit is the unit of a nutrient's amounts; "": there is no such nutrient.
func NutrientUnit(name string) string {
	for _, n := range reference.Nutrients() {
		if n.Name == name {
			return n.Unit
		}
	}
	return ""
}

// InDish is how much of each item a serving of a recipe takes, as bought, in
// base units: nil where a line's amount is not known. What it takes free costs
// nothing and is left out. region settles the measures.
func (k *Kitchen) InDish(recipe, region string) (map[string]*big.Rat, error) {
	recipes, _ := k.Names()
	if !slices.Contains(recipes, recipe) {
		return nil, unknown("dish", recipe, recipes)
	}
	a := k.Default(recipe)
	a.Region = cmp.Or(region, a.Region)
	b, err := k.book(a)
	if err != nil {
		return nil, err
	}
	lines, err := meal.Lines(b.recipes, []meal.Serving{{Day: 1, Recipe: recipe, Servings: big.NewRat(1, 1)}})
	if err != nil {
		return nil, badRecipes(err)
	}
	amounts := map[string]*big.Rat{}
	for _, l := range lines {
		if l.Supply == meal.Free {
			continue
		}
		ap, err := l.AP()
		if err != nil {
			return nil, badRecipes(err)
		}
		item := goodOf(l.Good).item
		sum, seen := amounts[item]
		if !seen {
			sum = new(big.Rat)
		}
		amounts[item] = plus(sum, ap)
	}
	return amounts, nil
}

// badRecipes names the table where a recipe is no recipe.
func badRecipes(err error) error {
	return &workspace.InputError{Code: "meal", File: "tables/recipes", Field: "recipe, sub_recipe", Read: strings.ReplaceAll(err.Error(), separator, " "), Instead: "correct the lines named"}
}
