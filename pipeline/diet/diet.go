package diet

import (
	"errors"
	"fmt"
	"math/big"
	"slices"
	"strings"

	"farthing/pipeline/lp"
)

// Food is a food on offer. All numbers are of the edible part or all as bought, and
// of one base unit.
type Food struct {
	Name    string
	Price   *big.Rat   // money per base unit, >= 0; nil: not priced
	Content []*big.Rat // of each nutrient in a base unit, >= 0; nil: not known
	Largest *big.Rat   // most that is acceptable a day, in base units, >= 0; nil: no limit
}

// Nutrient is a nutrient, or energy, with what a day needs of it.
type Nutrient struct {
	Name, Unit   string
	Lower, Upper *big.Rat // a day, in Unit; nil: no bound. Equal: just that much
}

// Problem asks for the cheapest day: foods by nutrients.
type Problem struct {
	Nutrients []Nutrient
	Foods     []Food
	Brief     bool // leave out OneMore, each of which is a program of its own
}

// Diet is a least-cost diet with everything that follows from it, exact.
type Diet struct {
	Cost      *big.Rat // money a day
	Foods     []Amount // all foods but those left out, in their order
	Nutrients []Level  // in their order
	LeftOut   []LeftOut
}

// Amount is a food in the diet, in base units a day.
type Amount struct {
	Food       string
	Amount     *big.Rat
	Cost       *big.Rat
	Least      *big.Rat // over all diets of this cost
	Most       *big.Rat // over all diets of this cost; nil: without end (it is free)
	Extra      *big.Rat // > 0: what one unit would add to the cost; < 0: what one unit more of its limit would change
	AtItsLimit bool     // the acceptable amount is used up
}

// Level is a nutrient in the diet.
type Level struct {
	Nutrient, Unit string
	Amount         *big.Rat
	// PerUnit is the dual: the change of cost by one unit that the binding bound goes
	// up, exact for a small step. 0 where no bound binds. Less.. is that of a step
	// down, More that of a step up; they differ only where the diet changes right
	// here. Nil: the bound cannot be moved that way.
	PerUnit, Less, More *big.Rat
	// OneMore is the change of cost when the binding bound goes up by one whole unit:
	// for a lower bound what one more unit costs, for an upper what allowing one more
	// saves (<= 0). Worked out anew, since other foods may then be cheaper; never less
	// than More for one unit. Nil where no bound binds, no diet has one more, or the
	// problem is Brief.
	OneMore *big.Rat
	Binding Binding
}

// Binding says which bound a nutrient is at.
type Binding string

const (
	NotBinding Binding = ""
	AtLower    Binding = "lower"
	AtUpper    Binding = "upper"
	AtBoth     Binding = "equal" // lower = upper
)

// LeftOut is a food that was left out: without a price, or (Nutrient set) without a
// known content of a nutrient that has a bound. The cost then is at most too high.
type LeftOut struct{ Food, Nutrient string }

var (
	// ErrNoFood says that every food was left out.
	ErrNoFood = errors.New("diet: no food with a price and known contents")
	// ErrInput says that the problem is not one: a negative number, a name twice.
	ErrInput = errors.New("diet: input")
)

// Conflict says which demands no diet meets together: without any one of them there
// is a diet. errors.Is(err, lp.ErrInfeasible) is true.
type Conflict struct {
	Limits  []Limit
	LeftOut []LeftOut
}

// Limit is a demand in a conflict: at least or at most Bound of a nutrient, or at
// most Bound of a food (base units).
type Limit struct {
	Kind       LimitKind
	Name, Unit string // Unit is "" for a food
	Bound      *big.Rat
}

// LimitKind is the kind of a Limit.
type LimitKind string

const (
	AtLeast    LimitKind = "at_least"
	AtMost     LimitKind = "at_most"
	FoodAtMost LimitKind = "food_at_most"
)

func (e *Conflict) Error() string {
	var s []string
	for _, l := range e.Limits {
		word := "at most"
		if l.Kind == AtLeast {
			word = "at least"
		}
		s = append(s, strings.TrimSpace(fmt.Sprintf("%s %s %s %s", l.Name, word, decimal(l.Bound), l.Unit)))
	}
	return "diet: no diet meets these together: " + strings.Join(s, "; ")
}

// Is makes errors.Is(err, lp.ErrInfeasible) true.
func (e *Conflict) Is(target error) bool { return target == lp.ErrInfeasible }

// LeastCost is the cheapest diet:
//
//	least sum_j Price_j x_j  with  Lower_i <= sum_j Content_ij x_j <= Upper_i,  0 <= x_j <= Largest_j
//
// Errors: *Conflict, ErrNoFood, ErrInput. Panics if a food has another number of
// contents than there are nutrients. Source: Stigler, The cost of subsistence, 1945.
func LeastCost(p Problem) (*Diet, error) {
	if err := p.check(); err != nil {
		return nil, err
	}
	foods, leftOut := p.usable()
	if len(foods) == 0 {
		return nil, ErrNoFood
	}
	var q lp.Problem
	for _, f := range foods {
		q.Cost, q.Upper = append(q.Cost, f.Price), append(q.Upper, f.Largest)
	}
	for i, n := range p.Nutrients {
		row := lp.Row{Lower: n.Lower, Upper: n.Upper}
		for _, f := range foods {
			c := f.Content[i]
			if c == nil { // only where the nutrient has no bound, see usable
				c = new(big.Rat)
			}
			row.Coef = append(row.Coef, c)
		}
		q.Rows = append(q.Rows, row)
	}
	s, err := lp.Solve(q)
	if no := (*lp.Infeasible)(nil); errors.As(err, &no) {
		return nil, p.conflict(no, foods, leftOut)
	}
	if err != nil {
		return nil, err
	}
	d := &Diet{Cost: s.Cost, LeftOut: leftOut}
	for j, f := range foods {
		d.Foods = append(d.Foods, Amount{Food: f.Name, Amount: s.X[j], Cost: new(big.Rat).Mul(f.Price, s.X[j]),
			Least: s.XRange[j].Lo, Most: s.XRange[j].Hi, Extra: s.Reduced[j], AtItsLimit: equal(f.Largest, s.X[j])})
	}
	for i, n := range p.Nutrients {
		l := Level{Nutrient: n.Name, Unit: n.Unit, PerUnit: s.Dual[i], Less: s.DualRange[i].Lo, More: s.DualRange[i].Hi}
		if !slices.ContainsFunc(foods, func(f Food) bool { return f.Content[i] == nil }) {
			l.Amount = s.Activity[i]
		}
		lower, upper := n.Lower, n.Upper
		if equal(n.Lower, s.Activity[i]) {
			l.Binding, lower = AtLower, new(big.Rat).Add(n.Lower, one)
		}
		if equal(n.Upper, s.Activity[i]) {
			upper = new(big.Rat).Add(n.Upper, one)
			if l.Binding == AtLower {
				l.Binding = AtBoth
			} else {
				l.Binding = AtUpper
			}
		}
		if l.Binding != NotBinding && !p.Brief {
			c, err := s.CostWith(i, lower, upper)
			if err == nil {
				l.OneMore = new(big.Rat).Sub(c, s.Cost)
			} else if !errors.Is(err, lp.ErrInfeasible) {
				return nil, err
			}
		}
		d.Nutrients = append(d.Nutrients, l)
	}
	return d, nil
}

// NutrientAdequate is the cost of a nutrient-adequate diet (CoNA): the cheapest with
// just the energy needed and every nutrient between its bounds (average
// requirement or recommended intake, and tolerable upper level). energy names the
// nutrient that is energy; its own bounds are replaced. Errors as LeastCost; ErrInput
// if there is no such nutrient or no requirement > 0. Source: Herforth et al., Cost
// and affordability of healthy diets across and within countries, FAO 2020 (from
// memory).
func NutrientAdequate(p Problem, energy string, requirement *big.Rat) (*Diet, error) {
	i := slices.IndexFunc(p.Nutrients, func(n Nutrient) bool { return n.Name == energy })
	if i < 0 || requirement == nil || requirement.Sign() <= 0 {
		return nil, fmt.Errorf("%w: energy %q with requirement %v", ErrInput, energy, requirement)
	}
	p.Nutrients = slices.Clone(p.Nutrients)
	p.Nutrients[i].Lower, p.Nutrients[i].Upper = requirement, requirement
	return LeastCost(p)
}

// FixedCost is the cost of given amounts of the foods of a problem: sum Price amount.
// Nil if a food with an amount other than 0 has no price. Panics if lengths differ.
func FixedCost(foods []Food, amounts []*big.Rat) *big.Rat {
	if len(foods) != len(amounts) {
		panic(fmt.Sprintf("diet: %d foods, %d amounts", len(foods), len(amounts)))
	}
	sum := new(big.Rat)
	for j, f := range foods {
		switch {
		case amounts[j] == nil:
			return nil
		case amounts[j].Sign() == 0:
		case f.Price == nil:
			return nil
		default:
			sum.Add(sum, new(big.Rat).Mul(f.Price, amounts[j]))
		}
	}
	return sum
}

var one = big.NewRat(1, 1)

func equal(a, b *big.Rat) bool { return a != nil && a.Cmp(b) == 0 }

// decimal shows at most 6 decimals, without zeros at the end.
func decimal(r *big.Rat) string {
	s := r.FloatString(6)
	return strings.TrimSuffix(strings.TrimRight(s, "0"), ".")
}

func (p Problem) check() error {
	bad := func(what, name string, v *big.Rat) error {
		if v != nil && v.Sign() < 0 {
			return fmt.Errorf("%w: %s of %q is %s, negative", ErrInput, what, name, decimal(v))
		}
		return nil
	}
	seen := map[string]bool{}
	once := func(kind, name string) error {
		if key := kind + " " + name; seen[key] || name == "" {
			return fmt.Errorf("%w: %s %q stands twice or has no name", ErrInput, kind, name)
		} else {
			seen[key] = true
		}
		return nil
	}
	for _, n := range p.Nutrients {
		if err := errors.Join(once("nutrient", n.Name), bad("lower bound", n.Name, n.Lower), bad("upper bound", n.Name, n.Upper)); err != nil {
			return err
		}
	}
	for _, f := range p.Foods {
		if len(f.Content) != len(p.Nutrients) {
			panic(fmt.Sprintf("diet: %d contents of %q, %d nutrients", len(f.Content), f.Name, len(p.Nutrients)))
		}
		if err := errors.Join(once("food", f.Name), bad("price", f.Name, f.Price), bad("largest amount", f.Name, f.Largest)); err != nil {
			return err
		}
		for i, c := range f.Content {
			if err := bad(p.Nutrients[i].Name, f.Name, c); err != nil {
				return err
			}
		}
	}
	return nil
}

// usable are the foods with a price and a known content of each nutrient that has a
// bound.
func (p Problem) usable() (foods []Food, out []LeftOut) {
next:
	for _, f := range p.Foods {
		if f.Price == nil {
			out = append(out, LeftOut{Food: f.Name})
			continue
		}
		for i, n := range p.Nutrients {
			if f.Content[i] == nil && (n.Lower != nil || n.Upper != nil) {
				out = append(out, LeftOut{f.Name, n.Name})
				continue next
			}
		}
		foods = append(foods, f)
	}
	return foods, out
}

func (p Problem) conflict(no *lp.Infeasible, foods []Food, leftOut []LeftOut) error {
	e := &Conflict{LeftOut: leftOut}
	for _, m := range no.Conflict {
		switch m.Bound {
		case lp.RowLower:
			n := p.Nutrients[m.Index]
			e.Limits = append(e.Limits, Limit{AtLeast, n.Name, n.Unit, n.Lower})
		case lp.RowUpper:
			n := p.Nutrients[m.Index]
			e.Limits = append(e.Limits, Limit{AtMost, n.Name, n.Unit, n.Upper})
		case lp.VariableUpper:
			f := foods[m.Index]
			e.Limits = append(e.Limits, Limit{FoodAtMost, f.Name, "", f.Largest})
		}
	}
	return e
}
