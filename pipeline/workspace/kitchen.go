package workspace

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"math/big"
	"slices"
	"strings"
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

// The tables of foods. They may be long, and are read only by whom they serve.
type (
	Food struct {
		At
		Code   string   `col:"food_code,key need"`
		Name   string   `col:"food_name,need"`
		Refuse *big.Rat `col:"refuse_share"`
		Source string   `col:"source,need"`
	}
	Nutrient struct {
		At
		FoodCode string   `col:"food_code,key need"`
		Nutrient string   `col:"nutrient,key need"`
		Per100g  *big.Rat `col:"per_100g_edible,need"`
		Unit     string   `col:"unit,need"`
		Source   string   `col:"source,need"`
	}
	FoodWeight struct {
		At
		FoodCode string   `col:"food_code,key need"`
		Measure  string   `col:"measure,key need"`
		Form     string   `col:"form,key"`
		Count    *big.Rat `col:"count,need"`
		Grams    *big.Rat `col:"grams,need"`
		Source   string   `col:"source,need"`
	}
)

// FoodTables say what foods are made of.
var FoodTables = []string{"foods", "nutrients", "food_weights"}

// Foods reads the tables of foods, as far as they exist; every fault found is in the error.
func (w *Workspace) Foods() (foods []Food, nutrients []Nutrient, weights []FoodWeight, err error) {
	foods, _, errF := readTable[Food](w, "foods")
	nutrients, _, errN := readTable[Nutrient](w, "nutrients")
	weights, _, errW := readTable[FoodWeight](w, "food_weights")
	return foods, nutrients, weights, errors.Join(errF, errN, errW)
}

// Kept is a file of EditionFiles as an edition keeps it: of a table of foods in
// CSV the lines of those that an item names, for of some thousand foods a
// workspace uses a few. Anything else is kept as it is.
func (w *Workspace) Kept(name string) ([]byte, error) {
	b, err := w.Text(name)
	if table, isCSV := strings.CutSuffix(strings.TrimPrefix(name, "tables/"), ".csv"); err != nil || !isCSV || !slices.Contains(FoodTables, table) {
		return b, err
	}
	items, _, err := readTable[Item](w, "items")
	if err != nil {
		return nil, err
	}
	number := func(code string) string { return strings.TrimLeft(strings.TrimSpace(code), "0") } // a spreadsheet takes 01001 for 1001
	used := map[string]bool{}
	for _, it := range items {
		used[number(it.FoodCode)] = true
	}
	s, err := csvSheet(name, b)
	if err != nil || len(s.rows) == 0 {
		return b, err
	}
	at := slices.IndexFunc(s.rows[0], func(h string) bool { return strings.TrimSpace(h) == "food_code" })
	var out bytes.Buffer
	table := csv.NewWriter(&out)
	for i, r := range s.rows {
		if i == 0 || at >= 0 && at < len(r) && used[number(r[at])] {
			if err := table.Write(r); err != nil {
				return nil, err
			}
		}
	}
	table.Flush()
	return out.Bytes(), table.Error()
}

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
