package pipeline

import (
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
	m, err := index.MethodNamed(q.Method)
	if err != nil {
		return nil, &workspace.InputError{Code: "unknown_name", Field: "method", Read: fmt.Sprintf("%q", q.Method), Instead: err.Error()}
	}
	if q.Window > 0 {
		s, err := index.SpliceNamed(q.Splice)
		if err != nil {
			return nil, &workspace.InputError{Code: "unknown_name", Field: "splice", Read: fmt.Sprintf("%q", q.Splice), Instead: err.Error()}
		}
		if q.Window < 2 {
			return nil, &workspace.InputError{Code: "unknown_name", Field: "window", Read: fmt.Sprint(q.Window), Instead: "a window of two periods or more"}
		}
		m = index.Rolling(m, q.Window, s)
	}
	periods, prices, quantities, err := readPanel(q)
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
		if v := result.Some(r.Share); v.OK {
			list[i].Share = &v.V
		}
	}
	return list, nil
}

// readPanel reads the table as prices and quantities by period and product, in
// alphabetical order of both; NaN where a product was not priced.
func readPanel(q IndexRequest) (periods []string, prices, quantities [][]float64, err error) {
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
		if at[name] < 0 && (name != "quantity" || q.Columns[name] != "") {
			return nil, nil, nil, &workspace.InputError{Code: "missing_column", File: q.File, Line: 1, Field: column, Read: strings.Join(head, ","),
				Instead: workspace.DidYouMean(column, head, "say which column it is: --column "+name+"=NAME")}
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
		period, product := strings.Clone(rec[at["period"]]), strings.Clone(rec[at["product"]])
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
	slices.Sort(periods)
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
	return periods, prices, quantities, nil
}
