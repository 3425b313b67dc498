package lp

import (
	"errors"
	"math/big"
	"testing"
)

// FuzzSolve: whatever the numbers, there is no panic, no answer without a
// certificate, and the same answer again. Every byte is a small number or no bound.
func FuzzSolve(f *testing.F) {
	f.Add([]byte{2, 2, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12})
	f.Add([]byte{4, 3, 129, 150, 129, 6, 0, 0, 0, 0, 0, 1, 190, 131, 9, 0, 2, 200, 131, 3})
	f.Add([]byte{0, 1, 5, 0})
	f.Add([]byte{3, 0, 200, 1, 255, 255})
	f.Fuzz(func(t *testing.T, data []byte) {
		next := func() byte {
			if len(data) == 0 {
				return 0
			}
			b := data[0]
			data = data[1:]
			return b
		}
		number := func() *big.Rat { return big.NewRat(int64(int8(next())), int64(1+next()%3)) }
		bound := func() *big.Rat {
			if next()%3 == 0 {
				return nil
			}
			return number()
		}
		n, m := int(next()%6), int(next()%6)
		p := Problem{Upper: make([]*big.Rat, n)}
		for j := range n {
			p.Cost, p.Upper[j] = append(p.Cost, number()), bound()
		}
		for range m {
			row := Row{Lower: bound(), Upper: bound()}
			for range n {
				row.Coef = append(row.Coef, number())
			}
			p.Rows = append(p.Rows, row)
		}
		s, err := Solve(p)
		var no *Infeasible
		var without *Unbounded
		switch {
		case errors.As(err, &no):
			checkConflict(t, p, no)
		case errors.As(err, &without):
			if err := without.Certify(p); err != nil {
				t.Error(err)
			}
		case err != nil:
			t.Fatal(err)
		default:
			if err := s.Certify(p); err != nil {
				t.Error(err)
			}
			again, err := Solve(p)
			if err != nil || show(again.X) != show(s.X) || showRanges(again.DualRange) != showRanges(s.DualRange) {
				t.Error("another answer the second time")
			}
			for i, row := range p.Rows { // the row as it is: the same cost
				if c, err := s.CostWith(i, row.Lower, row.Upper); err != nil || c.Cmp(s.Cost) != 0 {
					t.Errorf("row %d: got %v, %v, want %v", i, c, err, s.Cost)
				}
			}
			for j, r := range s.XRange {
				if below(s.X[j], r.Lo) || above(s.X[j], r.Hi) {
					t.Errorf("variable %d: %v outside %v", j, s.X[j], r)
				}
			}
		}
	})
}
