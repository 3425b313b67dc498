package pipeline

import (
	"cmp"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strings"

	"farthing/pipeline/index"
	"farthing/pipeline/intake"
	"farthing/pipeline/quantity"
	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// IndexRequest says which index numbers of a table are wanted.
type IndexRequest struct {
	File    string
	Columns map[string]string // period, product, price, quantity -> the file's column
	Method  string            // as index.MethodNamed takes it
	Monthly bool              // periods are days of which the month counts
	Window  int               // 0: all periods at once
	Splice  string            // as index.SpliceNamed takes it
}

// IndexRow is one period, or one region, of an index; the first is 100.
type IndexRow struct {
	Period string   `json:"period"`
	Index  *float64 `json:"index"`       // null where nothing could be compared
	N      int      `json:"n"`           // products that carry it
	Of     int      `json:"of"`          // products that could have
	Share  *float64 `json:"value_share"` // of the period's value that they make up
}

// IndexFile computes index numbers of a table of prices and quantities: a
// period (or region), a product, a price a unit and, where the method needs
// them, a quantity on each row. A product on several rows of a period counts
// once, at its unit value (without quantities: at the geometric mean).
func IndexFile(q IndexRequest) ([]IndexRow, error) {
	m, needs, err := index.MethodNamed(q.Method)
	if err != nil {
		return nil, &workspace.InputError{Code: "unknown_name", Field: "method", Read: fmt.Sprintf("%q", q.Method), Instead: err.Error()}
	}
	if q.Window != 0 {
		s, err := index.SpliceNamed(q.Splice)
		if err != nil {
			return nil, &workspace.InputError{Code: "unknown_name", Field: "splice", Read: fmt.Sprintf("%q", q.Splice), Instead: err.Error()}
		}
		if q.Window < 2 {
			return nil, &workspace.InputError{Code: "unknown_name", Field: "window", Read: fmt.Sprint(q.Window), Instead: "a window of two periods or more"}
		}
		m = index.Rolling(m, q.Window, s)
	}
	periods, prices, quantities, err := readPanel(q, needs)
	if err != nil {
		return nil, err
	}
	rows, err := m(prices, quantities)
	var apart *index.Unconnected
	if errors.As(err, &apart) {
		return nil, &workspace.InputError{Code: "unconnected", File: q.File, Read: apart.Named(func(i int) string { return periods[i] }), Instead: "compare the groups one by one, or add a product that they share"}
	}
	if err != nil {
		return nil, err
	}
	list := make([]IndexRow, len(rows))
	for i, r := range rows {
		list[i] = IndexRow{Period: periods[i], N: r.N, Of: r.Of}
		if v := result.Some(r.Index * 100); v.OK {
			list[i].Index = &v.V
		}
		if v := result.Some(r.Share); v.OK && needs { // without quantities it would be a share of the products
			list[i].Share = &v.V
		}
	}
	return list, nil
}

// readPanel reads the table as prices and quantities by period, in order of the
// numbers and letters in its name, and product, in alphabetical order; NaN where a
// product was not priced. Without a column of quantities, which the method may
// need, they are nil.
func readPanel(q IndexRequest, needs bool) (periods []string, prices, quantities [][]float64, err error) {
	f, err := os.Open(q.File)
	if err != nil {
		return nil, nil, nil, &workspace.InputError{Code: "no_file", File: q.File, Read: "no such file", Instead: "name a CSV file"}
	}
	defer f.Close()
	r := csv.NewReader(intake.UTF8Text(f))
	r.ReuseRecord = true
	head, err := r.Read()
	if err != nil {
		return nil, nil, nil, &workspace.InputError{Code: "no_header", File: q.File, Line: 1, Read: "no header line", Instead: "start with period,product,price,quantity"}
	}
	at := map[string]int{}
	for _, name := range []string{"period", "product", "price", "quantity"} {
		column := q.Columns[name]
		if column == "" {
			column = name
		}
		at[name] = slices.Index(head, column)
		if at[name] < 0 && (name != "quantity" || needs || q.Columns[name] != "") {
			instead := "say which column it is: --column " + name + "=NAME"
			if name == "quantity" {
				instead += "; without quantities take --method direct_jevons or tpd"
			}
			return nil, nil, nil, &workspace.InputError{Code: "missing_column", File: q.File, Line: 1, Field: column, Read: strings.Join(head, ","),
				Instead: workspace.DidYouMean(column, head, instead)}
		}
	}
	type sold struct {
		value, quantity, lnPrice float64
		n                        int
	}
	cells := map[[2]string]*sold{}
	var products []string
	for {
		rec, err := r.Read()
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, nil, nil, &workspace.InputError{Code: "csv", File: q.File, Read: err.Error(), Instead: "mend the row"}
		}
		line, _ := r.FieldPos(0)
		number := func(name string) (float64, error) {
			x, err := quantity.ParseDecimal(strings.TrimSpace(rec[at[name]]), false)
			if err != nil || x.Sign() < 0 || name == "price" && x.Sign() == 0 {
				return 0, &workspace.InputError{Code: name, File: q.File, Line: line, Field: head[at[name]], Read: fmt.Sprintf("%q", rec[at[name]]), Instead: "a number above 0, such as 2.49"}
			}
			v, _ := x.Float64()
			return v, nil
		}
		price, err := number("price")
		if err != nil {
			return nil, nil, nil, err
		}
		bought := math.NaN()
		if at["quantity"] >= 0 {
			if bought, err = number("quantity"); err != nil {
				return nil, nil, nil, err
			}
		}
		period, product := strings.Clone(strings.TrimSpace(rec[at["period"]])), strings.Clone(rec[at["product"]])
		for name, text := range map[string]string{"period": period, "product": product} {
			if strings.TrimSpace(text) == "" {
				return nil, nil, nil, &workspace.InputError{Code: "blank", File: q.File, Line: line, Field: head[at[name]], Read: `""`, Instead: "fill the cell"}
			}
		}
		if q.Monthly {
			day, err := workspace.ParseDay(period)
			if err != nil {
				return nil, nil, nil, &workspace.InputError{Code: "date", File: q.File, Line: line, Field: head[at["period"]], Read: fmt.Sprintf("%q", period), Instead: "write the day as 2024-02-29, or leave --monthly out"}
			}
			period = result.MonthOf(day).String()
		}
		k := [2]string{period, product}
		if cells[k] == nil {
			cells[k] = &sold{}
			periods, products = append(periods, period), append(products, product)
		}
		c := cells[k]
		c.value, c.quantity, c.lnPrice, c.n = c.value+price*bought, c.quantity+bought, c.lnPrice+math.Log(price), c.n+1
	}
	if len(cells) == 0 {
		return nil, nil, nil, &workspace.InputError{Code: "no_rows", File: q.File, Line: 2, Read: "no rows", Instead: "a row for each product of each period"}
	}
	slices.SortFunc(periods, byNumbers)
	slices.Sort(products)
	periods, products = slices.Compact(periods), slices.Compact(products)
	for _, t := range periods {
		p, n := make([]float64, len(products)), make([]float64, len(products))
		for i, product := range products {
			p[i], n[i] = math.NaN(), math.NaN()
			c := cells[[2]string{t, product}]
			switch {
			case c == nil:
			case math.IsNaN(c.quantity):
				p[i] = math.Exp(c.lnPrice / float64(c.n))
			case c.quantity > 0: // a product that nobody bought has no unit value
				p[i], n[i] = c.value/c.quantity, c.quantity
			}
		}
		prices, quantities = append(prices, p), append(quantities, n)
	}
	if at["quantity"] < 0 {
		quantities = nil
	}
	return periods, prices, quantities, nil
}

// byNumbers orders names by the numbers in them, so that 2024-10 follows 2024-2,
// and by their letters between.
func byNumbers(a, b string) int {
	digit := func(s string, i int) bool { return i < len(s) && '0' <= s[i] && s[i] <= '9' }
	run := func(s string, i int) (number string, end int) {
		for end = i; digit(s, end); end++ {
		}
		return strings.TrimLeft(s[i:end], "0"), end
	}
	for i, j := 0, 0; i < len(a) && j < len(b); {
		if digit(a, i) && digit(b, j) {
			x, nextI := run(a, i)
			y, nextJ := run(b, j)
			if c := cmp.Or(len(x)-len(y), strings.Compare(x, y)); c != 0 {
				return c
			}
			i, j = nextI, nextJ
			continue
		}
		if a[i] != b[j] {
			return int(a[i]) - int(b[j])
		}
		i, j = i+1, j+1
	}
	return cmp.Or(len(a)-len(b), strings.Compare(a, b))
}
