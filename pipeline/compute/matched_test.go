package compute

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"sort"
	"testing"

	"farthing/pipeline/result"
	"farthing/pipeline/store"
	"farthing/pipeline/workspace"
	"farthing/queries"
)

// tag is one price of a generated panel: a variety at an outlet of a region.
type tag struct {
	region          string
	outlet, variety int
	month           int
	micro           int64
}

// throughTheDatabase reduces notes of oats to a panel as a run does.
func throughTheDatabase(t *testing.T, st *store.Store, tags []tag, sample string, base int) (*panel, result.Month) {
	t.Helper()
	ctx, first := context.Background(), month("2024-01")
	for _, sql := range []string{"DELETE FROM obs_price", "DELETE FROM word", "DELETE FROM amount"} {
		if err := st.Exec(ctx, sql); err != nil {
			t.Fatal(err)
		}
	}
	number := map[string]int32{}
	words := [][]any{}
	word := func(s string) int32 {
		if _, ok := number[s]; !ok {
			number[s] = int32(len(words))
			words = append(words, []any{number[s], s})
		}
		return number[s]
	}
	blank := word("")
	var rows [][]any
	for i, x := range tags {
		m := first + result.Month(x.month)
		rows = append(rows, []any{int32(0), int32(i), uint64(i), uint64(i), m.Day(5), int32(m), word(x.region), word(x.region + fmt.Sprint(x.outlet)), word("oats"), word(fmt.Sprint("variety", x.variety)),
			blank, blank, int32(0), word("regular"), blank, x.micro, false, false, false})
	}
	for table, rows := range map[string][][]any{"word": words, "amount": {{int32(0), "1 kg", int32(0), 1.0, "kg", false}}, "obs_price": rows} {
		if err := st.Append(ctx, table, rows); err != nil {
			t.Fatal(err)
		}
	}
	for _, q := range []queries.Query{queries.ObsShared, queries.ObsRepeat, queries.EditConflict, queries.ObsOwner} {
		if err := st.Make(ctx, q, nil); err != nil {
			t.Fatal(err)
		}
	}
	s := workspace.Defaults()
	s.Panel.Sample, s.Panel.Impute = sample, false
	o, err := observe(ctx, st, s, world())
	if err != nil {
		t.Fatal(err)
	}
	return newPanel(world(), s, &o.observations, o.first, o.last, first+result.Month(base), o.asOf, func(_, _, _, _ string) {}), o.first
}

func openStore(t *testing.T) *store.Store {
	t.Helper()
	st, err := store.Open(context.Background(), "")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	if err := st.Exec(context.Background(), "CREATE TABLE edit_hold (file_id INTEGER, line INTEGER, reason VARCHAR)"); err != nil {
		t.Fatal(err)
	}
	return st
}

// history is what a second way needs: log prices of series by month, NaN where
// there is none, each with its weight.
type history struct {
	ln     []float64
	weight float64
}

// bestSeen is the month whose price found stands: of those with 0.7 of the weight
// or, where there is none, with the most of it, and then with three outlets or the
// most, the nearest to the base month, of two the earlier.
func bestSeen(found, share []float64, outlets []int, base int) int {
	var list []int
	for m := range found {
		if !math.IsNaN(found[m]) {
			list = append(list, m)
		}
	}
	sort.SliceStable(list, func(i, j int) bool {
		a, b := list[i], list[j]
		if x, y := min(share[a], .7), min(share[b], .7); math.Abs(x-y) > 1e-9 {
			return x > y
		}
		if x, y := min(outlets[a], 3), min(outlets[b], 3); x != y {
			return x > y
		}
		return (a-base)*(a-base) < (b-base)*(b-base)
	})
	return list[0]
}

// solved is the second way to the matched level: all months at once, as the
// solution of linear equations. With level L, of the weight of the series priced
// in t and before let P(t, s) be the share last priced in s, d(t) their mean log
// change since: L = P L + d. A month without such a series has L(t) = L(last) +
// found(t) - found(last), the first found(t). Solved by Gauss and Jordan.
func solved(found []float64, list []history, base int) []float64 {
	n := len(found)
	a := make([][]float64, n) // (I - P | d)
	for t := range a {
		a[t] = make([]float64, n+1)
		a[t][t] = 1
		if math.IsNaN(found[t]) {
			continue
		}
		lastOf := func(ln []float64) int {
			s := t - 1
			for s >= 0 && (math.IsNaN(ln[s]) || math.IsNaN(found[s])) {
				s--
			}
			return s
		}
		var all float64
		for _, h := range list {
			if s := lastOf(h.ln); s >= 0 && !math.IsNaN(h.ln[t]) {
				all += h.weight
			}
		}
		for _, h := range list {
			if s := lastOf(h.ln); s >= 0 && !math.IsNaN(h.ln[t]) {
				a[t][s] -= h.weight / all
				a[t][n] += h.weight / all * (h.ln[t] - h.ln[s])
			}
		}
		if all == 0 {
			a[t][n] = found[t]
			if s := lastOf(found); s >= 0 {
				a[t][s], a[t][n] = -1, found[t]-found[s]
			}
		}
	}
	for i := range a {
		best := i
		for k := i; k < n; k++ {
			if math.Abs(a[k][i]) > math.Abs(a[best][i]) {
				best = k
			}
		}
		a[i], a[best] = a[best], a[i]
		for k := range a {
			if f := a[k][i] / a[i][i]; k != i && f != 0 {
				for j := range a[k] {
					a[k][j] -= f * a[i][j]
				}
			}
		}
	}
	level := make([]float64, n)
	for i := range level {
		level[i] = a[i][n] / a[i][i]
	}
	shift := 0.0
	if !math.IsNaN(found[base]) {
		shift = found[base] - level[base]
	}
	for i := range level {
		level[i] += shift
		if math.IsNaN(found[i]) {
			level[i] = math.NaN()
		}
	}
	return level
}

// TestMatchedSecondWay holds the whole way from notes to levels, of regions and
// of the land that they make up, to solved: generated panels with gaps of
// series, of outlets, of whole regions and of everything.
func TestMatchedSecondWay(t *testing.T) {
	st := openStore(t)
	const months, outlets, varieties = 14, 3, 2
	weights := map[string]float64{"east": 0.55, "west": 0.35, "isle": 0.10}
	names := []string{"east", "west", "isle"}
	skipped, apart := 0, 0
	for seed := range uint64(20) {
		r := rand.New(rand.NewPCG(seed, 14))
		var tags []tag
		series := map[string][]history{}
		gone := func() [months]bool { // a stretch of months
			var out [months]bool
			if r.IntN(2) == 0 {
				for i, from := 0, 1+r.IntN(months-1); i < 1+r.IntN(5) && from+i < months; i++ {
					out[from+i] = true
				}
			}
			return out
		}
		all := gone()
		for _, region := range names {
			here := gone()
			for outlet := range outlets {
				shut := gone()
				for variety := range varieties {
					h := history{make([]float64, months), 1}
					price := 1 + 3*r.Float64()
					for m := range months {
						price *= math.Exp(0.15 * r.NormFloat64())
						h.ln[m] = math.NaN()
						if always := outlet+variety == 0 && region == "east" && m == 0; !always && (all[m] || here[m] || shut[m] || r.IntN(4) == 0) {
							continue
						}
						micro := int64(math.Round(price * 1e6))
						h.ln[m] = math.Log(float64(micro) / 1e6)
						tags = append(tags, tag{region, outlet, variety, m, micro})
					}
					series[region] = append(series[region], h)
				}
			}
		}
		r.Shuffle(len(tags), func(i, j int) { tags[i], tags[j] = tags[j], tags[i] })
		base := r.IntN(months)
		p, first := throughTheDatabase(t, st, tags, "matched", base)
		hold := func(region string, found, level []float64) {
			t.Helper()
			for m := range p.months() {
				got := p.at(region, good{"oats", ""}, first+result.Month(m)).ln
				if math.Abs(got-level[m]) > 1e-9 || math.IsNaN(got) != math.IsNaN(level[m]) {
					t.Errorf("seed %d, %s, month %d: got %v, want %v", seed, region, m, got, level[m])
				}
				if !math.IsNaN(got) && math.Abs(got-found[m]) > 1e-3 {
					apart++
				}
				if math.IsNaN(got) {
					skipped++
				}
			}
		}
		var parts []history
		top := make([]float64, months)
		sums, behind := make([]float64, months), make([]int, months)
		for _, region := range names {
			found, seen, own := make([]float64, months), make([]int, months), make([]float64, months)
			for m := range found {
				var over mean // outlets
				for outlet := range outlets {
					var in mean
					for variety := range varieties {
						in.add(series[region][outlet*varieties+variety].ln[m])
					}
					if over.add(in.value()); !math.IsNaN(in.value()) {
						seen[m]++
					}
				}
				own[m], behind[m] = 1, behind[m]+seen[m]
				if found[m] = over.value(); !math.IsNaN(found[m]) {
					top[m], sums[m] = top[m]+weights[region]*found[m], sums[m]+weights[region]
				}
			}
			level := solved(found, series[region], bestSeen(found, own, seen, base))
			hold(region, found, level)
			parts = append(parts, history{level, weights[region]})
		}
		for m := range top {
			top[m] /= sums[m] // 0 / 0 where nothing was seen
		}
		hold("land", top, solved(top, parts, bestSeen(top, sums, behind, base)))
	}
	if skipped == 0 || apart < 100 {
		t.Errorf("%d months without a price, %d with a level other than found: the panels are too full", skipped, apart)
	}
}

// A complete panel, each outlet with as many varieties, moves the same matched
// and as found: the mean of changes is the change of means (ILO et al., Consumer
// Price Index Manual 2020, 8.19: Jevons is transitive on a matched sample).
func TestMatchedCompletePanel(t *testing.T) {
	st := openStore(t)
	r := rand.New(rand.NewPCG(3, 5))
	var tags []tag
	for _, region := range []string{"east", "west", "isle"} {
		for i := range 6 {
			for m := range 12 {
				tags = append(tags, tag{region, i / 2, i % 2, m, 1e6 + r.Int64N(4e6)})
			}
		}
	}
	matched, first := throughTheDatabase(t, st, tags, "matched", 4)
	asFound, _ := throughTheDatabase(t, st, tags, "as_found", 4)
	for _, region := range []string{"east", "west", "isle", "land"} {
		for m := range 12 {
			a, b := matched.at(region, good{"oats", ""}, first+result.Month(m)), asFound.at(region, good{"oats", ""}, first+result.Month(m))
			if math.Abs(a.ln-b.ln) > 1e-10 || math.IsNaN(a.ln) {
				t.Errorf("%s, month %d: matched %v, as found %v", region, m, a.ln, b.ln)
			}
		}
	}
}

// Prices that return bring the very same level back, gap or not, in a region
// and in the land.
func TestMatchedReturns(t *testing.T) {
	st := openStore(t)
	var tags []tag
	for m, prices := range [][2]int64{{1, 2}, {2, 1}, {2, 0}, {0, 0}, {0, 1}, {1, 2}, {2, 1}, {1, 2}} {
		for k, price := range prices {
			if price > 0 {
				tags = append(tags, tag{"east", k, 0, m, price * 1e6}, tag{"west", k, 0, m, price * 3e6})
			}
		}
	}
	p, first := throughTheDatabase(t, st, tags, "matched", 0)
	for _, region := range []string{"east", "west", "land"} {
		start := p.at(region, good{"oats", ""}, first)
		for _, m := range []result.Month{1, 5, 6, 7} {
			if x := p.at(region, good{"oats", ""}, first+m); x.ln != start.ln || x.price != start.price {
				t.Errorf("%s, month %d: got %v, want %v again", region, m, x.price, start.price)
			}
		}
	}
}

// By hand: which month's price found stands for all. One part of ten in the base
// month, or one shop of many, must not hand its level on.
func TestAnchor(t *testing.T) {
	p := &panel{first: month("2024-01"), settings: workspace.Defaults()}
	seen := func(outlets int, unweighed float64) cell {
		return cell{ln: 1, found: 1, outlets: result.Count(outlets), unweighed: unweighed}
	}
	none, average := cell{ln: math.NaN()}, cell{ln: 1, found: 1}
	for _, c := range []struct {
		name string
		base int
		row  []cell
		want int
	}{
		{"the base month", 1, []cell{seen(3, 0), seen(3, 0), seen(9, 0)}, 1},
		{"one shop of ten in the base month", 0, []cell{seen(1, 0), seen(10, 0), seen(10, 0)}, 1},
		{"never more than one shop", 1, []cell{seen(1, 0), seen(1, 0), seen(1, 0)}, 1},
		{"a part of a tenth of the weight in the base month", 0, []cell{seen(3, .9), seen(3, .9), seen(6, 0)}, 2},
		{"a tenth of the weight is not there yet", 0, []cell{seen(3, .1), seen(6, 0)}, 0},
		{"weight before shops", 0, []cell{seen(9, .9), seen(1, 0)}, 1},
		{"of two as near the earlier", 2, []cell{none, seen(3, 0), seen(1, 0), seen(3, 0)}, 1},
		{"not seen in the base month", 0, []cell{none, none, seen(2, 0), seen(2, 0)}, 2},
		{"a published average is as good as three shops", 0, []cell{average, seen(5, 0)}, 0},
		{"nothing seen", 0, []cell{none, none}, -1},
	} {
		if got := p.anchor(c.row, p.first+result.Month(c.base)); got != c.want {
			t.Errorf("%s: got month %d, want %d", c.name, got, c.want)
		}
	}
}
