package meal

import (
	"errors"
	"fmt"
	"math/big"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// tried is a plan as brute force sees it: whole money, nothing of the package's own.
type tried struct {
	plan               []int
	sacrifice, changes int
	cost               int64
}

// all lists every plan of lines, in the order of their names and their options' names.
func all(lines []Choice, cost func(plan []int) (int64, bool)) (list []tried) {
	order := make([]int, len(lines))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return strings.Compare(lines[a].Name, lines[b].Name) })
	plan := make([]int, len(lines))
	var walk func(k int)
	walk = func(k int) {
		if k == len(order) {
			money, ok := cost(plan)
			if !ok {
				return
			}
			x := tried{plan: slices.Clone(plan), cost: money}
			for i, o := range plan {
				if o > 0 {
					x.sacrifice += lines[i].Options[o].Sacrifice
					x.changes++
				}
			}
			list = append(list, x)
			return
		}
		i := order[k]
		names := make([]int, len(lines[i].Options))
		for o := range names {
			names[o] = o
		}
		slices.SortStableFunc(names, func(a, b int) int { return strings.Compare(lines[i].Options[a].Name, lines[i].Options[b].Name) })
		for _, o := range names {
			plan[i] = o
			walk(k + 1)
		}
	}
	walk(0)
	return list
}

// best gives the first plan within the target, the next as good, and the least cost of all.
func best(list []tried, target int64) (first, second []int, least int64) {
	var top *tried
	least = list[0].cost
	for i := range list {
		x := &list[i]
		least = min(least, x.cost)
		if x.cost > target {
			continue
		}
		if top == nil || x.sacrifice < top.sacrifice || x.sacrifice == top.sacrifice && (x.changes < top.changes || x.changes == top.changes && x.cost < top.cost) {
			top, second = x, nil
		} else if second == nil && x.sacrifice == top.sacrifice && x.changes == top.changes && x.cost == top.cost {
			second = x.plan
		}
	}
	if top != nil {
		first = top.plan
	}
	return first, second, least
}

func names(n int, r *rand.Rand, prefix string) []string {
	list := make([]string, n)
	for i := range list {
		list[i] = fmt.Sprint(prefix, i)
	}
	r.Shuffle(n, func(i, j int) { list[i], list[j] = list[j], list[i] })
	return list
}

func TestLeastSacrificeAgainstBruteForce(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 1))
	ties, unreached, left := 0, 0, 0
	for n := range 1000 {
		lines := make([]Choice, 1+r.IntN(8))
		coarse := int64(1)
		if n%2 == 0 {
			coarse = 50 // few distinct costs: many ties
		}
		var before, lowest int64
		for i, name := range names(len(lines), r, "line") {
			lines[i].Name = name
			low := int64(1 << 40)
			for o, option := range names(1+r.IntN(4), r, "way") {
				c := (1 + r.Int64N(200/coarse)) * coarse
				x := Option{Name: option, Sacrifice: r.IntN(4), Cost: dec(c, 2)}
				if o == 0 {
					x.Sacrifice = 0
					before += c
				} else if r.IntN(20) == 0 {
					x.Cost = nil
					left++
				}
				if x.Cost != nil {
					low = min(low, c)
				}
				lines[i].Options = append(lines[i].Options, x)
			}
			lowest += low
		}
		target := lowest - 5 + r.Int64N(before-lowest+10)
		list := all(lines, func(plan []int) (sum int64, ok bool) {
			for i, o := range plan {
				c := lines[i].Options[o].Cost
				if c == nil {
					return 0, false
				}
				sum += new(big.Rat).Mul(c, rat("100")).Num().Int64()
			}
			return sum, true
		})
		first, second, least := best(list, target)
		s, err := LeastSacrifice(lines, dec(target, 2))
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(s.Chosen, first) || !slices.Equal(s.Tie, second) || s.Feasible != (first != nil) || s.Least.Cmp(dec(least, 2)) != 0 {
			t.Fatalf("plan %d, target %d: got %v, tie %v, least %s, want %v, tie %v, least %d", n, target, s.Chosen, s.Tie, s.Least, first, second, least)
		}
		if second != nil {
			ties++
		}
		if first == nil {
			unreached++
			continue
		}
		saved := new(big.Rat).Set(s.Before)
		for _, c := range s.Changes {
			saved.Sub(saved, c.Saving)
		}
		if saved.Cmp(s.After) != 0 {
			t.Fatalf("plan %d: before %s less savings is %s, want %s", n, s.Before, saved, s.After)
		}
	}
	if ties < 50 || unreached < 50 || left < 50 {
		t.Errorf("too few of a kind: %d ties, %d out of reach, %d options without a cost", ties, unreached, left)
	}
}

// market is a shopping that brute force can cost in whole grams and cents.
type market struct {
	plan  Plan
	lines []Choice
	goods []struct{ size, price, deal, dealPrice, stock int64 }
	takes map[string][][2]int64 // line and option: good and grams
}

func newMarket(r *rand.Rand, most int) *market {
	m := &market{takes: map[string][][2]int64{}}
	for g := range 1 + r.IntN(6) {
		x := struct{ size, price, deal, dealPrice, stock int64 }{size: 100 * (1 + r.Int64N(10)), price: 10 * (3 + r.Int64N(40))}
		o := Offer{Good: fmt.Sprint("good", g), Size: dec(x.size, 3), Price: dec(x.price, 2)}
		if r.IntN(3) == 0 {
			x.deal = 2 + r.Int64N(2)
			x.dealPrice = x.deal * x.price * (7 + r.Int64N(3)) / 10
			o.Multibuy = &Multibuy{x.deal, dec(x.dealPrice, 2)}
		}
		if r.IntN(3) == 0 {
			x.stock = 50 * r.Int64N(12)
			m.plan.Pantry = append(m.plan.Pantry, Stock{Good: o.Good, Quantity: dec(x.stock, 3)})
		}
		m.plan.Offers, m.goods = append(m.plan.Offers, o), append(m.goods, x)
	}
	line := func(key string) Line {
		g, q := r.IntN(len(m.goods)), 50*r.Int64N(20)
		m.takes[key] = append(m.takes[key], [2]int64{int64(g), q})
		return Line{Day: 1 + r.IntN(5), Good: fmt.Sprint("good", g), Quantity: dec(q, 3)}
	}
	for range r.IntN(3) {
		m.plan.Lines = append(m.plan.Lines, line(""))
	}
	m.lines = make([]Choice, 1+r.IntN(most))
	for i, name := range names(len(m.lines), r, "line") {
		m.lines[i].Name = name
		for o, option := range names(1+r.IntN(4), r, "way") {
			x := Option{Name: option, Sacrifice: r.IntN(4)}
			if o == 0 {
				x.Sacrifice = 0
			}
			for range 1 + r.IntN(5)/4 {
				x.Lines = append(x.Lines, line(fmt.Sprint(i, ",", o)))
			}
			m.lines[i].Options = append(m.lines[i].Options, x)
		}
	}
	return m
}

// table lists what each option takes, so that the count below is quick.
func (m *market) table() (fixed [][2]int64, takes [][][][2]int64) {
	for i, line := range m.lines {
		takes = append(takes, nil)
		for o := range line.Options {
			takes[i] = append(takes[i], m.takes[fmt.Sprint(i, ",", o)])
		}
	}
	return m.takes[""], takes
}

// cents is the till cost of a plan: every good's grams less stock, packs rounded up, every number of multibuys tried.
func (m *market) cents(fixed [][2]int64, takes [][][][2]int64, plan []int) (sum int64) {
	var need [6]int64
	for _, x := range fixed {
		need[x[0]] += x[1]
	}
	for i, o := range plan {
		for _, x := range takes[i][o] {
			need[x[0]] += x[1]
		}
	}
	for g, x := range m.goods {
		packs := (max(0, need[g]-x.stock) + x.size - 1) / x.size
		cost := packs * x.price
		for d := int64(1); x.deal > 0 && (d-1)*x.deal < packs; d++ {
			cost = min(cost, d*x.dealPrice+max(0, packs-d*x.deal)*x.price)
		}
		sum += cost
	}
	return sum
}

// ways has every second plan searched line by line, every fourth in part.
func ways(n int) int { return []int{1 << 16, 1, 1 << 16, 20}[n%4] }

func TestLeastSacrificeAtTillAgainstBruteForce(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 2))
	ties, unreached, changed, nodes := 0, 0, 0, 0
	for n := range 1000 {
		m := newMarket(r, 8)
		fixed, takes := m.table()
		list := all(m.lines, func(plan []int) (int64, bool) { return m.cents(fixed, takes, plan), true })
		low, high := list[0].cost, m.cents(fixed, takes, make([]int, len(m.lines)))
		for _, x := range list {
			low = min(low, x.cost)
		}
		target := low - 20 + r.Int64N(high-low+40)
		first, second, least := best(list, target)
		s, err := leastAtTill(m.lines, m.plan, dec(target, 2), DefaultLimit, ways(n))
		if err != nil {
			t.Fatal(err)
		}
		if !s.Proven || !s.TieProven || !s.LeastProven {
			t.Fatalf("plan %d of %d lines: not proven after %d nodes", n, len(m.lines), s.Nodes)
		}
		if !slices.Equal(s.Chosen, first) || !slices.Equal(s.Tie, second) || s.Feasible != (first != nil) || s.Least.Cmp(dec(least, 2)) != 0 ||
			s.Before.Cmp(dec(high, 2)) != 0 || s.LeastBound.Cmp(s.Least) != 0 {
			t.Fatalf("plan %d, target %d: got %v, tie %v, before %s, least %s, want %v, tie %v, before %d, least %d", n, target, s.Chosen, s.Tie, s.Before, s.Least,
				first, second, high, least)
		}
		if got := m.cents(fixed, takes, s.LeastChosen); got != least {
			t.Fatalf("plan %d: the plan of least cost costs %d, want %d", n, got, least)
		}
		if nodes = max(nodes, s.Nodes); second != nil {
			ties++
		}
		if first == nil {
			unreached++
			continue
		}
		if got := m.cents(fixed, takes, s.Chosen); s.After.Cmp(dec(got, 2)) != 0 || s.SacrificeBound != s.Sacrifice {
			t.Fatalf("plan %d: got %s after, sacrifice %d >= %d, want %d", n, s.After, s.Sacrifice, s.SacrificeBound, got)
		}
		if len(s.Changes) > 0 {
			changed++
		}
	}
	t.Logf("at most %d nodes", nodes)
	if ties < 30 || unreached < 30 || changed < 300 {
		t.Errorf("too few of a kind: %d ties, %d out of reach, %d changed", ties, unreached, changed)
	}
}

// With days, keeping times, the cupboard and loose goods: every plan shopped.
func TestLeastSacrificeAtTillInTime(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 3))
	for n := range 200 {
		m := newMarket(r, 4)
		p := &m.plan
		p.InTime, p.BuyCupboard = n%2 == 0, n%3 == 0
		for g := range p.Offers {
			p.Keeps = append(p.Keeps, Keeps{p.Offers[g].Good, r.IntN(5), r.IntN(3)})
			p.Offers[g].Loose = p.Offers[g].Multibuy == nil && r.IntN(3) == 0
		}
		for i := range p.Pantry {
			p.Pantry[i].UseBy, p.Pantry[i].Sealed = r.IntN(6), r.IntN(2) == 0
		}
		for i := range m.lines {
			for o := range m.lines[i].Options {
				for k := range m.lines[i].Options[o].Lines {
					m.lines[i].Options[o].Lines[k].Supply = Supply(r.IntN(5) / 3)
				}
			}
		}
		cost := func(plan []int) (int64, bool) {
			q := *p
			q.Lines = slices.Clone(p.Lines)
			for i, o := range plan {
				q.Lines = append(q.Lines, m.lines[i].Options[o].Lines...)
			}
			s, err := Shop(q)
			if err != nil || s.Till == nil {
				t.Fatal(err)
			}
			x := new(big.Rat).Mul(s.Till, big.NewRat(100*7*9*11*13, 1)) // sizes divide 1000 and so prices per gram
			x.Mul(x, big.NewRat(1000, 1))
			if !x.IsInt() {
				t.Fatalf("%s is no whole number", x)
			}
			return x.Num().Int64(), true
		}
		list := all(m.lines, cost)
		target := list[r.IntN(len(list))].cost
		first, second, least := best(list, target)
		unit := func(x int64) *big.Rat { return big.NewRat(x, 100*7*9*11*13*1000) }
		s, err := leastAtTill(m.lines, *p, unit(target), DefaultLimit, ways(n))
		if err != nil {
			t.Fatal(err)
		}
		if !s.Proven || !s.LeastProven || !s.TieProven || !slices.Equal(s.Chosen, first) || !slices.Equal(s.Tie, second) || s.Least.Cmp(unit(least)) != 0 {
			t.Fatalf("plan %d: got %v, tie %v, least %s, want %v, tie %v, least %s", n, s.Chosen, s.Tie, s.Least, first, second, unit(least))
		}
	}
}

// large makes lines of six ways over so many goods.
func large(r *rand.Rand, lines, goods int) ([]Choice, Plan) {
	var p Plan
	for g := range goods {
		p.Offers = append(p.Offers, Offer{Good: fmt.Sprint("good", g), Size: dec(250*(1+r.Int64N(6)), 3), Price: dec(80+r.Int64N(700), 2)})
	}
	list := make([]Choice, lines)
	for i := range list {
		list[i].Name = fmt.Sprintf("line %02d", i)
		q := dec(50+r.Int64N(900), 3)
		for o := range 6 {
			offer := p.Offers[r.IntN(goods)]
			x := Option{Name: fmt.Sprint("way ", o), Lines: []Line{{Day: 1 + i/9, Dish: "dish", Number: i, Good: offer.Good, Quantity: q}}}
			x.Cost = new(big.Rat).Mul(q, new(big.Rat).Quo(offer.Price, offer.Size))
			x.Cost.Quo(x.Cost, dec(50+r.Int64N(50), 2)) // a yield: odd denominators
			if o > 0 {
				x.Sacrifice = 1 + r.IntN(9)
			}
			list[i].Options = append(list[i].Options, x)
		}
	}
	return list, p
}

// A plan in which few lines share a good is solved, whatever its size.
func TestLeastSacrificeAtTillGroups(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	var p Plan
	var lines []Choice
	for i := range 30 { // items, each on two lines, in six grades
		size, price := dec(250*(1+r.Int64N(6)), 3), 80+r.Int64N(700)
		for g := range int64(6) {
			p.Offers = append(p.Offers, Offer{Good: fmt.Sprint("item", i, "/", g), Size: size, Price: dec(price*(20-2*g-r.Int64N(3))/20, 2)})
		}
		for k := range 2 {
			x, q := Choice{Name: fmt.Sprint("dish", (7*i+3*k)%11, " line", i)}, dec(50+r.Int64N(900), 3)
			for g := range 6 {
				l := Line{Day: 1, Good: fmt.Sprint("item", i, "/", g), Quantity: q}
				x.Options = append(x.Options, Option{Name: fmt.Sprint(g), Sacrifice: min(g, 1) * (1 + r.IntN(9)), Lines: []Line{l}})
			}
			lines = append(lines, x)
		}
	}
	low, err := LeastSacrificeAtTill(lines, p, new(big.Rat), 0)
	if err != nil {
		t.Fatal(err)
	}
	s, err := LeastSacrificeAtTill(lines, p, halfway(low.Before, low.Least), 0)
	if err != nil {
		t.Fatal(err)
	}
	if !low.LeastProven || !s.Proven || !s.TieProven || !s.Feasible || s.SacrificeBound != s.Sacrifice || s.Sacrifice == 0 {
		t.Errorf("got %+v, want it solved", s)
	}
	t.Logf("sacrifice %d in %d changes, till %s of %s, least %s, %d nodes", s.Sacrifice, len(s.Changes), s.After, s.Before, s.Least, s.Nodes)
}

// halfway is a target between what a plan costs and the least it can.
func halfway(before, least *big.Rat) *big.Rat {
	x := new(big.Rat).Add(before, least)
	return x.Quo(x, rat("2"))
}

// What is found under a limit is never better than what is proven, never over the target, and a higher limit proves no less.
func TestLeastSacrificeAtTillLimit(t *testing.T) {
	lines, p := large(rand.New(rand.NewPCG(5, 4)), 60, 25)
	x, err := LeastSacrificeAtTill(lines, p, new(big.Rat), 500)
	if err != nil {
		t.Fatal(err)
	}
	target := halfway(x.Before, x.Least)
	bound := 0
	for _, limit := range []int{500, 5000} {
		s, err := LeastSacrificeAtTill(lines, p, target, limit)
		if err != nil {
			t.Fatal(err)
		}
		if s.LeastBound.Cmp(s.Least) > 0 || s.LeastProven != (s.LeastBound.Cmp(s.Least) == 0) || !s.Feasible || s.After.Cmp(target) > 0 || s.SacrificeBound > s.Sacrifice {
			t.Errorf("limit %d: got %+v", limit, s)
		}
		if s.SacrificeBound < bound || !s.Proven && s.TieProven {
			t.Errorf("limit %d: got bound %d, it was %d; proven %v, tie %v", limit, s.SacrificeBound, bound, s.Proven, s.TieProven)
		}
		bound = s.SacrificeBound
		t.Logf("limit %d: sacrifice %d >= %d, till %s of %s, least %s >= %s, %d nodes", limit, s.Sacrifice, s.SacrificeBound, s.After.FloatString(2),
			target.FloatString(2), s.Least.FloatString(2), s.LeastBound.FloatString(2), s.Nodes)
	}
}

// The order of lines, and of options after the first, does not matter.
func TestSwapOrder(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	text := func(lines []Choice, s Swap) string {
		said := func(plan []int) (list []string) {
			for i, o := range plan {
				list = append(list, lines[i].Name+" "+lines[i].Options[o].Name)
			}
			slices.Sort(list)
			return list
		}
		var changes []string
		for _, c := range s.Changes {
			changes = append(changes, fmt.Sprint(lines[c.Choice].Name, c.From, c.To, c.Saving))
		}
		slices.Sort(changes)
		var singles []string
		for _, c := range s.Singles {
			singles = append(singles, fmt.Sprint(lines[c.Choice].Name, c.From, c.To, c.Sacrifice, c.Saving, c.Reaches))
		}
		return fmt.Sprint(said(s.Chosen), said(s.Tie), said(s.LeastChosen), changes, singles, s.Sacrifice, s.Before, s.After, s.Least)
	}
	for range 100 {
		m := newMarket(r, 6)
		for i := range m.lines {
			for o := range m.lines[i].Options {
				m.lines[i].Options[o].Cost = dec(10*r.Int64N(20), 2)
			}
		}
		portion, till := dec(40*int64(len(m.lines)), 2), dec(150*int64(len(m.lines)), 2)
		both := func() (string, string) {
			a, err := LeastSacrifice(m.lines, portion)
			b, err2 := LeastSacrificeAtTill(m.lines, m.plan, till, 0)
			if err := errors.Join(err, err2); err != nil {
				t.Fatal(err)
			}
			return text(m.lines, *a), text(m.lines, b.Swap)
		}
		a, b := both()
		r.Shuffle(len(m.lines), func(i, j int) { m.lines[i], m.lines[j] = m.lines[j], m.lines[i] })
		for i := range m.lines {
			rest := m.lines[i].Options[1:]
			r.Shuffle(len(rest), func(i, j int) { rest[i], rest[j] = rest[j], rest[i] })
		}
		if c, d := both(); a != c || b != d {
			t.Fatalf("another order: got\n%s\n%s\nwant\n%s\n%s", c, d, a, b)
		}
	}
}

func TestSwapRefused(t *testing.T) {
	way := func(cost string, sacrifice int) Option {
		return Option{Name: "way", Cost: rat(cost), Sacrifice: sacrifice}
	}
	for _, c := range []struct {
		name   string
		lines  []Choice
		target *big.Rat
		want   error
		named  string
	}{
		{"no target", []Choice{{"soup", []Option{way("1", 0)}}}, nil, ErrUnpriced, "target"},
		{"no options", []Choice{{Name: "soup"}}, rat("1"), ErrOptions, "soup"},
		{"too great a sacrifice", []Choice{{"soup", []Option{way("1", 0), way("1", 10)}}}, rat("1"), ErrOptions, "soup"},
		{"a sacrifice to stay", []Choice{{"soup", []Option{way("1", 1)}}}, rat("1"), ErrOptions, "soup"},
		{"no cost", []Choice{{"soup", []Option{{Name: "way"}}}, {"bread", []Option{{Name: "way"}}}}, rat("1"), ErrUnpriced, "soup, bread"},
	} {
		if _, err := LeastSacrifice(c.lines, c.target); !errors.Is(err, c.want) || !strings.Contains(err.Error(), c.named) {
			t.Errorf("%s: got %v, want %v naming %s", c.name, err, c.want, c.named)
		}
	}
	dear := Line{Day: 1, Dish: "soup", Number: 2, Good: "saffron", Quantity: rat("1")}
	at := []Choice{{"soup", []Option{{Name: "as it is", Lines: []Line{dear}}}}}
	if _, err := LeastSacrificeAtTill(at, Plan{}, rat("1"), 0); !errors.Is(err, ErrUnpriced) || !strings.Contains(err.Error(), "soup, line 2, saffron (price)") {
		t.Errorf("no price: got %v", err)
	}
	at = []Choice{{"soup", []Option{{Name: "as it is"}, {Name: "with", Lines: []Line{dear}}}}}
	s, err := LeastSacrificeAtTill(at, Plan{}, rat("1"), 0)
	if err != nil || len(s.Unpriced) != 1 || s.Unpriced[0].To != "with" || len(s.Singles) != 0 || !s.Feasible {
		t.Errorf("an option without a price: got %+v, %v, want it left out and told", s, err)
	}
	if s, err := LeastSacrifice(nil, rat("-1")); err != nil || s.Feasible || s.Least.Sign() != 0 {
		t.Errorf("no lines, below nothing: got %+v, %v", s, err)
	}
	none, err := LeastSacrificeAtTill(nil, Plan{}, rat("-1"), 0)
	if err != nil || none.Feasible || !none.Proven {
		t.Errorf("no lines, below nothing at the till: got %+v, %v", none, err)
	}
}

func BenchmarkLeastSacrifice(b *testing.B) {
	lines, _ := large(rand.New(rand.NewPCG(5, 4)), 60, 25)
	s, err := LeastSacrifice(lines, new(big.Rat))
	if err != nil {
		b.Fatal(err)
	}
	target := halfway(s.Before, s.Least)
	for b.Loop() {
		if _, err := LeastSacrifice(lines, target); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkLeastSacrificeAtTill(b *testing.B) {
	lines, p := large(rand.New(rand.NewPCG(5, 4)), 60, 25)
	for b.Loop() {
		if _, err := LeastSacrificeAtTill(lines, p, rat("150"), 0); err != nil {
			b.Fatal(err)
		}
	}
}
