package result

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"reflect"
	"strconv"
	"strings"
)

// decimals published for each kind of number.
var decimals = map[string]int{"money": 4, "days": 2, "pct": 3, "pp": 3, "index": 6, "share": 4, "quantity": 6}

type column struct {
	name  string
	kind  string // "" text, "key", "date", or a kind of decimals
	index []int
	of    reflect.Type
}

// columnsOf lists the columns of a row type in file order; embedded structs are spread out.
func columnsOf(t reflect.Type) []column {
	var cols []column
	for i := range t.NumField() {
		f := t.Field(i)
		if f.Anonymous {
			for _, c := range columnsOf(f.Type) {
				c.index = append([]int{i}, c.index...)
				cols = append(cols, c)
			}
			continue
		}
		if tag, ok := f.Tag.Lookup("col"); ok {
			name, kind, _ := strings.Cut(tag, ",")
			cols = append(cols, column{name, kind, []int{i}, f.Type})
		}
	}
	return cols
}

// Columns names the columns of T's file.
func Columns[T any]() []string {
	var names []string
	for _, c := range columnsOf(reflect.TypeFor[T]()) {
		names = append(names, c.name)
	}
	return names
}

// Keys names the key columns of T, in order.
func Keys[T any]() []string {
	var names []string
	for _, c := range columnsOf(reflect.TypeFor[T]()) {
		if c.kind == "key" {
			names = append(names, c.name)
		}
	}
	return names
}

// text is a column's text; v is addressable, so that nothing is copied to read it.
func text(v reflect.Value, kind string, exact bool) string {
	switch p := v.Addr().Interface().(type) {
	case *Num:
		if exact {
			return p.Exact()
		}
		return p.Fixed(decimals[kind])
	case *Int:
		return p.String()
	case *Month:
		return p.String()
	case *string:
		return *p
	}
	panic(fmt.Sprintf("result: no text for a %s", v.Type()))
}

// WriteCSV writes rows with a header line. Published numbers are rounded to
// the decimals of their kind; exact ones read back as the same float64.
func WriteCSV[T any](w io.Writer, rows []T, exact bool) error {
	cols := columnsOf(reflect.TypeFor[T]())
	buf := bufio.NewWriterSize(w, 1<<16)
	out := csv.NewWriter(buf)
	rec := make([]string, len(cols))
	for i, c := range cols {
		rec[i] = c.name
	}
	if err := out.Write(rec); err != nil {
		return err
	}
	for i := range rows {
		v := reflect.ValueOf(&rows[i]).Elem()
		for i, c := range cols {
			rec[i] = text(v.FieldByIndex(c.index), c.kind, exact)
		}
		if err := out.Write(rec); err != nil {
			return err
		}
	}
	out.Flush()
	if err := out.Error(); err != nil {
		return err
	}
	return buf.Flush()
}

// ReadCSV reads what WriteCSV wrote. A header that is not T's is an error.
func ReadCSV[T any](r io.Reader) ([]T, error) {
	cols := columnsOf(reflect.TypeFor[T]())
	in := csv.NewReader(bufio.NewReaderSize(r, 1<<16))
	in.ReuseRecord = true
	head, err := in.Read()
	if err != nil {
		return nil, err
	}
	if len(head) != len(cols) {
		return nil, fmt.Errorf("%d columns, want %d", len(head), len(cols))
	}
	for i, c := range cols {
		if head[i] != c.name {
			return nil, fmt.Errorf("column %d is %q, want %q", i+1, head[i], c.name)
		}
	}
	var rows []T
	for {
		rec, err := in.Read()
		if err == io.EOF {
			return rows, nil
		}
		if err != nil {
			return nil, err
		}
		var row T
		v := reflect.ValueOf(&row).Elem()
		for i, c := range cols {
			if err := set(v.FieldByIndex(c.index), rec[i]); err != nil {
				line, _ := in.FieldPos(i)
				return nil, fmt.Errorf("line %d: %s: %w", line, c.name, err)
			}
		}
		rows = append(rows, row)
	}
}

func set(v reflect.Value, s string) error {
	switch p := v.Addr().Interface().(type) {
	case *string:
		*p = strings.Clone(s)
		return nil
	case *Month:
		return p.UnmarshalText([]byte(s))
	case *Num:
		if s == "" {
			return nil
		}
		f, err := strconv.ParseFloat(s, 64)
		*p = Some(f)
		return err
	case *Int:
		if s == "" {
			return nil
		}
		n, err := strconv.Atoi(s)
		*p = Count(n)
		return err
	}
	return fmt.Errorf("no reader for a %s", v.Type())
}

// JSONRow is a row as an object with its columns in file order: numbers
// unrounded, what is missing null.
func JSONRow[T any](row T) json.RawMessage {
	var b bytes.Buffer
	v := reflect.ValueOf(&row).Elem()
	for i, c := range columnsOf(v.Type()) {
		sep := ','
		if i == 0 {
			sep = '{'
		}
		b.WriteRune(sep)
		fmt.Fprintf(&b, "%q:", c.name)
		field := v.FieldByIndex(c.index)
		s := text(field, c.kind, true)
		switch field.Interface().(type) {
		case Num, Int:
			if s == "" {
				s = "null"
			}
			b.WriteString(s)
		default:
			if s == "" {
				b.WriteString("null")
				break
			}
			q, _ := json.Marshal(s)
			b.Write(q)
		}
	}
	b.WriteByte('}')
	return b.Bytes()
}

// Field is the text of one column of a row, exact, and whether T has that column.
func Field[T any](row T, name string) (string, bool) { return fieldText(row, name, true) }

// Printed is the text of one column of a row as it is published.
func Printed[T any](row T, name string) string {
	s, _ := fieldText(row, name, false)
	return s
}

func fieldText[T any](row T, name string, exact bool) (string, bool) {
	v := reflect.ValueOf(&row).Elem()
	for _, c := range columnsOf(v.Type()) {
		if c.name == name {
			return text(v.FieldByIndex(c.index), c.kind, exact), true
		}
	}
	return "", false
}

// Key is a row's key columns, in order.
func Key[T any](row T) []string {
	v := reflect.ValueOf(&row).Elem()
	var key []string
	for _, c := range columnsOf(v.Type()) {
		if c.kind == "key" {
			key = append(key, text(v.FieldByIndex(c.index), c.kind, true))
		}
	}
	return key
}
