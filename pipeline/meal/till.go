package meal

import (
	"cmp"
	"container/heap"
	"fmt"
	"maps"
	"math"
	"math/big"
	"slices"
	"sort"
	"strings"
)

// TillSwap is a Swap by till cost: Before, After, Target and Least are till costs, savings those of the whole till, each change
// alone; the savings of several changes need not add up. LeastChosen is a plan of the least till cost, whatever its sacrifice.
//
// Whole packs make it hard, so a search may end at its limit. Then what is proven stands beside what was found.
type TillSwap struct {
	Swap
	Proven         bool     // the plan has the least sacrifice, changes and till cost, or it is certain that the target cannot be reached
	TieProven      bool     // so are the choice by names, and Tie
	SacrificeBound int      // no plan within the target has a sacrifice below it; of no meaning if none reaches it
	LeastProven    bool     // Least is the least till cost there is
	LeastBound     *big.Rat // no plan has a till cost below it; Least - LeastBound is the gap
	Nodes          int      // opened by the searches
}

// DefaultLimit is a limit of nodes that a second or a few of a small machine suffice for.
const DefaultLimit = 50_000

// LeastSacrificeAtTill is LeastSacrifice with the till cost of Shop in place of the portion cost: the lines of every chosen option
// are shopped together with the lines of p, from its offers and pantry, in its treatment. Option.Cost is not used.
//
// It branches over the lines and bounds what is open from below. Lines fall into groups that share no good with each other; all
// choices of a group of up to 65,536 are listed, so a plan of such groups is solved nearly without search. In a greater group goods
// cost whole packs where no open line takes them, else the cheapest unit price, with the pantry spent. Bounds are floating point, lowered by far more than it errs; every plan kept is
// shopped in exact numbers. limit is the most nodes opened by each of the searches for the least till cost, the least sacrifice and
// the first by names; below 1 it is DefaultLimit. Not proven and not Feasible means: not known whether the target can be reached.
//
// Errors are those of LeastSacrifice and Shop. An option that leaves the till unknown, all else as it stands, is told in Unpriced.
func LeastSacrificeAtTill(lines []Choice, p Plan, target *big.Rat, limit int) (*TillSwap, error) {
	return leastAtTill(lines, p, target, limit, 1<<16)
}

// leastAtTill lists the choices of lines that share goods up to so many ways.
func leastAtTill(lines []Choice, p Plan, target *big.Rat, limit, ways int) (*TillSwap, error) {
	if target == nil {
		return nil, fmt.Errorf("target: %w", ErrUnpriced)
	}
	if limit < 1 {
		limit = DefaultLimit
	}
	s := &TillSwap{Swap: Swap{Target: target}}
	t := &tills{lines: lines, plan: p, ways: ways, options: make([][]int, len(lines))}
	if err := t.singles(&s.Swap); err != nil {
		return nil, err
	}
	if err := t.measure(); err != nil {
		return nil, err
	}
	grouped := t.grouped()

	never := func([]int) bool { return false }
	reached := func(plan []int) bool { return t.till(t.amounts(plan)) <= t.atMost(target) }
	cheap := t.search(grouped, false, nil, math.MaxInt)
	least, err := cheap.run(limit, make([]int, len(lines)), t.descend(never))
	if err != nil {
		return nil, err
	}
	s.Nodes, s.Least, s.LeastChosen, s.LeastProven, s.LeastBound = cheap.nodes, least.till, least.plan, cheap.proven, least.till
	if !s.LeastProven {
		if b := t.money(cheap.bound.till); b.Cmp(s.LeastBound) < 0 {
			s.LeastBound = b
		}
	}
	if s.LeastBound.Cmp(target) > 0 {
		s.Proven, s.TieProven = true, true
		return s, nil
	}

	x := t.search(grouped, true, target, math.MaxInt)
	found, err := x.run(limit, make([]int, len(lines)), s.LeastChosen, t.lighten(s.LeastChosen, target), t.lighten(t.descend(reached), target))
	if err != nil {
		return nil, err
	}
	s.Nodes += x.nodes
	s.Proven, s.Feasible = x.proven, found.plan != nil
	if s.SacrificeBound = x.bound.weight / (len(lines) + 1); !s.Feasible {
		s.TieProven = s.Proven
		return s, nil
	}
	s.Chosen, s.After = found.plan, found.till
	if s.Proven {
		names := t.search(byName(lines), true, found.till, found.weight)
		first, second, done, err := names.firstTwo(found, limit)
		if err != nil {
			return nil, err
		}
		if s.Nodes += names.nodes; first != nil {
			s.Chosen = first
		}
		s.Tie, s.TieProven = second, done
	}
	s.settle(lines, func(i, o int) *big.Rat { return t.saving[i][o] })
	return s, nil
}

// tills knows the till cost of every plan of the lines.
type tills struct {
	lines   []Choice
	plan    Plan
	ways    int
	options [][]int      // that may be chosen, by name
	saving  [][]*big.Rat // of each option alone

	goods []bulk
	takes [][][]take // of each line's options, by option: what it takes of the goods
	fixed []float64  // of each good, taken by p.Lines
	scale *big.Rat   // units of money in one: whole numbers of them where no good is loose
	whole bool       // every till cost is a whole number of units
}

// bulk is a good in floating point, money in units.
type bulk struct {
	size, price, stock, unit float64 // unit: the cheapest price of a base unit, multibuys at their best
	deal, dealPrice          float64 // 0: none
	loose                    bool
}

type take struct {
	good     int
	quantity float64
}

// exact shops a plan of the lines; nil: its till cost is not known.
func (t *tills) exact(plan []int) (*Shopping, error) {
	p := t.plan
	p.Lines = slices.Clone(p.Lines)
	for i, o := range plan {
		p.Lines = append(p.Lines, t.lines[i].Options[o].Lines...)
	}
	return Shop(p)
}

// singles shops the plan as it stands and with each option alone, and settles which options may be chosen.
func (t *tills) singles(s *Swap) error {
	zero := new(big.Rat)
	if err := check(t.lines, func(int, int) *big.Rat { return zero }); err != nil {
		return err
	}
	plan := make([]int, len(t.lines))
	now, err := t.exact(plan)
	if err != nil {
		return err
	}
	if now.Till == nil {
		var missing []string
		for _, c := range now.Missing {
			missing = append(missing, fmt.Sprintf("%s (%s)", c.Line, c.Lacks))
		}
		return fmt.Errorf("till %w: %s", ErrUnpriced, strings.Join(missing, "; "))
	}
	s.Before = now.Till
	t.saving = make([][]*big.Rat, len(t.lines))
	for i, line := range t.lines {
		t.saving[i] = make([]*big.Rat, len(line.Options))
		for _, o := range line.byName() {
			plan[i] = o
			x, err := t.exact(plan)
			plan[i] = 0
			if err != nil {
				return err
			}
			if x.Till == nil {
				s.Unpriced = append(s.Unpriced, line.change(i, o, nil))
				continue
			}
			t.options[i] = append(t.options[i], o)
			if t.saving[i][o] = new(big.Rat).Sub(now.Till, x.Till); o > 0 {
				s.Singles = append(s.Singles, Single{line.change(i, o, t.saving[i][o]), x.Till.Cmp(s.Target) <= 0})
			}
		}
	}
	slices.SortStableFunc(s.Unpriced, func(a, b Change) int { return cmp.Or(cmp.Compare(a.Choice, b.Choice), cmp.Compare(a.Option, b.Option)) })
	rank(s.Singles, t.lines)
	return nil
}

// measure turns offers, stock and lines into floating point.
func (t *tills) measure() error {
	scale, most := big.NewInt(1), new(big.Rat)
	lcm := func(r *big.Rat) {
		gcd := new(big.Int).GCD(nil, nil, scale, r.Denom())
		scale.Mul(scale, gcd.Quo(r.Denom(), gcd))
		if r.Cmp(most) > 0 {
			most = r
		}
	}
	t.whole = true
	for _, o := range t.plan.Offers {
		t.whole = t.whole && !o.Loose
		if lcm(o.Price); o.Multibuy != nil {
			lcm(o.Multibuy.Price)
		}
	}
	// Sums of whole units are exact while far below 2^53.
	if size, _ := new(big.Rat).Mul(most, new(big.Rat).SetInt(scale)).Float64(); size > 1e9 || scale.BitLen() > 30 {
		t.whole = false
	}
	if t.scale = big.NewRat(1, 1); t.whole {
		t.scale.SetInt(scale)
	}
	number := func(r *big.Rat) float64 { x, _ := r.Float64(); return x }
	units := func(r *big.Rat) float64 { return number(new(big.Rat).Mul(r, t.scale)) }

	at, stock := map[string]int{}, map[string]*big.Rat{}
	for _, lot := range t.plan.Pantry {
		stock[lot.Good] = plus(cmp.Or(stock[lot.Good], new(big.Rat)), lot.Quantity)
	}
	offers := slices.Clone(t.plan.Offers)
	slices.SortFunc(offers, func(a, b Offer) int { return strings.Compare(a.Good, b.Good) })
	for _, o := range offers {
		g := bulk{size: number(o.Size), price: units(o.Price), loose: o.Loose}
		g.unit = g.price / g.size
		if m := o.Multibuy; m != nil && m.Price.Cmp(new(big.Rat).Mul(big.NewRat(m.Packs, 1), o.Price)) < 0 {
			g.deal, g.dealPrice = float64(m.Packs), units(m.Price)
			g.unit = g.dealPrice / g.deal / g.size
		}
		if s := stock[o.Good]; s != nil {
			g.stock = number(s)
		}
		at[o.Good], t.goods = len(t.goods), append(t.goods, g)
	}
	taken := func(lines []Line) ([]take, error) {
		sums := map[int]float64{}
		for _, l := range lines {
			g, offered := at[l.Good]
			ap, err := l.AP()
			if err != nil {
				return nil, err
			}
			if offered && ap != nil && (l.Supply == Bought || l.Supply == Cupboard && t.plan.BuyCupboard) {
				sums[g] += number(ap)
			}
		}
		var list []take
		for _, g := range slices.Sorted(maps.Keys(sums)) {
			list = append(list, take{g, sums[g]})
		}
		return list, nil
	}
	t.fixed = make([]float64, len(t.goods))
	fixed, err := taken(t.plan.Lines)
	for _, x := range fixed {
		t.fixed[x.good] = x.quantity
	}
	t.takes = make([][][]take, len(t.lines))
	for i := 0; i < len(t.lines) && err == nil; i++ {
		t.takes[i] = make([][]take, len(t.lines[i].Options))
		for _, o := range t.options[i] {
			if t.takes[i][o], err = taken(t.lines[i].Options[o].Lines); err != nil {
				break
			}
		}
	}
	return err
}

// slack is how far below its floating point value a bound is put: errors are near 1e-13 of it.
const slack = 1e-9

// cost is no more than what a need of the good costs at the till.
func (g bulk) cost(need float64) float64 {
	need -= g.stock
	if need <= 0 {
		return 0
	}
	if g.loose {
		return need * g.unit
	}
	packs := math.Ceil(need/g.size*(1-slack) - slack)
	if g.deal == 0 {
		return packs * g.price
	}
	deals := math.Floor(packs / g.deal)
	return deals*g.dealPrice + min((packs-deals*g.deal)*g.price, g.dealPrice)
}

// lower makes a sum of costs a bound.
func (t *tills) lower(x float64) float64 {
	x -= slack * (1 + math.Abs(x))
	if t.whole {
		return math.Ceil(x)
	}
	return x
}

// atMost is a target in units, for bounds to be held against.
func (t *tills) atMost(target *big.Rat) float64 {
	x := new(big.Rat).Mul(target, t.scale)
	f, _ := x.Float64()
	if t.whole {
		whole, _ := new(big.Float).SetInt(floor(x)).Float64()
		return whole
	}
	return f + slack*math.Abs(f)
}

// floor is the greatest whole number no greater.
func floor(x *big.Rat) *big.Int { return new(big.Int).Div(x.Num(), x.Denom()) } // Div rounds down: denominators are above zero

func (t *tills) money(units float64) *big.Rat {
	x := new(big.Rat)
	if units <= 0 || x.SetFloat64(units) == nil {
		return new(big.Rat)
	}
	return x.Quo(x, t.scale)
}

// amounts is what a plan takes of each good.
func (t *tills) amounts(plan []int) []float64 {
	a := slices.Clone(t.fixed)
	for i, o := range plan {
		for _, x := range t.takes[i][o] {
			a[x.good] += x.quantity
		}
	}
	return a
}

// till is no more than the till cost of such amounts.
func (t *tills) till(amounts []float64) (sum float64) {
	for g, a := range amounts {
		sum += t.goods[g].cost(a)
	}
	return sum
}

// descend changes one line after another, the most saved for the sacrifice first, until enough or nothing saves.
func (t *tills) descend(enough func([]int) bool) []int {
	plan := make([]int, len(t.lines))
	for !enough(plan) {
		now := t.till(t.amounts(plan))
		best, line, option := 0.0, -1, 0
		for i := range t.lines {
			from := plan[i]
			for _, o := range t.options[i] {
				plan[i] = o
				saved := now - t.till(t.amounts(plan))
				worth := saved / float64(max(1, weight(t.lines, i, o)-weight(t.lines, i, from)))
				if saved > slack*(1+now) && worth > best {
					best, line, option = worth, i, o
				}
			}
			plan[i] = from
		}
		if line < 0 {
			break
		}
		plan[line] = option
	}
	return plan
}

// lighten takes changes back, the heaviest first, where the target is still met.
func (t *tills) lighten(plan []int, target *big.Rat) []int {
	plan = slices.Clone(plan)
	heavy := byName(t.lines)
	slices.SortStableFunc(heavy, func(a, b int) int { return cmp.Compare(weight(t.lines, b, plan[b]), weight(t.lines, a, plan[a])) })
	for _, i := range heavy {
		from := plan[i]
		if plan[i] = 0; t.till(t.amounts(plan)) > t.atMost(target) {
			plan[i] = from
		}
	}
	return plan
}

// grouped orders the lines so that those of common goods stand together.
func (t *tills) grouped() (order []int) {
	rest, met := byName(t.lines), map[int]bool{}
	for len(rest) > 0 {
		best, most := 0, -1
		for k, i := range rest {
			common := map[int]bool{}
			for _, takes := range t.takes[i] {
				for _, x := range takes {
					if met[x.good] {
						common[x.good] = true
					}
				}
			}
			if len(common) > most {
				best, most = k, len(common)
			}
		}
		for _, takes := range t.takes[rest[best]] {
			for _, x := range takes {
				met[x.good] = true
			}
		}
		order = append(order, rest[best])
		rest = slices.Delete(rest, best, best+1)
	}
	return order
}

// search looks for the plan of the least weight (see table) and then the least till cost; without weights, of the least till cost.
type search struct {
	*tills
	order   []int
	depth   []int // of each line, its place in the order
	weighed bool
	most    float64 // units; +Inf: any till cost
	heavy   int     // no heavier plan is of use
	target  *big.Rat

	base   float64     // cost of the goods that at most one line changes, before it does
	fixed  []float64   // of each good, taken whatever is chosen
	own    [][]float64 // of each line's options, the cost of goods that no other line changes
	groups []*group
	in     []*group // of each line; nil: it has one option
	linear []floats // by depth: the lines from there, shared goods of great groups at their cheapest unit price
	alone  []floats // by depth: the lines from there, shared goods of great groups for nothing

	best   result
	bound  key // no plan is below
	proven bool
	nodes  int
	queue  queue
}

// group is lines that share goods with each other and with no other line, in the order of the search. All choices of a small one are
// listed, so that its bound is exact; a great one is bounded line by line.
type group struct {
	lines  []int
	goods  []int // shared
	last   []int // of each of goods the depth after which no line changes it
	small  bool
	stride []int  // by level: choices of the lines from there
	all    floats // of a small one, in the order of the lines and their options
	known  map[[2]int]floats
}

type result struct {
	plan   []int
	weight int
	till   *big.Rat
	units  float64
}

// key orders nodes and plans.
type key struct {
	weight int
	till   float64
}

func (k key) less(o key) bool { return k.weight < o.weight || k.weight == o.weight && k.till < o.till }

// floats is steps in floating point.
type floats []reach

type reach struct {
	weight int
	cost   float64
}

func (f floats) within(most float64) (int, bool) {
	i := sort.Search(len(f), func(i int) bool { return f[i].cost <= most })
	if i == len(f) {
		return 0, false
	}
	return f[i].weight, true
}

// at is the least cost of a weight no greater; +Inf: there is none.
func (f floats) at(weight int) float64 {
	i := sort.Search(len(f), func(i int) bool { return f[i].weight > weight })
	if i == 0 {
		return math.Inf(1)
	}
	return f[i-1].cost
}

// add combines two choices that are made one beside the other, up to a weight.
func (f floats) add(g floats, heavy int) floats {
	var all floats
	for _, a := range f {
		for _, b := range g {
			if a.weight+b.weight <= heavy {
				all = append(all, reach{a.weight + b.weight, a.cost + b.cost})
			}
		}
	}
	return all.kept()
}

// kept leaves the steps: sorted, without what costs no less than something lighter.
func (f floats) kept() floats {
	slices.SortFunc(f, func(a, b reach) int { return cmp.Or(cmp.Compare(a.weight, b.weight), cmp.Compare(a.cost, b.cost)) })
	kept := f[:0]
	for _, r := range f {
		if len(kept) == 0 || r.cost < kept[len(kept)-1].cost {
			kept = append(kept, r)
		}
	}
	return slices.Clip(kept)
}

func (t *tills) search(order []int, weighed bool, target *big.Rat, heavy int) *search {
	n := len(order)
	x := &search{tills: t, order: order, weighed: weighed, target: target, most: math.Inf(1), heavy: heavy, fixed: slices.Clone(t.fixed),
		own: make([][]float64, len(t.lines)), in: make([]*group, len(t.lines)), linear: make([]floats, n+1), alone: make([]floats, n+1)}
	x.depth = make([]int, len(t.lines))
	for k, i := range order {
		x.depth[i] = k
	}
	if target != nil {
		x.most = t.atMost(target)
	}
	touching, last := make([][]int, len(t.goods)), make([]int, len(t.goods)) // lines of more than one option that take the good
	for k, i := range order {
		for _, o := range t.options[i] {
			for _, u := range t.takes[i][o] {
				if len(t.options[i]) == 1 {
					x.fixed[u.good] += u.quantity
				} else if last[u.good] <= k {
					touching[u.good], last[u.good] = append(touching[u.good], i), k+1
				}
			}
		}
	}
	for _, i := range order {
		if x.own[i] = make([]float64, len(t.lines[i].Options)); len(t.options[i]) == 1 {
			continue
		}
		x.in[i] = &group{}
		for _, o := range t.options[i] {
			for _, u := range t.takes[i][o] {
				if g := t.goods[u.good]; len(touching[u.good]) == 1 {
					x.own[i][o] += g.cost(x.fixed[u.good]+u.quantity) - g.cost(x.fixed[u.good])
				}
			}
		}
	}
	for g, lines := range touching {
		if len(lines) < 2 {
			x.base += t.goods[g].cost(x.fixed[g])
			continue
		}
		for _, i := range lines[1:] {
			if from, to := x.in[i], x.in[lines[0]]; from != to {
				for j := range x.in {
					if x.in[j] == from {
						x.in[j] = to
					}
				}
			}
		}
	}
	for g, lines := range touching {
		if len(lines) > 1 {
			to := x.in[lines[0]]
			to.goods, to.last = append(to.goods, g), append(to.last, last[g])
		}
	}
	for _, i := range order {
		if g := x.in[i]; g != nil {
			if g.lines = append(g.lines, i); len(g.lines) == 1 {
				x.groups = append(x.groups, g)
			}
		}
	}
	for _, g := range x.groups {
		x.list(g)
	}
	x.linear[n], x.alone[n] = make(floats, 1), make(floats, 1)
	for k := n - 1; k >= 0; k-- {
		x.linear[k], x.alone[k] = x.linear[k+1], x.alone[k+1]
		i := order[k]
		switch g := x.in[i]; {
		case g == nil || g.small && g.lines[0] != i:
		case g.small:
			x.linear[k], x.alone[k] = x.linear[k].add(g.from(0, 0), heavy), x.alone[k].add(g.from(0, 0), heavy)
		default:
			var linear, alone floats
			for _, o := range t.options[i] {
				shared := 0.0
				for _, u := range t.takes[i][o] {
					if len(touching[u.good]) > 1 {
						shared += u.quantity * t.goods[u.good].unit
					}
				}
				alone, linear = append(alone, reach{x.weigh(i, o), x.own[i][o]}), append(linear, reach{x.weigh(i, o), x.own[i][o] + shared})
			}
			x.linear[k], x.alone[k] = x.linear[k].add(linear.kept(), heavy), x.alone[k].add(alone.kept(), heavy)
		}
	}
	return x
}

// list lists the choices of a group, if there are not too many.
func (x *search) list(g *group) {
	g.stride = make([]int, len(g.lines)+1)
	g.stride[len(g.lines)] = 1
	for k := len(g.lines) - 1; k >= 0; k-- {
		if g.stride[k] = g.stride[k+1] * len(x.options[g.lines[k]]); g.stride[k] > x.ways {
			return
		}
	}
	g.small, g.known = true, map[[2]int]floats{}
	a := slices.Clone(x.fixed)
	var walk func(k, weight int, cost float64)
	walk = func(k, weight int, cost float64) {
		if k == len(g.lines) {
			for _, good := range g.goods {
				cost += x.goods[good].cost(a[good])
			}
			g.all = append(g.all, reach{weight, cost})
			return
		}
		i := g.lines[k]
		for _, o := range x.options[i] {
			before := make([]float64, len(x.takes[i][o])) // put back as it was: adding and taking away would leave a trace
			for j, u := range x.takes[i][o] {
				before[j] = a[u.good]
				a[u.good] += u.quantity
			}
			walk(k+1, weight+x.weigh(i, o), cost+x.own[i][o])
			for j, u := range x.takes[i][o] {
				a[u.good] = before[j]
			}
		}
	}
	walk(0, 0, 0)
}

// from gives the steps of a small group once its first lines are chosen: at is the place of the first choice that goes on from there.
func (g *group) from(level, at int) floats {
	k := [2]int{level, at}
	if g.known[k] == nil {
		g.known[k] = slices.Clone(g.all[at : at+g.stride[level]]).kept()
	}
	return g.known[k]
}

func (x *search) weigh(i, o int) int {
	if !x.weighed {
		return 0
	}
	return weight(x.lines, i, o)
}

// node is a choice for the first lines of the order.
type node struct {
	key
	depth, option int // option of the line at depth - 1
	parent        *node
	number        int
}

// assess sets the node's key to a bound below all plans that go on from it; false: none of them is within the target.
func (x *search) assess(n *node) bool {
	plan := make([]int, len(x.lines))
	for m := n; m.depth > 0; m = m.parent {
		plan[x.order[m.depth-1]] = m.option
	}
	chosen := func(g *group) (level int) { // lines of the group chosen so far
		for level < len(g.lines) && x.depth[g.lines[level]] < n.depth {
			level++
		}
		return level
	}
	some := floats{{}} // the choices of the small groups begun
	weight, open, packs := 0, x.base, x.base
	for _, g := range x.groups {
		level := chosen(g)
		if g.small {
			if level == 0 {
				continue // among the lines to come
			}
			at := 0
			for k, i := range g.lines[:level] {
				at += slices.Index(x.options[i], plan[i]) * g.stride[k+1]
			}
			some = some.add(g.from(level, at), x.heavy)
			continue
		}
		a := make(map[int]float64, len(g.goods))
		for _, good := range g.goods {
			a[good] = x.fixed[good]
		}
		for _, i := range g.lines[:level] {
			weight += x.weigh(i, plan[i])
			open, packs = open+x.own[i][plan[i]], packs+x.own[i][plan[i]]
			for _, u := range x.takes[i][plan[i]] {
				if _, shared := a[u.good]; shared {
					a[u.good] += u.quantity
				}
			}
		}
		for k, good := range g.goods {
			cost := x.goods[good].cost(a[good])
			if packs += cost; g.last[k] <= n.depth {
				open += cost
			} else {
				open += (a[good] - x.goods[good].stock) * x.goods[good].unit
			}
		}
	}
	room := x.most
	if !math.IsInf(room, 1) {
		room += slack * (2 + math.Abs(room) + math.Abs(open) + math.Abs(packs))
	}
	w1, ok1 := least2(some, x.linear[n.depth], room-open)
	w2, ok2 := least2(some, x.alone[n.depth], room-packs)
	if !ok1 || !ok2 {
		return false
	}
	w := max(w1, w2)
	n.key = key{weight + w, max(x.lower(open+cost2(some, x.linear[n.depth], w)), x.lower(packs+cost2(some, x.alone[n.depth], w)))}
	return n.till <= x.most && n.weight <= x.heavy
}

// least2 is the least weight of two choices together that cost no more than most.
func least2(f, g floats, most float64) (weight int, ok bool) {
	for _, r := range f {
		if w, within := g.within(most - r.cost); within && (!ok || r.weight+w < weight) {
			weight, ok = r.weight+w, true
		}
	}
	return weight, ok
}

// cost2 is the least cost of two choices together of a weight no greater.
func cost2(f, g floats, weight int) float64 {
	cost := math.Inf(1)
	for _, r := range f {
		if weight >= r.weight {
			cost = min(cost, r.cost+g.at(weight-r.weight))
		}
	}
	return cost
}

func (x *search) child(n *node, option int) *node {
	x.nodes++
	return &node{depth: n.depth + 1, option: option, parent: n, number: x.nodes}
}

func (x *search) planOf(n *node) []int {
	plan := make([]int, len(x.lines))
	for ; n.depth > 0; n = n.parent {
		plan[x.order[n.depth-1]] = n.option
	}
	return plan
}

// shop gives a plan's result in exact numbers; no plan: its till cost is not known or over the target.
func (x *search) shop(plan []int) (result, error) {
	s, err := x.exact(plan)
	if err != nil || s.Till == nil || x.target != nil && s.Till.Cmp(x.target) > 0 {
		return result{}, err
	}
	r := result{plan: plan, till: s.Till}
	r.units, _ = new(big.Rat).Mul(s.Till, x.scale).Float64()
	for i, o := range plan {
		r.weight += x.weigh(i, o)
	}
	return r, nil
}

// offer takes a plan as the best if it is better than what there is.
func (x *search) offer(plan []int) error {
	r, err := x.shop(plan)
	if err == nil && r.plan != nil && (x.best.plan == nil || r.weight < x.best.weight || r.weight == x.best.weight && r.till.Cmp(x.best.till) < 0) {
		x.best = r
	}
	return err
}

// beaten says that no plan from a node of this key is better than the best.
func (x *search) beaten(k key) bool {
	return x.best.plan != nil && !k.less(key{x.best.weight, x.best.units})
}

// run opens the node of the lowest bound again and again, until none is below the best plan or the limit is reached. It starts from
// the best of some plans.
func (x *search) run(limit int, plans ...[]int) (result, error) {
	for _, plan := range plans {
		if err := x.offer(plan); err != nil {
			return result{}, err
		}
	}
	root := &node{}
	x.nodes = 1
	if x.assess(root) {
		heap.Push(&x.queue, root)
	}
	for x.queue.Len() > 0 {
		n := x.queue[0]
		if x.bound = n.key; x.beaten(n.key) {
			break
		}
		if x.nodes >= limit {
			return x.best, nil
		}
		heap.Pop(&x.queue)
		if n.depth == len(x.order) {
			if err := x.offer(x.planOf(n)); err != nil {
				return x.best, err
			}
			continue
		}
		for _, o := range x.options[x.order[n.depth]] {
			if c := x.child(n, o); x.assess(c) && !x.beaten(c.key) {
				heap.Push(&x.queue, c)
			}
		}
	}
	x.proven = true
	if x.best.plan != nil {
		x.bound = key{x.best.weight, x.best.units}
	}
	return x.best, nil
}

// firstTwo gives the first two plans, in the order of the lines and their options, that are as good as the best one; nil: there is
// none. done: that is certain.
func (x *search) firstTwo(best result, limit int) (first, second []int, done bool, err error) {
	most := key{best.weight, best.units + slack*(1+best.units)}
	if x.whole {
		most.till = best.units
	}
	var walk func(n *node) bool
	walk = func(n *node) bool { // false: stop
		if !x.assess(n) || most.less(n.key) {
			return true
		}
		if n.depth == len(x.order) {
			var r result
			if r, err = x.shop(x.planOf(n)); err != nil {
				return false
			}
			if r.plan == nil || r.weight != best.weight || r.till.Cmp(best.till) != 0 {
				return true
			}
			if first == nil {
				first = r.plan
				return true
			}
			second = r.plan
			return false
		}
		for _, o := range x.options[x.order[n.depth]] {
			if x.nodes >= limit {
				return false
			}
			if !walk(x.child(n, o)) {
				return false
			}
		}
		return true
	}
	finished := walk(&node{})
	return first, second, err == nil && (finished || second != nil), err
}

// queue is a heap of nodes: lowest bound, then deepest, then oldest.
type queue []*node

func (q queue) Len() int { return len(q) }
func (q queue) Less(i, j int) bool {
	a, b := q[i], q[j]
	if a.key != b.key {
		return a.key.less(b.key)
	}
	if a.depth != b.depth {
		return a.depth > b.depth
	}
	return a.number < b.number
}
func (q queue) Swap(i, j int) { q[i], q[j] = q[j], q[i] }
func (q *queue) Push(n any)   { *q = append(*q, n.(*node)) }
func (q *queue) Pop() any {
	n := (*q)[len(*q)-1]
	*q = (*q)[:len(*q)-1]
	return n
}
