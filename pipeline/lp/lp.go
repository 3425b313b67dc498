// Package lp solves linear programs exactly.
//
//	least c'x  with  lower_i <= a_i'x <= upper_i  and  0 <= x_j <= upper_j
//
// Numbers in, numbers out: every number is a rational, and so is every answer.
// There is no tolerance and nothing is rounded. A result leaves the package only
// after its certificate has been checked against the problem as given: a solution
// by feasibility, dual feasibility and equal objectives; "cannot be met" by
// weights that add the constraints up to a contradiction (Farkas); "no least
// value" by a feasible point and a ray.
//
// Order of reading: lp.go (the problem and its answers), certify.go (what is
// checked before an answer is given), simplex.go (how it is found), range.go (all
// optimal solutions), conflict.go (which constraints conflict).
//
// Sources: G. B. Dantzig, Linear Programming and Extensions, 1963, ch. 5, 6, 18
// (bounded variables); J. Edmonds, Systems of distinct representatives and linear
// algebra, 1967, and E. H. Bareiss, Sylvester's identity and multistep
// integer-preserving Gaussian elimination, 1968 (inverse as integers over one
// determinant); R. G. Bland, New finite pivoting rules for the simplex method,
// 1977; J. W. Chinneck and E. W. Dravnieks, Locating minimal infeasible constraint
// sets in linear programs, 1991 (deletion filter). All from memory.
//
// The package does not read files, know units or money, or solve for whole numbers.
package lp

import (
	"errors"
	"fmt"
	"math"
	"math/big"
	"slices"
	"strings"
)

// Problem is a linear program of n variables. The answers do not share memory
// with it.
type Problem struct {
	Cost  []*big.Rat // n; of one unit of each variable
	Upper []*big.Rat // n, or nil for none; largest value of each variable, nil = no limit
	Rows  []Row
}

// Row holds a sum between bounds: Lower <= Coef'x <= Upper. Nil is no bound; equal
// bounds make an equation.
type Row struct {
	Coef         []*big.Rat // n
	Lower, Upper *big.Rat
}

// Solution is an optimal solution with its certificate. Its numbers are to be read,
// not changed.
//
//	Cost = sum c x = sum Dual>0 Dual Lower + sum Dual<0 Dual Upper + sum Reduced<0 Reduced Upper
type Solution struct {
	X        []*big.Rat // n; a vertex of the optimal solutions
	Cost     *big.Rat   // the least sum of Cost x
	Activity []*big.Rat // rows; Coef'x
	// Dual is, by row, the change of Cost by one unit that the binding bound rises,
	// for a rise small enough: > 0 at the lower bound, < 0 at the upper, 0 where
	// neither binds.
	Dual []*big.Rat
	// Reduced is c_j - sum_i Dual_i a_ij: > 0, what one unit of a variable at 0 would
	// add to Cost; < 0 at its upper limit; 0 between. One of several where DualRange
	// is wide.
	Reduced []*big.Rat
	// XRange is the least and the most of each variable over all optimal solutions.
	XRange []Range
	// DualRange is the least and the most of each row's dual. Where they differ, Lo is
	// the change of Cost by unit for bounds going down and Hi for bounds going up.
	// No end: the bound cannot be moved that way at all.
	DualRange []Range

	problem Problem
	end     *simplex
}

// Range is from Lo to Hi, nil without end.
type Range struct{ Lo, Hi *big.Rat }

// IsPoint says whether the range is one value.
func (r Range) IsPoint() bool { return r.Lo != nil && r.Hi != nil && r.Lo.Cmp(r.Hi) == 0 }

var (
	// ErrInfeasible is matched by *Infeasible: no x meets all constraints.
	ErrInfeasible = errors.New("lp: the constraints cannot all be met")
	// ErrUnbounded is matched by *Unbounded: there is no least value.
	ErrUnbounded = errors.New("lp: the sum has no least value")
	// ErrCertificate says that an answer does not hold for its problem. From Solve it
	// would be a defect of this package; no answer is given then.
	ErrCertificate = errors.New("lp: the certificate does not hold")
	// ErrMissing says that a cost or coefficient is nil; it is never read as 0.
	ErrMissing = errors.New("lp: missing number")
	// ErrNumber says that a number cannot be read.
	ErrNumber = errors.New("lp: not a number")
)

// Infeasible says which constraints cannot be met together: leave out any one of
// Conflict and the others can.
type Infeasible struct{ Conflict []Member }

// Member is a constraint of a conflict. Weight > 0 is its share in the proof: the
// weighted constraints add up to a sum that no x >= 0 reaches.
type Member struct {
	Bound  Bound
	Index  int // of the row, or of the variable for VariableUpper
	Weight *big.Rat
}

// Bound is the side of a row or variable that a Member is about.
type Bound int

const (
	RowLower Bound = iota
	RowUpper
	VariableUpper
)

func (b Bound) String() string {
	return [...]string{"row lower", "row upper", "variable upper"}[b]
}

func (e *Infeasible) Error() string {
	var s []string
	for _, m := range e.Conflict {
		s = append(s, fmt.Sprintf("%v %d", m.Bound, m.Index))
	}
	return ErrInfeasible.Error() + ": " + strings.Join(s, ", ")
}

// Is makes errors.Is(err, ErrInfeasible) true.
func (e *Infeasible) Is(target error) bool { return target == ErrInfeasible }

// Unbounded gives a feasible point and a direction: X + t Ray is feasible for every
// t >= 0 and its cost falls without end.
type Unbounded struct{ X, Ray []*big.Rat }

func (e *Unbounded) Error() string { return ErrUnbounded.Error() }

// Is makes errors.Is(err, ErrUnbounded) true.
func (e *Unbounded) Is(target error) bool { return target == ErrUnbounded }

// Solve finds a least solution, its duals and the ranges of both. No variables and
// no rows are allowed: the cost is then 0. Errors: *Infeasible, *Unbounded,
// ErrMissing. Panics if slices differ in length.
func Solve(p Problem) (*Solution, error) {
	p, err := p.copied()
	if err != nil {
		return nil, err
	}
	if crossed(p) {
		return nil, infeasible(p)
	}
	t := newSimplex(p)
	if !t.findFeasible() {
		return nil, infeasible(p)
	}
	cost, unit := integers(p.Cost)
	ray := t.minimise(cost)
	if ray != nil {
		e := &Unbounded{X: slices.Clone(t.x[:t.n]), Ray: ray[:t.n]}
		if err := e.Certify(p); err != nil {
			return nil, err
		}
		return nil, e
	}
	reduced := t.reduced(cost, unit)
	s := &Solution{X: slices.Clone(t.x[:t.n]), Reduced: reduced[:t.n], Cost: dot(p.Cost, t.x[:t.n]), problem: p, end: t}
	for i, row := range p.Rows {
		s.Activity = append(s.Activity, dot(row.Coef, s.X))
		s.Dual = append(s.Dual, new(big.Rat).Mul(reduced[t.n+i], t.scale[i]))
	}
	if err := s.Certify(p); err != nil {
		return nil, err
	}
	if s.XRange, err = t.ranges(reduced); err != nil {
		return nil, err
	}
	if s.DualRange, err = t.dualRanges(cost, unit, s.Dual); err != nil {
		return nil, err
	}
	return s, nil
}

// CostWith is the least cost if a row had other bounds, all else equal: what a
// whole unit more costs, where the dual tells only of the first bit of it. Errors:
// ErrInfeasible (without the conflict), ErrUnbounded, both certified like Solve's.
func (s *Solution) CostWith(row int, lower, upper *big.Rat) (*big.Rat, error) {
	p := s.problem
	p.Rows = slices.Clone(p.Rows)
	p.Rows[row].Lower, p.Rows[row].Upper = lower, upper
	p, err := p.copied()
	if err != nil {
		return nil, err
	}
	if lower != nil && upper != nil && lower.Cmp(upper) > 0 {
		return nil, ErrInfeasible
	}
	t := s.end.clone()
	t.lo[t.n+row], t.hi[t.n+row] = times(lower, t.scale[row]), times(upper, t.scale[row])
	t.settle()
	if !t.findFeasible() {
		if err := (&Infeasible{t.conflict()}).Certify(p); err != nil {
			return nil, err
		}
		return nil, ErrInfeasible
	}
	cost, unit := integers(p.Cost)
	if ray := t.minimise(cost); ray != nil {
		e := &Unbounded{X: t.x[:t.n], Ray: ray[:t.n]}
		if err := e.Certify(p); err != nil {
			return nil, err
		}
		return nil, e
	}
	if err := t.certify(cost, unit); err != nil {
		return nil, err
	}
	return dot(p.Cost, t.x[:t.n]), nil
}

// Floats are the nearest float64 of exact numbers, for showing; nil becomes NaN.
func Floats(x []*big.Rat) []float64 {
	f := make([]float64, len(x))
	for i, v := range x {
		if f[i] = math.NaN(); v != nil {
			f[i], _ = v.Float64()
		}
	}
	return f
}

// Float is the exact value of a float64: 0.1 becomes 3602879701896397/2^55. Error
// ErrNumber for NaN and infinities.
func Float(v float64) (*big.Rat, error) {
	if r := new(big.Rat).SetFloat64(v); r != nil {
		return r, nil
	}
	return nil, fmt.Errorf("%w: %v", ErrNumber, v)
}

// Decimal is the exact value of a decimal text: digits, at most one point, a sign
// before it. Error ErrNumber for all else, an exponent included.
func Decimal(text string) (*big.Rat, error) {
	digits := strings.TrimLeft(text, "+-")
	if len(text)-len(digits) <= 1 && strings.Trim(digits, "0123456789.") == "" {
		if r, ok := new(big.Rat).SetString(text); ok {
			return r, nil
		}
	}
	return nil, fmt.Errorf("%w: %q", ErrNumber, text)
}

// copied is the problem with its own slices and numbers, so that later changes by
// the caller change no answer.
func (p Problem) copied() (Problem, error) {
	n := len(p.Cost)
	if p.Upper != nil && len(p.Upper) != n {
		panic(fmt.Sprintf("lp: %d costs, %d upper limits", n, len(p.Upper)))
	}
	c := Problem{Upper: make([]*big.Rat, n)}
	var err error
	if c.Cost, err = numbers("cost", p.Cost); err != nil {
		return c, err
	}
	for j := range p.Upper {
		c.Upper[j] = own(p.Upper[j])
	}
	for i, row := range p.Rows {
		if len(row.Coef) != n {
			panic(fmt.Sprintf("lp: %d costs, %d coefficients in row %d", n, len(row.Coef), i))
		}
		coef, err := numbers(fmt.Sprintf("row %d, coefficient", i), row.Coef)
		if err != nil {
			return c, err
		}
		c.Rows = append(c.Rows, Row{coef, own(row.Lower), own(row.Upper)})
	}
	return c, nil
}

func numbers(what string, x []*big.Rat) ([]*big.Rat, error) {
	y := make([]*big.Rat, len(x))
	for j := range x {
		if x[j] == nil {
			return nil, fmt.Errorf("%w: %s %d", ErrMissing, what, j)
		}
		y[j] = own(x[j])
	}
	return y, nil
}

func own(x *big.Rat) *big.Rat {
	if x == nil {
		return nil
	}
	return new(big.Rat).Set(x)
}

// times is x k, nil if there is no x.
func times(x, k *big.Rat) *big.Rat {
	if x == nil {
		return nil
	}
	return new(big.Rat).Mul(x, k)
}

func dot(a, b []*big.Rat) *big.Rat {
	sum, term := new(big.Rat), new(big.Rat)
	for i := range a {
		if a[i].Sign() != 0 && b[i].Sign() != 0 {
			sum.Add(sum, term.Mul(a[i], b[i]))
		}
	}
	return sum
}

// integers are x/unit: whole numbers without a common factor, in the proportions of
// x; unit > 0.
func integers(x []*big.Rat) (whole []*big.Int, unit *big.Rat) {
	multiple, divisor := big.NewInt(1), new(big.Int)
	g := new(big.Int)
	for _, v := range x {
		multiple.Mul(multiple, new(big.Int).Quo(v.Denom(), g.GCD(nil, nil, multiple, v.Denom())))
	}
	for _, v := range x {
		w := new(big.Int).Quo(multiple, v.Denom())
		whole = append(whole, w.Mul(w, v.Num()))
		divisor.GCD(nil, nil, divisor, new(big.Int).Abs(w))
	}
	if divisor.Sign() == 0 {
		divisor.SetInt64(1)
	}
	for _, w := range whole {
		w.Quo(w, divisor)
	}
	return whole, new(big.Rat).SetFrac(divisor, multiple)
}
