package index

import "fmt"

// Multilateral is the form of every index of more than two periods or regions.
//
// p[t][i] and q[t][i] are prices and quantities of product i in row t (q may be nil
// where the method reads none). Index is 1 in the first row. N counts the row's
// products that carry it, Of those priced in the row (of a link: in either row),
// Share is N's part of the value (or count) of Of.
type Multilateral func(p, q [][]float64) ([]Result, error)

// Direct compares each row with the first by formula f. A row that has nothing to
// compare with the first (no shared product, or none bought) is NaN. Errors:
// *ValueError with the row. Source: CPI Manual 2004, ch. 19 (fixed base indexes).
func Direct(f Bilateral) Multilateral {
	return series(f, false)
}

// Chained multiplies links from each row to the next; N, Of and Share are the
// link's. A link with nothing to compare makes its row and all after it NaN: the
// chain is not mended in silence. Errors as Direct. Source: CPI Manual 2004, ch. 19
// (chained indexes).
func Chained(f Bilateral) Multilateral {
	return series(f, true)
}

func series(f Bilateral, chained bool) Multilateral {
	return func(p, q [][]float64) ([]Result, error) {
		if err := checkPanel(p, q); err != nil {
			return nil, err
		}
		rows := make([]Result, len(p))
		for t := range p {
			b := 0
			if chained {
				b = max(t-1, 0)
			}
			r, err := f(p[b], p[t], row(q, b), row(q, t))
			if err != nil && !incomparable(err) {
				return nil, fmt.Errorf("row %d: %w", t, err)
			}
			if chained && t > 0 {
				r.Index *= rows[t-1].Index
			}
			rows[t] = r
		}
		return rows, nil
	}
}

func row(q [][]float64, t int) []float64 {
	if q == nil {
		return nil
	}
	return q[t]
}

// checkPanel panics if the rows differ in length and reports the first number that
// no price or quantity can be.
func checkPanel(p, q [][]float64) error {
	if q != nil && len(q) != len(p) {
		panic("index: p and q differ in rows")
	}
	for t := range p {
		sameLength("row of p", len(p[0]), p[t])
		if q != nil {
			sameLength("row of q", len(p[0]), q[t])
		}
		for i := range p[t] {
			if _, err := value(p[t], row(q, t), i); err != nil {
				return fmt.Errorf("row %d: %w", t, err)
			}
		}
	}
	return nil
}

// checkQuantities is checkPanel where quantities are needed.
func checkQuantities(p, q [][]float64) error {
	if q == nil && len(p) > 0 {
		panic("index: quantities needed")
	}
	return checkPanel(p, q)
}
