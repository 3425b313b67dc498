package meal

import (
	"fmt"
	"math/big"
	"slices"
	"strings"
)

// Recipe is a dish for so many servings.
type Recipe struct {
	Name        string
	Servings    *big.Rat
	Ingredients []Ingredient
}

// Ingredient is a line of a recipe: a good, or servings of another recipe.
type Ingredient struct {
	Number    int
	Good      string
	SubRecipe string   // if set, Quantity counts its servings, and Good, Basis and Yield are not used
	Quantity  *big.Rat // base units of the good; nil: not known
	Basis     Basis
	Yield     *big.Rat
	Supply    Supply
}

// Serving is one dish of a plan: so many servings of a recipe on a day.
type Serving struct {
	Day      int
	Meal     string
	Recipe   string
	Servings *big.Rat
}

// Lines gives the lines of a plan, recipes scaled to the servings eaten and sub-recipes taken apart, in the order of the plan and
// of each recipe. A sub-recipe used for x of its y servings gives its lines times x / y; if x is not known, neither are its lines'
// quantities. What is taken from the cupboard or free makes all within it so.
//
// Errors: a recipe not among those given (ErrRecipe), a recipe made of itself with the whole ring named (ErrCycle), one name given
// twice (ErrTwice), servings not above zero (ErrServings), a quantity below zero (ErrQuantity).
func Lines(recipes []Recipe, plan []Serving) ([]Line, error) {
	book := map[string]Recipe{}
	for _, r := range recipes {
		if _, twice := book[r.Name]; twice {
			return nil, fmt.Errorf("recipe %q: %w", r.Name, ErrTwice)
		}
		book[r.Name] = r
	}
	var lines []Line
	for _, s := range plan {
		if err := above(s.Servings, ErrServings); err != nil {
			return nil, fmt.Errorf("day %d, %q: %w", s.Day, s.Recipe, err)
		}
		x := expansion{book: book, at: s}
		if err := x.add(s.Recipe, s.Servings, Bought); err != nil {
			return nil, err
		}
		lines = append(lines, x.lines...)
	}
	return lines, nil
}

type expansion struct {
	book  map[string]Recipe
	at    Serving
	path  []string
	lines []Line
}

// add appends the lines of a recipe for so many servings, nil if they are not known.
func (x *expansion) add(name string, servings *big.Rat, supply Supply) error {
	if i := slices.Index(x.path, name); i >= 0 {
		return fmt.Errorf("%w: %s", ErrCycle, strings.Join(append(x.path[i:], name), " > "))
	}
	r, ok := x.book[name]
	if !ok {
		return fmt.Errorf("%w: %q", ErrRecipe, strings.Join(append(x.path, name), " > "))
	}
	if err := above(r.Servings, ErrServings); err != nil {
		return fmt.Errorf("recipe %q: %w", name, err)
	}
	var factor *big.Rat
	if servings != nil {
		factor = new(big.Rat).Quo(servings, r.Servings)
	}
	x.path = append(x.path, name)
	defer func() { x.path = x.path[:len(x.path)-1] }()
	for _, in := range r.Ingredients {
		if err := atLeastZero(in.Quantity, ErrQuantity); err != nil {
			return fmt.Errorf("recipe %q, line %d: %w", name, in.Number, err)
		}
		quantity, from := PortionCost(in.Quantity, factor), max(in.Supply, supply)
		if in.SubRecipe != "" {
			if err := x.add(in.SubRecipe, quantity, from); err != nil {
				return err
			}
			continue
		}
		x.lines = append(x.lines, Line{
			Day: x.at.Day, Meal: x.at.Meal, Dish: x.at.Recipe, Via: strings.Join(x.path[1:], " > "), Number: in.Number, Good: in.Good,
			Quantity: quantity, Basis: in.Basis, Yield: in.Yield, Supply: from,
		})
	}
	return nil
}
