package intake

import (
	"cmp"
	"context"
	"math"
	"slices"
	"strings"

	"farthing/pipeline/index"
	"farthing/pipeline/store"
	"farthing/pipeline/workspace"
)

// A seriesKey is one variety of an item in one pack at one outlet.
type seriesKey struct{ outlet, item, variety, grade, pack int32 }

// quoteRow is a quote as the rules on price relatives see it.
type quoteRow struct {
	seriesKey
	file, line, day, month int32
	price                  float64 // of a base unit
}

// relatives judges quotes by a rule on price relatives, where the settings name
// one: each note's unit price over the series' price of the last month before with
// one (the mean of its logs, at most window_days back), among the relatives of the
// item and grade in that month. Months go by in order and what was held is no
// earlier price: a slip does not hold the right price after it. Notes without an
// earlier price, and groups of fewer than min_group, keep what log-ratio says; a
// change within least_ratio is never held, for where most prices stand still the
// limits of these rules close up.
func relatives(ctx context.Context, st *store.Store, e workspace.Edit) error {
	if e.Rule == "log-ratio" {
		return nil
	}
	type place struct{ file, line int32 }
	reasons := map[place]string{}
	var file, line int32
	var reason string
	if err := st.Query(ctx, func(scan func(...any) error) error {
		err := scan(&file, &line, &reason)
		reasons[place{file, line}] = reason
		return err
	}, "SELECT file_id, line, reason FROM edit_suspect"); err != nil {
		return err
	}
	var quotes []quoteRow
	if err := st.Query(ctx, func(scan func(...any) error) error {
		var q quoteRow
		err := scan(&q.file, &q.line, &q.day, &q.month, &q.outlet, &q.item, &q.variety, &q.grade, &q.pack, &q.price)
		quotes = append(quotes, q)
		return err
	}, `SELECT p.file_id, p.line, CAST(p.day - DATE '1970-01-01' AS INTEGER), p.month, p.outlet, p.item, p.variety, p.grade, a.pack, CAST(p.micro_price / 1e6 / a.quantity AS DOUBLE)
		FROM obs_price p JOIN amount a ON a.amount_id = p.amount
		WHERE p.micro_price > 0 AND NOT p.is_average AND NOT p.is_wholesale
		ORDER BY p.month, p.item, p.grade, p.outlet, p.variety, a.pack, p.day, p.micro_price, p.file_id, p.line`); err != nil {
		return err
	}
	type level struct {
		ln      float64 // mean
		lastDay int32
		n       int
	}
	before := map[seriesKey]level{}
	name := strings.ReplaceAll(e.Rule, "-", "_")
	for len(quotes) > 0 { // an item and grade in a month
		first := quotes[0]
		n := slices.IndexFunc(quotes, func(q quoteRow) bool {
			return q.month != first.month || q.item != first.item || q.grade != first.grade
		})
		if n < 0 {
			n = len(quotes)
		}
		group := quotes[:n]
		quotes = quotes[n:]
		y0, y1 := make([]float64, n), make([]float64, n)
		some := 0
		for i, q := range group {
			y0[i], y1[i] = math.NaN(), q.price
			if x, ok := before[q.seriesKey]; ok && int(q.day-x.lastDay) <= e.WindowDays {
				y0[i] = math.Exp(x.ln)
				some++
			}
		}
		if some >= e.MinGroup {
			outside := judge(e, y0, y1)
			for i, q := range group {
				if math.IsNaN(y0[i]) {
					continue
				}
				delete(reasons, place{q.file, q.line})
				if outside[i] && math.Abs(math.Log(y1[i]/y0[i])) > math.Log(e.LeastRatio) {
					reasons[place{q.file, q.line}] = name
				}
			}
		}
		for i := 0; i < n; { // what was let pass is the earlier price of later months
			var x level
			k := group[i].seriesKey
			for ; i < n && group[i].seriesKey == k; i++ {
				if q := group[i]; reasons[place{q.file, q.line}] == "" {
					x.ln, x.n, x.lastDay = x.ln+math.Log(q.price), x.n+1, q.day
				}
			}
			if x.n > 0 {
				x.ln /= float64(x.n)
				before[k] = x
			}
		}
	}
	rows := make([][]any, 0, len(reasons))
	for p, reason := range reasons {
		rows = append(rows, []any{p.file, p.line, reason})
	}
	slices.SortFunc(rows, func(a, b []any) int {
		return cmp.Or(cmp.Compare(a[0].(int32), b[0].(int32)), cmp.Compare(a[1].(int32), b[1].(int32)))
	})
	if err := st.Exec(ctx, "DELETE FROM edit_suspect"); err != nil {
		return err
	}
	return st.Append(ctx, "edit_suspect", rows)
}

// judge marks what the rule holds of the relatives y1/y0; one without an earlier price is never marked.
func judge(e workspace.Edit, y0, y1 []float64) []bool {
	ratio := make([]float64, len(y0))
	for i := range ratio {
		ratio[i] = y1[i] / y0[i] // NaN without an earlier price
	}
	switch e.Rule {
	case "quartile":
		return index.QuartileMethod(ratio, e.RuleWidth(), e.Floor).Outside
	case "tukey":
		return index.Tukey(ratio, e.RuleWidth(), e.Trim).Outside
	}
	return index.HidiroglouBerthelot(y0, y1, e.SizePower, e.Floor, e.RuleWidth()).Outside
}
