package lp

import "math/big"

var one = big.NewRat(1, 1)

// ranges are the least and the most of the first n variables over all optimal
// solutions. Those are the feasible solutions in which every variable with a
// reduced cost stays where it is (complementary slackness).
func (t *simplex) ranges(reduced []*big.Rat) ([]Range, error) {
	r := make([]Range, t.n)
	for j := range r {
		r[j] = Range{t.x[j], t.x[j]}
	}
	face, free := t.clone(), false
	for j, d := range reduced {
		if d.Sign() != 0 {
			face.lo[j], face.hi[j] = t.x[j], t.x[j]
		} else if t.row[j] < 0 && (t.lo[j] == nil || t.hi[j] == nil || t.lo[j].Cmp(t.hi[j]) < 0) {
			free = true
		}
	}
	if !free {
		return r, nil
	}
	for j := range r {
		if reduced[j].Sign() != 0 {
			continue
		}
		var err error
		if r[j].Lo, err = face.extreme(j, 1); err != nil {
			return nil, err
		}
		if r[j].Hi, err = face.extreme(j, -1); err != nil {
			return nil, err
		}
	}
	return r, nil
}

// extreme is the least (sign 1) or most (-1) of a variable, nil without end.
func (t *simplex) extreme(j, sign int) (*big.Rat, error) {
	cost := make([]*big.Int, t.n)
	for k := range cost {
		cost[k] = new(big.Int)
	}
	cost[j].SetInt64(int64(sign))
	if ray := t.minimise(cost); ray != nil {
		return nil, t.certifyRay(ray, cost)
	}
	if err := t.certify(cost, one); err != nil {
		return nil, err
	}
	return t.x[j], nil
}

// dualRanges are the least and the most of each row's dual over all optimal duals.
// Unless a basic variable is at a bound there is only one. Else they are the
// change of cost when the bounds of the row go down and up, which is the least
// cost of a step away from x:
//
//	least c'step, step in the cone of the bounds that x is at, the row's own moved by -1 or 1
func (t *simplex) dualRanges(cost []*big.Int, unit *big.Rat, dual []*big.Rat) ([]Range, error) {
	r := make([]Range, t.m)
	for i := range r {
		r[i] = Range{dual[i], dual[i]}
	}
	at := func(j int) (lo, hi bool) {
		return t.lo[j] != nil && t.x[j].Cmp(t.lo[j]) == 0, t.hi[j] != nil && t.x[j].Cmp(t.hi[j]) == 0
	}
	single := true
	for _, j := range t.basis {
		lo, hi := at(j)
		single = single && !lo && !hi
	}
	if single {
		return r, nil
	}
	for i := range r {
		lo, hi := at(t.n + i)
		if !lo && !hi {
			continue
		}
		for _, sign := range []int64{-1, 1} {
			cone := t.clone()
			for j := range cone.x {
				cone.lo[j], cone.hi[j], cone.x[j] = nil, nil, nil
				if lo, hi := at(j); lo || hi {
					cone.lo[j], cone.hi[j] = bound(lo, 0), bound(hi, 0)
				}
			}
			cone.lo[t.n+i], cone.hi[t.n+i] = bound(lo, sign), bound(hi, sign)
			cone.settle()
			var slope *big.Rat
			if cone.findFeasible() {
				if cone.minimise(cost) != nil {
					return nil, fails("a step from the optimal solution lowers the cost")
				}
				if err := cone.certify(cost, unit); err != nil {
					return nil, err
				}
				slope = new(big.Rat)
				for j, c := range cost {
					slope.Add(slope, new(big.Rat).Mul(new(big.Rat).SetInt(c), cone.x[j]))
				}
				slope.Mul(slope, unit).Mul(slope, t.scale[i]).Mul(slope, big.NewRat(sign, 1))
			} else if err := cone.refuted(); err != nil {
				return nil, err
			}
			if sign < 0 {
				r[i].Lo = slope
			} else {
				r[i].Hi = slope
			}
		}
	}
	return r, nil
}

func bound(there bool, at int64) *big.Rat {
	if !there {
		return nil
	}
	return big.NewRat(at, 1)
}
