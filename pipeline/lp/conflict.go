package lp

import "math/big"

// crossed says whether a lower bound is above its upper, or an upper limit below 0.
func crossed(p Problem) bool {
	for _, row := range p.Rows {
		if row.Lower != nil && above(row.Lower, row.Upper) {
			return true
		}
	}
	for _, u := range p.Upper {
		if u != nil && u.Sign() < 0 {
			return true
		}
	}
	return false
}

// infeasible narrows the conflict of an infeasible problem down by leaving out one
// constraint after the other (deletion filter): without it still infeasible, it is
// not needed, nor is any that the new proof does not use. Limits of variables are
// tried first, then upper bounds of rows, so that lower bounds stay where there is a
// choice. It returns *Infeasible with its certificate checked, or ErrCertificate.
func infeasible(p Problem) error {
	type constraint struct {
		side  Bound
		index int
	}
	kept, needed := proof(p), map[constraint]bool{}
	for _, side := range []Bound{VariableUpper, RowUpper, RowLower} {
		for k := 0; k < len(kept); k++ {
			c := constraint{kept[k].Bound, kept[k].Index}
			if c.side != side || needed[c] {
				continue
			}
			rest := append(append([]Member{}, kept[:k]...), kept[k+1:]...)
			if smaller := proof(only(p, rest)); smaller != nil {
				kept, k = smaller, -1
			} else {
				needed[c] = true // by every conflict within kept
			}
		}
	}
	e := &Infeasible{kept}
	if err := e.Certify(p); err != nil {
		return err
	}
	return e
}

// only is the problem with no constraints but these.
func only(p Problem, members []Member) Problem {
	q := Problem{Cost: p.Cost, Upper: make([]*big.Rat, len(p.Cost)), Rows: make([]Row, len(p.Rows))}
	for i := range p.Rows {
		q.Rows[i].Coef = p.Rows[i].Coef
	}
	for _, m := range members {
		switch m.Bound {
		case RowLower:
			q.Rows[m.Index].Lower = p.Rows[m.Index].Lower
		case RowUpper:
			q.Rows[m.Index].Upper = p.Rows[m.Index].Upper
		case VariableUpper:
			q.Upper[m.Index] = p.Upper[m.Index]
		}
	}
	return q
}

// proof is constraints that cannot be met together, nil if all can.
func proof(p Problem) []Member {
	for i, row := range p.Rows {
		if row.Lower != nil && above(row.Lower, row.Upper) {
			return []Member{{RowLower, i, one}, {RowUpper, i, one}}
		}
	}
	for j := range p.Cost {
		if u := p.upper(j); u != nil && u.Sign() < 0 {
			return []Member{{VariableUpper, j, one}}
		}
	}
	var used []int
	q := Problem{Cost: p.Cost, Upper: p.Upper}
	for i, row := range p.Rows {
		if row.Lower != nil || row.Upper != nil {
			used, q.Rows = append(used, i), append(q.Rows, row)
		}
	}
	t := newSimplex(q)
	if t.findFeasible() {
		return nil
	}
	list := t.conflict()
	for k, m := range list {
		if m.Bound != VariableUpper {
			list[k].Index = used[m.Index]
		}
	}
	return list
}

// refutation weighs all variables so that their sum is always 0, though the bounds
// on the side of the weights make it positive: those of findFeasible's last basis,
// in which no move brings the variables outside nearer to their bounds.
func (t *simplex) refutation() []*big.Rat {
	w := t.reduced(t.infeasible, one)
	for _, j := range t.basis {
		w[j] = new(big.Rat).SetInt(new(big.Int).Neg(t.infeasible[j]))
	}
	return w
}

// conflict is the bounds that the refutation weighs, but for x >= 0, by rows, then
// variables.
func (t *simplex) conflict() (list []Member) {
	w := t.refutation()
	for i := range t.m {
		if d := new(big.Rat).Mul(w[t.n+i], t.scale[i]); d.Sign() > 0 {
			list = append(list, Member{RowLower, i, d})
		} else if d.Sign() < 0 {
			list = append(list, Member{RowUpper, i, d.Neg(d)})
		}
	}
	for j := range t.n {
		if w[j].Sign() < 0 {
			list = append(list, Member{VariableUpper, j, new(big.Rat).Neg(w[j])})
		}
	}
	return list
}

// refuted checks the refutation against the bounds.
func (t *simplex) refuted() error {
	w, sum := t.refutation(), new(big.Rat)
	for j, d := range w {
		at := t.lo[j]
		if d.Sign() < 0 {
			at = t.hi[j]
		}
		if d.Sign() != 0 && at == nil {
			return fails("variable %d has no such bound", j)
		}
		if d.Sign() != 0 {
			sum.Add(sum, new(big.Rat).Mul(d, at))
		}
		// The weights are a combination of the equations, so that they add up to 0.
		if j < t.n {
			total := new(big.Rat).Set(d)
			for _, e := range t.column[j] {
				total.Sub(total, new(big.Rat).Mul(w[t.n+e.row], new(big.Rat).SetInt(e.value)))
			}
			if total.Sign() != 0 {
				return fails("the weights of variable %d are no combination of the rows", j)
			}
		}
	}
	if sum.Sign() <= 0 {
		return fails("the bounds do not contradict each other")
	}
	return nil
}
