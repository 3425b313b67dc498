package index

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// The figures stand in testdata/published/index_*.json, each with its source and
// whether it was read in a copy of the source, recomputed, or recalled.
const published = "../../testdata/published"

type figure struct {
	Name, Asks, Status, Source string
	Of                         input
	Want                       map[string]any
	Within                     struct {
		Abs, Rel float64
		Exact    bool
	}
}

// input is a figure's own inputs over those of the data set it names.
type input map[string]any

type topic struct {
	Sources map[string]string
	Data    map[string]input
	Figures []figure
}

func readTopic(t *testing.T, file string) topic {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(published, file))
	if err != nil {
		t.Fatal(err)
	}
	var x topic
	if err := json.Unmarshal(text, &x); err != nil {
		t.Fatalf("%s: %v", file, err)
	}
	return x
}

// answers gives, for one kind of figure, the values by the names in want.
type answers map[string]func(t *testing.T, in input) map[string]any

// checkTopic holds every figure of a file to the package: each kind must have an
// answer, each wanted value must be given.
func checkTopic(t *testing.T, file string, n int, kinds answers) {
	x := readTopic(t, file)
	if len(x.Figures) != n {
		t.Errorf("%s: got %d figures, want %d", file, len(x.Figures), n)
	}
	for _, f := range x.Figures {
		t.Run(f.Name, func(t *testing.T) {
			if x.Sources[f.Source] == "" {
				t.Errorf("source %q is not in the file", f.Source)
			}
			answer := kinds[f.Asks]
			if answer == nil {
				t.Fatalf("no answer to %q", f.Asks)
			}
			in := input{}
			if name, ok := f.Of["dataset"].(string); ok {
				for k, v := range x.Data[name] {
					in[k] = v
				}
			}
			for k, v := range f.Of {
				in[k] = v
			}
			got := answer(t, in)
			for k, want := range f.Want {
				f.compare(t, k, plain(t, got[k]), want)
			}
		})
	}
}

// plain is v as JSON would read it back, with NaN as null.
func plain(t *testing.T, v any) any {
	switch v := v.(type) {
	case float64:
		if math.IsNaN(v) {
			return nil
		}
		return v
	case int:
		return float64(v)
	case []float64:
		return list(t, v)
	case []bool:
		return list(t, v)
	case []string:
		return list(t, v)
	case map[string]bool:
		m := map[string]any{}
		for k, b := range v {
			m[k] = b
		}
		return m
	}
	return v
}

func list[T any](t *testing.T, v []T) []any {
	var x []any
	for _, e := range v {
		x = append(x, plain(t, e))
	}
	return x
}

func (f figure) compare(t *testing.T, what string, got, want any) {
	t.Helper()
	switch want := want.(type) {
	case []any:
		g, ok := got.([]any)
		if !ok || len(g) != len(want) {
			t.Errorf("%s: got %v, want %d values", what, got, len(want))
			return
		}
		for i := range want {
			f.compare(t, fmt.Sprintf("%s[%d]", what, i), g[i], want[i])
		}
	case map[string]any:
		g, ok := got.(map[string]any)
		if !ok || len(g) != len(want) {
			t.Errorf("%s: got %v, want %v", what, got, want)
			return
		}
		for k := range want {
			f.compare(t, what+"."+k, g[k], want[k])
		}
	case float64:
		g, ok := got.(float64)
		if tol := math.Max(f.Within.Abs, f.Within.Rel*math.Abs(want)); !ok || !(math.Abs(g-want) <= tol) {
			t.Errorf("%s: got %v, want %v within %v", what, got, want, tol)
		}
	default:
		if got != want {
			t.Errorf("%s: got %v, want %v", what, got, want)
		}
	}
}

func (in input) has(k string) bool { _, ok := in[k]; return ok }

func (in input) text(k string) string { s, _ := in[k].(string); return s }

func (in input) flag(k string) bool { b, _ := in[k].(bool); return b }

func (in input) num(t *testing.T, k string) float64 {
	t.Helper()
	v, ok := in[k].(float64)
	if !ok {
		t.Fatalf("input %q is not a number: %v", k, in[k])
	}
	return v
}

// vec is a list of numbers, null as NaN; a single number is a list of one.
func (in input) vec(t *testing.T, k string) []float64 {
	t.Helper()
	return vec(t, k, in[k])
}

func vec(t *testing.T, k string, v any) []float64 {
	t.Helper()
	if x, ok := v.(float64); ok {
		return []float64{x}
	}
	l, ok := v.([]any)
	if !ok {
		t.Fatalf("input %q is not a list: %v", k, v)
	}
	x := make([]float64, len(l))
	for i := range l {
		if x[i] = math.NaN(); l[i] != nil {
			x[i] = l[i].(float64)
		}
	}
	return x
}

func (in input) panel(t *testing.T, k string) [][]float64 {
	t.Helper()
	l, ok := in[k].([]any)
	if !ok {
		t.Fatalf("input %q is not a panel: %v", k, in[k])
	}
	x := make([][]float64, len(l))
	for i := range l {
		x[i] = vec(t, k, l[i])
	}
	return x
}

func (in input) strings(k string) []string {
	var s []string
	l, _ := in[k].([]any)
	for _, v := range l {
		s = append(s, v.(string))
	}
	return s
}

// turvey reads the seasonal panel, months by products.
func turvey(t *testing.T) (p, q [][]float64) {
	t.Helper()
	file, err := os.Open(filepath.Join(published, "index_turvey.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	r := csv.NewReader(file)
	r.Comment = '#'
	lines, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range lines[1:] {
		var pq [2][]float64
		for i, cell := range line[1:] {
			v := math.NaN()
			if cell != "" {
				if v, err = strconv.ParseFloat(cell, 64); err != nil {
					t.Fatal(err)
				}
			}
			pq[i%2] = append(pq[i%2], v)
		}
		p, q = append(p, pq[0]), append(q, pq[1])
	}
	if len(p) != 48 {
		t.Fatalf("Turvey data: got %d months, want 48", len(p))
	}
	return p, q
}

func must[T any](t *testing.T) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}
