package compute

import (
	"fmt"
	"math"
	"sort"
	"time"

	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// amount is one allowance row, from a table or an open file.
type amount struct {
	programme, kind, region string
	persons                 int
	from, to                time.Time // to is zero while it holds
	lcu                     float64
	per                     string
	paidOnDay               int
	source, file            string
	line                    int
}

// allowances is the step function of amounts: never interpolated.
type allowances struct {
	rows   []amount
	parent map[string]string
}

// programmes lists each programme with the kinds of amount it has, in order.
func (a *allowances) programmes() (list [][2]string) {
	seen := map[[2]string]bool{}
	for _, r := range a.rows {
		if k := [2]string{r.programme, r.kind}; !seen[k] {
			seen[k] = true
			list = append(list, k)
		}
	}
	sort.Slice(list, func(i, j int) bool { return list[i][0]+"\x00"+list[i][1] < list[j][0]+"\x00"+list[j][1] })
	return list
}

// inForce is the amount for a number of persons on the pay day of a month: the
// region's own row, else its nearest ancestor's.
func (a *allowances) inForce(programme, kind, region string, persons int, m result.Month) *amount {
	for r := region; r != ""; r = a.parent[r] {
		var best *amount
		for i := range a.rows {
			x := &a.rows[i]
			if x.programme != programme || x.kind != kind || x.region != r || x.persons != persons {
				continue
			}
			if !x.from.After(m.Day(x.paidOnDay)) && (best == nil || x.from.After(best.from)) {
				best = x
			}
		}
		// One that ended is not followed by an older one of its region, but by the ancestor's.
		if best != nil && (best.to.IsZero() || !best.to.Before(m.Day(best.paidOnDay))) {
			return best
		}
	}
	return nil
}

// check refuses two amounts of one key in force on one day: the file with the
// later effective_from replaces the earlier, but two of one day contradict.
func (a *allowances) check() error {
	type key struct {
		programme, kind, region string
		persons                 int
		from                    time.Time
	}
	seen := map[key]amount{}
	for _, r := range a.rows {
		k := key{r.programme, r.kind, r.region, r.persons, r.from}
		if s, dup := seen[k]; dup && (s.lcu != r.lcu || s.per != r.per || s.paidOnDay != r.paidOnDay || !s.to.Equal(r.to)) {
			return &workspace.InputError{Code: "two_amounts", File: r.file, Line: r.line, Field: "amount_lcu",
				Read: fmt.Sprintf("%v, but %s:%d says %v, or another period, pay day or end, for the same programme, region, persons and day", r.lcu, s.file, s.line, s.lcu), Instead: "keep one of the two"}
		}
		seen[k] = r
	}
	return nil
}

// inMonth is what the amount comes to in a month: an amount a week, or of two
// or four, is spread over the month's days.
func (x *amount) inMonth(m result.Month) float64 {
	if days := periodDays[x.per]; days > 0 {
		return x.lcu * float64(m.Days()) / days
	}
	return x.lcu
}

var periodDays = map[string]float64{"week": 7, "2 weeks": 14, "4 weeks": 28}

// fedSlack forgives the last bit of a division that comes out whole.
const fedSlack = 1e-9

// reach is how far an allowance goes at a cost of perDay: the row's columns
// that follow from the two. base is the reach in days of the base month.
//
//	reach_days = allowance / per_day        adequacy = reach_days / days in the month
//	fed_days   = the greatest whole n with n x per_day <= allowance x (1 + 1e-9),
//	             at most the days from pay day to pay day
//	shortfall  = max(0, per_day x days in the month - allowance)
//
// What can not be known is missing: without an amount or a cost there is no reach.
func reach(r *result.Reach, x *amount, perDay, deflator, base result.Num, persons, mealsPerDay int) {
	m := r.Month
	days := float64(m.Days())
	r.DaysInMonth = result.Count(m.Days())
	r.PerDay = perDay
	r.CatchUp = result.Some(base.Or() * perDay.Or())
	if x == nil {
		return
	}
	allowance := x.inMonth(m)
	meals := days * float64(persons*mealsPerDay)
	r.Allowance, r.AllowanceFrom = result.Some(allowance), x.region
	r.AllowancePerDay, r.AllowancePerMeal = result.Some(allowance/days), result.Some(allowance/meals)
	r.AllowanceReal = result.Some(allowance * deflator.Or())
	if !perDay.OK {
		return
	}
	cost := perDay.V
	r.Days = result.Some(allowance / cost)
	r.Adequacy = result.Some(r.Days.V / days)
	balance := allowance - cost*days
	if math.Abs(balance) <= allowance*fedSlack {
		balance = 0
	}
	r.Balance, r.Shortfall = result.Some(balance), result.Some(math.Max(0, -balance))
	r.ShortfallPerMeal = result.Some(r.Shortfall.V / meals)

	pay, next := m.Day(x.paidOnDay), (m + 1).Day(x.paidOnDay)
	span := int(next.Sub(pay).Hours()/24 + 0.5)
	fed := int(math.Min(math.Floor(allowance*(1+fedSlack)/cost), float64(span)))
	for fed < span && float64(fed+1)*cost <= allowance*(1+fedSlack) {
		fed++
	}
	for fed > 0 && float64(fed)*cost > allowance*(1+fedSlack) {
		fed--
	}
	r.FedDays = result.Count(fed)
	if fed < span {
		r.RunOutOn = pay.AddDate(0, 0, fed).Format("2006-01-02")
	}
}
