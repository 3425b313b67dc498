// Package compute turns accepted observations into results: corrections, the
// panel of elementary prices with its gaps filled by rule, basket costs, and
// how far each allowance reaches.
//
// Order of work: observe.go (the database's reduction of the observations) ->
// panel.go -> basket.go, deflate.go, reach.go -> an edition. SQL joins, counts
// and reduces; from the panel on, formulas stand here beside their source. It
// draws nothing.
package compute

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strconv"
	"strings"

	"farthing/pipeline/kitchen"
	"farthing/pipeline/result"
	"farthing/pipeline/store"
	"farthing/pipeline/workspace"
	"farthing/queries"
)

// ErrFault says that a check failed or a correction is stale: nothing is published.
var ErrFault = errors.New("a check failed; nothing was published")

// Fault is a check that failed, with the number of rows that offend.
type Fault struct {
	Fault string `json:"fault"`
	Rows  int    `json:"rows"`
}

// Run computes all results in the caller's transaction and writes them, exact,
// into dir as the files of an edition.
func Run(ctx context.Context, st *store.Store, w *workspace.Workspace, t *workspace.Tables, dir string) (*result.Edition, []Fault, error) {
	foods, err := kitchen.ReadFoods(w)
	if err != nil {
		return nil, nil, err
	}
	t, said, err := kitchen.PlanBaskets(w.Settings, t, foods)
	if err != nil {
		return nil, nil, err
	}
	if err := correct(ctx, st, t.Corrections); err != nil {
		return nil, []Fault{{"correction_stale", 1}}, err
	}
	faults, err := check(ctx, st)
	if err != nil || len(faults) > 0 {
		return nil, faults, err
	}
	o, err := observe(ctx, st, w.Settings, t)
	if err != nil {
		return nil, nil, err
	}
	// From here on nothing but the export needs the database: it goes on beside the arithmetic.
	var counted int
	var sum string
	exported := make(chan error, 1)
	go func() (err error) {
		defer func() {
			if p := recover(); p != nil {
				err = fmt.Errorf("observations: %v", p)
			}
			exported <- err
		}()
		counted, sum, err = writeObservations(ctx, st, w, t, o, filepath.Join(dir, result.Observations))
		return err
	}()
	e, err := compute(w.Settings, t, o)
	if err := errors.Join(err, <-exported, copyTables(w, dir)); err != nil {
		return nil, nil, err
	}
	kitchen, err := kitchen.New(dir, w.Settings, t, foods, e)
	if err == nil {
		err = kitchen.Publish(e)
	}
	if err != nil {
		return nil, nil, err
	}
	e.Warnings = append(e.Warnings, said...)
	sortWarnings(e.Warnings)
	e.Counted, e.Sums = counted, map[string]string{result.Observations: sum}
	return e, nil, e.Write(dir)
}

func sortWarnings(list []result.Warning) {
	sort.Slice(list, func(i, j int) bool {
		a, b := list[i], list[j]
		return a.Code+"\x00"+a.Key+"\x00"+a.Text < b.Code+"\x00"+b.Key+"\x00"+b.Text
	})
}

// check runs the checks; each fault is an error that quotes the first rows.
func check(ctx context.Context, st *store.Store) (faults []Fault, err error) {
	var errs []error
	for _, q := range queries.Faults {
		n, sample, err := st.Offenders(ctx, q)
		if err != nil {
			return nil, err
		}
		if n > 0 {
			faults = append(faults, Fault{q.Name, n})
			errs = append(errs, fmt.Errorf("%w: %s: %d rows, first %s", ErrFault, q.Name, n, sample))
		}
	}
	return faults, errors.Join(errs...)
}

// copyTables keeps the settings and tables that the edition was made from.
func copyTables(w *workspace.Workspace, dir string) error {
	for _, name := range w.EditionFiles() {
		b, err := w.Kept(name)
		if err != nil {
			return err
		}
		to := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
			return err
		}
		if err := os.WriteFile(to, b, 0o644); err != nil {
			return err
		}
	}
	return nil
}

// compute makes the edition's rows from the reduced observations, without the database.
func compute(s workspace.Settings, t *workspace.Tables, o *observed) (*result.Edition, error) {
	e := &result.Edition{Meta: result.Meta{Schema: "farthing.edition/1", Name: s.Name, Invented: s.Invented, Caution: s.Caution,
		AsOf: o.asOf, FirstOn: o.firstOn, Deflator: s.Deflator, Accepted: o.accepted, Quarantined: o.quarantined, Mended: o.mended, Duplicate: o.duplicate, Held: o.heldRows}}
	seen := map[result.Warning]bool{}
	warn := func(code, text, cure, key string) {
		if w := (result.Warning{Code: code, Text: text, Cure: cure, Key: key}); !seen[w] {
			seen[w] = true
			e.Warnings = append(e.Warnings, w)
		}
	}
	for _, off := range t.Off {
		warn("off", "switched off: "+off.Feature, "fill tables/"+off.Table, off.Table)
	}
	first, last, base := o.first, o.last, o.first
	if s.BaseMonth != "" {
		var err error
		if base, err = result.ParseMonth(s.BaseMonth); err != nil {
			return nil, err
		}
	}
	e.BaseMonth = base.String()
	if base < first || base > last {
		warn("base_month", "the base month "+base.String()+" is outside the months with prices", "choose another base_month in farthing.toml", "")
	}
	p := newPanel(t, s, &o.observations, first, last, base, o.asOf, warn)
	list, err := baskets(t, s, p.items, warn)
	if err != nil {
		return nil, err
	}
	if err := publishable(s, t, o.amounts); err != nil {
		return nil, err
	}
	d, err := newDeflator(s.Deflator, o.indices, p.parent)
	if err != nil {
		return nil, err
	}
	e.Deflators = d.rows(o.indices)
	if s.Deflator != "" && len(d.values) == 0 {
		warn("no_deflator", fmt.Sprintf("no values of the deflator %q: real values are blank", s.Deflator), "fill tables/deflators, or import the index", "")
	}
	a := &allowances{o.amounts, p.parent}
	if err := a.check(); err != nil {
		return nil, err
	}
	regions := sortedRegions(t.Regions)
	p.itemRows(e, regions)
	costs, weights := p.basketRows(e, regions, t.Households, list, d, base)
	p.regionRows(e, regions, list, costs, func(outlet int32) string { return o.outletType[o.ranked[outlet]] }, weights)
	reachRows(e, regions, t.Households, list, a, d, base, first, last, costs)
	allowanceRows(e, regions, a, first, last)
	names(e, t, regions)
	packRows(e, o, first, last)
	p.movedRows(e, regions, list, costs, base)
	e.Publish = combinations(e, s, regions, p)
	sensitivityRows(e, p, &variants{s, t, o, base}, list, costs)
	e.Options = options(s)
	for pair, n := range o.overruled {
		warn("two_sources", fmt.Sprintf("%d averages of source %s are not used: source %s gives the same item, region and month", n, pair[1], pair[0]),
			"the order of [[source]] in farthing.toml decides which stands", pair[0]+"/"+pair[1])
	}
	if o.heldRows > 0 {
		warn("held", fmt.Sprintf("%d observations are held as suspicious and do not count", o.heldRows), "look at each: farthing quarantine --held gives the lines for tables/corrections", "")
	}
	if n := o.quarantined - o.mended; n > 0 {
		warn("quarantined", fmt.Sprintf("%d rows could not be read and are set aside", n), "farthing quarantine lists them, and gives them as a sheet to mend and import", "")
	}
	e.SetAside, e.AsideRows, e.Sources = o.setAside, o.asideRows, o.sources
	return e, nil
}

// span is the months of the panel: those of the settings, else from the first
// observation to the last.
func span(s workspace.Settings, o *observed) (first, last result.Month, err error) {
	first, last = o.first, o.last
	if s.Panel.FromMonth != "" {
		if first, err = result.ParseMonth(s.Panel.FromMonth); err != nil {
			return 0, 0, err
		}
	}
	if s.Panel.ToMonth != "" {
		if last, err = result.ParseMonth(s.Panel.ToMonth); err != nil {
			return 0, 0, err
		}
	}
	if first > last {
		return 0, 0, &workspace.InputError{Code: "settings", File: workspace.SettingsFile, Field: "panel.from_month, panel.to_month",
			Read: first.String() + " to " + last.String(), Instead: "months from the earlier to the later"}
	}
	return first, last, nil
}

func sortedRegions(list []workspace.Region) []workspace.Region {
	list = append([]workspace.Region(nil), list...)
	sort.Slice(list, func(i, j int) bool { return list[i].Region < list[j].Region })
	return list
}

// itemRows publishes every good in every region that has a price of it in some
// month, a held one, or the note that there is none.
func (p *panel) itemRows(e *result.Edition, regions []workspace.Region) {
	for _, r := range regions {
		for _, g := range p.goods {
			row := p.cells[r.Region][g]
			some := false
			for i := range row {
				some = some || row[i].observed() || row[i].absent != "" || row[i].held != nil
			}
			if !some {
				continue
			}
			for i := range row {
				c := &row[i]
				x := result.Item{Region: r.Region, Item: g.item, Grade: g.grade, Month: p.first + result.Month(i),
					UnitPrice: result.Some(c.price), BaseUnit: p.items[g.item].BaseUnit, MatchedChange: percent(c.change),
					OldestOn: c.oldest, NewestOn: c.newest, FilledBy: c.filledBy,
					Base: result.Base{CurrencyCode: r.Currency, NObservations: c.n, NOutlets: c.outlets}}
				if c.nMatched > 0 {
					x.NMatched = result.Count(c.nMatched)
				}
				x.NHeld = result.Count(0)
				if c.held != nil {
					x.NHeld, x.HeldLo, x.HeldHi = result.Count(c.held.n), result.Some(c.held.lo), result.Some(c.held.hi)
				}
				if c.age >= 0 {
					x.MonthsSinceSeen = result.Count(c.age)
				}
				if c.observed() && c.outlets.OK {
					x.Lo, x.Hi, _ = p.shopRange([]line{{good: g, perDay: 1}}, r.Region, x.Month)
				}
				x.ObsStatus, x.ObsStatusAll = statuses(c.status)
				x.ImputedShare, x.MissingShare = result.Some(0), result.Some(0)
				switch {
				case !x.UnitPrice.OK:
					x.MissingShare = result.Some(1)
				case c.filledBy != "":
					x.ImputedShare = result.Some(1)
				default:
					x.MissingShare = result.Some(c.unweighed)
				}
				e.Items = append(e.Items, x)
			}
		}
	}
}

// costKey names a person's basket in a region and month.
type costKey struct {
	region, basket string
	month          result.Month
}

func (p *panel) basketRows(e *result.Edition, regions []workspace.Region, households []workspace.Household, list []basket, d *deflator, base result.Month) (map[costKey]costed, map[costKey][]float64) {
	costs, shares := map[costKey]costed{}, map[costKey][]float64{}
	for _, r := range regions {
		for _, b := range list {
			weights := p.weights(b, r.Region, base)
			shares[costKey{region: r.Region, basket: b.name}] = weights
			for m := p.first; m <= p.last; m++ {
				costs[costKey{r.Region, b.name, m}] = p.cost(b, r.Region, m, weights, r.Currency, &e.Lines)
			}
		}
	}
	sort.SliceStable(e.Lines, func(i, j int) bool { return lineOrder(e.Lines[i]) < lineOrder(e.Lines[j]) })
	for _, r := range regions {
		for _, h := range sortedHouseholds(households) {
			heads := float(h.Equivalents)
			for _, b := range list {
				for m := p.first; m <= p.last; m++ {
					c := costs[costKey{r.Region, b.name, m}]
					f, from := d.factor(r.Region, m, base)
					row := result.Basket{Region: r.Region, Household: h.Household, Basket: b.name, Month: m,
						PerDay: times(c.perDay, heads), KnownPart: times(c.knownPart, heads), Lo: times(c.lo, heads), Hi: times(c.hi, heads),
						BaseMonth: base.String(), Deflator: d.series, DeflatorRegion: from, ObservedShare: c.observed, Base: c.base}
					row.StandardMonth = times(row.PerDay, daysInMeanMonth)
					row.RealPerDay = result.Some(row.PerDay.Or() * f.Or())
					e.Baskets = append(e.Baskets, row)
				}
			}
		}
	}
	return costs, shares
}

func lineOrder(l result.BasketLine) string {
	return strings.Join([]string{l.Region, l.Basket, l.Item, l.Grade, l.Month.String()}, "\x00")
}

func sortedHouseholds(list []workspace.Household) []workspace.Household {
	list = append([]workspace.Household(nil), list...)
	for i := range list {
		if list[i].MealsPerDay == 0 {
			list[i].MealsPerDay = workspace.MealsPerDay
		}
	}
	sort.Slice(list, func(i, j int) bool { return list[i].Household < list[j].Household })
	return list
}

func times(n result.Num, f float64) result.Num { return result.Some(n.Or() * f) }

// percent is a log change in percent.
func percent(ln float64) result.Num { return result.Some((exp(ln) - 1) * 100) }

func reachRows(e *result.Edition, regions []workspace.Region, households []workspace.Household, list []basket, a *allowances, d *deflator, base, first, last result.Month, costs map[costKey]costed) {
	for _, pk := range a.programmes() {
		for _, r := range regions {
			for _, h := range sortedHouseholds(households) {
				heads := float(h.Equivalents)
				for _, b := range list {
					baseReach := result.Num{}
					if x := a.inForce(pk[0], pk[1], r.Region, h.Persons, base); x != nil {
						baseReach = result.Some(x.inMonth(base) / (costs[costKey{r.Region, b.name, base}].perDay.Or() * heads))
					}
					for m := first; m <= last; m++ {
						c := costs[costKey{r.Region, b.name, m}]
						f, _ := d.factor(r.Region, m, base)
						row := result.Reach{Programme: pk[0], AmountKind: pk[1], Region: r.Region, Household: h.Household, Basket: b.name, Month: m, Base: c.base}
						reach(&row, a.inForce(pk[0], pk[1], r.Region, h.Persons, m), times(c.perDay, heads), f, baseReach, h.Persons, h.MealsPerDay)
						row.LoDays = result.Some(row.Allowance.Or() / (c.hi.Or() * heads))
						row.HiDays = result.Some(row.Allowance.Or() / (c.lo.Or() * heads))
						e.Reach = append(e.Reach, row)
					}
				}
			}
		}
	}
}

// allowanceRows publishes each amount in force, with where it was read.
func allowanceRows(e *result.Edition, regions []workspace.Region, a *allowances, first, last result.Month) {
	persons := map[int]bool{}
	for _, r := range a.rows {
		persons[r.persons] = true
	}
	var sizes []int
	for n := range persons {
		sizes = append(sizes, n)
	}
	sort.Ints(sizes)
	for _, pk := range a.programmes() {
		for _, r := range regions {
			for _, n := range sizes {
				for m := first; m <= last; m++ {
					row := result.Allowance{Programme: pk[0], AmountKind: pk[1], Region: r.Region, Persons: result.Count(n), Month: m,
						Base: result.Base{CurrencyCode: r.Currency, ObsStatus: "O", ObsStatusAll: "O"}}
					if x := a.inForce(pk[0], pk[1], r.Region, n, m); x != nil {
						row.Amount, row.AmountAsPaid, row.Per = result.Some(x.inMonth(m)), result.Some(x.lcu), x.per
						row.AllowanceFrom, row.EffectiveFrom, row.PaidOnDay = x.region, x.from.Format("2006-01-02"), result.Count(x.paidOnDay)
						row.Source, row.File, row.Line = x.source, x.file, result.Count(x.line)
						row.ObsStatus, row.ObsStatusAll = "A", "A"
					}
					e.Allowances = append(e.Allowances, row)
				}
			}
		}
	}
}

func names(e *result.Edition, t *workspace.Tables, regions []workspace.Region) {
	for _, r := range regions {
		named := result.Region{Region: r.Region, Name: r.Name, Parent: r.Parent, Level: r.Level}
		if r.Weight != nil {
			named.Weight = result.Some(float(r.Weight))
		}
		e.Regions = append(e.Regions, named)
	}
	for _, h := range sortedHouseholds(t.Households) {
		e.Households = append(e.Households, result.Household{Household: h.Household, Name: h.Name, Persons: result.Count(h.Persons),
			Equivalents: result.Some(float(h.Equivalents)), MealsPerDay: result.Count(h.MealsPerDay)})
	}
	for _, it := range t.Items {
		e.ItemNames = append(e.ItemNames, result.ItemName{Item: it.Item, Name: it.Name, COICOP: it.COICOP, BaseUnit: it.BaseUnit})
	}
	sort.Slice(e.ItemNames, func(i, j int) bool { return e.ItemNames[i].Item < e.ItemNames[j].Item })
}

// publishable refuses a [[publish]] that names what no table has.
func publishable(s workspace.Settings, t *workspace.Tables, rows []amount) error {
	known := map[string][]string{}
	for _, r := range t.Regions {
		known["region"] = append(known["region"], r.Region)
	}
	for _, h := range t.Households {
		known["household"] = append(known["household"], h.Household)
	}
	for _, b := range t.Baskets {
		known["basket"] = append(known["basket"], b.Basket)
	}
	for _, a := range rows {
		known["programme"] = append(known["programme"], a.programme)
	}
	var errs []error
	for i, c := range s.Publish {
		for _, x := range []struct{ field, name string }{{"programme", c.Programme}, {"region", c.Region}, {"household", c.Household}, {"basket", c.Basket}} {
			if x.name == "" || slices.Contains(known[x.field], x.name) {
				continue
			}
			instead := "a name that stands in its table"
			if near := workspace.Nearest(x.name, known[x.field]); near != "" {
				instead = fmt.Sprintf("did you mean %q?", near)
			}
			errs = append(errs, &workspace.InputError{Code: "settings", File: workspace.SettingsFile, Line: s.PublishLine(i, x.field), Field: "publish." + x.field, Read: fmt.Sprintf("%q", x.name), Instead: instead})
		}
	}
	return errors.Join(errs...)
}

// combinations expands the settings' list, in its order; a blank field stands
// for every one, regions from the top down.
func combinations(e *result.Edition, s workspace.Settings, regions []workspace.Region, p *panel) []result.Combination {
	wanted := s.Publish
	if len(wanted) == 0 {
		wanted = []workspace.Combination{{}}
	}
	seen := map[result.Combination]bool{}
	var all []result.Combination
	for _, r := range e.Reach {
		if c := (result.Combination{Programme: r.Programme, AmountKind: r.AmountKind, Region: r.Region, Household: r.Household, Basket: r.Basket}); !seen[c] {
			seen[c] = true
			all = append(all, c)
		}
	}
	sort.SliceStable(all, func(i, j int) bool { return p.depth(all[i].Region) < p.depth(all[j].Region) })
	matches := func(want, have string) bool { return want == "" || want == have }
	taken := map[result.Combination]bool{}
	var list []result.Combination
	for _, w := range wanted {
		for _, c := range all {
			if !taken[c] && matches(w.Programme, c.Programme) && matches(w.Region, c.Region) && matches(w.Household, c.Household) && matches(w.Basket, c.Basket) {
				taken[c] = true
				list = append(list, c)
			}
		}
	}
	return list
}

// options are the choices that the figures depend on, as printed on the pages.
func options(s workspace.Settings) [][2]string {
	impute := "gaps filled by the imputation ladder, marked"
	if !s.Panel.Impute {
		impute = "gaps left as gaps"
	}
	grade := s.Prices.DefaultGrade
	if grade == "" {
		grade = "as noted, none named"
	}
	number := func(x float64) string { return strconv.FormatFloat(x, 'g', 6, 64) }
	edit := fmt.Sprintf("log-ratio: %s from the own series (%d or more), %s from the peers (%d or more)", number(s.Edit.OwnRatio), s.Edit.MinOwn, number(s.Edit.PeerRatio), s.Edit.MinPeer)
	if s.Edit.Rule != "log-ratio" {
		edit = fmt.Sprintf("%s: width %s, floor %s, size power %s, trim %s, from %d changes of a ratio above %s; else %s", s.Edit.Rule, number(s.Edit.RuleWidth()),
			number(s.Edit.Floor), number(s.Edit.SizePower), number(s.Edit.Trim), s.Edit.MinGroup, number(s.Edit.LeastRatio), edit)
	}
	kinds := "all"
	if len(s.Prices.OutletTypes) > 0 {
		kinds = strings.Join(s.Prices.OutletTypes, ", ")
	}
	stale := "by the ladder's own months"
	if s.Panel.StaleAfterDays > 0 {
		stale = fmt.Sprintf("after %d days", s.Panel.StaleAfterDays)
	}
	return [][2]string{
		{"price types that count", strings.Join(s.Prices.PriceTypes, ", ")},
		{"kinds of shops that count", kinds},
		{"grade where none is named", grade},
		{"base month", cmp.Or(s.BaseMonth, "the first month")},
		{"sample", s.Panel.Sample},
		{"order of sources", strings.Join(s.Panel.SourceOrder, ", then ")},
		{"edit rule", edit},
		{"fewest notes behind a price, else U", strconv.Itoa(s.Panel.MinNotes)},
		{"gaps", impute},
		{"too old to fill a gap", stale},
		{"least observed share", strconv.FormatFloat(s.Panel.MinObservedShare, 'f', -1, 64)},
		{"deflator", s.Deflator},
	}
}
