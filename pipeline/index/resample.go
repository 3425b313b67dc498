package index

import (
	"math"
	"math/rand/v2"
	"slices"
	"sync"

	"gonum.org/v1/gonum/stat/distuv"
)

// Statistic computes an estimate from the units at the given positions (a position
// may come more than once). NaN = none.
type Statistic func(at []int) float64

// Interval is a range with its estimate and what it rests on.
type Interval struct {
	Estimate, SE float64
	Lo, Hi       float64   // NaN where no range can be said
	N            int       // units, or replicates
	Values       []float64 // the estimate without each unit
}

// Jackknife leaves out each of n units (outlets, say) in turn.
//
//	SE^2 = (n-1)/n sum (theta_(i) - mean theta_(i))^2,  range = theta -/+ t_(n-1) SE
//
// level is the range's probability (0.95). Fewer than two units, or an estimate
// that is NaN with or without a unit: SE, Lo and Hi NaN. Sources: Efron and
// Tibshirani 1993, ch. 11; Student t with n-1 degrees, Tukey 1958.
func Jackknife(n int, level float64, stat Statistic) Interval {
	all := make([]int, n)
	for i := range all {
		all[i] = i
	}
	values := make([]float64, n)
	for i := range n {
		values[i] = stat(slices.Delete(slices.Clone(all), i, i+1))
	}
	return JackknifeOf(stat(all), values, level)
}

// JackknifeOf is Jackknife of an estimate whose values without each unit are known.
func JackknifeOf(estimate float64, values []float64, level float64) Interval {
	n := len(values)
	x := Interval{Estimate: estimate, SE: nan, Lo: nan, Hi: nan, N: n, Values: values}
	if n < 2 {
		return x
	}
	x.SE = math.Sqrt(float64(n-1) * variance(x.Values))
	t := studentT(n-1, (1+level)/2)
	x.Lo, x.Hi = x.Estimate-t*x.SE, x.Estimate+t*x.SE
	return x
}

// studentT is a quantile of Student's t; the few that a run asks for are kept,
// because each takes longer than the rest of a jackknife.
func studentT(degrees int, prob float64) float64 {
	type key struct {
		degrees int
		prob    float64
	}
	k := key{degrees, prob}
	if t, ok := seenT.Load(k); ok {
		return t.(float64)
	}
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(degrees)}.Quantile(prob)
	seenT.Store(k, t)
	return t
}

var seenT sync.Map

// variance is the population variance, divisor n.
func variance(x []float64) float64 {
	m, s := sum(x)/float64(len(x)), 0.0
	for _, v := range x {
		s += (v - m) * (v - m)
	}
	return s / float64(len(x))
}

// Bootstrap is the statistic of `replicates` samples of n units drawn with
// replacement; the same seed gives the same replicates. Nil if n < 1. Source: Efron
// and Tibshirani 1993, ch. 6.
func Bootstrap(n, replicates int, seed uint64, stat Statistic) []float64 {
	if n < 1 {
		return nil
	}
	rng := rand.New(rand.NewPCG(seed, 0))
	out, at := make([]float64, replicates), make([]int, n)
	for k := range out {
		for i := range at {
			at[i] = rng.IntN(n)
		}
		out[k] = stat(at)
	}
	return out
}

// BootstrapExact is the statistic of all n^n samples of n units. Panics if n > 8
// (16.8 million samples). Source: Efron and Tibshirani 1993, ch. 6.
func BootstrapExact(n int, stat Statistic) []float64 {
	if n > 8 {
		panic("index: too many samples, use Bootstrap")
	}
	var out []float64
	at := make([]int, n)
	for n > 0 {
		out = append(out, stat(at))
		i := n - 1
		for ; i >= 0 && at[i] == n-1; i-- {
			at[i] = 0
		}
		if i < 0 {
			break
		}
		at[i]++
	}
	return out
}

// Percentile is the range between quantiles (type 7) of bootstrap replicates; SE is
// their population standard deviation. NaN replicates are left out, N counts the
// rest; none: NaN. Source: Efron and Tibshirani 1993, ch. 13.
func Percentile(estimate float64, replicates []float64, level float64) Interval {
	return quantiles(estimate, replicates, (1-level)/2, (1+level)/2)
}

func quantiles(estimate float64, replicates []float64, lo, hi float64) Interval {
	s := present(replicates)
	slices.Sort(s)
	return Interval{Estimate: estimate, SE: math.Sqrt(variance(s)), N: len(s),
		Lo: quantileSorted(s, lo), Hi: quantileSorted(s, hi)}
}

// Basic turns the percentile range around the estimate: Lo = 2 estimate - upper
// quantile, Hi = 2 estimate - lower. Source: Davison and Hinkley 1997, section 5.2
// (from memory).
func Basic(estimate float64, replicates []float64, level float64) Interval {
	x := Percentile(estimate, replicates, level)
	x.Lo, x.Hi = 2*estimate-x.Hi, 2*estimate-x.Lo
	return x
}

// BCaInterval is a bias-corrected and accelerated range with its two constants and
// the probabilities at which the replicates' quantiles were taken.
type BCaInterval struct {
	Interval
	Z0, Acceleration float64
	Levels           [2]float64
}

// BCa corrects the percentile range for bias and skewness.
//
//	z0 = Phi^-1(share of replicates below the estimate)
//	a  = sum d^3 / (6 (sum d^2)^1.5),  d = mean of jackknife values - value
//	probabilities Phi(z0 + (z0 + z)/(1 - a (z0 + z))), z = the normal quantiles
//
// Undefined (all replicates on one side, or jackknife values all equal): the
// percentile range, with Z0 and Acceleration NaN. Source: Efron and Tibshirani
// 1993, ch. 14.
func BCa(estimate float64, replicates, jackknife []float64, level float64) BCaInterval {
	z := [2]float64{(1 - level) / 2, (1 + level) / 2}
	x := BCaInterval{Interval: Percentile(estimate, replicates, level), Z0: nan, Acceleration: nan, Levels: z}
	below := 0.0
	for _, r := range replicates {
		if r < estimate {
			below++
		}
	}
	m := sum(jackknife) / float64(len(jackknife))
	d2, d3 := 0.0, 0.0
	for _, v := range jackknife {
		d2 += (m - v) * (m - v)
		d3 += (m - v) * (m - v) * (m - v)
	}
	if below == 0 || below == float64(x.N) || !(d2 > 0) {
		return x
	}
	normal := distuv.UnitNormal
	z0, a := normal.Quantile(below/float64(x.N)), d3/(6*math.Pow(d2, 1.5))
	for i := range z {
		b := z0 + normal.Quantile(z[i])
		x.Levels[i] = normal.CDF(z0 + b/(1-a*b))
	}
	x.Interval = quantiles(estimate, replicates, x.Levels[0], x.Levels[1])
	x.Z0, x.Acceleration = z0, a
	return x
}
