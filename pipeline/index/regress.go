package index

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// ErrRank: the regressors do not determine the coefficients. Cure: more
// observations, or leave out a regressor that the others add up to.
var ErrRank = errors.New("fewer independent observations than coefficients, or a regressor that others add up to")

// Fit is a least squares regression with what it rests on.
type Fit struct {
	Coef     []float64
	SE       []float64 // standard errors of Coef; NaN without degrees of freedom
	Fitted   []float64
	Residual []float64 // y - Fitted
	N, DF    int       // observations with weight; N less coefficients
	S        float64   // sqrt(sum w residual^2 / DF)
}

// WLS is weighted least squares, min sum w (y - x b)^2.
//
// x[k] holds the regressors of observation k (give a 1 for a constant), y its
// value, w its weight, nil = equal. An observation with a NaN or weight zero is left
// out (its Fitted may still exist, its Residual not). var(b) = S^2 (X'WX)^-1. By QR
// of the rows times sqrt(w). Errors: ErrRank; *ValueError for a weight below zero or
// infinite. Panics if lengths differ. Source: Golub and Van Loan, Matrix Computations, section 6.1.
func WLS(x [][]float64, y, w []float64) (Fit, error) {
	sameLength("y", len(x), y)
	if w != nil {
		sameLength("w", len(x), w)
	}
	f := Fit{Fitted: filled(len(x), nan), Residual: filled(len(x), nan)}
	cols := columns(x)
	root := filled(len(x), 1) // of the weight; 0 = left out
	var a, b []float64
	for k := range x {
		sameLength("row of x", cols, x[k])
		if w != nil && (w[k] < 0 || math.IsInf(w[k], 1)) {
			return f, &ValueError{"weight", k, w[k], "a number not below zero"}
		}
		if w != nil {
			root[k] = math.Sqrt(w[k])
		}
		if len(present(x[k])) < cols || !(root[k] > 0) || math.IsNaN(y[k]) {
			root[k] = 0
			continue
		}
		for _, v := range x[k] {
			a = append(a, root[k]*v)
		}
		b = append(b, root[k]*y[k])
		f.N++
	}
	f.DF = f.N - cols
	if f.DF < 0 || cols == 0 {
		return f, ErrRank
	}
	var qr mat.QR
	qr.Factorize(mat.NewDense(f.N, cols, a))
	if qr.Cond() > 1e12 {
		return f, ErrRank
	}
	var c mat.VecDense
	if err := qr.SolveVecTo(&c, false, mat.NewVecDense(f.N, b)); err != nil {
		return f, ErrRank
	}
	f.Coef = c.RawVector().Data
	ss := 0.0
	for k := range x {
		f.Fitted[k] = dot(x[k], f.Coef)
		if root[k] > 0 {
			f.Residual[k] = y[k] - f.Fitted[k]
			ss += root[k] * f.Residual[k] * root[k] * f.Residual[k]
		}
	}
	f.S, f.SE = nan, filled(cols, nan)
	if f.DF == 0 {
		return f, nil
	}
	f.S = math.Sqrt(ss / float64(f.DF))
	// (X'WX)^-1 = R^-1 R^-T: the squared lengths of the rows of R^-1.
	var r, inverse mat.Dense
	qr.RTo(&r)
	if err := inverse.Inverse(r.Slice(0, cols, 0, cols)); err != nil {
		return f, ErrRank
	}
	for k := range cols {
		f.SE[k] = f.S * mat.Norm(inverse.RowView(k), 2)
	}
	return f, nil
}
