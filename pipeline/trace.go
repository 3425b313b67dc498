package pipeline

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"net/url"
	"path/filepath"
	"slices"
	"strings"

	"farthing/pipeline/intake"
	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// Node is one published value and what it was made from, down to lines of files.
type Node struct {
	Key           string  `json:"key,omitempty"`
	ObservationID string  `json:"observation_id,omitempty"`
	Value         any     `json:"value"` // a number, a text, or null
	Formula       string  `json:"formula,omitempty"`
	File          string  `json:"file,omitempty"`
	SHA256        string  `json:"sha256,omitempty"`
	Line          int     `json:"line,omitempty"`
	Text          string  `json:"text,omitempty"`
	Inputs        []*Node `json:"inputs,omitempty"`
}

// Trace walks a published value back to the lines behind it and computes it
// again on the way: a value that does not come out again is an error. The key
// is table/key columns/column, each percent-encoded. It reads an edition's
// files and the archive, and shares no formula with the packages that compute.
// Amounts, costs, prices, real values, parities, what moved and what a meal
// costs are computed again; dates, whole days, ranges and ranks show what they
// are made from.
func Trace(w *workspace.Workspace, key string) (*Node, error) {
	dir, err := w.CurrentEdition()
	if err != nil {
		return nil, err
	}
	e, err := result.Load(dir)
	if err != nil {
		return nil, err
	}
	then, err := workspace.Open(dir) // the settings and tables of the edition, not those edited since
	if err != nil {
		return nil, err
	}
	t, err := then.Tables()
	if err != nil {
		return nil, err
	}
	tr := &tracer{w: w, then: then, e: e, tables: t, months: map[string][]map[string]string{}, texts: map[string][][]byte{}, rows: map[string]map[string]int{}, done: map[string]*Node{}}
	return tr.trace(key)
}

// same says whether a value computed again is the published one: both are
// rounded float64 arithmetic on logs kept to 1e-12.
func same(a, b float64) bool { return math.Abs(a-b) <= 1e-9*math.Max(1, math.Abs(b)) }

type tracer struct {
	w      *workspace.Workspace
	e      *result.Edition
	then   *workspace.Workspace
	tables *workspace.Tables
	months map[string][]map[string]string // observations that count, by month
	texts  map[string][][]byte            // lines of archived files, by hash

	noted map[goods]map[string][]result.Month // months of each series; nil until asked for
	rows  map[string]map[string]int           // where the row of a key stands, by table; filled where asked for
	done  map[string]*Node                    // what was traced before, by key
}

// goods are an item's prices of one kind, quote or average, in a region.
type goods struct{ kind, region, item, grade string }

func (t *tracer) trace(key string) (*Node, error) {
	parts := strings.Split(key, "/")
	for i, p := range parts {
		s, err := url.PathUnescape(p)
		if err != nil {
			return nil, badKey(key, "percent-encode each part")
		}
		parts[i] = s
	}
	if len(parts) < 2 {
		return nil, badKey(key, "write table/key/…/column, as reach/PROGRAMME/KIND/REGION/HOUSEHOLD/BASKET/2024-02/reach_days")
	}
	table, keys, column := parts[0], parts[1:len(parts)-1], parts[len(parts)-1]
	switch table {
	case "reach":
		return find(t, t.e.Reach, table, keys, column, t.reach)
	case "basket":
		return find(t, t.e.Baskets, table, keys, column, t.basket)
	case "basket_lines":
		return find(t, t.e.Lines, table, keys, column, t.line)
	case "item":
		return find(t, t.e.Items, table, keys, column, t.item)
	case "allowances":
		return find(t, t.e.Allowances, table, keys, column, t.allowance)
	case "moved":
		return find(t, t.e.Moved, table, keys, column, t.moved)
	case "basket_changes":
		return find(t, t.e.Changes, table, keys, column, t.basketChange)
	case "regions":
		return find(t, t.e.Levels, table, keys, column, t.regionLevel)
	case "shoppings":
		return find(t, t.e.Shoppings, table, keys, column, t.shopping)
	case "meals":
		return find(t, t.e.Meals, table, keys, column, t.meal)
	case "meal_lines":
		return find(t, t.e.MealLines, table, keys, column, t.mealLine)
	case "shopping_lines":
		return find(t, t.e.ShoppingLines, table, keys, column, t.shoppingLine)
	case "diets":
		return find(t, t.e.Diets, table, keys, column, t.diet)
	case "diet_lines":
		return find(t, t.e.DietLines, table, keys, column, t.dietLine)
	}
	return nil, badKey(key, "the tables are reach, basket, basket_lines, item, allowances, moved, basket_changes, regions, shoppings, meals, meal_lines, shopping_lines, diets, diet_lines")
}

func badKey(key, instead string) error {
	return &workspace.InputError{Code: "unknown_name", Field: "key", Read: fmt.Sprintf("%q", key), Instead: instead}
}

// find looks a row up by its key and traces one of its columns.
func find[T any](t *tracer, rows []T, table string, keys []string, column string, trace func(T, string) (*Node, error)) (*Node, error) {
	full := keyOf(table, append(slices.Clone(keys), column)...)
	if want := result.Keys[T](); len(want) != len(keys) {
		return nil, badKey(full, "the key of "+table+" is "+strings.Join(want, "/"))
	}
	if known := result.Columns[T](); !slices.Contains(known, column) {
		return nil, badKey(full, workspace.DidYouMean(column, known, "the columns are "+strings.Join(known, ", ")))
	}
	if t.rows[table] == nil {
		t.rows[table] = map[string]int{}
		for i, row := range rows {
			t.rows[table][keyOf(table, result.Key(row)...)] = i
		}
	}
	i, ok := t.rows[table][keyOf(table, keys...)]
	if !ok {
		return nil, badKey(full, "no such row in edition; farthing show "+table+" lists them")
	}
	if n := t.done[full]; n != nil {
		return n, nil
	}
	n, err := trace(rows[i], column)
	if n != nil {
		n.Key = full
		if text, _ := result.Field(rows[i], column); n.Value == nil && text != "" {
			n.Value = asValue(rows[i], column)
		}
	}
	if err == nil {
		t.done[full] = n
	}
	return n, err
}

// asValue is a column's value as JSON would have it.
func asValue[T any](row T, column string) any {
	var all map[string]any
	if json.Unmarshal(result.JSONRow(row), &all) != nil {
		return nil
	}
	return all[column]
}

func keyOf(table string, parts ...string) string {
	var b strings.Builder
	b.WriteString(table)
	for _, p := range parts {
		b.WriteString("/" + url.PathEscape(p))
	}
	return b.String()
}

// computed is a node whose value was computed again from its inputs.
func computed(published result.Num, again float64, formula string, inputs ...*Node) (*Node, error) {
	if !published.OK {
		if !math.IsNaN(again) {
			return nil, fmt.Errorf("trace: computed again %v, published as missing (%s)", again, formula)
		}
		return &Node{Formula: formula, Inputs: inputs}, nil
	}
	if !same(again, published.V) {
		return nil, fmt.Errorf("trace: computed again %v, published %v (%s)", again, published.V, formula)
	}
	return &Node{Value: published.V, Formula: formula, Inputs: inputs}, nil
}

// number is the node's value, NaN where it has none.
func (n *Node) number() float64 {
	if v, ok := n.Value.(float64); ok {
		return v
	}
	return math.NaN()
}

func notNaN(x float64) float64 {
	if math.IsNaN(x) {
		return 0
	}
	return x
}

// fileLine sets where a value stands and the text there: a table of the
// edition, or a file of the archive.
func (t *tracer) fileLine(n *Node, file string, line int) error {
	if file == "" {
		return nil
	}
	n.File, n.Line = file, line
	path := filepath.Join(t.e.Dir, filepath.FromSlash(file))
	if sha, ok := strings.CutPrefix(file, "archive/"); ok {
		n.SHA256, _, _ = strings.Cut(sha, "/")
		path = filepath.Join(t.w.Dir, filepath.FromSlash(file))
	}
	if strings.HasSuffix(file, ".xlsx") {
		return nil // a spreadsheet's row has no text of its own
	}
	var err error
	n.Text, err = t.text(path, n.SHA256, line)
	return err
}

// text is one line of a file, which is archived where its sha256 is given.
func (t *tracer) text(path, sha256 string, line int) (string, error) {
	lines, ok := t.texts[path]
	if !ok {
		src, err := workspace.Source{}, error(nil)
		if sha256 != "" {
			if path, src, err = intake.ArchivedFile(t.w, sha256); err != nil {
				return "", err
			}
		}
		u, err := intake.Unpack(path, src)
		if err != nil {
			return "", err
		}
		b, err := io.ReadAll(u)
		if err := errors.Join(err, u.Close()); err != nil {
			return "", err
		}
		lines = bytes.Split(b, []byte{'\n'})
		t.texts[path] = lines
	}
	if line < 1 || line > len(lines) {
		return "", fmt.Errorf("trace: %s has no line %d", path, line)
	}
	return strings.TrimRight(string(lines[line-1]), "\r"), nil
}
