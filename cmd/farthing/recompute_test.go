package main

import (
	"maps"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// A second opinion. This file works out every cell of reach.csv and basket.csv again, from the archived files and the tables
// alone. It is for a reader who distrusts the program: it shares no code with it, only the definitions, which stand beside
// each step. The order is that of the work: which notes count, elementary prices, their changes, gaps, baskets with the range
// across outlets, reach.
// recompute_read_test.go reads the files, recompute_compare_test.go compares.

type place struct {
	parent, currency string
	weight           float64 // of its population; missing where the table has none
}

// good is what a basket line names; cell is a good in a region and month.
type (
	good struct{ item, grade string }
	cell struct {
		region string
		good
		month calendarMonth
	}
)

type opinion struct {
	choices                                                 choices
	regions                                                 map[string]*place
	items                                                   map[string]cells
	outlets                                                 map[string]bool
	aliases, households, basketLines, allowances, deflators []cells

	notes      []*notedPrice
	unreadable int // rows of archived files
	goods      []good
	quotes     map[cell][]*notedPrice // those that count
	averages   map[cell][]float64     // ln
	notSold    map[cell]bool
	newest     time.Time     // day of any note; an average's is its month's last
	from, to   calendarMonth // of the panel
	base       calendarMonth

	lnPrices, lnChanges, lnMatched map[cell]float64    // worked out before
	anchors                        map[cell]cell       // of a good in a region, month 0
	others                         map[string]*opinion // without an outlet
	studentTs                      map[int]float64     // by degrees of freedom
}

func newOpinion(t *testing.T, dir string) *opinion {
	t.Helper()
	table := func(name string) []cells { return readCells(t, filepath.Join(dir, "tables", name+".csv")) }
	o := &opinion{choices: readChoices(t, filepath.Join(dir, "farthing.toml")), regions: map[string]*place{}, items: map[string]cells{}, outlets: map[string]bool{},
		aliases: table("aliases"), households: table("households"), basketLines: table("baskets"), allowances: table("allowances"), deflators: table("deflators"),
		quotes: map[cell][]*notedPrice{}, averages: map[cell][]float64{}, notSold: map[cell]bool{},
		lnPrices: map[cell]float64{}, lnChanges: map[cell]float64{}, lnMatched: map[cell]float64{}, anchors: map[cell]cell{}, others: map[string]*opinion{}, studentTs: map[int]float64{}}
	for _, r := range table("regions") {
		o.regions[r["region"]] = &place{r["parent"], r["currency_code"], number(t, r["population_weight"])}
	}
	for _, i := range table("items") {
		o.items[i["item"]] = i
	}
	for _, s := range table("outlets") {
		o.outlets[s["outlet"]] = true
	}
	o.from, o.to = parseMonth(t, o.choices.text("panel.from_month")), parseMonth(t, o.choices.text("panel.to_month"))
	if o.base = o.from; o.choices.text("base_month") != "" {
		o.base = parseMonth(t, o.choices.text("base_month"))
	}
	o.readArchive(t, dir)
	o.sortOut(t, table("corrections"))
	return o
}

// sortOut keeps the prices that count: of retail and of a counted price type, once each, not held unless released, not
// excluded, and with the price that a correction sets.
func (o *opinion) sortOut(t *testing.T, corrections []cells) {
	byKey := map[string]map[string]bool{} // key -> ids: one key with two prices holds both
	var once []*notedPrice
	for _, n := range o.notes {
		if byKey[n.key] == nil {
			byKey[n.key] = map[string]bool{}
		}
		if !byKey[n.key][n.id] {
			byKey[n.key][n.id] = true
			once = append(once, n)
		}
	}
	o.notes = once
	held := o.suspects(t)
	for _, n := range o.notes {
		held[n] = held[n] || len(byKey[n.key]) > 1
	}
	counts := map[*notedPrice]bool{}
	for _, n := range o.notes {
		counts[n] = n.isRetail && !missing(n.price) && !held[n] && slices.Contains(o.choices["prices.price_types"], n.priceType)
	}
	for _, c := range corrections {
		i := slices.IndexFunc(o.notes, func(n *notedPrice) bool { return n.id == c["observation_id"] })
		if i < 0 || c["column"] != "price" {
			t.Fatalf("correction of %s %s: no such observation, or a column that this test does not read", c["observation_id"], c["column"])
		}
		n := o.notes[i]
		counts[n] = c["action"] != "exclude"
		if c["action"] == "set" {
			if number(t, c["from"]) != n.price {
				t.Fatalf("correction of %s: from %s is stale", n.id, c["from"])
			}
			n.price = number(t, c["to"])
		}
	}
	for _, n := range o.notes {
		at := cell{n.region, good{n.item, n.grade}, n.month()}
		day := n.day
		if n.isAverage {
			day = at.month.day(at.month.days())
		}
		if day.After(o.newest) {
			o.newest = day
		}
		switch {
		case counts[n] && n.isAverage:
			o.averages[at] = append(o.averages[at], math.Log(n.unitPrice()))
		case counts[n]:
			o.quotes[at] = append(o.quotes[at], n)
		case n.priceType == "not_sold":
			o.notSold[at] = true
		}
		if !slices.Contains(o.goods, at.good) && counts[n] {
			o.goods = append(o.goods, at.good)
		}
	}
}

// suspects are the quotes, of whatever price type, that the edit rule holds. With at least min_own other quotes of the same
// variety and pack at the same outlet within window_days: a unit price further than own_ratio from their median. With fewer:
// one further than peer_ratio from the good's usual price anywhere in the months around, if more than min_peer quotes stand
// behind that. A series of more than min_own quotes that nowhere differ by more than own_ratio holds none.
func (o *opinion) suspects(t *testing.T) map[*notedPrice]bool {
	limit := func(key string) float64 { return o.choices.number(t, "edit."+key) }
	ownRatio, peerRatio, minOwn, minPeer := limit("own_ratio"), limit("peer_ratio"), int(limit("min_own")), int(limit("min_peer"))
	window := time.Duration(limit("window_days")) * 24 * time.Hour
	windowMonths := calendarMonth(math.Round(limit("window_days") / (365.25 / 12)))
	type track struct{ outlet, item, variety, grade, pack string }
	tracks := map[track][]*notedPrice{}
	anywhere := map[good]map[calendarMonth][]float64{}
	for _, n := range o.notes {
		if missing(n.price) || n.isAverage {
			continue
		}
		k, g := track{n.outlet, n.item, n.variety, n.grade, n.pack}, good{n.item, n.grade}
		tracks[k] = append(tracks[k], n)
		if anywhere[g] == nil {
			anywhere[g] = map[calendarMonth][]float64{}
		}
		anywhere[g][n.month()] = append(anywhere[g][n.month()], n.unitPrice())
	}
	usual := func(g good, month calendarMonth) (centre float64, n int) {
		var medians []float64
		for m := month - windowMonths; m <= month+windowMonths; m++ {
			if prices := anywhere[g][m]; len(prices) > 0 {
				medians, n = append(medians, median(prices)), n+len(prices)
			}
		}
		return median(medians), n
	}
	held := map[*notedPrice]bool{}
	for _, notes := range tracks {
		low, high := math.Inf(1), 0.0
		for _, n := range notes {
			low, high = min(low, n.unitPrice()), max(high, n.unitPrice())
		}
		if len(notes) > minOwn && high <= ownRatio*low {
			continue
		}
		for _, n := range notes {
			var others []float64
			for _, other := range notes {
				if other != n && other.day.Sub(n.day).Abs() <= window {
					others = append(others, other.unitPrice())
				}
			}
			if len(others) >= minOwn {
				held[n] = apart(n.unitPrice(), median(others)) > ownRatio
			} else if centre, all := usual(good{n.item, n.grade}, n.month()); all > minPeer {
				held[n] = apart(n.unitPrice(), centre) > peerRatio
			}
		}
	}
	return held
}

func apart(a, b float64) float64 { return max(a/b, b/a) }

func median(x []float64) float64 {
	x = slices.Sorted(slices.Values(x))
	return (x[(len(x)-1)/2] + x[len(x)/2]) / 2
}

// offer says where and in what form a good is sold; regroup leaves fields out.
type offer struct{ outlet, variety, pack string }

// regroup averages the values whose offers become one.
func regroup(values map[offer]float64, into func(offer) offer) map[offer]float64 {
	groups := map[offer][]float64{}
	for k, x := range values {
		groups[into(k)] = append(groups[into(k)], x)
	}
	return means(groups)
}

// byOffer averages the ln unit prices of a month's quotes over the days.
func byOffer(quotes []*notedPrice) map[offer]float64 {
	groups := map[offer][]float64{}
	for _, q := range quotes {
		k := offer{q.outlet, q.variety, q.pack}
		groups[k] = append(groups[k], math.Log(q.unitPrice()))
	}
	return means(groups)
}

func means(groups map[offer][]float64) map[offer]float64 {
	values := map[offer]float64{}
	for k, x := range groups {
		values[k] = mean(x)
	}
	return values
}

// mean of nothing is missing, for 0/0 is NaN. It sums in order of size, so that nothing hangs on the order of a map.
func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range slices.Sorted(slices.Values(x)) {
		sum += v
	}
	return sum / float64(len(x))
}

// own is the ln elementary price that a region's own notes give. Quotes: the mean over days, then over varieties and packs
// within an outlet, then over outlets. An average is the price itself; several of a month give their mean.
func (o *opinion) own(c cell, source string) float64 {
	if source == "averages" {
		return mean(o.averages[c])
	}
	byOutlet := regroup(byOffer(o.quotes[c]), func(k offer) offer { return offer{outlet: k.outlet} })
	return mean(slices.Collect(maps.Values(byOutlet)))
}

// ownChange is the ln change from the month before: for quotes the mean over what the same outlet sold of the same variety in
// both months, its packs averaged; an average counts as one such series.
func (o *opinion) ownChange(c cell, source string) float64 {
	before := c
	before.month--
	was, is := o.series(before, source), o.series(c, source)
	var changes []float64
	for k := range is {
		if _, both := was[k]; both {
			changes = append(changes, is[k]-was[k])
		}
	}
	return mean(changes)
}

// series are the ln prices of what a region's own notes follow from month to month.
func (o *opinion) series(c cell, source string) map[offer]float64 {
	if source == "quotes" {
		return regroup(byOffer(o.quotes[c]), func(k offer) offer { return offer{outlet: k.outlet, variety: k.variety} })
	}
	if len(o.averages[c]) == 0 {
		return nil
	}
	return map[offer]float64{{}: mean(o.averages[c])}
}

// fromSource is what a region's own notes give, or else its children's values, weighted by population, of those that have one.
func (o *opinion) fromSource(c cell, source string, own func(cell, string) float64) float64 {
	if x := own(c, source); !missing(x) {
		return x
	}
	sum, weights := 0.0, 0.0
	for _, child := range o.children(c.region) {
		x, w := o.fromSource(cell{child, c.good, c.month}, source, own), o.regions[child].weight
		if missing(w) && o.choices.text("panel.pooled") == "true" {
			w = 1
		}
		if !missing(x) {
			sum += w * x
			weights += w
		}
	}
	return sum / weights // of no child: 0/0, missing
}

// inOrder asks the sources in the settings' order.
func (o *opinion) inOrder(c cell, own func(cell, string) float64) float64 {
	for _, source := range o.choices["panel.source_order"] {
		if x := o.fromSource(c, source, own); !missing(x) {
			return x
		}
	}
	return noValue
}

func (o *opinion) children(region string) (list []string) {
	for _, name := range slices.Sorted(maps.Keys(o.regions)) {
		if o.regions[name].parent == region {
			list = append(list, name)
		}
	}
	return list
}

// upward is the region and its ancestors, the nearest first.
func (o *opinion) upward(region string) (list []string) {
	for ; region != ""; region = o.regions[region].parent {
		list = append(list, region)
	}
	return list
}

func (o *opinion) observed(c cell) float64 {
	if _, known := o.lnPrices[c]; !known {
		o.lnPrices[c] = o.inOrder(c, o.own)
	}
	return o.lnPrices[c]
}

// level is the ln price of a month in which something was observed: as found; or that of the matched sample, which has the price
// found in the base month, or in the nearest of the months in which the good was better seen.
func (o *opinion) level(t *testing.T, c cell) float64 {
	if o.choices.text("panel.sample") == "as_found" {
		return o.observed(c)
	}
	at := o.anchor(t, c)
	return o.matched(c) - o.matched(at) + o.observed(at)
}

// anchor is the month whose price found stands: of those in which most is seen, first by the weight of the children up to the least
// share asked for, then by outlets up to three (a published average counts as three), the nearest to the base month or the one before it.
func (o *opinion) anchor(t *testing.T, c cell) (best cell) {
	if at, known := o.anchors[cell{c.region, c.good, 0}]; known {
		return at
	}
	most := -1.0
	for _, away := range alternately(int(o.to - o.from)) {
		at := cell{c.region, c.good, o.base + calendarMonth(away)}
		if at.month < o.from || at.month > o.to || missing(o.observed(at)) {
			continue
		}
		share := 1.0
		for _, source := range o.choices["panel.source_order"] {
			if missing(o.fromSource(at, source, o.own)) {
				continue
			}
			if missing(o.own(at, source)) {
				seen, all := 0.0, 0.0
				for _, child := range o.children(c.region) {
					w := o.regions[child].weight
					if missing(w) && o.choices.text("panel.pooled") == "true" {
						w = 1
					}
					if all += w; !missing(o.fromSource(cell{child, c.good, at.month}, source, o.own)) {
						seen += w
					}
				}
				share = seen / all
			}
			break
		}
		outlets := 3
		if _, behind := o.behind(at); len(behind) > 0 {
			outlets = min(3, len(behind))
		}
		if well := 10*min(share, o.choices.number(t, "panel.min_observed_share")) + float64(outlets)/1e6; well > most+1e-9 {
			most, best = well, at
		}
	}
	o.anchors[cell{c.region, c.good, 0}] = best
	return best
}

// alternately is 0, -1, 1, -2, 2 and so on to -n, n.
func alternately(n int) []int {
	list := []int{0}
	for i := 1; i <= n; i++ {
		list = append(list, -i, i)
	}
	return list
}

// matched is the ln level of the matched sample, from the first month of the panel on. Of what is priced now each went on from
// the month in which it was last priced: from that month's level, by its own change. The level is the mean of where they arrived,
// of the good's sources in the settings' order: of the region's own series, or of its children, by their levels and weights.
func (o *opinion) matched(c cell) float64 {
	if x, known := o.lnMatched[c]; known {
		return x
	}
	found, level := o.observed(c), noValue
	in := func(region string, m calendarMonth) cell { return cell{region, c.good, m} }
	last := func(priced func(calendarMonth) bool) calendarMonth { // o.from - 1 if in no month
		m := c.month - 1
		for m >= o.from && (missing(o.observed(in(c.region, m))) || !priced(m)) {
			m--
		}
		return m
	}
	for _, source := range o.choices["panel.source_order"] {
		if missing(found) || !missing(level) {
			break
		}
		var arrived []float64
		for k, is := range o.series(c, source) {
			m := last(func(m calendarMonth) bool { _, was := o.series(in(c.region, m), source)[k]; return was })
			if m >= o.from {
				arrived = append(arrived, o.matched(in(c.region, m))+is-o.series(in(c.region, m), source)[k])
			}
		}
		if level = mean(arrived); !missing(level) {
			break
		}
		sum, weights := 0.0, 0.0
		for _, child := range o.children(c.region) {
			w := o.regions[child].weight
			if missing(w) && o.choices.text("panel.pooled") == "true" {
				w = 1
			}
			m := last(func(m calendarMonth) bool { return !missing(o.observed(in(child, m))) })
			if !missing(w) && m >= o.from && !missing(o.fromSource(in(child, c.month), source, o.own)) {
				sum += w * (o.matched(in(c.region, m)) + o.matched(in(child, c.month)) - o.matched(in(child, m)))
				weights += w
			}
		}
		level = sum / weights
	}
	if m := last(func(calendarMonth) bool { return true }); missing(level) && m >= o.from { // all of it is new
		level = o.matched(in(c.region, m)) + found - o.observed(in(c.region, m))
	}
	if missing(level) {
		level = found
	}
	o.lnMatched[c] = level
	return level
}

func (o *opinion) change(c cell) float64 {
	if _, known := o.lnChanges[c]; !known {
		o.lnChanges[c] = o.inOrder(c, o.ownChange)
	}
	return o.lnChanges[c]
}

// meanChange is the mean ln change of the region's goods that pass.
func (o *opinion) meanChange(c cell, pass func(good) bool) float64 {
	var changes []float64
	for _, g := range o.goods {
		if x := o.change(cell{c.region, g, c.month}); pass(g) && !missing(x) {
			changes = append(changes, x)
		}
	}
	return mean(changes)
}

// class is the first three levels of an item's COICOP code.
func (o *opinion) class(item string) string {
	levels := strings.Split(o.items[item]["coicop_code"], ".")
	return strings.Join(levels[:min(3, len(levels))], ".")
}

// price is a cell's price and status. A gap takes the last price seen in the panel and moves it by changes that were seen, by
// the first rule that has one for every month of the gap: the good's in the nearest region upward, its class's here, all goods'
// here; then it is carried. Out of season all goods' alone. What is not sold has no price.
func (o *opinion) price(t *testing.T, c cell) (price float64, status string) {
	if !missing(o.observed(c)) {
		p := o.level(t, c)
		if _, outlets := o.behind(c); len(outlets) > 0 && len(outlets) < 3 {
			return math.Exp(p), "U"
		}
		return math.Exp(p), "A"
	}
	at := func(m calendarMonth) cell { return cell{c.region, c.good, m} }
	seen := c.month - 1
	for seen >= o.from && missing(o.observed(at(seen))) {
		seen--
	}
	type rule struct {
		months calendarMonth // the longest gap that it closes
		status string
		change func(cell) float64
	}
	wholeRegion := func(c cell) float64 { return o.meanChange(c, func(good) bool { return true }) }
	var rules []rule
	for _, ancestor := range o.upward(c.region)[1:] {
		rules = append(rules, rule{6, "I", func(c cell) float64 { return o.change(cell{ancestor, c.good, c.month}) }})
	}
	rules = append(rules,
		rule{6, "I", func(c cell) float64 {
			return o.meanChange(c, func(g good) bool { return g != c.good && o.class(g.item) == o.class(c.item) })
		}},
		rule{3, "I", wholeRegion},
		rule{2, "E", func(cell) float64 { return 0 }})
	if !o.inSeason(t, c) {
		rules = []rule{{11, "I", wholeRegion}}
	}
	if o.choices.text("panel.impute") == "false" || o.notSold[c] {
		rules = nil
	}
	for _, r := range rules {
		if seen < o.from || c.month-seen > r.months {
			continue
		}
		moved := o.level(t, at(seen))
		for m := seen + 1; m <= c.month; m++ {
			moved += r.change(at(m))
		}
		if !missing(moved) {
			return math.Exp(moved), r.status
		}
	}
	if o.notSold[c] {
		return noValue, "M"
	}
	return noValue, "O"
}

func (o *opinion) inSeason(t *testing.T, c cell) bool {
	from, to := number(t, o.items[c.item]["season_from_month"]), number(t, o.items[c.item]["season_to_month"])
	m := float64(c.month%12 + 1)
	switch {
	case missing(from):
		return true
	case from <= to:
		return from <= m && m <= to
	}
	return m >= from || m <= to // over the new year
}

// behind is the quotes that an observed price rests on: the region's own or its children's. None stand behind an average.
func (o *opinion) behind(c cell) (n int, outlets map[string]bool) {
	outlets = map[string]bool{}
	if o.choices["panel.source_order"][0] == "averages" && !missing(o.fromSource(c, "averages", o.own)) || missing(o.fromSource(c, "quotes", o.own)) {
		return 0, outlets
	}
	for _, q := range o.quotes[c] {
		n++
		outlets[q.outlet] = true
	}
	for _, child := range o.children(c.region) {
		if len(o.quotes[c]) == 0 {
			more, theirs := o.behind(cell{child, c.good, c.month})
			n += more
			maps.Copy(outlets, theirs)
		}
	}
	return n, outlets
}

// line is a basket's line: what one person eats of a good a day, as purchased, in its base unit.
type line struct {
	good
	aDay float64
}

func (o *opinion) lines(t *testing.T, basket string) (lines []line) {
	for _, row := range o.basketLines {
		if row["basket"] != basket {
			continue
		}
		item := o.items[row["item"]]
		amount, ok := inBaseUnit(row["quantity"], row["unit"], item["base_unit"])
		days := map[string]float64{"day": 1, "week": 7, "month": 30.4375}[row["per"]]
		if !ok || days == 0 || row["price_rule"] == "cheapest" {
			t.Fatalf("basket line %v: this test does not read it", row)
		}
		l := line{good{row["item"], row["grade"]}, 0}
		if l.grade == "" {
			l.grade = o.choices.text("prices.default_grade")
		}
		l.aDay, _ = amount.Float64()
		l.aDay /= days
		if yield := number(t, item["edible_yield"]); row["basis"] == "EP" && !missing(yield) { // else 100 % is assumed
			l.aDay /= yield // an edible quantity = yield x quantity as purchased
		}
		lines = append(lines, l)
	}
	return lines
}

// without is the opinion that the notes of all other outlets give.
func (o *opinion) without(outlet string) *opinion {
	if o.others[outlet] == nil {
		p := *o
		p.quotes, p.lnPrices = map[cell][]*notedPrice{}, map[cell]float64{}
		for c, notes := range o.quotes {
			if left := slices.DeleteFunc(slices.Clone(notes), func(n *notedPrice) bool { return n.outlet == outlet }); len(left) > 0 {
				p.quotes[c] = left
			}
		}
		o.others[outlet] = &p
	}
	return o.others[outlet]
}

// spread is how far the ln cost of a basket may stand either way: the jackknife over the outlets behind it, times Student's t.
// With one outlet left out, a price is as much lower or higher as the prices found at the others; a price that they do not give, and one that was filled,
// stays. It takes three outlets.
func (o *opinion) spread(t *testing.T, region string, lines []line, month calendarMonth, outlets []string) float64 {
	if len(outlets) < 3 {
		return noValue
	}
	var logs []float64
	for _, outlet := range outlets {
		cost := 0.0
		for _, l := range lines {
			c := cell{region, l.good, month}
			price, _ := o.price(t, c)
			if ratio := math.Exp(o.without(outlet).observed(c) - o.observed(c)); !missing(ratio) {
				price *= ratio
			}
			cost += l.aDay * price
		}
		logs = append(logs, math.Log(cost))
	}
	centre, squares, n := mean(logs), 0.0, float64(len(logs))
	for _, x := range logs {
		squares += (x - centre) * (x - centre)
	}
	return o.studentT(len(logs)-1) * math.Sqrt(squares*(n-1)/n)
}

// studentT is the point that Student's t stays below with 97.5 %: by Simpson's rule over its density, and halving. Any printed
// table has 4.303 for 2 degrees of freedom and 2.365 for 7.
func (o *opinion) studentT(freedom int) float64 {
	if x, known := o.studentTs[freedom]; known {
		return x
	}
	f := float64(freedom)
	density := func(x float64) float64 {
		return math.Gamma((f+1)/2) / math.Gamma(f/2) / math.Sqrt(f*math.Pi) * math.Pow(1+x*x/f, -(f+1)/2)
	}
	low, high := 0.0, 20.0
	for high-low > 1e-13 {
		const steps = 2000
		x := (low + high) / 2
		area := density(0) + density(x)
		for i := 1; i < steps; i++ {
			area += float64(2+2*(i%2)) * density(float64(i)*x/steps)
		}
		if 0.5+area*x/steps/3 < 0.975 {
			low = x
		} else {
			high = x
		}
	}
	o.studentTs[freedom] = low
	return low
}

// statusOrder is the order in which letters of SDMX CL_OBS_STATUS are given; A stands alone.
const statusOrder = "QMOLBUEIP"

// figures are a row by column: float64, where noValue is a blank, or string.
type figures map[string]any

// basket is a household's row of basket.csv, without its key.
func (o *opinion) basket(t *testing.T, region, basket string, equivalents float64, month calendarMonth) figures {
	ancestors := o.upward(region)
	top := ancestors[len(ancestors)-1]
	known, n, outlets := 0.0, 0, map[string]bool{}
	all, weights := map[rune]bool{}, map[string]float64{}
	lines := o.lines(t, basket)
	for _, l := range lines {
		basePrice, _ := o.price(t, cell{top, l.good, o.base})
		weight := l.aDay * basePrice
		price, status := o.price(t, cell{region, l.good, month})
		if status != "U" { // unreliable is said of the total: below
			all[rune(status[0])] = true
		}
		share := "missing"
		if !missing(price) {
			share = map[string]string{"A": "observed", "U": "observed", "I": "imputed", "E": "imputed"}[status]
			known += equivalents * l.aDay * price
		}
		weights[share] += weight
		weights["all"] += weight
		if share == "observed" {
			more, theirs := o.behind(cell{region, l.good, month})
			n += more
			maps.Copy(outlets, theirs)
		}
	}
	f := figures{"known_part_lcu": known, "per_day_lcu": known, "base_month": o.base.String(), "deflator": o.choices.text("deflator"), "currency_code": o.regions[region].currency,
		"n_observations": count(n), "n_outlets": count(len(outlets))}
	for _, share := range []string{"observed", "imputed", "missing"} {
		f[share+"_share"] = weights[share] / weights["all"]
	}
	if known == 0 {
		f["known_part_lcu"] = noValue
	}
	if weights["observed"] == 0 { // nothing was seen: that is a count of 0, and not an unknown one
		f["n_observations"], f["n_outlets"] = 0.0, 0.0
	}
	if all['M'] || all['O'] {
		f["per_day_lcu"] = noValue
	}
	spread := math.Exp(o.spread(t, region, lines, month, slices.Sorted(maps.Keys(outlets))))
	f["lo_lcu"], f["hi_lcu"] = f["per_day_lcu"].(float64)/spread, f["per_day_lcu"].(float64)*spread
	if f["observed_share"].(float64) < o.choices.number(t, "panel.min_observed_share") || n > 0 && len(outlets) < 3 {
		all['U'] = true
	}
	if month.day(month.days()).After(o.newest) {
		all['P'] = true // provisional: the month may get more notes
	}
	letters := ""
	for _, letter := range statusOrder {
		if all[letter] {
			letters += string(letter)
		}
	}
	if letters == "" {
		letters = "A"
	}
	f["obs_status"], f["obs_status_all"] = letters[:1], letters
	var toBase float64
	toBase, f["deflator_region"] = o.toBaseMoney(t, region, month)
	f["standard_month_lcu"] = f["per_day_lcu"].(float64) * 30.4375
	f["real_per_day_lcu"] = f["per_day_lcu"].(float64) * toBase
	return f
}

// count is a number of quotes; with averages alone it is not known.
func count(n int) float64 {
	if n == 0 {
		return noValue
	}
	return float64(n)
}

// toBaseMoney turns money of a month into the base month's: index of the base month / index of the month, of the nearest
// region upward that has the series.
func (o *opinion) toBaseMoney(t *testing.T, region string, month calendarMonth) (times float64, from string) {
	for _, r := range o.upward(region) {
		index := map[string]float64{}
		for _, d := range o.deflators {
			if d["region"] == r && d["series"] == o.choices.text("deflator") {
				index[d["month"]] = number(t, d["index_value"])
			}
		}
		if len(index) > 0 {
			then, ok1 := index[o.base.String()]
			now, ok2 := index[month.String()]
			if !ok1 || !ok2 {
				return noValue, r
			}
			return then / now, r
		}
	}
	return noValue, ""
}

// allowance is the amount of a month: the row in force on its pay day for exactly these persons, of the nearest region upward.
// run is the number of days that it is for, to the next pay day.
func (o *opinion) allowance(t *testing.T, programme, kind, region, persons string, month calendarMonth) (amount float64, from string, payDay time.Time, run int) {
	for _, r := range o.upward(region) {
		for _, a := range o.allowances {
			if a["programme"] != programme || a["amount_kind"] != kind || a["region"] != r || a["persons"] != persons {
				continue
			}
			if a["per"] != "month" && a["per"] != "" {
				t.Fatalf("allowance %v: this test reads monthly ones", a)
			}
			n := 1
			if a["paid_on_day"] != "" {
				n = int(number(t, a["paid_on_day"]))
			}
			payDay = month.day(min(n, month.days()))
			day := payDay.Format("2006-01-02")
			if a["effective_from"] <= day && (a["effective_to"] == "" || day <= a["effective_to"]) {
				next := (month + 1).day(min(n, (month + 1).days()))
				return number(t, a["amount_lcu"]), r, payDay, int(next.Sub(payDay).Hours() / 24)
			}
		}
	}
	return noValue, "", time.Time{}, 0
}

// reach is a row of reach.csv, without its key.
func (o *opinion) reach(t *testing.T, programme, kind, region string, household cells, basket string, month calendarMonth) figures {
	equivalents, eaters := number(t, household["person_equivalents"]), number(t, household["persons"])
	meals := number(t, household["meals_per_day"])
	if missing(meals) {
		meals = 3
	}
	b := o.basket(t, region, basket, equivalents, month)
	perDay := b["per_day_lcu"].(float64)
	amount, from, payDay, run := o.allowance(t, programme, kind, region, household["persons"], month)
	toBase, _ := o.toBaseMoney(t, region, month)
	days := float64(month.days())
	f := figures{"allowance_lcu": amount, "allowance_from": from, "per_day_lcu": perDay, "days_in_month": days,
		"reach_days": amount / perDay, "adequacy": amount / perDay / days, "fed_days": noValue, "run_out_on": "",
		"balance_lcu": amount - perDay*days, "shortfall_lcu": noValue, "shortfall_per_meal_lcu": noValue,
		"allowance_per_day_lcu": amount / days, "allowance_per_meal_lcu": amount / days / eaters / meals, "allowance_real_lcu": amount * toBase,
		"reach_lo_days": amount / b["hi_lcu"].(float64), "reach_hi_days": amount / b["lo_lcu"].(float64), "first_month_lcu": noValue}
	if !missing(amount / perDay) {
		fed := 0
		for fed < run && float64(fed+1)*perDay <= amount*(1+1e-9) {
			fed++
		}
		f["fed_days"] = float64(fed)
		if fed < run {
			f["run_out_on"] = payDay.AddDate(0, 0, fed).Format("2006-01-02")
		}
		f["shortfall_lcu"] = max(0, perDay*days-amount)
		f["shortfall_per_meal_lcu"] = max(0, perDay*days-amount) / days / eaters / meals
	}
	// What would buy the base month's days at this month's cost, whatever is paid this month.
	baseAmount, _, _, _ := o.allowance(t, programme, kind, region, household["persons"], o.base)
	basePerDay := o.basket(t, region, basket, equivalents, o.base)["per_day_lcu"].(float64)
	f["catch_up_lcu"] = baseAmount / basePerDay * perDay
	for _, column := range []string{"currency_code", "n_observations", "n_outlets", "imputed_share", "missing_share", "obs_status", "obs_status_all"} {
		f[column] = b[column]
	}
	return f
}
