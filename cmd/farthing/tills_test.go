package main

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"farthing/pipeline/index"
)

// TestTillsIndex takes a supermarket's milk through import and run, and the prices
// kept of it, with the file's quantities, through farthing index: the values that
// the README of a package of price indices prints, to the printed digit. Lowe, Young
// and Lloyd-Moulton, which the command does not offer, are asked of pipeline/index.
func TestTillsIndex(t *testing.T) {
	folder := "../../../shared/data/scanner-pl-milk-sugar"
	if _, err := os.Stat(folder); err != nil {
		t.Skip("the published files are not here: they are no part of a clone")
	}
	source := filepath.Join("..", "..", "testdata", "sources", "scanner-pl")
	files := map[string]string{}
	for _, name := range []string{"farthing.toml", "tables/aliases.csv", "tables/items.csv", "tables/regions.csv"} {
		text, err := os.ReadFile(filepath.Join(source, name))
		if err != nil {
			t.Fatal(err)
		}
		files[name] = string(text)
	}
	files["farthing.toml"] = strings.Replace(files["farthing.toml"], "[[source]]", "[pages]\ndraw = false\n\n[[source]]", 1)
	w := workspaceOf(t, files)
	farthing(t, exitDone, "import", "--workspace", w, filepath.Join(folder, "milk.csv"))
	farthing(t, exitDone, "run", "--workspace", w)
	kept := map[string]string{} // by line
	for _, r := range readCells(t, filepath.Join(w, "site", "data", "observations.csv")) {
		kept[r["line"]] = r["price_lcu"]
	}

	rows := readCells(t, filepath.Join(folder, "milk.csv"))
	var text strings.Builder
	out := csv.NewWriter(&text)
	out.Write([]string{"period", "product", "price", "quantity"})
	repeats := 0
	for i, r := range rows {
		price, ok := kept[fmt.Sprint(i+2)]
		if !ok { // an exact repeat counts once among prices; what was sold at it counts here
			price = r["prices"]
			repeats++
		}
		r["prices"] = price // as imported
		out.Write([]string{r["time"][:7], r["prodID"], price, r["quantities"]})
	}
	out.Flush()
	if repeats*10 > len(rows) {
		t.Errorf("%d of %d rows are not among the observations", repeats, len(rows))
	}
	lines := strings.SplitAfter(text.String(), "\n")
	months := func(from, to string) string { // a table of some months
		name := filepath.Join(t.TempDir(), "milk.csv")
		some := []string{lines[0]}
		for _, l := range lines[1:] {
			if len(l) > 7 && l[:7] >= from && l[:7] <= to {
				some = append(some, l)
			}
		}
		if err := os.WriteFile(name, []byte(strings.Join(some, "")), 0o644); err != nil {
			t.Fatal(err)
		}
		return name
	}
	computed := map[string]map[string]float64{}
	ask := func(measure, from, to string, args ...string) {
		var answer struct {
			Rows []struct {
				Period string
				Index  float64
			}
		}
		if err := json.Unmarshal([]byte(farthing(t, exitDone, append([]string{"index", "--json", months(from, to)}, args...)...)), &answer); err != nil {
			t.Fatal(err)
		}
		computed[measure] = map[string]float64{}
		for _, r := range answer.Rows {
			computed[measure][r.Period] = r.Index / 100
		}
	}
	ask("jevons/2018-12", "2018-12", "2020-01", "--method", "direct_jevons")
	ask("fisher/2018-12", "2018-12", "2020-01", "--method", "direct_fisher")
	ask("chained fisher/2018-12", "2018-12", "2020-01", "--method", "chained_fisher")
	ask("geks/2018-12", "2018-12", "2019-12", "--method", "geks_fisher")
	ask("geks/2019-01", "2019-01", "2019-10", "--method", "geks_fisher")
	ask("ccdi/2018-12", "2018-12", "2019-12", "--method", "geks_tornqvist")
	// What the source calls half links one period later than ours (Diewert and Fox).
	ask("time product dummy, spliced/2018-12", "2018-12", "2020-02", "--method", "weighted_tpd", "--window", "10", "--splice", "half_next")
	// Fixed base: each December a new one; the windows from it, or the 13 months to the last, say how far it moved since.
	ask("from December", "2019-12", "2020-03", "--method", "geks_fisher")
	ask("13 months", "2019-03", "2020-03", "--method", "geks_tornqvist")
	computed["geks, fixed base, expanding window/2018-12"] = map[string]float64{"2020-03": computed["geks/2018-12"]["2019-12"] * computed["from December"]["2020-03"]}
	computed["ccdi, fixed base, moving window/2018-12"] = map[string]float64{"2020-03": computed["ccdi/2018-12"]["2019-12"] * computed["13 months"]["2020-03"] / computed["13 months"]["2019-12"]}

	value, sold := map[[2]string]float64{}, map[[2]string]float64{}
	for _, l := range lines[1:] {
		if c := strings.Split(strings.TrimSpace(l), ","); len(c) == 4 {
			k := [2]string{c[0], c[1]}
			value[k], sold[k] = value[k]+number(t, c[2])*number(t, c[3]), sold[k]+number(t, c[3])
		}
	}
	// twoStage is the Fisher index of each retailer's goods of a kind, those averaged by the retailers' sales of the
	// base month (Laspeyres), and the kinds by theirs.
	twoStage := func(base, month string) float64 {
		type cell struct{ kind, retailer, good string }
		value, sold := map[string]map[cell]float64{base: {}, month: {}}, map[string]map[cell]float64{base: {}, month: {}}
		for _, r := range rows {
			if m := r["time"][:7]; value[m] != nil {
				k := cell{r["description"], r["retID"], r["prodID"]}
				value[m][k], sold[m][k] = value[m][k]+number(t, r["prices"])*number(t, r["quantities"]), sold[m][k]+number(t, r["quantities"])
			}
		}
		mean := func(weights, indices []float64) float64 {
			ones := slices.Repeat([]float64{1}, len(indices))
			x, err := index.Young(ones, indices, weights)
			if err != nil {
				t.Fatal(err)
			}
			return x.Index
		}
		goods := map[string]map[string][]cell{}
		for k := range value[base] {
			if goods[k.kind] == nil {
				goods[k.kind] = map[string][]cell{}
			}
			goods[k.kind][k.retailer] = append(goods[k.kind][k.retailer], k)
		}
		var ofKinds, kinds []float64
		for _, kind := range slices.Sorted(maps.Keys(goods)) {
			var ofRetailers, retailers []float64
			all := 0.0
			for _, retailer := range slices.Sorted(maps.Keys(goods[kind])) {
				var p0, p1, q0, q1 []float64
				sales := 0.0
				for _, k := range goods[kind][retailer] {
					sales += value[base][k]
					if sold[month][k] > 0 {
						p0, q0 = append(p0, value[base][k]/sold[base][k]), append(q0, sold[base][k])
						p1, q1 = append(p1, value[month][k]/sold[month][k]), append(q1, sold[month][k])
					}
				}
				all += sales
				if p0 != nil {
					x, err := index.Fisher(p0, p1, q0, q1)
					if err != nil {
						t.Fatal(err)
					}
					retailers, ofRetailers = append(retailers, x.Index), append(ofRetailers, sales)
				}
			}
			if retailers != nil {
				kinds, ofKinds = append(kinds, mean(ofRetailers, retailers)), append(ofKinds, all)
			}
		}
		return mean(ofKinds, kinds)
	}
	weighed := func(base, weights, month string, do func(p0, p1, q, v []float64) (index.Result, error)) float64 {
		var p0, p1, q, v []float64
		for k := range sold {
			a, b := [2]string{base, k[1]}, [2]string{month, k[1]}
			if k[0] == weights && sold[a] > 0 && sold[b] > 0 {
				p0, p1 = append(p0, value[a]/sold[a]), append(p1, value[b]/sold[b])
				q, v = append(q, sold[k]), append(v, value[k])
			}
		}
		x, err := do(p0, p1, q, v)
		if err != nil {
			t.Fatal(err)
		}
		return x.Index
	}
	// hybrid is the index of Białek (2020), Equilibrium 15(4): Young's, with the
	// mean of three value shares of the quantities of the weights' month, at the
	// prices of that month, the base and the other, each weighted by how strongly
	// its prices go with those quantities (the absolute correlation).
	hybrid := func(base, weights, month string) float64 {
		var p [3][]float64
		var q []float64
		for k := range sold {
			at := [3][2]string{k, {base, k[1]}, {month, k[1]}}
			if k[0] == weights && sold[at[1]] > 0 && sold[at[2]] > 0 {
				for i, m := range at {
					p[i] = append(p[i], value[m]/sold[m])
				}
				q = append(q, sold[k])
			}
		}
		w := make([]float64, len(q))
		for _, of := range p {
			strength, sum := math.Abs(correlation(of, q)), 0.0
			for i := range q {
				sum += of[i] * q[i]
			}
			for i := range q {
				w[i] += strength * of[i] * q[i] / sum
			}
		}
		x, err := index.Young(p[1], p[2], w)
		if err != nil {
			t.Fatal(err)
		}
		return x.Index
	}
	checked := map[string]int{}
	left := map[string]bool{}
	for _, r := range readCells(t, filepath.Join(folder, "expected_milk.csv")) {
		measure, base, month := r["measure"], r["base_period"], r["period"]
		got, ok := computed[measure+"/"+base][month]
		switch measure {
		case "fisher over retailers then laspeyres":
			got, ok = twoStage(base, month), true
		case "hybrid":
			got, ok = hybrid(base, strings.TrimPrefix(r["parameters"], "weight base "), month), true
		case "young", "lowe", "lloyd_moulton":
			weights := base
			if _, month, ok := strings.Cut(r["parameters"], " base "); ok {
				weights = month
			}
			got, ok = weighed(base, weights, month, func(p0, p1, q, v []float64) (index.Result, error) {
				switch measure {
				case "lowe":
					return index.Lowe(p0, p1, q)
				case "young":
					return index.Young(p0, p1, v)
				}
				return index.LloydMoulton(p0, p1, q, number(t, strings.TrimPrefix(r["parameters"], "sigma=")))
			}), true
		}
		if !ok {
			left[measure] = true
			continue
		}
		checked[measure]++
		_, digits, _ := strings.Cut(r["published_value"], ".")
		if want := number(t, r["published_value"]); math.Abs(got-want) > .5*math.Pow10(-len(digits))+1e-9 {
			t.Errorf("%s %s %s to %s: got %.8f, published %s", measure, r["parameters"], base, month, got, r["published_value"])
		}
	}
	for measure, n := range map[string]int{"jevons": 14, "fisher": 14, "chained fisher": 14, "geks": 14, "ccdi": 13, "young": 13, "hybrid": 13, "lowe": 3, "lloyd_moulton": 1, "fisher over retailers then laspeyres": 13,
		"time product dummy, spliced": 15, "geks, fixed base, expanding window": 1, "ccdi, fixed base, moving window": 1} {
		if checked[measure] != n {
			t.Errorf("%s: %d values, want %d", measure, checked[measure], n)
		}
	}
	t.Logf("%d rows, %d of them repeats; values checked %v; not here %v", len(rows), repeats, checked, left)
}

// correlation is Pearson's.
func correlation(x, y []float64) float64 {
	n := float64(len(x))
	var mx, my, xy, xx, yy float64
	for i := range x {
		mx, my = mx+x[i]/n, my+y[i]/n
	}
	for i := range x {
		xy, xx, yy = xy+(x[i]-mx)*(y[i]-my), xx+(x[i]-mx)*(x[i]-mx), yy+(y[i]-my)*(y[i]-my)
	}
	return xy / math.Sqrt(xx*yy)
}
