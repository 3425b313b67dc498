package meal

import "math/big"

// TillSwap is a Swap by till cost: Before, After, Target and Least are till costs, savings those of the whole till.
//
// Whole packs make it hard, so the search may end at its limit. Then Proven is false and what is proven stands beside what was
// found: no plan within the target has a sacrifice below SacrificeBound.
type TillSwap struct {
	Swap
	Proven         bool // sacrifice, changes and till cost are the least there are, or it is certain that the target cannot be reached
	TieProven      bool // names and Tie are certain too
	SacrificeBound int
	LeastProven    bool // Least is certain; else LeastBound is what no plan can go below
	LeastBound     *big.Rat
	Nodes          int // searched
}
