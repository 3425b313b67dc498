package index

import (
	"math"
	"slices"
)

// Quantile is the sample quantile of x at probability prob, definition 7: linear
// between order statistics, at h = (n-1) prob counted from 0.
//
// NaN values are left out; none left, or prob outside [0, 1]: NaN. Source: Hyndman
// and Fan 1996, definition 7.
func Quantile(x []float64, prob float64) float64 {
	s := present(x)
	slices.Sort(s)
	return quantileSorted(s, prob)
}

func quantileSorted(s []float64, prob float64) float64 {
	if len(s) == 0 || !(prob >= 0 && prob <= 1) {
		return nan
	}
	h := float64(len(s)-1) * prob
	k := int(h)
	if k == len(s)-1 {
		return s[k]
	}
	return s[k] + (h-float64(k))*(s[k+1]-s[k])
}

// Median is the middle value, of an even number the mean of the middle two. NaN
// values are left out; none left: NaN.
func Median(x []float64) float64 { return Quantile(x, 0.5) }

// MAD is the median distance from the median, unscaled; times 1.4826 it estimates
// the standard deviation of normal data (constant 1/Phi^-1(3/4), Hampel 1974, from
// memory). NaN values are left out; none left: NaN.
func MAD(x []float64) float64 {
	m := Median(x)
	d := make([]float64, len(x))
	for i := range x {
		d[i] = math.Abs(x[i] - m)
	}
	return Median(d)
}

// Mean is the arithmetic mean. NaN values are left out; none left: NaN.
func Mean(x []float64) float64 {
	s := present(x)
	return sum(s) / float64(len(s))
}

// present is a copy of x without NaN.
func present(x []float64) []float64 {
	s := make([]float64, 0, len(x))
	for _, v := range x {
		if !math.IsNaN(v) {
			s = append(s, v)
		}
	}
	return s
}
