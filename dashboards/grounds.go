package dashboards

import (
	"fmt"
	"strings"

	"farthing/dashboards/draw"
	"farthing/dashboards/layout"
	"farthing/pipeline/result"
)

// groundsPage says what the numbers rest on and how they were made.
func groundsPage(s *site, v *view, file string) (layout.Page, error) {
	e := s.e
	p := layout.Page{Title: "Grounds: what the numbers rest on", Caution: s.caution(),
		Headline: fmt.Sprintf("%d prices were accepted from %s; %d of them stand behind a published price", e.Accepted, count(len(e.Sources), "file", "files"), e.Counted)}
	if n := e.Quarantined + e.Duplicate + e.Held; n > 0 {
		rows := func(n int) string { return count(n, "row", "rows") }
		p.Lead = []string{fmt.Sprintf("%s could not be read, %s repeated another, and %s %s held for a check. Nothing was dropped in silence.",
			upper(rows(e.Quarantined)), rows(e.Duplicate), rows(e.Held), plural(e.Held, "is", "are"))}
	} else {
		p.Lead = []string{"No row was set aside, and none repeated another."}
	}
	coverage, err := s.coveragePart(v, file)
	if err != nil {
		return p, err
	}
	p.Parts = append(p.Parts, coverage, s.sourcesPart(), s.filesPart())
	if e.Quarantined+e.Held+s.heldAtFirst() > 0 {
		p.Parts = append(p.Parts, s.asidePart())
	}
	p.Parts = append(p.Parts, methodPart(), s.statusPart())
	if len(e.Options) > 0 {
		options := layout.Part{ID: "options", Headline: "Choices the figures depend on"}
		for _, o := range e.Options {
			options.Terms = append(options.Terms, [2]string{clean(o[0]), clean(o[1])})
		}
		p.Parts = append(p.Parts, options)
	}
	p.Parts = append(p.Parts, s.cautionsPart(), s.citePart())
	return p, nil
}

func upper(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// coveragePart shows how much of the front page's basket was seen, month by month.
func (s *site) coveragePart(v *view, file string) (layout.Part, error) {
	of := fmt.Sprintf("basket %s in %s", label(v.c.Basket), v.region())
	p := layout.Part{ID: "coverage", Headline: "What the " + of + " rests on", Subtitle: "Shares of the basket’s cost, at base-month weights, by where the price of each month came from.",
		Key: []layout.Mark{key("fed", "observed"), key("hatched", "imputed by rule"), key("open", "missing")}}
	var months []draw.Coverage
	var labels []string
	full, any := 0, false
	for i, b := range v.baskets {
		months = append(months, draw.Coverage{Observed: b.ObservedShare.Or(), Imputed: b.ImputedShare.Or()})
		labels = append(labels, axisLabel(b.Month, i, len(v.baskets)))
		any = any || b.ObservedShare.OK
		if b.ObservedShare.OK && b.ObservedShare.Fixed(4) == "1.0000" {
			full++
		}
	}
	type B = result.Basket
	if len(v.baskets) > 0 {
		p.Headline = fmt.Sprintf("Every price of the %s was observed in %d of %d %s", of, full, len(v.baskets), plural(len(v.baskets), "month", "months"))
		p.Table = byMonth(v.baskets, func(b B) result.Month { return b.Month }, -1,
			number("Observed", func(b B) string { return share2(b.ObservedShare) }),
			number("Imputed", func(b B) string { return share2(b.ImputedShare) }),
			number("Missing", func(b B) string { return share2(b.MissingShare) }),
			number("Prices", func(b B) string { return b.NObservations.String() }),
			number("Shops", func(b B) string { return b.NOutlets.String() }),
			text("Status", func(b B) string { return letters(b.Base) }))
		p.Table.Caption = fmt.Sprintf("%s. The three shares add to 100\u202f%%. A number of prices that is empty is not known: published averages do not tell it.%s", upper(of), statusKey(s.e, p.Table.Rows))
	}
	if !any {
		p.Subtitle, p.Key, p.Open = "", nil, true
		return p, nil
	}
	source := s.source(strings.ToUpper(of[:1]) + of[1:])
	wide, slim := draw.Coverages(months, labels, mark(source, draw.Wide), mark(source, draw.Slim))
	err := s.drawn(&p, file, wide, slim, p.Headline, "basket.csv")
	return p, err
}

func rowColumns[T any](of func(T) result.Source) []column[T] {
	return []column[T]{
		number("Rows", func(r T) string { return of(r).Read.String() }),
		number("Accepted", func(r T) string { return of(r).Accepted.String() }),
		number("Unread", func(r T) string { return of(r).Quarantined.String() }),
		number("Repeated", func(r T) string { return of(r).Duplicate.String() }),
		number("Held at first", func(r T) string { return of(r).Held.String() })}
}

func (s *site) sourcesPart() layout.Part {
	sums, files := sourcesOf(s.e), sortedSources(s.e)
	p := layout.Part{ID: "sources", Open: true, Headline: fmt.Sprintf("%s, from %s", upper(count(len(files), "file", "files")), count(len(sums), "source", "sources")),
		Subtitle: "Each file is kept byte for byte under its hash, with who made it and under which licence."}
	p.Table = tableOf(sums, -1, append([]column[sourceSum]{
		number("Source", func(f sourceSum) string { return label(f.Source.Source) }),
		text("Producer", func(f sourceSum) string { return clean(f.Producer) }),
		text("Licence", func(f sourceSum) string { return clean(f.Licence) }),
		text("Gives", func(f sourceSum) string { return clean(f.Gives) }),
		number("Files", func(f sourceSum) string { return fmt.Sprint(f.files) })},
		rowColumns(func(f sourceSum) result.Source { return f.Source })...)...)
	p.Table.Caption = "Rows read = accepted + unread + repeated; rows held at first are among the accepted, and count once a correction releases or mends them."
	return p
}

// filesPart lists every file, by source and name, with the hash under which it is kept.
func (s *site) filesPart() layout.Part {
	type F = result.Source
	files := sortedSources(s.e)
	p := layout.Part{ID: "files", Open: true, Folded: true, Headline: "Every file and its hash"}
	p.Table = tableOf(files, -1, append(append([]column[F]{
		number("File", func(f F) string { return clean(f.Name) }),
		text("Source", func(f F) string { return label(f.Source) })},
		rowColumns(func(f F) F { return f })...),
		text("SHA-256", func(f F) string { return clean(f.SHA256) }))...)
	p.Table.Caption = "Files by source and name; the hash, SHA-256, is the name of the file’s folder in the archive."
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
	p := layout.Part{ID: "aside", Headline: "Rows held for a check"}
	if n := s.e.Quarantined; n > 0 {
		p.Headline = fmt.Sprintf("%s %s set aside", upper(count(n, "row", "rows")), plural(n, "was", "were"))
		if s.e.Mended > 0 {
			p.Headline += fmt.Sprintf(", %d of them mended since", s.e.Mended)
		}
	}
	if s.e.Held > 0 {
		p.Text = []string{fmt.Sprintf("Held are %s: a price far from its neighbours, or one that its own label contradicts. It counts for nothing until a line of tables/corrections releases or mends it.", count(s.e.Held, "row", "rows"))}
	}
	if n := s.heldAtFirst(); n > s.e.Held {
		p.Text = append(p.Text, fmt.Sprintf("Of %s held at first, corrections have settled %d.", count(n, "row", "rows"), n-s.e.Held))
	}
	if len(s.e.SetAside) == 0 {
		return p
	}
	type A = result.SetAside
	p.Open = true
	p.Table = tableOf(s.e.SetAside, -1,
		number("File", func(a A) string { return clean(a.Name) }),
		number("Rows", func(a A) string { return a.Rows.String() }),
		number("Mended", func(a A) string { return a.Mended.String() }),
		number("First line", func(a A) string { return a.FirstLine.String() }),
		text("Column", func(a A) string { return clean(a.Field) }),
		text("As read", func(a A) string { return clean(a.Text) }),
		text("What helps", func(a A) string { return clean(a.Cure) }))
	p.Table.Caption = "Rows that could not be read, by file and reason. They stay in the archive and come in once they can be read."
	return p
}

// methodPart is the arithmetic, from a price to a rank.
func methodPart() layout.Part {
	return layout.Part{ID: "method", Headline: "How the numbers are made", Terms: [][2]string{
		{"Unit price", "price ÷ (packs × what a pack holds), in kilograms, litres or pieces; what a shopper weighed wins over the pack’s label."},
		{"Price of a month", "the geometric mean, in three steps: over the days in one shop of one variety in one pack, over the varieties of that shop, over the shops. p = exp(mean of ln p). A published average is taken as it is. With the sample “matched” (see the choices below) that is the level of the base month, and each variety in a shop moves it by its change since it was last priced there, from the level of that month; what is new moves nothing at first."},
		{"Region of parts", "where a region has no prices of its own: ln p = Σ w ln p ÷ Σ w over its parts that have a price, w their population weights."},
		{"Matched change", "the mean change of ln price over the same varieties in the same shops in both months, as a percentage."},
		{"Gaps", "p now = last price seen × exp(sum of monthly changes since), by the first rule that can tell: the same item in the wider region (six months at most), its kind of food in the region (six), all food in the region (three), the last price kept (two). Else the price is missing and the total is empty. An item out of season only follows all food. A filled price is never the source of another."},
		{"Basket a day", "person equivalents × Σ quantity a day × price, over the lines. A week is 7 days, a month 30.4375."},
		{"What moved", "a line’s points = quantity × (price after − price before) ÷ the basket’s cost before × 100; they add up to the basket’s change. (1 + price)(1 + size)(1 + mix) = 1 + change: price compares a pack with itself, or with the one that replaced it; size is what such a pair holds, before ÷ after; mix is the rest. An imputed price has no parts."},
		{"Shares", "observed + imputed + missing = 1, weighted by each line’s part of the base month’s cost."},
		{"Reach", "days = allowance ÷ basket a day. Days fed are the whole days of it, at most those from pay day to pay day; the day after the last is the day the money ran out."},
		{"Short by", "basket a day × days in the month − allowance, where that is above 0."},
		{"Money of one month", "basket a day × index of the base month ÷ index of the month, by the deflator named on the page."},
		{"Range across the shops seen", "the jackknife: the figure is made anew with each shop left out in turn; from the spread comes a 95 % range on the logarithm, by Student’s t. It takes three shops. It tells what other shops could change, and nothing of wrong notes, rules or weights."},
		{"Level of a region", "with the items observed in every ranked region: Σ quantity × price there ÷ the geometric mean of that sum over the regions (Lowe). With gaps: the country product dummy, a regression of ln price on item and region. Regions are ranked only against regions that are not a part of each other."},
		{"Rank", "two regions tie unless the range of their difference excludes none and both levels order them alike."},
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
	p := layout.Part{ID: "statuses", Open: true, Headline: "What the letters mean",
		Subtitle: "Letters of the SDMX code list of observation status. Where several hold, the strongest stands first."}
	p.Table = tableOf([]byte(statusOrder), -1,
		number("Letter", func(c byte) string { return string(c) }),
		text("Means", func(c byte) string { return statusText(s.e, c) }),
		number("Item prices", func(c byte) string { return fmt.Sprint(counts[c]) }))
	p.Table.Caption = "Item prices: how many months of an item in a region have it as their strongest status."
	return p
}

func (s *site) cautionsPart() layout.Part {
	p := layout.Part{ID: "cautions", Headline: "Cautions", Text: []string{
		"The basket is a yardstick. It is not a diet, and not what anybody eats.",
		"Whose right an allowance is, and how much, is for the office that pays to say.",
		"What the allowance buys at the till may be less: shops sell whole packs.",
	}}
	if s.e.Caution != "" {
		p.Text = append(p.Text, clean(s.e.Caution))
	}
	for _, w := range s.e.Warnings {
		p.Warnings = append(p.Warnings, layout.Note{Head: clean(w.Text), Text: clean(w.Cure)})
	}
	return p
}

// citePart says how to cite the edition and how to make it again.
func (s *site) citePart() layout.Part {
	return layout.Part{ID: "cite", Headline: "Citing, and making it again", Steps: []string{
		s.citation(),
		fmt.Sprintf("The edition’s hash, %s, is that of all its files. Other prices, tables, settings or another program give another hash.", s.e.Hash),
		"To make it again from the archived files and the tables, and compare every hash: farthing rebuild --compare",
		"To see how one number came about, down to file and line: farthing trace, with the table, the row’s keys and the column.",
		"To check the files behind it: sha256sum --check, with reproduce.txt.",
		"datapackage.json says what each column holds, with its unit and key. A spreadsheet opens workbook.xlsx, or the files of the folder data/spreadsheet, whose texts can not run as formulas.",
	}, Links: dataLinks("reach.csv", "basket.csv", "basket_lines.csv", "item.csv", "regions.csv", "allowances.csv", "observations.csv",
		"workbook.xlsx", "datapackage.json", "dataset.jsonld", "CITATION.cff", "reproduce.txt")}
}
