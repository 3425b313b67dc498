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
	p := layout.Page{Title: s.T("What the basket costs by region: %s", label(v.c.Basket)), About: s.T("Basket %s, one person", label(v.c.Basket)), Caution: s.caution()}
	rows := s.levels(v.c.Basket)
	if len(rows) == 0 {
		p.Headline = s.T("No regions to compare")
		p.Lead = []string{s.T("The tables name no region that has prices of this basket.")}
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
	p.Lead = s.regionsLead(ranked, rest, m, latest)
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
	in := s.month(m)
	if len(ranked) < 2 {
		unpriced := 0
		for _, l := range rest {
			if !l.PerDay.OK {
				unpriced++
			}
		}
		if n := len(ranked) + len(rest); unpriced == n {
			return s.T("In %s none of the %s had every price of the basket, so none can be ranked", in, s.Count(n, "one region", "%s regions")), ""
		}
		return s.T("In %s no two regions could be ranked", in), ""
	}
	if dear, cheap, ok := surest(ranked); ok {
		more := result.Some((dear.parity().V/cheap.parity().V - 1) * 100)
		return s.T("In %s the same basket cost", in), s.T("%s\u202f%% more in %s than in %s", s.num(more, 1), regionName(s.e, dear.Region), regionName(s.e, cheap.Region))
	}
	if len(ranked) > 5 {
		return s.T("In %s there was no clear difference in what the basket cost between the %d ranked regions", in, len(ranked)), ""
	}
	return s.T("In %s there was no clear difference in what the basket cost between %s", in, s.list(s.names(ranked), 5)), ""
}

func (s *site) regionsLead(ranked, rest []level, m, latest result.Month) (lead []string) {
	if len(ranked) < 2 {
		return []string{s.T("A total with a missing price would look cheaper than it is. What is priced can be compared item by item, under Items.")}
	}
	if m < latest {
		lead = append(lead, s.T("It is the newest month with a ranking; none is possible for %s.", s.span(m+1, latest)))
	}
	var open []string
	for _, l := range ranked {
		if l.RankLo.V < l.RankHi.V {
			open = append(open, s.T("%s may hold any rank from %s to %s", regionName(s.e, l.Region), l.RankLo, l.RankHi))
		}
	}
	every := !slices.ContainsFunc(ranked, func(l level) bool { return l.RankLo.V > 1 || l.RankHi.V < len(ranked) })
	switch {
	case open == nil:
		lead = append(lead, s.T("As far as the shops seen go, every rank is sure."))
	case every:
		lead = append(lead, s.T("What is not sure: the order. Each of them may hold any rank."))
	default:
		lead = append(lead, s.T("What is not sure: %s.", s.list(open, 5)))
	}
	if first, last := ranked[0], ranked[len(ranked)-1]; open != nil && first.parity().OK && first.parity().V > 0 && last.parity().OK {
		if _, _, sure := surest(ranked); !sure {
			lead = append(lead, s.T("As estimated, %s stands %s\u202f%% above %s; other shops of the same kind could reverse it.", regionName(s.e, last.Region),
				s.num(result.Some((last.parity().V/first.parity().V-1)*100), 1), regionName(s.e, first.Region)))
		}
	}
	if share := ranked[0].CommonShare; share.OK {
		words := s.T("The levels compare the items observed in every ranked region, %s of the basket’s cost", s.percent(share, 2))
		if out := s.notCompared(ranked, m); out != nil {
			words += s.T("; left out: %s", s.list(out, 5))
		}
		lead = append(lead, words+".")
	}
	if rest != nil {
		var names []string
		for _, l := range rest {
			why := s.thin(l.Base, l.observed)
			if !l.PerDay.OK {
				why, _, _ = strings.Cut(s.noPrice(l.Base), " [")
			}
			names = append(names, strings.TrimSpace(regionName(s.e, l.Region)+" "+inBrackets(why)))
		}
		lead = append(lead, s.T("Not ranked: %s.", s.list(names, 5)))
	}
	return append(lead, s.T("It is a level in one month, not a change."))
}

// notCompared are the items of the basket that were not observed in every ranked region.
func (s *site) notCompared(ranked []level, m result.Month) (names []string) {
	for _, l := range ranked {
		at := place{l.Region, l.Basket, m}
		for _, name := range s.linesThat(at, func(l *result.BasketLine) bool { return !l.UnitPrice.OK || l.FilledBy != "" }) {
			if !slices.Contains(names, name) {
				names = append(names, name)
			}
		}
	}
	return names
}

func (s *site) ranksPart(v *view, file string, ranked []level, m result.Month) (layout.Part, error) {
	first, last := ranked[0], ranked[len(ranked)-1]
	hundred := func(l level) result.Num { return result.Some(l.parity().V * 100) }
	p := layout.Part{ID: "ranks",
		Headline: s.T("From %s in %s to %s in %s, and how far to trust the order", s.num(hundred(first), 1), regionName(s.e, first.Region), s.num(hundred(last), 1), regionName(s.e, last.Region)),
		Subtitle: s.T("Price level of the basket, %s; 100 is the middle of the ranked regions, their geometric mean. The scale does not start at zero. Then the rank: one square for each place.", s.month(m)),
		Key:      []layout.Mark{key("estimate", s.T("the rank as estimated"))},
		Notes: []layout.Note{
			{Head: s.T("Parts, not the whole."), Text: s.T("Only regions without parts are ranked: a whole is no place beside its parts.")},
			{Head: s.T("A level, not a change."), Text: s.T("It says where the basket is dear in one month. How each place moved is below.")},
			{Head: s.T("Ties."), Text: s.T("Two regions tie unless the range of their difference across the shops seen leaves no doubt, and both columns of levels put them in the same order.")},
			{Head: s.T("Kinds of shop."), Text: s.T("Where the commonest kind of shop is another, a part of the difference may be the shops and not the place.")},
		}}
	if len(ranked) > draw.MostSquares {
		p.Subtitle = s.T("Price level of the basket, %s; 100 is the middle of the ranked regions, their geometric mean. The scale does not start at zero. Then the rank: its place on a line from the first to the last.", s.month(m))
	}
	var rows []draw.RankRow
	for _, l := range ranked {
		name := regionName(s.e, l.Region)
		rows = append(rows, draw.RankRow{Name: name, Value: s.num(hundred(l), 1), Level: hundred(l).V, Rank: l.rank, Lo: l.RankLo.V, Hi: l.RankHi.V,
			Words: s.T("%s: level %s, rank %d, which may be %s to %s", name, s.num(hundred(l), 1), l.rank, l.RankLo, l.RankHi)})
	}
	if slices.ContainsFunc(ranked, func(l level) bool { return l.RankLo.V < l.RankHi.V }) {
		p.Key = append(p.Key, key("possible", s.T("a rank it may hold as well")))
	}
	if slices.ContainsFunc(ranked, func(l level) bool { return l.RankLo.V > 1 || l.RankHi.V < len(ranked) }) {
		p.Key = append(p.Key, key("other", s.T("a rank it does not hold, as far as the shops seen go")))
	}
	p.Table = tableOf(ranked, -1,
		number(s.T("Region"), func(l level) string { return regionName(s.e, l.Region) }),
		number(s.T("Rank"), func(l level) string { return s.Figure(fmt.Sprint(l.rank)) }),
		number(s.T("From"), func(l level) string { return s.whole(l.RankLo) }),
		number(s.T("To"), func(l level) string { return s.whole(l.RankHi) }),
		number(s.T("Cost a day"), func(l level) string { return s.money4(l.PerDay) }),
		number(s.T("Level, items in all"), func(l level) string { return s.index6(l.ParityLowe) }).or(s.T("none")),
		number(s.T("Level, with gaps"), func(l level) string { return s.index6(l.ParityCPD) }).or(s.T("none")),
		number(s.T("Items in all"), func(l level) string { return s.share2(l.CommonShare) }),
		number(s.T("Shops"), func(l level) string { return s.whole(l.NOutlets) }),
		number(s.T("Of one type"), func(l level) string { return s.share2(l.MainOutletTypeShare) }),
		number(s.T("Prices"), func(l level) string { return s.whole(l.NObservations) }),
		status(s.tongue, func(l level) result.Base { return l.Base }))
	p.Table.Caption = s.T("%s, basket %s, one person, each region’s own currency, with the digits of the data file. Items in all: the share of the cost that is of items observed in every ranked region. Of one type: the share of the shops that are of the commonest type.%s",
		s.month(m), label(v.c.Basket), s.statusKey(s.e, p.Table.Rows))
	source := s.source(s.T("Basket %s, %s", label(v.c.Basket), s.month(m)))
	wide, slim := draw.Ranks(s.drawing(), rows, s.T("level, mean 100"), mark(source, draw.Wide), mark(source, draw.Slim))
	err := s.drawn(&p, file, wide, slim, s.T("%s. The table below has every region.", p.Headline), "regions.csv")
	return p, err
}

// unrankedPart lists the regions that have no rank, and why.
func (s *site) unrankedPart(rest []level, m result.Month) layout.Part {
	why := func(l level) string {
		if !l.PerDay.OK {
			words := s.noTotal(place{l.Region, l.Basket, m}, l.Base)
			if names := s.lacking(place{l.Region, l.Basket, m}); len(names) > 4 {
				words += s.T(". They are %s", s.list(names, 20))
			}
			return words
		}
		if thin := s.thin(l.Base, l.observed); thin != "" {
			return thin + " " + letters(l.Base)
		}
		return s.T("no other region to rank it with")
	}
	p := layout.Part{ID: "unranked", Open: true, Headline: s.T("Not ranked: %s", s.list(s.names(rest), 8)), Links: dataLinks("regions.csv"),
		Subtitle: s.T("A place takes no rank while a price is missing or its data are thin. A sum that stands here is of the few shops seen: the place itself may be cheaper or dearer.")}
	p.Table = tableOf(rest, -1,
		number(s.T("Region"), func(l level) string { return regionName(s.e, l.Region) }),
		number(s.T("Cost a day"), func(l level) string { return s.money4(l.PerDay) }).or(s.T("none")),
		number(s.T("Shops"), func(l level) string { return s.whole(l.NOutlets) }).or(s.T("unknown")),
		number(s.T("Prices"), func(l level) string { return s.whole(l.NObservations) }).or(s.T("unknown")),
		text(s.T("Why"), why))
	p.Table.Caption = s.T("%s, one person.%s", s.month(m), s.statusKey(s.e, p.Table.Rows))
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
	var moves []string
	priced := 0
	for i := 0; i < len(rows); {
		region := rows[i].Region
		panel := draw.Panel{Title: regionName(s.e, region), Points: make([]draw.Point, to-from+1), Last: s.T("no full price")}
		var first, last level
		for ; i < len(rows) && rows[i].Region == region; i++ {
			l := rows[i]
			panel.Points[l.Month-from] = within(point(l.PerDay, hatched(l.Base)), l.lo, l.hi)
			if l.PerDay.OK {
				if last = l; !first.PerDay.OK {
					first = l
				}
			}
		}
		if c := against(last.PerDay, first.PerDay); c.OK && last.Month > first.Month {
			moves = append(moves, s.T("%s %s\u202f%% since %s", panel.Title, s.signed(c, 1), s.month(first.Month)))
		}
		if last.PerDay.OK {
			priced++
			panel.Last = fmt.Sprintf("%s, %s", s.money(last.PerDay, clean(last.CurrencyCode)), s.shortMonth(last.Month))
			if thin := s.thin(last.Base, last.observed); thin != "" {
				panel.Title += thinMark
			}
		}
		panel.Words = panel.Title + ": " + panel.Last
		panels = append(panels, panel)
	}
	shown, note := newest(s.tongue, rows, func(l level) result.Month { return l.Month }, "regions.csv")
	p.Table = byMonth(s.tongue, shown, func(l level) result.Month { return l.Month }, -1,
		text(s.T("Region"), func(l level) string { return regionName(s.e, l.Region) }),
		number(s.T("Cost a day"), func(l level) string { return s.money4(l.PerDay) }).gap(func(l level) string {
			if l.PerDay.OK {
				return ""
			}
			return s.noPrice(l.Base) // what it lacks stands on the basket's page
		}),
		number(s.T("Level, items in all"), func(l level) string { return s.index6(l.ParityLowe) }),
		number(s.T("Rank from"), func(l level) string { return s.whole(l.RankLo) }),
		number(s.T("To"), func(l level) string { return s.whole(l.RankHi) }),
		status(s.tongue, func(l level) result.Base { return l.Base }))
	p.Table.Caption = s.T("Basket %s, one person.%s%s", label(v.c.Basket), note, s.statusKey(s.e, p.Table.Rows))
	if priced == 0 {
		p.Headline, p.Links = s.T("No region has a full price in any month"), dataLinks("regions.csv")
		return p, nil
	}
	p.Headline = s.T("How it moved in %s", s.Count(len(panels), "one region", "%s regions"))
	if n := len(moves); n > 0 && n == len(panels) && n <= 3 {
		p.Headline = s.T("How it moved: %s", s.list(moves, 3))
	}
	if priced < len(panels) {
		p.Headline += s.Count(len(panels)-priced, "; one never has a full price", "; %s never have a full price")
	}
	p.Subtitle = s.T("Cost of one person’s basket a day, money of each month, %s, on one scale.", s.span(from, to))
	source := s.source(s.T("Basket %s, one person", label(v.c.Basket)))
	s.lighten(&p, panels)
	wide, slim := draw.Panels(s.drawing(), panels, s.shortMonth(from), s.shortMonth(to), mark(source, draw.Wide), mark(source, draw.Slim))
	s.panelKey(&p, panels, s.T("over a quarter of the cost imputed"), s.T("one such month"))
	if anyThin(panels) {
		p.Foot = append(p.Foot, s.T("[U] %s: not ranked.", s.statusText(s.e, 'U')))
	}
	err := s.drawn(&p, file, wide, slim, s.T("%s. The table below has every month.", p.Headline), "regions.csv", "basket.csv")
	return p, err
}

// thinMark ends the title of a panel whose data are thin.
const thinMark = " [U]"

func anyThin(panels []draw.Panel) bool {
	return slices.ContainsFunc(panels, func(p draw.Panel) bool { return strings.HasSuffix(p.Title, thinMark) })
}

// mostBands is how many panels of a page carry their ranges: those of more
// would make it too heavy for a phone.
const mostBands = 40

// lighten leaves the ranges of many panels to the table, and says so.
func (s *site) lighten(p *layout.Part, panels []draw.Panel) {
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
		p.Foot = append(p.Foot, s.T("With so many regions the ranges across the shops seen are not drawn; the data file has them."))
	}
}

// panelKey explains the marks that panels hold, and their scale; broken and ring
// say what a broken line and a ring of these panels are.
func (s *site) panelKey(p *layout.Part, panels []draw.Panel, broken, ring string) {
	var ranged, anyBroken, filled bool
	for _, panel := range panels {
		for _, at := range panel.Points {
			ranged, anyBroken, filled = ranged || at.Lo != "", anyBroken || at.Broken, filled || at.Value != ""
		}
	}
	held, above, below := draw.Held(panels)
	if !filled && !held { // what is held alone is never beyond
		return
	}
	if from, _, _ := draw.Scaled(panels); from != 0 {
		p.Subtitle += " " + s.T("The scale starts at %s, not at zero.", s.num(result.Some(from), decimalsOf(from)))
	}
	if filled {
		p.Key = []layout.Mark{key("line", s.T("month by month, newest with a dot"))}
	}
	if ranged {
		p.Key = append(p.Key, key("band", s.T("range across the shops seen")))
	}
	if anyBroken {
		p.Key = append(p.Key, key("broken", broken), key("ring", ring))
	}
	if held {
		p.Key = append(p.Key, key("held", s.T("held for a check, in no mean")))
	}
	if above || below {
		p.Key = append(p.Key, key("beyond", s.T("held for a check, off the scale")))
	}
}
