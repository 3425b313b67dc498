package store_test

import (
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"farthing/pipeline/store"
	"farthing/queries"

	"golang.org/x/tools/txtar"
)

// TestSteps runs each archive: tables as CSV, parameters, and the wanted rows
// in the order of the statement's grain. The order of the rows given must not matter.
func TestSteps(t *testing.T) {
	files, err := filepath.Glob("../../testdata/golden/steps/*.txtar")
	if err != nil {
		t.Fatal(err)
	}
	st := emptied(t)
	var tested []string
	for _, file := range files {
		name := strings.TrimSuffix(filepath.Base(file), ".txtar")
		tested = append(tested, name)
		for _, reverse := range []bool{false, true} {
			t.Run(fmt.Sprintf("%s/reverse=%v", name, reverse), func(t *testing.T) {
				i := slices.IndexFunc(all, func(q queries.Query) bool { return q.Name == name })
				if i < 0 {
					t.Fatalf("no statement %s", name)
				}
				archive, err := txtar.ParseFile(file)
				if err != nil {
					t.Fatal(err)
				}
				if !strings.HasPrefix(string(archive.Comment), "By hand") {
					t.Error("the archive does not say how its rows were worked out")
				}
				args, want := store.Args{}, ""
				defer undo(t, st)()
				for _, f := range archive.Files {
					switch table, isTable := strings.CutSuffix(f.Name, ".csv"); {
					case isTable:
						load(t, st, table, string(f.Data), reverse)
					case f.Name == "params":
						args = parameters(string(f.Data))
					case f.Name == "want":
						want = string(f.Data)
					default:
						t.Fatalf("file %s: want TABLE.csv, params or want", f.Name)
					}
				}
				if err := st.Make(ctx, all[i], args); err != nil {
					t.Fatal(err)
				}
				if got := rows(t, st, all[i]); got != want {
					t.Errorf("got\n%swant\n%s", got, want)
				}
			})
		}
	}
	for _, q := range all {
		if !slices.Contains(tested, q.Name) && q.Name != "intake_digest" && q.Name != "observation_list" {
			t.Errorf("%s has no archive", q.Name)
		}
	}
}

// undo opens a transaction; what it gives takes everything back.
func undo(t *testing.T, st *store.Store) func() {
	t.Helper()
	exec(t, st, "BEGIN TRANSACTION")
	return func() { exec(t, st, "ROLLBACK") }
}

// load inserts rows; a column that is not given, or blank, is NULL where it may be, else nought.
func load(t *testing.T, st *store.Store, table, text string, reverse bool) {
	t.Helper()
	lines := strings.Split(strings.TrimSpace(text), "\n")
	head, body := strings.Split(lines[0], ","), lines[1:]
	if reverse {
		slices.Reverse(body)
	}
	columns := column(t, st, "SELECT column_name || ' ' || CASE WHEN is_nullable THEN 'NULL' WHEN data_type = 'DATE' THEN '2024-01-01' WHEN data_type = 'VARCHAR' THEN '' ELSE '0' END FROM duckdb_columns() WHERE table_name = ? ORDER BY column_index", table)
	var tuples []string
	for _, line := range body {
		cells := strings.Split(line, ",")
		if len(cells) != len(head) {
			t.Fatalf("%s: got %d cells in %q, want %d", table, len(cells), line, len(head))
		}
		var values []string
		used := 0
		for _, c := range columns {
			name, value, _ := strings.Cut(c, " ")
			if i := slices.Index(head, name); i >= 0 {
				used++
				if cells[i] != "" {
					value = cells[i]
				}
			}
			if value != "NULL" {
				value = "'" + value + "'"
			}
			values = append(values, value)
		}
		if used != len(head) {
			t.Fatalf("%s: got the columns %v, want some of %v", table, head, columns)
		}
		tuples = append(tuples, "("+strings.Join(values, ", ")+")")
	}
	exec(t, st, "INSERT INTO "+table+" VALUES "+strings.Join(tuples, ", "))
}

func parameters(text string) store.Args {
	args := store.Args{}
	for line := range strings.Lines(text) {
		name, value, _ := strings.Cut(strings.TrimSpace(line), "=")
		args[name] = value
		if f, err := strconv.ParseFloat(value, 64); err == nil {
			args[name] = f
		}
		if n, err := strconv.Atoi(value); err == nil {
			args[name] = n
		}
	}
	return args
}

// rows is the table of a statement as CSV, with its header.
func rows(t *testing.T, st *store.Store, q queries.Query) string {
	t.Helper()
	columns := column(t, st, "SELECT column_name FROM duckdb_columns() WHERE table_name = ? ORDER BY column_index", q.Name)
	var cells []string
	for _, c := range columns {
		cells = append(cells, "coalesce(CAST("+c+" AS VARCHAR), '')")
	}
	lines := column(t, st, "SELECT "+strings.Join(cells, " || ',' || ")+" FROM "+q.Name+" ORDER BY "+strings.Join(q.Grain, ", "))
	return strings.Join(append([]string{strings.Join(columns, ",")}, lines...), "\n") + "\n"
}

func digest(t *testing.T, st *store.Store) string {
	t.Helper()
	build(t, st, queries.IntakeDigest, nil)
	return column(t, st, "SELECT n_obs || ': ' || digest FROM intake_digest")[0]
}

// digestTables are what intake may give; numbers of files and words depend on the order of arrival.
var digestTables = []struct{ table, rows string }{
	{"file", "file_id,sha256,name,n_read\n0,aa,a.csv,2\n1,bb,b.csv,1\n"},
	{"amount", "amount_id,quantity\n0,1\n1,0.5\n"},
	{"obs_price", "file_id,line,key_hash,amount,micro_price\n0,2,5,0,1000000\n0,3,6,1,\n1,2,7,1,3000000\n"},
	{"edit_hold", "file_id,line,reason\n0,2,peers\n"},
	{"set_aside_row", "file_id,line,code,text\n1,3,unknown,otas\n1,4,unknown,oast\n"},
	{"obs_index", "file_id,line,series,month,index_value\n0,2,cpi,24288,100\n0,3,cpi,24289,101\n"},
	{"obs_allowance", "file_id,line,programme,persons,amount\n0,2,food-support,1,156\n"},
}

func TestDigestDependsOnContentAlone(t *testing.T) {
	st := emptied(t)
	filled := func(change func(table, rows string) string, reverse bool) string {
		defer undo(t, st)()
		for _, d := range digestTables {
			load(t, st, d.table, change(d.table, d.rows), reverse)
		}
		return digest(t, st)
	}
	want := filled(func(_, rows string) string { return rows }, false)
	if !strings.HasPrefix(want, "3: ") {
		t.Errorf("n_obs: got %s, want 3", want)
	}
	swapped := func(table, rows string) string { // the second file came first, and amounts were numbered the other way
		if strings.HasPrefix(rows, "file_id") || table == "amount" {
			rows = strings.NewReplacer("\n0,", "\n1,", "\n1,", "\n0,").Replace(rows)
		}
		if table == "obs_price" {
			rows = strings.NewReplacer(",0,1000000", ",1,1000000", ",1,\n", ",0,\n", ",1,3000000", ",0,3000000").Replace(rows)
		}
		return rows
	}
	if got := filled(swapped, true); got != want {
		t.Errorf("files in the other order: got %s, want %s", got, want)
	}
	seen := map[string]string{want: "nothing changed"}
	for name, c := range map[string][3]string{
		"file": {"file", "bb", "bc"}, "rows read": {"file", "b.csv,1", "b.csv,2"}, "quantity": {"amount", "0.5", "0.4"},
		"price": {"obs_price", "3000000", "3000001"}, "key": {"obs_price", "2,7,", "2,8,"}, "no price": {"obs_price", "1,\n", "1,0\n"},
		"reason": {"edit_hold", "peers", "own_series"}, "held row": {"edit_hold", "0,2", "0,3"}, "line": {"set_aside_row", "1,3", "1,5"},
		"text": {"set_aside_row", "oast", "osat"}, "index": {"obs_index", "101", "102"}, "allowance": {"obs_allowance", "156", "157"},
	} {
		got := filled(func(table, rows string) string {
			if table == c[0] {
				changed := strings.Replace(rows, c[1], c[2], 1)
				if changed == rows {
					t.Fatalf("%s: %q is not in %s", name, c[1], table)
				}
				return changed
			}
			return rows
		}, false)
		if other, same := seen[got]; same {
			t.Errorf("%s changed: got the digest of %s", name, other)
		}
		seen[got] = name
	}
}
