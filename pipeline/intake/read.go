package intake

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"runtime"
	"slices"
	"sort"
	"strconv"
	"strings"
	"sync"

	"farthing/pipeline/quantity"
	"farthing/pipeline/store"
	"farthing/pipeline/workspace"

	"github.com/apache/arrow/go/v17/arrow"
)

// reader reads the files of one intake into the database.
type reader struct {
	*lexicon
	st    *store.Store
	w     *workspace.Workspace
	vocab *vocabulary
	// catalogues are what the catalogue sources say of series, by source and series id.
	catalogues map[string]map[string]workspace.Series
	archived   []Descriptor
}

// outcome is what became of one file's rows before repeats are looked for.
type outcome struct {
	read  int
	aside []setAside
}

// read reads one archived file by its profile.
func (r *reader) read(ctx context.Context, d Descriptor, src workspace.Source, fileID int32) (o outcome, err error) {
	f, err := os.Open(d.Path(r.w))
	if err != nil {
		return o, err
	}
	defer f.Close()
	text := UTF8Text(f)
	if src.Gives == "notes" {
		return r.notes(ctx, d, text, fileID)
	}
	t, err := openText(text)
	if err != nil {
		return o, err
	}
	switch src.Gives {
	case "averages":
		return r.averages(ctx, d, src, t, fileID)
	case "index":
		return r.index(ctx, d, src, t, fileID)
	case "allowances":
		return r.allowances(ctx, d, src, t, fileID)
	case "catalogue":
		n := 0
		err := t.each(func(*record) { n++ })
		return outcome{read: n}, err
	}
	return o, fmt.Errorf("source %s gives %q: no reader", src.Name, src.Gives)
}

// notes reads price notes: blocks of the file are split and typed side by side.
func (r *reader) notes(ctx context.Context, d Descriptor, in *bufio.Reader, fileID int32) (o outcome, err error) {
	t, err := openText(in)
	if err != nil {
		return o, err
	}
	at, bad := noteColumns(t.header)
	if bad != nil {
		return t.refuse(*bad)
	}
	return r.typeRows(ctx, fileID, notesSource, func(work chan<- block) error {
		return t.blocks(func(b block) error {
			select {
			case work <- b:
				return nil
			case <-ctx.Done():
				return ctx.Err()
			}
		})
	}, func(ty *typer, b block) {
		b.records(t.delimiter, func(rec *record) {
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
			ty.row(rec.line, rec.raw, &fs)
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
		case h == "":
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

// typeRows types what produce hands out on as many workers as there are
// processors, and streams the records into the database.
func (r *reader) typeRows(ctx context.Context, fileID int32, source string, produce func(chan<- block) error, rows func(*typer, block)) (o outcome, err error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	work, done := make(chan block), make(chan arrow.Record, 2)
	var mu sync.Mutex
	var produced error
	go func() {
		defer close(work)
		if err := produce(work); err != nil {
			mu.Lock()
			produced = err
			mu.Unlock()
		}
	}()
	var wg sync.WaitGroup
	for range max(1, min(runtime.GOMAXPROCS(0), 8)) {
		wg.Go(func() {
			ty := newTyper(r.lexicon, r.vocab, source, fileID)
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

// oneSeries is a file of one series: a column of months and one of values
// whose header is the series' id.
func oneSeries(src workspace.Source, t *text) (month, value int, id string, bad *fault) {
	name := one(src, "observed_on")
	if name == "" {
		name = "Date"
	}
	month = t.column(name)
	if month < 0 || len(t.header) != 2 {
		return 0, 0, "", &fault{"layout", name, string(t.rawHeader),
			fmt.Sprintf("source %s reads two columns, %q and the series' id; name the month column under [source.columns] month", src.Name, name)}
	}
	value = 1 - month
	return month, value, t.header[value], nil
}

// series is what is known of a series: from the profile, else from its catalogue.
func (r *reader) series(src workspace.Source, id string) (workspace.Series, *fault, error) {
	for _, s := range src.Series {
		if s.ID == id {
			return s, nil, nil
		}
	}
	unknown := &fault{"unknown_series", "series", id, fmt.Sprintf("describe it under [[source.series]] of source %s", src.Name)}
	if len(src.Lookups) == 0 {
		return workspace.Series{}, unknown, nil
	}
	if r.catalogues[src.Lookups[0].Source] == nil {
		c, err := r.catalogue(src.Lookups[0].Source)
		if err != nil {
			return workspace.Series{}, nil, err
		}
		r.catalogues[src.Lookups[0].Source] = c
	}
	if s, ok := r.catalogues[src.Lookups[0].Source][id]; ok && s.Item != "" {
		return s, nil, nil
	}
	unknown.cure = fmt.Sprintf("import a catalogue file of source %s that says what it measures, or %s", src.Lookups[0].Source, unknown.cure)
	return workspace.Series{}, unknown, nil
}

// catalogue reads all archived files of a catalogue source.
func (r *reader) catalogue(name string) (map[string]workspace.Series, error) {
	list := map[string]workspace.Series{}
	for _, d := range r.archived {
		src := r.source(d.Name)
		if src.Name != name {
			continue
		}
		f, err := os.Open(d.Path(r.w))
		if err != nil {
			return nil, err
		}
		t, err := openText(UTF8Text(f))
		if err == nil {
			id, reg, it := t.column(one(src, "series")), t.column(one(src, "region")), t.column(one(src, "item"))
			if min(id, reg, it) < 0 {
				err = &workspace.InputError{Code: "layout", File: d.Name, Line: t.lines, Field: "id, region, item", Read: string(t.rawHeader),
					Instead: "name the file's columns under [source.columns] of source " + name}
			} else {
				err = t.each(func(rec *record) {
					if len(rec.fields) > max(id, reg, it) {
						s := workspace.Series{ID: string(rec.fields[id]), Region: string(rec.fields[reg]), Item: string(rec.fields[it])}
						list[s.ID] = s
					}
				})
			}
		}
		f.Close()
		if err != nil {
			return nil, err
		}
	}
	return list, nil
}

// averages reads published monthly averages, one series a file, its unit from its title.
func (r *reader) averages(ctx context.Context, d Descriptor, src workspace.Source, t *text, fileID int32) (o outcome, err error) {
	month, value, id, bad := oneSeries(src, t)
	if bad != nil {
		return t.refuse(*bad)
	}
	s, bad, err := r.series(src, id)
	if err != nil {
		return o, err
	}
	if bad != nil {
		return t.refuse(*bad)
	}
	sold := s.Pack
	if a := r.alias(src.Name, "item", s.Item); sold == "" && a != nil {
		sold = a.Pack
	}
	if sold == "" {
		_, unit, err := quantity.ParseTitleUnit(s.Item)
		if err != nil {
			f := quantityFault("pack", s.Item, err)
			f.cure += "; or give the pack in tables/aliases"
			return t.refuse(*f)
		}
		sold = unit // as read; the typer reads the same amount from it
	}
	fixed := fields{region: []byte(s.Region), item: []byte(s.Item), pack: []byte(sold), currency: []byte(src.Currency), kind: []byte("average")}
	words := *r.lexicon // an open file has a decimal point, whatever the notes have
	words.settings.Prices.Decimal = "."
	open := *r
	open.lexicon = &words
	return open.typeRows(ctx, fileID, src.Name, func(work chan<- block) error {
		return t.blocks(func(b block) error { work <- b; return nil })
	}, func(ty *typer, b block) {
		ty.ofSeries(id)
		b.records(t.delimiter, func(rec *record) {
			if f := rowFault(rec, len(t.header)); f != nil || len(rec.fields) != 2 {
				if f == nil {
					f = &fault{"cells", "", string(rec.raw), "a month and a value"}
				}
				ty.nRows++
				ty.reject(rec.line, rec.raw, f)
				return
			}
			fs := fixed
			fs[observedOn], fs[price] = rec.fields[month], rec.fields[value]
			if slices.Contains(src.Missing, string(fs[price])) || len(fs[price]) == 0 {
				fs[price], fs[priceType] = nil, []byte(missingType)
			}
			ty.row(rec.line, rec.raw, &fs)
		})
	})
}

// index reads the values of one price index.
func (r *reader) index(ctx context.Context, d Descriptor, src workspace.Source, t *text, fileID int32) (o outcome, err error) {
	month, value, id, bad := oneSeries(src, t)
	if bad != nil {
		return t.refuse(*bad)
	}
	s, bad, err := r.series(src, id)
	if err != nil {
		return o, err
	}
	if bad != nil {
		return t.refuse(*bad)
	}
	reg, _, bad := r.name(src.Name, "region", s.Region, func(n string) bool { return r.regions[n] != nil }, r.regionNames)
	if bad != nil {
		return t.refuse(*bad)
	}
	if s.Index == "" || s.BasePeriod == "" || (s.Adjustment != "adjusted" && s.Adjustment != "unadjusted") {
		return t.refuse(fault{"series", "series", id, "say its index, base_period and adjustment (adjusted or unadjusted) under [[source.series]]"})
	}
	var rows [][]any
	err = t.each(func(rec *record) {
		o.read++
		aside := func(f *fault) { o.aside = append(o.aside, aside(rec.line, rec.raw, f)) }
		if f := rowFault(rec, len(t.header)); f != nil {
			aside(f)
			return
		}
		if len(rec.fields) != 2 {
			aside(&fault{"cells", "", string(rec.raw), "a month and a value"})
			return
		}
		day := readDay(string(rec.fields[month]), r.settings.Prices.DateOrder, true)
		if day.fault != nil {
			day.fault.field = "month"
			aside(day.fault)
			return
		}
		if slices.Contains(src.Missing, string(rec.fields[value])) || len(rec.fields[value]) == 0 {
			return // the file says that there is no value
		}
		v, err := quantity.ParseDecimal(string(rec.fields[value]), false)
		if err != nil || v.Sign() <= 0 {
			aside(&fault{"index_value", "index_value", string(rec.fields[value]), "an index is a number above 0"})
			return
		}
		x, _ := v.Float64()
		rows = append(rows, []any{fileID, int32(rec.line), s.Index, reg, int32(day.month), x, s.BasePeriod, s.Adjustment})
	})
	if err != nil {
		return o, err
	}
	return o, r.st.Append(ctx, "obs_index", rows)
}

// allowances reads allowance amounts from a table with one amount a row. A
// note that the file has on an amount is kept with its source.
func (r *reader) allowances(ctx context.Context, d Descriptor, src workspace.Source, t *text, fileID int32) (o outcome, err error) {
	names := []string{"effective_from", "effective_to", "region", "persons", "amount_lcu", "programme", "amount_kind", "source", "note"}
	at := map[string]int{}
	for _, n := range names {
		at[n] = -1
		if one(src, ourName(n)) != "" {
			at[n] = t.column(one(src, ourName(n)))
			if at[n] < 0 {
				return t.refuse(fault{"missing_column", n, one(src, ourName(n)), "the file has no such column: correct [source.columns] of source " + src.Name})
			}
		}
	}
	var rows [][]any
	err = t.each(func(rec *record) {
		cell := func(n string) string {
			if i := at[n]; i >= 0 && i < len(rec.fields) {
				return string(rec.fields[i])
			}
			return src.Fixed[ourName(n)]
		}
		f := rowFault(rec, len(t.header))
		for n, cells := range src.Only {
			if f == nil && !slices.Contains(cells, cell(n)) {
				return
			}
		}
		o.read++
		aside := func(f *fault) { o.aside = append(o.aside, aside(rec.line, rec.raw, f)) }
		if f != nil {
			aside(f)
			return
		}
		reg, _, bad := r.name(src.Name, "region", cell("region"), func(n string) bool { return r.regions[n] != nil }, r.regionNames)
		if bad != nil {
			aside(bad)
			return
		}
		persons, err := strconv.Atoi(cell("persons"))
		if err != nil || persons < 1 {
			aside(&fault{"persons", "persons", cell("persons"), "a whole number of persons; an amount for each further person has no row of its own here"})
			return
		}
		amount, err := quantity.ParseDecimal(cell("amount_lcu"), false)
		if err != nil || amount.Sign() <= 0 {
			aside(&fault{"amount_lcu", "amount_lcu", cell("amount_lcu"), "an amount above 0"})
			return
		}
		from, err := workspace.ParseDay(cell("effective_from"))
		if err != nil {
			aside(&fault{"effective_from", "effective_from", cell("effective_from"), "write the day as 2024-02-29"})
			return
		}
		var to any
		if s := cell("effective_to"); s != "" {
			day, err := workspace.ParseDay(s)
			if err != nil {
				aside(&fault{"effective_to", "effective_to", s, "write the day as 2024-02-29"})
				return
			}
			to = day
		}
		if !slices.Contains([]string{"maximum", "typical", "minimum"}, cell("amount_kind")) || cell("programme") == "" || src.Currency == "" {
			aside(&fault{"profile", "programme, amount_kind, currency", cell("programme") + ", " + cell("amount_kind") + ", " + src.Currency,
				"give them under [source.fixed] and currency of source " + src.Name})
			return
		}
		told := cell("source")
		if note := cell("note"); note != "" {
			told += " (" + note + ")"
		}
		rows = append(rows, []any{fileID, int32(rec.line), cell("programme"), reg, int32(persons), cell("amount_kind"), from, to,
			cell("amount_lcu"), src.Currency, told})
	})
	if err != nil {
		return o, err
	}
	return o, r.st.Append(ctx, "obs_allowance", rows)
}

func one(src workspace.Source, ours string) string {
	if n := src.Names(ours); len(n) > 0 {
		return n[0]
	}
	return ""
}

func ourName(n string) string {
	if n == "amount_lcu" {
		return "price"
	}
	return n
}
