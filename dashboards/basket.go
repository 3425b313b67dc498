package dashboards

import (
	"fmt"
	"math"
	"slices"

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
	p.Lead = v.basketLead(at)
	nominal, err := s.nominalPart(v, file)
	if err != nil {
		return p, err
	}
	deflated, err := s.realPart(v, file)
	if err != nil {
		return p, err
	}
	p.Parts = append(p.Parts, nominal, deflated)
	if len(v.lines) > 0 {
		p.Parts = append(p.Parts, v.linesPart())
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

// change says by how much a value differs from an older one: "14.5 % more than".
func change(now, then result.Num) string {
	if !now.OK || !then.OK || then.V == 0 {
		return ""
	}
	switch pct := result.Some((now.V/then.V - 1) * 100); {
	case pct.Fixed(1) == "0.0":
		return "as much as"
	case pct.V < 0:
		return num(result.Some(-pct.V), 1) + "\u202f% less than"
	default:
		return num(pct, 1) + "\u202f% more than"
	}
}

func (v *view) basketHeadline(at int) (headline, strong string) {
	if at < 0 {
		if n := v.baskets[len(v.baskets)-1]; n.KnownPart.OK {
			return fmt.Sprintf("No month has a full price; in %s the priced part of the basket cost", month(n.Month)), money(n.KnownPart, v.currency) + " a day"
		}
		return "No month has a full price for the basket", ""
	}
	b := v.baskets[at]
	in := "In " + month(b.Month)
	if at < len(v.baskets)-1 {
		in += ", the last month with a full price,"
	}
	if c, m := v.compared(at); c != "" {
		return fmt.Sprintf("%s the basket cost %s a day,", in, money(b.PerDay, v.currency)), fmt.Sprintf("%s in %s", c, month(m))
	}
	return in + " the basket cost", money(b.PerDay, v.currency) + " a day"
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
		if c := change(b.PerDay, v.basketOf(m).PerDay); c != "" && m != b.Month {
			return c, m
		}
	}
	return "", 0
}

func (v *view) basketLead(at int) []string {
	if at < 0 {
		return []string{"A total with a missing price is not given: it would look cheaper than it is."}
	}
	b := v.baskets[at]
	var lead []string
	if n := len(v.baskets); at < n-1 {
		lead = append(lead, gapAfter(at, n, func(i int) result.Month { return v.baskets[i].Month }, func(i int) string { return noPrice(v.baskets[i].Base) }))
	}
	if b.StandardMonth.OK {
		lead = append(lead, fmt.Sprintf("That is %s for this household’s standard month of 30.4375 days.", money(b.StandardMonth, v.currency)))
	}
	year := v.basketOf(b.Month - 12)
	if c := change(b.PerDay, year.PerDay); c != "" {
		if _, m := v.compared(at); m != year.Month {
			lead = append(lead, fmt.Sprintf("A day cost %s a year before, in %s.", c, month(year.Month)))
		}
	}
	if b.RealPerDay.OK {
		lead = append(lead, fmt.Sprintf("In money of %s it is %s a day.", monthText(b.BaseMonth), money(b.RealPerDay, v.currency)))
	}
	return lead
}

// monthText names a month written as 2024-02; other text stays as it is.
func monthText(s string) string {
	m, err := result.ParseMonth(s)
	if err != nil {
		return clean(s)
	}
	return month(m)
}

// costLine draws one value of every month's basket and tables it.
func (s *site) costLine(v *view, file string, p *layout.Part, name, column string, value func(result.Basket) result.Num, why func(result.Basket) string, more ...layout.Column) error {
	line := draw.Series{Name: name}
	var l draw.Lines
	t := &layout.Table{Head: []layout.Column{{Text: "Month"}, {Text: column}}}
	t.Head = append(t.Head, more...)
	var statuses []string
	at := v.priced()
	for i, b := range v.baskets {
		x := value(b)
		l.Months = append(l.Months, axisLabel(b.Month, i, len(v.baskets)))
		line.Points = append(line.Points, point(x, hatched(b.Base)))
		row := layout.Row{Now: i == at, Cells: []layout.Cell{{Text: shortMonth(b.Month)}}}
		if more != nil || !b.PerDay.OK { // the row shows them
			statuses = append(statuses, letters(b.Base))
		}
		if !x.OK {
			row.Cells = append(row.Cells, layout.Cell{Text: why(b), Span: len(t.Head) - 1, Missing: true})
			t.Rows = append(t.Rows, row)
			continue
		}
		line.Last = num(x, 2)
		row.Cells = append(row.Cells, layout.Cell{Text: num(x, 2)})
		if more != nil {
			row.Cells = append(row.Cells, layout.Cell{Text: num(b.StandardMonth, 2)}, layout.Cell{Text: percent(b.ObservedShare, 0)},
				layout.Cell{Text: percent(b.ImputedShare, 0)}, layout.Cell{Text: b.NObservations.String()}, layout.Cell{Text: letters(b.Base), Words: true})
		}
		t.Rows = append(t.Rows, row)
	}
	t.Caption = fmt.Sprintf("%s a day, rounded to 2 decimals. %s, %s.%s", v.currency, v.householdName(), v.region(), statusKey(statuses))
	p.Table, l.Series = t, []draw.Series{line}
	if brokenIn(line) {
		p.Foot = append(p.Foot, "Broken line: over a quarter of the cost is imputed.")
	}
	return s.linePlots(p, v, file, l, p.Headline, "basket.csv", "item.csv")
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
	err := s.costLine(v, file, &p, "basket", "Cost a day", value, func(b result.Basket) string {
		words := noPrice(b.Base)
		if b.KnownPart.OK {
			words += fmt.Sprintf("; the priced part costs %s a day", num(b.KnownPart, 2))
		}
		return words
	}, layout.Column{Text: "Standard month"}, layout.Column{Text: "Observed"}, layout.Column{Text: "Imputed"}, layout.Column{Text: "Prices seen"}, layout.Column{Text: "Status", Words: true})
	return p, err
}

func (s *site) realPart(v *view, file string) (layout.Part, error) {
	value := func(b result.Basket) result.Num { return b.RealPerDay }
	base, deflator := monthText(v.e.BaseMonth), label(v.e.Deflator)
	first, last, ok := ends(v.baskets, value)
	p := layout.Part{ID: "real"}
	if !ok {
		p.Headline = "No cost in money of one month can be given"
		p.Text = []string{"That takes a price level for each month. Name a deflator in farthing.toml and enter its series in tables/deflators."}
		return p, nil
	}
	if last.BaseMonth != "" {
		base = monthText(last.BaseMonth)
	}
	if last.Deflator != "" {
		deflator = label(last.Deflator)
	}
	switch c := change(last.RealPerDay, first.RealPerDay); {
	case first.Month == last.Month:
		p.Headline = fmt.Sprintf("In money of %s: %s a day in %s", base, money(last.RealPerDay, v.currency), month(last.Month))
	case c == "as much as":
		p.Headline = fmt.Sprintf("Beside prices in general, the basket cost as much in %s as in %s", month(last.Month), month(first.Month))
	default:
		p.Headline = fmt.Sprintf("Beside prices in general, the basket cost %s in %s", c, month(first.Month))
		if last.Month != v.baskets[len(v.baskets)-1].Month {
			p.Headline = fmt.Sprintf("Beside prices in general, the basket of %s cost %s in %s", month(last.Month), c, month(first.Month))
		}
	}
	p.Subtitle = fmt.Sprintf("Cost of a day’s basket in money of %s (real), %s.", base, v.currency)
	if deflator != "" {
		p.Foot = []string{fmt.Sprintf("Deflator: %s. It takes out the rise of prices in general; what is left is this basket’s own.", deflator)}
	}
	err := s.costLine(v, file, &p, "basket", "Real cost a day", value, func(b result.Basket) string {
		if b.PerDay.OK {
			return "no deflator for this month"
		}
		return noPrice(b.Base)
	})
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
	case l.FilledBy == "":
		return "seen on shelves"
	case ok:
		return words
	}
	return "filled: " + label(l.FilledBy)
}

// linesPart is what the newest basket is made of.
func (v *view) linesPart() layout.Part {
	m := v.lines[0].Month
	p := layout.Part{ID: "lines", Open: true, Source: v.source(), Links: dataLinks("basket_lines.csv", "item.csv"),
		Subtitle: "One person’s basket a day, as purchased: peel and bones included."}
	names := map[string]string{}
	for _, n := range v.e.ItemNames {
		names[n.Item] = n.Name
	}
	graded := slices.ContainsFunc(v.lines, func(l result.BasketLine) bool { return l.Grade != v.lines[0].Grade })
	if g := v.lines[0].Grade; !graded && g != "" {
		p.Subtitle += fmt.Sprintf(" All of grade %s.", label(g))
	}
	name := func(l result.BasketLine) string {
		s := clean(names[l.Item])
		if s == "" {
			s = label(l.Item)
		}
		if graded && l.Grade != "" {
			s += ", " + label(l.Grade)
		}
		return s
	}
	t := &layout.Table{Head: []layout.Column{{Text: "Item"}, {Text: "Quantity a day"}, {Text: "Unit price"}, {Text: "Cost a day"}, {Text: "Weight"}, {Text: "How priced", Words: true}}}
	var dearest result.BasketLine
	for _, l := range v.lines {
		if l.PerDay.OK && (!dearest.PerDay.OK || l.PerDay.V > dearest.PerDay.V) {
			dearest = l
		}
		row := layout.Row{Cells: []layout.Cell{{Text: name(l)}, {Text: quantity(l)}, {Text: num(l.UnitPrice, 2)}, {Text: num(l.PerDay, 2)}, {Text: percent(l.Weight, 1)}, {Text: filledWords(l), Words: true}}}
		if !l.UnitPrice.OK {
			row.Cells[2] = layout.Cell{Text: "none", Missing: true}
			row.Cells[3] = layout.Cell{Text: "none", Missing: true}
		}
		t.Rows = append(t.Rows, row)
	}
	sum := v.onePerson(m)
	if sum.OK {
		t.Rows = append(t.Rows, layout.Row{Sum: true, Cells: []layout.Cell{{Text: "One person"}, {}, {}, {Text: num(sum, 2)}, {}, {}}})
	} else {
		t.Rows = append(t.Rows, layout.Row{Sum: true, Cells: []layout.Cell{{Text: "One person"}, {}, {}, {Text: "no total", Missing: true}, {}, {}}})
	}
	if b := v.basketOf(m); b.PerDay.OK && v.household.Equivalents.OK {
		p.Foot = append(p.Foot, fmt.Sprintf("%s counts as %s persons: %s a day.", v.householdName(), num(v.household.Equivalents, 2), money(b.PerDay, v.currency)))
	}
	p.Foot = append(p.Foot, "The total is the sum of the unrounded lines, so rounded lines may miss it by a cent or two. Weight is a line’s share of the base month’s cost.")
	t.Caption = fmt.Sprintf("%s, %s. Unit price in %s a kg, litre or piece; money rounded to 2 decimals.", month(m), v.region(), v.currency)
	p.Table = t
	p.Headline = fmt.Sprintf("What is in it: %s", count(len(v.lines), "item", "items"))
	if dearest.PerDay.OK {
		p.Headline += fmt.Sprintf(", of which %s cost most: %s a day in %s", name(dearest), money(dearest.PerDay, v.currency), month(m))
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
	p.Headline = fmt.Sprintf("In %s, %s of the basket was seen on shelves", month(b.Month), percent(b.ObservedShare, 0))
	for _, r := range []struct {
		share result.Num
		words string
	}{{b.ImputedShare, "%s filled in by rule"}, {b.MissingShare, "%s missing"}} {
		if r.share.OK && r.share.V > 0 {
			p.Headline += ", " + fmt.Sprintf(r.words, percent(r.share, 0))
		}
	}
	p.Key = []layout.Mark{key("fed", "observed"), key("hatched", "imputed"), key("open", "missing")}
	t := &layout.Table{Caption: fmt.Sprintf("%s, %s. Shares of the cost at base-month weights; they add to 100\u202f%%.", v.region(), month(b.Month)),
		Head: []layout.Column{{Text: "Prices"}, {Text: "Share"}}}
	for _, r := range []struct {
		name  string
		share result.Num
	}{{"observed", b.ObservedShare}, {"imputed", b.ImputedShare}, {"missing", b.MissingShare}} {
		t.Rows = append(t.Rows, layout.Row{Cells: []layout.Cell{{Text: r.name}, {Text: percent(r.share, 2)}}})
	}
	p.Table = t
	if n, o := b.NObservations, b.NOutlets; n.OK && o.OK {
		p.Foot = []string{fmt.Sprintf("It rests on %s from %s.", count(n.V, "price", "prices"), count(o.V, "shop", "shops"))}
	}
	share := func(n result.Num) float64 { return math.Max(0, n.Or()) }
	wide, slim := draw.Shares(share(b.ObservedShare), share(b.ImputedShare), v.mark(draw.Wide), v.mark(draw.Slim))
	err := s.figure(&p, file, wide, []layout.Plot{plot("wide", wide, p.Headline, nil), plot("slim", slim, p.Headline, nil)}, "basket.csv")
	return p, err
}
