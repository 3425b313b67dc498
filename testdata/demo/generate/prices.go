package main

import (
	"cmp"
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"time"
)

// A note is one line of the inbox.
type note struct {
	day, region, outlet string
	good
	pack, gtin, priceType string
	packs, cents          int // packs 0 = 1; cents 0 = no price
	average               bool
	file, remark          string
}

func (n note) gradeOr(blank string) string { return cmp.Or(n.grade, blank) }

func (n note) date() time.Time {
	day := n.day
	if n.average {
		day += "-01"
	}
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		panic(err)
	}
	return t
}

func (n note) month() int { return (n.date().Year()-firstYear)*12 + int(n.date().Month()) - 1 }

func (n note) unitPrice() float64 {
	count, quantity, _ := content(n.pack)
	return float64(n.cents) / 100 / (float64(max(n.packs, 1)) * float64(count) * quantity)
}

// canonical is the pack as the observation's identity writes it: "1 x 0.5 kg", "3 of 1 x 0.4 kg".
func (n note) canonical() string {
	count, quantity, unit := content(n.pack)
	s := fmt.Sprintf("%d x %s %s", count, decimal(quantity), unit)
	if n.packs > 1 {
		s = fmt.Sprintf("%d of %s", n.packs, s)
	}
	return s
}

// content of a pack as the demo writes it: "500 g", "3 x 80 g"; the quantity of one in base units.
func content(pack string) (count int, quantity float64, unit string) {
	count = 1
	if n, rest, ok := strings.Cut(pack, " x "); ok {
		count, _ = strconv.Atoi(n)
		pack = rest
	}
	number, unit, _ := strings.Cut(pack, " ")
	quantity, err := strconv.ParseFloat(number, 64)
	if err != nil {
		panic(err)
	}
	if unit == "g" {
		return count, quantity / 1000, "kg"
	}
	return count, quantity, unit
}

func decimal(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

func daysIn(m int) int { return time.Date(firstYear, time.Month(m+2), 0, 0, 0, 0, 0, time.UTC).Day() }

func monthText(m int) string { return fmt.Sprintf("%d-%02d", firstYear+m/12, m%12+1) }

func dayText(m, day int) string { return fmt.Sprintf("%s-%02d", monthText(m), day) }

// seeded randomness of one purpose: another good or month does not shift it.
func seeded(purpose string) *rand.Rand {
	h := fnv.New64a()
	h.Write([]byte(purpose))
	return rand.New(rand.NewPCG(2023, h.Sum64()))
}

// A series is one good in one pack at one outlet, with its shelf price and the days of its notes by month.
type series struct {
	good
	region, outlet, pack, gtin string
	taste                      float64 // how the outlet's price of this good differs from its level
	cents                      [months]int
	days                       [months][]int
}

func newSeries(t tables) []*series {
	var all []*series
	for g, good := range goods {
		for o, outlet := range t.outlets {
			if good.only != nil && !slices.Contains(good.only, outlet.name) {
				continue
			}
			packs := []string{cmp.Or(good.packs[outlet.name], good.pack)}
			if good.item == "oats" && slices.Contains([]string{"vellick-hall", "dorrow-saver", "ummer-barn"}, outlet.name) {
				packs = append(packs, "900 g")
			}
			for _, pack := range packs {
				r := seeded(good.item + good.grade + outlet.name + pack)
				s := &series{good: good, region: outlet.region, outlet: outlet.name, pack: pack, taste: 1 + .015*r.NormFloat64()}
				if strings.HasPrefix(good.item, "tinned") {
					s.gtin = demoGTIN(100*g + o)
				}
				for m := range months {
					if !sold(good, s.region, s.outlet, pack, m) {
						continue
					}
					n := 1
					if !good.once && r.IntN(5) < 2 && !(good.item == "cabbage" && m == dec23) {
						n = 2
					}
					s.days[m] = r.Perm(daysIn(m))[:n]
					slices.Sort(s.days[m])
				}
				all = append(all, s)
			}
		}
	}
	all[0].days[dec24] = []int{daysIn(dec24) - 1} // the newest note is of the last day
	return all
}

// demoGTIN has the prefix kept for demonstrations (952) and a check digit (both from memory of the GS1 rules).
func demoGTIN(n int) string {
	digits, sum := fmt.Sprintf("952%09d", n), 0
	for i, d := range digits {
		sum += int(d-'0') * (1 + 2*(i%2))
	}
	return fmt.Sprintf("%s%d", digits, (10-sum%10)%10)
}

// target price per base unit in Tavrin.
func target(g good, m int) float64 {
	p := g.base * (1 + g.growth*path[m])
	if averages[g.item] != "" && fixed[m] {
		return math.Round(p*100) / 100
	}
	return p
}

// setPrices walks through the months: each shelf keeps its price until it is 2 % off, then follows; where a price must
// hit a fixed figure, the cents are searched for.
func setPrices(t tables, all []*series) {
	for m := range months {
		for g, good := range goods {
			var now []*series
			for _, s := range all {
				if s.item == good.item && s.grade == good.grade && s.days[m] != nil {
					s.cents[m] = s.shelf(m, target(good, m))
					now = append(now, s)
				}
			}
			if last := g == len(goods)-1; last && rise[m] != 0 {
				reachRise(t, all, now, m)
			} else if m == jan23 && good.item != "plums" || fixed[m] && averages[good.item] != "" {
				search(t, now, m, target(good, m))
			}
		}
	}
}

// shelf price in cents for a target per base unit.
func (s *series) shelf(m int, target float64) int {
	before := 0
	if m > 0 {
		before = s.cents[m-1]
	}
	if p := pinned(s.good, s.region, s.outlet, s.pack, m); p > 0 {
		return p
	} else if p < 0 {
		return before
	}
	if s.item == "cabbage" && s.region != "high-tansel" && (m == dec23 || m == jan24) {
		target *= 1.15 // the frost, where it was weaker
	}
	want := s.want(target)
	if before != 0 && math.Abs(float64(before)/want-1) < .02 {
		return before
	}
	return int(math.Round(want))
}

func (s *series) want(target float64) float64 {
	count, quantity, _ := content(s.pack)
	return 100 * float64(count) * quantity * target * level[s.region] * level[s.outlet] * s.taste
}

// search sets the cents of the series that nothing pins so that the regions' weighted geometric mean is the target.
func search(t tables, now []*series, m int, target float64) {
	weight, outlets, cells := map[string]float64{}, map[string]map[string]bool{}, map[string]int{}
	var regions float64
	for _, s := range now {
		if outlets[s.region] == nil {
			outlets[s.region] = map[string]bool{}
			weight[s.region] = t.weight[s.region]
			regions += t.weight[s.region]
		}
		outlets[s.region][s.outlet] = true
		cells[s.outlet]++
	}
	share := func(s *series) float64 {
		return weight[s.region] / regions / float64(len(outlets[s.region])) / float64(cells[s.outlet])
	}
	need, free, sum := math.Log(target), 0.0, 0.0
	var open []*series
	for _, s := range now {
		count, quantity, _ := content(s.pack)
		need += share(s) * math.Log(100*float64(count)*quantity)
		if pinned(s.good, s.region, s.outlet, s.pack, m) != 0 {
			need -= share(s) * math.Log(float64(s.cents[m]))
		} else {
			open = append(open, s)
			free += share(s)
			sum += share(s) * math.Log(s.want(target))
		}
	}
	// Around the wanted prices, all moved by one factor, lie enough combinations of cents; take the best of many.
	wide := .02
	if len(open) < 6 {
		wide = .06
	}
	type choice struct {
		low int
		ln  []float64
	}
	choices := make([]choice, len(open))
	for i, s := range open {
		centre := s.want(target) * math.Exp((need-sum)/free)
		step := max(2, centre*wide)
		for c := int(math.Round(centre - step)); c <= int(math.Round(centre+step)); c++ {
			if choices[i].low == 0 {
				choices[i].low = c
			}
			choices[i].ln = append(choices[i].ln, share(s)*math.Log(float64(c)))
		}
	}
	r, best := seeded(fmt.Sprint("search", now[0].item, now[0].grade, m)), math.Inf(1)
	pick, chosen := make([]int, len(open)), make([]int, len(open))
	for try := 0; try < 400_000 && best > 1e-9; try++ {
		rest := need
		for i, c := range choices {
			pick[i] = r.IntN(len(c.ln))
			rest -= c.ln[pick[i]]
		}
		if math.Abs(rest) < best {
			best = math.Abs(rest)
			copy(chosen, pick)
		}
	}
	for i, s := range open {
		s.cents[m] = choices[i].low + chosen[i]
	}
}

// reachRise brings the basket to its fixed cost by the price of the potatoes. Their change also moves what is imputed
// from it, so the search is repeated until the total stands.
func reachRise(t tables, all, potatoes []*series, m int) {
	base, _ := newEconomy(t, seriesNotes(t, all, m)).week(t.top, jan23)
	price, quantity := target(potatoes[0].good, m), 0.0
	for _, line := range t.basket {
		if line.item == potatoes[0].item {
			quantity = line.quantity
		}
	}
	for range 12 {
		search(t, potatoes, m, price)
		cost, _ := newEconomy(t, seriesNotes(t, all, m)).week(t.top, m)
		short := rise[m]*base - cost
		if math.Abs(short) < 1e-7*cost {
			return
		}
		price += short / quantity
	}
	panic(fmt.Sprintf("no prices of potatoes in %s bring the basket to %g", monthText(m), rise[m]))
}

// seriesNotes are all priced notes up to month last, as they count: the slip already at its right price.
func seriesNotes(t tables, all []*series, last int) []note {
	var out []note
	for _, s := range all {
		for m := range last + 1 {
			if s.cents[m] == 0 {
				continue
			}
			for _, d := range s.days[m] {
				out = append(out, note{day: dayText(m, d+1), region: s.region, outlet: s.outlet, good: s.good, pack: s.pack, gtin: s.gtin, cents: s.cents[m]})
			}
		}
	}
	for _, o := range offers {
		n := note{day: o.day, outlet: o.outlet, priceType: o.priceType, packs: o.packs}
		m := n.month()
		for _, s := range all {
			if m <= last && s.outlet == o.outlet && s.item == o.item && s.grade == "" && s.cents[m] != 0 {
				n.region, n.good, n.pack, n.gtin = s.region, s.good, s.pack, s.gtin
				n.cents = int(math.Round(o.of * float64(s.cents[m])))
				out = append(out, n)
			}
		}
	}
	return append(out, averageNotes(t, last)...)
}

// averageNotes: the open file's monthly means, and the plums of the base month as someone entered them.
func averageNotes(t tables, last int) []note {
	var out []note
	for m := range last + 1 {
		for _, g := range goods {
			if averages[g.item] == "" {
				continue
			}
			p := target(g, m)
			if !fixed[m] {
				p *= 1 + .006*seeded(fmt.Sprint("average", g.item, m)).NormFloat64()
			}
			out = append(out, note{day: monthText(m), region: t.top, good: good{item: g.item}, pack: "1 kg", cents: int(math.Round(p * 100)), average: true, file: "open-averages"})
		}
	}
	for _, g := range goods {
		if g.item != "plums" {
			continue
		}
		for region, cents := range enteredPlums(t, g.base) {
			out = append(out, note{day: monthText(jan23), region: region, good: good{item: g.item}, pack: "1 kg", cents: cents, average: true, file: "entered-averages", remark: "entered average: out of season, as told by the district's growers"})
		}
	}
	slices.SortStableFunc(out, func(a, b note) int { return cmp.Compare(a.day+a.item+a.region, b.day+b.item+b.region) })
	return out
}

// enteredPlums are the cents a district whose weighted geometric mean is nearest to the base price.
func enteredPlums(t tables, base float64) map[string]int {
	regions := t.children[t.top]
	best, out := math.Inf(1), map[string]int{}
	var try func(i int, rest float64, cents map[string]int)
	try = func(i int, rest float64, cents map[string]int) {
		if i == len(regions) {
			if math.Abs(rest) < best {
				best = math.Abs(rest)
				for r, c := range cents {
					out[r] = c
				}
			}
			return
		}
		centre := int(math.Round(100 * base * level[regions[i]]))
		for c := centre - 9; c <= centre+9; c++ {
			cents[regions[i]] = c
			try(i+1, rest-t.weight[regions[i]]*math.Log(float64(c)/100), cents)
		}
	}
	try(0, math.Log(base), map[string]int{})
	return out
}
