// Package store is the only door to the database: it opens the file, brings
// its schema up to date, and runs the SQL of package queries, rows in and out.
// It knows no prices.
//
// The database is a cache of the archive and the tables: deletable, rebuildable.
package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"database/sql/driver"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"os"
	"runtime"
	"slices"
	"strings"
	"time"

	"farthing/queries"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
	"github.com/marcboeker/go-duckdb"
)

// Store is an open database with one connection: a stage is one transaction on it.
type Store struct {
	db   *sql.DB
	conn *sql.Conn
}

// ErrNewer says that a newer program made the database.
var ErrNewer = errors.New("the database is of a newer or another version of the program: run farthing rebuild")

// ErrHeld says that another program has the database's file open.
var ErrHeld = errors.New("the database is open in another program")

// Open opens or makes the database; path "" is one in memory.
func Open(ctx context.Context, path string) (*Store, error) {
	db, err := sql.Open("duckdb", path)
	if err != nil {
		return nil, err
	}
	conn, err := db.Conn(ctx)
	var refused *duckdb.Error
	if errors.As(err, &refused) && strings.Contains(refused.Msg, "lock") {
		return nil, errors.Join(fmt.Errorf("%w: %s", ErrHeld, refused.Msg), db.Close())
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("open %s: %w", path, err), db.Close())
	}
	s := &Store{db, conn}
	// Two threads are what the panel's reduction gains from; memory grows with each.
	threads := min(runtime.GOMAXPROCS(0), 4)
	if err := errors.Join(
		s.exec(ctx, fmt.Sprintf("SET threads = %d", threads)),
		s.exec(ctx, "SET preserve_insertion_order = false"),
		s.migrate(ctx),
	); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

// Close closes the database.
func (s *Store) Close() error { return errors.Join(s.conn.Close(), s.db.Close()) }

// Remove deletes a closed database's files.
func Remove(path string) error {
	for _, p := range []string{path, path + ".wal"} {
		if err := os.Remove(p); err != nil && !errors.Is(err, os.ErrNotExist) {
			return err
		}
	}
	return nil
}

// migrate makes the tables of a new database, and refuses one made by other SQL.
func (s *Store) migrate(ctx context.Context) error {
	want := ""
	for _, q := range queries.Schema() {
		sum := sha256.Sum256([]byte(q.Text))
		want += q.Name + " " + hex.EncodeToString(sum[:]) + "\n"
	}
	var have sql.NullString
	err := s.conn.QueryRowContext(ctx, "SELECT string_agg(line, '' ORDER BY line) FROM schema_made").Scan(&have)
	if err == nil {
		if have.String != want {
			return ErrNewer
		}
		return nil
	}
	return s.Tx(ctx, func() error {
		if err := s.exec(ctx, "CREATE TABLE schema_made (line VARCHAR NOT NULL)"); err != nil {
			return err
		}
		for _, q := range queries.Schema() {
			if err := s.exec(ctx, q.Text); err != nil {
				return fmt.Errorf("%s: %w", q.Name, err)
			}
		}
		for line := range strings.Lines(want) {
			if _, err := s.conn.ExecContext(ctx, "INSERT INTO schema_made VALUES (?)", line); err != nil {
				return err
			}
		}
		return nil
	})
}

func (s *Store) exec(ctx context.Context, text string) error {
	_, err := s.conn.ExecContext(ctx, text)
	return err
}

// Tx runs one stage's work in one transaction.
func (s *Store) Tx(ctx context.Context, work func() error) (err error) {
	if err := s.exec(ctx, "BEGIN TRANSACTION"); err != nil {
		return err
	}
	defer func() {
		if p := recover(); p != nil {
			s.exec(context.WithoutCancel(ctx), "ROLLBACK")
			panic(p)
		}
		if err != nil {
			err = errors.Join(err, s.exec(context.WithoutCancel(ctx), "ROLLBACK"))
		}
	}()
	if err := errors.Join(work(), ctx.Err()); err != nil {
		return err
	}
	// The engine commits under a cancelled context too, and then says that it did not.
	return s.exec(context.WithoutCancel(ctx), "COMMIT")
}

// Args are the named parameters of a query.
type Args map[string]any

func (a Args) named(q queries.Query) ([]any, error) {
	var list []any
	for _, name := range q.Params {
		v, ok := a[name]
		if !ok {
			return nil, fmt.Errorf("%s: no value for $%s", q.Name, name)
		}
		list = append(list, sql.Named(name, v))
	}
	for name := range a {
		if !slices.Contains(q.Params, name) {
			return nil, fmt.Errorf("%s: has no parameter $%s", q.Name, name)
		}
	}
	return list, nil
}

// Make stores the rows of a step as the table of its name.
func (s *Store) Make(ctx context.Context, q queries.Query, args Args) error {
	named, err := args.named(q)
	if err != nil {
		return err
	}
	if _, err := s.conn.ExecContext(ctx, "CREATE OR REPLACE TABLE "+q.Name+" AS\n"+q.Text, named...); err != nil {
		return fmt.Errorf("%s: %w", q.Name, err)
	}
	return nil
}

// Exec runs a short statement with positional arguments.
func (s *Store) Exec(ctx context.Context, text string, args ...any) error {
	if _, err := s.conn.ExecContext(ctx, text, args...); err != nil {
		return fmt.Errorf("%s: %w", strings.SplitN(strings.TrimSpace(text), "\n", 2)[0], err)
	}
	return nil
}

// Query scans each row of a short statement.
func (s *Store) Query(ctx context.Context, scan func(row func(...any) error) error, text string, args ...any) error {
	rows, err := s.conn.QueryContext(ctx, text, args...)
	if err != nil {
		return fmt.Errorf("%s: %w", text, err)
	}
	defer rows.Close()
	for rows.Next() {
		if err := scan(rows.Scan); err != nil {
			return err
		}
	}
	return rows.Err()
}

// Offenders counts the rows of a check and quotes the first.
func (s *Store) Offenders(ctx context.Context, q queries.Query) (n int, sample string, err error) {
	rows, err := s.conn.QueryContext(ctx, q.Text)
	if err != nil {
		return 0, "", fmt.Errorf("%s: %w", q.Name, err)
	}
	defer rows.Close()
	cols, err := rows.Columns()
	if err != nil {
		return 0, "", err
	}
	for rows.Next() {
		n++
		cells := make([]any, len(cols))
		for i := range cells {
			cells[i] = new(any)
		}
		if err := rows.Scan(cells...); err != nil {
			return 0, "", err
		}
		for i, c := range cols {
			if n == 1 {
				sample += fmt.Sprintf("%s=%v ", c, *cells[i].(*any))
			}
		}
	}
	return n, strings.TrimSpace(sample), rows.Err()
}

// Append adds rows to a table in bulk. The engine's appender misreads
// decimals of another scale, so only plain types pass: text, whole numbers,
// finite float64, bool, days (midnight UTC) and nil.
func (s *Store) Append(ctx context.Context, table string, rows [][]any) error {
	for _, row := range rows {
		for i, v := range row {
			if !plain(v) {
				return fmt.Errorf("append to %s: column %d: %T %v is not text, a whole number, a finite float64, a bool, a day or nil", table, i+1, v, v)
			}
		}
	}
	return s.conn.Raw(func(dc any) error {
		a, err := duckdb.NewAppenderFromConn(dc.(driver.Conn), "", table)
		if err != nil {
			return err
		}
		for _, row := range rows {
			args := make([]driver.Value, len(row))
			for i, v := range row {
				args[i] = v
			}
			if err := a.AppendRow(args...); err != nil {
				return errors.Join(fmt.Errorf("append to %s: %w", table, err), a.Close())
			}
		}
		return a.Close()
	})
}

func plain(v any) bool {
	switch v := v.(type) {
	case nil, string, bool, int, int8, int16, int32, int64, uint, uint8, uint16, uint32, uint64:
		return true
	case float64:
		return !math.IsNaN(v) && !math.IsInf(v, 0)
	case time.Time:
		return v.Location() == time.UTC && v.Equal(v.Truncate(24*time.Hour))
	}
	return false
}

// AppendArrow adds Arrow records, whose columns are the table's in order.
func (s *Store) AppendArrow(ctx context.Context, table string, records array.RecordReader) error {
	if err := s.arrow(func(a *duckdb.Arrow) error {
		release, err := a.RegisterView(records, "incoming")
		if err != nil {
			return err
		}
		defer release()
		done, err := a.QueryContext(ctx, "INSERT INTO "+table+" FROM incoming")
		if err == nil {
			done.Release()
		}
		if torn := records.Err(); torn != nil { // the engine passes on its text alone
			err = torn
		}
		return err
	}); err != nil {
		return fmt.Errorf("append to %s: %w", table, err)
	}
	// The engine would keep the view in the file, with a pointer into this process.
	return s.exec(ctx, "DROP VIEW incoming")
}

func (s *Store) arrow(work func(*duckdb.Arrow) error) error {
	return s.conn.Raw(func(dc any) error {
		a, err := duckdb.NewArrowFromConn(dc.(driver.Conn))
		if err != nil {
			return err
		}
		return work(a)
	})
}

// Table gives the rows of a table that Make made, in no order.
func (s *Store) Table(ctx context.Context, q queries.Query, each func(arrow.Record) error) error {
	return s.Records(ctx, queries.Query{Name: q.Name, Text: "FROM " + q.Name}, each)
}

// Records gives the rows of a query as Arrow records, in order. The arguments
// are those of its parameters, by place.
func (s *Store) Records(ctx context.Context, q queries.Query, each func(arrow.Record) error, args ...any) error {
	return s.arrow(func(a *duckdb.Arrow) error {
		r, err := a.QueryContext(ctx, q.Text, args...)
		if err != nil {
			return fmt.Errorf("%s: %w", q.Name, err)
		}
		defer r.Release()
		for r.Next() {
			if err := each(r.Record()); err != nil {
				return err
			}
		}
		return r.Err()
	})
}
