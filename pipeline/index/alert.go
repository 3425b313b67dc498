package index

import "math"

// Anomaly is the indicator of food price anomalies of one month with its parts.
type Anomaly struct {
	Value             float64 // 0.4 Quarterly + 0.6 Annual
	Quarterly, Annual float64 // growth rates in standard deviations
	N                 int     // years of this month behind them
}

// IFPAOptions choose between variants of the weighted standard deviation.
type IFPAOptions struct {
	Linear      bool // years weigh 1, 2, ..., n, the latest most; else equally
	Reliability bool // variance over (n-1)/n; else the population variance
}

// IFPA is the indicator of food price anomalies of month t (SDG 2.c.1): its
// compound growth per month over 3 and over 12 months, standardised over the same
// calendar month of every year with 12 months of history, up to and with t.
//
//	0.4 (CQGR_t - mean)/SD + 0.6 (CAGR_t - mean)/SD
//
// x is a monthly series from any month. A year whose growth cannot be computed is
// left out; month t itself without growth, fewer than two years, or no variation:
// NaN with N. The yearly indicator is the mean of the months'. Source: FAO 2017
// (Baquedano), equations 1, 3 and 4; year weights and SD from memory.
func IFPA(x []float64, t int, o IFPAOptions) Anomaly {
	a := Anomaly{Value: nan, Quarterly: nan, Annual: nan}
	if t < 12 || t >= len(x) {
		return a
	}
	var quarter, year, w []float64
	for s := 12 + t%12; s <= t; s += 12 {
		cq, ca := CompoundGrowth(x[s-3], x[s], 3), CompoundGrowth(x[s-12], x[s], 12)
		switch {
		case !math.IsNaN(cq + ca):
			quarter, year = append(quarter, cq), append(year, ca)
			w = append(w, 1)
			if o.Linear {
				w[len(w)-1] = float64(len(w))
			}
		case s == t:
			return a
		}
	}
	if a.N = len(w); a.N < 2 {
		return a
	}
	score := func(g []float64) float64 {
		m := PowerMean(g, w, 1)
		d := make([]float64, len(g))
		for i := range g {
			d[i] = (g[i] - m) * (g[i] - m)
		}
		v := PowerMean(d, w, 1)
		if o.Reliability {
			v /= float64(a.N-1) / float64(a.N)
		}
		if !(v > 0) {
			return nan
		}
		return (g[len(g)-1] - m) / math.Sqrt(v)
	}
	a.Quarterly, a.Annual = score(quarter), score(year)
	a.Value = 0.4*a.Quarterly + 0.6*a.Annual
	return a
}

// IFPAClass names an anomaly: abnormally_high from 1, moderately_high from 0.5,
// else normal; "" for NaN. Source: FAO, SDG 2.c.1 metadata (0.5 from memory).
func IFPAClass(x float64) string {
	return class(x, "normal", []float64{0.5, 1}, "moderately_high", "abnormally_high")
}

// PriceSpike is the alert for price spikes of a series.
type PriceSpike struct {
	Fitted, ALPS []float64 // NaN where there is no price
	SD           float64   // of the residuals, divisor n - 1
	N            int
}

// ALPS is the alert for price spikes: how far each price lies above its trend and
// season, in standard deviations of such distances.
//
//	price = a + b t + month dummies + e (least squares);  ALPS = e / SD(e), divisor n - 1
//
// x is monthly from any month; NaN months are left out. Errors: ErrRank if there
// are fewer than 14 prices or a calendar month has none. No variation: ALPS NaN.
// Source: World Food Programme 2014, ALPS technical guidance note.
func ALPS(x []float64) (PriceSpike, error) {
	design := make([][]float64, len(x))
	for t := range x {
		design[t] = make([]float64, 13)
		design[t][0], design[t][1] = 1, float64(t+1)
		if m := t % 12; m > 0 {
			design[t][1+m] = 1
		}
	}
	fit, err := WLS(design, x, nil)
	if err != nil {
		return PriceSpike{N: fit.N}, err
	}
	e := present(fit.Residual) // their mean is 0: there is a constant
	a := PriceSpike{fit.Fitted, make([]float64, len(x)), math.Sqrt(dot(e, e) / float64(len(e)-1)), fit.N}
	for t, r := range fit.Residual {
		a.ALPS[t] = r / a.SD
	}
	return a, nil
}

// ALPSClass names an alert: stress from 0.25, alert from 1, crisis from 2, else
// normal; "" for NaN. Source: World Food Programme 2014 (thresholds from memory).
func ALPSClass(x float64) string {
	return class(x, "normal", []float64{0.25, 1, 2}, "stress", "alert", "crisis")
}

// class is the name of the highest threshold reached.
func class(x float64, name string, from []float64, names ...string) string {
	if math.IsNaN(x) {
		return ""
	}
	for i := range from {
		if x >= from[i] {
			name = names[i]
		}
	}
	return name
}
