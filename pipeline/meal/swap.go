package meal

import "math/big"

// Choice is a line of a plan and what it may become. Its first option is the line as it stands.
type Choice struct {
	Name    string
	Options []Option
}

// Option is one way to make a line.
type Option struct {
	Name      string
	Sacrifice int      // of changing to it, 0 to 9, the user's own ranking (tables recipes and swaps, keep); 0 for the first
	Cost      *big.Rat // portion cost; nil: not known, then it cannot be chosen. Not used at the till.
	Line      Line     // used at the till only
}

// Change is one line changed.
type Change struct {
	Choice, Option int // the line, and what it becomes
	From, To       string
	Sacrifice      int
	Saving         *big.Rat // portion cost before - after; below zero: dearer
}

// Single is a change made alone. Reaches: it alone brings the plan to the target.
type Single struct {
	Change
	Reaches bool
}

// Swap is the least sacrifice that brings a plan to a target.
type Swap struct {
	Target, Before *big.Rat // Before: as it stands
	Feasible       bool
	Chosen         []int // the option of each line, in the order given; nil if the target cannot be reached
	After          *big.Rat
	Sacrifice      int
	Changes        []Change // in the order of the lines
	Tie            []int    // another plan with the same sacrifice, number of changes and cost, next by names; nil: there is none
	Least          *big.Rat // the least possible cost of any plan
	LeastChosen    []int    // such a plan, with the least sacrifice and then the fewest changes
	Singles        []Single // every option but the first of each line, by saving, the greatest first
	Unpriced       []Change // options left out because their cost is not known; their Saving is nil
}
