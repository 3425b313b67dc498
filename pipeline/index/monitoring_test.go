package index

import (
	"math"
	"strconv"
	"testing"
)

func TestPublishedMonitoring(t *testing.T) {
	relatives := func(t *testing.T, in input) []float64 {
		if in.has("x") {
			return in.vec(t, "x")
		}
		var r []float64
		for _, v := range in.vec(t, "log_relative") {
			r = append(r, math.Exp(v))
		}
		return r
	}
	edited := func(e Edit) map[string]any {
		return map[string]any{"lower": e.Lower, "upper": e.Upper, "outliers": e.Outside}
	}
	checkTopic(t, "index_monitoring.json", 46, answers{
		"compound_growth": func(t *testing.T, in input) map[string]any {
			now := in.num(t, "p_now")
			return map[string]any{"cqgr": CompoundGrowth(in.num(t, "p_3_months_ago"), now, 3),
				"cagr": CompoundGrowth(in.num(t, "p_12_months_ago"), now, 12)}
		},
		"ifpa": func(t *testing.T, in input) map[string]any {
			var x, v []float64
			for _, year := range in.panel(t, "prices") {
				x = append(x, year...)
			}
			o := IFPAOptions{in.text("weights") == "linear", in.text("sd") == "reliability"}
			for m := len(x) - 12; m < len(x); m++ {
				v = append(v, IFPA(x, m, o).Value)
			}
			return map[string]any{"ifpa": v, "annual_mean": Mean(v)}
		},
		"ifpa_class": func(t *testing.T, in input) map[string]any {
			return map[string]any{"class": each(in.vec(t, "ifpa"), IFPAClass)}
		},
		"alps": func(t *testing.T, in input) map[string]any {
			a := must[PriceSpike](t)(ALPS(in.vec(t, "prices")))
			return map[string]any{"fitted": a.Fitted, "alps": a.ALPS, "sd": a.SD, "class": each(a.ALPS, ALPSClass)}
		},
		"alps_class": func(t *testing.T, in input) map[string]any {
			return map[string]any{"class": each(in.vec(t, "alps"), ALPSClass)}
		},
		"hb_score": func(t *testing.T, in input) map[string]any {
			y1, y2, u := in.vec(t, "y1"), in.vec(t, "y2"), in.num(t, "U")
			return map[string]any{"ratio": y2[0] / y1[0], "size": math.Pow(math.Max(y1[0], y2[0]), u),
				"E": HBScore(y1, y2, in.num(t, "ratio_median"), u)[0]}
		},
		"hb_edit": func(t *testing.T, in input) map[string]any {
			e := HidiroglouBerthelot(in.vec(t, "y1"), in.vec(t, "y2"), in.num(t, "U"), in.num(t, "A"), in.num(t, "C"))
			got := edited(e.Edit)
			got["ratio_median"], got["E"] = e.Median, e.E
			got["E_quartiles"] = []float64{Quantile(e.E, .25), Median(e.E), Quantile(e.E, .75)}
			return got
		},
		"hb_transform": func(t *testing.T, in input) map[string]any {
			r := relatives(t, in)
			return map[string]any{"s": HBTransform(r, Median(r))}
		},
		"quartile_method": func(t *testing.T, in input) map[string]any {
			x, c := relatives(t, in), in.num(t, "c")
			got := edited(QuartileMethod(x, c, 0))
			if in.has("a") {
				a := in.vec(t, "a")
				got["outliers_without_floor"] = QuartileMethod(x, c, a[0]).Outside
				got["outliers_with_floor_5pct"] = QuartileMethod(x, c, a[1]).Outside
			}
			return got
		},
		"resistant_fences": func(t *testing.T, in input) map[string]any {
			return edited(ResistantFences(relatives(t, in), in.num(t, "c")))
		},
		"robust_z": func(t *testing.T, in input) map[string]any {
			return edited(RobustZ(relatives(t, in), in.num(t, "c")))
		},
		"tukey_algorithm": func(t *testing.T, in input) map[string]any {
			e := Tukey(relatives(t, in), in.num(t, "c"), in.num(t, "trim"))
			got := edited(e.Edit)
			got["midmean"], got["lower_midmean"], got["upper_midmean"] = e.MidMean, e.LowerMidMean, e.UpperMidMean
			return got
		},
		"fixed_cutoff": func(t *testing.T, in input) map[string]any {
			return edited(FixedCutoff(relatives(t, in), in.num(t, "lower"), in.num(t, "upper")))
		},
		"quantile": func(t *testing.T, in input) map[string]any {
			var q []float64
			for _, p := range in.vec(t, "p") {
				q = append(q, Quantile(in.vec(t, "x"), p))
			}
			return map[string]any{"q": q}
		},
		"imputation": func(t *testing.T, in input) map[string]any {
			jan := in.vec(t, "jan")
			feb := imputed(t, in)
			return map[string]any{"imputed_price": feb[1],
				"jevons_feb": 100 * must[Result](t)(Jevons(jan, feb)).Index,
				"dutot_feb":  100 * must[Result](t)(Dutot(jan, feb)).Index}
		},
		"imputation_identity": func(t *testing.T, in input) map[string]any {
			jan, feb := in.vec(t, "jan"), in.vec(t, "feb")
			got := map[string]any{}
			for name, f := range map[string]func(p0, p1 []float64) (Result, error){"jevons_matched": Jevons, "dutot_matched": Dutot} {
				x := 100 * must[Result](t)(f(jan, feb)).Index
				full, by, err := Fill(jan, feb, nil, f)
				if y := 100 * must[Result](t)(f(jan, full)).Index; math.Abs(y-x) > 1e-12*x || by[1].N != 3 {
					t.Errorf("%s: index with the filled price %v, of the matched %v (n = %d, %v)", name, y, x, by[1].N, err)
				}
				got[name] = x
			}
			return got
		},
		"imputation_return": func(t *testing.T, in input) map[string]any {
			feb := imputed(t, in)
			a := must[Result](t)(Jevons(in.vec(t, "jan"), feb)).Index
			b := must[Result](t)(Jevons(feb, in.vec(t, "mar"))).Index
			return map[string]any{"feb_over_jan": a, "mar_over_feb": b, "product": a * b}
		},
		"imputation_limit": func(t *testing.T, in input) map[string]any {
			return map[string]any{"usable": each(in.vec(t, "months_missing"), func(age float64) bool {
				return Usable(int(age), int(in.num(t, "limit")))
			})}
		},
		"stl": func(t *testing.T, in input) map[string]any {
			d := must[Decomposition](t)(STL(in.vec(t, "y"), stlOptions(t, in)))
			got := map[string]any{}
			for k, x := range map[string][]float64{"seasonal": d.Seasonal, "trend": d.Trend, "weights": d.Weight} {
				var at []float64
				for _, i := range in.vec(t, "indices_0_based") {
					at = append(at, x[int(i)])
				}
				got[k] = at
			}
			return got
		},
		"classical_decomposition": func(t *testing.T, in input) map[string]any {
			d := must[Decomposition](t)(Classical(in.vec(t, "index"), 12, in.text("model") == "multiplicative"))
			first := 0
			for math.IsNaN(d.Trend[first]) {
				first++
			}
			return map[string]any{"trend_first_non_null_0_based": first, "trend_at_6": d.Trend[6],
				"trend_at_30": d.Trend[30], "trend_at_41": d.Trend[41], "seasonal_jan_to_dec": d.Figure}
		},
		"bootstrap_exact": func(t *testing.T, in input) map[string]any {
			x := in.vec(t, "x")
			r := BootstrapExact(len(x), meanOf(x))
			i := Percentile(Mean(x), r, .95)
			bca := BCa(Mean(x), r, Jackknife(len(x), .95, meanOf(x)).Values, .95)
			return map[string]any{"n_resamples": len(r), "mean": Mean(r), "se_population": i.SE, "se": i.SE,
				"percentile_type7_2.5_97.5": []float64{i.Lo, i.Hi}, "interval": []float64{bca.Lo, bca.Hi},
				"min": Quantile(r, 0), "max": Quantile(r, 1)}
		},
		"jackknife": func(t *testing.T, in input) map[string]any {
			x := in.vec(t, "x")
			stat := map[string]Statistic{
				"mean":           meanOf(x),
				"geometric_mean": func(at []int) float64 { return PowerMean(take(x, at), nil, 0) },
				"correlation": func(at []int) float64 {
					y := in.vec(t, "y")
					return correlation(take(x, at), take(y, at))
				},
			}[in.text("statistic")]
			j := Jackknife(len(x), .95, stat)
			return map[string]any{"estimate": j.Estimate, "jackknife_values": j.Values, "se": j.SE}
		},
		"bca_interval": func(t *testing.T, in input) map[string]any {
			b := BCa(in.num(t, "estimate"), in.vec(t, "replicates"), in.vec(t, "jackknife_values"), in.num(t, "level"))
			return map[string]any{"z0": b.Z0, "acceleration": b.Acceleration,
				"levels": b.Levels[:], "interval_type7": []float64{b.Lo, b.Hi}}
		},
		"percentile_interval": func(t *testing.T, in input) map[string]any {
			p := Percentile(in.num(t, "estimate"), in.vec(t, "replicates"), in.num(t, "level"))
			b := Basic(in.num(t, "estimate"), in.vec(t, "replicates"), in.num(t, "level"))
			return map[string]any{"percentile": []float64{p.Lo, p.Hi}, "basic": []float64{b.Lo, b.Hi}}
		},
	})
}

func each[T any](x []float64, f func(float64) T) []T {
	var y []T
	for _, v := range x {
		y = append(y, f(v))
	}
	return y
}

func meanOf(x []float64) Statistic {
	return func(at []int) float64 { return Mean(take(x, at)) }
}

func correlation(x, y []float64) float64 {
	mx, my := Mean(x), Mean(y)
	var xy, xx, yy float64
	for i := range x {
		xy += (x[i] - mx) * (y[i] - my)
		xx += (x[i] - mx) * (x[i] - mx)
		yy += (y[i] - my) * (y[i] - my)
	}
	return xy / math.Sqrt(xx*yy)
}

// imputed is the February prices with the missing one filled by the method asked for.
func imputed(t *testing.T, in input) []float64 {
	t.Helper()
	jan, feb := in.vec(t, "jan"), in.vec(t, "feb")
	var class []int
	f := Jevons
	switch in.text("method") {
	case "carry_forward":
		price, carried := Carry(jan, feb, make([]int, len(jan)), 3)
		if !carried[1] || carried[0] {
			t.Errorf("carried: got %v", carried)
		}
		return price
	case "overall_mean_dutot":
		f = Dutot
	case "class_mean_jevons":
		number := map[string]int{"A": 0, "B": 1}
		for _, c := range in.strings("class") {
			class = append(class, number[c])
		}
	}
	price, _, err := Fill(jan, feb, class, f)
	if err != nil {
		t.Fatal(err)
	}
	return price
}

func stlOptions(t *testing.T, in input) STLOptions {
	degree, jump := in.vec(t, "degrees"), in.vec(t, "jumps")
	loess := func(span string, k int) Loess { return Loess{int(in.num(t, span)), int(degree[k]), int(jump[k])} }
	return STLOptions{int(in.num(t, "period")), loess("seasonal", 0), loess("trend", 1), loess("low_pass", 2),
		int(in.num(t, "inner")), int(in.num(t, "outer"))}
}

func TestPublishedDeflation(t *testing.T) {
	checkTopic(t, "index_deflation.json", 27, answers{
		"percent_change": func(t *testing.T, in input) map[string]any {
			from, to := in.vec(t, "from"), in.vec(t, "to")
			var points, percent []float64
			for i := range from {
				points, percent = append(points, Points(from[i], to[i])), append(percent, PercentChange(from[i], to[i]))
			}
			return map[string]any{"points": alone(in["from"], points), "percent": alone(in["from"], percent)}
		},
		"real_value": func(t *testing.T, in input) map[string]any {
			nominal, at := in.vec(t, "nominal"), in.vec(t, "index_at")
			var x []float64
			for i := range nominal {
				x = append(x, Real(nominal[i], at[i], in.num(t, "index_base")))
			}
			return map[string]any{"real": alone(in["nominal"], x)}
		},
		"real_series": func(t *testing.T, in input) map[string]any {
			return map[string]any{"real": each(in.vec(t, "index"), func(at float64) float64 {
				return Real(in.num(t, "nominal"), at, in.num(t, "base_index"))
			})}
		},
		"annual_average_change": func(t *testing.T, in input) map[string]any {
			before, year := years(t, in, "year")
			return map[string]any{"percent": AnnualAverageChange(before, year)}
		},
		"purchasing_power_loss": func(t *testing.T, in input) map[string]any {
			base, at := in.num(t, "base_index"), in.num(t, "index")
			return map[string]any{"loss_percent": PowerLoss(base, at), "price_rise_percent": PercentChange(base, at)}
		},
		"rebase": func(t *testing.T, in input) map[string]any {
			_, year := years(t, in, "year")
			_, reference := years(t, in, "reference_year")
			return map[string]any{"index": Rebase(year, reference)}
		},
		"link_series": func(t *testing.T, in input) map[string]any {
			return map[string]any{"linked": LinkSeries(in.vec(t, "old"), in.vec(t, "new"))}
		},
		"annualise": func(t *testing.T, in input) map[string]any {
			return map[string]any{"annual_percent": Annualise(in.num(t, "from"), in.num(t, "to"), in.num(t, "months"))}
		},
		"deflation_order": func(t *testing.T, in input) map[string]any {
			nominal, index := in.vec(t, "nominal"), in.vec(t, "index")
			return map[string]any{"sum_of_real": RealSum(nominal, index), "naive_with_mean_index": Real(sum(nominal), Mean(index), 100)}
		},
		"size_effect": func(t *testing.T, in input) map[string]any {
			c := SizeEffect(in.num(t, "price_from"), in.num(t, "price_to"), in.num(t, "size_from"), in.num(t, "size_to"))
			return map[string]any{"unit_price_change_pct": c.UnitPrice, "price_effect_pct": c.Price, "size_effect_pct": c.Size}
		},
	})
}

// alone is x as the input came: a list, or a number.
func alone(from any, x []float64) any {
	if _, one := from.(float64); one {
		return x[0]
	}
	return x
}

func years(t *testing.T, in input, k string) (before, year []float64) {
	t.Helper()
	values := input(in["values"].(map[string]any))
	y := int(in.num(t, k))
	return vec(t, k, values[strconv.Itoa(y-1)]), vec(t, k, values[strconv.Itoa(y)])
}
