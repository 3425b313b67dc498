package dashboards

import (
	"cmp"
	"encoding/json"
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"
	"time"

	"farthing/dashboards/catalogue"
	"farthing/dashboards/draw"
	"farthing/dashboards/layout"
	"farthing/pipeline/result"
)

// stripMonths is how many months the strip shows; the table has them all.
const stripMonths = 24

// reachPage says how far the allowance goes.
func reachPage(s *site, v *view, file string) (layout.Page, error) {
	p := layout.Page{Title: s.T("How far the allowance reaches: %s in %s", v.householdName(), v.region())}
	at := v.speaks()
	p.Headline, p.Strong = v.reachHeadline(at)
	p.Lead, p.About, p.Caution = v.reachLead(at), v.about(), v.caution()
	p.See = []layout.Link{{Text: s.T("The finding on one page, to print"), Href: sheet().file(v.c) + ".html"}}
	if at >= 0 {
		strip, err := s.stripPart(v, file)
		if err != nil {
			return p, err
		}
		p.Parts = append(p.Parts, strip, v.pencil(at))
	} else if len(v.reach) > 0 {
		p.Parts = append(p.Parts, layout.Part{ID: "days", Headline: s.T("Month by month"), Table: v.reachTable(v.reach), Open: true, Links: dataLinks("reach.csv")})
	}
	if len(v.reach) > 0 {
		cost, err := s.costPart(v, file)
		if err != nil {
			return p, err
		}
		p.Parts = append(p.Parts, cost)
	}
	p.Parts = append(p.Parts, v.cautions())
	return p, nil
}

// caution is what a reader of real data must know before the figures.
func (s *site) caution() string {
	if s.e.Invented {
		return "" // the head of the page says that
	}
	return clean(s.e.Caution)
}

// speaks is the newest month whose days are known, -1 where there is none.
func (v *view) speaks() int {
	for i := len(v.reach) - 1; i >= 0; i-- {
		if v.reach[i].Days.OK {
			return i
		}
	}
	return -1
}

// gap says in short why a month has no days.
func (t tongue) gap(r result.Reach) string {
	if r.PerDay.OK && !r.Allowance.OK {
		return t.T("no allowance known")
	}
	return t.noPrice(r.Base)
}

// gaps says, of some months in order, which have no figure and why. Those that
// come after the newest figure, at, are told first.
func (t tongue) gaps(at, n int, m func(int) result.Month, why func(int) string) []string {
	var before, after []string
	for i := 0; i < n; i++ {
		words, _, _ := strings.Cut(why(i), " [") // the table has the status letter
		if words == "" {
			continue
		}
		first := i
		for i+1 < n {
			next, _, _ := strings.Cut(why(i+1), " [")
			if next != words {
				break
			}
			i++
		}
		span := t.span(m(first), m(i))
		if i-first > 2 {
			span += t.T(", %d months", i-first+1)
		}
		if first > at {
			after = append(after, t.T("There is a gap after it: no figure for %s (%s).", span, words))
		} else {
			before = append(before, t.T("There is no figure for %s (%s).", span, words))
		}
	}
	if most := 2; len(before) > most {
		before = append(before[:most:most], t.Count(len(before)-most, "There are one gap more; the table has them.", "There are %s gaps more; the table has them."))
	}
	return append(after, before...)
}

func (v *view) reachHeadline(at int) (headline, strong string) {
	if at < 0 {
		for _, r := range v.reach {
			if r.Allowance.OK {
				return v.T("No month has every price it takes to count the days"), ""
			}
		}
		if len(v.reach) == 0 {
			return v.T(noFigures), ""
		}
		return v.T("No allowance is known for this household and place, so the days it feeds can not be counted"), ""
	}
	r := v.reach[at]
	in := v.T("In %s", v.month(r.Month))
	if at < len(v.reach)-1 {
		in = v.T("In %s, the last month with a full price,", v.month(r.Month))
		if n := v.reach[len(v.reach)-1]; n.PerDay.OK && !n.Allowance.OK {
			in = v.T("In %s, the last month with an allowance,", v.month(r.Month))
		}
	}
	if r.RunOutOn == "" {
		return v.T("%s the allowance covered this basket for all %s", in, v.days(r.Month)), ""
	}
	return v.T("%s the allowance fed %s of %s: the money ran out on", in, r.FedDays, v.days(r.Month)), v.day(r.RunOutOn, r.Month.Year(), false)
}

func (v *view) reachLead(at int) []string {
	if at < 0 {
		n := len(v.reach)
		if n == 0 {
			return []string{v.T("Nothing is guessed: a month without every price, or without an allowance, stays empty.")}
		}
		r := v.reach[n-1]
		if r.PerDay.OK {
			return []string{v.T("In %s the basket cost %s a day.", v.month(r.Month), v.money(r.PerDay, v.currency))}
		}
		return []string{v.T("Nothing is guessed: a total with a missing price is not given, because it would look cheaper than it is."), v.lacks(r.Month, r.Base)}
	}
	r := v.reach[at]
	full := r.RunOutOn == ""
	var lead []string
	if over := r.Days.V - float64(v.period(r.Month)); full && over > 0 {
		words := catalogue.Key("It would have covered %s days, %s more than the month has.")
		if v.paidOn(r.Month) > 1 {
			words = "It would have covered %s days, %s more than it was paid for."
		}
		lead = append(lead, v.T(words, v.num(r.Days, 2), v.num(result.Some(over), 2)))
	}
	lead = append(lead, v.left(r))
	if r.LoDays.OK && r.HiDays.OK {
		lead = append(lead, v.T("The 95\u202f%% range across the shops seen is %s to %s days: other shops of the same kind could have given any figure in it.", v.num(r.LoDays, 2), v.num(r.HiDays, 2)))
	} else {
		lead = append(lead, v.noRange(r.Base))
	}
	told := []result.Month{r.Month}
	beside := func(m result.Month, then catalogue.Key) {
		if words := v.earlier(r, m, v.T(then, v.month(m))); words != "" && !slices.Contains(told, m) {
			lead, told = append(lead, words), append(told, m)
		}
	}
	if base, err := result.ParseMonth(v.e.BaseMonth); err == nil {
		beside(base, "In %s, the base month,")
	}
	beside(r.Month-12, "A year before, in %s,")
	lead = append(lead, v.heldIn(told...))
	lead = append(lead, v.lastedWords(at))
	if s := r.ImputedShare; s.OK && s.V > 0 {
		what := v.T("%s of the basket’s cost", v.percent(s, 2))
		if filled := v.filled(v.at(r.Month)); filled != nil {
			what += " (" + v.list(filled, 3) + ")"
		}
		lead = append(lead, v.T("%s was filled in by rule, not seen on a shelf.", what))
	}
	lead = append(lead, v.gaps(at, len(v.reach), func(i int) result.Month { return v.reach[i].Month }, func(i int) string {
		if v.reach[i].Days.OK {
			return ""
		}
		return v.gap(v.reach[i])
	})...)
	return slices.DeleteFunc(lead, func(words string) bool { return words == "" })
}

// left says what a month's allowance left over, or how much it was short of the
// basket; where it is paid on a later day than the first it is set beside the
// calendar month, which is not what it was paid for.
func (v *view) left(r result.Reach) string {
	switch {
	case v.paidOn(r.Month) > 1 && r.Balance.OK:
		words := catalogue.Key("The allowance was %s more than the basket of the calendar month’s %s days.")
		if r.Balance.V < 0 {
			words = "The allowance was %s less than the basket of the calendar month’s %s days."
		}
		return v.T(words, v.money(abs(r.Balance), v.currency), r.DaysInMonth)
	case r.Shortfall.OK && r.Shortfall.V > 0:
		words := v.T("The household went short by %s in the month", v.money(r.Shortfall, v.currency))
		if r.ShortfallPerMeal.OK {
			words += v.T(", which spread over every meal of the month is %s a meal", v.money(r.ShortfallPerMeal, v.currency))
		}
		return words + "."
	case r.Balance.OK && r.Balance.V > 0:
		return v.T("%s of the %s was left at the end.", v.money(r.Balance, v.currency), v.money(r.Allowance, v.currency))
	}
	return ""
}

// earlier says how far the allowance went in another month; "" where that is not known.
func (v *view) earlier(r result.Reach, m result.Month, then string) string {
	i := slices.IndexFunc(v.reach, func(o result.Reach) bool { return o.Month == m && o.Days.OK })
	if i < 0 || m == r.Month {
		return ""
	}
	o := v.reach[i]
	words := v.T("%s it fed %s of %d", then, o.FedDays, v.period(o.Month))
	switch {
	case r.RunOutOn == "":
		words = v.T("%s its reach was %s days", then, v.num(o.Days, 2))
	case r.FedDays == o.FedDays && v.period(r.Month) == v.period(o.Month) && r.Days.Fixed(2) != o.Days.Fixed(2): // only its parts of a day tell them apart
		words = v.T("%s its reach was %s days, now it is %s", then, v.num(o.Days, 2), v.num(r.Days, 2))
	}
	words += v.sure(r, o)
	dear, cheap := v.oddLines(m)
	if dear != nil {
		words += v.T("; unusually dear then: %s", v.list(dear, 2))
	}
	if cheap != nil {
		words += v.T("; unusually cheap then: %s", v.list(cheap, 2))
	}
	return words + "."
}

// oddPart is the least part of a basket's cost that an odd price must make to be told
// beside reach: our own choice.
const oddPart = 0.01

// oddLines names the lines whose price of a month stands apart from the months beside
// it, those that weigh most first.
func (v *view) oddLines(m result.Month) (dear, cheap []string) {
	lines := slices.Clone(v.lines[v.at(m)])
	slices.SortStableFunc(lines, func(a, b *result.BasketLine) int { return cmp.Compare(b.Weight.V, a.Weight.V) })
	for _, l := range lines {
		near := v.apart(l.Item, l.Grade, m)
		if near == nil {
			continue
		}
		rise := near[1].UnitPrice.V/near[0].UnitPrice.V - 1
		switch part := l.Weight.V * rise; {
		case part >= oddPart:
			dear = append(dear, v.lineName(*l))
		case part <= -oddPart:
			cheap = append(cheap, v.lineName(*l))
		}
	}
	return dear, cheap
}

// sure says whether the reach of a month surely differs from an older one's. Reach is
// allowance over cost, so the range of the cost's change bounds that of the reach: the
// two months' own ranges do not, since the same shops stand in both.
func (v *view) sure(r, o result.Reach) string {
	c, ok := v.change(o.Month, r.Month)
	if !ok {
		return ""
	}
	raise := r.Allowance.V / o.Allowance.V
	if best, worst := raise/(1+c.Lo.V/100), raise/(1+c.Hi.V/100); best < 1 || worst > 1 {
		return v.T(", a clear difference by the shops of both months taken together")
	}
	return v.T(", no clear difference by the shops of both months taken together")
}

// lastedWords say how often of late the money lasted; "" where one month tells nothing.
func (v *view) lastedWords(at int) string {
	switch lasted, n := v.lasted(at); {
	case n < 2:
		return ""
	case lasted == 0:
		return v.T("In none of the last %d months with a figure did the money last to the next pay day.", n)
	case lasted == n:
		return v.T("In all of the last %d months with a figure the money lasted to the next pay day.", n)
	default:
		return v.T("In %d of the last %d months with a figure the money lasted to the next pay day.", lasted, n)
	}
}

// lasted counts, of the newest twelve months with a figure up to one, those whose money lasted.
func (v *view) lasted(at int) (lasted, n int) {
	for i := at; i >= 0 && n < 12; i-- {
		if r := v.reach[i]; r.Days.OK {
			n++
			if r.RunOutOn == "" {
				lasted++
			}
		}
	}
	return lasted, n
}

// noRange says why a row has no range across the shops seen.
func (t tongue) noRange(b result.Base) string {
	if unseen(b) {
		return upper(t.T(noneSeen)) + "."
	}
	if !b.NOutlets.OK || b.NOutlets.V == 0 {
		return t.T("It rests on published averages, which do not tell the shops behind them, so no range can be given.")
	}
	if b.NOutlets.V >= 3 {
		return t.T("No range across the shops seen could be made.")
	}
	return t.T("It rests on %s, and a range across shops takes at least three.", t.Count(b.NOutlets.V, "one shop", "%s shops"))
}

// lacks says what a basket's total lacks in a month.
func (v *view) lacks(m result.Month, b result.Base) string {
	at := v.at(m)
	names := v.lacking(at)
	if len(names) == 0 {
		return ""
	}
	s := v.T("In %s, %d of its %s had no price here: %s.", v.month(m), len(names), v.Count(len(v.lines[at]), "one item", "%s items"), v.list(names, 20))
	if b.MissingShare.OK {
		s += " " + v.T("They are %s of the basket’s cost.", v.percent(b.MissingShare, 2))
	}
	return s
}

// stripMonth is a month as the strip draws it.
func (v *view) stripMonth(r result.Reach) draw.Month {
	m := draw.Month{Year: r.Month.Year(), Name: v.shortName(r.Month), Full: v.shortMonth(r.Month), Days: v.period(r.Month), Lo: r.LoDays.Or(), Hi: r.HiDays.Or()}
	if !r.Days.OK {
		m.Gap = v.gap(r)
		m.Words = fmt.Sprintf("%s: %s", v.month(r.Month), m.Gap)
		return m
	}
	m.Fed, m.Hatched, m.Count = r.FedDays.V, hatched(r.Base), v.num(r.Days, 2)
	if r.RunOutOn == "" {
		m.RunsOut, m.OutDay, m.Words = v.T("lasted"), v.T("lasted"), v.T("%s: all %s covered", v.month(r.Month), v.days(r.Month))
		return m
	}
	m.Part = math.Max(0, math.Min(1, r.Days.V-float64(r.FedDays.V)))
	m.RunsOut = v.day(r.RunOutOn, r.Month.Year(), true)
	if m.OutDay = m.RunsOut; len(r.RunOutOn) == len(time.DateOnly) {
		m.OutDay = strings.TrimLeft(r.RunOutOn[8:], "0")
	}
	m.Words = v.T("%s: %s of %s fed, money ran out on %s", v.month(r.Month), r.FedDays, v.days(r.Month), v.day(r.RunOutOn, r.Month.Year(), false))
	return m
}

// stripMonths are months as the strip draws them, with how often the allowance was raised and cut.
func (v *view) stripMonths(rows []result.Reach) (months []draw.Month, raises, cuts int) {
	for i, r := range rows {
		m := v.stripMonth(r)
		if i > 0 {
			var more float64
			m.Step, more = v.step(v.allowance[r.Month-1], v.allowance[r.Month])
			if more > 0 {
				raises++
			} else if more < 0 {
				cuts++
			}
		}
		months = append(months, m)
	}
	return months, raises, cuts
}

// stripPart is the signature figure: each month as its days.
func (s *site) stripPart(v *view, file string) (layout.Part, error) {
	rows := v.reach[max(0, len(v.reach)-stripMonths):]
	months, raises, cuts := v.stripMonths(rows)
	first, last := -1, -1
	for i, r := range rows {
		if r.Days.OK {
			if first < 0 {
				first = i
			}
			last = i
		}
	}
	p := layout.Part{ID: "days", Table: v.reachTable(v.reach)}
	if first < 0 { // the newest months are all gaps
		p.Headline = s.T("%s: no days can be counted", s.span(rows[0].Month, rows[len(rows)-1].Month))
	} else if first == last {
		p.Headline = s.T("%s of %s fed in %s, the one month with a figure", rows[first].FedDays, v.days(rows[first].Month), s.month(rows[first].Month))
	} else {
		p.Headline = s.T("From %s of %d days in %s to %s of %d in %s", rows[first].FedDays, v.period(rows[first].Month), s.month(rows[first].Month),
			rows[last].FedDays, v.period(rows[last].Month), s.month(rows[last].Month))
		if steps := s.changes(raises, cuts); steps != "" {
			p.Headline += s.T(", through %s of the allowance", steps)
		}
	}
	p.Subtitle = s.T("Each strip is one month, drawn as its days and inked through the last day the allowance feeds. %s, %s, %s.",
		v.householdName(), v.region(), s.span(rows[0].Month, rows[len(rows)-1].Month))
	if len(rows) < len(v.reach) {
		p.Subtitle += " " + s.T("Earlier months, from %s, are in the table.", s.month(v.reach[0].Month))
	}
	p.Key = s.stripKey(months)
	any := func(is func(draw.Month) bool) bool { return slices.ContainsFunc(months, is) }
	if any(notFed) {
		p.Notes = append(p.Notes, layout.Note{Head: s.T("Read down the ragged edge."), Text: s.T("Where the ink stops is where the money stops. Each frame is a day not fed, the first of them perhaps in part.")})
	}
	if any(func(m draw.Month) bool { return m.Gap == "" && m.RunsOut == s.T("lasted") }) {
		p.Notes = append(p.Notes, layout.Note{Head: s.T("Reach can pass the strip."), Text: s.T("A strip ends with the day before the next pay day; the reach beside it, allowance over cost a day, is counted on.")})
	}
	if any(ranged) {
		p.Notes = append(p.Notes, layout.Note{Head: s.T("The thin line"), Text: s.T("below a strip runs from the low to the high end of the range across the shops seen, as far as it lies in the strip. The range says what other shops of the same kind could change, and nothing of other errors.")})
	}
	if paid := v.payDay(); paid > 1 {
		p.Notes = append(p.Notes, layout.Note{Head: s.T("Day 1 is the pay day."), Text: s.T("The allowance is paid on day %d of a month, or on its last day if it is shorter. A strip has the days from that pay day to the next.", paid)})
	} else {
		p.Notes = append(p.Notes, layout.Note{Head: s.T("Months differ in length."), Text: s.T("A strip is as long as its month. February is shorter, not better fed.")})
	}
	if any(func(m draw.Month) bool { return m.Gap != "" }) {
		p.Notes = append(p.Notes, layout.Note{Head: s.T("Gaps stay gaps."), Text: s.T("A month in words has no figure. It is not zero, and not an average of its neighbours.")})
	}
	if any(func(m draw.Month) bool { return m.Hatched }) {
		p.Notes = append(p.Notes, layout.Note{Head: s.T("Hatched months lean on rules."), Text: s.T("Over a quarter of their cost was filled in by rule, not seen on a shelf.")})
	}
	wide, slim := draw.Strips(s.drawing(), months, v.mark(draw.Wide), v.mark(draw.Slim))
	words := s.T("%s. The table below has every month.", p.Headline)
	err := s.drawn(&p, file, wide, slim, words, "reach.csv", "allowances.csv")
	return p, err
}

func notFed(m draw.Month) bool { return m.Gap == "" && m.Fed < m.Days }
func ranged(m draw.Month) bool { return m.Gap == "" && !math.IsNaN(m.Lo) }

// stripKey explains the marks that a strip holds.
func (t tongue) stripKey(months []draw.Month) (marks []layout.Mark) {
	for _, k := range []struct {
		kind  string
		words catalogue.Key
		drawn func(draw.Month) bool
	}{
		{"fed", "day fed", func(m draw.Month) bool { return m.Fed > 0 }},
		{"part", "day the money ran out, fed in part", func(m draw.Month) bool { return m.Part > 0 && notFed(m) }},
		{"open", "day not fed", notFed},
		{"range", "thin line below: range across the shops seen", ranged},
		{"hatched", "over a quarter of the cost imputed", func(m draw.Month) bool { return m.Hatched }},
	} {
		if slices.ContainsFunc(months, k.drawn) {
			marks = append(marks, key(k.kind, t.T(k.words)))
		}
	}
	return marks
}

// key explains a mark.
func key(kind, words string) layout.Mark {
	return layout.Mark{SVG: template.HTML(draw.Sample(kind).Inline("sample", words)), Text: words}
}

// plot is a drawing in its place on the page.
func plot(class string, d draw.Drawing, words string, option json.RawMessage) layout.Plot {
	return layout.Plot{Class: class, SVG: template.HTML(d.Inline("drawn", words)), Option: template.JS(option)}
}

func (t tongue) changes(raises, cuts int) string {
	var s []string
	if raises > 0 {
		s = append(s, t.Count(raises, "one raise", "%s raises"))
	}
	if cuts > 0 {
		s = append(s, t.Count(cuts, "one cut", "%s cuts"))
	}
	return t.list(s, 2)
}

// perWords is how an amount's period follows it, perDays how long it is.
var (
	perWords = map[string]catalogue.Key{"month": "%s a month", "week": "%s a week", "2 weeks": "%s every two weeks", "4 weeks": "%s every four weeks"}
	perDays  = map[string]float64{"month": 30.4375, "week": 7, "2 weeks": 14, "4 weeks": 28}
)

// per puts an amount's period behind it.
func (t tongue) per(amount, period string) string {
	if words, ok := perWords[period]; ok {
		return t.T(words, amount)
	}
	return amount
}

// step says how the amount as it is paid changed from one month to the next,
// on the day its row came into force, and by how much a day; "" where it did
// not change. What a weekly amount comes to in months of other length is no step.
func (t tongue) step(before, now result.Allowance) (words string, more float64) {
	was, is := before.AmountAsPaid, now.AmountAsPaid
	if !was.OK || !is.OK || was == is && before.Per == now.Per {
		return "", 0
	}
	day, err := time.Parse(time.DateOnly, now.EffectiveFrom)
	if err != nil {
		day = now.Month.Day(1)
	}
	from, percent := t.num(was, 2), ""
	if before.Per == now.Per {
		more = is.V - was.V
		if change := against(is, was); change.OK && !same(change) && change.V < 1000 {
			percent = " (" + t.signed(change, 1) + "\u202f%)"
		}
	} else {
		from = t.per(from, before.Per)
		more = is.V/perDays[now.Per] - was.V/perDays[before.Per]
	}
	return t.T("%s: allowance %s to %s", t.Day(day, true, true), from, t.per(t.num(is, 2), now.Per)) + percent, more
}

// paidOn is the day of a month on which its allowance is paid, 1 where it is not known.
func (v *view) paidOn(m result.Month) int {
	if d := v.allowance[m].PaidOnDay; d.OK && d.V > 1 {
		return d.V
	}
	return 1
}

// payDay is the newest day of payment, 1 where none is known.
func (v *view) payDay() int {
	for i := len(v.reach) - 1; i >= 0; i-- {
		if v.allowance[v.reach[i].Month].PaidOnDay.OK {
			return v.paidOn(v.reach[i].Month)
		}
	}
	return 1
}

// period is how many days a month's allowance is paid for: from its pay day to
// the next month's. Paid on the 1st, it is the month.
func (v *view) period(m result.Month) int {
	d := v.paidOn(m)
	return int((m + 1).Day(d).Sub(m.Day(d)).Hours() / 24) // days of UTC have 24 hours
}

// span is a period in words.
func (v *view) days(m result.Month) string {
	if v.paidOn(m) > 1 {
		return v.T("%d days from pay day to pay day", v.period(m))
	}
	return v.T("%d days", v.period(m))
}

// reachTable tables months, oldest first.
func (v *view) reachTable(rows []result.Reach) *layout.Table {
	type R = result.Reach
	columns := []column[R]{
		number(v.T("Allowance"), func(r R) string { return v.money4(r.Allowance) }).or(v.T("none")),
		number(v.T("Cost a day"), func(r R) string { return v.money4(r.PerDay) }).gap(func(r R) string {
			if r.PerDay.OK {
				return ""
			}
			return v.noTotal(v.at(r.Month), r.Base)
		}),
		number(v.T("Reach, days"), func(r R) string { return v.days2(r.Days) }).gap(func(r R) string {
			if r.Days.OK {
				return ""
			}
			return v.gap(r)
		}),
	}
	if slices.ContainsFunc(v.reach, func(r R) bool { return r.LoDays.OK }) {
		columns = append(columns, number(v.T("Low"), func(r R) string { return v.days2(r.LoDays) }), number(v.T("High"), func(r R) string { return v.days2(r.HiDays) }))
	}
	columns = append(columns, number(v.T("Days fed"), func(r R) string { return v.whole(r.FedDays) }))
	if v.payDay() > 1 {
		columns = append(columns, number(v.T("Pay day to pay day"), func(r R) string { return v.Figure(fmt.Sprint(v.period(r.Month))) }))
	}
	columns = append(columns,
		number(v.T("Days in month"), func(r R) string { return v.whole(r.DaysInMonth) }),
		number(v.T("Ran out"), func(r R) string {
			if r.RunOutOn == "" {
				return v.T("lasted")
			}
			return v.day(r.RunOutOn, r.Month.Year(), true)
		}),
		number(v.T("Short by"), func(r R) string { return v.money4(r.Shortfall) }),
		number(v.T("Short per meal"), func(r R) string { return v.money4(r.ShortfallPerMeal) }),
		number(v.T("Imputed"), func(r R) string { return v.share2(r.ImputedShare) }),
		number(v.T("Prices seen"), func(r R) string { return v.whole(r.NObservations) }),
		status(v.tongue, func(r R) result.Base { return r.Base }))
	now := -1
	if at := v.speaks(); at >= 0 {
		now = int(v.reach[at].Month - rows[0].Month)
	}
	t := byMonth(v.tongue, rows, func(r R) result.Month { return r.Month }, now, columns...)
	t.Caption = v.caption(t, v.T("Reach is the allowance over the cost a day; days fed are its whole days, at most those from pay day to pay day."))
	return t
}

// caption says what a table's numbers are, and explains its letters.
func (v *view) caption(t *layout.Table, more string) string {
	return v.T("%s, %s. Money in %s, with the digits of the data file. %s%s", v.householdName(), v.region(), v.currency, more, v.statusKey(v.e, t.Rows))
}

// pencil shows the newest month's working, so that anyone can check it.
func (v *view) pencil(at int) layout.Part {
	r := v.reach[at]
	p := layout.Part{ID: "working", Headline: v.T("Check %s with a pencil", v.month(r.Month)),
		Subtitle: v.T("Prices with four decimals, as in the data file. Every result is rounded once, at the end, so its last digit may differ by one from yours.")}
	four := func(n result.Num) string { return v.num(n, 4) }
	cost := v.T("The basket costs %s %s a day for this household.", four(r.PerDay), v.currency)
	if one := v.onePerson(r.Month); one.OK && v.household.Equivalents.OK {
		cost = v.T("One person’s basket costs %s a day. This household counts as %s persons: %s × %s = %s %s a day.",
			four(one), v.num(v.household.Equivalents, 2), four(one), v.num(v.household.Equivalents, 2), four(r.PerDay), v.currency)
	}
	p.Steps = append(p.Steps, cost)
	allowance := v.T("The allowance for the month is %s", v.money(r.Allowance, v.currency))
	if r.AllowanceFrom != "" && r.AllowanceFrom != v.c.Region {
		allowance += v.T(", as set for %s", regionName(v.e, r.AllowanceFrom))
	}
	if a := v.allowance[r.Month]; spread(a) {
		allowance += v.T(": it is paid as %s, and %s × %s ÷ %v = %s", v.per(v.money(a.AmountAsPaid, v.currency), a.Per), v.num(a.AmountAsPaid, 2), r.DaysInMonth, perDays[a.Per], v.num(r.Allowance, 2))
	}
	p.Steps = append(p.Steps, allowance+".",
		v.T("%s ÷ %s = %s days.", v.num(r.Allowance, 2), four(r.PerDay), v.num(r.Days, 2)))
	if r.RunOutOn == "" {
		p.Steps = append(p.Steps, v.T("That is enough for all %s.", v.days(r.Month)))
	} else {
		p.Steps = append(p.Steps, v.T("%s whole days are fed. The day after them, %s, is the day the money ran out.", r.FedDays, v.day(r.RunOutOn, r.Month.Year(), false)))
	}
	switch {
	case r.Shortfall.OK && r.Shortfall.V > 0:
		last := v.T("The whole month costs %s × %s = %s. Less the allowance, that leaves %s to find.", four(r.PerDay), r.DaysInMonth, v.num(result.Some(r.Allowance.V+r.Shortfall.V), 2), v.money(r.Shortfall, v.currency))
		if h := v.household; r.ShortfallPerMeal.OK && h.Persons.OK && h.MealsPerDay.OK {
			last += " " + v.T("Shared over %s days, %s and %s a day it is %s a meal.", r.DaysInMonth,
				v.Count(h.Persons.V, "one person", "%s persons"), v.Count(h.MealsPerDay.V, "one meal", "%s meals"), v.money(r.ShortfallPerMeal, v.currency))
		}
		p.Steps = append(p.Steps, last)
	case r.Balance.OK:
		p.Steps = append(p.Steps, v.T("The whole month costs %s × %s = %s. The allowance is %s more.", four(r.PerDay), r.DaysInMonth, v.num(result.Some(r.Allowance.V-r.Balance.V), 2), v.money(r.Balance, v.currency)))
	}
	return p
}

// onePerson is a day's cost of the one-person basket: the sum of its lines,
// missing where one is.
func (v *view) onePerson(m result.Month) result.Num {
	lines := v.lines[v.at(m)]
	if len(lines) == 0 {
		return result.Num{}
	}
	sum := 0.0
	for _, l := range lines {
		if !l.PerDay.OK {
			return result.Num{}
		}
		sum += l.PerDay.V
	}
	return result.Some(sum)
}

// spread says whether an amount is of weeks, and so comes to more in a longer month.
func spread(a result.Allowance) bool {
	return a.AmountAsPaid.OK && a.Per != "month" && perDays[a.Per] > 0
}

// inStandardMonth is a month's allowance as it stands beside the basket of a
// standard month: an amount of weeks comes to as much in each, until it changes.
func (v *view) inStandardMonth(r result.Reach) result.Num {
	if a := v.allowance[r.Month]; spread(a) {
		return result.Some(a.AmountAsPaid.V * perDays["month"] / perDays[a.Per])
	}
	return r.Allowance
}

// costPart sets the allowance beside what a month's basket costs.
func (s *site) costPart(v *view, file string) (layout.Part, error) {
	type R = result.Reach
	weeks := slices.ContainsFunc(v.reach, func(r R) bool { return spread(v.allowance[r.Month]) })
	p := layout.Part{ID: "cost", Subtitle: s.T("The basket’s cost in a standard month of 30.4375 days, and the month’s allowance, %s, in money of each month.", v.currency)}
	if weeks {
		p.Subtitle = s.T("The basket’s cost and the allowance, each in a standard month of 30.4375 days, %s, in money of each month.", v.currency)
	}
	cost, allowance := draw.Series{Name: s.T("basket"), Gap: s.T("no full price")}, draw.Series{Name: s.T("allowance"), Step: true, Gap: s.T("no allowance")}
	var l draw.Lines
	var last result.Reach
	for i, r := range v.reach {
		b := v.basketOf(r.Month)
		l.Months = append(l.Months, s.axisLabel(r.Month, i, len(v.reach)))
		cost.Points = append(cost.Points, point(b.StandardMonth, hatched(b.Base)))
		paid := v.inStandardMonth(r)
		allowance.Points = append(allowance.Points, point(paid, false))
		if b.StandardMonth.OK {
			cost.Last = s.num(b.StandardMonth, 2)
			last = r
		}
		if paid.OK {
			allowance.Last = s.num(paid, 2)
		}
	}
	columns := []column[R]{number(s.T("Allowance"), func(r R) string { return s.money4(v.inStandardMonth(r)) }).or(s.T("none known"))}
	if weeks {
		columns = append([]column[R]{
			number(s.T("As paid"), func(r R) string { return s.money4(v.allowance[r.Month].AmountAsPaid) }).or(s.T("none known")),
			text(s.T("Per"), func(r R) string { return s.code(v.allowance[r.Month].Per) })}, columns...)
	}
	p.Table = byMonth(v.tongue, v.reach, func(r R) result.Month { return r.Month }, -1, append(columns,
		number(s.T("Basket"), func(r R) string { return s.money4(v.basketOf(r.Month).StandardMonth) }).gap(func(r R) string {
			if b := v.basketOf(r.Month); !b.StandardMonth.OK {
				return s.noPrice(b.Base)
			}
			return ""
		}))...)
	p.Table.Caption = v.caption(p.Table, s.T("Both are of a month."))
	if weeks {
		p.Table.Caption = v.caption(p.Table, s.T("Allowance and basket are of a standard month: an amount as paid × 30.4375 ÷ the days it is for."))
	}
	l.Series = []draw.Series{cost, allowance}
	switch b := v.basketOf(last.Month); {
	case !b.StandardMonth.OK:
		p.Headline = s.T("No month has a full price for the basket")
	case !last.Allowance.OK:
		p.Headline = s.T("In %s the basket cost %s a month; no allowance is known", s.month(last.Month), s.money(b.StandardMonth, v.currency))
	case weeks:
		p.Headline = s.T("In %s the basket cost %s in a standard month; the allowance came to %s", s.month(last.Month), s.money(b.StandardMonth, v.currency), s.num(v.inStandardMonth(last), 2))
	default:
		p.Headline = s.T("In %s the basket cost %s in a month of average length; the allowance was %s", s.month(last.Month), s.money(b.StandardMonth, v.currency), s.num(v.inStandardMonth(last), 2))
	}
	if brokenIn(cost) {
		p.Foot = append(p.Foot, s.T("Broken line: over a quarter of the cost is imputed."))
	}
	if last.Allowance.OK && last.Balance.OK {
		own := result.Some(last.Allowance.V - last.Balance.V)
		p.Foot = append(p.Foot, s.T("%s has %s days, so the basket of that month alone cost %s: what was left or short is counted from that. The standard month, as long as an average one, is there to compare months.",
			s.month(last.Month), last.DaysInMonth, s.money(own, v.currency)))
	}
	p.Foot = append(p.Foot, s.T("The allowance changes in steps; it is never drawn as a slope. No line crosses a month without a figure."))
	err := s.linePlots(&p, v.source(), file, l, p.Headline, "basket.csv", "reach.csv")
	return p, err
}

func brokenIn(s draw.Series) bool {
	for _, p := range s.Points {
		if p.Broken {
			return true
		}
	}
	return false
}

// point is a value as its file has it: four decimals.
func point(n result.Num, broken bool) draw.Point {
	return draw.Point{Value: json.Number(n.Fixed(4)), Broken: n.OK && broken}
}

// within gives a point its range, where both ends are known.
func within(p draw.Point, lo, hi result.Num) draw.Point {
	if p.Value != "" && lo.OK && hi.OK {
		p.Lo, p.Hi = json.Number(lo.Fixed(4)), json.Number(hi.Fixed(4))
	}
	return p
}

// axisLabel names some months of an axis of n: the years, and July where there
// is room; the first month where no year stands near it.
func (t tongue) axisLabel(m result.Month, i, n int) string {
	switch {
	case m.Number() == 1 && (n <= 96 || m.Year()%5 == 0):
		return fmt.Sprint(m.Year())
	case i == 0 && (n <= 4 || 13-m.Number() > n/8):
		return t.shortMonth(m)
	case n <= 36 && m.Number() == 7 && i > n/6, n <= 12 && i%3 == 0 && i > 0 && m.Number() != 2 && m.Number() != 12:
		return t.shortName(m)
	}
	return ""
}

// cautions say what the page is not.
func (v *view) cautions() layout.Part {
	p := layout.Part{ID: "cautions", Headline: v.T("What this page does not say")}
	p.Text = []string{
		v.T("It does not say who may have an allowance, or how much. The rules of your place and the office that pays decide that: ask them."),
		v.T("It is not advice on what to eat. The basket is a yardstick, the same every month, so that only prices move it: days it covers are days of this basket, not of every meal a household needs."),
	}
	if at := v.speaks(); at >= 0 {
		r := v.reach[at]
		if why := v.thin(r.Base, v.basketOf(r.Month).ObservedShare); why != "" {
			p.Text = append(p.Text, v.thinData(r.Month, why))
		}
	}
	if v.e.Invented && v.e.Caution != "" { // on real data it stands at the top
		p.Text = append(p.Text, clean(v.e.Caution))
	}
	p.Warnings, p.Foot = v.warnings()
	return p
}

func (t tongue) thinData(m result.Month, why string) string {
	return t.T("The data of %s are thin: %s. A single price can move the result.", t.month(m), why)
}

// warnings are those that are not about another region, and how many are.
func (v *view) warnings() (notes []layout.Note, foot []string) {
	other := map[string]bool{}
	for _, r := range v.e.Regions {
		other[r.Region] = r.Region != v.c.Region
	}
	elsewhere := 0
next:
	for _, w := range v.e.Warnings {
		if v.mealOf(w) != "" || w.Code == "quarantined" {
			continue // it stands on the meal's sheet, or with every row set aside on Grounds
		}
		for _, k := range strings.Split(w.Key, "/") {
			if other[k] {
				elsewhere++
				continue next
			}
		}
		notes = append(notes, v.warning(w))
	}
	if elsewhere > 0 {
		foot = []string{v.T("Notes about other regions: %d. They stand on those regions’ pages.", elsewhere)}
	}
	return notes, foot
}
