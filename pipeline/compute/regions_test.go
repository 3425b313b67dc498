package compute

import (
	"math"
	"slices"
	"testing"

	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// shelves are the prices that a region's outlets ask for an item in a month; the
// same outlets for all items and months.
type shelves struct {
	region, item string
	month        int
	prices       []float64
}

// seen makes a panel of shelves, from January 2024.
func seen(t *testing.T, sample string, list ...shelves) *panel {
	t.Helper()
	o := &observations{quotes: map[place]raw{}, averages: map[place]raw{}, absent: map[place]string{}, atOutlet: map[place][]outletPrice{}}
	last := 0
	for _, s := range list {
		k := place{s.region, good{s.item, ""}, month("2024-01") + result.Month(s.month)}
		var ln mean
		first := int32(100 * slices.IndexFunc(world().Regions, func(r workspace.Region) bool { return r.Region == s.region }))
		for i, x := range s.prices {
			ln.add(math.Log(x))
			o.atOutlet[k] = append(o.atOutlet[k], outletPrice{first + int32(i), math.Log(x)})
		}
		o.quotes[k] = raw{ln: ln.value(), change: math.NaN(), n: len(s.prices), outlets: len(s.prices)}
		last = max(last, s.month)
	}
	settings := workspace.Defaults()
	settings.Panel.Sample, settings.Panel.Impute = sample, false
	return newPanel(world(), settings, o, month("2024-01"), month("2024-01")+result.Month(last), month("2024-01"), "2099-12-31", func(_, _, _, _ string) {})
}

// TestCompareByHand: one unit of oats and two of milk. Cove pays 4 + 2 x 2 = 8,
// west 1 + 2 x 2 = 5, isle 4 + 2 x 8 = 20, in three shops each that ask e^-d, 1
// and e^d of it. Left out in turn, the six shops of two regions move the
// difference by d/2, 0 and -d/2 each: a jackknife error of sqrt(5/6 x d^2), and a
// range of t(0.975; 5) = 2.570582 (Student's t, tables) times that, 2.3466 d
// either way. ln(8/5) = 0.470, ln(20/8) = 0.916, ln(20/5) = 1.386.
func TestCompareByHand(t *testing.T) {
	around := func(price, d float64) []float64 {
		return []float64{price * math.Exp(-d), price, price * math.Exp(d)}
	}
	regions := []string{"cove", "west", "isle"}
	for _, c := range []struct {
		name   string
		d      float64
		lo, hi [3]int
	}{
		{"no spread at all", 0, [3]int{2, 1, 3}, [3]int{2, 1, 3}},
		{"a little", 0.01, [3]int{2, 1, 3}, [3]int{2, 1, 3}},
		{"0.469: sure", 0.2, [3]int{2, 1, 3}, [3]int{2, 1, 3}},
		{"0.472: cove and west tie", 0.201, [3]int{1, 1, 3}, [3]int{2, 2, 3}},
		{"0.939: cove ties with both", 0.4, [3]int{1, 1, 2}, [3]int{3, 2, 3}},
		{"7: all tie", 3, [3]int{1, 1, 1}, [3]int{3, 3, 3}},
	} {
		p := seen(t, "as_found", shelves{"cove", "oats", 0, around(4, c.d)}, shelves{"cove", "milk", 0, around(2, c.d)}, shelves{"west", "oats", 0, around(1, c.d)},
			shelves{"west", "milk", 0, around(2, c.d)}, shelves{"isle", "oats", 0, around(4, c.d)}, shelves{"isle", "milk", 0, around(8, c.d)})
		got := p.compare(twoLines, regions, month("2024-01"))
		lowe := math.Cbrt(8 * 5 * 20)
		for i, want := range []float64{8 / lowe, 5 / lowe, 20 / lowe} {
			if !near(got.lowe[i].Or(), want) {
				t.Errorf("%s, %s: parity_lowe %v, want %v", c.name, regions[i], got.lowe[i], want)
			}
		}
		// sqrt(4 x 2), sqrt(1 x 2), sqrt(4 x 8) beside their geometric mean, sqrt 8.
		for i, want := range []float64{1, 0.5, 2} {
			if !near(got.cpd[i].Or(), want) {
				t.Errorf("%s, %s: parity_cpd %v, want %v", c.name, regions[i], got.cpd[i], want)
			}
		}
		for i := range regions {
			if got.lo[i] != result.Count(c.lo[i]) || got.hi[i] != result.Count(c.hi[i]) {
				t.Errorf("%s, %s: rank %v to %v, want %d to %d", c.name, regions[i], got.lo[i], got.hi[i], c.lo[i], c.hi[i])
			}
		}
		if len(got.common) != 2 {
			t.Errorf("%s: common lines %v, want both", c.name, got.common)
		}
	}
}

// TestCompareDisagree: where the two parities order a pair differently the ranks
// tie, however small the spread. Cove pays 1 + 2 x 10 = 21, west 9 + 2 x 4 = 17:
// dearer in cove by the basket, cheaper by the items alike, sqrt(10) to 6.
func TestCompareDisagree(t *testing.T) {
	three := func(x float64) []float64 { return []float64{x, x, x} }
	p := seen(t, "as_found", shelves{"cove", "oats", 0, three(1)}, shelves{"cove", "milk", 0, three(10)}, shelves{"west", "oats", 0, three(9)}, shelves{"west", "milk", 0, three(4)})
	got := p.compare(twoLines, []string{"cove", "west"}, month("2024-01"))
	if !(got.lowe[0].V > got.lowe[1].V) || !(got.cpd[0].V < got.cpd[1].V) {
		t.Fatalf("got lowe %v, cpd %v", got.lowe, got.cpd)
	}
	for i := range 2 {
		if got.lo[i] != result.Count(1) || got.hi[i] != result.Count(2) {
			t.Errorf("region %d: rank %v to %v, want 1 to 2", i, got.lo[i], got.hi[i])
		}
	}
}

// TestCompareAsFound: levels are those of the prices found in the month, whatever
// the sample. New shops at a half of the price leave the matched level where it
// was, and the region cheaper.
func TestCompareAsFound(t *testing.T) {
	three := func(x float64) []float64 { return []float64{x, x, x} }
	var list []shelves
	for _, item := range []string{"oats", "milk"} {
		list = append(list, shelves{"cove", item, 0, three(2)}, shelves{"west", item, 0, three(1.5)}, shelves{"cove", item, 1, three(1)}, shelves{"west", item, 1, three(1.5)})
	}
	p := seen(t, "matched", list...)
	for _, item := range []string{"oats", "milk"} { // no series goes on, so the level moves as found: hold it as a matched one would be
		p.at("cove", good{item, ""}, month("2024-02")).price = 2
		p.at("cove", good{item, ""}, month("2024-02")).ln = math.Log(2)
	}
	got := p.compare(twoLines, []string{"cove", "west"}, month("2024-02"))
	if want := math.Sqrt(1 / 1.5); !near(got.lowe[0].Or(), want) || !near(got.cpd[0].Or(), want) || got.hi[0] != result.Count(1) || got.lo[1] != result.Count(2) {
		t.Errorf("got lowe %v, cpd %v, ranks %v to %v", got.lowe, got.cpd, got.lo, got.hi)
	}
}

func TestMainType(t *testing.T) {
	kind := func(id int32) string { return []string{"", "market", "market", "store"}[id] }
	for _, c := range []struct {
		outlets []int32
		want    float64
	}{{[]int32{1, 2, 3}, 2. / 3}, {[]int32{0, 3}, 1}, {[]int32{0}, math.NaN()}} {
		if got := mainType(c.outlets, kind); !near(got.Or(), c.want) && !(math.IsNaN(got.Or()) && math.IsNaN(c.want)) {
			t.Errorf("%v: got %v, want %v", c.outlets, got, c.want)
		}
	}
}

// TestChangeByHand: a basket of one line. Three shops ask 1, 1 and 1, then e^a,
// e^b and e^c. The mean change is (a + b + c)/3; left out in turn the shops give
// half the sum of two, so the jackknife's error is sqrt(sum (x - mean)^2 / 6), and
// the range that times t(0.975; 2) = 4.302653 (Student's t, tables) either way.
func TestChangeByHand(t *testing.T) {
	one := basket{"one", []line{{good: good{"oats", ""}, perDay: 3}}}
	for _, c := range []struct {
		ln      [3]float64
		finding string
	}{
		{[3]float64{0.10, 0.11, 0.12}, "rose"},
		{[3]float64{-0.10, -0.11, -0.12}, "fell"},
		{[3]float64{0.10, 0, 0.12}, "no_clear_difference"},
		{[3]float64{0, 0, 0}, "no_clear_difference"},
	} {
		var sum, squares float64
		after := make([]float64, 3)
		for i, x := range c.ln {
			after[i], sum = math.Exp(x), sum+x
		}
		for _, x := range c.ln {
			squares += (x - sum/3) * (x - sum/3)
		}
		p := seen(t, "as_found", shelves{"cove", "oats", 0, []float64{1, 1, 1}}, shelves{"cove", "oats", 1, after})
		costs := map[costKey]costed{}
		for m := range 2 {
			k := costKey{"cove", "one", month("2024-01") + result.Month(m)}
			var unused []result.BasketLine
			costs[k] = p.cost(one, "cove", k.month, []float64{1}, "XTS", &unused)
		}
		got := p.change(one, "cove", month("2024-01"), month("2024-02"), costs)
		half := 4.302652729696 * math.Sqrt(squares/6)
		for name, x := range map[string][2]float64{"change": {got.Change.Or(), sum / 3}, "low": {got.Lo.Or(), sum/3 - half}, "high": {got.Hi.Or(), sum/3 + half}} {
			if want := 100 * math.Expm1(x[1]); math.Abs(x[0]-want) > 1e-8 {
				t.Errorf("%v, %s: got %v, want %v", c.ln, name, x[0], want)
			}
		}
		if got.Finding != c.finding || !near(got.PerDayFrom.Or(), 3) {
			t.Errorf("%v: got %q, %v before, want %q, 3", c.ln, got.Finding, got.PerDayFrom, c.finding)
		}
	}
	two := seen(t, "as_found", shelves{"cove", "oats", 0, []float64{1, 1}}, shelves{"cove", "oats", 1, []float64{2, 2}})
	costs := map[costKey]costed{}
	for m := range 2 {
		k := costKey{"cove", "one", month("2024-01") + result.Month(m)}
		var unused []result.BasketLine
		costs[k] = two.cost(one, "cove", k.month, []float64{1}, "XTS", &unused)
	}
	if got := two.change(one, "cove", month("2024-01"), month("2024-02"), costs); got.Lo.OK || got.Finding != "" || !near(got.Change.Or(), 100) {
		t.Errorf("two shops: got %+v, want 100 %% and no range", got)
	}
}
