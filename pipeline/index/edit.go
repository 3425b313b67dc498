package index

import "math"

// Edit marks values that fall outside limits drawn from the values themselves. It
// flags, it never deletes.
type Edit struct {
	Lower, Upper float64 // outside = strictly beyond; NaN if nothing was there
	Outside      []bool  // in the caller's order; false for NaN
	N            int     // values looked at
}

func edit(x []float64, lower, upper float64) Edit {
	e := Edit{lower, upper, make([]bool, len(x)), len(present(x))}
	for i, v := range x {
		e.Outside[i] = v < lower || v > upper
	}
	return e
}

// The rules below edit price relatives (current over previous price) or any other
// values; NaN is left out. Sources: CPI Manual 2020, par. 5.113 to 5.135; Rais
// 2008, Outlier detection for the CPI; quantiles are type 7.

// FixedCutoff keeps lower <= x <= upper.
func FixedCutoff(x []float64, lower, upper float64) Edit { return edit(x, lower, upper) }

// QuartileMethod draws limits from the distance of each quartile to the median.
//
//	med - c max(med - q1, a |med|),  med + c max(q3 - med, a |med|)
//
// The floor a keeps small changes in when most relatives are 1 (a = 0.05 in the
// edit of Hidiroglou and Berthelot).
func QuartileMethod(x []float64, c, a float64) Edit {
	lower, upper := quartileLimits(x, c, a)
	return edit(x, lower, upper)
}

func quartileLimits(x []float64, c, a float64) (lower, upper float64) {
	m := Median(x)
	floor := a * math.Abs(m)
	return m - c*math.Max(m-Quantile(x, .25), floor), m + c*math.Max(Quantile(x, .75)-m, floor)
}

// ResistantFences draws limits q1 - c (q3 - q1) and q3 + c (q3 - q1). Source: Tukey
// 1977, Exploratory Data Analysis (c = 1.5 and 3 there).
func ResistantFences(x []float64, c float64) Edit {
	q1, q3 := Quantile(x, .25), Quantile(x, .75)
	return edit(x, q1-c*(q3-q1), q3+c*(q3-q1))
}

// RobustZ draws limits med -/+ c 1.4826 MAD.
func RobustZ(x []float64, c float64) Edit {
	m, s := Median(x), 1.4826*MAD(x)
	return edit(x, m-c*s, m+c*s)
}

// TukeyEdit is an Edit with the three means behind it.
type TukeyEdit struct {
	Edit
	MidMean, LowerMidMean, UpperMidMean float64
}

// Tukey sets aside relatives below the quantile trim and above 1 - trim, and those
// equal to 1; takes the mean of the rest, and the means of its halves at or below
// and at or above; limits = mean -/+ c times the distance to them. The two tails
// set aside are flagged too, even inside the limits. Nothing left: only the tails.
func Tukey(x []float64, c, trim float64) TukeyEdit {
	lo, hi := Quantile(x, trim), Quantile(x, 1-trim)
	rest := keep(x, func(v float64) bool { return v >= lo && v <= hi && v != 1 })
	m := Mean(rest)
	lower := Mean(keep(rest, func(v float64) bool { return v <= m }))
	upper := Mean(keep(rest, func(v float64) bool { return v >= m }))
	e := TukeyEdit{edit(x, m-c*(m-lower), m+c*(upper-m)), m, lower, upper}
	for i, v := range x {
		e.Outside[i] = e.Outside[i] || v < lo || v > hi
	}
	return e
}

func keep(x []float64, test func(float64) bool) []float64 {
	var k []float64
	for _, v := range x {
		if test(v) {
			k = append(k, v)
		}
	}
	return k
}

// HBTransform makes ratios symmetric around their median m.
//
//	s = 1 - m/r if r < m, else r/m - 1
func HBTransform(r []float64, m float64) []float64 {
	s := make([]float64, len(r))
	for i, v := range r {
		if s[i] = v/m - 1; v < m {
			s[i] = 1 - m/v
		}
	}
	return s
}

// HBEdit is an Edit of the scores E; Lower and Upper are limits of E.
type HBEdit struct {
	Edit
	Median float64 // of the ratios y1/y0
	E      []float64
}

// HidiroglouBerthelot edits pairs of values by their ratio, r = y1/y0, and size.
//
//	E = s max(y0, y1)^u,  s = HBTransform(r, median r)
//	limits of E: QuartileMethod with c and a
//
// u = 0 ignores size, 1 lets it count in full; a and c as there (0.05 and 4 to 40 in
// use). A pair with a NaN, or a value not positive, has E = NaN and is not edited.
// Panics if the lengths differ. Source: Hidiroglou and Berthelot 1986, Survey
// Methodology 12, 73-83.
func HidiroglouBerthelot(y0, y1 []float64, u, a, c float64) HBEdit {
	sameLength("y1", len(y0), y1)
	r := make([]float64, len(y0))
	for i := range r {
		if r[i] = y1[i] / y0[i]; !(y0[i] > 0 && y1[i] > 0) {
			r[i] = nan
		}
	}
	m := Median(r)
	e := HBScore(y0, y1, m, u)
	lower, upper := quartileLimits(e, c, a)
	return HBEdit{edit(e, lower, upper), m, e}
}

// HBScore is E of HidiroglouBerthelot for a given median ratio m.
func HBScore(y0, y1 []float64, m, u float64) []float64 {
	sameLength("y1", len(y0), y1)
	e := make([]float64, len(y0))
	for i := range e {
		e[i] = nan
		if y0[i] > 0 && y1[i] > 0 {
			e[i] = HBTransform([]float64{y1[i] / y0[i]}, m)[0] * math.Pow(math.Max(y0[i], y1[i]), u)
		}
	}
	return e
}
