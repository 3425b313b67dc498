package meal

import (
	"cmp"
	"fmt"
	"math/big"
	"slices"
	"sort"
	"strings"
)

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
	Lines     []Line   // what it puts into the shopping; used at the till only
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

// LeastSacrifice brings a plan of lines to a target portion cost. Of all plans with cost <= target it gives the one with
//
//  1. the least sum of sacrifice over the lines changed,
//  2. then the fewest lines changed,
//  3. then the least cost,
//  4. then the first by names: the names of the chosen options, line by line, lines in the order of their own names.
//
// A plan already within the target stays as it is. The result is exact: dynamic programming over sacrifice and changes, money in
// whole numbers of a common denominator. It does not depend on the order of lines of distinct names, nor on that of the options
// after the first.
//
// Errors: no target, a line without options or a sacrifice outside 0 to 9, or above 0 for the line as it stands (ErrOptions); a line
// whose cost as it stands is not known (ErrUnpriced, all such lines named): an incomplete plan is neither over nor under. Another
// option without a cost is left out and told in Unpriced.
func LeastSacrifice(lines []Choice, target *big.Rat) (*Swap, error) {
	if target == nil {
		return nil, fmt.Errorf("target: %w", ErrUnpriced)
	}
	cost := func(i, o int) *big.Rat { return lines[i].Options[o].Cost }
	if err := check(lines, cost); err != nil {
		return nil, err
	}
	s := &Swap{Target: target, Before: sum(lines, make([]int, len(lines)), cost)}
	for i, line := range lines {
		for o, option := range line.Options {
			if option.Cost == nil {
				s.Unpriced = append(s.Unpriced, line.change(i, o, nil))
			} else if o > 0 {
				saving := new(big.Rat).Sub(line.Options[0].Cost, option.Cost)
				after := new(big.Rat).Sub(s.Before, saving)
				s.Singles = append(s.Singles, Single{line.change(i, o, saving), after.Cmp(target) <= 0})
			}
		}
	}
	rank(s.Singles, lines)
	t := newTable(lines, cost)
	s.LeastChosen, _ = t.plan(t.cheapest())
	s.Least = sum(lines, s.LeastChosen, cost)
	most := new(big.Rat).Mul(target, new(big.Rat).SetInt(t.scale))
	w, ok := t.steps[0].within(new(big.Int).Div(most.Num(), most.Denom())) // rounded down: costs are whole
	if s.Feasible = ok; !ok {
		return s, nil
	}
	s.Chosen, s.Tie = t.plan(w)
	s.settle(lines, func(i, o int) *big.Rat { return new(big.Rat).Sub(cost(i, 0), cost(i, o)) })
	s.After = sum(lines, s.Chosen, cost)
	return s, nil
}

// settle fills in the changes of the chosen plan.
func (s *Swap) settle(lines []Choice, saving func(i, o int) *big.Rat) {
	for i, o := range s.Chosen {
		if o > 0 {
			s.Changes = append(s.Changes, lines[i].change(i, o, saving(i, o)))
			s.Sacrifice += lines[i].Options[o].Sacrifice
		}
	}
}

func (c Choice) change(i, o int, saving *big.Rat) Change {
	return Change{Choice: i, Option: o, From: c.Options[0].Name, To: c.Options[o].Name, Sacrifice: c.Options[o].Sacrifice, Saving: saving}
}

func check(lines []Choice, cost func(i, o int) *big.Rat) error {
	var unpriced []string
	for i, line := range lines {
		if len(line.Options) == 0 {
			return fmt.Errorf("%s: %w", line.Name, ErrOptions)
		}
		for o, option := range line.Options {
			if option.Sacrifice < 0 || option.Sacrifice > 9 || o == 0 && option.Sacrifice != 0 {
				return fmt.Errorf("%s, %s: %w with a sacrifice of %d: 0 to 9, and 0 as it stands", line.Name, option.Name, ErrOptions, option.Sacrifice)
			}
		}
		if cost(i, 0) == nil {
			unpriced = append(unpriced, line.Name)
		}
	}
	if unpriced != nil {
		return fmt.Errorf("%w: %s", ErrUnpriced, strings.Join(unpriced, ", "))
	}
	return nil
}

// rank orders single changes: the greatest saving, then the least sacrifice, then names.
func rank(singles []Single, lines []Choice) {
	slices.SortStableFunc(singles, func(a, b Single) int {
		return cmp.Or(b.Saving.Cmp(a.Saving), cmp.Compare(a.Sacrifice, b.Sacrifice),
			strings.Compare(lines[a.Choice].Name, lines[b.Choice].Name), strings.Compare(a.To, b.To))
	})
}

func sum(lines []Choice, chosen []int, cost func(i, o int) *big.Rat) *big.Rat {
	total := new(big.Rat)
	for i := range lines {
		total.Add(total, cost(i, chosen[i]))
	}
	return total
}

// table is the dynamic programme. A weight is sacrifice x (lines + 1) + changes: one number in the order of the first two aims.
type table struct {
	lines   []Choice
	order   []int // the lines by name
	options [][]step
	steps   []steps // [k] over the lines order[k:]; the last, of no line, is {0 at 0}
	scale   *big.Int
}

// step is a weight and the least whole cost at it: of an option, or of a choice over many lines.
type step struct {
	weight, option int
	cost           *big.Int
}

// steps have growing weights and falling costs: what costs no less than something lighter is left out.
type steps []step

// within is the least weight that costs no more than most.
func (s steps) within(most *big.Int) (weight int, ok bool) {
	i := sort.Search(len(s), func(i int) bool { return s[i].cost.Cmp(most) <= 0 })
	if i == len(s) {
		return 0, false
	}
	return s[i].weight, true
}

// at is the least cost of a weight no greater; nil: there is none.
func (s steps) at(weight int) *big.Int {
	i := sort.Search(len(s), func(i int) bool { return s[i].weight > weight })
	if i == 0 {
		return nil
	}
	return s[i-1].cost
}

func newTable(lines []Choice, cost func(i, o int) *big.Rat) *table {
	t := &table{lines: lines, order: byName(lines), options: make([][]step, len(lines)), scale: big.NewInt(1)}
	for i, line := range lines {
		for o := range line.Options {
			if c := cost(i, o); c != nil {
				gcd := new(big.Int).GCD(nil, nil, t.scale, c.Denom())
				t.scale.Mul(t.scale, gcd.Quo(c.Denom(), gcd))
			}
		}
	}
	for i, line := range lines {
		for _, o := range line.byName() {
			c := cost(i, o)
			if c == nil {
				continue
			}
			whole := new(big.Int).Quo(t.scale, c.Denom())
			t.options[i] = append(t.options[i], step{weight: weight(lines, i, o), option: o, cost: whole.Mul(whole, c.Num())})
		}
	}
	t.steps = make([]steps, len(lines)+1)
	t.steps[len(lines)] = steps{{cost: new(big.Int)}}
	for k := len(lines) - 1; k >= 0; k-- {
		t.steps[k] = extend(t.steps[k+1], t.options[t.order[k]])
	}
	return t
}

// weight of an option; see table.
func weight(lines []Choice, i, o int) int {
	if o == 0 {
		return 0
	}
	return lines[i].Options[o].Sacrifice*(len(lines)+1) + 1
}

// byName orders lines by name, equal names as they came.
func byName(lines []Choice) []int {
	order := make([]int, len(lines))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return strings.Compare(lines[a].Name, lines[b].Name) })
	return order
}

// byName orders options by name; of one name the one as it stands first, then as they came.
func (c Choice) byName() []int {
	order := make([]int, len(c.Options))
	for o := range order {
		order[o] = o
	}
	slices.SortStableFunc(order, func(a, b int) int { return strings.Compare(c.Options[a].Name, c.Options[b].Name) })
	return order
}

// extend adds a line to what is known of the lines after it.
func extend(rest steps, options []step) steps {
	var all steps
	var best *big.Int // the least there is; nothing dearer and heavier need be kept
	for _, o := range options {
		dominated := slices.ContainsFunc(options, func(b step) bool {
			c := b.cost.Cmp(o.cost)
			return b.weight <= o.weight && c <= 0 && (b.weight < o.weight || c < 0)
		})
		if dominated {
			continue
		}
		for _, r := range rest {
			all = append(all, step{weight: r.weight + o.weight, cost: new(big.Int).Add(r.cost, o.cost)})
		}
	}
	slices.SortFunc(all, func(a, b step) int { return cmp.Or(cmp.Compare(a.weight, b.weight), a.cost.Cmp(b.cost)) })
	kept := all[:0]
	for _, s := range all {
		if best == nil || s.cost.Cmp(best) < 0 {
			best, kept = s.cost, append(kept, s)
		}
	}
	return slices.Clip(kept)
}

// cheapest is the weight of the least cost of all.
func (t *table) cheapest() int { s := t.steps[0]; return s[len(s)-1].weight }

// plan gives the first two plans by names of a weight on the steps and its least cost; the second is nil if there is no other.
//
// A choice so far is on the way to such a plan if what it leaves of weight and cost can be met by the lines after it; met with less
// of either, the whole would be lighter or cheaper than the step. The second plan leaves the first as late as it can.
func (t *table) plan(weight int) (first, second []int) {
	type fork struct { // a line at which another option would do as well
		line, option, weight int
		cost                 *big.Int
	}
	var last *fork
	// walk settles the lines from the kth on, forks on the way being noted.
	walk := func(plan []int, k, weight int, cost *big.Int, note bool) {
		for ; k < len(t.order); k++ {
			var ways []fork
			for _, o := range t.options[t.order[k]] {
				f := fork{k, o.option, weight - o.weight, new(big.Int).Sub(cost, o.cost)}
				if c := t.steps[k+1].at(f.weight); c != nil && c.Cmp(f.cost) == 0 {
					ways = append(ways, f)
				}
			}
			plan[t.order[k]], weight, cost = ways[0].option, ways[0].weight, ways[0].cost
			if note && len(ways) > 1 {
				last = &ways[1]
			}
		}
	}
	first = make([]int, len(t.order))
	walk(first, 0, weight, t.steps[0].at(weight), true)
	if last == nil {
		return first, nil
	}
	second = slices.Clone(first)
	second[t.order[last.line]] = last.option
	walk(second, last.line+1, last.weight, last.cost, false)
	return first, second
}
