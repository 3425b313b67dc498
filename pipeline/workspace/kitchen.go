package workspace

import (
	"fmt"
	"math/big"
	"slices"
	"time"
)

// The tables of meals. A quantity is text here: it is read as a cook writes it.
type (
	Yield struct {
		At
		Item        string   `col:"item,key need"`
		Preparation string   `col:"preparation,key need"`
		Gives       string   `col:"gives,key need one of EP|cooked"`
		Yield       *big.Rat `col:"yield,need"`
		Source      string   `col:"source,need"`
	}
	Recipe struct {
		At
		Recipe      string   `col:"recipe,key need"`
		Line        int      `col:"line,key need"`
		Servings    *big.Rat `col:"servings,need"`
		Item        string   `col:"item"`
		SubRecipe   string   `col:"sub_recipe"`
		Grade       string   `col:"grade"`
		Quantity    string   `col:"quantity"`
		Unit        string   `col:"unit"`
		Basis       string   `col:"basis,one of AP|EP|cooked"`
		Preparation string   `col:"preparation"`
		Yield       *big.Rat `col:"yield"`
		Supply      string   `col:"supply,one of bought|cupboard|free"`
		Keep        *big.Rat `col:"keep"`
		Assumed     string   `col:"assumed"`
		Note        string   `col:"note"`
	}
	Plan struct {
		At
		Plan     string   `col:"plan,key need"`
		Day      int      `col:"day,key need"`
		Meal     string   `col:"meal,key need"`
		Recipe   string   `col:"recipe,key need"`
		Servings *big.Rat `col:"servings,need"`
	}
	Stock struct {
		At
		Pantry   string    `col:"pantry,key need"`
		Item     string    `col:"item,key need"`
		Grade    string    `col:"grade,key"`
		Pack     string    `col:"pack,key"`
		Quantity string    `col:"quantity,need"`
		Unit     string    `col:"unit,need"`
		BoughtOn time.Time `col:"bought_on"`
		OpenedOn time.Time `col:"opened_on"`
		UseByOn  time.Time `col:"use_by_on"`
		Paid     *big.Rat  `col:"paid_lcu"`
	}
	Swap struct {
		At
		Item    string   `col:"item,key need"`
		Grade   string   `col:"grade,key"`
		ToItem  string   `col:"to_item,key need"`
		ToGrade string   `col:"to_grade,key"`
		Ratio   *big.Rat `col:"ratio,need"` // AP base units of the new per one of the old
		Keep    *big.Rat `col:"keep"`
		Note    string   `col:"note"`
	}
	Requirement struct {
		At
		Group    string   `col:"person_group,key need"`
		Nutrient string   `col:"nutrient,key need"`
		Unit     string   `col:"unit,need"`
		Lower    *big.Rat `col:"lower"`
		Upper    *big.Rat `col:"upper"`
		Source   string   `col:"source,need"`
	}
)

// MealTables decide what is cooked, and what it is set against.
var MealTables = []string{"yields", "recipes", "plans", "pantry", "swaps", "requirements"}

// MustStay is the keep of a line that no swap may change.
const MustStay = 9

// checkMeals holds the tables of meals against the items and each other.
func (t *Tables) checkMeals(fail func(at At, field, read, instead string), known func(at At, field, name string, ok bool, names []string)) {
	var items, recipes []string
	for _, it := range t.Items {
		items = append(items, it.Item)
	}
	servings := map[string]*big.Rat{}
	for _, r := range t.Recipes {
		if servings[r.Recipe] == nil {
			servings[r.Recipe] = r.Servings
			recipes = append(recipes, r.Recipe)
		}
	}
	item := func(at At, field, name string) { known(at, field, name, slices.Contains(items, name), items) }
	keep := func(at At, k *big.Rat) {
		if k != nil && (!k.IsInt() || k.Cmp(big.NewRat(MustStay, 1)) > 0) {
			fail(at, "keep", k.RatString(), "a whole number from 0, gladly changed, to 9, must stay")
		}
	}
	above := func(at At, field string, r *big.Rat) {
		if r != nil && r.Sign() <= 0 {
			fail(at, field, "0", "a number above 0, or nothing where it is not known")
		}
	}
	for _, y := range t.Yields {
		item(y.At, "item", y.Item)
		above(y.At, "yield", y.Yield)
	}
	for _, r := range t.Recipes {
		if (r.Item == "") == (r.SubRecipe == "") {
			fail(r.At, "item, sub_recipe", fmt.Sprintf("%q, %q", r.Item, r.SubRecipe), "one of the two: what the line is made of")
		}
		item(r.At, "item", r.Item)
		known(r.At, "sub_recipe", r.SubRecipe, servings[r.SubRecipe] != nil, recipes)
		above(r.At, "servings", r.Servings)
		above(r.At, "yield", r.Yield)
		keep(r.At, r.Keep)
		if first := servings[r.Recipe]; first.Cmp(r.Servings) != 0 {
			fail(r.At, "servings", r.Servings.RatString(), "the "+first.RatString()+" of the recipe's first line: one number for a recipe")
		}
	}
	for _, p := range t.Plans {
		known(p.At, "recipe", p.Recipe, servings[p.Recipe] != nil, recipes)
		above(p.At, "servings", p.Servings)
		if p.Day < 1 {
			fail(p.At, "day", fmt.Sprint(p.Day), "the day of the plan, from 1")
		}
		if servings[p.Plan] != nil {
			fail(p.At, "plan", fmt.Sprintf("%q", p.Plan), "another name: a recipe has it")
		}
	}
	for _, s := range t.Pantry {
		item(s.At, "item", s.Item)
	}
	for _, s := range t.Swaps {
		item(s.At, "item", s.Item)
		item(s.At, "to_item", s.ToItem)
		above(s.At, "ratio", s.Ratio)
		keep(s.At, s.Keep)
	}
	for _, r := range t.Requirements {
		if r.Lower == nil && r.Upper == nil {
			fail(r.At, "lower, upper", "nothing", "at least one of the two")
		}
		if r.Lower != nil && r.Upper != nil && r.Lower.Cmp(r.Upper) > 0 {
			fail(r.At, "lower, upper", r.Lower.RatString()+", "+r.Upper.RatString(), "the lower not above the upper")
		}
	}
}
