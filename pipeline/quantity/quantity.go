// Package quantity turns the text of packs, amounts and prices into exact rationals with a dimension, and back.
//
// Order of work: text -> tokens -> numbers and units (unit.go, decimal.go) -> pack (pack.go) -> Amount in base units.
// What it prints it reads back as equal. It holds no densities, piece weights or local measures of its own: mass, volume
// and count turn into each other only through a Bridge that names its source, and an undeclared measure is an error.
// It knows nothing of files, tables, currencies or databases.
package quantity

import (
	"errors"
	"fmt"
	"math"
	"math/big"
)

// Dimension says what an Amount measures. The zero value is Unknown: no amount at all.
type Dimension uint8

const (
	Unknown Dimension = iota
	Mass
	Volume
	Count
)

var baseUnits = [...]string{Unknown: "", Mass: "kg", Volume: "L", Count: "each"}
var dimensionNames = [...]string{Unknown: "nothing", Mass: "mass", Volume: "volume", Count: "count"}

// BaseUnit is kg, L or each, and "" for Unknown. These are also the units that Directive 98/6/EC, article 2(b), takes as
// the basis of a unit price (from memory).
func (d Dimension) BaseUnit() string {
	if int(d) >= len(baseUnits) {
		return ""
	}
	return baseUnits[d]
}

// String is the dimension in words: mass, volume, count.
func (d Dimension) String() string {
	if int(d) >= len(dimensionNames) {
		return dimensionNames[Unknown]
	}
	return dimensionNames[d]
}

// DimensionOf is the dimension of a base unit written exactly as BaseUnit writes it.
func DimensionOf(baseUnit string) (Dimension, bool) {
	for _, d := range []Dimension{Mass, Volume, Count} {
		if baseUnits[d] == baseUnit {
			return d, true
		}
	}
	return Unknown, false
}

// What callers may test with errors.Is. Every error of this package is an *Error.
var (
	ErrSyntax    = errors.New("unreadable text")              // the text does not follow the grammar
	ErrUnit      = errors.New("unknown unit or measure")      // no such unit, and no such declared measure
	ErrDimension = errors.New("dimensions do not match")      // mass, volume and count met without a bridge
	ErrRange     = errors.New("a range has no single amount") // an interval where one amount was asked for
	ErrDisagree  = errors.New("two stated amounts disagree")  // "1 lb (500 g)"
	ErrGTIN      = errors.New("not a valid GTIN")             // length, characters or check digit
)

// Error says what was read, why it cannot be taken, and what to type instead. Kind is one of the sentinels above.
type Error struct {
	Kind               error
	Read, Why, Instead string
}

func (e *Error) Error() string {
	return fmt.Sprintf("read %q: %s; instead: %s", e.Read, e.Why, e.Instead)
}

func (e *Error) Unwrap() error { return e.Kind }

// clip keeps messages short whatever the text was.
func clip(s string) string {
	const most = 60
	for i := range s {
		if i > most {
			return s[:i] + "..."
		}
	}
	return s
}

// Amount is an exact quantity in the base unit of its dimension. It never changes once made. The zero value holds no amount
// (dimension Unknown): it is not zero kilograms.
type Amount struct {
	r *big.Rat
	d Dimension
}

// New is r base units of d. A nil r or an unknown d gives the empty Amount.
func New(r *big.Rat, d Dimension) Amount {
	if r == nil || d.BaseUnit() == "" {
		return Amount{}
	}
	return Amount{new(big.Rat).Set(r), d}
}

// Rat is a copy of the amount in base units, nil for the empty Amount.
func (a Amount) Rat() *big.Rat {
	if a.d == Unknown {
		return nil
	}
	return new(big.Rat).Set(a.r)
}

// Float is the nearest float64 in base units, NaN for the empty Amount.
func (a Amount) Float() float64 {
	if a.d == Unknown {
		return math.NaN()
	}
	f, _ := a.r.Float64()
	return f
}

// Dimension is Unknown for the empty Amount.
func (a Amount) Dimension() Dimension { return a.d }

// String writes the amount in its base unit: "0.5 kg", "0.33 L", "12 each", and as a fraction in parentheses, "(1/3) kg",
// where no finite decimal is equal. ParseAmount with the zero Options reads it back as equal, up to the length it takes
// (maxText). The empty Amount is "".
func (a Amount) String() string {
	if a.d == Unknown {
		return ""
	}
	n, exact := a.r.FloatPrec()
	if !exact {
		return "(" + a.r.RatString() + ") " + a.d.BaseUnit()
	}
	return a.r.FloatString(n) + " " + a.d.BaseUnit()
}

// Equal is exact equality of dimension and amount; two empty Amounts are equal.
func (a Amount) Equal(b Amount) bool {
	return a.d == b.d && (a.d == Unknown || a.r.Cmp(b.r) == 0)
}

// Times is the amount multiplied by n, a pure number.
func (a Amount) Times(n *big.Rat) Amount {
	if a.d == Unknown {
		return a
	}
	return Amount{new(big.Rat).Mul(a.r, n), a.d}
}

// In is the amount counted in units of another: In(one pound) is pounds. ErrDimension if the two measure different things
// or either is empty; an error too if the unit is zero.
func (a Amount) In(unit Amount) (*big.Rat, error) {
	if a.d != unit.d || a.d == Unknown {
		return nil, &Error{ErrDimension, a.String(), fmt.Sprintf("%s cannot be counted in %s", a.d, unit.d),
			"convert with a recorded density_kg_per_l or piece_kg first"}
	}
	if unit.r.Sign() == 0 {
		return nil, &Error{ErrSyntax, unit.String(), "a unit of nothing", "a unit above zero"}
	}
	return new(big.Rat).Quo(a.r, unit.r), nil
}

// Bridge holds what lets an amount change its dimension, for one item, and where it was read. Nil is unknown.
type Bridge struct {
	DensityKgPerL *big.Rat // mass of one litre
	PieceKg       *big.Rat // mass of one piece
	Source        string
}

// To converts an amount to another dimension, exactly:
//
//	kg = L x density = each x piece
//
// Volume to count goes through mass and needs both figures. An amount already in d is returned as it is. ErrDimension, and
// the name of what to record, if a figure is missing, is not above zero, or has no source.
func (a Amount) To(d Dimension, b Bridge) (Amount, error) {
	if a.d == d && d != Unknown {
		return a, nil
	}
	fail := func(why, instead string) (Amount, error) {
		return Amount{}, &Error{ErrDimension, a.String(), fmt.Sprintf("%s does not turn into %s: %s", a.d, d, why), instead}
	}
	if a.d == Unknown || d.BaseUnit() == "" {
		return fail("no amount or no target", "an amount in kg, L or each")
	}
	kg := new(big.Rat).Set(a.r) // a in kg, then kg in d
	for _, step := range []struct {
		dim    Dimension
		factor *big.Rat
		name   string
		apply  func(z, x, y *big.Rat) *big.Rat
	}{
		{a.d, b.factor(a.d), columns[a.d], (*big.Rat).Mul},
		{d, b.factor(d), columns[d], (*big.Rat).Quo},
	} {
		switch {
		case step.dim == Mass:
			continue
		case step.factor == nil:
			return fail("no "+step.name+" is recorded", "record "+step.name+" and its source for this item")
		case step.factor.Sign() <= 0:
			return fail(step.name+" is not above zero", "record a "+step.name+" above zero and its source for this item")
		}
		step.apply(kg, kg, step.factor)
	}
	if b.Source == "" {
		return fail("the figure has no source", "record the source of density_kg_per_l or piece_kg for this item")
	}
	return Amount{kg, d}, nil
}

var columns = [...]string{Unknown: "", Mass: "", Volume: "density_kg_per_l", Count: "piece_kg"}

// factor is the mass of one base unit of d.
func (b Bridge) factor(d Dimension) *big.Rat {
	switch d {
	case Volume:
		return b.DensityKgPerL
	case Count:
		return b.PieceKg
	}
	return nil
}
