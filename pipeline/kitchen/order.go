package kitchen

import (
	"bytes"
	"cmp"
	"fmt"
	"time"

	"farthing/pipeline/result"

	"github.com/xuri/excelize/v2"
)

// Order is a shopping as a purchase order: one sheet, one table from A1, in
// purchase units. Same shopping, same bytes.
func (k *Kitchen) Order(x *Answer) ([]byte, error) {
	f := excelize.NewFile()
	defer f.Close()
	const sheet = "Order"
	if err := f.SetSheetName("Sheet1", sheet); err != nil {
		return nil, err
	}
	head := []any{"Item", "Grade", "Pack", "Packs", "Price of a pack", "Together", "Needed", "Unit", "Left over", "Oldest price seen on", "Outlet", "What is lacking"}
	rows := [][]any{head}
	oldest, lacks := map[good]string{}, map[good]string{}
	for _, l := range x.Lines {
		g := good{l.Item, l.Grade}
		oldest[g], lacks[g] = l.ObservedOn, cmp.Or(lacks[g], l.Lacks)
	}
	for _, g := range x.Goods {
		if g.Packs.OK && g.Packs.V == 0 {
			continue // in the pantry or the cupboard already
		}
		rows = append(rows, []any{k.items[g.Item].Name, g.Grade, g.Pack, cell(g.Packs), money(g.PackPrice), money(g.Till), number(g.APQuantity), g.BaseUnit, number(g.Leftover), oldest[good{g.Item, g.Grade}], g.Outlet, lacks[good{g.Item, g.Grade}]})
	}
	for i, r := range rows {
		if err := f.SetSheetRow(sheet, fmt.Sprintf("A%d", i+1), &r); err != nil {
			return nil, err
		}
	}
	if err := f.AddTable(sheet, &excelize.Table{Range: fmt.Sprintf("A1:L%d", max(len(rows), 2)), Name: "order", StyleName: "TableStyleLight1"}); err != nil {
		return nil, err
	}
	if err := f.SetColWidth(sheet, "A", "L", 16); err != nil {
		return nil, err
	}
	if err := f.SetPanes(sheet, &excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
		return nil, err
	}
	notes, err := f.NewSheet("About")
	if err != nil {
		return nil, err
	}
	_ = notes
	s := x.Shopping
	about := [][]any{
		{"Shopping", s.Shopping}, {"Servings", number(s.Servings)}, {"Prices of", fmt.Sprintf("%s %s %s", s.Region, s.Outlet, s.Month)}, {"Priced on", s.PricedOn}, {"Currency", s.CurrencyCode},
		{"Together", money(s.Till)}, {"Edition", k.e.Hash},
		{"Caution", "Arithmetic about prices: no dietary advice, and it says nothing of who may get what. What has no price, or no known weight, stands in the table with blank cells and says what it lacks; the sum is blank then."},
	}
	if k.e.Invented {
		about = append(about, []any{"Invented", "Every price and place in it is made up."})
	}
	for i, r := range about {
		if err := f.SetSheetRow("About", fmt.Sprintf("A%d", i+1), &r); err != nil {
			return nil, err
		}
	}
	fixed := time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC).Format(time.RFC3339) // the clock would make other bytes
	if err := f.SetDocProps(&excelize.DocProperties{Title: "Order: " + s.Shopping, Creator: "Farthing", Created: fixed, Modified: fixed}); err != nil {
		return nil, err
	}
	var b bytes.Buffer
	err = f.Write(&b)
	return b.Bytes(), err
}

func cell(n result.Int) any {
	if !n.OK {
		return nil
	}
	return n.V
}

func number(n result.Num) any {
	if !n.OK {
		return nil
	}
	return n.V
}

// money as published: to four decimals.
func money(n result.Num) any {
	if !n.OK {
		return nil
	}
	var v float64
	fmt.Sscan(n.Fixed(4), &v)
	return v
}
