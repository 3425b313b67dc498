package pipeline

import (
	"math"

	"farthing/pipeline/result"
)

// real traces money of a month in money of the base month: by the index of the
// nearest region upward that has the series; no value where it lacks a month.
func (t *tracer) real(published result.Num, money *Node, region string, m result.Month) (*Node, error) {
	const formula = "money of the month x index(base month) / index(month)"
	base, err := result.ParseMonth(t.e.BaseMonth)
	if err != nil {
		return nil, err
	}
	for r := region; r != ""; r = t.parent(r) {
		var then, now *Node
		some := false
		for _, d := range t.e.Deflators {
			if d.Region != r {
				continue
			}
			some = true
			n := &Node{Value: d.Value.V, Formula: "index " + d.Series + " of " + d.Region + " in " + d.Month.String() + ", base period " + d.BasePeriod}
			if d.Month == base {
				then = n
			}
			if d.Month == m {
				now = n
			}
			if d.Month == base || d.Month == m {
				if err := t.fileLine(n, d.File, d.Line.V); err != nil {
					return nil, err
				}
			}
		}
		switch {
		case !some:
			continue
		case then == nil || now == nil:
			return computed(published, math.NaN(), formula+": the index of "+r+" has no value in one of the months", money)
		}
		return computed(published, money.number()*then.number()/now.number(), formula, money, then, now)
	}
	return computed(published, math.NaN(), formula+": no index", money)
}
