package dashboards

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"farthing/dashboards/draw"
	"farthing/dashboards/layout"
	"farthing/pipeline/result"
)

// basketPage says what the basket costs, how that moved, and of what it is made.
func basketPage(s *site, v *view, file string) (layout.Page, error) {
	p := layout.Page{Title: fmt.Sprintf("What the basket costs: %s in %s", v.householdName(), v.region())}
	if len(v.baskets) == 0 {
		p.Headline = noFigures
		p.Lead = []string{"No price of this basket has been read."}
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
			return lines
		}
	}
	return nil
}

// against sets a value against an older one: "14.5 % above", "as much as"; ""
// where one is missing. It says what was seen, not that the change is sure.
func against(now, then result.Num) string {
	if !now.OK || !then.OK || then.V == 0 {
		return ""
	}
	switch pct := result.Some((now.V/then.V - 1) * 100); {
	case pct.Fixed(1) == "0.0":
		return "as much as"
	case pct.V < 0:
		return num(result.Some(-pct.V), 1) + "\u202f% below"
	default:
		return num(pct, 1) + "\u202f% above"
	}
}

// its completes what against says with a month: "14.5 % above its price in January 2023".
func its(against string, m result.Month) string {
	if against == "as much as" {
		return "as much as in " + month(m)
	}
	return against + " its price in " + month(m)
}

func (v *view) basketHeadline(at int) (headline, strong string) {
	if at < 0 {
		if n := v.baskets[len(v.baskets)-1]; n.KnownPart.OK {
			return fmt.Sprintf("No month has a full price; in %s the priced part of the basket cost", month(n.Month)), money(n.KnownPart, v.currency) + " a day"
		}
		return "No month has a full price for the basket", ""
	}
	b := v.baskets[at]
	in := "in " + month(b.Month)
	if at < len(v.baskets)-1 {
		in += ", the last month with a full price"
	}
	seen := basis(b.Base)
	if unseen(b.Base) {
		seen = noneSeen + ". So filled"
	}
	headline = fmt.Sprintf("%s, the basket cost %s a day %s", upper(seen), money(b.PerDay, v.currency), in)
	if c, m := v.compared(at); c != "" {
		return headline + ",", its(c, m)
	}
	return headline, ""
}

// compared sets a month's cost against the base month's, else a year before's,
// else the first known.
func (v *view) compared(at int) (difference string, then result.Month) {
	b := v.baskets[at]
	months := []result.Month{b.Month - 12}
	if base, err := result.ParseMonth(v.e.BaseMonth); err == nil {
		months = []result.Month{base, b.Month - 12}
	}
	if first, _, ok := ends(v.baskets, func(b result.Basket) result.Num { return b.PerDay }); ok {
		months = append(months, first.Month)
	}
	for _, m := range months {
		if c := against(b.PerDay, v.basketOf(m).PerDay); c != "" && m != b.Month {
			return c, m
		}
	}
	return "", 0
}

func (v *view) basketLead(at int) []string {
	if at < 0 {
		n := v.baskets[len(v.baskets)-1]
		return []string{"A total with a missing price is not given: it would look cheaper than it is.", v.lacks(n.Month, n.Base)}
	}
	b := v.baskets[at]
	var lead []string
	if b.StandardMonth.OK {
		lead = append(lead, fmt.Sprintf("That is %s for this household’s standard month of 30.4375 days.", money(b.StandardMonth, v.currency)))
	}
	_, compared := v.compared(at)
	year := v.basketOf(b.Month - 12)
	if c := against(b.PerDay, year.PerDay); c != "" && compared != year.Month {
		lead = append(lead, fmt.Sprintf("It is %s.", strings.Replace(its(c, year.Month), "its price in", "its price a year before, in", 1)))
	}
	if then := v.basketOf(compared); b.Lo.OK && b.Hi.OK {
		s := fmt.Sprintf("The range across the shops seen is %s to %s a day", num(b.Lo, 2), money(b.Hi, v.currency))
		if then.Lo.OK && then.Hi.OK {
			s += fmt.Sprintf("; in %s it was %s to %s", month(compared), num(then.Lo, 2), num(then.Hi, 2))
		}
		lead = append(lead, s+". Other shops of the same kind could have shown any price in it.")
	} else {
		lead = append(lead, noRange(b.Base))
	}
	return append(lead, gaps(at, len(v.baskets), func(i int) result.Month { return v.baskets[i].Month }, func(i int) string {
		if v.baskets[i].PerDay.OK {
			return ""
		}
		return noPrice(v.baskets[i].Base)
	})...)
}

// monthText names a month written as 2024-02; other text stays as it is.
func monthText(s string) string {
	m, err := result.ParseMonth(s)
	if err != nil {
		return clean(s)
	}
	return month(m)
}

// costLine draws one value of every month's basket, with its range where it
// has one, and tables it; the first column says what the value is.
func (s *site) costLine(v *view, file string, p *layout.Part, value func(result.Basket) result.Num, ranged bool, columns ...column[result.Basket]) error {
	line := draw.Series{Name: "basket", Gap: "no figure"}
	var l draw.Lines
	for i, b := range v.baskets {
		x := value(b)
		l.Months = append(l.Months, axisLabel(b.Month, i, len(v.baskets)))
		at := point(x, hatched(b.Base))
		if ranged {
			at = within(at, b.Lo, b.Hi)
		}
		line.Points = append(line.Points, at)
		if x.OK {
			line.Last = num(x, 2)
		}
	}
	p.Table = byMonth(v.baskets, func(b result.Basket) result.Month { return b.Month }, v.priced(), columns...)
	p.Table.Caption = v.caption(p.Table, "")
	l.Series = []draw.Series{line}
	if ranged && v.ranged() {
		p.Key = []layout.Mark{key("band", "cost, and the range across the shops seen")}
	}
	if brokenIn(line) {
		p.Key = append(p.Key, key("broken", "over a quarter of the cost imputed"))
	}
	return s.linePlots(p, v, file, l, p.Headline, "basket.csv", "item.csv")
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
	p := layout.Part{ID: "nominal", Subtitle: fmt.Sprintf("Cost of a day’s basket in money of each month (nominal), %s.", v.currency)}
	first, last, ok := ends(v.baskets, value)
	switch {
	case !ok:
		p.Headline = "No month has a full price"
	case first.Month == last.Month:
		p.Headline = fmt.Sprintf("One month so far: %s a day in %s", money(last.PerDay, v.currency), month(last.Month))
	default:
		p.Headline = fmt.Sprintf("From %s a day in %s to %s in %s", num(first.PerDay, 2), month(first.Month), money(last.PerDay, v.currency), month(last.Month))
	}
	type B = result.Basket
	columns := []column[B]{number("Cost a day", func(b B) string { return money4(b.PerDay) }).gap(func(b B) string {
		if b.PerDay.OK {
			return ""
		}
		return v.noTotal(v.at(b.Month), b.Base)
	})}
	if v.ranged() {
		columns = append(columns, number("Low", func(b B) string { return money4(b.Lo) }), number("High", func(b B) string { return money4(b.Hi) }))
	}
	err := s.costLine(v, file, &p, value, true, append(columns,
		number("Standard month", func(b B) string { return money4(b.StandardMonth) }),
		number("Observed", func(b B) string { return share2(b.ObservedShare) }),
		number("Imputed", func(b B) string { return share2(b.ImputedShare) }),
		number("Prices seen", func(b B) string { return b.NObservations.String() }),
		text("Status", func(b B) string { return letters(b.Base) }))...)
	if !ok {
		p.Foot = append(p.Foot, "What the priced part of the basket costs in each month is in basket.csv, as known_part_lcu.")
	}
	return p, err
}

func (s *site) realPart(v *view, file string) (layout.Part, error) {
	value := func(b result.Basket) result.Num { return b.RealPerDay }
	first, last, ok := ends(v.baskets, value)
	p := layout.Part{ID: "real"}
	if !ok {
		p.Headline = "No cost in money of one month can be given"
		switch {
		case v.priced() < 0:
			p.Text = []string{"No month has a full price, so there is nothing to put in money of another month."}
		case v.e.Deflator == "":
			p.Text = []string{"That takes an index of prices for each month. Name a deflator in farthing.toml and enter its series in tables/deflators."}
		default:
			p.Text = []string{fmt.Sprintf("The deflator %s has no value for these months and the base month. Enter them in tables/deflators, or import them.", label(v.e.Deflator))}
		}
		return p, nil
	}
	in := fmt.Sprintf("in money of %s by %s", monthText(last.BaseMonth), label(last.Deflator))
	switch c := against(last.RealPerDay, first.RealPerDay); {
	case first.Month == last.Month:
		p.Headline = fmt.Sprintf("I%s: %s a day in %s", in[1:], money(last.RealPerDay, v.currency), month(last.Month))
	case c == "as much as":
		p.Headline = fmt.Sprintf("I%s, the basket cost as much in %s as in %s", in[1:], month(last.Month), month(first.Month))
	default:
		p.Headline = fmt.Sprintf("I%s, the basket’s cost in %s was %s that of %s", in[1:], month(last.Month), c, month(first.Month))
	}
	p.Subtitle = fmt.Sprintf("Cost of a day’s basket %s (real), %s.", in, v.currency)
	p.Foot = []string{fmt.Sprintf("Deflator: the series %s of %s. The line shows how the basket moved beside that series; it says nothing of other prices.", label(last.Deflator), regionName(v.e, last.DeflatorRegion))}
	type B = result.Basket
	err := s.costLine(v, file, &p, value, false,
		number("Real cost a day", func(b B) string { return money4(b.RealPerDay) }).gap(func(b B) string {
			switch {
			case b.RealPerDay.OK:
				return ""
			case b.PerDay.OK:
				return "no deflator for this month"
			}
			return v.noTotal(v.at(b.Month), b.Base)
		}))
	return p, err
}

// ruleWords say what the rules of the imputation ladder do; a rule that is not
// here is printed by its name.
var ruleWords = map[string]string{
	"ancestor_change": "filled: moved as in the wider region",
	"class_change":    "filled: moved as its kind of food",
	"region_change":   "filled: moved as all food here",
	"carried":         "filled: last price kept",
}

// filledWords say how a line's price was found.
func filledWords(l result.BasketLine) string {
	switch words, ok := ruleWords[l.FilledBy]; {
	case !l.UnitPrice.OK:
		return noPrice(l.Base)
	case l.FilledBy == "" && !l.NObservations.OK:
		return "published average"
	case l.FilledBy == "":
		return "seen on shelves"
	case ok:
		return words
	}
	return "filled: " + label(l.FilledBy)
}

// linesPart is what a basket is made of.
func (v *view) linesPart(lines []result.BasketLine) layout.Part {
	m := lines[0].Month
	p := layout.Part{ID: "lines", Open: true, Source: v.source(), Links: dataLinks("basket_lines.csv", "item.csv"),
		Subtitle: "One person’s basket a day, as purchased: peel and bones included."}
	if g := lines[0].Grade; g != "" && !slices.ContainsFunc(lines, func(l result.BasketLine) bool { return l.Grade != g }) {
		p.Subtitle += fmt.Sprintf(" All of grade %s.", label(g))
	}
	var dearest result.BasketLine
	for _, l := range lines {
		if l.PerDay.OK && (!dearest.PerDay.OK || l.PerDay.V > dearest.PerDay.V) {
			dearest = l
		}
	}
	type L = result.BasketLine
	t := tableOf(lines, -1,
		column[L]{"Item", false, func(l L) layout.Cell {
			return layout.Cell{Text: v.lineName(l), Href: v.itemHref(l.Item)}
		}},
		number("Quantity a day", quantity).or("not known"),
		number("Unit price", func(l L) string { return money4(l.UnitPrice) }).or("none"),
		number("Cost a day", func(l L) string { return money4(l.PerDay) }).or("none"),
		number("Weight", func(l L) string { return share2(l.Weight) }),
		text("How priced", filledWords))
	sum := layout.Cell{Text: money4(v.onePerson(m))}
	if sum.Text == "" {
		sum = layout.Cell{Text: "no total", Missing: true}
	}
	t.Rows = append(t.Rows, layout.Row{Sum: true, Cells: []layout.Cell{{Text: "One person"}, {}, {}, sum, {}, {}}})
	if b := v.basketOf(m); b.PerDay.OK && v.household.Equivalents.OK {
		p.Foot = append(p.Foot, fmt.Sprintf("%s counts as %s persons: %s a day.", v.householdName(), num(v.household.Equivalents, 2), money(b.PerDay, v.currency)))
	}
	p.Foot = append(p.Foot, "The total is the sum of the unrounded lines, so rounded lines may miss it in the last digit. Weight is a line’s share of the base month’s cost.")
	t.Caption = fmt.Sprintf("%s, %s. Unit price in %s a kg, litre or piece; money with the digits of the data file.%s", month(m), v.region(), v.currency, statusKey(v.e, t.Rows))
	p.Table = t
	p.Headline = fmt.Sprintf("What is in it: %s", count(len(lines), "item", "items"))
	if dearest.PerDay.OK {
		p.Headline += fmt.Sprintf(", of which %s cost most: %s a day in %s", v.lineName(dearest), money(dearest.PerDay, v.currency), month(m))
	}
	return p
}

// quantity prints a line's quantity a day in the unit a kitchen uses.
func quantity(l result.BasketLine) string {
	if !l.APQuantity.OK {
		return ""
	}
	switch q := l.APQuantity; l.BaseUnit {
	case "kg":
		return num(result.Some(q.V*1000), 0) + " g"
	case "L":
		return num(result.Some(q.V*1000), 0) + " mL"
	case "each":
		return num(q, 2) + " pieces"
	default:
		return num(q, 4) + " " + clean(l.BaseUnit)
	}
}

// seenPart says how much of the newest basket was seen, filled in, or missing.
func (s *site) seenPart(v *view, file string) (layout.Part, error) {
	b := v.baskets[len(v.baskets)-1]
	p := layout.Part{ID: "seen",
		Subtitle: fmt.Sprintf("Shares of the basket’s cost by where its prices came from, %s. Each mark is 2\u202f%%.", month(b.Month))}
	if !b.ObservedShare.OK {
		p.Headline = fmt.Sprintf("No price of %s has been seen", month(b.Month))
		p.Subtitle = ""
		return p, nil
	}
	p.Headline = fmt.Sprintf("In %s, %s of the basket’s cost had an observed price", month(b.Month), percent(b.ObservedShare, 0))
	for _, r := range []struct {
		share result.Num
		words string
	}{{b.ImputedShare, "%s filled in by rule"}, {b.MissingShare, "%s missing"}} {
		if r.share.OK && r.share.V > 0 {
			p.Headline += ", " + fmt.Sprintf(r.words, percent(r.share, 0))
		}
	}
	p.Key = []layout.Mark{key("fed", "observed"), key("hatched", "imputed"), key("open", "missing")}
	type part struct {
		name  string
		share result.Num
	}
	p.Table = tableOf([]part{{"observed", b.ObservedShare}, {"imputed", b.ImputedShare}, {"missing", b.MissingShare}}, -1,
		number("Prices", func(r part) string { return r.name }), number("Share", func(r part) string { return share2(r.share) }))
	p.Table.Caption = fmt.Sprintf("%s, %s. Shares of the cost at base-month weights; they add to 100\u202f%%.", v.region(), month(b.Month))
	p.Foot = []string{"It rests on published averages; how many prices stand behind them is not known."}
	if n, o := b.NObservations, b.NOutlets; unseen(b.Base) {
		p.Foot = []string{upper(noneSeen) + "."}
	} else if n.OK && o.OK {
		p.Foot = []string{fmt.Sprintf("It rests on %s from %s.", count(n.V, "price", "prices"), count(o.V, "shop", "shops"))}
	}
	share := func(n result.Num) float64 { return math.Max(0, n.Or()) }
	wide, slim := draw.Shares(share(b.ObservedShare), share(b.ImputedShare), v.mark(draw.Wide), v.mark(draw.Slim))
	err := s.drawn(&p, file, wide, slim, p.Headline, "basket.csv")
	return p, err
}
