package dashboards

import (
	"fmt"

	"farthing/dashboards/draw"
	"farthing/dashboards/layout"
	"farthing/pipeline/result"
)

// groundsPage says what the numbers rest on and how they were made.
func groundsPage(s *site, v *view, file string) (layout.Page, error) {
	e := s.e
	p := layout.Page{Title: s.T("Grounds: what the numbers rest on"), Caution: s.caution(),
		Headline: s.T("%d rows were accepted from %s; the prices of %d of them stand behind a published price", e.Accepted, s.Count(len(e.Sources), "one file", "%s files"), e.Counted)}
	if n := e.Quarantined + e.Duplicate + e.Held; n > 0 {
		p.Lead = []string{upper(s.T("%s, %s, and %s. Nothing was dropped in silence.", s.Count(e.Quarantined, "one row could not be read", "%s rows could not be read"),
			s.Count(e.Duplicate, "one row repeated another", "%s rows repeated another"), s.Count(e.Held, "one row is held for a check", "%s rows are held for a check")))}
	} else {
		p.Lead = []string{s.T("No row was set aside, and none repeated another.")}
	}
	if n := e.Accepted - e.Counted; n > 0 {
		p.Lead = append(p.Lead, s.T("Accepted rows that no published price rests on: %d. They say that a good was not sold or out of stock, or their price does not count: of members or of several packs, if the settings leave those out, wholesale, held or excluded, or of days outside the months shown.", n))
	}
	priced, thin := 0, 0
	for i := range e.Items { // as they lie: there may be millions
		if r := &e.Items[i]; r.UnitPrice.OK {
			priced++
			if r.NOutlets.OK && r.NOutlets.V < 3 {
				thin++
			}
		}
	}
	if thin > 0 {
		p.Lead = append(p.Lead, s.T("Of %d prices of an item in a month and region, %d are thin: they rest on fewer than three shops, and one of them can move the result.", priced, thin))
	}
	coverage, err := s.coveragePart(v, file)
	if err != nil {
		return p, err
	}
	p.Parts = append(p.Parts, coverage, s.sourcesPart(), s.filesPart())
	if e.Quarantined+e.Held+s.heldAtFirst() > 0 {
		p.Parts = append(p.Parts, s.asidePart())
	}
	p.Parts = append(p.Parts, s.methodPart(), s.statusPart())
	if len(e.Options) > 0 {
		options := layout.Part{ID: "options", Headline: s.T("Choices the figures depend on")}
		for _, o := range e.Options {
			options.Terms = append(options.Terms, [2]string{clean(s.option(o[0])), clean(s.option(o[1]))})
		}
		p.Parts = append(p.Parts, options)
	}
	p.Parts = append(p.Parts, s.cautionsPart(), s.citePart())
	return p, nil
}

// coveragePart shows how much of the front page's basket was seen, month by month.
func (s *site) coveragePart(v *view, file string) (layout.Part, error) {
	of := s.T("basket %s in %s", label(v.c.Basket), v.region())
	p := layout.Part{ID: "coverage", Headline: s.T("What the %s rests on", of), Subtitle: s.T("Shares of the basket’s cost, at base-month weights, by where the price of each month came from."),
		Key: []layout.Mark{key("fed", s.T("observed")), key("hatched", s.T("imputed by rule")), key("open", s.T("missing"))}}
	var months []draw.Coverage
	var labels []string
	full, any := 0, false
	for i, b := range v.baskets {
		months = append(months, draw.Coverage{Observed: b.ObservedShare.Or(), Imputed: b.ImputedShare.Or()})
		labels = append(labels, s.axisLabel(b.Month, i, len(v.baskets)))
		any = any || b.ObservedShare.OK
		if b.ObservedShare.OK && b.ObservedShare.Fixed(4) == "1.0000" {
			full++
		}
	}
	type B = result.Basket
	if len(v.baskets) > 0 {
		p.Headline = s.N(len(v.baskets), "In %d of %d month every price of the %s was seen or published", "In %d of %d months every price of the %s was seen or published", full, len(v.baskets), of)
		p.Table = byMonth(s.tongue, v.baskets, func(b B) result.Month { return b.Month }, -1,
			number(s.T("Observed"), func(b B) string { return s.share2(b.ObservedShare) }),
			number(s.T("Imputed"), func(b B) string { return s.share2(b.ImputedShare) }),
			number(s.T("Missing"), func(b B) string { return s.share2(b.MissingShare) }),
			number(s.T("Prices"), func(b B) string { return s.whole(b.NObservations) }),
			number(s.T("Shops"), func(b B) string { return s.whole(b.NOutlets) }),
			status(s.tongue, func(b B) result.Base { return b.Base }))
		p.Table.Caption = s.T("%s. The three shares add to 100\u202f%%. A number of prices that is empty is not known: published averages do not tell it.%s", upper(of), s.statusKey(s.e, p.Table.Rows))
	}
	if !any {
		p.Subtitle, p.Key, p.Open = "", nil, true
		return p, nil
	}
	source := s.source(upper(of))
	wide, slim := draw.Coverages(months, labels, mark(source, draw.Wide), mark(source, draw.Slim))
	err := s.drawn(&p, file, wide, slim, p.Headline, "basket.csv")
	return p, err
}

func rowColumns[T any](t tongue, of func(T) result.Source) []column[T] {
	return []column[T]{
		number(t.T("Rows"), func(r T) string { return t.whole(of(r).Read) }),
		number(t.T("Accepted"), func(r T) string { return t.whole(of(r).Accepted) }),
		number(t.T("Unread"), func(r T) string { return t.whole(of(r).Quarantined) }),
		number(t.T("Repeated"), func(r T) string { return t.whole(of(r).Duplicate) }),
		number(t.T("Held at first"), func(r T) string { return t.whole(of(r).Held) })}
}

func (s *site) sourcesPart() layout.Part {
	sums, files := sourcesOf(s.e), sortedSources(s.e)
	p := layout.Part{ID: "sources", Open: true, Headline: s.T("%s, from %s", upper(s.Count(len(files), "one file", "%s files")), s.Count(len(sums), "one source", "%s sources")),
		Subtitle: s.T("Each file is kept byte for byte under its hash, with who made it and under which licence, where that was stated.")}
	p.Table = tableOf(sums, -1, append([]column[sourceSum]{
		number(s.T("Source"), func(f sourceSum) string { return label(f.Source.Source) }),
		text(s.T("Producer"), func(f sourceSum) string { return clean(f.Producer) }).or(s.T("not stated")),
		text(s.T("Licence"), func(f sourceSum) string { return clean(f.Licence) }).or(s.T("not stated")),
		text(s.T("Gives"), func(f sourceSum) string { return s.code(f.Gives) }),
		number(s.T("Files"), func(f sourceSum) string { return s.Figure(fmt.Sprint(f.files)) })},
		rowColumns(s.tongue, func(f sourceSum) result.Source { return f.Source })...)...)
	p.Table.Caption = s.T("Rows read = accepted + unread + repeated; rows held at first are among the accepted, and count once a correction releases or mends them.")
	return p
}

// filesPart lists every file, by source and name, with the hash under which it is kept.
func (s *site) filesPart() layout.Part {
	type F = result.Source
	files := sortedSources(s.e)
	p := layout.Part{ID: "files", Open: true, Folded: true, Headline: s.T("Every file and its hash")}
	p.Table = tableOf(files, -1, append(append([]column[F]{
		number(s.T("File"), func(f F) string { return clean(f.Name) }),
		text(s.T("Source"), func(f F) string { return label(f.Source) })},
		rowColumns(s.tongue, func(f F) F { return f })...),
		text(s.T("SHA-256"), func(f F) string { return clean(f.SHA256) }))...)
	p.Table.Caption = s.T("Files by source and name; the hash, SHA-256, is the name of the file’s folder in the archive.")
	return p
}

// heldAtFirst is how many rows were held when their files were read.
func (s *site) heldAtFirst() (n int) {
	for _, f := range s.e.Sources {
		n += f.Held.V
	}
	return n
}

// asidePart lists the reasons why rows were set aside, and what would cure them.
func (s *site) asidePart() layout.Part {
	p := layout.Part{ID: "aside", Headline: s.T("Rows held for a check")}
	if n := s.e.Quarantined; n > 0 {
		p.Headline = upper(s.Count(n, "one row was set aside", "%s rows were set aside"))
		if s.e.Mended > 0 {
			p.Headline += s.T(", %d of them mended since", s.e.Mended)
		}
	}
	if s.e.Held > 0 {
		p.Text = []string{s.T("Held are %s. A line of tables/corrections releases or mends one.", s.Count(s.e.Held, "one row", "%s rows")), s.T(whyHeld)}
	}
	if n := s.heldAtFirst(); n > s.e.Held {
		p.Text = append(p.Text, s.T("Of %s held when they were read, %s since been settled by a line of tables/corrections.", s.Count(n, "one row", "%s rows"), s.Count(n-s.e.Held, "one has", "%s have")))
	}
	if len(s.e.SetAside) == 0 {
		return p
	}
	type A = result.SetAside
	p.Open = true
	p.Table = tableOf(s.e.SetAside, -1,
		number(s.T("File"), func(a A) string { return clean(a.Name) }),
		number(s.T("Rows"), func(a A) string { return s.whole(a.Rows) }),
		number(s.T("Mended"), func(a A) string { return s.whole(a.Mended) }),
		number(s.T("First line"), func(a A) string { return s.whole(a.FirstLine) }),
		text(s.T("Column"), func(a A) string { return clean(a.Field) }),
		text(s.T("As read"), func(a A) string { return clean(a.Text) }),
		column[A]{head: s.T("What helps"), words: true, cell: func(a A) layout.Cell {
			cure, lang := s.said(a.Cure)
			return layout.Cell{Text: cure, Words: true, Lang: lang}
		}})
	p.Table.Caption = s.T("Rows that could not be read, by file and reason. They stay in the archive and come in once they can be read.")
	return p
}

// methodPart is the arithmetic, from a price to a rank.
func (t tongue) methodPart() layout.Part {
	return layout.Part{ID: "method", Headline: t.T("How the numbers are made"), Terms: [][2]string{
		{t.T("Unit price"), t.T("price ÷ (packs × what a pack holds), in kilograms, litres or pieces; what a shopper weighed wins over the pack’s label.")},
		{t.T("Price of a month"), t.T("the geometric mean, in three steps: over the days in one shop of one variety in one pack, over the varieties of that shop, over the shops. p = exp(mean of ln p). A published average is taken as it is. With the sample “matched” (see the choices below) that is the level of the base month (of the month nearest it in which the item was well seen), and each variety in a shop moves it by its change since it was last priced there, from the level of that month; what is new moves nothing at first.")},
		{t.T("Region of parts"), t.T("where a region has no prices of its own: ln p = Σ w ln p ÷ Σ w over its parts that have a price, w their population weights. With the sample “matched” so in the month whose level stands; in the others its parts move it by their own changes, weighted alike.")},
		{t.T("Matched change"), t.T("the mean change of ln price over the same varieties in the same shops in both months, as a percentage.")},
		{t.T("Gaps"), t.T("p now = last price seen × exp(sum of monthly changes since), by the first rule that can tell: the same item in the wider region (six months at most), its kind of food in the region (six), all food in the region (three), the last price kept (two). Else the price is missing and the total is empty. An item out of season only follows all food. A filled price is never the source of another.")},
		{t.T("Basket a day"), t.T("person equivalents × Σ quantity a day × price, over the lines. A week is 7 days, a month 30.4375.")},
		{t.T("What moved"), t.T("a line’s points = quantity × (price after − price before) ÷ the basket’s cost before × 100; they add up to the basket’s change. (1 + price)(1 + size)(1 + mix) = 1 + change: price compares a pack with itself, or with the one that replaced it; size is what such a pair holds, before ÷ after; mix is the rest. An imputed price has no parts.")},
		{t.T("Shares"), t.T("observed + imputed + missing = 1, weighted by each line’s part of the base month’s cost.")},
		{t.T("Reach"), t.T("days = allowance ÷ basket a day. Days fed are the whole days of it, at most those from pay day to pay day; the day after the last is the day the money ran out.")},
		{t.T("Short by"), t.T("basket a day × days in the month − allowance, where that is above 0.")},
		{t.T("Money of one month"), t.T("basket a day × index of the base month ÷ index of the month, by the deflator named on the page.")},
		{t.T("Range across the shops seen"), t.T("the jackknife: the figure is made anew with each shop left out in turn; from the spread comes a 95 % range on the logarithm, by Student’s t. It takes three shops. It tells what other shops could change, and nothing of wrong notes, rules or weights.")},
		{t.T("Level of a region"), t.T("with the items observed in every ranked region: Σ quantity × price there ÷ the geometric mean of that sum over the regions (Lowe). With gaps: the country product dummy, a regression of ln price on item and region. Regions are ranked only against regions that are not a part of each other.")},
		{t.T("Rank"), t.T("two regions tie unless the range of their difference excludes none and both levels order them alike.")},
	}}
}

// statusPart explains the letters, with how often each stands at an item's price.
func (s *site) statusPart() layout.Part {
	counts := map[byte]int{}
	for _, r := range s.e.Items {
		if r.ObsStatus != "" {
			counts[r.ObsStatus[0]]++
		}
	}
	p := layout.Part{ID: "statuses", Open: true, Headline: s.T("What the letters mean"),
		Subtitle: s.T("Letters of the SDMX code list of observation status. Where several hold, the strongest stands first.")}
	p.Table = tableOf([]byte(statusOrder), -1,
		number(s.T("Letter"), func(c byte) string { return string(c) }),
		text(s.T("Means"), func(c byte) string { return s.statusText(s.e, c) }),
		number(s.T("Item prices"), func(c byte) string { return s.Figure(fmt.Sprint(counts[c])) }))
	p.Table.Caption = s.T("Item prices: how many months of an item in a region have it as their strongest status.")
	return p
}

func (s *site) cautionsPart() layout.Part {
	p := layout.Part{ID: "cautions", Headline: s.T("Cautions"), Text: []string{
		s.T("The basket is a yardstick. It is not a diet, and not what anybody eats."),
		s.T("Whose right an allowance is, and how much, is for the office that pays to say."),
		s.T("What the allowance buys at the till may be less: shops sell whole packs."),
	}}
	if s.e.Caution != "" {
		p.Text = append(p.Text, clean(s.e.Caution))
	}
	for _, w := range s.e.Warnings {
		p.Warnings = append(p.Warnings, s.warning(w))
	}
	return p
}

// citePart says how to cite the edition and how to make it again.
func (s *site) citePart() layout.Part {
	return layout.Part{ID: "cite", Headline: s.T("Citing, and making it again"), Steps: []string{
		s.citation(),
		s.T("The edition’s hash, %s, is that of all its files. Other prices, tables, settings or another program give another hash.", s.e.Hash),
		s.T("To make it again from the archived files and the tables, and compare every hash: farthing rebuild --compare"),
		s.T("To see how one number came about, down to file and line: farthing trace, with the table, the row’s keys and the column."),
		s.T("To check the files behind it: sha256sum --check, with reproduce.txt."),
		s.T("datapackage.json says what each column holds, with its unit and key. A spreadsheet opens workbook.xlsx, or the files of the folder data/spreadsheet, whose texts can not run as formulas."),
	}, Links: dataLinks("reach.csv", "basket.csv", "basket_lines.csv", "item.csv", "regions.csv", "allowances.csv", "observations.csv",
		"workbook.xlsx", "datapackage.json", "dataset.jsonld", "CITATION.cff", "reproduce.txt")}
}
