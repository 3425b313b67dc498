package lp

import (
	"errors"
	"fmt"
	"math/big"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// rats reads numbers like "1 -2/3 0.5"; "-" is nil.
func rats(t testing.TB, text string) []*big.Rat {
	t.Helper()
	var x []*big.Rat
	for _, f := range strings.Fields(text) {
		if f == "-" {
			x = append(x, nil)
			continue
		}
		r, ok := new(big.Rat).SetString(f)
		if !ok {
			t.Fatalf("%q is not a number", f)
		}
		x = append(x, r)
	}
	return x
}

// program reads a problem: costs, limits of the variables ("" none), then rows
// "lower upper: coefficients".
func program(t testing.TB, cost, upper string, rows ...string) Problem {
	t.Helper()
	p := Problem{Cost: rats(t, cost), Upper: rats(t, upper)}
	for _, row := range rows {
		bounds, coef, _ := strings.Cut(row, ":")
		b := rats(t, bounds)
		p.Rows = append(p.Rows, Row{rats(t, coef), b[0], b[1]})
	}
	return p
}

func show(x []*big.Rat) string {
	var s []string
	for _, v := range x {
		if v == nil {
			s = append(s, "-")
		} else {
			s = append(s, v.RatString())
		}
	}
	return strings.Join(s, " ")
}

func showRanges(ranges []Range) string {
	var s []string
	for _, r := range ranges {
		if r.IsPoint() {
			s = append(s, show([]*big.Rat{r.Lo}))
		} else {
			s = append(s, strings.ReplaceAll(show([]*big.Rat{r.Lo, r.Hi}), " ", ".."))
		}
	}
	return strings.Join(s, " ")
}

func members(list []Member) string {
	var s []string
	for _, m := range list {
		s = append(s, fmt.Sprintf("%v %d", m.Bound, m.Index))
	}
	return strings.Join(s, ", ")
}

func TestSolve(t *testing.T) {
	for _, c := range []struct {
		name, cost, upper string
		rows              []string
		want, x           string // cost; ranges of x
		dual              string // ranges of the duals
	}{
		// by hand: x + y >= 2 is cheapest with x alone.
		{"one row", "1 2", "", []string{"2 -: 1 1"}, "2", "2 0", "1"},
		// by hand: equal prices, so any split.
		{"ties", "1 1", "", []string{"2 -: 1 1"}, "2", "0..2 0..2", "1"},
		// by hand: a third variable is free and without limit.
		{"free of charge", "1 1 0", "", []string{"2 -: 1 1 0"}, "2", "0..2 0..2 0..-", "1"},
		// by hand: x at its limit 1, y takes the rest.
		{"limit", "1 2", "1 -", []string{"2 -: 1 1"}, "3", "1 1", "2"},
		// by hand: the limit and the row meet in one point: less costs 1 less, more is 2 more.
		{"limit just met", "1 2", "2 -", []string{"2 -: 1 1"}, "2", "2 0", "1..2"},
		// by hand: nothing beyond 2 can be had at all.
		{"limit just met, no other", "1", "2", []string{"2 -: 1"}, "2", "2", "1..-"},
		{"equation", "3 1", "", []string{"6 6: 2 1", "- 4: 0 1"}, "7", "1 4", "3/2 -1/2"},
		{"range row", "-1 -1", "", []string{"1 5: 1 1", "- 3: 1 0"}, "-5", "0..3 2..5", "-1 0"},
		{"row without bounds", "1", "", []string{"- -: 1", "1/3 -: 1"}, "1/3", "1/3", "0 1"},
		{"row of zeros", "1", "", []string{"0 0: 0"}, "0", "0", "-..-"},
		{"nothing", "", "", nil, "0", "", ""},
		{"no rows", "1 -1", "- 3", nil, "-3", "0 3", ""},
		{"no variables", "", "", []string{"-1 0:"}, "0", "", "-..0"},
		{"twice the same row", "1", "", []string{"2 -: 1", "4 -: 2"}, "2", "2", "0..1 0..1/2"},
		// E. M. L. Beale, Cycling in the dual simplex algorithm, 1955, in the form of
		// Chvatal 1983 and others (from memory): cycles by the rule of the largest
		// coefficient. Optimum -1/20 at (1/25, 0, 1, 0).
		{"Beale", "-3/4 150 -1/50 6", "", []string{"- 0: 1/4 -60 -1/25 9", "- 0: 1/2 -90 -1/50 3", "- 1: 0 0 1 0"}, "-1/20", "1/25 0 1 0", "0 -3/2 -1/20"},
		// V. Klee and G. J. Minty, How good is the simplex algorithm, 1972, n = 3 (from
		// memory): most of 100 x1 + 10 x2 + x3 is 10000.
		{"Klee-Minty", "-100 -10 -1", "", []string{"- 1: 1 0 0", "- 100: 20 1 0", "- 10000: 200 20 1"}, "-10000", "0 0 10000", "0 0 -1"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := program(t, c.cost, c.upper, c.rows...)
			if c.upper == "" {
				p.Upper = nil
			}
			s, err := Solve(p)
			if err != nil {
				t.Fatal(err)
			}
			if err := s.Certify(p); err != nil {
				t.Error(err)
			}
			if got := s.Cost.RatString(); got != c.want {
				t.Errorf("cost: got %s, want %s", got, c.want)
			}
			if got := showRanges(s.XRange); got != c.x {
				t.Errorf("ranges: got %s, want %s", got, c.x)
			}
			if got := showRanges(s.DualRange); got != c.dual {
				t.Errorf("duals: got %s (%s), want %s", got, show(s.Dual), c.dual)
			}
		})
	}
}

// K&M in 12 dimensions would take 4095 steps by the textbook's rule; the answer is
// 100^11.
func TestKleeMinty12(t *testing.T) {
	const n = 12
	p := Problem{}
	power := func(b, e int64) *big.Rat {
		return new(big.Rat).SetInt(new(big.Int).Exp(big.NewInt(b), big.NewInt(e), nil))
	}
	for i := int64(0); i < n; i++ {
		row := Row{Upper: power(100, i)}
		for j := int64(0); j < n; j++ {
			v := new(big.Rat)
			if j == i {
				v.SetInt64(1)
			} else if j < i {
				v.Mul(big.NewRat(2, 1), power(10, i-j))
			}
			row.Coef = append(row.Coef, v)
		}
		p.Rows = append(p.Rows, row)
		p.Cost = append(p.Cost, new(big.Rat).Neg(power(10, n-1-i)))
	}
	s, err := Solve(p)
	if err != nil {
		t.Fatal(err)
	}
	if want := new(big.Rat).Neg(power(100, n-1)); s.Cost.Cmp(want) != 0 {
		t.Errorf("got %v, want %v", s.Cost, want)
	}
}

func TestInfeasible(t *testing.T) {
	for _, c := range []struct {
		name, cost, upper string
		rows              []string
		want              string
	}{
		{"row below itself", "1", "", []string{"3 2: 1"}, "row lower 0, row upper 0"},
		{"row of zeros", "1", "", []string{"1 2: 0"}, "row lower 0"},
		{"zeros, crossed and impossible alone", "1", "", []string{"3 2: 0"}, "row lower 0"},
		{"negative limit", "1", "-1", nil, "variable upper 0"},
		{"negative upper bound", "1 1", "", []string{"- -1: 1 2"}, "row upper 0"},
		{"no variables", "", "", []string{"1 -:"}, "row lower 0"},
		{"two rows", "1 1", "", []string{"- 9: 2 1", "5 -: 1 1", "- 4: 1 1"}, "row lower 1, row upper 2"},
		{"limits", "1 1 1", "1 1 9", []string{"3 -: 1 1 0", "- 8: 1 1 1"}, "row lower 0, variable upper 0, variable upper 1"},
		// by hand: x + y >= 5, y + z >= 5, x + z >= 5 want x + y + z >= 7.5.
		{"three and the sum", "1 1 1", "9 9 9", []string{"5 -: 1 1 0", "5 -: 0 1 1", "5 -: 1 0 1", "- 7: 1 1 1", "1 -: 1 0 0"},
			"row lower 0, row lower 1, row lower 2, row upper 3"},
		{"equation", "1 1", "", []string{"2 2: 1 1", "3 -: 1 0"}, "row upper 0, row lower 1"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := program(t, c.cost, c.upper, c.rows...)
			if c.upper == "" {
				p.Upper = nil
			}
			s, err := Solve(p)
			var no *Infeasible
			if s != nil || !errors.Is(err, ErrInfeasible) || !errors.As(err, &no) {
				t.Fatalf("got %v, %v, want no solution", s, err)
			}
			if got := members(no.Conflict); got != c.want {
				t.Errorf("conflict: got %s, want %s", got, c.want)
			}
			checkConflict(t, p, no)
		})
	}
}

// checkConflict holds a conflict to its proof, and each member to being needed.
func checkConflict(t *testing.T, p Problem, no *Infeasible) {
	t.Helper()
	if err := no.Certify(p); err != nil {
		t.Error(err)
	}
	for k, m := range no.Conflict {
		rest := slices.Delete(slices.Clone(no.Conflict), k, k+1)
		q := only(p, rest)
		for j := range q.Cost {
			q.Cost = slices.Clone(q.Cost)
			q.Cost[j] = new(big.Rat)
		}
		if s, err := Solve(q); err != nil || s.Certify(q) != nil {
			t.Errorf("without %v %d: got %v, want a solution", m.Bound, m.Index, err)
		}
	}
}

func TestUnbounded(t *testing.T) {
	for _, c := range []struct {
		name, cost, upper string
		rows              []string
	}{
		{"alone", "-1", "", nil},
		{"two", "1 -2", "9 -", []string{"1 -: 1 1"}},
		{"along an equation", "-1 -1", "", []string{"1 1: 1 -1"}},
	} {
		p := program(t, c.cost, c.upper, c.rows...)
		if c.upper == "" {
			p.Upper = nil
		}
		s, err := Solve(p)
		var no *Unbounded
		if s != nil || !errors.Is(err, ErrUnbounded) || !errors.As(err, &no) {
			t.Errorf("%s: got %v, %v, want no least value", c.name, s, err)
		} else if err := no.Certify(p); err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

// A changed answer is not certified.
func TestCertifyRefuses(t *testing.T) {
	p := program(t, "1 2", "1 -", "2 9: 1 1", "0 -: 1 -1")
	for name, change := range map[string]func(*Solution){
		"cost":              func(s *Solution) { s.Cost = big.NewRat(29, 10) },
		"not feasible":      func(s *Solution) { s.X = rats(t, "1 0.9") },
		"negative":          func(s *Solution) { s.X = rats(t, "-1 3") },
		"over the limit":    func(s *Solution) { s.X, s.Cost = rats(t, "2 0"), big.NewRat(2, 1) },
		"not least":         func(s *Solution) { s.X, s.Activity, s.Cost = rats(t, "1 2"), rats(t, "3 -1"), big.NewRat(5, 1) },
		"activity":          func(s *Solution) { s.Activity = rats(t, "3 0") },
		"dual":              func(s *Solution) { s.Dual = rats(t, "1 0") },
		"dual on no bound":  func(s *Solution) { s.Dual, s.Reduced = rats(t, "2 -1"), rats(t, "0 -1") },
		"reduced":           func(s *Solution) { s.Reduced = rats(t, "0 0") },
		"would be cheaper":  func(s *Solution) { s.Dual, s.Reduced = rats(t, "3 0"), rats(t, "-2 -1") },
		"numbers left out":  func(s *Solution) { s.X = s.X[:1] },
		"another dual zero": func(s *Solution) { s.Dual, s.Reduced = rats(t, "0 0"), rats(t, "1 2") },
	} {
		s, err := Solve(p)
		if err != nil {
			t.Fatal(err)
		}
		if change(s); !errors.Is(s.Certify(p), ErrCertificate) {
			t.Errorf("%s: certified", name)
		}
	}
	p = program(t, "1 1", "3 -", "9 -: 1 0", "- 5: 1 1", "1 1: 0 1")
	for name, conflict := range map[string][]Member{
		"none":               {},
		"not enough":         {{RowLower, 0, one}},
		"enough":             nil,
		"negative":           {{RowLower, 0, one}, {VariableUpper, 0, big.NewRat(-1, 1)}},
		"no weight":          {{RowLower, 0, nil}, {VariableUpper, 0, one}},
		"no such bound":      {{RowLower, 0, one}, {VariableUpper, 0, one}, {RowUpper, 0, one}},
		"no such limit":      {{VariableUpper, 1, one}},
		"no contradiction":   {{RowLower, 2, one}, {RowUpper, 2, one}},
		"weights do not fit": {{RowLower, 0, big.NewRat(2, 1)}, {VariableUpper, 0, one}},
	} {
		no := &Infeasible{conflict}
		if name == "enough" {
			no.Conflict = []Member{{RowLower, 0, one}, {VariableUpper, 0, one}}
		}
		if err := no.Certify(p); (err == nil) != (name == "enough") {
			t.Errorf("%s: got %v", name, err)
		}
	}
	p = program(t, "-1 1 0", "- - 3", "1 -: 1 1 0", "- 9: 0 1 0")
	for name, no := range map[string]*Unbounded{
		"good":           {rats(t, "1 0 0"), rats(t, "1 0 0")},
		"no point":       {rats(t, "0 0 0"), rats(t, "1 0 0")},
		"into the limit": {rats(t, "1 0 0"), rats(t, "1 0 1")},
		"into the row":   {rats(t, "1 0 0"), rats(t, "2 1 0")},
		"backwards":      {rats(t, "1 0 0"), rats(t, "-1 0 0")},
		"does not fall":  {rats(t, "1 0 0"), rats(t, "0 0 0")},
		"too short":      {rats(t, "1 0 0"), rats(t, "1")},
	} {
		if err := no.Certify(p); (err == nil) != (name == "good") {
			t.Errorf("%s: got %v", name, err)
		}
	}
}

func TestCostWith(t *testing.T) {
	p := program(t, "1 2", "2 3", "1 -: 1 1")
	s, err := Solve(p)
	if err != nil {
		t.Fatal(err)
	}
	for lower, want := range map[string]string{"0": "0", "1": "1", "2": "2", "3": "4", "5": "8", "6": ""} {
		got, err := s.CostWith(0, rats(t, lower)[0], nil)
		if want == "" {
			if got != nil || !errors.Is(err, ErrInfeasible) {
				t.Errorf("at %s: got %v, %v, want infeasible", lower, got, err)
			}
		} else if err != nil || got.RatString() != want {
			t.Errorf("at %s: got %v, %v, want %s", lower, got, err, want)
		}
	}
	if _, err := s.CostWith(0, big.NewRat(2, 1), big.NewRat(1, 1)); !errors.Is(err, ErrInfeasible) {
		t.Errorf("crossed bounds: got %v", err)
	}
	if s.Cost.RatString() != "1" || s.Certify(p) != nil {
		t.Error("the solution changed")
	}
	p = program(t, "-1", "-", "0 1: 1")
	if s, err = Solve(p); err != nil {
		t.Fatal(err)
	}
	if got, err := s.CostWith(0, nil, nil); !errors.Is(err, ErrUnbounded) {
		t.Errorf("without bounds: got %v, %v, want unbounded", got, err)
	}
}

func TestNumbers(t *testing.T) {
	for text, want := range map[string]string{"0.1": "1/10", "-12.50": "-25/2", "+3": "3", ".5": "1/2", "7.": "7",
		"": "", ".": "", "1e9": "", "1/3": "", "0x10": "", "1_000": "", "--1": "", "+-1": "", "1.2.3": "", "1,5": "", " 1": "", "inf": "", "1-": ""} {
		got, err := Decimal(text)
		if want == "" {
			if !errors.Is(err, ErrNumber) {
				t.Errorf("%q: got %v, %v", text, got, err)
			}
		} else if err != nil || got.RatString() != want {
			t.Errorf("%q: got %v, %v, want %s", text, got, err, want)
		}
	}
	zero := 0.0
	if got, err := Float(0.1); err != nil || got.RatString() != "3602879701896397/36028797018963968" {
		t.Errorf("0.1: got %v, %v", got, err)
	}
	for _, v := range []float64{1 / zero, -1 / zero, zero / zero} {
		if got, err := Float(v); !errors.Is(err, ErrNumber) {
			t.Errorf("%v: got %v, %v", v, got, err)
		}
	}
	if f := Floats(rats(t, "1/2 - 3")); f[0] != .5 || f[1] == f[1] || f[2] != 3 {
		t.Errorf("got %v", f)
	}
	for _, p := range []Problem{{Cost: rats(t, "1 -")}, {Cost: rats(t, "1"), Rows: []Row{{Coef: rats(t, "-")}}}} {
		if s, err := Solve(p); s != nil || !errors.Is(err, ErrMissing) {
			t.Errorf("got %v, %v, want missing", s, err)
		}
	}
	for _, p := range []Problem{{Cost: rats(t, "1"), Upper: rats(t, "1 2")}, {Cost: rats(t, "1"), Rows: []Row{{}}}} {
		func() {
			defer func() {
				if recover() == nil {
					t.Error("no panic for slices of different length")
				}
			}()
			Solve(p)
		}()
	}
}

// A problem changed after it was solved changes no answer.
func TestOwnNumbers(t *testing.T) {
	p := program(t, "1 2", "2 3", "1 -: 1 1")
	s, err := Solve(p)
	if err != nil {
		t.Fatal(err)
	}
	p.Cost[0].SetInt64(100)
	p.Rows[0].Coef[0].SetInt64(100)
	p.Upper[0].SetInt64(0)
	if got, err := s.CostWith(0, big.NewRat(2, 1), nil); err != nil || got.RatString() != "2" {
		t.Errorf("got %v, %v, want 2", got, err)
	}
}

// The rule that ends cycles, from the first move on, comes to the same costs.
func TestFirstVariable(t *testing.T) {
	problems := []Problem{program(t, "-3/4 150 -1/50 6", "- - - -", "- 0: 1/4 -60 -1/25 9", "- 0: 1/2 -90 -1/50 3", "- 1: 0 0 1 0")}
	rng := rand.New(rand.NewPCG(19, 77))
	for range 300 {
		problems = append(problems, drawDiet(rng, 1+rng.IntN(10), 1+rng.IntN(8)))
	}
	for k, p := range problems {
		s, err := Solve(p)
		if crossed(p) {
			continue
		}
		first := newSimplex(p)
		first.patience = -1
		if got := first.findFeasible(); got != (err == nil) {
			t.Fatalf("%d: feasible %v, Solve %v", k, got, err)
		}
		if err != nil {
			continue
		}
		cost, _ := integers(p.Cost)
		if first.minimise(cost) != nil || dot(p.Cost, first.x[:first.n]).Cmp(s.Cost) != 0 {
			t.Fatalf("%d: got %v, want %v", k, dot(p.Cost, first.x[:first.n]), s.Cost)
		}
	}
}
