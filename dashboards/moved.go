package dashboards

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"farthing/dashboards/catalogue"
	"farthing/dashboards/draw"
	"farthing/dashboards/layout"
	"farthing/pipeline/result"
)

// pair is what the lines of a basket did between two months, what adds most first.
type pair struct {
	from, to result.Month
	lines    []result.Moved
	total    result.Num // the lines' contributions added up: the basket's change in percent
}

// pairs are a basket's pairs of months: a year apart, from the base month, a month apart.
func (v *view) pairs() (list []pair) {
	byFrom := map[result.Month]*pair{}
	for _, r := range v.e.Moved {
		if r.Region != v.c.Region || r.Basket != v.c.Basket {
			continue
		}
		p := byFrom[r.From]
		if p == nil {
			p = &pair{from: r.From, to: r.To, total: result.Some(0)}
			byFrom[r.From] = p
		}
		p.lines = append(p.lines, r)
		p.total = result.Some(p.total.Or() + r.Contribution.Or())
	}
	for _, p := range byFrom {
		slices.SortStableFunc(p.lines, func(a, b result.Moved) int { return cmp.Compare(b.Contribution.Or(), a.Contribution.Or()) })
		list = append(list, *p)
	}
	place := func(p pair) int {
		switch p.to - p.from {
		case 12:
			return 0
		case 1:
			return 2
		}
		return 1
	}
	slices.SortFunc(list, func(a, b pair) int { return cmp.Or(cmp.Compare(place(a), place(b)), cmp.Compare(a.from, b.from)) })
	return list
}

// movedPage says what moved the basket between two months, line by line.
func movedPage(s *site, v *view, file string) (layout.Page, error) {
	p := layout.Page{Title: s.T("What moved the basket: %s", v.region()), Caution: v.caution(),
		About: s.T("%s · basket %s, one person", v.region(), label(v.c.Basket))}
	pairs := v.pairs()
	if len(pairs) == 0 {
		p.Headline = s.T(noFigures)
		if n := len(v.baskets); n > 0 {
			p.Headline = s.T("%s has no earlier month to be set against", s.month(v.baskets[n-1].Month))
			p.Lead = []string{s.T("What moved a basket is told between two months.")}
		}
		return p, nil
	}
	told := max(0, slices.IndexFunc(pairs, func(m pair) bool { return m.total.OK }))
	first := v.tell(pairs[told], true)
	p.Headline, p.Strong, p.Lead = first.headline, first.strong, v.movedLead(first)
	part, err := v.movedPart(first, file)
	if err != nil {
		return p, err
	}
	p.Parts = append(p.Parts, part)
	for i, other := range pairs {
		if i != told {
			t := v.tell(other, false)
			part := v.movedTable(t)
			part.Folded, part.Headline = true, strings.TrimSpace(t.headline+" "+t.strong)
			p.Parts = append(p.Parts, part)
		}
	}
	p.Parts = append(p.Parts, layout.Part{ID: "cautions", Headline: s.T("What this page does not say"), Text: []string{
		s.T("It speaks of this basket only. A line counts by how much of it this basket holds: in another the same prices make other points, and they say nothing of food prices at large."),
		s.T("It does not say why a price moved, nor whether it will come back."),
	}})
	return p, nil
}

// mostStairs is how many lines a staircase has at most; the least of more are one.
const mostStairs = 15

// seenPoints is the least that is a hundredth of a percentage point when rounded.
const seenPoints = 0.005

// stair is a line of the figure: an item, or what the least of them add together.
type stair struct {
	name   string
	change result.Num // of its own unit price
	parts  draw.Parts
	shown  result.Num // what it adds, so rounded that the lines add up
	item   bool
	filled bool
}

// told is a pair in words and lines. Without a total it has no stairs.
type told struct {
	tongue
	pair
	headline, strong string
	bothWays         bool       // it tells what lines added and took off, and names none
	sum              result.Num // the total as shown
	stairs           []stair
}

// partsOf divides a line's contribution among its parts as their logarithms,
// which add up to that of its whole change. What has no parts is imputed, or
// was seen in both months as other goods only: mix.
func partsOf(r result.Moved) (p draw.Parts) {
	switch whole := math.Log1p(r.Change.Or() / 100); {
	case imputed(r):
		p[draw.Filled] = r.Contribution.V
	case !r.Pure.OK:
		p[draw.Mix] = r.Contribution.V
	case whole != 0:
		for k, part := range [...]result.Num{draw.Pure: r.Pure, draw.Size: r.Size, draw.Mix: r.Mix} {
			p[k] = r.Contribution.V * math.Log1p(part.V/100) / whole
		}
	}
	return p
}

func imputed(r result.Moved) bool { return r.ImputedShare.OK && r.ImputedShare.V > 0 }

// apportion rounds values to hundredths that add up to a total's: each down,
// then those up of which most was cut off (largest remainder).
func apportion(values []float64, total float64) (shown []result.Num) {
	left := math.Round(total * 100)
	order := make([]int, len(values))
	for i, v := range values {
		order[i] = i
		left -= math.Floor(v * 100)
	}
	cut := func(i int) float64 { return values[i]*100 - math.Floor(values[i]*100) }
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(cut(b), cut(a)) })
	shown = make([]result.Num, len(values))
	for place, i := range order {
		up := 0.0
		if float64(place) < left {
			up = 1
		}
		shown[i] = result.Some((math.Floor(values[i]*100) + up) / 100)
	}
	return shown
}

// signed prints a number with its sign.
func (t tongue) signed(n result.Num, decimals int) string {
	s := t.num(n, decimals)
	if n.V > 0 && strings.Trim(digits(n, decimals), "0.") != "" {
		return "+" + s
	}
	return s
}

func (v *view) movedName(r result.Moved) string {
	return v.lineName(result.BasketLine{Region: r.Region, Basket: r.Basket, Month: r.To, Item: r.Item, Grade: r.Grade})
}

// tell finds the words and the stairs of a pair. What a figure stands under adds up
// as its lines are shown there; a table alone has the unrounded.
func (v *view) tell(p pair, drawn bool) told {
	t := told{tongue: v.tongue, pair: p}
	if !p.total.OK {
		t.headline = v.T("What moved the basket from %s to %s can not be added up: a price is missing", v.month(p.from), v.month(p.to))
		return t
	}
	t.sum = apportion([]float64{p.total.V}, p.total.V)[0]
	t.stairs = v.stairsOf(p)
	seen := upper(v.basis(v.basketOf(p.to).Base))
	up, down := t.ways()
	tellBoth := func() {
		t.bothWays = true
		t.headline += ":"
		t.strong = v.T("what cost more added %s percentage points, what cost less took %s off", v.num(up, 2), v.num(down, 2))
	}
	if p.total.Fixed(1) == "0.0" {
		t.headline = v.T("%s, the basket cost as much in %s as in %s", seen, v.month(p.to), v.month(p.from))
		if up.V > 0 {
			tellBoth()
		}
		return t
	}
	cost := catalogue.Key("%s, the basket cost %s\u202f%% more in %s than in %s")
	other := down
	if t.sum.V < 0 {
		cost, other = "%s, the basket cost %s\u202f%% less in %s than in %s", up
	}
	names, made := t.movers(drawn)
	total := abs(t.sum)
	t.headline = v.T(cost, seen, v.num(total, 2), v.month(p.to), v.month(p.from))
	switch {
	case other.V > 0 && (other.V > total.V/10 || math.Round(math.Abs(made.V)*100) > math.Round(total.V*100)): // what went the other way is a part of the finding
		tellBoth()
	case names == nil: // many lines, each of which made next to nothing
	default:
		t.headline += v.T(", and %s made", v.list(names, 3))
		t.strong = v.T("%s of the %s percentage points", v.num(abs(made), 2), v.num(total, 2))
	}
	return t
}

func abs(n result.Num) result.Num { return result.Num{V: math.Abs(n.V), OK: n.OK} }

// movers are the up to three items that made most of the change, in its
// direction, and what they made of it. One that made less than a
// tenth of the first is not named.
func (t *told) movers(drawn bool) (names []string, made result.Num) {
	stairs := slices.Clone(t.stairs)
	if t.sum.V < 0 {
		slices.Reverse(stairs)
	}
	first := 0.0
	for _, s := range stairs {
		part := s.shown.V / t.sum.V
		if !s.item || part <= 0 || part < first/10 || math.Abs(s.parts.Sum()) < seenPoints || len(names) == 3 {
			continue
		}
		first = max(first, part)
		adds := s.parts.Sum()
		if drawn {
			adds = s.shown.V
		}
		names, made = append(names, t.called(s)), result.Some(made.V+adds)
	}
	return names, made
}

// called is a stair's name in a sentence.
func (t *told) called(s stair) string {
	if s.filled {
		return t.T("%s (imputed)", s.name)
	}
	return s.name
}

// most are the up to three items that moved the basket most, in either direction,
// each with what it added.
func (t *told) most() (most []string) {
	stairs := slices.Clone(t.stairs)
	slices.SortStableFunc(stairs, func(a, b stair) int { return cmp.Compare(math.Abs(b.shown.V), math.Abs(a.shown.V)) })
	for _, s := range stairs {
		if s.item && len(most) < 3 && math.Abs(s.shown.V) > seenPoints {
			most = append(most, t.T("%s %s", t.called(s), t.signed(s.shown, 2)))
		}
	}
	return most
}

// ways is what the lines that cost more added, and what those that cost less took off.
func (t *told) ways() (up, down result.Num) {
	var ways [2]float64
	for _, r := range t.lines {
		if c := r.Contribution.V; c > 0 {
			ways[0] += c
		} else {
			ways[1] += c
		}
	}
	shown := apportion(ways[:], t.total.V)
	return shown[0], result.Some(-shown[1].V)
}

// stairsOf are the lines of the figure.
func (v *view) stairsOf(p pair) (stairs []stair) {
	own := make([]bool, len(p.lines)) // has a stair of its own
	order := make([]int, len(p.lines))
	for i := range order {
		order[i] = i
	}
	size := func(i int) float64 { return math.Abs(p.lines[i].Contribution.V) }
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(size(b), size(a)) })
	for place, i := range order {
		own[i] = len(order) <= mostStairs || place < mostStairs-1
	}
	others, n := stair{}, 0
	for i, r := range p.lines {
		if !own[i] {
			others.parts.Add(partsOf(r))
			n++
			continue
		}
		stairs = append(stairs, stair{name: v.movedName(r), change: r.Change, parts: partsOf(r), item: true, filled: imputed(r)})
	}
	if n > 0 {
		others.name = v.T("%d others", n)
		stairs = append(stairs, others)
	}
	var values []float64
	for _, s := range stairs {
		values = append(values, s.parts.Sum())
	}
	for i, shown := range apportion(values, p.total.V) {
		stairs[i].shown = shown
	}
	return stairs
}

// partWords say what the parts of a change are.
var partWords = [...]struct {
	kind              string
	key, words, first catalogue.Key // first: at the head of a list
}{
	draw.Pure:   {"pure", "the same goods at another price", "%s from the same goods at other prices", "%s come from the same goods at other prices"},
	draw.Size:   {"size", "another pack size", "%s from other pack sizes", "%s come from other pack sizes"},
	draw.Mix:    {"mix", "mix: other goods or shops", "%s from other goods or shops (mix)", "%s come from other goods or shops (mix)"},
	draw.Filled: {"filled", "imputed: its parts are not known", "%s from imputed prices", "%s come from imputed prices"},
}

// changeRange says how sure a basket's change is. Rose and fell stand for a range
// that leaves no change out.
func (v *view) changeRange(from, to result.Month) string {
	c, ok := v.change(from, to)
	if !ok {
		return v.noRange(v.basketOf(to).Base)
	}
	lo, hi := v.signed(c.Lo, 2), v.signed(c.Hi, 2)
	switch c.Finding {
	case "rose":
		return v.T("By the shops seen the change lies between %s and %s %% (95\u202f%% range): the basket rose.", lo, hi)
	case "fell":
		return v.T("By the shops seen the change lies between %s and %s %% (95\u202f%% range): the basket fell.", lo, hi)
	}
	return v.T("By the shops seen the change lies between %s and %s %% (95\u202f%% range), which has no change in it: no clear difference.", lo, hi)
}

// oddMonth is how far a price must be from those of the months on both sides to be
// called unusual: our own choice, above what shelves do from month to month.
const oddMonth = 1.2

// odd names the lines whose price in the first month stands apart from the months
// beside it, what moved most first: what they add is then that month's doing.
func (v *view) odd(t told) (words []string) {
	lines := slices.Clone(t.lines)
	slices.SortStableFunc(lines, func(a, b result.Moved) int {
		return cmp.Compare(math.Abs(b.Contribution.Or()), math.Abs(a.Contribution.Or()))
	})
	for _, l := range lines {
		if near := v.apart(l.Item, l.Grade, t.from); near != nil && len(words) < 2 {
			words = append(words, v.T("%s was unusual in %s: %s, against %s the month before and %s the month after; its change is from that.",
				v.movedName(l), v.month(t.from), v.num(near[1].UnitPrice, 2), v.num(near[0].UnitPrice, 2), v.num(near[2].UnitPrice, 2)))
		}
	}
	return words
}

// apart are a good's prices of the month before, of the month and of the one after,
// where all were seen and that of the month stands apart; nil otherwise.
func (v *view) apart(item, grade string, m result.Month) []result.Item {
	rows := v.pricesOf(item, grade, v.c.Region)
	i := monthIn(rows, m)
	if i < 1 || i+1 == len(rows) {
		return nil
	}
	near := rows[i-1 : i+2]
	if slices.ContainsFunc(near, func(r result.Item) bool { return !r.UnitPrice.OK || r.FilledBy != "" }) {
		return nil
	}
	if before, at, after := near[0].UnitPrice.V, near[1].UnitPrice.V, near[2].UnitPrice.V; at > oddMonth*max(before, after) || at*oddMonth < min(before, after) {
		return near
	}
	return nil
}

// heldIn names the lines of which prices of some months are held; "" where none are.
func (v *view) heldIn(months ...result.Month) string {
	var names []string
	for _, m := range months {
		for _, l := range v.lines[v.at(m)] {
			rows := v.pricesOf(l.Item, l.Grade, v.c.Region)
			if i := monthIn(rows, m); i >= 0 && isHeld(rows[i]) {
				names = append(names, v.T("%s in %s", v.lineName(*l), v.month(m)))
			}
		}
	}
	if names == nil {
		return ""
	}
	return v.T("Some prices are held for a check and in none of these figures: %s.", v.list(names, 4))
}

// movedLead says of which parts the change is made, and what it rests on.
func (v *view) movedLead(t told) (lead []string) {
	now := v.basketOf(t.to)
	if t.total.OK {
		var parts draw.Parts
		for _, s := range t.stairs {
			parts.Add(s.parts)
		}
		var words []string
		for k, shown := range apportion(parts[:], t.total.V) {
			if shown.V != 0 {
				part := partWords[k].words
				if words == nil {
					part = partWords[k].first
				}
				words = append(words, v.T(part, v.signed(shown, 2)))
			}
		}
		if most := t.most(); t.bothWays && most != nil { // else the headline names them
			lead = append(lead, v.T("What moved it most: %s points.", v.list(most, 3)))
		}
		lead = append(lead, v.odd(t)...)
		if len(words) > 1 {
			lead = append(lead, v.T("Of the %s points, %s.", v.signed(t.sum, 2), v.list(words, 4)))
		}
		lead = append(lead, v.changeRange(t.from, t.to))
	} else {
		for _, m := range []result.Month{t.from, t.to} {
			lead = append(lead, v.lacks(m, v.basketOf(m).Base))
		}
		lead = append(slices.DeleteFunc(lead, func(s string) bool { return s == "" }), v.T("So there is no total; what is known of each line is in the table."))
	}
	if held := v.heldIn(t.from, t.to); held != "" {
		lead = append(lead, held)
	}
	if why := v.thin(now.Base, now.ObservedShare); why != "" {
		lead = append(lead, v.thinData(t.to, why))
	}
	return lead
}

// movedPart draws a pair and tables it.
func (v *view) movedPart(t told, file string) (layout.Part, error) {
	p := v.movedTable(t)
	p.Notes = []layout.Note{
		{Head: v.T("Which two months."), Text: v.T("A year apart, the season is mostly out of it; one odd month at either end is not. From month to month, or over any other span, a part of the change may be the season: the two tell different things.")},
		{Head: v.T("A smaller pack"), Text: v.T("at the same price is a higher price of what is in it. It counts as size.")},
		{Head: v.T("Mix"), Text: v.T("is what neither price nor pack size explains: another variety or shop was seen, or a pack beside the old one.")},
		{Head: v.T("Big change, small mover."), Text: v.T("A line moves the basket by its change and by how much of it the basket holds.")},
	}
	if slices.ContainsFunc(t.lines, func(r result.Moved) bool { return r.Pure.OK && !r.NMatched.OK }) {
		p.Notes = append(p.Notes, layout.Note{Head: v.T("Published averages"), Text: v.T("have no packs: what changed in them besides prices can not be told, and all of it counts as price.")})
	}
	if !t.total.OK {
		p.Headline = v.T("What each line did by itself")
		return p, nil
	}
	p.Headline = v.T("%s, one sum: %s", upper(v.Count(len(t.lines), "one line", "%s lines")), v.signed(t.sum, 2))
	if up, down := t.ways(); up.V > 0 && down.V > 0 {
		p.Headline = v.T("%s, one sum: +%s and %s%s make %s", upper(v.Count(len(t.lines), "one line", "%s lines")), v.num(up, 2), minus, v.num(down, 2), v.signed(t.sum, 2))
	}
	p.Subtitle = v.T("What each line added to the basket’s cost, in percentage points (pp), and the change of its own unit price. Each bar starts where the last one ended; the last line is where they arrive. %s, %s to %s.",
		v.region(), v.month(t.from), v.month(t.to))
	var drawn []draw.Stair
	var kinds [len(draw.Parts{})]bool
	seen := 0.0 // the least that is seen beside the others: about a px
	for _, s := range t.stairs {
		seen += math.Abs(s.parts.Sum()) / 300
	}
	for _, s := range t.stairs {
		d := draw.Stair{Name: s.name, Value: v.signed(s.shown, 2), Parts: s.parts, Words: v.T("%s adds %s pp", s.name, v.num(s.shown, 2))}
		if s.shown.V < 0 {
			d.Words = v.T("%s takes off %s pp", s.name, v.num(abs(s.shown), 2))
		}
		if s.filled {
			d.Name += " [I]"
		}
		if s.change.OK {
			d.Change = v.signed(s.change, 1) + "\u202f%"
			d.Words += v.T(", unit price %s", d.Change)
		}
		for k, part := range s.parts {
			kinds[k] = kinds[k] || math.Abs(part) >= max(seenPoints, seen)
		}
		drawn = append(drawn, d)
	}
	for k, words := range partWords {
		if kinds[k] {
			p.Key = append(p.Key, key(words.kind, v.T(words.key)))
		}
	}
	if slices.ContainsFunc(t.stairs, func(s stair) bool { return s.parts.Sum() < -seenPoints }) {
		p.Key = append(p.Key, key("fall", v.T("pointed at the left: takes off")))
	}
	sum := draw.Stair{Name: v.T("All lines"), Value: v.signed(t.sum, 2), Words: v.T("All lines add %s pp", v.signed(t.sum, 2))}
	p.Foot = []string{v.T("In the figure the lines are so rounded that they add up to the total (largest remainder). Within a bar, a line’s points are divided as the logarithms of its parts.")}
	source := v.site.source(v.T("%s, basket %s, %s to %s", v.region(), label(v.c.Basket), v.month(t.from), v.month(t.to)))
	wide, slim := draw.Stairs(v.drawing(), drawn, sum, v.T("unit price"), v.T("pp"), mark(source, draw.Wide), mark(source, draw.Slim))
	err := v.drawn(&p, file, wide, slim, v.T("%s. The table below has every line.", p.Headline), "moved.csv")
	return p, err
}

// unranked says why a line has no rank.
func (t tongue) unranked(r result.Moved) string {
	switch {
	case !r.PriceFrom.OK || !r.PriceTo.OK:
		return t.T("no price")
	case imputed(r):
		return t.T("imputed")
	case !r.NMatched.OK && r.Pure.OK:
		return t.T("average")
	case !r.NMatched.OK:
		return t.T("none seen")
	case !r.Contribution.OK:
		return t.T("no total")
	}
	return t.T("too few seen")
}

// movedTable tables a pair.
func (v *view) movedTable(t told) layout.Part {
	type M = result.Moved
	p := layout.Part{ID: "from-" + t.from.String(), Open: true, Links: dataLinks("moved.csv")}
	pct := func(head string, of func(M) result.Num) column[M] {
		return number(head, func(r M) string { return v.num(of(r), 3) })
	}
	p.Table = tableOf(t.lines, -1,
		column[M]{head: v.T("Item"), cell: func(r M) layout.Cell { return layout.Cell{Text: v.movedName(r), Href: v.itemHref(r.Item)} }},
		pct(v.T("Adds, pp"), func(r M) result.Num { return r.Contribution }).or(v.T("none")),
		number(v.shortMonth(t.from), func(r M) string { return v.money4(r.PriceFrom) }).or(v.T("none")),
		number(v.shortMonth(t.to), func(r M) string { return v.money4(r.PriceTo) }).or(v.T("none")),
		pct(v.T("Change, %"), func(r M) result.Num { return r.Change }),
		pct(v.T("Price, %"), func(r M) result.Num { return r.Pure }),
		pct(v.T("Size, %"), func(r M) result.Num { return r.Size }),
		pct(v.T("Mix, %"), func(r M) result.Num { return r.Mix }),
		column[M]{head: v.T("Rank by price"), cell: func(r M) layout.Cell {
			if r.Rank.OK {
				return layout.Cell{Text: r.Rank.String()}
			}
			return layout.Cell{Text: v.unranked(r), Missing: true}
		}},
		number(v.T("Varieties seen in both"), func(r M) string { return v.whole(r.NMatched) }),
		status(v.tongue, func(r M) result.Base { return r.Base }))
	sum := layout.Cell{Text: v.num(t.total, 3)}
	if !t.total.OK {
		sum = layout.Cell{Text: v.T("no total"), Missing: true}
	}
	cells := make([]layout.Cell, len(p.Table.Head))
	cells[0], cells[1] = layout.Cell{Text: v.T("All lines")}, sum
	p.Table.Rows = append(p.Table.Rows, layout.Row{Sum: true, Cells: cells})
	p.Table.Caption = v.T("%s, %s to %s. Unit prices in %s a kg, litre or piece, with the digits of the data file. Price, size and mix, multiplied, make the change: 2\u202f%% and 3\u202f%% make 1.02 × 1.03 = 1.0506, which is 5.06\u202f%%. Adds: to the basket’s change, in percentage points; rounded lines may miss the total in the last digit. Rank by price: by what the price part adds or takes off, the most first, where three or more varieties were seen at a shop in both months. Varieties seen in both: of the item, each at one shop, in both months.%s",
		v.region(), v.month(t.from), v.month(t.to), v.currency, v.statusKey(v.e, p.Table.Rows))
	return p
}
