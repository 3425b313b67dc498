package lp

import (
	"fmt"
	"math/big"
)

// The checks of this file use only the problem as given and the answer: no basis, no
// pivots. All comparisons are exact.

func fails(format string, a ...any) error {
	return fmt.Errorf("%w: %s", ErrCertificate, fmt.Sprintf(format, a...))
}

// Certify checks that the solution is feasible and that its duals prove it least:
//
//	0 <= x <= upper, lower <= Ax <= upper
//	Reduced = c - A'Dual
//	Dual > 0 only on a row with a lower bound, Dual < 0 with an upper; Reduced < 0 with an upper limit
//	c'x = sum Dual>0 Dual lower + sum Dual<0 Dual upper + sum Reduced<0 Reduced upper
//
// Then no feasible x costs less (weak duality). Error ErrCertificate.
func (s *Solution) Certify(p Problem) error {
	if len(s.X) != len(p.Cost) || len(s.Reduced) != len(p.Cost) || len(s.Dual) != len(p.Rows) || len(s.Activity) != len(p.Rows) {
		return fails("%d variables and %d rows for a problem of %d and %d", len(s.X), len(s.Dual), len(p.Cost), len(p.Rows))
	}
	if err := p.feasible(s.X); err != nil {
		return err
	}
	bound, dual := new(big.Rat), s.Dual
	add := func(weight, at *big.Rat) { bound.Add(bound, new(big.Rat).Mul(weight, at)) }
	for i, row := range p.Rows {
		if s.Activity[i].Cmp(dot(row.Coef, s.X)) != 0 {
			return fails("activity of row %d", i)
		}
		switch at := [...]*big.Rat{row.Upper, nil, row.Lower}[dual[i].Sign()+1]; {
		case dual[i].Sign() == 0:
		case at == nil:
			return fails("dual %v of row %d is on a bound that it does not have", dual[i], i)
		default:
			add(dual[i], at)
		}
	}
	sums := p.columnSums(dual)
	for j, sum := range sums {
		if sum.Sub(p.Cost[j], sum).Cmp(s.Reduced[j]) != 0 {
			return fails("reduced cost of variable %d", j)
		}
		if s.Reduced[j].Sign() < 0 {
			if p.upper(j) == nil {
				return fails("variable %d would lower the cost", j)
			}
			add(s.Reduced[j], p.upper(j))
		}
	}
	if cost := dot(p.Cost, s.X); cost.Cmp(s.Cost) != 0 || cost.Cmp(bound) != 0 {
		return fails("cost %v, said %v, proven %v", cost, s.Cost, bound)
	}
	return nil
}

// Certify checks the proof that the members cannot be met together: added up with
// their weights, as
//
//	w (a'x - lower) >= 0, w (upper - a'x) >= 0, w (upper - x) >= 0
//
// they say that a sum with no positive coefficient and a negative constant is >= 0,
// which no x >= 0 fulfils. That each member is needed it does not check. Error
// ErrCertificate.
func (e *Infeasible) Certify(p Problem) error {
	weights := make([]*big.Rat, len(p.Rows)) // net weight of each row's sum
	for i := range weights {
		weights[i] = new(big.Rat)
	}
	limits := make([]*big.Rat, len(p.Cost))
	constant := new(big.Rat)
	for _, m := range e.Conflict {
		if m.Weight == nil || m.Weight.Sign() <= 0 {
			return fails("weight %v of %v %d", m.Weight, m.Bound, m.Index)
		}
		var at *big.Rat
		sign := m.Weight
		switch m.Bound {
		case RowLower:
			at, sign = p.Rows[m.Index].Lower, new(big.Rat).Neg(m.Weight)
			weights[m.Index].Add(weights[m.Index], m.Weight)
		case RowUpper:
			at = p.Rows[m.Index].Upper
			weights[m.Index].Sub(weights[m.Index], m.Weight)
		case VariableUpper:
			at = p.upper(m.Index)
			if limits[m.Index] == nil {
				limits[m.Index] = new(big.Rat)
			}
			limits[m.Index].Add(limits[m.Index], m.Weight)
		}
		if at == nil {
			return fails("no %v %d", m.Bound, m.Index)
		}
		constant.Add(constant, new(big.Rat).Mul(sign, at))
	}
	for j, sum := range p.columnSums(weights) {
		if limits[j] != nil {
			sum.Sub(sum, limits[j])
		}
		if sum.Sign() > 0 {
			return fails("variable %d could close the gap", j)
		}
	}
	if constant.Sign() >= 0 {
		return fails("the constraints do not contradict each other")
	}
	return nil
}

// Certify checks that X is feasible, that every bound holds along Ray for ever, and
// that the cost falls along it. Error ErrCertificate.
func (e *Unbounded) Certify(p Problem) error {
	if err := p.feasible(e.X); err != nil {
		return err
	}
	if len(e.Ray) != len(p.Cost) {
		return fails("ray of %d variables", len(e.Ray))
	}
	for j, r := range e.Ray {
		if r.Sign() < 0 || r.Sign() > 0 && p.upper(j) != nil {
			return fails("ray leaves the bounds of variable %d", j)
		}
	}
	for i, row := range p.Rows {
		if s := dot(row.Coef, e.Ray).Sign(); s < 0 && row.Lower != nil || s > 0 && row.Upper != nil {
			return fails("ray leaves the bounds of row %d", i)
		}
	}
	if dot(p.Cost, e.Ray).Sign() >= 0 {
		return fails("cost does not fall along the ray")
	}
	return nil
}

func (p Problem) feasible(x []*big.Rat) error {
	if len(x) != len(p.Cost) {
		return fails("%d variables for a problem of %d", len(x), len(p.Cost))
	}
	for j, v := range x {
		if v.Sign() < 0 || above(v, p.upper(j)) {
			return fails("variable %d is %v", j, v)
		}
	}
	for i, row := range p.Rows {
		if v := dot(row.Coef, x); below(v, row.Lower) || above(v, row.Upper) {
			return fails("row %d is %v", i, v)
		}
	}
	return nil
}

func (p Problem) upper(j int) *big.Rat {
	if p.Upper == nil {
		return nil
	}
	return p.Upper[j]
}

// columnSums are A'w. The common denominator of w is taken out first, so that the
// sums run over small denominators.
func (p Problem) columnSums(w []*big.Rat) []*big.Rat {
	sums := make([]*big.Rat, len(p.Cost))
	whole, unit := integers(w)
	term := new(big.Rat)
	for j := range sums {
		sums[j] = new(big.Rat)
		for i, row := range p.Rows {
			if whole[i].Sign() != 0 && row.Coef[j].Sign() != 0 {
				sums[j].Add(sums[j], term.Mul(row.Coef[j], term.SetInt(whole[i])))
			}
		}
		sums[j].Mul(sums[j], unit)
	}
	return sums
}

func below(x, lo *big.Rat) bool { return lo != nil && x.Cmp(lo) < 0 }
func above(x, hi *big.Rat) bool { return hi != nil && x.Cmp(hi) > 0 }
