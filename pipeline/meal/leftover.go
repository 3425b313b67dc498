package meal

import (
	"cmp"
	"fmt"
	"maps"
	"math/big"
	"slices"
)

// Leftover is what is left of one lot after a plan, and what becomes of it until the day looked ahead to:
//
//	Quantity = Next + Stranded + Keeps + Unknown
type Leftover struct {
	Good   string
	Pantry bool // a remainder of the pantry's stock, else of the packs bought
	Lot
	Next          *big.Rat // used by the next round before it spoils; nil, like the rest, if a quantity of its good there is not known
	Stranded      *big.Rat // spoils by the day looked ahead to, unused
	StrandedValue *big.Rat // at the unit price; nil: no price
	Keeps         *big.Rat // still good after that day
	Unknown       *big.Rat // unused, and how long it keeps is not known
}

// Leftovers of a shopping and their sums.
type Leftovers struct {
	Lots          []Leftover // by good, packs before pantry, use-by day (not known last), quantity
	Value         *big.Rat   // of what is left of the packs: the Leftover of the shopping; nil: a price is not known
	Stranded      *big.Rat   // value of what is stranded, packs and pantry; nil: a price or quantity is not known
	StrandedMeals *big.Rat   // the same in servings of the plan's mean portion cost; nil if that is not known or zero
}

// Leftovers follows what the shopping leaves until a day, through the lines of the next round: Shift(lines, days) of the same plan,
// another plan's on the same count of days, or none. Its needs take the lots as Shop takes a pantry, nearest limit first, cupboard
// lines too. servings are those of the plan just shopped, for StrandedMeals; nil gives none.
//
// Errors: a line of the next round before its time (ErrDay: not after the shopping's last day) or after until, servings not above
// zero (ErrServings), and those of Line.AP.
func (s *Shopping) Leftovers(next []Line, until int, servings *big.Rat) (Leftovers, error) {
	last := 0
	for _, c := range s.Lines {
		last = max(last, c.Day)
	}
	if until < last {
		return Leftovers{}, fmt.Errorf("%w: until day %d, the shopping's last is %d", ErrDay, until, last)
	}
	needs := map[string]*need{}
	for _, l := range next {
		ap, err := l.AP()
		if err != nil {
			return Leftovers{}, err
		}
		if l.Day <= last || l.Day > until {
			return Leftovers{}, fmt.Errorf("%s: %w of the next round, which is after %d and up to %d", l, ErrDay, last, until)
		}
		if l.Supply == Free {
			continue
		}
		if needs[l.Good] == nil {
			needs[l.Good] = &need{days: map[int]*daily{}}
		}
		needs[l.Good].add(l.Day, ap, false)
	}
	left := Leftovers{Value: s.Leftover, Stranded: new(big.Rat)}
	for _, t := range s.Goods {
		lots := follow(t, needs[t.Good], s.keeps[t.Good], until)
		for i := range lots {
			lots[i].StrandedValue = worth(lots[i].Stranded, s.units[t.Good])
			left.Stranded = plus(left.Stranded, lots[i].StrandedValue)
		}
		if t.FromPantry == nil || t.FromPacks == nil || t.LeftValue == nil {
			left.Stranded = nil
		}
		left.Lots = append(left.Lots, lots...)
	}
	if servings == nil {
		return left, nil
	}
	if err := above(servings, ErrServings); err != nil {
		return Leftovers{}, err
	}
	if left.Stranded != nil && s.Portion != nil && s.Portion.Sign() > 0 {
		left.StrandedMeals = new(big.Rat).Mul(left.Stranded, servings)
		left.StrandedMeals.Quo(left.StrandedMeals, s.Portion)
	}
	return left, nil
}

// follow gives what becomes of a good's lots under the needs of the next round, nil for none.
func follow(t Trolley, n *need, k Keeps, until int) []Leftover {
	lots := make([]Leftover, 0, len(t.Left)+len(t.Pantry))
	for _, l := range t.Left {
		lots = append(lots, Leftover{Good: t.Good, Lot: l})
	}
	for _, l := range t.Pantry {
		lots = append(lots, Leftover{Good: t.Good, Pantry: true, Lot: l})
	}
	slices.SortStableFunc(lots, func(a, b Leftover) int {
		if a.Pantry != b.Pantry {
			return map[bool]int{false: -1, true: 1}[a.Pantry]
		}
		return cmp.Or(byUse(a.Lot, b.Lot), cmp.Compare(uint(a.UseBy)-1, uint(b.UseBy)-1))
	})
	if n != nil && n.unsaid {
		return lots
	}
	p := make(pantry, len(lots))
	for i := range lots {
		p[i] = lots[i].Lot
		p[i].Quantity = new(big.Rat).Set(lots[i].Quantity)
		lots[i].Next, lots[i].Stranded, lots[i].Keeps, lots[i].Unknown = new(big.Rat), new(big.Rat), new(big.Rat), new(big.Rat)
	}
	if n != nil {
		for _, day := range slices.Sorted(maps.Keys(n.days)) {
			for i, taken := range p.drawEach(day, n.days[day].bought, k) {
				lots[i].Next.Add(lots[i].Next, taken)
			}
		}
	}
	for i, l := range p {
		switch rest := l.Quantity; {
		case rest.Sign() == 0:
		case l.limit > 0 && l.limit <= until:
			lots[i].Stranded = rest
		case l.UseBy == 0:
			lots[i].Unknown = rest
		default:
			lots[i].Keeps = rest
		}
	}
	return lots
}
