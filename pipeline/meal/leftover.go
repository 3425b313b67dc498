package meal

import "math/big"

// Leftover is what is left of one lot after a plan, and what becomes of it until the day looked ahead to:
//
//	Quantity = Next + Stranded + Keeps + Unknown
type Leftover struct {
	Good   string
	Pantry bool // a remainder of the pantry's stock, else of the packs bought
	Lot
	Next          *big.Rat // used by the next round before it spoils
	Stranded      *big.Rat // spoils by the day looked ahead to, unused
	StrandedValue *big.Rat // at the unit price; nil: no price
	Keeps         *big.Rat // still good after that day
	Unknown       *big.Rat // unused, and how long it keeps is not known
}

// Leftovers of a shopping and their sums.
type Leftovers struct {
	Lots          []Leftover // by good, packs before pantry, use-by day (not known last), quantity
	Value         *big.Rat   // of what is left of the packs: the Leftover of the shopping; nil: a price is not known
	Stranded      *big.Rat   // value of what is stranded, packs and pantry; nil: a price is not known
	StrandedMeals *big.Rat   // the same in servings of the plan's mean portion cost; nil if that is not known or zero
}
