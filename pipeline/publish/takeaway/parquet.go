package takeaway

import (
	"errors"
	"fmt"
	"strconv"
	"time"

	"farthing/pipeline/result"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
	"github.com/apache/arrow/go/v17/arrow/memory"
	"github.com/apache/arrow/go/v17/parquet"
	"github.com/apache/arrow/go/v17/parquet/compress"
	"github.com/apache/arrow/go/v17/parquet/pqarrow"
)

// groupRows is how many rows are held before they are written: one row group.
const groupRows = 1 << 16

// EditionKey is the key of a Parquet file's metadata that holds the edition's hash.
const EditionKey = "farthing.edition"

// parquetFile writes a table's rows. Decimals are the doubles nearest to the
// published digits, whole numbers 64-bit, days dates, months and texts strings
// with a dictionary; a missing value is null. Pages are packed by Snappy: every
// reader has it, and the files are so small that setting up Zstandard took most of the time.
type parquetFile struct {
	out     *buffered
	w       *pqarrow.FileWriter
	columns []result.Column
	b       *array.RecordBuilder
	days    map[string]arrow.Date32
	rows    int
}

var arrowTypes = map[result.Type]arrow.DataType{
	result.Text: arrow.BinaryTypes.String, result.MonthOfYear: arrow.BinaryTypes.String, result.Day: arrow.FixedWidthTypes.Date32,
	result.Whole: arrow.PrimitiveTypes.Int64, result.Decimal: arrow.PrimitiveTypes.Float64,
}

func newParquet(path string, t result.Table, edition string) (*parquetFile, error) {
	props := []parquet.WriterProperty{parquet.WithDictionaryDefault(false), parquet.WithCompression(compress.Codecs.Snappy), parquet.WithCreatedBy("farthing")}
	var fields []arrow.Field
	for _, c := range t.Columns {
		fields = append(fields, arrow.Field{Name: c.Name, Type: arrowTypes[c.Type], Nullable: !c.Key})
		if c.Type == result.Text || c.Type == result.MonthOfYear {
			props = append(props, parquet.WithDictionaryFor(c.Name, true))
		}
	}
	meta := arrow.NewMetadata([]string{EditionKey, "title", "description"}, []string{edition, t.Title, t.Text})
	schema := arrow.NewSchema(fields, &meta)
	out, err := create(path)
	if err != nil {
		return nil, err
	}
	w, err := pqarrow.NewFileWriter(schema, out, parquet.NewWriterProperties(props...), pqarrow.DefaultWriterProps())
	if err != nil {
		return nil, errors.Join(err, out.Close())
	}
	return &parquetFile{out: out, w: w, columns: t.Columns, b: array.NewRecordBuilder(memory.DefaultAllocator, schema), days: map[string]arrow.Date32{}}, nil
}

func (p *parquetFile) add(cells []string) error {
	for i, c := range p.columns {
		b, cell := p.b.Field(i), cells[i]
		if missing(c, cell) {
			if c.Key {
				return fmt.Errorf("%s is empty, and part of the row's key", c.Name)
			}
			b.AppendNull()
			continue
		}
		switch b := b.(type) {
		case *array.StringBuilder:
			b.Append(cell)
		case *array.Float64Builder:
			v, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				return fmt.Errorf("%s: %q is no number", c.Name, cell)
			}
			b.Append(v)
		case *array.Int64Builder:
			v, err := strconv.ParseInt(cell, 10, 64)
			if err != nil {
				return fmt.Errorf("%s: %q is no whole number", c.Name, cell)
			}
			b.Append(v)
		case *array.Date32Builder:
			d, ok := p.days[cell]
			if !ok {
				t, err := time.Parse(time.DateOnly, cell)
				if err != nil {
					return fmt.Errorf("%s: %q is no day such as 2024-02-29", c.Name, cell)
				}
				d = arrow.Date32FromTime(t)
				p.days[cell] = d
			}
			b.Append(d)
		}
	}
	if p.rows++; p.rows%groupRows == 0 {
		return p.flush()
	}
	return nil
}

func (p *parquetFile) flush() error {
	rec := p.b.NewRecord()
	defer rec.Release()
	return p.w.Write(rec)
}

func (p *parquetFile) close() error {
	var err error
	if p.rows%groupRows != 0 {
		err = p.flush()
	}
	p.b.Release()
	return errors.Join(err, p.w.Close(), p.out.Flush()) // the writer closes what it writes to
}
