package store_test

import (
	"context"
	"database/sql"
	"errors"
	"math"
	"math/big"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"farthing/pipeline/store"
	"farthing/queries"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
	"github.com/apache/arrow/go/v17/arrow/memory"
	"github.com/marcboeker/go-duckdb"
)

var ctx = context.Background()

func open(t *testing.T, path string) *store.Store {
	t.Helper()
	st, err := store.Open(ctx, path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	return st
}

func exec(t *testing.T, st *store.Store, text string, args ...any) {
	t.Helper()
	if err := st.Exec(ctx, text, args...); err != nil {
		t.Fatal(err)
	}
}

// column is the one text column of a statement.
func column(t *testing.T, st *store.Store, text string, args ...any) (list []string) {
	t.Helper()
	if err := st.Query(ctx, func(scan func(...any) error) error {
		var s sql.NullString
		err := scan(&s)
		list = append(list, s.String)
		return err
	}, text, args...); err != nil {
		t.Fatal(err)
	}
	return list
}

func TestOpenMakesTheSchemaOnce(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.duckdb")
	for range 2 { // the second time it is there
		st, err := store.Open(ctx, path)
		if err != nil {
			t.Fatal(err)
		}
		var want []string
		for _, q := range queries.Schema() {
			want = append(want, q.Name[len("0001_"):])
		}
		for _, table := range want {
			if n := column(t, st, "SELECT count(*) FROM "+table); n[0] != "0" {
				t.Errorf("%s: got %s rows, want none", table, n)
			}
		}
		if n := column(t, st, "SELECT count(*) FROM schema_made"); n[0] != column(t, st, "SELECT CAST(? AS BIGINT)", len(want))[0] {
			t.Errorf("schema_made: got %s rows, want %d", n, len(want))
		}
		if err := st.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if err := store.Remove(path); err != nil {
		t.Error(err)
	}
	if left, _ := filepath.Glob(path + "*"); left != nil {
		t.Errorf("Remove left %v", left)
	}
	if err := store.Remove(path); err != nil {
		t.Errorf("Remove of nothing: got %v, want no error", err)
	}
}

func TestOpenRefusesAnotherSchema(t *testing.T) {
	for name, change := range map[string]string{
		"changed":  "UPDATE schema_made SET line = line || 'x' WHERE line LIKE '0001%'",
		"newer":    "INSERT INTO schema_made VALUES ('9999_later abc\n')",
		"unknown":  "DELETE FROM schema_made",
		"one gone": "DELETE FROM schema_made WHERE line LIKE '0002%'",
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "x.duckdb")
			st := open(t, path)
			exec(t, st, change)
			if err := st.Close(); err != nil {
				t.Fatal(err)
			}
			if _, err := store.Open(ctx, path); !errors.Is(err, store.ErrNewer) {
				t.Errorf("got %v, want ErrNewer", err)
			}
		})
	}
}

func TestOpenRefusesWhatIsNoDatabase(t *testing.T) {
	dir := t.TempDir()
	if st, err := store.Open(ctx, dir); err == nil {
		st.Close()
		t.Error("a folder: got no error")
	}
}

func TestTxRollsBackEverything(t *testing.T) {
	st := open(t, "")
	words := func() string { return strings.Join(column(t, st, "SELECT word FROM word ORDER BY word_id"), " ") }
	add := func(id int32, s string) error { return st.Append(ctx, "word", [][]any{{id, s}}) }
	if err := st.Tx(ctx, func() error { return add(0, "kept") }); err != nil {
		t.Fatal(err)
	}
	stop := errors.New("stop")
	work := func() error {
		exec(t, st, "DELETE FROM word")
		exec(t, st, "CREATE TABLE made (x INTEGER)")
		if err := st.Make(ctx, queries.ObsShared, nil); err != nil {
			t.Fatal(err)
		}
		return add(1, "lost")
	}
	if err := st.Tx(ctx, func() error { return errors.Join(work(), stop) }); !errors.Is(err, stop) {
		t.Errorf("got %v, want %v", err, stop)
	}
	func() {
		defer func() {
			if p := recover(); p != "burst" {
				t.Errorf("got panic %v, want it passed on", p)
			}
		}()
		st.Tx(ctx, func() error { work(); panic("burst") })
	}()
	cancelled, cancel := context.WithCancel(ctx)
	if err := st.Tx(cancelled, func() error { cancel(); return work() }); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled before the commit: got %v", err)
	}
	if got := words(); got != "kept" {
		t.Errorf("words after three rollbacks: got %q, want kept", got)
	}
	if got := column(t, st, "SELECT table_name FROM duckdb_tables() WHERE table_name IN ('made', 'obs_shared')"); got != nil {
		t.Errorf("tables after rollback: got %v, want none", got)
	}
	if err := st.Tx(ctx, func() error { return add(1, "next") }); err != nil || words() != "kept next" {
		t.Errorf("the next transaction: got %q, %v", words(), err)
	}
}

func TestArgsMustBeTheQuerysOwn(t *testing.T) {
	st := open(t, "")
	q := queries.Query{Name: "two", Text: "SELECT CAST($a AS INTEGER) AS a, CAST($b AS INTEGER) AS b", Params: []string{"a", "b"}}
	for name, c := range map[string]struct {
		args store.Args
		want string
	}{
		"given":    {store.Args{"b": 2, "a": 1}, ""},
		"missing":  {store.Args{"a": 1}, "two: no value for $b"},
		"too many": {store.Args{"a": 1, "b": 2, "c": 3}, "two: has no parameter $c"},
		"misspelt": {store.Args{"a": 1, "B": 2}, "two: no value for $b"}, // the engine would take it by place
		"none":     {nil, "two: no value for $a"},
	} {
		err := st.Make(ctx, q, c.args)
		if got := text(err); got != c.want {
			t.Errorf("%s: got %q, want %q", name, got, c.want)
		}
		if err == nil {
			if got := column(t, st, "SELECT a || ' ' || b FROM two"); got[0] != "1 2" {
				t.Errorf("%s: got %v, want 1 2", name, got)
			}
		}
	}
}

func text(err error) string {
	if err == nil {
		return ""
	}
	return err.Error()
}

func TestAppendTakesPlainTypesOnly(t *testing.T) {
	st := open(t, "")
	exec(t, st, "CREATE TABLE x (t VARCHAR, n BIGINT, u UBIGINT, f DOUBLE, b BOOLEAN, d DATE)")
	day := time.Date(2024, 2, 29, 0, 0, 0, 0, time.UTC)
	rows := [][]any{{"a,\"b\"\n", int64(-1 << 62), uint64(1<<64 - 1), 0.1, true, day}, {nil, nil, nil, nil, nil, nil}, {"", int32(7), uint8(8), -0.0, false, day}}
	if err := st.Append(ctx, "x", rows); err != nil {
		t.Fatal(err)
	}
	want := []string{"(, 7, 8, 0.0, false, 2024-02-29)", "(a,\"b\"\n, -4611686018427387904, 18446744073709551615, 0.1, true, 2024-02-29)", "(NULL, NULL, NULL, NULL, NULL, NULL)"}
	if got := column(t, st, "SELECT CAST((t, n, u, f, b, d) AS VARCHAR) FROM x ORDER BY t"); !reflect.DeepEqual(got, want) {
		t.Errorf("got  %q\nwant %q", got, want)
	}
	zone := time.FixedZone("east", 3600)
	for _, v := range []any{
		duckdb.Decimal{Width: 12, Scale: 4, Value: big.NewInt(1234)}, big.NewInt(1), big.NewRat(1, 2), float32(1), []byte("a"), new(int64), (*int64)(nil),
		math.NaN(), math.Inf(1), math.Inf(-1), day.Add(time.Hour), day.In(zone), sql.NullString{}, []any{1}, struct{}{},
	} {
		err := st.Append(ctx, "x", [][]any{{"before", nil, nil, nil, nil, nil}, {"t", v, nil, nil, nil, nil}})
		if !strings.HasPrefix(text(err), "append to x: column 2: ") {
			t.Errorf("%T %v: got %q, want it refused", v, v, text(err))
		}
	}
	for name, rows := range map[string][][]any{"a column too few": {{"t"}}, "text for a number": {{"t", "7", nil, nil, nil, nil}}} {
		if err := st.Tx(ctx, func() error { return st.Append(ctx, "x", rows) }); err == nil {
			t.Errorf("%s: got no error", name)
		}
	}
	if err := st.Append(ctx, "no_such_table", rows); err == nil {
		t.Error("no such table: got no error")
	}
	if n := column(t, st, "SELECT count(*) FROM x"); n[0] != "3" {
		t.Errorf("rows after refusals: got %s, want 3", n)
	}
}

// reader gives records of one column of whole numbers, then an error.
type reader struct {
	array.RecordReader
	err error
}

func (r reader) Err() error { return errors.Join(r.RecordReader.Err(), r.err) }

func numbers(t *testing.T, records ...[]int32) array.RecordReader {
	t.Helper()
	mem := memory.DefaultAllocator
	schema := arrow.NewSchema([]arrow.Field{{Name: "word_id", Type: arrow.PrimitiveTypes.Int32}, {Name: "word", Type: arrow.BinaryTypes.String}}, nil)
	var list []arrow.Record
	for _, values := range records {
		b := array.NewRecordBuilder(mem, schema)
		for _, v := range values {
			b.Field(0).(*array.Int32Builder).Append(v)
			b.Field(1).(*array.StringBuilder).Append(strings.Repeat("x", int(v%5)))
		}
		list = append(list, b.NewRecord())
		b.Release()
	}
	r, err := array.NewRecordReader(schema, list)
	if err != nil {
		t.Fatal(err)
	}
	for _, rec := range list {
		rec.Release()
	}
	return r
}

func TestArrowRoundTrip(t *testing.T) {
	st := open(t, "")
	const n = 5000 // more than two of the engine's vectors
	records := make([][]int32, 2)
	for i := range int32(n) {
		records[i%2] = append(records[i%2], (i*7919)%n) // 7919 is prime: each number once, out of order
	}
	r := numbers(t, records...)
	if err := st.AppendArrow(ctx, "word", r); err != nil {
		t.Fatal(err)
	}
	r.Release()
	if views := column(t, st, "SELECT view_name FROM duckdb_views() WHERE NOT internal"); views != nil {
		t.Errorf("AppendArrow left the views %v, want none", views)
	}
	var got, chunks int
	q := queries.Query{Name: "ordered", Text: "SELECT word_id, word FROM word WHERE word_id >= $from ORDER BY word_id", Params: []string{"from"}}
	if err := st.Records(ctx, q, func(rec arrow.Record) error {
		chunks++
		for i, v := range rec.Column(0).(*array.Int32).Int32Values() {
			if s := rec.Column(1).(*array.String).Value(i); v != int32(got+10) || len(s) != int(v%5) {
				t.Fatalf("row %d: got %d %q, want %d with %d letters", got, v, s, got+10, (got+10)%5)
			}
			got++
		}
		return nil
	}, int32(10)); err != nil {
		t.Fatal(err)
	}
	if got != n-10 || chunks < 2 {
		t.Errorf("got %d rows in %d records, want %d in several", got, chunks, n-10)
	}
	stop := errors.New("stop")
	if err := st.Records(ctx, q, func(arrow.Record) error { return stop }, int32(0)); !errors.Is(err, stop) {
		t.Errorf("an error of the caller's: got %v, want %v", err, stop)
	}
	if err := st.Records(ctx, queries.Query{Name: "broken", Text: "SELECT nothing FROM word"}, nil); !strings.HasPrefix(text(err), "broken: ") {
		t.Errorf("a broken query: got %q, want its name first", text(err))
	}
}

func TestAppendArrowPassesTheReadersError(t *testing.T) {
	st := open(t, "")
	torn := errors.New("torn file")
	r := numbers(t, []int32{1, 2, 3})
	defer r.Release()
	if err := st.Tx(ctx, func() error { return st.AppendArrow(ctx, "word", reader{r, torn}) }); !errors.Is(err, torn) {
		t.Errorf("got %v, want %v", err, torn)
	}
	if n := column(t, st, "SELECT count(*) FROM word"); n[0] != "0" {
		t.Errorf("got %s rows, want none", n)
	}
	r = numbers(t, []int32{1})
	defer r.Release()
	if err := st.AppendArrow(ctx, "file", r); !strings.HasPrefix(text(err), "append to file: ") {
		t.Errorf("columns of another table: got %q, want the table's name", text(err))
	}
}
