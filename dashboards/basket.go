package dashboards

import (
	"math"
	"slices"
	"strings"

	"farthing/dashboards/catalogue"
	"farthing/dashboards/draw"
	"farthing/dashboards/layout"
	"farthing/pipeline/result"
)

// basketPage says what the basket costs, how that moved, and of what it is made.
func basketPage(s *site, v *view, file string) (layout.Page, error) {
	p := layout.Page{Title: s.T("What the basket costs: %s in %s", v.householdName(), v.region())}
	if len(v.baskets) == 0 {
		p.Headline = s.T(noFigures)
		p.Lead = []string{s.T("No price of this basket has been read.")}
		return p, nil
	}
	at := v.priced()
	p.Headline, p.Strong = v.basketHeadline(at)
	p.Lead, p.About, p.Caution = v.basketLead(at), v.about(), v.caution()
	nominal, err := s.nominalPart(v, file)
	if err != nil {
		return p, err
	}
	deflated, err := s.realPart(v, file)
	if err != nil {
		return p, err
	}
	p.Parts = append(p.Parts, nominal, deflated)
	if lines := v.newestLines(); len(lines) > 0 {
		p.Parts = append(p.Parts, v.linesPart(lines))
	}
	seen, err := s.seenPart(v, file)
	if err != nil {
		return p, err
	}
	p.Parts = append(p.Parts, seen, v.cautions())
	return p, nil
}

// priced is the newest month whose basket has a full price, -1 where there is none.
func (v *view) priced() int {
	for i := len(v.baskets) - 1; i >= 0; i-- {
		if v.baskets[i].PerDay.OK {
			return i
		}
	}
	return -1
}

// newestLines are the lines of the newest month that has any.
func (v *view) newestLines() []result.BasketLine {
	for i := len(v.baskets) - 1; i >= 0; i-- {
		if lines := v.lines[v.at(v.baskets[i].Month)]; len(lines) > 0 {
			all := make([]result.BasketLine, len(lines))
			for k, l := range lines {
				all[k] = *l
			}
			return all
		}
	}
	return nil
}

// against is how much a value is above an older one, in percent; missing where
// one of them is. It says what was seen, not that the change is sure.
func against(now, then result.Num) result.Num {
	if !now.OK || !then.OK || then.V == 0 {
		return result.Num{}
	}
	return result.Some((now.V/then.V - 1) * 100)
}

// same says whether a change is none to a tenth of a percent.
func same(pct result.Num) bool { return pct.Fixed(1) == "0.0" }

// its says a change with its month: "14.5 % above its price in January 2023".
func (t tongue) its(pct result.Num, m result.Month) string {
	switch {
	case same(pct):
		return t.T("as much as in %s", t.month(m))
	case pct.V < 0:
		return t.T("%s\u202f%% below its price in %s", t.num(abs(pct), 1), t.month(m))
	}
	return t.T("%s\u202f%% above its price in %s", t.num(pct, 1), t.month(m))
}

// itsYear says a change of a year.
func (t tongue) itsYear(pct result.Num, m result.Month) string {
	switch {
	case same(pct):
		return t.T("as much as in %s", t.month(m))
	case pct.V < 0:
		return t.T("%s\u202f%% below its price a year before, in %s", t.num(abs(pct), 1), t.month(m))
	}
	return t.T("%s\u202f%% above its price a year before, in %s", t.num(pct, 1), t.month(m))
}

func (v *view) basketHeadline(at int) (headline, strong string) {
	if at < 0 {
		if n := v.baskets[len(v.baskets)-1]; n.KnownPart.OK {
			return v.T("No month has a full price; in %s the priced part of the basket cost", v.month(n.Month)), v.T("%s a day", v.money(n.KnownPart, v.currency))
		}
		return v.T("No month has a full price for the basket"), ""
	}
	b := v.baskets[at]
	in := v.T("in %s", v.month(b.Month))
	if at < len(v.baskets)-1 {
		in = v.T("in %s, the last month with a full price", v.month(b.Month))
	}
	seen := v.basis(b.Base)
	if unseen(b.Base) {
		seen = v.T("%s. So filled", v.T(noneSeen))
	}
	headline = v.T("%s, the basket cost %s a day %s", upper(seen), v.money(b.PerDay, v.currency), in)
	if c, m := v.compared(at); c.OK {
		return headline + ",", v.its(c, m)
	}
	return headline, ""
}

// compared sets a month's cost against the base month's, else a year before's,
// else the first known.
func (v *view) compared(at int) (difference result.Num, then result.Month) {
	b := v.baskets[at]
	months := []result.Month{b.Month - 12}
	if base, err := result.ParseMonth(v.e.BaseMonth); err == nil {
		months = []result.Month{base, b.Month - 12}
	}
	if first, _, ok := ends(v.baskets, func(b result.Basket) result.Num { return b.PerDay }); ok {
		months = append(months, first.Month)
	}
	for _, m := range months {
		if c := against(b.PerDay, v.basketOf(m).PerDay); c.OK && m != b.Month {
			return c, m
		}
	}
	return result.Num{}, 0
}

func (v *view) basketLead(at int) []string {
	if at < 0 {
		n := v.baskets[len(v.baskets)-1]
		return []string{v.T("A total with a missing price is not given: it would look cheaper than it is."), v.lacks(n.Month, n.Base)}
	}
	b := v.baskets[at]
	var lead []string
	if b.StandardMonth.OK {
		lead = append(lead, v.T("That is %s for this household’s standard month of 30.4375 days.", v.money(b.StandardMonth, v.currency)))
	}
	if v.several() {
		lead = append(lead, v.T("It is %s times one person’s basket: this site’s table of households counts it as so many persons.", v.num(v.household.Equivalents, 2)))
	}
	_, compared := v.compared(at)
	year := v.basketOf(b.Month - 12)
	if c := against(b.PerDay, year.PerDay); c.OK && compared != year.Month {
		lead = append(lead, v.T("It is %s.", v.itsYear(c, year.Month)))
	}
	if then := v.basketOf(compared); b.Lo.OK && b.Hi.OK {
		s := v.T("The 95\u202f%% range across the shops seen is %s to %s a day", v.num(b.Lo, 2), v.money(b.Hi, v.currency))
		if then.Lo.OK && then.Hi.OK {
			s += v.T("; in %s it was %s to %s", v.month(compared), v.num(then.Lo, 2), v.num(then.Hi, 2))
		}
		lead = append(lead, v.T("%s. Other shops of the same kind could have shown any price in it.", s))
	} else {
		lead = append(lead, v.noRange(b.Base))
	}
	return append(lead, v.gaps(at, len(v.baskets), func(i int) result.Month { return v.baskets[i].Month }, func(i int) string {
		if v.baskets[i].PerDay.OK {
			return ""
		}
		return v.noPrice(v.baskets[i].Base)
	})...)
}

// monthText names a month written as 2024-02; other text stays as it is.
func (t tongue) monthText(s string) string {
	m, err := result.ParseMonth(s)
	if err != nil {
		return clean(s)
	}
	return t.month(m)
}

// costLine draws one value of every month's basket, with its range where it
// has one, and tables it; the first column says what the value is.
func (s *site) costLine(v *view, file string, p *layout.Part, value func(result.Basket) result.Num, ranged bool, columns ...column[result.Basket]) error {
	line := draw.Series{Name: s.T("basket"), Gap: s.T("no figure")}
	var l draw.Lines
	for i, b := range v.baskets {
		x := value(b)
		l.Months = append(l.Months, s.axisLabel(b.Month, i, len(v.baskets)))
		at := point(x, hatched(b.Base))
		if ranged {
			at = within(at, b.Lo, b.Hi)
		}
		line.Points = append(line.Points, at)
		if x.OK {
			line.Last = s.num(x, 2)
		}
	}
	p.Table = byMonth(v.tongue, v.baskets, func(b result.Basket) result.Month { return b.Month }, v.priced(), columns...)
	p.Table.Caption = v.caption(p.Table, "")
	l.Series = []draw.Series{line}
	if ranged && v.ranged() {
		p.Key = []layout.Mark{key("band", s.T("cost, and the range across the shops seen"))}
	}
	if brokenIn(line) {
		p.Key = append(p.Key, key("broken", s.T("over a quarter of the cost imputed")))
	}
	return s.linePlots(p, v.source(), file, l, p.Headline, "basket.csv", "item.csv")
}

// ranged says whether a month of the basket has a range.
func (v *view) ranged() bool {
	return slices.ContainsFunc(v.baskets, func(b result.Basket) bool { return b.PerDay.OK && b.Lo.OK && b.Hi.OK })
}

// ends gives the first and last month with a value.
func ends(rows []result.Basket, value func(result.Basket) result.Num) (first, last result.Basket, ok bool) {
	for _, b := range rows {
		if value(b).OK {
			if !ok {
				first, ok = b, true
			}
			last = b
		}
	}
	return first, last, ok
}

func (s *site) nominalPart(v *view, file string) (layout.Part, error) {
	value := func(b result.Basket) result.Num { return b.PerDay }
	p := layout.Part{ID: "nominal", Subtitle: s.T("Cost of a day’s basket in money of each month (nominal), %s.", v.currency)}
	first, last, ok := ends(v.baskets, value)
	switch {
	case !ok:
		p.Headline = s.T("No month has a full price")
	case first.Month == last.Month:
		p.Headline = s.T("One month so far: %s a day in %s", s.money(last.PerDay, v.currency), s.month(last.Month))
	default:
		p.Headline = s.T("From %s a day in %s to %s in %s", s.num(first.PerDay, 2), s.month(first.Month), s.money(last.PerDay, v.currency), s.month(last.Month))
	}
	type B = result.Basket
	columns := []column[B]{number(s.T("Cost a day"), func(b B) string { return s.money4(b.PerDay) }).gap(func(b B) string {
		if b.PerDay.OK {
			return ""
		}
		return v.noTotal(v.at(b.Month), b.Base)
	})}
	if v.ranged() {
		columns = append(columns, number(s.T("Low"), func(b B) string { return s.money4(b.Lo) }), number(s.T("High"), func(b B) string { return s.money4(b.Hi) }))
	}
	err := s.costLine(v, file, &p, value, true, append(columns,
		number(s.T("Standard month"), func(b B) string { return s.money4(b.StandardMonth) }),
		number(s.T("Observed"), func(b B) string { return s.share2(b.ObservedShare) }),
		number(s.T("Imputed"), func(b B) string { return s.share2(b.ImputedShare) }),
		number(s.T("Prices seen"), func(b B) string { return s.whole(b.NObservations) }),
		status(s.tongue, func(b B) result.Base { return b.Base }))...)
	if !ok {
		p.Foot = append(p.Foot, s.T("What the priced part of the basket costs in each month is in basket.csv, as known_part_lcu."))
	}
	return p, err
}

func (s *site) realPart(v *view, file string) (layout.Part, error) {
	value := func(b result.Basket) result.Num { return b.RealPerDay }
	first, last, ok := ends(v.baskets, value)
	p := layout.Part{ID: "real"}
	if !ok {
		p.Headline = s.T("No cost in money of one month can be given")
		switch {
		case v.priced() < 0:
			p.Text = []string{s.T("No month has a full price, so there is nothing to put in money of another month.")}
		case v.e.Deflator == "":
			p.Text = []string{s.T("That takes an index of prices for each month. Name a deflator in farthing.toml and enter its series in tables/deflators.")}
		default:
			p.Text = []string{s.T("The deflator %s has no value for these months and the base month. Enter them in tables/deflators, or import them.", label(v.e.Deflator))}
		}
		return p, nil
	}
	in := s.T("money of %s by %s", s.monthText(last.BaseMonth), label(last.Deflator))
	switch c := against(last.RealPerDay, first.RealPerDay); {
	case first.Month == last.Month:
		p.Headline = s.T("In %s: %s a day in %s", in, s.money(last.RealPerDay, v.currency), s.month(last.Month))
	case same(c):
		p.Headline = s.T("In %s, the basket cost as much in %s as in %s", in, s.month(last.Month), s.month(first.Month))
	case c.V < 0:
		p.Headline = s.T("In %s, the basket’s cost in %s was %s\u202f%% below that of %s", in, s.month(last.Month), s.num(abs(c), 1), s.month(first.Month))
	default:
		p.Headline = s.T("In %s, the basket’s cost in %s was %s\u202f%% above that of %s", in, s.month(last.Month), s.num(c, 1), s.month(first.Month))
	}
	p.Subtitle = s.T("Cost of a day’s basket in %s (real), %s.", in, v.currency)
	p.Foot = []string{s.T("Deflator: the series %s of %s. The line shows how the basket moved beside that series; it says nothing of other prices.", label(last.Deflator), regionName(v.e, last.DeflatorRegion))}
	type B = result.Basket
	err := s.costLine(v, file, &p, value, false,
		number(s.T("Real cost a day"), func(b B) string { return s.money4(b.RealPerDay) }).gap(func(b B) string {
			switch {
			case b.RealPerDay.OK:
				return ""
			case b.PerDay.OK:
				return s.T("no deflator for this month")
			}
			return v.noTotal(v.at(b.Month), b.Base)
		}))
	return p, err
}

// ruleWords say what the rules of the imputation ladder do; a rule that is not
// here is printed by its name.
var ruleWords = map[string]catalogue.Key{
	"ancestor_change": "filled: moved as in the wider region",
	"class_change":    "filled: moved as its kind of food",
	"region_change":   "filled: moved as all food here",
	"carried":         "filled: last price kept",
}

// filledWords say how a line's price was found.
func (t tongue) filledWords(l result.BasketLine) string {
	switch words, ok := ruleWords[l.FilledBy]; {
	case !l.UnitPrice.OK:
		return t.noPrice(l.Base)
	case l.FilledBy == "" && !l.NObservations.OK:
		return t.T("published average")
	case l.FilledBy == "":
		return t.T("seen on shelves")
	case ok:
		return t.T(words)
	}
	return t.T("filled: %s", label(l.FilledBy))
}

// linesPart is what a basket is made of.
func (v *view) linesPart(lines []result.BasketLine) layout.Part {
	m := lines[0].Month
	p := layout.Part{ID: "lines", Open: true, Source: v.source(), Links: dataLinks("basket_lines.csv", "item.csv"),
		Subtitle: v.T("One person’s basket a day, as purchased: peel and bones included.")}
	if g := lines[0].Grade; g != "" && !slices.ContainsFunc(lines, func(l result.BasketLine) bool { return l.Grade != g }) {
		p.Subtitle += " " + v.T("All of grade %s.", v.gradeWords(g))
	}
	var dearest result.BasketLine
	for _, l := range lines {
		if l.PerDay.OK && (!dearest.PerDay.OK || l.PerDay.V > dearest.PerDay.V) {
			dearest = l
		}
	}
	type L = result.BasketLine
	t := tableOf(lines, -1,
		column[L]{head: v.T("Item"), cell: func(l L) layout.Cell {
			return layout.Cell{Text: v.lineName(l), Href: v.itemHref(l.Item)}
		}},
		number(v.T("Quantity a day"), v.quantity).or(v.T("not known")),
		number(v.T("Unit price"), func(l L) string { return v.money4(l.UnitPrice) }).or(v.T("none")),
		number(v.T("Cost a day"), func(l L) string { return v.money4(l.PerDay) }).or(v.T("none")),
		number(v.T("Weight"), func(l L) string { return v.share2(l.Weight) }),
		text(v.T("How priced"), v.filledWords))
	sum := layout.Cell{Text: v.money4(v.onePerson(m))}
	if sum.Text == "" {
		sum = layout.Cell{Text: v.T("no total"), Missing: true}
	}
	t.Rows = append(t.Rows, layout.Row{Sum: true, Cells: []layout.Cell{{Text: v.T("One person")}, {}, {}, sum, {}, {}}})
	if b := v.basketOf(m); b.PerDay.OK && v.several() {
		t.Rows = append(t.Rows, layout.Row{Sum: true, Cells: []layout.Cell{{Text: v.T("× %s: %s", v.num(v.household.Equivalents, 2), v.householdName())}, {}, {}, {Text: v.money4(b.PerDay)}, {}, {}}})
		p.Subtitle += " " + v.T("The last line is this household’s.")
	}
	p.Foot = append(p.Foot, v.T("The total is the sum of the unrounded lines, so rounded lines may miss it in the last digit. Weight is a line’s share of the base month’s cost, at the prices of %s where it has one.", regionName(v.e, v.root())))
	t.Caption = v.T("%s, %s. Unit price in %s a kg, litre or piece; money with the digits of the data file.%s", v.month(m), v.region(), v.currency, v.statusKey(v.e, t.Rows))
	p.Table = t
	p.Headline = v.T("What is in it: %s", v.Count(len(lines), "one item", "%s items"))
	if dearest.PerDay.OK {
		p.Headline += v.T(", of which %s cost most: %s a day in %s", v.lineName(dearest), v.money(dearest.PerDay, v.currency), v.month(m))
	}
	return p
}

// several says whether the household counts as other than one person.
func (v *view) several() bool {
	return v.household.Equivalents.OK && v.household.Equivalents.Fixed(2) != "1.00"
}

// root is the region at the top of the page's own, whose prices weigh the lines.
func (v *view) root() string {
	at := v.c.Region
	for range v.e.Regions { // a tree that is not one ends too
		i := slices.IndexFunc(v.e.Regions, func(r result.Region) bool { return r.Region == at })
		if i < 0 || v.e.Regions[i].Parent == "" {
			break
		}
		at = v.e.Regions[i].Parent
	}
	return at
}

// quantity prints a line's quantity a day in the unit a kitchen uses.
func (t tongue) quantity(l result.BasketLine) string {
	if !l.APQuantity.OK {
		return ""
	}
	switch q := l.APQuantity; l.BaseUnit {
	case "kg":
		return t.T("%s g", t.plain(result.Some(q.V*1000), 2))
	case "L":
		return t.T("%s mL", t.plain(result.Some(q.V*1000), 2))
	case "each":
		return t.T("%s pieces", t.num(q, 2))
	default:
		return t.num(q, 4) + " " + clean(l.BaseUnit)
	}
}

// seenPart says how much of the newest basket was seen, filled in, or missing.
func (s *site) seenPart(v *view, file string) (layout.Part, error) {
	b := v.baskets[len(v.baskets)-1]
	p := layout.Part{ID: "seen",
		Subtitle: s.T("Shares of the basket’s cost by where its prices came from, %s. Each mark is 2\u202f%%.", s.month(b.Month))}
	if !b.ObservedShare.OK {
		p.Headline = s.T("In %s the shares are not known: an item has no price in any month", s.month(b.Month))
		if strings.Contains(b.ObsStatusAll, "Q") {
			p.Headline = s.T("In %s the shares are not known: the prices of an item are held for a check", s.month(b.Month))
		}
		p.Subtitle = ""
		return p, nil
	}
	p.Headline = s.T("In %s, %s of the basket’s cost had an observed price", s.month(b.Month), s.percent(b.ObservedShare, 0))
	for _, r := range []struct {
		share result.Num
		words catalogue.Key
	}{{b.ImputedShare, "%s filled in by rule"}, {b.MissingShare, "%s missing"}} {
		if r.share.OK && r.share.V > 0 {
			p.Headline += ", " + s.T(r.words, s.percent(r.share, 0))
		}
	}
	p.Key = []layout.Mark{key("fed", s.T("observed")), key("hatched", s.T("imputed")), key("open", s.T("missing"))}
	type part struct {
		name  string
		share result.Num
	}
	p.Table = tableOf([]part{{s.T("observed"), b.ObservedShare}, {s.T("imputed"), b.ImputedShare}, {s.T("missing"), b.MissingShare}}, -1,
		number(s.T("Prices"), func(r part) string { return r.name }), number(s.T("Share"), func(r part) string { return s.share2(r.share) }))
	p.Table.Caption = s.T("%s, %s. Shares of the cost at base-month weights; they add to 100\u202f%%.", v.region(), s.month(b.Month))
	p.Foot = []string{s.T("It rests on published averages; how many prices stand behind them is not known.")}
	if n, o := b.NObservations, b.NOutlets; unseen(b.Base) {
		p.Foot = []string{upper(s.T(noneSeen)) + "."}
	} else if n.OK && o.OK {
		p.Foot = []string{s.T("It rests on %s from %s.", s.Count(n.V, "one price", "%s prices"), s.Count(o.V, "one shop", "%s shops"))}
	}
	share := func(n result.Num) float64 { return math.Max(0, n.Or()) }
	wide, slim := draw.Shares(share(b.ObservedShare), share(b.ImputedShare), v.mark(draw.Wide), v.mark(draw.Slim))
	err := s.drawn(&p, file, wide, slim, p.Headline, "basket.csv")
	return p, err
}
