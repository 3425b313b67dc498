package compute

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"farthing/pipeline/quantity"
	"farthing/pipeline/result"
	"farthing/pipeline/store"
	"farthing/pipeline/workspace"
	"farthing/queries"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
)

// observed is what the database says of all observations.
type observed struct {
	observations
	regular                       *observations // of regular prices alone; nil where no others count
	first, last                   result.Month
	firstOn, asOf                 string
	words                         []string // by number
	ranked                        []string // in alphabetical order
	outletName, outletType        map[string]string
	indices                       []indexValue
	amounts                       []amount
	setAside                      []result.SetAside
	asideRows                     []result.SetAsideRow
	sources                       []result.Source
	overruled                     map[[2]string]int // averages of the second source that stand behind the first's
	accepted, quarantined, mended int
	duplicate, heldRows           int
}

func exp(ln float64) float64 { return math.Exp(ln) }

// fixed is a log from the database's fixed point; fixedPoint is its whole number.
func fixed(n int64) float64         { return float64(n) / 1e12 }
func fixedPoint(ln float64) float64 { return math.Round(ln * 1e12) }

// correct resolves the corrections to rows. One that names no observation, or
// whose expectation no longer holds, is stale: the source was repaired or the
// row is another, and a person must look.
func correct(ctx context.Context, st *store.Store, list []workspace.Correction) error {
	if err := st.Exec(ctx, "DELETE FROM edit_correction"); err != nil {
		return err
	}
	var rows [][]any
	for _, c := range list {
		bad := func(field, read, instead string) error {
			return fmt.Errorf("%w: %w", ErrFault, &workspace.InputError{Code: "correction_stale", File: c.File, Line: c.Line, Field: field, Read: read, Instead: instead})
		}
		id, err := strconv.ParseUint(c.ObservationID, 16, 64)
		if err != nil || len(c.ObservationID) != 12 {
			return bad("observation_id", fmt.Sprintf("%q", c.ObservationID), "the 12 hex digits of observations.csv")
		}
		if c.Column != "price" {
			return bad("column", fmt.Sprintf("%q", c.Column), "price is the one column that corrections change")
		}
		var found [][]any
		var price *int64
		if err := st.Query(ctx, func(scan func(...any) error) error {
			var file, line int32
			if err := scan(&file, &line, &price); err != nil {
				return err
			}
			found = append(found, []any{file, line, c.Action, nil})
			return nil
		}, "SELECT file_id, line, micro_price FROM obs_price WHERE observation_id = ? ORDER BY key_hash", id); err != nil {
			return err
		}
		if len(found) == 0 {
			return bad("observation_id", c.ObservationID+" names no observation", "the row was mended or left out at its source: remove the correction, or correct its observation_id")
		}
		if c.From != "" || c.Action == "set" {
			if from, err := microPrice(c.From); err != nil || price == nil || *price != from {
				now := "no price"
				if price != nil {
					now = strconv.FormatFloat(float64(*price)/1e6, 'f', -1, 64)
				}
				return bad("from", fmt.Sprintf("%q, but the observation says %s", c.From, now), "the source was repaired: remove the correction, or correct from")
			}
		}
		if c.Action == "set" {
			to, err := microPrice(c.To)
			if err != nil {
				return bad("to", fmt.Sprintf("%q", c.To), "a price above 0 such as 1.80")
			}
			for _, row := range found { // rows that differ in their label or weight alone share an id
				row[3] = to
			}
		}
		rows = append(rows, found...)
	}
	return st.Append(ctx, "edit_correction", rows)
}

func microPrice(s string) (int64, error) {
	r, err := quantity.ParseDecimal(s, false)
	if err != nil {
		return 0, err
	}
	micro, ok := quantity.Micro(r)
	if !ok {
		return 0, fmt.Errorf("not a price: %s", s)
	}
	return micro, nil
}

// observe runs the reduction and reads its rows.
func observe(ctx context.Context, st *store.Store, s workspace.Settings, t *workspace.Tables) (*observed, error) {
	regular, err := regularOnly(ctx, st, s, t)
	if err != nil {
		return nil, err
	}
	o, err := reduce(ctx, st, s, t, s.Prices.PriceTypes)
	if err != nil {
		return nil, err
	}
	o.regular = regular
	if err := o.count(ctx, st); err != nil {
		return nil, err
	}
	if o.first, o.last, err = span(s, o); err != nil {
		return nil, err
	}
	if o.outletName, o.outletType, err = outletNames(ctx, st, t); err != nil {
		return nil, err
	}
	if o.indices, err = indexValues(ctx, st, t); err != nil {
		return nil, err
	}
	if o.amounts, err = amounts(ctx, st, t); err != nil {
		return nil, err
	}
	if o.setAside, o.asideRows, err = SetAside(ctx, st); err != nil {
		return nil, err
	}
	for _, a := range o.setAside {
		o.mended += a.Mended.V
	}
	o.sources, err = sources(ctx, st, s)
	return o, err
}

// regularOnly is the reduction of regular prices alone, for the sensitivity of
// reach; nil where no other price counts.
func regularOnly(ctx context.Context, st *store.Store, s workspace.Settings, t *workspace.Tables) (*observations, error) {
	others := slices.DeleteFunc(slices.Clone(s.Prices.PriceTypes), func(x string) bool { return x == "regular" })
	if len(others) == len(s.Prices.PriceTypes) || len(t.Baskets) == 0 {
		return nil, nil
	}
	some := false
	if err := st.Query(ctx, func(scan func(...any) error) error { return scan(&some) },
		`SELECT count(*) > 0 FROM obs_price p JOIN word t ON t.word_id = p.price_type WHERE list_contains(string_split(?, ','), t.word)`, strings.Join(others, ",")); err != nil || !some {
		return nil, err
	}
	o, err := reduce(ctx, st, s, t, []string{"regular"})
	if err != nil {
		return nil, err
	}
	return &o.observations, nil
}

// reduce reduces the prices of some types to cells.
func reduce(ctx context.Context, st *store.Store, s workspace.Settings, t *workspace.Tables, priceTypes []string) (*observed, error) {
	grade, err := wordID(ctx, st, s.Prices.DefaultGrade)
	if err != nil {
		return nil, err
	}
	byGrade := store.Args{"default_grade": grade}
	var other []string
	for _, x := range t.Outlets {
		if !s.Prices.Counts(x.Type) {
			other = append(other, x.Outlet)
		}
	}
	counts := store.Args{"default_grade": grade, "price_types": strings.Join(priceTypes, ","), "other_outlets": strings.Join(other, "\x1f")}
	for _, step := range []struct {
		queries.Query
		store.Args
	}{
		{queries.PanelPack, counts},
		{queries.PanelPrice, nil}, {queries.PanelChange, nil},
		{queries.PanelAverage, byGrade}, {queries.PanelAbsent, byGrade}, {queries.PanelHeld, counts},
	} {
		if err := st.Make(ctx, step.Query, step.Args); err != nil {
			return nil, err
		}
	}
	words, err := allWords(ctx, st)
	if err != nil {
		return nil, err
	}
	gradeName := func(id int32) string {
		if id == 0 {
			return s.Prices.DefaultGrade
		}
		return words[id]
	}
	o := &observed{words: words, observations: observations{map[place]raw{}, map[place]raw{}, map[place]string{}, map[place]*heldNotes{}, map[place][]outletPrice{}, map[place][]packPrice{}}}
	at := func(rec arrow.Record) func(i int) place {
		region, item, grade, month := int32s(rec, 0), int32s(rec, 1), int32s(rec, 2), int32s(rec, 3)
		return func(i int) place {
			return place{words[region[i]], good{words[item[i]], gradeName(grade[i])}, result.Month(month[i])}
		}
	}
	days := map[arrow.Date32]string{}
	dayText := func(d arrow.Date32) string {
		s, ok := days[d]
		if !ok {
			s = d.ToTime().Format("2006-01-02")
			days[d] = s
		}
		return s
	}
	if err := st.Table(ctx, queries.PanelPrice, func(rec arrow.Record) error {
		key, ln, notes, outlets := at(rec), int64s(rec, 4), int32s(rec, 5), int32s(rec, 6)
		oldest, newest := rec.Column(7).(*array.Date32).Date32Values(), rec.Column(8).(*array.Date32).Date32Values()
		for i := range ln {
			o.quotes[key(i)] = raw{ln: fixed(ln[i]), change: math.NaN(), n: int(notes[i]), outlets: int(outlets[i]), oldest: dayText(oldest[i]), newest: dayText(newest[i])}
		}
		return nil
	}); err != nil {
		return nil, err
	}
	if err := st.Table(ctx, queries.PanelChange, func(rec arrow.Record) error {
		key, back, ln, n := at(rec), int32s(rec, 4), int64s(rec, 5), int32s(rec, 6)
		for i := range ln {
			x := o.quotes[key(i)] // a change always has a price of its month
			x.link(link{int(back[i]), float64(n[i]), float64(ln[i])}, int(n[i]))
			o.quotes[key(i)] = x
		}
		return nil
	}); err != nil {
		return nil, err
	}
	var region, item, gradeID, month int32
	here := func() place {
		return place{words[region], good{words[item], gradeName(gradeID)}, result.Month(month)}
	}
	if err := readAverages(ctx, st, s, o, &region, &item, &gradeID, &month, here); err != nil {
		return nil, err
	}
	var word string
	if err := st.Query(ctx, func(scan func(...any) error) error {
		err := scan(&region, &item, &gradeID, &month, &word)
		if word == "not_sold" || word == "out_of_stock" {
			o.absent[here()] = word
		}
		return err
	}, "SELECT region, item, grade, month, price_type FROM panel_absent"); err != nil {
		return nil, err
	}
	if err := st.Query(ctx, func(scan func(...any) error) error {
		var n int32
		var low, high float64
		err := scan(&region, &item, &gradeID, &month, &n, &low, &high)
		o.held[here()] = &heldNotes{int(n), low, high}
		return err
	}, "SELECT region, item, grade, month, n_held, low, high FROM panel_held"); err != nil {
		return nil, err
	}
	return o, o.readPacks(ctx, st, t, words, gradeName)
}

// readAverages reads the published averages; of several sources the first in
// the order of the settings stands.
func readAverages(ctx context.Context, st *store.Store, s workspace.Settings, o *observed, region, item, grade, month *int32, at func() place) error {
	rank := func(source string) int { // as declared; price notes come after all
		if i := slices.IndexFunc(s.Sources, func(x workspace.Source) bool { return x.Name == source }); i >= 0 {
			return i
		}
		return len(s.Sources)
	}
	o.overruled = map[[2]string]int{}
	type from struct {
		rank   int
		source string
	}
	chosen := map[place]from{}
	if err := st.Query(ctx, func(scan func(...any) error) error {
		var source string
		var ln int64
		if err := scan(region, item, grade, month, &source, &ln); err != nil {
			return err
		}
		f := from{rank(source), source}
		if old, ok := chosen[at()]; ok {
			if old.rank <= f.rank {
				o.overruled[[2]string{old.source, source}]++
				return nil
			}
			o.overruled[[2]string{source, old.source}]++
		}
		chosen[at()] = f
		o.averages[at()] = raw{ln: fixed(ln), change: math.NaN()}
		return nil
	}, "SELECT region, item, grade, month, source, ln_price FROM panel_average ORDER BY source"); err != nil {
		return err
	}
	// A source's averages of a good in a region are one series: each goes on from its last.
	type series struct {
		region string
		good
		source string
	}
	last := map[series]place{}
	for _, k := range slices.SortedFunc(maps.Keys(o.averages), func(a, b place) int { return cmp.Compare(a.month, b.month) }) {
		at, x := series{k.region, k.good, chosen[k].source}, o.averages[k]
		if b, ok := last[at]; ok {
			x.link(link{int(k.month - b.month), 1, fixedPoint(x.ln) - fixedPoint(o.averages[b].ln)}, 1)
			o.averages[k] = x
		}
		last[at] = k
	}
	return nil
}

// readPacks reads the packs behind the goods of baskets, and the outlets' means over them.
func (o *observed) readPacks(ctx context.Context, st *store.Store, t *workspace.Tables, words []string, gradeName func(int32) string) error {
	inBasket := map[string]bool{}
	for _, b := range t.Baskets {
		inBasket[b.Item] = true
	}
	var rows [][]any
	for id, w := range words {
		if inBasket[w] {
			rows = append(rows, []any{int32(id)})
		}
	}
	if err := st.Exec(ctx, "DELETE FROM basket_item"); err != nil {
		return err
	}
	if err := st.Append(ctx, "basket_item", rows); err != nil {
		return err
	}
	rank := o.alphabet(words)
	err := st.Records(ctx, queries.BasketPack, func(rec arrow.Record) error {
		region, item, grade, outlet, variety, pack, month := int32s(rec, 0), int32s(rec, 1), int32s(rec, 2), int32s(rec, 3), int32s(rec, 4), int32s(rec, 5), int32s(rec, 6)
		size, ln := rec.Column(7).(*array.Float64).Float64Values(), int64s(rec, 8)
		for i := range region {
			k := place{words[region[i]], good{words[item[i]], gradeName(grade[i])}, result.Month(month[i])}
			o.packs[k] = append(o.packs[k], packPrice{rank[outlet[i]], rank[variety[i]], rank[pack[i]], size[i], fixed(ln[i])})
		}
		return nil
	})
	for k, packs := range o.packs {
		slices.SortFunc(packs, func(a, b packPrice) int {
			return cmp.Or(cmp.Compare(a.outlet, b.outlet), cmp.Compare(a.variety, b.variety), cmp.Compare(a.pack, b.pack))
		})
		for i := 0; i < len(packs); {
			var m mean
			first := packs[i].outlet
			for ; i < len(packs) && packs[i].outlet == first; i++ {
				m.add(packs[i].ln)
			}
			o.atOutlet[k] = append(o.atOutlet[k], outletPrice{first, m.value()})
		}
	}
	return err
}

// alphabet ranks the words: what is added up in the order of ranks does not
// depend on which file first held a word.
func (o *observed) alphabet(words []string) (rank []int32) {
	o.ranked = slices.Sorted(slices.Values(words))
	place := make(map[string]int32, len(words))
	for i, w := range o.ranked {
		place[w] = int32(i)
	}
	for _, w := range words {
		rank = append(rank, place[w])
	}
	return rank
}

func int64s(rec arrow.Record, i int) []int64 { return rec.Column(i).(*array.Int64).Int64Values() }
func int32s(rec arrow.Record, i int) []int32 { return rec.Column(i).(*array.Int32).Int32Values() }

// count reads the days between which prices count, and how many rows there are.
func (o *observed) count(ctx context.Context, st *store.Store) error {
	var oldest, newest *string
	if err := st.Query(ctx, func(scan func(...any) error) error { return scan(&oldest, &newest, &o.accepted) },
		`WITH day AS (
			SELECT min(oldest_day) AS oldest, max(newest_day) AS newest FROM panel_pack
			UNION ALL
			SELECT make_date(min(month) // 12, min(month) % 12 + 1, 1), last_day(make_date(max(month) // 12, max(month) % 12 + 1, 1)) FROM panel_average
		)
		SELECT strftime(min(oldest), '%Y-%m-%d'), strftime(max(newest), '%Y-%m-%d'), (SELECT CAST(count(*) AS BIGINT) FROM obs_price) FROM day`); err != nil {
		return err
	}
	if oldest == nil {
		return &workspace.InputError{Code: "no_prices", Read: "no price counts yet", Instead: "import price notes, or drop them in the inbox; farthing quarantine lists what was set aside or held"}
	}
	o.firstOn, o.asOf = *oldest, *newest
	// As of the newest note that stands, whether it counts or not.
	if err := st.Query(ctx, func(scan func(...any) error) error {
		var last *string
		err := scan(&last)
		if last != nil {
			o.asOf = max(o.asOf, *last)
		}
		return err
	}, `SELECT strftime(max(p.day), '%Y-%m-%d') FROM obs_price p LEFT JOIN edit_correction c ON c.file_id = p.file_id AND c.line = p.line
		WHERE NOT p.is_average AND coalesce(c.action, '') <> 'exclude'`); err != nil {
		return err
	}
	var err error
	if o.first, err = result.ParseMonth(o.firstOn[:7]); err != nil {
		return err
	}
	if o.last, err = result.ParseMonth((*newest)[:7]); err != nil {
		return err
	}
	return st.Query(ctx, func(scan func(...any) error) error { return scan(&o.quarantined, &o.duplicate, &o.heldRows) },
		`SELECT (SELECT CAST(count(*) AS BIGINT) FROM set_aside_row), (SELECT CAST(count(*) AS BIGINT) FROM obs_duplicate),
		(SELECT CAST(count(*) AS BIGINT) FROM edit_hold h LEFT JOIN edit_correction c ON c.file_id = h.file_id AND c.line = h.line WHERE c.action IS NULL)`)
}

// wordID is the number of a text, 0 where the database does not hold it.
func wordID(ctx context.Context, st *store.Store, s string) (id int32, err error) {
	err = st.Query(ctx, func(scan func(...any) error) error { return scan(&id) }, "SELECT word_id FROM word WHERE word = ?", s)
	return id, err
}

func allWords(ctx context.Context, st *store.Store) (words []string, err error) {
	err = st.Query(ctx, func(scan func(...any) error) error {
		var s string
		if err := scan(&s); err != nil {
			return err
		}
		words = append(words, s)
		return nil
	}, "SELECT word FROM word ORDER BY word_id")
	return words, err
}

// indexValues are all values of price indices, typed and imported.
func indexValues(ctx context.Context, st *store.Store, t *workspace.Tables) ([]indexValue, error) {
	var list []indexValue
	for _, d := range t.Deflators {
		list = append(list, indexValue{d.Series, d.Region, d.Month, float(d.Value), d.BasePeriod, d.Adjustment, d.File, d.Line})
	}
	err := st.Query(ctx, func(scan func(...any) error) error {
		var v indexValue
		var month int32
		if err := scan(&v.series, &v.region, &month, &v.value, &v.basePeriod, &v.adjustment, &v.file, &v.line); err != nil {
			return err
		}
		v.month = result.Month(month)
		list = append(list, v)
		return nil
	}, `SELECT x.series, x.region, x.month, x.index_value, x.base_period, x.adjustment, 'archive/' || f.sha256 || '/' || f.name, CAST(x.line AS BIGINT)
		FROM obs_index x JOIN file f ON f.file_id = x.file_id ORDER BY f.sha256, x.line`)
	return list, err
}

// amounts are all allowance rows, typed and imported.
func amounts(ctx context.Context, st *store.Store, t *workspace.Tables) (rows []amount, err error) {
	for _, x := range t.Allowances {
		r := amount{x.Programme, x.AmountKind, x.Region, x.Persons, x.EffectiveFrom, x.EffectiveTo, float(x.Amount), x.Per, x.PaidOnDay, x.Source, x.File, x.Line}
		if r.kind == "" {
			r.kind = "maximum"
		}
		rows = append(rows, r)
	}
	err = st.Query(ctx, func(scan func(...any) error) error {
		var r amount
		var to *time.Time
		var text string
		if err := scan(&r.programme, &r.kind, &r.region, &r.persons, &r.from, &to, &text, &r.source, &r.file, &r.line); err != nil {
			return err
		}
		if to != nil {
			r.to = *to
		}
		lcu, err := quantity.ParseDecimal(text, false)
		if err != nil {
			return err
		}
		r.lcu = float(lcu)
		rows = append(rows, r)
		return nil
	}, `SELECT x.programme, x.amount_kind, x.region, CAST(x.persons AS BIGINT), x.effective_from, x.effective_to, x.amount, x.source,
		'archive/' || f.sha256 || '/' || f.name, CAST(x.line AS BIGINT) FROM obs_allowance x JOIN file f ON f.file_id = x.file_id ORDER BY f.sha256, x.line`)
	for i := range rows {
		if rows[i].paidOnDay == 0 {
			rows[i].paidOnDay = 1
		}
		if rows[i].per == "" {
			rows[i].per = "month"
		}
	}
	return rows, err
}

// sources lists the files behind the results, with the licence of their profile.
func sources(ctx context.Context, st *store.Store, s workspace.Settings) ([]result.Source, error) {
	var list []result.Source
	var read, aside, owned, repeated, held int
	err := st.Query(ctx, func(scan func(...any) error) error {
		var f result.Source
		if err := scan(&f.SHA256, &f.Name, &f.Source, &f.Gives, &read, &aside, &owned, &repeated, &held); err != nil {
			return err
		}
		for _, p := range s.Sources {
			if p.Name == f.Source {
				f.Licence, f.Producer = p.Licence, p.Producer
			}
		}
		f.Read, f.Quarantined, f.Duplicate, f.Held = result.Count(read), result.Count(aside), result.Count(repeated), result.Count(held)
		f.Accepted = result.Count(read - aside - repeated)
		list = append(list, f)
		return nil
	}, queries.FileCount.Text)
	return list, err
}

// SetAside lists why rows are set aside, by file and reason, and the rows.
func SetAside(ctx context.Context, st *store.Store) (reasons []result.SetAside, rows []result.SetAsideRow, err error) {
	if err := st.Make(ctx, queries.SetAsideList, nil); err != nil {
		return nil, nil, err
	}
	if err := st.Query(ctx, func(scan func(...any) error) error {
		a := result.SetAsideRow{Line: result.Count(0), Nth: result.Count(0)}
		var mended bool
		err := scan(&a.SHA256, &a.Name, &a.Line.V, &a.Nth.V, &a.Code, &a.Field, &a.Text, &a.Cure, &a.Mends, &mended)
		a.Mended = pick(mended, "yes", "no")
		rows = append(rows, a)
		return err
	}, "SELECT sha256, name, line, nth, code, field, text, cure, mends, is_mended FROM set_aside_list ORDER BY sha256, line, nth"); err != nil {
		return nil, nil, err
	}
	err = st.Query(ctx, func(scan func(...any) error) error {
		a := result.SetAside{Rows: result.Count(0), Mended: result.Count(0), FirstLine: result.Count(0)}
		err := scan(&a.SHA256, &a.Name, &a.Code, &a.Field, &a.Cure, &a.Rows.V, &a.Mended.V, &a.FirstLine.V, &a.Text)
		reasons = append(reasons, a)
		return err
	}, queries.SetAsideReason.Text)
	return reasons, rows, err
}
