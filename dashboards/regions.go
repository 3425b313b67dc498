package dashboards

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"farthing/dashboards/draw"
	"farthing/dashboards/layout"
	"farthing/pipeline/result"
)

// level is a region's row with what the basket's own row adds.
type level struct {
	result.RegionLevel
	rank     int // the estimate, 0 where it is not ranked
	observed result.Num
	lo, hi   result.Num // of one person's day, the range across the shops seen
}

// parity is the level by which regions are set in order: over the items
// observed in all of them, else the one that allows for gaps.
func (l level) parity() result.Num {
	if l.ParityLowe.OK {
		return l.ParityLowe
	}
	return l.ParityCPD
}

// levels are a basket's rows of regions without parts, in the order of the tree.
func (s *site) levels(basket string) (rows []level) {
	for _, region := range regionOrder(s.e) {
		if !leaf(s.e, region) {
			continue
		}
		for _, r := range s.e.Levels {
			if r.Region != region || r.Basket != basket {
				continue
			}
			l := level{RegionLevel: r}
			if b, ok := s.costs[place{region, basket, r.Month}]; ok {
				l.observed = b.ObservedShare
				if n := household(s.e, b.Household).Equivalents; n.OK && n.V > 0 && b.Lo.OK && b.Hi.OK && r.PerDay.OK {
					l.lo, l.hi = result.Some(b.Lo.V/n.V), result.Some(b.Hi.V/n.V)
				}
			}
			rows = append(rows, l)
		}
	}
	return rows
}

// ranking splits a month's rows into the ranked, cheapest first, and the rest.
func ranking(rows []level, m result.Month) (ranked, rest []level) {
	for _, l := range rows {
		switch {
		case l.Month != m:
		case l.RankLo.OK && l.RankHi.OK && l.parity().OK:
			ranked = append(ranked, l)
		default:
			rest = append(rest, l)
		}
	}
	slices.SortStableFunc(ranked, func(a, b level) int { return cmp.Compare(a.parity().V, b.parity().V) })
	for i := range ranked {
		ranked[i].rank = i + 1
	}
	return ranked, rest
}

// regionsPage says where the same basket costs more, and how sure that is.
func regionsPage(s *site, v *view, file string) (layout.Page, error) {
	p := layout.Page{Title: "What the basket costs by region: " + label(v.c.Basket), About: "Basket " + label(v.c.Basket) + ", one person", Caution: s.caution()}
	rows := s.levels(v.c.Basket)
	if len(rows) == 0 {
		p.Headline = "No regions to compare"
		p.Lead = []string{"The tables name no region that has prices of this basket."}
		return p, nil
	}
	latest := rows[0].Month
	for _, l := range rows {
		latest = max(latest, l.Month)
	}
	m := latest // the newest month with a ranking, else the newest
	ranked, rest := ranking(rows, m)
	for ; len(ranked) < 2 && m > rows[0].Month; ranked, rest = ranking(rows, m) {
		m--
	}
	if len(ranked) < 2 {
		m = latest
		ranked, rest = ranking(rows, m)
	}
	p.Headline, p.Strong = s.regionsHeadline(ranked, rest, m)
	p.Lead = s.regionsLead(ranked, m, latest)
	if len(ranked) > 1 {
		part, err := s.ranksPart(v, file, ranked, m)
		if err != nil {
			return p, err
		}
		p.Parts = append(p.Parts, part)
	}
	if len(rest) > 0 {
		p.Parts = append(p.Parts, s.unrankedPart(rest, m))
	}
	history, err := s.levelsPart(v, file, rows)
	if err != nil {
		return p, err
	}
	p.Parts = append(p.Parts, history)
	return p, nil
}

// surest is the pair of ranked rows whose ranks do not overlap and whose levels
// are farthest apart; ok is false where all overlap.
func surest(ranked []level) (dear, cheap level, ok bool) {
	for _, a := range ranked {
		for _, b := range ranked {
			if a.RankLo.V > b.RankHi.V && (!ok || a.parity().V/b.parity().V > dear.parity().V/cheap.parity().V) {
				dear, cheap, ok = a, b, true
			}
		}
	}
	return dear, cheap, ok
}

func (s *site) names(rows []level) (names []string) {
	for _, l := range rows {
		names = append(names, regionName(s.e, l.Region))
	}
	return names
}

func (s *site) regionsHeadline(ranked, rest []level, m result.Month) (headline, strong string) {
	in := "In " + month(m)
	if len(ranked) < 2 {
		unpriced := 0
		for _, l := range rest {
			if !l.PerDay.OK {
				unpriced++
			}
		}
		if n := len(ranked) + len(rest); unpriced == n {
			return fmt.Sprintf("%s none of the %s had every price of the basket, so none can be ranked", in, count(n, "region", "regions")), ""
		}
		return fmt.Sprintf("%s no two regions could be ranked", in), ""
	}
	if dear, cheap, ok := surest(ranked); ok {
		more := result.Some((dear.parity().V/cheap.parity().V - 1) * 100)
		return in + " the same basket cost", fmt.Sprintf("%s\u202f%% more in %s than in %s", num(more, 1), regionName(s.e, dear.Region), regionName(s.e, cheap.Region))
	}
	if len(ranked) > 5 {
		return fmt.Sprintf("%s there was no clear difference in what the basket cost between the %d ranked regions", in, len(ranked)), ""
	}
	return fmt.Sprintf("%s there was no clear difference in what the basket cost between %s", in, list(s.names(ranked), 5)), ""
}

func (s *site) regionsLead(ranked []level, m, latest result.Month) (lead []string) {
	if len(ranked) < 2 {
		return []string{"A total with a missing price would look cheaper than it is. What is priced can be compared item by item, under Items."}
	}
	if m < latest {
		lead = append(lead, fmt.Sprintf("It is the newest month with a ranking; none is possible for %s.", span(m+1, latest)))
	}
	var open []string
	for _, l := range ranked {
		if l.RankLo.V < l.RankHi.V {
			open = append(open, fmt.Sprintf("%s may hold any rank from %s to %s", regionName(s.e, l.Region), l.RankLo, l.RankHi))
		}
	}
	every := !slices.ContainsFunc(ranked, func(l level) bool { return l.RankLo.V > 1 || l.RankHi.V < len(ranked) })
	switch {
	case open == nil:
		lead = append(lead, "As far as the shops seen go, every rank is sure.")
	case every:
		lead = append(lead, "What is not sure: the order. Each of them may hold any rank.")
	default:
		lead = append(lead, fmt.Sprintf("What is not sure: %s.", list(open, 5)))
	}
	if share := ranked[0].CommonShare; share.OK {
		lead = append(lead, fmt.Sprintf("The levels compare the items observed in all of them, %s of the basket’s cost.", percent(share, 2)))
	}
	return append(lead, "It is a level in one month, not a change.")
}

func (s *site) ranksPart(v *view, file string, ranked []level, m result.Month) (layout.Part, error) {
	first, last := ranked[0], ranked[len(ranked)-1]
	hundred := func(l level) result.Num { return result.Some(l.parity().V * 100) }
	p := layout.Part{ID: "ranks",
		Headline: fmt.Sprintf("From %s in %s to %s in %s, and how far to trust the order", num(hundred(first), 1), regionName(s.e, first.Region), num(hundred(last), 1), regionName(s.e, last.Region)),
		Subtitle: fmt.Sprintf("Price level of the basket, %s; the ranked regions’ geometric mean is 100. The scale does not start at zero. Then the rank: one square for each place.", month(m)),
		Key:      []layout.Mark{key("estimate", "the rank as estimated"), key("possible", "a rank it may hold as well"), key("other", "a rank it does not hold, as far as the shops seen go")},
		Notes: []layout.Note{
			{Head: "A level, not a change.", Text: "It says where the basket is dear in one month. How each place moved is below."},
			{Head: "Ties.", Text: "Two regions tie unless the range of their difference across the shops seen leaves no doubt, and both ways of comparing put them in the same order."},
			{Head: "Kinds of shop.", Text: "Where the commonest kind of shop is another, a part of the difference may be the shops and not the place."},
		}}
	if len(ranked) > draw.MostSquares {
		p.Subtitle = strings.Replace(p.Subtitle, "one square for each place.", "its place on a line from the first to the last.", 1)
	}
	var rows []draw.RankRow
	for _, l := range ranked {
		name := regionName(s.e, l.Region)
		rows = append(rows, draw.RankRow{Name: name, Value: num(hundred(l), 1), Level: hundred(l).V, Rank: l.rank, Lo: l.RankLo.V, Hi: l.RankHi.V,
			Words: fmt.Sprintf("%s: level %s, rank %d, which may be %s to %s", name, num(hundred(l), 1), l.rank, l.RankLo, l.RankHi)})
	}
	p.Table = tableOf(ranked, -1,
		number("Region", func(l level) string { return regionName(s.e, l.Region) }),
		number("Rank", func(l level) string { return fmt.Sprint(l.rank) }),
		number("From", func(l level) string { return l.RankLo.String() }),
		number("To", func(l level) string { return l.RankHi.String() }),
		number("Cost a day", func(l level) string { return money4(l.PerDay) }),
		number("Level, items in all", func(l level) string { return index6(l.ParityLowe) }).or("none"),
		number("Level, with gaps", func(l level) string { return index6(l.ParityCPD) }).or("none"),
		number("Items in all", func(l level) string { return share2(l.CommonShare) }),
		number("Shops", func(l level) string { return l.NOutlets.String() }),
		number("Of one type", func(l level) string { return share2(l.MainOutletTypeShare) }),
		number("Prices", func(l level) string { return l.NObservations.String() }),
		text("Status", func(l level) string { return letters(l.Base) }))
	p.Table.Caption = fmt.Sprintf("%s, basket %s, one person, each region’s own currency, with the digits of the data file. Items in all: the share of the cost that is of items observed in every ranked region. Of one type: the share of the shops that are of the commonest type.%s",
		month(m), label(v.c.Basket), statusKey(s.e, p.Table.Rows))
	source := s.source("Basket " + label(v.c.Basket) + ", " + month(m))
	wide, slim := draw.Ranks(rows, "level, mean 100", mark(source, draw.Wide), mark(source, draw.Slim))
	err := s.drawn(&p, file, wide, slim, p.Headline+". The table below has every region.", "regions.csv")
	return p, err
}

// unrankedPart lists the regions that have no rank, and why.
func (s *site) unrankedPart(rest []level, m result.Month) layout.Part {
	why := func(l level) string {
		if !l.PerDay.OK {
			words := s.noTotal(place{l.Region, l.Basket, m}, l.Base)
			if names := s.lacking(place{l.Region, l.Basket, m}); len(names) > 4 {
				words += ". They are " + list(names, 20)
			}
			return words
		}
		if thin := s.thin(l.Base, l.observed); thin != "" {
			return thin + " " + letters(l.Base)
		}
		return "no other region to rank it with"
	}
	p := layout.Part{ID: "unranked", Open: true, Headline: fmt.Sprintf("Not ranked: %s", list(s.names(rest), 8)), Links: dataLinks("regions.csv"),
		Subtitle: "A place takes no rank while a price is missing or its data are thin. Nothing says that it is cheap or dear."}
	p.Table = tableOf(rest, -1,
		number("Region", func(l level) string { return regionName(s.e, l.Region) }),
		number("Cost a day", func(l level) string { return money4(l.PerDay) }).or("none"),
		number("Shops", func(l level) string { return l.NOutlets.String() }).or("unknown"),
		number("Prices", func(l level) string { return l.NObservations.String() }).or("unknown"),
		text("Why", why))
	p.Table.Caption = fmt.Sprintf("%s, one person.%s", month(m), statusKey(s.e, p.Table.Rows))
	return p
}

// levelsPart shows how the basket's cost moved in each region, on one scale.
func (s *site) levelsPart(v *view, file string, rows []level) (layout.Part, error) {
	p := layout.Part{ID: "levels"}
	from, to := rows[0].Month, rows[0].Month
	for _, l := range rows {
		from, to = min(from, l.Month), max(to, l.Month)
	}
	var panels []draw.Panel
	priced := 0
	for i := 0; i < len(rows); {
		region := rows[i].Region
		panel := draw.Panel{Title: regionName(s.e, region), Points: make([]draw.Point, to-from+1), Last: "no full price"}
		var last level
		for ; i < len(rows) && rows[i].Region == region; i++ {
			l := rows[i]
			panel.Points[l.Month-from] = within(point(l.PerDay, hatched(l.Base)), l.lo, l.hi)
			if l.PerDay.OK {
				last = l
			}
		}
		if last.PerDay.OK {
			priced++
			panel.Last = fmt.Sprintf("%s, %s", money(last.PerDay, clean(last.CurrencyCode)), shortMonth(last.Month))
			if thin := s.thin(last.Base, last.observed); thin != "" {
				panel.Title += " [U]"
			}
		}
		panel.Words = panel.Title + ": " + panel.Last
		panels = append(panels, panel)
	}
	shown, note := newest(rows, func(l level) result.Month { return l.Month }, "regions.csv")
	p.Table = byMonth(shown, func(l level) result.Month { return l.Month }, -1,
		text("Region", func(l level) string { return regionName(s.e, l.Region) }),
		number("Cost a day", func(l level) string { return money4(l.PerDay) }).gap(func(l level) string {
			if l.PerDay.OK {
				return ""
			}
			return noPrice(l.Base) // what it lacks stands on the basket's page
		}),
		number("Level, items in all", func(l level) string { return index6(l.ParityLowe) }),
		number("Rank from", func(l level) string { return l.RankLo.String() }),
		number("To", func(l level) string { return l.RankHi.String() }),
		text("Status", func(l level) string { return letters(l.Base) }))
	p.Table.Caption = fmt.Sprintf("Basket %s, one person.%s%s", label(v.c.Basket), note, statusKey(s.e, p.Table.Rows))
	if priced == 0 {
		p.Headline, p.Links = "No region has a full price in any month", dataLinks("regions.csv")
		return p, nil
	}
	p.Headline = fmt.Sprintf("How it moved in %s", count(len(panels), "region", "regions"))
	if priced < len(panels) {
		p.Headline += fmt.Sprintf("; %s a full price", count(len(panels)-priced, "never has", "never have"))
	}
	p.Subtitle = fmt.Sprintf("Cost of one person’s basket a day, money of each month, %s, on one scale.", span(from, to))
	source := s.source("Basket " + label(v.c.Basket) + ", one person")
	lighten(&p, panels)
	wide, slim := draw.Panels(panels, shortMonth(from), shortMonth(to), mark(source, draw.Wide), mark(source, draw.Slim))
	s.panelKey(&p, panels)
	if slices.ContainsFunc(panels, func(p draw.Panel) bool { return strings.HasSuffix(p.Title, " [U]") }) {
		p.Foot = append(p.Foot, "[U] "+statusText(s.e, 'U')+": not ranked.")
	}
	err := s.drawn(&p, file, wide, slim, p.Headline+". The table below has every month.", "regions.csv", "basket.csv")
	return p, err
}

// mostBands is how many panels of a page carry their ranges: those of more
// would make it too heavy for a phone.
const mostBands = 40

// lighten leaves the ranges of many panels to the table, and says so.
func lighten(p *layout.Part, panels []draw.Panel) {
	if len(panels) <= mostBands {
		return
	}
	left := false
	for _, panel := range panels {
		for i := range panel.Points {
			at := &panel.Points[i]
			left = left || at.Lo != ""
			at.Lo, at.Hi = "", ""
		}
	}
	if left {
		p.Foot = append(p.Foot, "With so many regions the ranges across the shops seen are not drawn; the data file has them.")
	}
}

// panelKey explains the marks that panels hold, and their scale.
func (s *site) panelKey(p *layout.Part, panels []draw.Panel) {
	var ranged, broken, filled bool
	for _, panel := range panels {
		for _, at := range panel.Points {
			ranged, broken, filled = ranged || at.Lo != "", broken || at.Broken, filled || at.Value != ""
		}
	}
	if !filled {
		return
	}
	if from, _, _ := draw.Scaled(panels); from != 0 {
		p.Subtitle += fmt.Sprintf(" The scale starts at %s, not at zero.", num(result.Some(from), decimalsOf(from)))
	}
	p.Key = []layout.Mark{key("line", "price, newest with a dot")}
	if ranged {
		p.Key = append(p.Key, key("band", "range across the shops seen"))
	}
	if broken {
		p.Key = append(p.Key, key("broken", "imputed"), key("ring", "one imputed month"))
	}
}
