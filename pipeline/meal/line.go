package meal

import (
	"fmt"
	"math/big"
)

// Basis says what a line's quantity is a quantity of.
type Basis int

const (
	AP Basis = iota // as purchased
	EP              // edible portion, or any later stage that the line's yield leads to
)

// Supply says where a line comes from. Bought lines are bought whole. Cupboard lines (oil, salt, spice) are costed like bought
// ones but not bought, unless the shopping says so. Free lines (water, a gift, what grows) cost nothing; they stay on the sheet.
type Supply int

const (
	Bought Supply = iota
	Cupboard
	Free
)

func (s Supply) String() string { return [...]string{"bought", "cupboard", "free"}[s] }

// Line is one ingredient of one dish on one day.
type Line struct {
	Day    int    // of the plan, from 1
	Meal   string // of the day; "" if it has none
	Dish   string // the recipe cooked
	Via    string // the sub-recipes between the dish and the line, "a > b"; "" if it stands in the dish itself
	Number int    // in its own recipe
	Good   string

	Quantity *big.Rat // in the good's base unit; nil: not known
	Basis    Basis
	Yield    *big.Rat // gives EP from AP, a share, may exceed 1; nil: not known. Not needed by an AP quantity.
	Supply   Supply
}

func (l Line) String() string {
	s := l.Dish
	if l.Via != "" {
		s += " > " + l.Via
	}
	return fmt.Sprintf("day %d, %s, line %d, %s", l.Day, s, l.Number, l.Good)
}

// Lack is what a line lacks for a cost.
type Lack int

const (
	Nothing Lack = iota
	LacksQuantity
	LacksYield
	LacksPrice
)

func (l Lack) String() string { return [...]string{"nothing", "quantity", "yield", "price"}[l] }

// AP is the quantity as purchased, in base units: the quantity, or EP / yield. nil if one of them is not known. A quantity below
// zero is ErrQuantity, a yield not above zero ErrYield, also where it is not needed.
func (l Line) AP() (*big.Rat, error) {
	if err := l.check(); err != nil {
		return nil, err
	}
	switch {
	case l.Quantity == nil:
		return nil, nil
	case l.Basis == AP:
		return new(big.Rat).Set(l.Quantity), nil
	case l.Yield == nil:
		return nil, nil
	}
	return APRequired(l.Quantity, l.Yield)
}

func (l Line) check() error {
	err := atLeastZero(l.Quantity, ErrQuantity)
	if err == nil && l.Yield != nil {
		err = above(l.Yield, ErrYield)
	}
	if err == nil && l.Day < 1 {
		err = fmt.Errorf("%w: %d, days count from 1", ErrDay, l.Day)
	}
	if err != nil {
		return fmt.Errorf("%s: %w", l, err)
	}
	return nil
}

// Scale gives the lines of a dish of from servings for to servings: each quantity times to / from. Quantities not known stay so.
// Scale before shopping: the portion cost scales, the till cost does not. Servings not above zero are ErrServings. Source:
// culinary mathematics, factor = desired yield / original yield.
func Scale(lines []Line, from, to *big.Rat) ([]Line, error) {
	if err := above(from, ErrServings); err != nil {
		return nil, err
	}
	if err := above(to, ErrServings); err != nil {
		return nil, err
	}
	factor := new(big.Rat).Quo(to, from)
	scaled := make([]Line, len(lines))
	for i, l := range lines {
		scaled[i] = l
		scaled[i].Quantity = PortionCost(l.Quantity, factor)
	}
	return scaled, nil
}

// Shift moves lines by so many days: the next round of a plan of 7 days is Shift(lines, 7).
func Shift(lines []Line, days int) []Line {
	moved := make([]Line, len(lines))
	for i, l := range lines {
		moved[i] = l
		moved[i].Day += days
	}
	return moved
}
