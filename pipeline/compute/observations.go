package compute

import (
	"bufio"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"farthing/pipeline/quantity"
	"farthing/pipeline/result"
	"farthing/pipeline/store"
	"farthing/pipeline/workspace"
	"farthing/queries"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
)

// observationColumns are those of observations.csv.
var observationColumns = result.Columns[result.ObservationRow]()

// outletNames are the published names of outlets and their types: the name
// itself where the table allows it, else a code.
func outletNames(ctx context.Context, st *store.Store, t *workspace.Tables) (name, kind map[string]string, err error) {
	kind = map[string]string{}
	name = t.OutletNames()
	for _, o := range t.Outlets {
		kind[o.Outlet] = o.Type
	}
	err = st.Query(ctx, func(scan func(...any) error) error {
		var s string
		err := scan(&s)
		if _, ok := name[s]; !ok && s != "" {
			name[s] = fmt.Sprintf("outlet-%03d", len(name)+1)
		}
		return err
	}, "SELECT DISTINCT w.word FROM obs_price p JOIN word w ON w.word_id = p.outlet ORDER BY w.word")
	return name, kind, err
}

// writeObservations writes every accepted observation, flagged, region by
// region in a fixed order, counts those of the panel's months that
// count, and takes the file's hash on the way.
func writeObservations(ctx context.Context, st *store.Store, w *workspace.Workspace, t *workspace.Tables, o *observed, path string) (counted int, sum string, err error) {
	f, err := os.Create(path)
	if err != nil {
		return 0, "", err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	hash := sha256.New()
	out := bufio.NewWriterSize(io.MultiWriter(f, hash), 1<<20)
	x := &observationWriter{out: out, first: o.first.Day(1), last: o.last.Day(31), words: o.words, settings: w.Settings, counted: map[string]bool{}, days: map[arrow.Date32]string{}}
	for _, p := range w.Prices.PriceTypes {
		x.counted[p] = true
	}
	x.cells = make([]string, len(x.words))
	x.outlet, x.outletType, x.outletCounts = make([]string, len(x.words)), make([]string, len(x.words)), make([]bool, len(x.words))
	for i, s := range x.words {
		x.cells[i] = csvCell(s)
		x.outlet[i], x.outletType[i] = csvCell(o.outletName[s]), o.outletType[s]
		x.outletCounts[i] = w.Prices.Counts(o.outletType[s])
	}
	x.currency = make([]string, len(x.words))
	for _, r := range t.Regions {
		if i := slices.Index(x.words, r.Region); i >= 0 {
			x.currency[i] = r.Currency
		}
	}
	if err := x.readAmounts(ctx, st); err != nil {
		return 0, "", err
	}
	if err := x.readFiles(ctx, st); err != nil {
		return 0, "", err
	}
	fmt.Fprintln(out, strings.Join(observationColumns, ","))
	batches, err := regionBatches(ctx, st)
	if err != nil {
		return 0, "", err
	}
	for _, b := range batches {
		if err := st.Records(ctx, queries.ObservationList, x.write, b[0], b[1]); err != nil {
			return 0, "", err
		}
	}
	err = out.Flush()
	return x.nCounted, hex.EncodeToString(hash.Sum(nil)), err
}

// batchRows bounds what is sorted and held in memory at once.
const batchRows = 500_000

// regionBatches are ranges of region names, each with about batchRows observations.
func regionBatches(ctx context.Context, st *store.Store) (batches [][2]string, err error) {
	rows := 0
	err = st.Query(ctx, func(scan func(...any) error) error {
		var name string
		var n int
		if err := scan(&name, &n); err != nil {
			return err
		}
		if rows == 0 || rows+n > batchRows {
			batches, rows = append(batches, [2]string{name, name}), 0
		}
		batches[len(batches)-1][1] = name
		rows += n
		return nil
	}, "SELECT w.word, CAST(count(*) AS BIGINT) FROM obs_price p JOIN word w ON w.word_id = p.region GROUP BY w.word ORDER BY w.word")
	return batches, err
}

type observationWriter struct {
	out         *bufio.Writer
	settings    workspace.Settings
	counted     map[string]bool
	currency    []string // by word of the region
	nCounted    int
	first, last time.Time // the panel's days
	days        map[arrow.Date32]string

	words, cells       []string
	outlet, outletType []string
	outletCounts       []bool
	amounts            []soldAs
	files              map[int32]string
	line               []byte
}

// soldAs is an amount as it stands in the file.
type soldAs struct {
	asRead, pack, quantity, unit string
	measured                     bool
	size                         float64
}

func (x *observationWriter) readAmounts(ctx context.Context, st *store.Store) error {
	return st.Query(ctx, func(scan func(...any) error) error {
		var a soldAs
		var size *float64
		if err := scan(&a.asRead, &a.pack, &size, &a.unit, &a.measured); err != nil {
			return err
		}
		if size != nil {
			a.size = *size
			a.quantity = strconv.FormatFloat(*size, 'f', -1, 64)
		}
		a.asRead, a.pack = csvCell(a.asRead), csvCell(a.pack)
		x.amounts = append(x.amounts, a)
		return nil
	}, "SELECT a.as_read, w.word, a.quantity, a.base_unit, a.is_measured FROM amount a JOIN word w ON w.word_id = a.pack ORDER BY a.amount_id")
}

func (x *observationWriter) readFiles(ctx context.Context, st *store.Store) error {
	x.files = map[int32]string{}
	return st.Query(ctx, func(scan func(...any) error) error {
		var id int32
		var sha string
		err := scan(&id, &sha)
		x.files[id] = sha[:archiveDigits]
		return err
	}, "SELECT file_id, sha256 FROM file")
}

// csvCell quotes a cell where it must be.
func csvCell(s string) string {
	if strings.ContainsAny(s, "\",\r\n") || s != strings.TrimSpace(s) {
		return `"` + strings.ReplaceAll(s, `"`, `""`) + `"`
	}
	return s
}

// write writes the rows of one record of observation_list.
func (x *observationWriter) write(rec arrow.Record) error {
	ints := func(i int) []int32 { return rec.Column(i).(*array.Int32).Int32Values() }
	ids := rec.Column(0).(*array.Uint64).Uint64Values()
	days := rec.Column(1).(*array.Date32).Date32Values()
	region, outlet, item, variety, grade, gtin, sold, kind, series := ints(2), ints(3), ints(4), ints(5), ints(6), ints(7), ints(8), ints(9), ints(10)
	price, set := rec.Column(11).(*array.Int64).Int64Values(), rec.Column(12).(*array.Int64).Int64Values()
	average, wholesale := rec.Column(13).(*array.Boolean), rec.Column(14).(*array.Boolean)
	held, correction := rec.Column(15).(*array.String), rec.Column(16).(*array.String)
	file, line := ints(17), ints(18)
	for i := range ids {
		b := x.line[:0]
		add := func(s string) { b = append(append(b, s...), ',') }
		b = strconv.AppendUint(b, 1<<48|ids[i], 16)[1:] // twelve digits with their zeros
		b = append(b, ',')
		day, ok := x.days[days[i]]
		if !ok {
			day = days[i].ToTime().Format("2006-01-02")
			x.days[days[i]] = day
		}
		add(day)
		a := &x.amounts[sold[i]]
		add(x.cells[region[i]])
		add(x.outlet[outlet[i]])
		add(x.outletType[outlet[i]])
		add(x.cells[item[i]])
		add(x.cells[variety[i]])
		add(x.cells[grade[i]])
		add(x.cells[gtin[i]])
		add(a.asRead)
		add(a.pack)
		add(a.quantity)
		add(a.unit)
		if a.measured {
			b = append(b, "yes"...)
		}
		b = append(b, ',')
		used := price[i]
		if set[i] > 0 {
			used = set[i]
		}
		if price[i] > 0 {
			b = quantity.AppendMicro(b, price[i])
			b = append(b, ',')
			b = appendMoney(b, float64(used)/1e6/a.size)
		} else {
			b = append(b, ',')
		}
		b = append(b, ',')
		add(x.cells[kind[i]])
		add(pick(average.Value(i), "average", "quote"))
		add(pick(wholesale.Value(i), "wholesale", "retail"))
		add(x.currency[region[i]])
		add(x.cells[series[i]])
		h, c := held.Value(i), correction.Value(i)
		add(h)
		add(c)
		counts := price[i] > 0 && !wholesale.Value(i) && (average.Value(i) || x.counted[x.words[kind[i]]] && x.outletCounts[outlet[i]]) && c != "exclude" && (h == "" || c != "")
		if counts {
			if d := days[i].ToTime(); !d.Before(x.first) && !d.After(x.last) {
				x.nCounted++
			}
			b = quantity.AppendMicro(b, used)
		}
		b = append(b, ',')
		add(pick(counts, "yes", "no"))
		add(x.files[file[i]])
		b = strconv.AppendInt(b, int64(result.LineOf(int(line[i]))), 10)
		b = append(b, '\n')
		x.line = b
		if _, err := x.out.Write(b); err != nil {
			return err
		}
	}
	return nil
}

// archiveDigits is how much of an archived file's sha256 names it in a row.
const archiveDigits = 12

// appendMoney prints a unit price with the four decimals of published money.
func appendMoney(b []byte, lcu float64) []byte {
	n := math.Round(lcu * 1e4)
	if n >= 1<<52 {
		return strconv.AppendFloat(b, lcu, 'f', 4, 64)
	}
	b = strconv.AppendInt(b, int64(n)/1e4, 10)
	b = append(b, '.')
	return append(b, strconv.Itoa(1e4 + int(int64(n)%1e4))[1:]...)
}

func pick(yes bool, a, b string) string {
	if yes {
		return a
	}
	return b
}
