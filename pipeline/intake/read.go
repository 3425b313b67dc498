package intake

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/big"
	"runtime"
	"slices"
	"sort"
	"strconv"
	"strings"
	"sync"
	"time"

	"farthing/pipeline/quantity"
	"farthing/pipeline/workspace"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
)

// reader reads the files of one intake into the database.
type reader struct {
	*lexicon
	st         door
	w          *workspace.Workspace
	vocab      *vocabulary
	catalogues map[string]*catalogue // by source
	archived   []Descriptor
	mended     map[string]mender // by mark
	keptOn     time.Time         // of the file being read
}

func newReader(w *workspace.Workspace, t *workspace.Tables, st door, archived []Descriptor) *reader {
	return &reader{lexicon: newLexicon(w.Settings, t), st: st, w: w, vocab: newVocabulary(), catalogues: map[string]*catalogue{},
		archived: archived, mended: map[string]mender{}}
}

// door is where rows go.
type door interface {
	Append(ctx context.Context, table string, rows [][]any) error
	AppendArrow(ctx context.Context, table string, records array.RecordReader) error
}

// outcome is what became of one file's rows before repeats are looked for.
type outcome struct {
	read  int
	aside []setAside
}

// read reads a file by the profile of its source. A packed file is unpacked to
// its end before any of it counts.
func (r *reader) read(ctx context.Context, file string, src workspace.Source, fileID int32) (o outcome, err error) {
	u, err := Unpack(file, src)
	if err == nil && u.packed {
		if _, err = io.Copy(io.Discard, u); err != nil {
			err = &unreadable{"a packed file that breaks off", err}
		}
		if err = errors.Join(err, u.Close()); err == nil {
			u, err = Unpack(file, src)
		}
	}
	var bad *unreadable
	if errors.As(err, &bad) {
		return outcome{1, []setAside{aside(1, nil, &fault{"file", "", bad.err.Error(), bad.what + ": save or fetch it again"})}}, nil
	}
	if err != nil {
		return o, err
	}
	defer u.Close()
	return r.readText(ctx, u, src, fileID)
}

func (r *reader) readText(ctx context.Context, u *unpacked, src workspace.Source, fileID int32) (o outcome, err error) {
	if src.Gives == "notes" {
		return r.notes(ctx, u, fileID)
	}
	t, bad, err := openLayout(u.Reader, src)
	if err != nil {
		return o, err
	}
	t.day0 = u.day0
	if bad == nil && src.Gives == "catalogue" {
		_, bad = t.columnNamed(src.Names("series")[0], src)
	}
	if bad != nil {
		return t.refuse(*bad)
	}
	s, bad, err := r.compile(src, t)
	if err != nil {
		return o, err
	}
	if bad != nil {
		return t.refuse(*bad)
	}
	switch src.Gives {
	case "quotes", "averages":
		return r.prices(ctx, s, t, fileID)
	case "index":
		return r.index(ctx, s, t, fileID)
	case "allowances":
		return r.allowances(ctx, s, t, fileID)
	}
	return s.each(t, func(*record, *cells) *fault { return nil }) // of a catalogue, which is read where it is looked up in
}

// notes reads price notes: blocks of the file are split and typed side by side.
func (r *reader) notes(ctx context.Context, u *unpacked, fileID int32) (o outcome, err error) {
	t, err := openText(u.Reader)
	if err != nil {
		return o, err
	}
	at, bad := noteColumns(t.header)
	if bad != nil {
		return t.refuse(*bad)
	}
	return r.typeRows(ctx, t, func() *typer {
		ty := newTyper(r.lexicon, r.vocab, notesSource, fileID)
		ty.day0, ty.keptOn = u.day0, r.keptOn
		return ty
	}, func(ty *typer, b block) {
		t.records(b, func(rec *record) {
			if f := rowFault(rec, len(t.header)); f != nil {
				ty.nRows++
				ty.reject(rec.line, rec.raw, f)
				return
			}
			var fs fields
			for col, i := range at {
				if i >= 0 && i < len(rec.fields) {
					fs[col] = rec.fields[i]
				}
			}
			ty.row(rec.line, rec.raw, &fs, nil)
		})
	})
}

// rowFault is what is wrong with a row as such.
func rowFault(rec *record, columns int) *fault {
	switch {
	case rec.fault != "":
		return &fault{"row", "", string(rec.raw), rec.fault + ": mend the row"}
	case len(rec.fields) > columns:
		for _, extra := range rec.fields[columns:] {
			if len(extra) > 0 {
				return &fault{"cells", "", string(extra),
					fmt.Sprintf("the row has %d cells, the header %d: put quotes round a cell that holds a comma", len(rec.fields), columns)}
			}
		}
	}
	return nil
}

// noteColumns finds the contract's columns in a header.
func noteColumns(header []string) (at [nColumns]int, bad *fault) {
	for i := range at {
		at[i] = -1
	}
	for i, h := range header {
		col := slices.Index(columnNames[:], h)
		switch bad := workspace.BadText(h); {
		case h == "", slices.Contains(header, markColumn) && slices.Contains(sheetColumns, h):
		case bad != "":
			return at, &fault{"header", "", h, bad + "; price notes are text, CSV UTF-8, under the line observed_on,region,outlet,item,price,pack"}
		case col < 0:
			f := &fault{"unknown_column", h, h, "known columns: " + strings.Join(columnNames[:], ", ")}
			if near := workspace.Nearest(h, columnNames[:]); near != "" {
				f.cure = fmt.Sprintf("did you mean %q?", near)
			} else if len(header) == 1 || i == 0 {
				f.cure = "no [[source]] of farthing.toml reads a file of this name; price notes start with the line observed_on,region,outlet,item,price,pack"
			}
			return at, f
		case at[col] >= 0:
			return at, &fault{"two_columns", h, h, "the column stands twice in the header: keep one"}
		default:
			at[col] = i
		}
	}
	for _, col := range []int{observedOn, region, item, price, pack} {
		if at[col] < 0 {
			return at, &fault{"missing_column", columnNames[col], strings.Join(header, ","), "add the column to the header line"}
		}
	}
	return at, nil
}

// typeRows types the blocks of a text on as many workers as there are
// processors, and streams the records into the database.
func (r *reader) typeRows(ctx context.Context, t *text, worker func() *typer, rows func(*typer, block)) (o outcome, err error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	work, done := make(chan block), make(chan arrow.Record, 2)
	var mu sync.Mutex
	var produced error
	go func() {
		defer close(work)
		if err := t.blocks(func(b block) error {
			select {
			case work <- b:
				return nil
			case <-ctx.Done():
				return ctx.Err()
			}
		}); err != nil {
			mu.Lock()
			produced = err
			mu.Unlock()
		}
	}()
	var wg sync.WaitGroup
	for range max(1, min(runtime.GOMAXPROCS(0), 8)) {
		wg.Go(func() {
			ty := worker()
			for b := range work {
				rows(ty, b)
				rec, aside, n := ty.take()
				mu.Lock()
				o.read += n
				o.aside = append(o.aside, aside...)
				mu.Unlock()
				select {
				case done <- rec:
				case <-ctx.Done():
					rec.Release()
				}
			}
		})
	}
	go func() {
		wg.Wait()
		close(done)
	}()
	err = r.st.AppendArrow(ctx, "obs_price", &stream{records: done})
	cancel()
	for rec := range done { // whatever a failed insert left behind
		rec.Release()
	}
	mu.Lock()
	defer mu.Unlock()
	if err == nil {
		err = produced
	}
	sort.Slice(o.aside, func(i, j int) bool { return o.aside[i].line < o.aside[j].line })
	return o, err
}

// stream hands records from a channel to the database.
type stream struct {
	records <-chan arrow.Record
	now     arrow.Record
}

func (s *stream) Retain()               {}
func (s *stream) Release()              {}
func (s *stream) Schema() *arrow.Schema { return obsSchema }
func (s *stream) Record() arrow.Record  { return s.now }
func (s *stream) Err() error            { return nil }
func (s *stream) Next() bool {
	if s.now != nil {
		s.now.Release()
	}
	var ok bool
	s.now, ok = <-s.records
	return ok
}

// prices reads quotes or averages of a source.
func (r *reader) prices(ctx context.Context, s *shape, t *text, fileID int32) (outcome, error) {
	words := *r.lexicon // a source writes numbers in its own way, whatever the notes do
	words.settings.Prices.Decimal = s.src.Decimal
	words.imperial = s.src.Imperial
	return r.typeRows(ctx, t, func() *typer {
		ty := newTyper(&words, r.vocab, s.src.Name, fileID)
		ty.keptOn = r.keptOn
		ty.walk, ty.dates = &walker{shape: s}, newDates(s.src, t.day0)
		return ty
	}, func(ty *typer, b block) {
		t.records(b, func(rec *record) {
			ty.walk.row(rec, func(place int, raw []byte, c *cells, bad *fault) {
				if bad != nil {
					ty.nRows++
					ty.reject(place, raw, bad)
					return
				}
				fs := c.fields()
				if len(fs[price]) == 0 && len(fs[priceType]) == 0 {
					fs[priceType] = []byte(missingType)
				}
				ty.row(place, raw, fs, c[seriesID])
			})
		})
	})
}

// each passes on every observation of a small file, and sets aside what it is told to.
func (s *shape) each(t *text, take func(*record, *cells) *fault) (o outcome, err error) {
	w := &walker{shape: s}
	err = t.each(func(rec *record) {
		w.row(rec, func(place int, raw []byte, c *cells, bad *fault) {
			o.read++
			if bad == nil {
				bad = take(rec, c)
			}
			if bad != nil {
				o.aside = append(o.aside, aside(rec.line, raw, bad))
			}
		})
	})
	return o, err
}

// allowances reads allowance amounts. A note that the file has on an amount is
// kept with its source.
func (r *reader) allowances(ctx context.Context, s *shape, t *text, fileID int32) (outcome, error) {
	var rows [][]any
	d := newDates(s.src, t.day0)
	o, err := s.each(t, func(rec *record, c *cells) *fault {
		cell := func(i int) string { return string(c[i]) }
		reg, _, bad := r.region(s.src.Name, cell(region))
		if bad != nil {
			return bad
		}
		n, err := strconv.Atoi(cell(persons))
		if err != nil || n < 1 || n > 1000 {
			return &fault{"persons", "persons", cell(persons), "a whole number of persons; an amount for each further person has no row of its own here"}
		}
		amount, err := quantity.ParseDecimal(cell(price), s.src.Decimal == ",")
		if err != nil || amount.Sign() <= 0 {
			return &fault{"amount_lcu", "amount_lcu", cell(price), "an amount above 0"}
		}
		amount.Quo(amount, big.NewRat(int64(max(1, s.src.MinorUnits)), 1))
		from, _, bad := d.find(cell(effectiveFrom))
		if bad != nil {
			bad.field = "effective_from"
			return bad
		}
		var to any
		if len(c[effectiveTo]) > 0 {
			day, bad := d.last(cell(effectiveTo))
			if bad != nil {
				bad.field = "effective_to"
				return bad
			}
			to = day
		}
		if !slices.Contains([]string{"maximum", "typical", "minimum"}, cell(amountKind)) || cell(programme) == "" || cell(currency) == "" {
			return &fault{"profile", "programme, amount_kind, currency", cell(programme) + ", " + cell(amountKind) + ", " + cell(currency),
				"give them under [source.fixed] and currency of source " + s.src.Name}
		}
		if money := r.regions[reg].Currency; cell(currency) != money {
			return &fault{"currency", "currency", cell(currency), "the region counts in " + money + ": the two stand side by side in no result"}
		}
		told := cell(toldBy)
		if len(c[note]) > 0 {
			told += " (" + cell(note) + ")"
		}
		rows = append(rows, []any{fileID, int32(rec.line), cell(programme), reg, int32(n), cell(amountKind), from, to,
			strings.TrimSuffix(strings.TrimRight(amount.FloatString(6), "0"), "."), cell(currency), told})
		return nil
	})
	if err != nil {
		return o, err
	}
	return o, r.st.Append(ctx, "obs_allowance", rows)
}
