package kitchen

import (
	"cmp"
	"errors"
	"math/big"
	"slices"
	"strings"
	"unicode"

	"farthing/pipeline/meal"
	"farthing/pipeline/quantity"
	"farthing/pipeline/workspace"
)

// words are those that a cook may use for an item.
func words(it *workspace.Item) []string {
	return strings.FieldsFunc(strings.ToLower(it.Item+" "+it.Name), func(r rune) bool { return !unicode.IsLetter(r) })
}

// read turns a cook's quantity of an item into its base unit: the user's own
// measures of the item first, then those of all items, then the tables of
// reference. edible is 1 where the quantity is of the edible portion; yield is
// then what a piece as bought, as tables/items and tables/measures weigh it, gives
// of it. Other measures weigh what is in them.
func (k *Kitchen) read(it *workspace.Item, region, preparation, text, unit string, edible, yield *big.Rat) (quantity.Cooked, error) {
	own, all := k.measures(it.Item, region), k.measures("", region)
	if piece, ok := own.Measures["piece"]; ok && yield != nil {
		piece.Amount = piece.Amount.Times(yield)
		own.Measures["piece"] = piece
	}
	if it.Density != nil {
		own.Density = quantity.Figure{Amount: quantity.New(it.Density, quantity.Mass), Status: quantity.Measured, Source: cmp.Or(it.Source, "tables/items")}
	}
	if it.PieceKg != nil {
		piece := it.PieceKg
		if yield != nil {
			piece = new(big.Rat).Mul(piece, yield)
		}
		own.Piece = quantity.Figure{Amount: quantity.New(piece, quantity.Mass), Status: quantity.Measured, Source: cmp.Or(it.Source, "tables/items")}
	}
	reader := quantity.Kitchen{Item: it.Item, Words: words(it), Comma: k.settings.Prices.Decimal == ",", Convention: quantity.Convention(k.settings.Meals.Convention),
		Facts: []quantity.Facts{own, all, k.foods.Facts(it.FoodCode, preparation, edible)}}
	return reader.Read(text, unit, k.dimension(it.Item))
}

// measures of tables/measures for an item ("": for all) in a region and what lies above it.
func (k *Kitchen) measures(item, region string) quantity.Facts {
	f := quantity.Facts{Measures: map[string]quantity.Figure{}}
	for _, m := range k.tables.Measures {
		if m.Item != item || m.Region != "" && !k.within(region, m.Region) {
			continue
		}
		if unit, err := quantity.ParseUnit(m.Unit); err == nil { // else told when the table is checked
			f.Measures[strings.ToLower(m.Measure)] = quantity.Figure{Amount: unit.Times(m.Quantity), Status: quantity.Measured, Source: m.Source}
		}
	}
	return f
}

// grounds says what an amount rests on besides legal units.
func grounds(c quantity.Cooked) string {
	var list []string
	for _, u := range c.Used {
		list = append(list, u.What+": "+string(u.Status)+", "+u.Source)
	}
	return strings.Join(list, "; ")
}

// share is a yield and where it was read.
type share struct {
	yield  *big.Rat
	source string
}

// yield of a recipe's line, from the nearest place that has one: the line, tables/yields, the item, the tables of reference.
func (k *Kitchen) yield(r *workspace.Recipe, it *workspace.Item) share {
	gives := cmp.Or(r.Basis, "AP")
	if gives == "AP" {
		return share{}
	}
	if r.Yield != nil {
		return share{r.Yield, "the recipe"}
	}
	for _, y := range k.tables.Yields {
		if y.Item == r.Item && y.Preparation == r.Preparation && y.Gives == gives {
			return share{y.Yield, y.Source}
		}
	}
	if gives == "EP" && it.EdibleYield != nil {
		return share{it.EdibleYield, cmp.Or(it.Source, "tables/items")}
	}
	for _, y := range k.foods.Yields(it.FoodCode) {
		if y.Gives == gives && (y.Preparation == r.Preparation || gives == "EP" && y.Preparation == "") {
			return share{y.Yield, string(y.Status) + ", " + y.Source}
		}
	}
	return share{}
}

// Edible is the share of an item's weight as bought: nil if it is not known.
func (f Foods) Edible(it *workspace.Item) *big.Rat {
	if it.EdibleYield != nil {
		return it.EdibleYield
	}
	if food, ok := f.Food(it.FoodCode); ok && food.Refuse != nil && !food.Either {
		return new(big.Rat).Sub(big.NewRat(1, 1), food.Refuse)
	}
	return nil
}

// written is a line of a recipe read: its amount and yield, with their grounds.
type written struct {
	row    *workspace.Recipe
	amount *big.Rat // base units; nil: not known
	yield  share
	from   string // what the amount rests on
	lacks  string // why there is no amount
}

// writtenLine reads a line. An unreadable text is an error; what is only not known leaves the amount blank.
func (k *Kitchen) writtenLine(r *workspace.Recipe, region string) (written, error) {
	w := written{row: r}
	it := k.items[r.Item]
	w.yield = k.yield(r, it)
	if r.Quantity == "" {
		w.lacks = "no quantity is written"
		return w, nil
	}
	of := k.foods.Edible(it)
	if cmp.Or(r.Basis, "AP") != "AP" {
		of = big.NewRat(1, 1)
	}
	cooked, err := k.read(it, region, r.Preparation, r.Quantity, r.Unit, of, w.yield.yield)
	var bad *quantity.Error
	switch {
	case err == nil:
		w.amount, w.from = cooked.Amount.Rat(), grounds(cooked)
	case errors.Is(err, quantity.ErrUnit), errors.Is(err, quantity.ErrDimension):
		errors.As(err, &bad)
		w.lacks = bad.Why + "; " + bad.Instead
	default:
		errors.As(err, &bad)
		return w, &workspace.InputError{Code: "table", File: r.File, Line: r.At.Line, Field: "quantity, unit", Read: bad.Read + ": " + bad.Why, Instead: bad.Instead}
	}
	return w, nil
}

// book is every recipe read once.
type book struct {
	recipes []meal.Recipe
	lines   map[string]map[int]written // by recipe and line
}

func (k *Kitchen) book(a Ask) (*book, error) {
	b := &book{lines: map[string]map[int]written{}}
	var errs []error
	for i := range k.tables.Recipes {
		r := &k.tables.Recipes[i]
		if b.lines[r.Recipe] == nil {
			b.lines[r.Recipe] = map[int]written{}
			b.recipes = append(b.recipes, meal.Recipe{Name: r.Recipe, Servings: r.Servings})
		}
		in := meal.Ingredient{Number: r.Line, SubRecipe: r.SubRecipe, Supply: supply(r.Supply)}
		w := written{row: r}
		var err error
		if r.SubRecipe == "" {
			if w, err = k.writtenLine(r, a.Region); err != nil {
				errs = append(errs, err)
				continue
			}
			if cmp.Or(r.Basis, "AP") != "AP" {
				in.Basis = meal.EP
			}
			in.Good, in.Yield = k.goodOf(r, a).name(), w.yield.yield
		} else if w.amount, err = servingsOf(r); err != nil {
			errs = append(errs, err)
			continue
		}
		in.Quantity = w.amount
		b.lines[r.Recipe][r.Line] = w
		at := slices.IndexFunc(b.recipes, func(x meal.Recipe) bool { return x.Name == r.Recipe })
		b.recipes[at].Ingredients = append(b.recipes[at].Ingredients, in)
	}
	return b, errors.Join(errs...)
}

// servingsOf is how many servings of a sub-recipe a line takes.
func servingsOf(r *workspace.Recipe) (*big.Rat, error) {
	if r.Quantity == "" {
		return nil, nil
	}
	n, err := quantity.ParseDecimal(r.Quantity, false)
	if err != nil || n.Sign() < 0 || r.Unit != "" && r.Unit != "servings" && r.Unit != "serving" {
		return nil, &workspace.InputError{Code: "table", File: r.File, Line: r.At.Line, Field: "quantity, unit", Read: strings.TrimSpace(r.Quantity + " " + r.Unit),
			Instead: "how many servings of " + r.SubRecipe + ", such as 4 servings"}
	}
	return n, nil
}

func supply(s string) meal.Supply {
	switch s {
	case "cupboard":
		return meal.Cupboard
	case "free":
		return meal.Free
	}
	return meal.Bought
}

// goodOf is what a line is made of: its grade is the ask's, the line's or the default one.
func (k *Kitchen) goodOf(r *workspace.Recipe, a Ask) good {
	grade := cmp.Or(r.Grade, k.settings.Prices.DefaultGrade)
	if with, ok := a.With[r.Item]; ok {
		grade = with
	}
	return good{r.Item, grade}
}
