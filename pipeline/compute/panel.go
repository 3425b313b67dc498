package compute

import (
	"cmp"
	"fmt"
	"math"
	"math/big"
	"slices"
	"sort"
	"strings"
	"time"

	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// good is what a price is of: an item in one of its grades.
type good struct{ item, grade string }

// cell is one good in one region and month.
type cell struct {
	ln       float64 // log of the elementary price, by the sample; NaN where none was observed
	found    float64 // log of the price found in the month, whatever the sample
	change   float64 // log change of the matched sample against the month before; NaN where there is none
	nMatched int

	n         result.Int // notes behind it; unknown for a published average
	outlets   result.Int
	unweighed float64 // of a parent region: the share of its children's weight that has no price
	oldest    string
	newest    string
	absent    string     // not_sold or out_of_stock, where noted
	held      *heldNotes // of the region and its parts; nil where there are none

	// What the imputation ladder made of it.
	price    float64 // NaN where there is none
	filledBy string  // rule, "" where observed
	age      int     // months since the last observed price
	status   string
}

// observed says whether a price was seen.
func (c *cell) observed() bool { return !math.IsNaN(c.ln) }

// asFound is the price found in the month, or what the gap was filled with.
func (c *cell) asFound() float64 {
	if c.observed() {
		return math.Exp(c.found)
	}
	return c.price
}

// raw is what was observed in one region and month of one kind of source.
type raw struct {
	ln, change     float64
	nMatched       int
	n, outlets     int
	oldest, newest string
	unweighed      float64
	links          []link // of the region's own series
}

// link is how series went on since they were last priced.
type link struct {
	back   int     // months since
	weight float64 // number of series, or the weight of a part
	sum    float64 // weight x mean log change, in fixed point: sums of whole numbers are exact
}

// link adds what n series did; those priced the month before make the matched change.
func (x *raw) link(l link, n int) {
	x.links = append(x.links, l)
	if l.back == 1 {
		x.change, x.nMatched = fixed(int64(math.Round(l.sum/l.weight))), n
	}
}

// heldNotes are prices that an edit rule holds: they are in no mean.
type heldNotes struct {
	n      int
	lo, hi float64 // unit prices
}

// and adds up what is held in two places; either may be nil.
func (h *heldNotes) and(other *heldNotes) *heldNotes {
	switch {
	case other == nil:
		return h
	case h == nil:
		return other
	}
	return &heldNotes{h.n + other.n, min(h.lo, other.lo), max(h.hi, other.hi)}
}

// observations are what the database reduced the accepted prices to.
type observations struct {
	quotes   map[place]raw
	averages map[place]raw
	absent   map[place]string
	held     map[place]*heldNotes
	// atOutlet lists, for the goods of baskets, the outlets of the region itself behind a price.
	atOutlet map[place][]outletPrice
	// packs lists, for the same, the packs behind each outlet's price, an outlet's together.
	packs map[place][]packPrice
}

// place names a cell.
type place struct {
	region string
	good
	month result.Month
}

// panel is all goods in all regions and months, gaps filled as the settings say.
type panel struct {
	first, last result.Month
	regions     []workspace.Region // parents after their children
	parent      map[string]string
	children    map[string][]workspace.Region
	items       map[string]workspace.Item
	goods       []good
	cells       map[string]map[good][]cell // region, good, month
	shops       *shops
	settings    workspace.Settings
	warn        func(code, text, cure, key string)
}

func newPanel(t *workspace.Tables, s workspace.Settings, o *observations, first, last, base result.Month, asOf string, warn func(code, text, cure, key string)) *panel {
	p := &panel{first: first, last: last, parent: map[string]string{}, children: map[string][]workspace.Region{}, items: map[string]workspace.Item{},
		cells: map[string]map[good][]cell{}, settings: s, warn: warn}
	for _, it := range t.Items {
		p.items[it.Item] = it
	}
	for _, r := range t.Regions {
		p.parent[r.Region] = r.Parent
		if r.Parent != "" {
			p.children[r.Parent] = append(p.children[r.Parent], r)
		}
	}
	p.regions = slices.Clone(t.Regions)
	sort.SliceStable(p.regions, func(i, j int) bool {
		di, dj := p.depth(p.regions[i].Region), p.depth(p.regions[j].Region)
		return di > dj || di == dj && p.regions[i].Region < p.regions[j].Region
	})
	p.goods = goodsOf(o)
	p.observe(o, base)
	p.shops = newShops(p, o)
	p.fill(asOf)
	return p
}

func goodsOf(o *observations) []good {
	seen := map[good]bool{}
	for k := range o.quotes {
		seen[k.good] = true
	}
	for k := range o.averages {
		seen[k.good] = true
	}
	for k := range o.absent {
		seen[k.good] = true
	}
	for k := range o.held {
		seen[k.good] = true
	}
	var goods []good
	for g := range seen {
		goods = append(goods, g)
	}
	sort.Slice(goods, func(i, j int) bool {
		if goods[i].item != goods[j].item {
			return goods[i].item < goods[j].item
		}
		return goods[i].grade < goods[j].grade
	})
	return goods
}

func (p *panel) depth(region string) (d int) {
	for r := p.parent[region]; r != ""; r = p.parent[r] {
		d++
	}
	return d
}

// top is the root above a region.
func (p *panel) top(region string) string {
	for p.parent[region] != "" {
		region = p.parent[region]
	}
	return region
}

func (p *panel) months() int { return int(p.last-p.first) + 1 }

// at is a cell, or nil outside the panel.
func (p *panel) at(region string, g good, m result.Month) *cell {
	row := p.cells[region][g]
	if row == nil || m < p.first || m > p.last {
		return nil
	}
	return &row[m-p.first]
}

var nothing = raw{ln: math.NaN(), change: math.NaN()}

// observe sets the observed price and matched change of each cell. A region's
// own quotes come first, then its children's, weighted; the same for published
// averages; source_order says which of the two is taken. By the sample
// "matched" the price found then gives way to that of the matched sample.
func (p *panel) observe(o *observations, base result.Month) {
	for _, g := range p.goods {
		kinds := map[string]map[string][]raw{"quotes": {}, "averages": {}}
		for _, r := range p.regions { // children first
			kinds["quotes"][r.Region] = p.sourced(r.Region, g, o.quotes, kinds["quotes"])
			kinds["averages"][r.Region] = p.sourced(r.Region, g, o.averages, kinds["averages"])
		}
		for _, r := range p.regions {
			row := make([]cell, p.months())
			for i := range row {
				m := p.first + result.Month(i)
				row[i] = cell{ln: math.NaN(), found: math.NaN(), change: math.NaN(), price: math.NaN(), absent: o.absent[place{r.Region, g, m}], held: o.held[place{r.Region, g, m}]}
				for _, kind := range p.settings.Panel.SourceOrder {
					x := kinds[kind][r.Region][i]
					if math.IsNaN(row[i].change) {
						row[i].change, row[i].nMatched = x.change, x.nMatched
					}
					if row[i].observed() || math.IsNaN(x.ln) {
						continue
					}
					row[i].ln, row[i].found, row[i].unweighed, row[i].oldest, row[i].newest = x.ln, x.ln, x.unweighed, x.oldest, x.newest
					if kind == "quotes" {
						row[i].n, row[i].outlets = result.Count(x.n), result.Count(x.outlets)
					}
				}
			}
			for _, part := range p.children[r.Region] {
				for i, c := range p.cells[part.Region][g] {
					row[i].held = row[i].held.and(c.held)
				}
			}
			if p.cells[r.Region] == nil {
				p.cells[r.Region] = map[good][]cell{}
			}
			p.cells[r.Region][g] = row
			if p.settings.Panel.Sample == "matched" {
				p.match(r.Region, g, base, kinds)
			}
		}
	}
}

// match turns the prices found of a good in a region into the levels of the
// matched sample. Each series priced in month t and before, last in month s,
// says that ln level(t) = ln level(s) + ln(p_t / p_s); the level is the mean
// over them: over the varieties of each outlet, over the parts of a region by
// weight. Where every series was priced the month before that is the chained
// Jevons index; a series that was not noted for a while brings in at once what
// it did meanwhile, and a new one waits for its next price. Where all are new
// the price moves as it was found. The price found in the base month stands, or
// in the month nearest it in which the good is as well seen as it ever is (see
// anchor).
//
// Levels are whole numbers of the fixed point, so that prices which return bring
// back the very same level.
func (p *panel) match(region string, g good, base result.Month, kinds map[string]map[string][]raw) {
	row := p.cells[region][g]
	level := make([]float64, len(row))
	last, keeps := -1, p.anchor(row, base)
	for i := range row {
		level[i] = math.NaN()
		if !row[i].observed() {
			continue
		}
		level[i] = fixedPoint(row[i].ln)
		if last >= 0 {
			level[i] = level[last] + level[i] - fixedPoint(row[last].ln)
		}
		for _, kind := range p.settings.Panel.SourceOrder {
			x := kinds[kind]
			linked := goOn(level, i, x[region][i].links)
			if math.IsNaN(linked) {
				linked = goOn(level, i, p.partLinks(region, g, i, level, x))
			}
			if !math.IsNaN(linked) {
				level[i] = linked
				break
			}
		}
		last = i
	}
	if keeps < 0 {
		return
	}
	for i := range row {
		if row[i].observed() {
			row[i].ln = row[keeps].found + (level[i]-level[keeps])/1e12
		}
	}
}

// anchor is the month whose price found is the level: the base month, or where
// the good was less well seen then than it ever is, the month nearest it (of two
// the earlier) in which it was: of a region's parts in the share that [panel]
// min_observed_share asks for, and there in three shops. All other months follow
// from it; a first month with one part of ten, or one shop of ten, would hand its
// level on to all of them. -1 where nothing was seen.
func (p *panel) anchor(row []cell, base result.Month) int {
	shops := func(c cell) int {
		if !c.outlets.OK { // a published average
			return minOutlets
		}
		return min(c.outlets.V, minOutlets)
	}
	share := func(c cell) float64 { return math.Round(1e9 * min(1-c.unweighed, p.settings.Panel.MinObservedShare)) }
	best, at := -1, int(base-p.first)
	for i, c := range row {
		if !c.observed() {
			continue
		}
		if best < 0 || cmp.Or(cmp.Compare(share(c), share(row[best])), shops(c)-shops(row[best]), max(best-at, at-best)-max(i-at, at-i)) > 0 {
			best = i
		}
	}
	return best
}

// goOn is the level of month i by the links from months before; NaN where no
// link begins in the panel.
func goOn(level []float64, i int, links []link) float64 {
	from, weight, sum := math.NaN(), 0.0, 0.0
	for _, l := range links {
		if l.back > i || math.IsNaN(level[i-l.back]) {
			continue
		}
		if weight == 0 {
			from = level[i-l.back]
		}
		weight, sum = weight+l.weight, sum+l.sum+l.weight*(level[i-l.back]-from)
	}
	return math.Round(from + sum/weight)
}

// partLinks are a region's links of month i through its parts that are priced
// then: each from the month in which it and the region were last priced, by its
// own level.
func (p *panel) partLinks(region string, g good, i int, level []float64, kind map[string][]raw) (links []link) {
	for _, c := range p.children[region] {
		w := p.weight(c)
		if math.IsNaN(kind[c.Region][i].ln) || math.IsNaN(w) || w == 0 {
			continue
		}
		row := p.cells[c.Region][g]
		for s := i - 1; s >= 0; s-- {
			if row[s].observed() && !math.IsNaN(level[s]) {
				links = append(links, link{i - s, w, w * (fixedPoint(row[i].ln) - fixedPoint(row[s].ln))})
				break
			}
		}
	}
	return links
}

// weight is a region's weight among the parts of its parent; NaN where it has none.
func (p *panel) weight(r workspace.Region) float64 {
	switch {
	case r.Weight != nil:
		return float(r.Weight)
	case p.settings.Panel.Pooled:
		return 1
	}
	return math.NaN()
}

// sourced is a region's prices from one kind of source: its own where it has
// any that month, else its children's.
func (p *panel) sourced(region string, g good, own map[place]raw, done map[string][]raw) []raw {
	row := make([]raw, p.months())
	for i := range row {
		m := p.first + result.Month(i)
		x, ok := own[place{region, g, m}]
		if !ok || math.IsNaN(x.change) {
			below := p.weighted(region, g, done, i, !ok)
			if !ok {
				x = below
			} else {
				x.change, x.nMatched = below.change, below.nMatched
			}
		}
		row[i] = x
	}
	return row
}

// weighted is the parent's price: sum(w ln p) / sum(w) over the children that
// have one, w their population weight; its change likewise over the children
// that have a change. Where one that has a price lacks a weight there is no
// price; told, if it was wanted.
func (p *panel) weighted(region string, g good, rows map[string][]raw, i int, wanted bool) raw {
	x := nothing
	var sumW, sumLn, sumAll, changeW, sumChange float64
	for _, c := range p.children[region] {
		w := p.weight(c)
		if math.IsNaN(w) {
			if r := rows[c.Region][i]; !math.IsNaN(r.ln) {
				if wanted {
					p.warn("no_weight", fmt.Sprintf("%s has no price of %s: its part %s has no population_weight", region, g.item, c.Region),
						"give each part a weight in tables/regions, or set [panel] pooled = true to weight them alike", region+"/"+g.item)
				}
				return nothing
			}
			continue
		}
		sumAll += w
		r := rows[c.Region][i]
		if !math.IsNaN(r.change) && w > 0 {
			changeW, sumChange, x.nMatched = changeW+w, sumChange+w*r.change, x.nMatched+r.nMatched
		}
		if math.IsNaN(r.ln) || w == 0 {
			continue
		}
		sumW, sumLn = sumW+w, sumLn+w*r.ln
		x.n, x.outlets = x.n+r.n, x.outlets+r.outlets
		x.oldest, x.newest = earlier(x.oldest, r.oldest), max(x.newest, r.newest)
	}
	if sumW > 0 {
		x.ln, x.unweighed = sumLn/sumW, 1-sumW/sumAll
	}
	if changeW > 0 {
		x.change = sumChange / changeW
	}
	return x
}

func earlier(a, b string) string {
	if a == "" || b != "" && b < a {
		return b
	}
	return a
}

func float(r *big.Rat) float64 {
	f, _ := r.Float64()
	return f
}

// The rules of the imputation ladder, as they are named in filled_by.
const (
	byAncestor = "ancestor_change"
	byClass    = "class_change"
	byRegion   = "region_change"
	carried    = "carried"
)

// How many months a rule may reach back.
const maxAncestor, maxClass, maxRegion, maxCarry = 6, 6, 3, 2

// maxOffSeason is how long a season's last price is carried on by all goods:
// to the month before it comes round again.
const maxOffSeason = 11

// fill walks the imputation ladder for every cell without an observed price.
// Only observed prices and changes feed it. A good's own change in the nearest
// ancestor comes first, then its class's in the region, then the region's;
// then the last price is carried; then there is none.
func (p *panel) fill(asOf string) {
	for _, r := range p.regions {
		// Mean change of each class and of all goods, month by month. A good
		// without a price has no change of its own in them.
		classes := map[string][]mean{}
		all := make([]mean, p.months())
		for _, g := range p.goods {
			class := coicopClass(p.items[g.item].COICOP)
			if classes[class] == nil {
				classes[class] = make([]mean, p.months())
			}
			for i, c := range p.cells[r.Region][g] {
				classes[class][i].add(c.change)
				all[i].add(c.change)
			}
		}
		for _, g := range p.goods {
			row := p.cells[r.Region][g]
			class := classes[coicopClass(p.items[g.item].COICOP)]
			last := -1
			for i := range row {
				c := &row[i]
				m := p.first + result.Month(i)
				if c.observed() {
					last = i
					c.price, c.status = math.Exp(c.ln), "A"
				} else if c.absent == "not_sold" {
					c.status = "M"
				} else {
					c.status = "O"
					if last >= 0 && p.settings.Panel.Impute && !p.stale(&row[last], p.first+result.Month(last), m, asOf) {
						p.fillOne(r.Region, g, row, last, i, class, all)
					}
				}
				if math.IsNaN(c.price) && p.heldBack(r.Region, g, i) {
					c.status = strings.Trim("Q"+c.status, "O")
				}
				if last >= 0 {
					c.age = i - last
				} else {
					c.age = -1
				}
				if c.observed() && c.outlets.OK && (c.outlets.V < minOutlets || c.n.V < p.settings.Panel.MinNotes) {
					c.status = "U" + c.status
				}
				if asOf < m.Day(31).Format("2006-01-02") {
					c.status += "P"
				}
			}
		}
	}
}

// heldBack says whether a price is missing because it is held: of the region itself,
// or of a part that would count for it.
func (p *panel) heldBack(region string, g good, i int) bool {
	held := p.cells[region][g][i].held
	if held == nil {
		return false
	}
	own, part, weighed := held.n, false, true
	for _, r := range p.children[region] {
		c, w := &p.cells[r.Region][g][i], p.weight(r)
		weighed = weighed && !math.IsNaN(w) // else the whole lacks that weight, whatever is released
		part = part || w > 0 && strings.Contains(c.status, "Q")
		if c.held != nil {
			own -= c.held.n
		}
	}
	return own > 0 || weighed && part
}

// stale says whether a price of month seen is too old to fill one of month m:
// its newest note lies further back than the settings allow, from the month's
// last day or as_of. A published average is of its month's last day.
func (p *panel) stale(c *cell, seen, m result.Month, asOf string) bool {
	if p.settings.Panel.StaleAfterDays == 0 {
		return false
	}
	newest, now := seen.Day(31), m.Day(31)
	if t, err := time.Parse(time.DateOnly, c.newest); err == nil {
		newest = t
	}
	if t, err := time.Parse(time.DateOnly, asOf); err == nil && t.Before(now) {
		now = t
	}
	return now.Sub(newest).Hours()/24 > float64(p.settings.Panel.StaleAfterDays)
}

// minOutlets is the fewest outlets on which a range, and so a reliable price, rests.
const minOutlets = 3

// fillOne fills one cell from the price last observed at row[last].
func (p *panel) fillOne(region string, g good, row []cell, last, i int, class, all []mean) {
	c := &row[i]
	age := i - last
	set := func(change float64, rule, status string) bool {
		if math.IsNaN(change) {
			return false
		}
		c.price, c.filledBy, c.status = math.Exp(row[last].ln+change), rule, status
		return true
	}
	over := func(change func(i int) float64) float64 {
		var sum float64
		for k := last + 1; k <= i; k++ {
			sum += change(k)
		}
		return sum
	}
	whole := func(k int) float64 { return all[k].value() }
	it := p.items[g.item]
	if !inSeason(it, (p.first + result.Month(i)).Number()) {
		// A fruit's own class is out of season with it: only all goods tell how money moved.
		if age <= maxOffSeason {
			set(over(whole), byRegion, "I")
		}
		return
	}
	if age <= maxAncestor {
		for up := p.parent[region]; up != ""; up = p.parent[up] {
			above := p.cells[up][g]
			if set(over(func(k int) float64 { return above[k].change }), byAncestor, "I") {
				return
			}
		}
	}
	if age <= maxClass && set(over(func(k int) float64 { return class[k].value() }), byClass, "I") {
		return
	}
	if age <= maxRegion && set(over(whole), byRegion, "I") {
		return
	}
	if age <= maxCarry {
		set(0, carried, "E")
	}
}

// mean is a running mean of what is there.
type mean struct {
	sum float64
	n   int
}

func (m *mean) add(x float64) {
	if !math.IsNaN(x) {
		m.sum, m.n = m.sum+x, m.n+1
	}
}

func (m mean) value() float64 {
	if m.n == 0 {
		return math.NaN()
	}
	return m.sum / float64(m.n)
}

// without is the mean of the others than x.
func (m mean) without(x float64) float64 {
	if !math.IsNaN(x) {
		m.sum, m.n = m.sum-x, m.n-1
	}
	return m.value()
}

// coicopClass is the first three levels of a code, "01.1.1" of "01.1.1.2".
func coicopClass(code string) string {
	parts := strings.Split(code, ".")
	return strings.Join(parts[:min(3, len(parts))], ".")
}

func inSeason(it workspace.Item, month int) bool {
	from, to := it.SeasonFrom, it.SeasonTo
	switch {
	case from == 0:
		return true
	case from <= to:
		return from <= month && month <= to
	}
	return month >= from || month <= to
}
