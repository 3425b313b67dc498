package meal

import "math/big"

// Round is x to so many decimals, half away from zero, in decimal: 2.675 is 2.68, -0.005 is -0.01. nil stays nil. Round money
// once, where it is shown (common practice).
func Round(x *big.Rat, places int) *big.Rat {
	if x == nil {
		return nil
	}
	r, _ := new(big.Rat).SetString(x.FloatString(places)) // FloatString rounds half away from zero
	return r
}

// Sheet is a workings sheet: what a learner checks with a pencil.
type Sheet struct {
	Lines     []*big.Rat // the costs as printed, to 4 decimals; nil: not known
	Total     *big.Rat   // to 2 decimals; nil if a line is not known: the sheet is incomplete
	KnownPart *big.Rat   // the same sum over the lines that are known
	Unknown   int        // lines not known
}

// NewSheet rounds each cost to 4 decimals and gives their exact sum, rounded once to cents. Both half away from zero. So the total
// is that of the printed lines, and may differ from the rounded portion cost by a cent.
func NewSheet(costs []*big.Rat) Sheet {
	s := Sheet{Lines: make([]*big.Rat, len(costs))}
	sum := new(big.Rat)
	for i, c := range costs {
		if s.Lines[i] = Round(c, 4); c == nil {
			s.Unknown++
			continue
		}
		sum.Add(sum, s.Lines[i])
	}
	if s.KnownPart = Round(sum, 2); s.Unknown == 0 {
		s.Total = Round(sum, 2)
	}
	return s
}
