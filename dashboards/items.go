package dashboards

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"farthing/dashboards/catalogue"
	"farthing/dashboards/draw"
	"farthing/dashboards/layout"
	"farthing/pipeline/result"
)

// good is an item with its prices, by grade and region.
type good struct {
	item     string
	grades   []grade
	from, to result.Month
}

// grade holds the months of each region in which the item has a row, in the
// order of the tree; each has a row for every month of the good.
type grade struct {
	name    string
	regions [][]result.Item
}

// goodsOf gathers an edition's items in the order of their names, the grade that
// a basket has before others.
func goodsOf(e *result.Edition) []good {
	type key struct{ item, grade, region string }
	rows := map[key]map[result.Month]*result.Item{}
	grades := map[string][]string{}
	bounds := map[string][2]result.Month{}
	for i := range e.Items {
		r := &e.Items[i]
		k := key{r.Item, r.Grade, r.Region}
		if rows[k] == nil {
			rows[k] = map[result.Month]*result.Item{}
		}
		rows[k][r.Month] = r
		if !slices.Contains(grades[r.Item], r.Grade) {
			grades[r.Item] = append(grades[r.Item], r.Grade)
		}
		b, ok := bounds[r.Item]
		if !ok {
			b = [2]result.Month{r.Month, r.Month}
		}
		bounds[r.Item] = [2]result.Month{min(b[0], r.Month), max(b[1], r.Month)}
	}
	inBasket := map[[2]string]bool{}
	for _, l := range e.Lines {
		inBasket[[2]string{l.Item, l.Grade}] = true
	}
	var goods []good
	order := regionOrder(e)
	for _, n := range e.ItemNames {
		if grades[n.Item] == nil {
			continue
		}
		g := good{item: n.Item, from: bounds[n.Item][0], to: bounds[n.Item][1]}
		slices.SortFunc(grades[n.Item], func(a, b string) int {
			if first := inBasket[[2]string{n.Item, a}]; first != inBasket[[2]string{n.Item, b}] {
				if first {
					return -1
				}
				return 1
			}
			return cmp.Compare(a, b)
		})
		for _, name := range grades[n.Item] {
			of := grade{name: name}
			for _, region := range order {
				months := rows[key{n.Item, name, region}]
				if months == nil {
					continue
				}
				var list []result.Item
				for m := g.from; m <= g.to; m++ {
					r, ok := months[m]
					if !ok {
						r = &result.Item{Region: region, Item: n.Item, Grade: name, Month: m, Base: result.Base{ObsStatus: "O"}}
					}
					list = append(list, *r)
				}
				of.regions = append(of.regions, list)
			}
			if of.regions != nil {
				g.grades = append(g.grades, of)
			}
		}
		if g.grades != nil {
			goods = append(goods, g)
		}
	}
	return goods
}

func (g *good) file() string { return fileName("item", g.item) }

// itemHref is the page of an item, "" where it has none.
func (s *site) itemHref(item string) string {
	for i := range s.goods {
		if s.goods[i].item == item {
			return s.goods[i].file() + ".html"
		}
	}
	return ""
}

// pricesOf are the months of an item in a grade and region, nil where it has none there.
func (s *site) pricesOf(item, grade, region string) []result.Item {
	for i := range s.goods {
		if s.goods[i].item != item {
			continue
		}
		for _, of := range s.goods[i].grades {
			for _, rows := range of.regions {
				if of.name == grade && rows[0].Region == region {
					return rows
				}
			}
		}
	}
	return nil
}

// monthIn is the place of a month among a good's rows, of which each month has one; -1
// where it is none of them.
func monthIn(rows []result.Item, m result.Month) int {
	if len(rows) == 0 || m < rows[0].Month || m > rows[len(rows)-1].Month {
		return -1
	}
	return int(m - rows[0].Month)
}

// newestMonth is the newest month of which an item has a row.
func (s *site) newestMonth() (newest result.Month) {
	for i := range s.goods {
		newest = max(newest, s.goods[i].to)
	}
	return newest
}

// unitWords say what a unit price is of.
func (t tongue) unitWords(unit string) string {
	switch unit {
	case "kg":
		return t.T("a kilogram")
	case "L":
		return t.T("a litre")
	case "each":
		return t.T("a piece")
	}
	return t.T("a %s", clean(unit))
}

// newestPrice is the newest row with a price; ok is false where there is none.
func newestPrice(rows []result.Item) (last result.Item, ok bool) {
	for _, r := range rows {
		if r.UnitPrice.OK {
			last, ok = r, true
		}
	}
	return last, ok
}

// spoken are the rows that a grade's sentences speak of: the front page's
// region, or else the first that has a price.
func (s *site) spoken(of grade) []result.Item {
	best := of.regions[0]
	found := false
	for _, rows := range of.regions {
		_, ok := newestPrice(rows)
		switch {
		case ok && rows[0].Region == s.publish[0].Region:
			return rows
		case ok && !found:
			best, found = rows, true
		}
	}
	return best
}

// basisOf says how an item's price was found: "published average", "seen on shelves", a rule.
func (t tongue) basisOf(r result.Item) string {
	return t.filledWords(result.BasketLine{UnitPrice: r.UnitPrice, FilledBy: r.FilledBy, Base: r.Base})
}

// itemsPage lists the items.
func itemsPage(s *site, v *view, _ string) (layout.Page, error) {
	p := layout.Page{Title: s.T("Items and their prices"), Caution: s.caution()}
	if len(s.goods) == 0 {
		p.Headline = s.T("No item has a price yet")
		p.Lead = []string{s.T("Import prices, or note them, then run again.")}
		return p, nil
	}
	type entry struct {
		*good
		row    result.Item
		then   result.Item
		places int // regions without parts that have rows of it
	}
	var rows []entry
	region, newest := s.publish[0].Region, s.newestMonth()
	observed, filled := 0, 0
	for i := range s.goods {
		g := &s.goods[i]
		for _, of := range g.grades {
			e := entry{good: g, row: result.Item{Grade: of.name, Region: region, Month: newest, Base: result.Base{ObsStatus: "O"}}}
			for _, list := range of.regions {
				if leaf(s.e, list[0].Region) {
					e.places++
				}
				for _, r := range list {
					if r.Region == region && r.Month == newest {
						e.row = r
					}
					if r.Region == region && r.Month == newest-12 {
						e.then = r
					}
				}
			}
			if e.places == 0 { // a price of the whole alone
				e.places = len(of.regions)
			}
			switch {
			case e.row.UnitPrice.OK && e.row.FilledBy == "":
				observed++
			case e.row.UnitPrice.OK:
				filled++
			}
			rows = append(rows, e)
		}
	}
	name := regionName(s.e, region)
	p.Headline = s.T("%d of %s had an observed price in %s in %s", observed, s.Count(len(rows), "one item", "%s items"), name, s.month(newest))
	if filled > 0 {
		p.Lead = append(p.Lead, upper(s.Count(filled, "one more was filled in by rule.", "%s more were filled in by rule.")))
	}
	if len(rows) > len(s.goods) {
		p.Lead = append(p.Lead, s.T("Each grade of an item counts by itself."))
	}
	p.Lead = append(p.Lead, s.T("Each item’s own page shows every region and month, with the days and the number of prices behind it."))
	part := layout.Part{ID: "items", Open: true, Headline: s.T("Prices in %s, %s", name, s.month(newest)), Links: dataLinks("item.csv"),
		Subtitle: s.T("An average of a month’s prices, per kilogram, litre or piece; how it is made stands under Grounds. Shelf prices of single packs are in observations.csv.")}
	columns := []column[entry]{
		{head: s.T("Item"), cell: func(e entry) layout.Cell {
			return layout.Cell{Text: s.gradeName(e.good, e.row.Grade), Href: e.file() + ".html"}
		}},
		number(s.T("Price"), func(e entry) string { return s.money4(e.row.UnitPrice) }).or(s.T("none")),
	}
	what := s.T("%s, %s. Money in %s, with the digits of the data file.", name, s.month(newest), v.currency)
	if slices.ContainsFunc(rows, func(e entry) bool { return e.row.Lo.OK }) {
		columns = append(columns, number(s.T("Low"), func(e entry) string { return s.money4(e.row.Lo) }).or(s.T("no range")), number(s.T("High"), func(e entry) string { return s.money4(e.row.Hi) }).or(s.T("no range")))
		what += " " + s.T("Low and High: the range across the shops seen. It takes three shops, a price that is not filled in by rule, and an item that a basket has.")
	}
	columns = append(columns,
		text(s.T("Per"), func(e entry) string { return s.code(e.row.BaseUnit) }),
		number(s.T("A year before"), func(e entry) string { return s.money4(e.then.UnitPrice) }))
	if slices.ContainsFunc(rows, func(e entry) bool { return e.row.NObservations.OK }) {
		columns = append(columns, number(s.T("Prices"), func(e entry) string { return s.whole(e.row.NObservations) }))
	} else {
		part.Subtitle = s.T("Published averages, per kilogram, litre or piece.")
	}
	columns = append(columns,
		number(s.T("Regions"), func(e entry) string { return s.Figure(fmt.Sprint(e.places)) }),
		text(s.T("How priced"), func(e entry) string { return s.basisOf(e.row) }))
	part.Table = tableOf(rows, -1, columns...)
	part.Table.Caption = what + s.statusKey(s.e, part.Table.Rows)
	p.Parts = []layout.Part{part}
	return p, nil
}

// itemPage is the page of one item.
func (s *site) itemPage(g *good) (layout.Page, error) {
	name := s.itemName(g.item)
	p := layout.Page{Title: s.T("%s: unit price by region", name), About: s.T("Item: %s", name), Nav: s.nav("Items", s.publish[0])}
	choice := layout.Choice{Name: s.T("Item")}
	for i := range s.goods {
		o := &s.goods[i]
		choice.Links = append(choice.Links, layout.Link{Text: s.itemName(o.item), Href: o.file() + ".html", Current: o == g})
	}
	if len(choice.Links) > 1 {
		p.Choices = []layout.Choice{choice}
	}
	p.Headline, p.Strong, p.Lead = s.itemWords(s.gradeName(g, g.grades[0].name), s.spoken(g.grades[0]))
	var others []string
	for _, of := range g.grades[1:] {
		if slices.ContainsFunc(of.regions, func(rows []result.Item) bool { _, ok := newestPrice(rows); return ok }) {
			others = append(others, s.gradeWords(of.name))
		}
	}
	if others != nil {
		p.Lead = append(p.Lead, s.T("Below is what other grades of it cost: %s.", s.list(others, 4)))
	}
	for i := range g.grades {
		part, err := s.pricesPart(g, i)
		if err != nil {
			return p, err
		}
		p.Parts = append(p.Parts, part)
	}
	p.Parts = append(p.Parts, layout.Part{ID: "cautions", Headline: s.T("What this page does not say"), Text: []string{
		s.T("It does not say what a shop asks today: a price here is that of a month. Nor does it say which pack or grade to buy."),
		s.T("Its cheapest region may not be the cheapest for other goods.")}})
	return p, nil
}

// gradeName is a good's name, with the grade where it has several.
func (s *site) gradeName(g *good, grade string) string {
	return s.graded(g.item, grade, len(g.grades) > 1)
}

// graded is an item's name, and its grade where that tells it from another.
func (s *site) graded(item, grade string, tells bool) string {
	name := s.itemName(item)
	if tells && grade != "" {
		name += ", " + s.gradeWords(grade)
	}
	return name
}

// gradeWords prints a grade's key: "line-caught" as "line caught".
func (t tongue) gradeWords(grade string) string {
	if grade == "" {
		return t.T("not named")
	}
	return strings.ReplaceAll(label(grade), "-", " ")
}

func (s *site) itemWords(name string, rows []result.Item) (headline, strong string, lead []string) {
	region, end := regionName(s.e, rows[0].Region), rows[len(rows)-1]
	now, ok := newestPrice(rows)
	if !ok {
		lead = []string{s.T("Nothing is guessed: a month without a price stays empty.")}
		if words := s.heldWords(rows); words != "" {
			lead = append(lead, upper(words)+".")
		}
		return s.T("%s: no price in %s", name, region), "", lead
	}
	currency := clean(now.CurrencyCode)
	headline = s.T("%s cost %s %s in %s in %s", name, s.money(now.UnitPrice, currency), s.unitWords(now.BaseUnit), region, s.month(now.Month))
	if now.FilledBy == "" {
		headline += ", " + s.basis(now.Base)
	}
	if i := int(now.Month - 12 - rows[0].Month); i >= 0 {
		if c := against(now.UnitPrice, rows[i].UnitPrice); c.OK {
			headline += ","
			strong = s.itsYear(c, rows[i].Month)
		}
	}
	switch {
	case now.FilledBy != "":
		text := s.T("That price was not seen but %s", s.basisOf(now))
		if n := now.MonthsSinceSeen; n.OK && n.V > 0 {
			text += s.T("; the last was seen %s before", s.Count(n.V, "one month", "%s months"))
		}
		lead = append(lead, text+".")
	case !now.NObservations.OK:
		lead = append(lead, s.T("How many prices stand behind a published average is not known, so no range can be given."))
	default:
		text := s.T("It rests on %s from %s", s.Count(now.NObservations.V, "one price", "%s prices"), s.Count(now.NOutlets.V, "one shop", "%s shops"))
		if now.OldestOn != "" {
			text += s.T(", noted from %s to %s", s.day(now.OldestOn, now.Month.Year(), false), s.day(now.NewestOn, now.Month.Year(), false))
		}
		if now.Lo.OK && now.Hi.OK {
			text += s.T("; the range across the shops seen is %s to %s", s.num(now.Lo, 2), s.money(now.Hi, currency))
		} else if now.NOutlets.OK && now.NOutlets.V < 3 {
			text += s.T("; a range across shops takes at least three")
		}
		lead = append(lead, text+".")
	}
	if now.Month < end.Month {
		lead = append(lead, s.T("There is a gap after it: no price for %s.", s.span(now.Month+1, end.Month)))
	}
	if words := s.heldWords(rows); words != "" {
		lead = append(lead, upper(words)+".")
	}
	return headline, strong, lead
}

// whyHeld says what an edit rule holds, and until when.
const whyHeld catalogue.Key = "A price is held where it stands far from its neighbours, where its own label contradicts it, or where two say different things of the same goods and day. Until someone has looked it is in no line and no mean."

func isHeld(r result.Item) bool { return r.NHeld.V > 0 }

// heldWords count the prices of a region's months that are held; "" where none are.
func (s *site) heldWords(rows []result.Item) string {
	months, n := among(rows, isHeld), 0
	if months == nil {
		return ""
	}
	for _, r := range months {
		n += r.NHeld.V
	}
	return s.Count(n, "one price is held for a check and in no mean", "%s prices are held for a check and in no mean") + " (" + s.span(months[0].Month, months[len(months)-1].Month) + ")"
}

// pricesPart shows a grade's price in each region, on one scale.
func (s *site) pricesPart(g *good, i int) (layout.Part, error) {
	of := g.grades[i]
	p := layout.Part{ID: "prices"}
	if i > 0 {
		p.ID = fmt.Sprintf("prices-%d", i+1)
	}
	var panels []draw.Panel
	all := slices.Concat(of.regions...)
	var parts []result.Item // newest prices observed in regions without parts, by three shops at least
	ancestors := false
	for _, rows := range of.regions {
		region := rows[0].Region
		ancestors = ancestors || !leaf(s.e, region)
		panel := draw.Panel{Title: regionName(s.e, region), Last: s.T("no price")}
		for _, r := range rows {
			at := within(point(r.UnitPrice, r.FilledBy != ""), r.Lo, r.Hi)
			at.HeldLo, at.HeldHi = json.Number(r.HeldLo.Fixed(4)), json.Number(r.HeldHi.Fixed(4))
			panel.Points = append(panel.Points, at)
		}
		if now, ok := newestPrice(rows); ok {
			panel.Last = fmt.Sprintf("%s, %s", s.money(now.UnitPrice, clean(now.CurrencyCode)), s.shortMonth(now.Month))
			if thin := s.thin(now.Base, result.Num{}); thin != "" {
				panel.Title += thinMark
			} else if now.FilledBy == "" && now.Month == g.to && leaf(s.e, region) {
				parts = append(parts, now)
			}
		}
		panel.Words = panel.Title + ": " + panel.Last
		if words := s.heldWords(rows); words != "" {
			panel.Words += "; " + words
		}
		panels = append(panels, panel)
	}
	unit, currency := all[0].BaseUnit, ""
	for _, r := range all { // those of the newest price, or of rows that have none
		if r.UnitPrice.OK || r.BaseUnit != "" && currency == "" {
			unit, currency = r.BaseUnit, clean(r.CurrencyCode)
		}
	}
	slices.SortStableFunc(parts, func(a, b result.Item) int { return cmp.Compare(a.UnitPrice.V, b.UnitPrice.V) })
	switch n := len(parts); {
	case n > 1:
		p.Headline = s.T("In %s from %s %s in %s to %s in %s", s.month(g.to), s.money(parts[0].UnitPrice, currency), s.unitWords(unit), regionName(s.e, parts[0].Region),
			s.num(parts[n-1].UnitPrice, 2), regionName(s.e, parts[n-1].Region))
		low, high := s.basis(parts[0].Base), s.basis(parts[n-1].Base)
		if low != high {
			low = s.T("the first %s, the last %s", low, high)
		}
		p.Headline += ", " + low
	default:
		p.Headline = s.T("Every region, %s", s.span(g.from, g.to))
	}
	name := s.gradeName(g, of.name)
	if len(g.grades) > 1 {
		p.Headline = s.T("Grade %s. %s", s.gradeWords(of.name), p.Headline)
	}
	p.Subtitle = s.T("%s: unit price by region, %s %s, %s, on one scale.", name, currency, s.unitWords(unit), s.span(g.from, g.to))
	s.lighten(&p, panels)
	s.panelKey(&p, panels, s.T("imputed"), s.T("one imputed month"))
	if ancestors && len(panels) > 1 && i == 0 {
		p.Notes = []layout.Note{{Head: s.T("Whole and parts."), Text: s.T("%s is no place beside its parts: it is their mean, thin places in it, or a series of its own.", panels[0].Title)}}
	}
	if i == 0 {
		p.Notes = append(p.Notes, layout.Note{Head: s.T("A gap stays a gap."), Text: s.T("Where no line is drawn there is no price. It is not zero, and not the average of its neighbours.")})
	}
	shown, note := newest(s.tongue, all, func(r result.Item) result.Month { return r.Month }, "item.csv")
	type I = result.Item
	columns := []column[I]{
		text(s.T("Region"), func(r I) string { return regionName(s.e, r.Region) }),
		number(s.T("Price"), func(r I) string { return s.money4(r.UnitPrice) }).orWhy(func(r I) string {
			why, _, _ := strings.Cut(s.noPrice(r.Base), " [") // the status has its own column
			return why
		})}
	if slices.ContainsFunc(all, func(r I) bool { return r.Lo.OK }) {
		columns = append(columns, number(s.T("Low"), func(r I) string { return s.money4(r.Lo) }), number(s.T("High"), func(r I) string { return s.money4(r.Hi) }))
	}
	columns = append(columns,
		text(s.T("How priced"), func(r I) string {
			if !r.UnitPrice.OK { // the price says why
				return ""
			}
			return s.basisOf(r)
		}),
		status(s.tongue, func(r I) result.Base { return r.Base }))
	if slices.ContainsFunc(all, isHeld) {
		columns = append(columns, number(s.T("Held"), func(r I) string { return s.whole(r.NHeld) }),
			number(s.T("Held from"), func(r I) string { return s.money4(r.HeldLo) }), number(s.T("Held to"), func(r I) string { return s.money4(r.HeldHi) }))
		note += " " + s.T("Held: prices held for a check in the region and its parts, from the lowest to the highest.")
		p.Foot = append(p.Foot, s.T("Small hollow squares and triangles are prices held for a check, of the region and its parts."), s.T(whyHeld))
	}
	columns = append(columns,
		number(s.T("Prices"), func(r I) string { return s.whole(r.NObservations) }),
		number(s.T("Shops"), func(r I) string { return s.whole(r.NOutlets) }))
	if slices.ContainsFunc(all, func(r I) bool { return r.OldestOn != "" }) {
		columns = append(columns, number(s.T("Oldest"), func(r I) string { return s.day(r.OldestOn, r.Month.Year(), true) }),
			number(s.T("Newest"), func(r I) string { return s.day(r.NewestOn, r.Month.Year(), true) }))
	}
	columns = append(columns, number(s.T("Matched change, %"), func(r I) string { return s.num(r.MatchedChange, 3) }))
	p.Table = byMonth(s.tongue, shown, func(r I) result.Month { return r.Month }, -1, columns...)
	p.Table.Caption = s.T("%s, %s %s, with the digits of the data file. Matched change: from the month before, over the same varieties in the same shops.%s%s", name, currency, s.unitWords(unit), note, s.statusKey(s.e, p.Table.Rows))
	if anyThin(panels) {
		p.Foot = append(p.Foot, s.T("[U] %s: not set beside others.", s.statusText(s.e, 'U')))
	}
	source := s.source(s.T("Item %s", name))
	wide, slim := draw.Panels(s.drawing(), panels, s.shortMonth(g.from), s.shortMonth(g.to), mark(source, draw.Wide), mark(source, draw.Slim))
	err := s.drawn(&p, g.file(), wide, slim, s.T("%s. The table below has every month.", p.Headline), "item.csv", "observations.csv")
	return p, err
}
