package dashboards

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"farthing/dashboards/catalogue"
	"farthing/dashboards/draw"
	"farthing/dashboards/layout"
	"farthing/pipeline/result"
)

// dietMonth holds the diets of a month by kind, for one person group.
type dietMonth struct {
	month result.Month
	diets map[string]result.Diet
}

// allowance is that of a person's day, the same for all diets of a month.
func (m dietMonth) allowance() result.Num {
	for _, d := range m.diets {
		if d.AllowancePerDay.OK {
			return d.AllowancePerDay
		}
	}
	return result.Num{}
}

// dietHousehold names the household whose allowance stands beside the diets.
func (s *site) dietHousehold(months ...dietMonth) string {
	for _, m := range months {
		for _, d := range m.diets {
			if d.AllowancePerDay.OK {
				return clean(household(s.e, d.Household).Name)
			}
		}
	}
	return ""
}

func dietFile(region string) string { return fileName("diets", region) }

// dietRegions are the published regions that have least-cost diets.
func (s *site) dietRegions() (regions []string) {
	for _, c := range s.publish {
		if !slices.Contains(regions, c.Region) && slices.ContainsFunc(s.e.Diets, func(d result.Diet) bool { return d.Region == c.Region }) {
			regions = append(regions, c.Region)
		}
	}
	return regions
}

// seeDiets leads to the diets, if there are any.
func (s *site) seeDiets() []layout.Link {
	if regions := s.dietRegions(); regions != nil {
		return []layout.Link{{Text: s.T("Least-cost diets"), Href: dietFile(regions[0]) + ".html"}}
	}
	return nil
}

// dietGroups are the person groups that the diets of the edition are for; "" if
// only a healthy one is there, which has no group.
func (s *site) dietGroups() (groups []string) {
	for _, d := range s.e.Diets {
		if d.PersonGroup != "" && !slices.Contains(groups, d.PersonGroup) {
			groups = append(groups, d.PersonGroup)
		}
	}
	if groups == nil {
		return []string{""}
	}
	return groups
}

// dietMonths are a region's diets for a person group, the healthy one among
// them, every month from the first to the last.
func (s *site) dietMonths(region, group string) []dietMonth {
	months := map[result.Month]dietMonth{}
	for _, d := range s.e.Diets {
		if d.Region != region || d.PersonGroup != group && d.Diet != "healthy" {
			continue
		}
		if _, ok := months[d.Month]; !ok {
			months[d.Month] = dietMonth{d.Month, map[string]result.Diet{}}
		}
		months[d.Month].diets[d.Diet] = d
	}
	return complete(months, func(m result.Month) dietMonth { return dietMonth{month: m} })
}

// dietKind is one of the three diets with its name, and that beside a line.
type dietKind struct{ kind, name, short string }

func (t tongue) dietKinds() []dietKind {
	return []dietKind{{"energy", t.T("Enough energy"), t.T("energy")}, {"nutrients", t.T("All nutrients"), t.T("nutrients")}, {"healthy", t.T("Healthy diet"), t.T("healthy")}}
}

// dietPage sets the least-cost diets of a region beside the allowance.
func (s *site) dietPage(region string) (layout.Page, error) {
	groups := s.dietGroups()
	months := s.dietMonths(region, groups[0])
	at := months[len(months)-1]
	p := layout.Page{Title: s.T("Least-cost diets: a floor under food prices"), Caution: s.caution(), Nav: s.nav("Meals", s.publish[0]),
		About: s.dietAbout(region, groups[0]), See: []layout.Link{{Text: s.T("All meals and plans"), Href: fileName("meals") + ".html"}}}
	choice := layout.Choice{Name: s.T("Region")}
	for _, r := range s.dietRegions() {
		choice.Links = append(choice.Links, layout.Link{Text: regionName(s.e, r), Href: dietFile(r) + ".html", Current: r == region})
	}
	if len(choice.Links) > 1 {
		p.Choices = []layout.Choice{choice}
	}
	p.Headline, p.Strong = s.dietHeadline(region, at)
	p.Lead = s.dietLead(at)
	for i, group := range groups {
		part, err := s.dietMonthsPart(region, group, i)
		if err != nil {
			return p, err
		}
		p.Parts = append(p.Parts, part)
	}
	if lines := s.dietLinesPart(at, groups[0]); lines.Table != nil {
		p.Parts = append(p.Parts, lines)
	}
	if part := s.dietRegionsPart(at.month, groups[0]); len(part.Table.Rows) > 1 {
		p.Parts = append(p.Parts, part)
	}
	p.Parts = append(p.Parts, s.mealCautions())
	return p, nil
}

func (s *site) dietAbout(region, group string) string {
	if group == "" {
		return regionName(s.e, region)
	}
	return regionName(s.e, region) + " · " + s.T("person group %s", label(group))
}

func (s *site) dietHeadline(region string, at dietMonth) (headline, strong string) {
	nutrients, energy := at.diets["nutrients"], at.diets["energy"]
	switch {
	case nutrients.PerDay.OK:
		return s.T("As arithmetic, not as a diet: in %s in %s the cheapest day with all nutrients cost", regionName(s.e, region), s.month(at.month)), s.money(nutrients.PerDay, clean(nutrients.CurrencyCode))
	case energy.PerDay.OK:
		return s.T("As arithmetic, not as a diet: in %s in %s the cheapest day with enough energy cost", regionName(s.e, region), s.month(at.month)), s.money(energy.PerDay, clean(energy.CurrencyCode))
	}
	return s.T("In %s in %s no least-cost diet has a full cost", regionName(s.e, region), s.month(at.month)), ""
}

func (s *site) dietLead(at dietMonth) []string {
	var costs, none []string
	currency := ""
	for _, k := range s.dietKinds() {
		d, ok := at.diets[k.kind]
		switch {
		case d.PerDay.OK:
			costs, currency = append(costs, s.T("%s %s", s.lower(k.name), s.num(d.PerDay, 2))), clean(d.CurrencyCode)
		case ok:
			why, _, _ := strings.Cut(d.Lacks, "; ")
			words, _ := s.said(why)
			none = append(none, strings.TrimSpace(s.lower(k.name)+" "+inBrackets(words)))
		}
	}
	var lead []string
	if costs != nil {
		words := s.T("For one person and day, %s: %s.", currency, s.list(costs, 3))
		if a := at.allowance(); a.OK {
			words += " " + s.T("The allowance (household: %s) comes to %s a person and day, adult or child.", s.dietHousehold(at), s.money(a, currency))
		}
		if none != nil {
			words += " " + s.T("No figure: %s.", s.list(none, 3))
		}
		lead = append(lead, words)
	}
	return append(lead, s.T("This is arithmetic: the cheapest mix of the priced foods that meets the bounds. Nobody eats like this. A cost below the allowance does not show that the allowance is enough; where the cost is above it, the allowance does not even pay for this."))
}

// dietMonthsPart shows a person group's diets month by month; the first group
// of a page is drawn.
func (s *site) dietMonthsPart(region, group string, nth int) (layout.Part, error) {
	months := s.dietMonths(region, group)
	p := layout.Part{ID: "months"}
	if nth > 0 {
		p.ID = fmt.Sprintf("months-%d", nth+1)
	}
	currency := s.regionCurrency(region)
	p.Subtitle = s.T("Least cost of one person’s day, %s, in money of each month.", currency)
	if group != "" {
		p.Subtitle += " " + s.T("Energy and nutrients are those of the group %s.", label(group))
	}
	var columns []column[dietMonth]
	var l draw.Lines
	for i, m := range months {
		l.Months = append(l.Months, s.axisLabel(m.month, i, len(months)))
	}
	broken := false
	for _, k := range s.dietKinds() {
		of := func(m dietMonth) result.Num { return m.diets[k.kind].PerDay }
		line := draw.Series{Name: k.short, Gap: s.T("no figure")}
		for _, m := range months {
			line.Points = append(line.Points, point(of(m), hatched(m.diets[k.kind].Base)))
			if of(m).OK {
				line.Last = s.num(of(m), 2)
			}
		}
		if line.Last != "" {
			l.Series, broken = append(l.Series, line), broken || brokenIn(line)
		}
		columns = append(columns, number(k.name, func(m dietMonth) string { return s.money4(of(m)) }).or(s.T("no figure")))
	}
	allowance := draw.Series{Name: s.T("allowance"), Step: true, Gap: s.T("no allowance")}
	for _, m := range months {
		allowance.Points = append(allowance.Points, point(m.allowance(), false))
		if m.allowance().OK {
			allowance.Last = s.num(m.allowance(), 2)
		}
	}
	columns = append(columns, number(s.T("Allowance a person and day"), func(m dietMonth) string { return s.money4(m.allowance()) }).or(s.T("none known")))
	p.Headline = s.dietChange(months, group)
	p.Table = byMonth(s.tongue, months, func(m dietMonth) result.Month { return m.month }, len(months)-1, columns...)
	p.Table.Caption = s.T("Money in %s, with the digits of the data file.", currency)
	source := s.source(s.dietAbout(region, group))
	p.Notes, p.Foot = s.dietNotes(months[len(months)-1]), []string{s.T("Enough energy: starchy foods alone. All nutrients: energy, and every nutrient within its bounds. Healthy diet: a set energy from each of six food groups, from the cheapest foods of each.")}
	if broken {
		p.Foot = append(p.Foot, s.T("Broken line: over a quarter of the cost is imputed."))
	}
	if nth > 0 {
		p.Source, p.Open, p.Links = source, true, dataLinks("diets.csv")
		return p, nil
	}
	if l.Series != nil && allowance.Last != "" {
		l.Series = append(l.Series, allowance)
		p.Foot = append(p.Foot, s.T("The allowance is a month’s amount (household: %s), shared by the days of that month and the persons: a longer month has less a day.", s.dietHousehold(months...)))
	}
	return p, s.linePlots(&p, source, dietFile(region), l, p.Headline, "diets.csv", "diet_lines.csv")
}

// dietChange is the finding of a run of months: the dearest diet that has a cost at both ends.
func (s *site) dietChange(months []dietMonth, group string) string {
	for _, kind := range []string{"nutrients", "energy", "healthy"} {
		var found []dietMonth
		for _, m := range months {
			if m.diets[kind].PerDay.OK {
				found = append(found, m)
			}
		}
		if len(found) < 2 {
			continue
		}
		first, last := found[0], found[len(found)-1]
		name := ""
		for _, k := range s.dietKinds() {
			if k.kind == kind {
				name = k.name
			}
		}
		if group != "" && kind != "healthy" {
			name += " (" + label(group) + ")"
		}
		return s.T("%s: from %s a day in %s to %s in %s", name, s.num(first.diets[kind].PerDay, 2), s.month(first.month), s.money(last.diets[kind].PerDay, clean(last.diets[kind].CurrencyCode)), s.month(last.month))
	}
	return s.T("What one person’s day costs at least")
}

// dietNotes say of the newest month what sets the cost of all nutrients, and
// why a diet has none. The reasons come from the pipeline, in English.
func (s *site) dietNotes(at dietMonth) (notes []layout.Note) {
	var bounds []string
	for _, b := range strings.Split(at.diets["nutrients"].Binding, "; ") {
		if name, _, ok := strings.Cut(b, " "); ok {
			bounds = append(bounds, s.nutrient(name))
		}
	}
	if bounds != nil {
		notes = append(notes, layout.Note{Head: s.T("What sets the cost of all nutrients:"), Text: s.T("%s. Of these the diet holds just what the bounds ask for. Any of them eased makes it cheaper, or no dearer.", s.list(bounds, 8))})
	}
	for _, k := range s.dietKinds() {
		if d := at.diets[k.kind]; d.Lacks != "" {
			var words []string
			lang := ""
			for _, why := range strings.Split(d.Lacks, "; ") {
				w, other := s.said(why)
				words, lang = append(words, w), cmp.Or(lang, other)
			}
			notes = append(notes, layout.Note{Head: s.T("%s: no figure in %s.", k.name, s.month(at.month)), Text: upper(strings.Join(words, "; ")) + ".", TextLang: lang})
		}
	}
	return notes
}

// dietLinesPart is what the newest month's diets are made of.
func (s *site) dietLinesPart(at dietMonth, group string) layout.Part {
	type L = result.DietLine
	p := layout.Part{ID: "lines", Open: true, Headline: s.T("What the sums of %s are made of", s.month(at.month)), Links: dataLinks("diet_lines.csv"),
		Subtitle: s.T("Quantity as bought × unit price = cost a day. It is a yardstick of prices: no ration, no shopping list, no advice.")}
	var rows []L
	for _, k := range s.dietKinds() {
		d, ok := at.diets[k.kind]
		if !ok {
			continue
		}
		rows = append(rows, among(s.e.DietLines, func(l L) bool {
			return l.Region == d.Region && l.Month == d.Month && l.PersonGroup == d.PersonGroup && l.Diet == d.Diet
		})...)
	}
	if rows == nil {
		return p
	}
	names := map[string]string{}
	for _, k := range s.dietKinds() {
		names[k.kind] = k.name
	}
	p.Table = tableOf(rows, -1,
		text(s.T("Diet"), func(l L) string { return names[l.Diet] }),
		column[L]{head: s.T("Item"), words: true, cell: func(l L) layout.Cell {
			return layout.Cell{Text: s.itemName(l.Item), Href: s.itemHref(l.Item), Words: true}
		}},
		number(s.T("Quantity"), func(l L) string { return s.plain(l.APQuantity, 6) }),
		text(s.T("Unit"), func(l L) string { return clean(l.BaseUnit) }),
		number(s.T("Unit price"), func(l L) string { return s.money4(l.UnitPrice) }),
		number(s.T("Cost a day"), func(l L) string { return s.money4(l.PerDay) }),
		status(s.tongue, func(l L) result.Base { return l.Base }))
	p.Table.Caption = s.T("Money in %s, with the digits of the data file.", s.regionCurrency(rows[0].Region)) + s.statusKey(s.e, p.Table.Rows)
	if !at.diets["healthy"].PerDay.OK && at.diets["healthy"].KnownPart.OK {
		p.Foot = append(p.Foot, s.T("Of the healthy diet these are the food groups that have a cost; the whole has none."))
	}
	return p
}

// sameCost is how far the least costs of regions must lie apart to be told as an order:
// our own choice, for their range is not known.
const sameCost = 1.02

// dietRegionsPart sets the regions side by side in a month.
func (s *site) dietRegionsPart(m result.Month, group string) layout.Part {
	type row struct {
		region string
		dietMonth
		thin bool
	}
	var rows []row
	dear, cheap := -1, -1
	for _, region := range regionOrder(s.e) {
		of := dietMonth{m, map[string]result.Diet{}}
		for _, d := range s.e.Diets {
			if d.Region == region && d.Month == m && (d.PersonGroup == group || d.Diet == "healthy") {
				of.diets[d.Diet] = d
			}
		}
		if len(of.diets) == 0 || len(rows) == mostRows {
			continue
		}
		d := of.diets["nutrients"]
		rows = append(rows, row{region, of, s.thin(d.Base, result.Num{}) != ""})
		sameMoney := dear < 0 || d.CurrencyCode == rows[dear].diets["nutrients"].CurrencyCode
		if d.PerDay.OK && leaf(s.e, region) && !rows[len(rows)-1].thin && sameMoney {
			cost := d.PerDay
			if n := len(rows) - 1; dear < 0 || cost.V > rows[dear].diets["nutrients"].PerDay.V {
				dear = n
			}
			if n := len(rows) - 1; cheap < 0 || cost.V < rows[cheap].diets["nutrients"].PerDay.V {
				cheap = n
			}
		}
	}
	p := layout.Part{ID: "places", Open: true, Headline: s.T("The regions side by side, %s", s.month(m)), Links: dataLinks("diets.csv")}
	if dear >= 0 && dear != cheap {
		a, b := rows[cheap], rows[dear]
		words := catalogue.Key("All nutrients cost least in %s (%s) and most in %s (%s)")
		if b.diets["nutrients"].PerDay.V < sameCost*a.diets["nutrients"].PerDay.V {
			words = "All nutrients cost about as much in each region compared: %s (%s) to %s (%s)"
		} else {
			p.Foot = append(p.Foot, s.T("How far other shops would move these costs is not known: they could turn the order round."))
		}
		p.Headline = s.T(words, regionName(s.e, a.region), s.num(a.diets["nutrients"].PerDay, 2),
			regionName(s.e, b.region), s.money(b.diets["nutrients"].PerDay, clean(b.diets["nutrients"].CurrencyCode)))
	}
	p.Subtitle = s.T("Least cost of one person’s day in %s, each region in its own money. It is no comparison of price levels: the mix of foods differs.", s.month(m))
	columns := []column[row]{{head: s.T("Region"), cell: func(r row) layout.Cell {
		c := layout.Cell{Text: regionName(s.e, r.region)}
		if r.thin {
			c.Text += thinMark
		}
		if slices.Contains(s.dietRegions(), r.region) {
			c.Href = dietFile(r.region) + ".html"
		}
		return c
	}}}
	for _, k := range s.dietKinds() {
		columns = append(columns, number(k.name, func(r row) string { return s.money4(r.diets[k.kind].PerDay) }).or(s.T("no figure")))
	}
	p.Table = tableOf(rows, -1, append(columns,
		number(s.T("Allowance a person and day"), func(r row) string { return s.money4(r.allowance()) }).or(s.T("none known")))...)
	p.Table.Caption = s.T("With the digits of the data file.")
	if slices.ContainsFunc(rows, func(r row) bool { return r.thin }) {
		p.Foot = append(p.Foot, s.T("[U] %s: not called cheapest or dearest.", s.statusText(s.e, 'U')))
	}
	return p
}

// regionCurrency is the money of a region's diets.
func (s *site) regionCurrency(region string) string {
	for _, d := range s.e.Diets {
		if d.Region == region && d.CurrencyCode != "" {
			return clean(d.CurrencyCode)
		}
	}
	return ""
}
