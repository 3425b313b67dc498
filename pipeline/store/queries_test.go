package store_test

import (
	"encoding/json"
	"flag"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"farthing/pipeline/intake"
	"farthing/pipeline/store"
	"farthing/pipeline/workspace"
	"farthing/queries"
	"farthing/testdata"
)

var update = flag.Bool("update", false, "rewrite the golden file of the schema")

// steps are all steps, each after those whose tables it reads.
var steps = []queries.Query{
	queries.ObsShared, queries.ObsRepeat, queries.EditConflict, queries.EditSuspect, queries.EditHold, queries.ObsOwner,
	queries.PanelPack, queries.BasketPack, queries.PanelPrice, queries.PanelChange, queries.PanelAverage, queries.PanelAbsent, queries.PanelHeld,
	queries.ObservationList, queries.FileCount, queries.IntakeDigest, queries.SetAsideList, queries.SetAsideReason,
}

var all = append(slices.Clone(steps), queries.Faults...)

// unordered are the steps without an ORDER BY, and why.
var unordered = map[string]string{
	"panel_pack":    "only other steps read it",
	"intake_digest": "it is one row",
}

func arguments(q queries.Query, from store.Args) store.Args {
	args := store.Args{}
	for _, name := range q.Params {
		args[name] = from[name] // nil where it has none
	}
	return args
}

func build(t *testing.T, st *store.Store, q queries.Query, from store.Args) {
	t.Helper()
	if err := st.Make(ctx, q, arguments(q, from)); err != nil {
		t.Fatal(err)
	}
}

// emptied is a migrated database without a row, in which every statement has run with NULL parameters.
func emptied(t *testing.T) *store.Store {
	t.Helper()
	st := open(t, "")
	for _, q := range all {
		build(t, st, q, nil)
	}
	return st
}

// demo is a database that holds the demo's files, and the parameters of a run on it.
func demo(t *testing.T) (*store.Store, store.Args) {
	t.Helper()
	dir := t.TempDir()
	files, err := fs.Sub(testdata.Files, "demo")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.CopyFS(dir, files); err != nil {
		t.Fatal(err)
	}
	w, err := workspace.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	tables, err := w.Tables()
	if err != nil {
		t.Fatal(err)
	}
	paths, err := intake.InboxFiles(w)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := intake.Keep(w, append(paths, secondCopy(t, paths[0])), time.Now()); err != nil {
		t.Fatal(err)
	}
	st := open(t, "")
	if _, err := intake.Load(ctx, st, w, tables, true, nil); err != nil {
		t.Fatal(err)
	}
	exec(t, st, "INSERT INTO basket_item SELECT word_id FROM word WHERE word = 'oats'")
	exec(t, st, "INSERT INTO edit_correction SELECT file_id, line, 'release', NULL FROM edit_hold")
	var grade int32
	if err := st.Query(ctx, func(scan func(...any) error) error { return scan(&grade) }, "SELECT word_id FROM word WHERE word = 'standard'"); err != nil {
		t.Fatal(err)
	}
	e := w.Edit
	return st, store.Args{"default_grade": grade, "price_types": strings.Join(w.Prices.PriceTypes, ","), "from_region": "", "to_region": "z",
		"own_ratio": e.OwnRatio, "peer_ratio": e.PeerRatio, "window_days": e.WindowDays, "window_months": 6, "min_own": e.MinOwn, "min_peer": e.MinPeer}
}

// secondCopy is a file with the same rows in another order: all of them repeats.
func secondCopy(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.SplitAfter(string(b), "\n")
	slices.Reverse(lines[1 : len(lines)-1])
	second := filepath.Join(t.TempDir(), "second-copy.csv")
	if err := os.WriteFile(second, []byte(strings.Join(lines, "")), 0o644); err != nil {
		t.Fatal(err)
	}
	return second
}

func TestEveryFileIsADeclaredValueInUse(t *testing.T) {
	var code strings.Builder
	if err := filepath.WalkDir("..", func(path string, d fs.DirEntry, err error) error {
		if err == nil && strings.HasSuffix(path, ".go") && !strings.HasSuffix(path, "_test.go") {
			var b []byte
			b, err = os.ReadFile(path)
			code.Write(b)
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		folder string
		values []queries.Query
	}{{"step", steps}, {"fault", queries.Faults}, {"schema", queries.Schema()}} {
		files, err := filepath.Glob("../../queries/" + c.folder + "/*.sql")
		if err != nil {
			t.Fatal(err)
		}
		var have, want []string
		for _, f := range files {
			have = append(have, strings.TrimSuffix(filepath.Base(f), ".sql"))
		}
		for _, q := range c.values {
			want = append(want, q.Name)
			if used := "queries." + camel(q.Name); c.folder == "step" && !regexp.MustCompile(regexp.QuoteMeta(used)+`\b`).MatchString(code.String()) {
				t.Errorf("%s: %s is used nowhere", q.Name, used)
			}
		}
		slices.Sort(want)
		if !slices.Equal(have, want) {
			t.Errorf("%s: files %v, values %v", c.folder, have, want)
		}
	}
}

func camel(name string) string {
	var b strings.Builder
	for _, part := range strings.Split(name, "_") {
		b.WriteString(strings.ToUpper(part[:1]) + part[1:])
	}
	return b.String()
}

func TestSchemaFiles(t *testing.T) {
	st := open(t, "")
	for i, q := range queries.Schema() {
		number, name, _ := strings.Cut(q.Name, "_")
		if want := fmt.Sprintf("%04d", i+1); number != want {
			t.Errorf("%s: got number %s, want %s: no gap, none twice", q.Name, number, want)
		}
		header, rest, _ := strings.Cut(q.Text, "\n")
		if !strings.HasPrefix(header, "-- "+name+": ") || !strings.HasPrefix(rest, "CREATE TABLE "+name+" (\n") {
			t.Errorf("%s: want the header %q and then CREATE TABLE %s, got %q", q.Name, "-- "+name+": ...", name, rest[:30])
		}
		checkWords(t, st, q)
	}
}

func TestHeaders(t *testing.T) {
	st := emptied(t)
	for _, q := range all {
		t.Run(q.Name, func(t *testing.T) {
			h := header(t, q)
			columns := column(t, st, "SELECT column_name FROM duckdb_columns() WHERE table_name = ?", q.Name)
			for _, line := range h["column"] {
				if name := strings.Fields(line)[0]; !slices.Contains(columns, name) {
					t.Errorf("column %s: the statement gives %v", name, columns)
				}
			}
			for _, name := range q.Grain {
				if !slices.Contains(columns, name) {
					t.Errorf("grain %s: the statement gives %v", name, columns)
				}
			}
			tables, params := parse(t, st, q)
			if !slices.Equal(q.Inputs, tables) {
				t.Errorf("inputs: got %v, the SQL reads %v", q.Inputs, tables)
			}
			if !slices.Equal(q.Params, params) {
				t.Errorf("params: got %v, the SQL has %v", q.Params, params)
			}
			if _, _, ordered := cutLast(q.Text, "\nORDER BY "); ordered == (unordered[q.Name] != "") {
				t.Errorf("ordered: %v, but listed as unordered: %q", ordered, unordered[q.Name])
			}
			checkWords(t, st, q)
		})
	}
	if n := column(t, st, "SELECT count(*) FROM duckdb_views() WHERE NOT internal"); n[0] != "0" {
		t.Errorf("got %s views, want none", n)
	}
}

// header is the lines of a file's header by kind.
func header(t *testing.T, q queries.Query) map[string][]string {
	t.Helper()
	h := map[string][]string{}
	for i, line := range strings.Split(q.Text, "\n") {
		text, ok := strings.CutPrefix(line, "-- ")
		if !ok {
			break
		}
		kind, said, ok := strings.Cut(text, ":")
		if said = strings.TrimSpace(said); !ok || said == "" {
			t.Errorf("header line %d: got %q, want -- kind: text", i+1, line)
		}
		if i == 0 && kind != q.Name {
			t.Errorf("header: got %q first, want %s", kind, q.Name)
		}
		h[kind] = append(h[kind], said)
	}
	want := []string{q.Name, "column", "grain", "inputs", "method", "params"}
	slices.Sort(want)
	if got := slices.Sorted(maps.Keys(h)); !slices.Equal(got, want) {
		t.Errorf("header: got lines %v, want %v", got, want)
	}
	for kind, mark := range map[string]string{"grain": "(checked: unique, not null)", "inputs": "(checked against the parsed SQL)", "params": "(checked against the parsed SQL)"} {
		if lines := h[kind]; len(lines) != 1 || !strings.HasSuffix(lines[0], mark) {
			t.Errorf("%s: got %q, want one line that ends in %s", kind, lines, mark)
		}
	}
	return h
}

// parse has the engine parse a statement: the tables it reads and its
// parameters. It refuses several statements and a star of columns.
func parse(t *testing.T, st *store.Store, q queries.Query) (tables, params []string) {
	t.Helper()
	var tree struct {
		Error      bool             `json:"error"`
		Message    string           `json:"error_message"`
		Statements []map[string]any `json:"statements"`
	}
	text := column(t, st, "SELECT json_serialize_sql('"+strings.ReplaceAll(q.Text, "'", "''")+"')")[0]
	if err := json.Unmarshal([]byte(text), &tree); err != nil {
		t.Fatal(err)
	}
	if tree.Error || len(tree.Statements) != 1 || strings.Contains(uncommented(q), ";") {
		t.Fatalf("got %d statements %s, want one SELECT without a semicolon", len(tree.Statements), tree.Message)
	}
	named := map[string]bool{} // the statement's own WITH names
	seen := map[string]map[string]bool{"table_name": {}, "identifier": {}}
	var walk func(v any, ordering bool)
	walk = func(v any, ordering bool) {
		switch v := v.(type) {
		case []any:
			for _, x := range v {
				walk(x, ordering)
			}
		case map[string]any:
			if v["class"] == "STAR" && !ordering { // ORDER BY ALL is one too
				t.Error("got SELECT *, want the columns by name")
			}
			if with, ok := v["cte_map"].(map[string]any); ok {
				for _, x := range with["map"].([]any) {
					named[x.(map[string]any)["key"].(string)] = true
				}
			}
			for key, x := range v {
				if s, ok := x.(string); ok && seen[key] != nil && (key == "table_name" || v["class"] == "PARAMETER") {
					seen[key][s] = true
				}
				walk(x, ordering || key == "modifiers")
			}
		}
	}
	walk(tree.Statements[0], false)
	maps.DeleteFunc(seen["table_name"], func(name string, _ bool) bool { return named[name] })
	return slices.Sorted(maps.Keys(seen["table_name"])), slices.Sorted(maps.Keys(seen["identifier"]))
}

func uncommented(q queries.Query) string { return comment.ReplaceAllString(q.Text, "") }

var comment = regexp.MustCompile(`--[^\n]*`)

var word = regexp.MustCompile(`\$?[A-Za-z_][A-Za-z_0-9]*`)

// checkWords wants the language in upper case and every name in lower case.
func checkWords(t *testing.T, st *store.Store, q queries.Query) {
	t.Helper()
	if keywords == nil {
		keywords = column(t, st, `SELECT keyword_name FROM duckdb_keywords() WHERE keyword_category IN ('reserved', 'type_function')
			OR keyword_name IN ('by', 'over', 'partition', 'between', 'bigint', 'boolean', 'double', 'integer', 'varchar')`)
		language = column(t, st, "SELECT keyword_name FROM duckdb_keywords() UNION ALL SELECT lower(type_name) FROM duckdb_types()")
	}
	text := regexp.MustCompile(`'[^']*'`).ReplaceAllString(uncommented(q), "")
	for _, w := range word.FindAllString(text, -1) {
		low := strings.ToLower(w)
		if w == low && slices.Contains(keywords, w) {
			t.Errorf("%s: got %s, want %s", q.Name, w, strings.ToUpper(w))
		}
		if w != low && (w != strings.ToUpper(w) || !slices.Contains(language, low)) {
			t.Errorf("%s: got the name %s, want it in lower case", q.Name, w)
		}
	}
}

var keywords, language []string

func cutLast(s, sep string) (before, after string, found bool) {
	if i := strings.LastIndex(s, sep); i >= 0 {
		return s[:i], s[i+len(sep):], true
	}
	return s, "", false
}

func TestGrainAndOrderOnTheDemo(t *testing.T) {
	st, args := demo(t)
	check := func(q queries.Query) {
		build(t, st, q, args)
		key, empty := strings.Join(q.Grain, ", "), ""
		for _, g := range q.Grain {
			empty += " OR " + g + " IS NULL"
		}
		rows := column(t, st, "SELECT count(*) FROM "+q.Name)[0]
		if rows == "0" {
			t.Errorf("%s: no row of the test data comes out, so nothing is checked", q.Name)
		}
		bad := column(t, st, fmt.Sprintf("SELECT CAST((%s) AS VARCHAR) FROM %s GROUP BY %s HAVING count(*) > 1 %s", key, q.Name, key, empty))
		if len(bad) > 0 {
			t.Errorf("%s: grain %s: %d of %s rows repeat or lack one, first %s", q.Name, key, len(bad), rows, bad[0])
		}
		// An order by a full key has no ties. ORDER BY ALL has the grain in it.
		if before, by, ok := cutLast(q.Text, "\nORDER BY "); ok && strings.TrimSpace(by) != "ALL" {
			ties := queries.Query{Name: "ties", Text: before + "\nQUALIFY count(*) OVER (PARTITION BY " + by + ") > 1", Params: q.Params}
			build(t, st, ties, args)
			if n := column(t, st, "SELECT count(*) FROM ties"); n[0] != "0" {
				t.Errorf("%s: ORDER BY %s: %s rows tie", q.Name, strings.TrimSpace(by), n[0])
			}
		}
	}
	// One key with two prices, averages of a second source, and the repeats as they stand before they are taken out.
	exec(t, st, "INSERT INTO obs_price SELECT * REPLACE (-line AS line, micro_price + 1 AS micro_price, observation_id + 1 AS observation_id) FROM obs_price WHERE micro_price > 0 ORDER BY file_id, line LIMIT 1")
	exec(t, st, "INSERT INTO file SELECT * REPLACE (-1 AS file_id, '' AS sha256, 'second' AS source) FROM file WHERE file_id = 0")
	exec(t, st, "INSERT INTO obs_price SELECT * REPLACE (-1 AS file_id, 1000 * file_id + line AS line, key_hash + 1 AS key_hash, observation_id + 1 AS observation_id) FROM obs_price WHERE is_average")
	exec(t, st, "INSERT INTO obs_price SELECT p.* REPLACE (d.file_id AS file_id, d.line AS line) FROM obs_duplicate d JOIN obs_price p ON p.file_id = d.of_file AND p.line = d.of_line")
	for _, q := range append(queries.Faults, steps[:2]...) { // the faults are rows that stand twice
		check(q)
	}
	exec(t, st, "DELETE FROM obs_price USING obs_repeat r WHERE obs_price.file_id = r.file_id AND obs_price.line = r.line")
	for _, q := range steps[2:] {
		check(q)
	}
	if diff := differ(schema(t, st), schema(t, emptied(t))); diff != nil {
		t.Errorf("real parameters (-) give other columns than NULL ones (+): %q", diff)
	}
}

// differ lists the lines that only the first (-) or the second (+) has.
func differ(got, want []string) (diff []string) {
	for _, line := range got {
		if !slices.Contains(want, line) {
			diff = append(diff, "- "+line)
		}
	}
	for _, line := range want {
		if !slices.Contains(got, line) {
			diff = append(diff, "+ "+line)
		}
	}
	return diff
}

// schema lists all columns of all tables.
func schema(t *testing.T, st *store.Store) []string {
	t.Helper()
	return column(t, st, `SELECT table_name || '.' || column_name || ' ' || data_type || CASE WHEN is_nullable THEN '' ELSE ' NOT NULL' END
		FROM duckdb_columns() WHERE NOT internal AND table_name <> 'ties' ORDER BY table_name, column_index`)
}

func TestSchemaGolden(t *testing.T) {
	const path = "../../testdata/golden/schema.txt"
	got := schema(t, emptied(t))
	if *update {
		if err := os.WriteFile(path, []byte(strings.Join(got, "\n")+"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if want := strings.Split(strings.TrimSpace(string(b)), "\n"); !slices.Equal(got, want) {
		t.Errorf("the schema (-) is not that of %s (+), or in another order: %q; if that is meant, run the test with -update", path, differ(got, want))
	}
}
