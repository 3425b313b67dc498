package kitchen

import (
	"bytes"
	"cmp"
	"fmt"
	"maps"
	"math/big"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"farthing/pipeline/meal"
	"farthing/pipeline/reference"
	"farthing/pipeline/result"
	"farthing/pipeline/spreadsheet"
	"farthing/pipeline/workspace"

	"github.com/xuri/excelize/v2"
)

// Caution goes with every cost of a meal.
const Caution = "This is arithmetic about prices and food tables. It is not dietary advice and says nothing of who may get what. Keeping times are rules of thumb: local food-safety guidance comes first."

// WorkingsEndings are those of the files that Workings makes.
var WorkingsEndings = []string{".csv", ".xlsx"}

// WorkingsEnding is the ending of a file's name, if Workings knows it.
func WorkingsEnding(name string) (string, error) {
	ending := strings.ToLower(filepath.Ext(name))
	if !slices.Contains(WorkingsEndings, ending) {
		return "", fmt.Errorf("%q: the file must end in %s", name, strings.Join(WorkingsEndings, " or "))
	}
	return ending, nil
}

// Workings is a shopping as a sheet that a learner checks with a pencil: each
// line's part used, pack, price and cost, the total, what is bought and left
// over, what it rests on and how to make it again. The costs are rounded half up
// to four decimals; their total is the exact sum of the printed costs, rounded
// once to cents, and blank if a line has no cost. ending is one of
// WorkingsEndings: CSV in blocks under headings, its texts unable to run in a
// spreadsheet; or a workbook whose costs are formulas. Same answer, same bytes.
func (k *Kitchen) Workings(x *Answer, ending string) ([]byte, error) {
	w := k.workings(x, ending)
	if ending == ".csv" {
		return w.csv(), nil
	}
	return w.workbook(k.e)
}

// workings are the parts of the sheet, as both forms hold them.
type workings struct {
	title    string
	about    [][2]string
	lines    grid
	totals   grid
	till     grid
	cautions []string
	repeat   []string // how to make it again
}

// grid is a table of the sheet.
type grid struct {
	name, about string
	columns     []gridColumn
	rows        [][]gridCell
}

// gridColumn says how a column looks.
type gridColumn struct {
	head   string
	width  float64
	format string // of package spreadsheet, or a number format
}

// gridCell is a text, or a number as printed, with its value and its formula in
// a workbook. The zero cell is blank: not known.
type gridCell struct {
	text    string
	number  bool
	value   float64
	formula string
}

func said(text string) gridCell { return gridCell{text: text} }

// printed is a number that stands in the workbook as it is printed, with so many decimals.
func printed(n result.Num, places int, formula string) gridCell {
	if !n.OK {
		return gridCell{}
	}
	text := n.Fixed(places)
	v, _ := strconv.ParseFloat(text, 64)
	return gridCell{text, true, v, formula}
}

// whole is a number printed with so many decimals whose value in the workbook is not rounded.
func whole(n result.Num, places int, formula string) gridCell {
	if !n.OK {
		return gridCell{}
	}
	return gridCell{n.Fixed(places), true, n.V, formula}
}

// labelPrice is a price with all its decimals, at least four.
func labelPrice(n result.Num) gridCell {
	text := n.Exact()
	if _, decimals, _ := strings.Cut(text, "."); len(decimals) <= 4 {
		text = n.Fixed(4)
	}
	return gridCell{text, n.OK, n.V, ""}
}

func count(n result.Int) gridCell {
	return gridCell{n.String(), n.OK, float64(n.V), ""}
}

const (
	moneyFormat    = "0.0000##"
	quantityFormat = "0.000000"
)

// at is the cell of a column in a row of a sheet, as formulas name it.
func (g grid) at(head string, row int) string {
	i := slices.IndexFunc(g.columns, func(c gridColumn) bool { return c.head == head })
	name, _ := excelize.CoordinatesToCellName(i+1, row) // a column of our own
	return name
}

// all are the cells of a column, for a formula in another sheet.
func (g grid) all(head string) string {
	return fmt.Sprintf("%s!%s:%s", g.name, g.at(head, 2), g.at(head, len(g.rows)+1))
}

func (k *Kitchen) workings(x *Answer, ending string) *workings {
	s := x.Shopping
	w := &workings{title: "Workings: " + s.Shopping}
	w.about = k.aboutWorkings(x)
	w.lines = k.lineGrid(x)
	w.till = k.tillGrid(x)
	w.totals = totalGrid(x, w.lines, w.till)
	w.cautions = []string{Caution, reference.KeepingCaution, "An allowance here is an amount to compare with. Who gets it, and how much, is decided by the office that pays it, by its local rules."}
	for _, c := range x.Warnings {
		if c.Code != "incomplete" {
			w.cautions = append(w.cautions, c.Text+"; "+c.Cure+".")
		}
	}
	if k.e.Invented {
		w.cautions = append(w.cautions, "Every price and place in it is invented.")
	}
	if k.e.Caution != "" {
		w.cautions = append(w.cautions, k.e.Caution)
	}
	w.repeat = []string{x.Ask.command(ending), "It reads edition " + k.e.Hash + " of " + k.e.Name + ", as of " + k.e.AsOf + "; farthing rebuild --compare makes that edition again."}
	return w
}

func (k *Kitchen) aboutWorkings(x *Answer) (about [][2]string) {
	s := x.Shopping
	add := func(name, text string) {
		if text != "" {
			about = append(about, [2]string{name, text})
		}
	}
	add("What", map[string]string{"recipe": "a recipe", "plan": "a plan"}[s.Kind]+", "+s.Servings.Exact()+" servings")
	region := s.Region
	for _, r := range k.tables.Regions {
		if r.Region == s.Region && r.Name != r.Region {
			region = r.Name + " (" + r.Region + ")"
		}
	}
	add("Region", region)
	add("Outlet", s.Outlet)
	if s.Outlet == "" {
		add("Prices", "typical prices of the region in "+s.Month.String()+", by the pack most often noted")
	} else {
		add("Prices", "the latest noted at the outlet")
	}
	add("Priced on", s.PricedOn)
	add("Oldest price seen on", s.OldestOn)
	add("Currency", s.CurrencyCode)
	household := s.Household
	for _, h := range k.tables.Households {
		if h.Household == s.Household && h.Name != h.Household {
			household = h.Name + " (" + h.Household + ")"
		}
	}
	if household != "" && s.Persons.OK {
		household += ", persons: " + s.Persons.String()
	}
	add("Household", household)
	add("Programme", strings.TrimSpace(s.Programme+" "+s.AmountKind))
	if s.Kind == "plan" {
		add("Days", s.Days.String())
	}
	add("Cupboard lines", s.Cupboard)
	add("Pantry", s.Pantry)
	add("Edition", k.e.Hash+", as of "+k.e.AsOf)
	return about
}

// inMoney is a heading of an amount of money.
func inMoney(head, currency string) string {
	if currency == "" {
		return head
	}
	return head + ", " + currency
}

func (k *Kitchen) lineGrid(x *Answer) grid {
	currency := x.Shopping.CurrencyCode
	price, unitPrice, cost := inMoney("Pack price", currency), inMoney("Unit price", currency), inMoney("Cost", currency)
	g := grid{name: "Workings", about: "Each line of the meal: what is used of it, its pack, the price of the pack, and cost = part used x pack price / pack size.",
		columns: []gridColumn{{"Dish", 16, spreadsheet.Text}, {"Line", 6, spreadsheet.Text}, {"Item", 22, spreadsheet.Text}, {"Grade", 12, spreadsheet.Text}, {"As written", 14, spreadsheet.Text},
			{"Quantity", 11, quantityFormat}, {"Unit", 6, spreadsheet.Text}, {"Yield", 10, quantityFormat}, {"Yield from", 24, spreadsheet.Wrapped}, {"Part used, as purchased", 12, quantityFormat},
			{"Pack", 10, spreadsheet.Text}, {"Pack size", 11, quantityFormat}, {price, 12, moneyFormat}, {unitPrice, 12, moneyFormat}, {cost, 12, "0.0000"},
			{"Supply", 10, spreadsheet.Text}, {"Price of", 24, spreadsheet.Wrapped}, {"Oldest price seen on", 12, spreadsheet.Date}, {"Observation", 14, spreadsheet.Text},
			{"What is lacking", 36, spreadsheet.Wrapped}, {"Weight from", 30, spreadsheet.Wrapped}, {"Note", 24, spreadsheet.Wrapped}}}
	for i, l := range x.Lines {
		n := i + 2
		at := func(head string) string { return g.at(head, n) }
		used, yieldFrom := whole(l.APQuantity, 6, ""), cmp.Or(l.YieldSource, "as purchased: no yield")
		if l.Basis != "AP" && l.Yield.OK && l.APQuantity.OK {
			used.formula = at("Quantity") + "/" + at("Yield")
		} else if l.Basis != "AP" {
			yieldFrom = "not known"
		}
		unit, paid := whole(l.UnitPrice, 4, ""), gridCell{}
		if l.Lacks == "" {
			paid = printed(l.Portion, 4, "")
		}
		from := l.Outlet
		if l.PackPrice.OK {
			unit.formula = at(price) + "/" + at("Pack size")
			if paid.number {
				paid.formula = fmt.Sprintf("ROUND(%s*%s/%s,4)", at("Part used, as purchased"), at(price), at("Pack size"))
			}
			if from == "" {
				from = "typical price of " + x.Shopping.Region + ", " + x.Shopping.Month.String()
			}
			if l.FilledBy != "" {
				from += "; filled by rule: " + l.FilledBy
			}
		}
		g.rows = append(g.rows, []gridCell{said(l.Recipe), said(l.Line), said(k.items[l.Item].Name), said(l.Grade), said(l.AsWritten),
			whole(l.Amount, 6, ""), said(l.BaseUnit), whole(l.Yield, 6, ""), said(yieldFrom), used,
			said(l.Pack), whole(l.PackSize, 6, ""), labelPrice(l.PackPrice), unit, paid,
			said(l.Supply), said(from), said(l.ObservedOn), said(l.ObservationID), said(l.Lacks), said(l.WeightSource), said(l.Note)})
	}
	return g
}

func (k *Kitchen) tillGrid(x *Answer) grid {
	currency := x.Shopping.CurrencyCode
	price, till := inMoney("Pack price", currency), inMoney("At the till", currency)
	g := grid{name: "Till", about: "What is bought in whole packs, what it costs at the till, and what is left over of it.",
		columns: []gridColumn{{"Item", 22, spreadsheet.Text}, {"Grade", 12, spreadsheet.Text}, {"Needed", 11, quantityFormat}, {"Unit", 6, spreadsheet.Text}, {"From pantry", 11, quantityFormat},
			{"From cupboard", 11, quantityFormat}, {"Pack", 10, spreadsheet.Text}, {"Packs", 8, "0"}, {"Of them in multibuys", 10, "0"}, {price, 12, moneyFormat}, {till, 12, "0.0000"},
			{"Left over", 11, quantityFormat}, {inMoney("Left over", currency), 12, "0.0000"}, {"Used next", 11, quantityFormat}, {"Strands", 11, quantityFormat}, {inMoney("Strands", currency), 12, "0.0000"},
			{"Use by, about", 12, spreadsheet.Date}, {"Outlet", 18, spreadsheet.Text}}}
	for i, l := range x.Goods {
		paid := printed(l.Till, 4, "")
		if paid.number && l.PackPrice.OK && l.Packs.OK && l.Deals.V == 0 {
			paid.formula = g.at("Packs", i+2) + "*" + g.at(price, i+2)
		}
		g.rows = append(g.rows, []gridCell{said(k.items[l.Item].Name), said(l.Grade), whole(l.APQuantity, 6, ""), said(l.BaseUnit), whole(l.FromPantry, 6, ""),
			whole(l.FromCupboard, 6, ""), said(l.Pack), count(l.Packs), count(l.Deals), labelPrice(l.PackPrice), paid,
			whole(l.Leftover, 6, ""), printed(l.LeftoverLCU, 4, ""), whole(l.UsedNext, 6, ""), whole(l.StrandedQty, 6, ""), printed(l.Stranded, 4, ""),
			said(l.UseByOn), said(l.Outlet)})
	}
	return g
}

// totalGrid are the sums below the lines, each from printed figures, so that a
// pencil comes to the same; what is published is not rounded on the way, and may
// differ in the last digit. What is not known is blank, and said.
func totalGrid(x *Answer, lines, till grid) grid {
	s := x.Shopping
	amount := inMoney("Amount", s.CurrencyCode)
	g := grid{name: "Totals", about: "The sums: portion cost, at the till, left over, and against the allowance.",
		columns: []gridColumn{{"What", 34, spreadsheet.Text}, {amount, 14, "0.00##"}, {"How", 90, spreadsheet.Wrapped}}}
	add := func(what string, cell gridCell, how string) {
		g.rows = append(g.rows, []gridCell{said(what), cell, said(how)})
	}
	var costs []*big.Rat
	for _, l := range x.Lines {
		cost := rat(l.Portion)
		if l.Lacks != "" {
			cost = nil
		}
		costs = append(costs, cost)
	}
	sheet := meal.NewSheet(costs)
	var per *big.Rat // a serving or a person's day, as printed
	perRow := 0
	sum := "SUM(" + lines.all(inMoney("Cost", s.CurrencyCode)) + ")"
	if sheet.Total == nil {
		lack := fmt.Sprintf("not known: %d of %d lines have no cost, and a total without them would look cheaper than it is", sheet.Unknown, len(costs))
		add("Portion cost", gridCell{}, lack)
		add("Known part of it", printed(num(sheet.KnownPart), 2, "ROUND("+sum+",2)"), "the printed costs that are known added up, rounded once to cents")
	} else {
		add("Portion cost", printed(num(sheet.Total), 2, "ROUND("+sum+",2)"), "the printed costs added up, rounded once to cents")
		exact := new(big.Rat)
		for _, c := range sheet.Lines {
			exact.Add(exact, c)
		}
		each := func(what string, parts *big.Rat, how string) {
			share, err := meal.Per(exact, parts)
			if err != nil || share == nil {
				return
			}
			n, _ := parts.Float64()
			per, perRow = meal.Round(share, 4), len(g.rows)+2
			add(what, printed(num(per), 4, fmt.Sprintf("ROUND(%s/%s,4)", sum, result.Some(n).Exact())), how)
		}
		if persons := s.Persons.V * s.Days.V; s.Kind == "recipe" {
			each("A serving", rat(s.Servings), "the printed costs added up / "+s.Servings.Exact()+" servings")
		} else if persons > 0 {
			each("A person's day", big.NewRat(int64(persons), 1), fmt.Sprintf("the printed costs added up / %d persons / %d days", s.Persons.V, s.Days.V))
		}
	}
	tillSum := ""
	if len(till.rows) > 0 {
		tillSum = "SUM(" + till.all(inMoney("At the till", s.CurrencyCode)) + ")"
	}
	how := "whole packs"
	if !s.Till.OK {
		how = "not known: a good has no price or quantity"
	}
	add("At the till", printed(s.Till, 4, tillSum), how)
	for _, part := range []struct {
		what string
		n    result.Num
		how  string
	}{
		{"Taken from the pantry", s.FromPantry, "at today's price; at the till = portion cost - pantry - cupboard + left over - saved, but for rounding"},
		{"Taken from the cupboard", s.FromCupboard, "at today's price"},
		{"Left over", s.Leftover, "what is not used of the packs bought"},
		{"Saved by multibuys", s.Saving, "against the regular price"},
		{"Strands", s.Stranded, "spoils before " + map[bool]string{true: "the same again", false: x.Ask.Then}[x.Ask.Then == s.Shopping] + " uses it"},
	} {
		if !part.n.OK {
			part.how = "not known"
		}
		add(part.what, printed(part.n, 4, ""), part.how)
	}
	share, allowance := "a meal's share of the allowance", s.PerMeal
	if s.Kind == "plan" {
		share, allowance = "a person's day of the allowance", s.PerDay
	}
	if !allowance.OK {
		return g
	}
	allowed := meal.Round(rat(allowance), 4)
	add("Allowance", printed(num(allowed), 4, ""), share)
	if per == nil {
		add("Allowance less cost", gridCell{}, "not known")
		return g
	}
	row := len(g.rows) + 1
	formula := fmt.Sprintf("ROUND(%s-%s,4)", g.at(amount, row), g.at(amount, perRow))
	how = "not below 0: within the allowance"
	if allowed.Cmp(per) < 0 {
		how = "below 0: over the allowance"
	}
	add("Allowance less cost", printed(num(new(big.Rat).Sub(allowed, per)), 4, formula), "of the printed figures; "+how)
	return g
}

// plain is an argument that a shell takes as it stands.
var plain = regexp.MustCompile(`^[A-Za-z0-9._/=:-]+$`)

// command is the command line that asks the same.
func (a Ask) command(ending string) string {
	list := []string{"farthing", "meal", a.Name}
	flag := func(name, value string) {
		if value != "" {
			list = append(list, "--"+name, value)
		}
	}
	flag("region", a.Region)
	if flag("outlet", a.Outlet); a.Outlet == "" {
		flag("month", a.Month.String())
	}
	flag("on", a.On.Format(day))
	if a.MaxAgeDays > 0 {
		flag("max-age-days", strconv.Itoa(a.MaxAgeDays))
	}
	flag("household", a.Household)
	flag("programme", a.Programme)
	if a.Servings != nil {
		flag("servings", a.Servings.RatString())
	}
	flag("pantry", a.Pantry)
	for _, item := range slices.Sorted(maps.Keys(a.With)) {
		flag("with", item+"="+a.With[item])
	}
	if a.BuyCupboard {
		list = append(list, "--buy-cupboard")
	}
	if a.Then != a.Name {
		flag("then", a.Then)
	}
	flag("workings", "workings"+ending)
	for i, word := range list {
		if !plain.MatchString(word) {
			list[i] = "'" + strings.ReplaceAll(word, "'", `'\''`) + "'"
		}
	}
	return strings.Join(list, " ")
}

// csv prints the parts one below the other, each under its heading.
func (w *workings) csv() []byte {
	var b bytes.Buffer
	row := func(cells ...gridCell) {
		for i, c := range cells {
			if i > 0 {
				b.WriteByte(',')
			}
			switch {
			case c.number:
				b.WriteString(c.text)
			case c.text != "":
				b.WriteString(spreadsheet.Quote(spreadsheet.Guard(c.text)))
			}
		}
		b.WriteString("\r\n")
	}
	b.WriteString("\ufeff")
	row(said(w.title))
	for _, a := range w.about {
		row(said(a[0]), said(a[1]))
	}
	for _, g := range []grid{w.lines, w.totals, w.till} {
		if len(g.rows) == 0 {
			continue
		}
		row()
		row(said(g.name), said(g.about))
		var head []gridCell
		for _, c := range g.columns {
			head = append(head, said(c.head))
		}
		row(head...)
		for _, r := range g.rows {
			row(r...)
		}
	}
	for _, part := range []struct {
		head  string
		texts []string
	}{{"Cautions", w.cautions}, {"To make it again", w.repeat}} {
		row()
		row(said(part.head))
		for _, text := range part.texts {
			row(said(text))
		}
	}
	return b.Bytes()
}

// workbook holds the same, a sheet for each table.
func (w *workings) workbook(e *result.Edition) ([]byte, error) {
	stamp, err := workspace.ParseDay(e.AsOf)
	if err != nil {
		stamp = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	}
	book, err := spreadsheet.New(spreadsheet.Properties{Title: w.title, Subject: "Edition " + e.Hash + ", as of " + e.AsOf, Creator: e.Name, Description: Caution, Identifier: e.Hash, Stamp: stamp})
	if err != nil {
		return nil, err
	}
	defer book.Close()
	var lines []spreadsheet.Line
	block := func(head string, texts ...string) {
		lines = append(lines, spreadsheet.Line{Text: head, Head: true})
		for _, t := range texts {
			lines = append(lines, spreadsheet.Line{Text: t})
		}
	}
	for _, a := range w.about {
		lines = append(lines, spreadsheet.Line{Text: a[0] + ": " + a[1]})
	}
	block("What is in it", "Workings: "+w.lines.about, "Totals: "+w.totals.about, "Till: "+w.till.about, "Costs are formulas: select one to see what it is made from. A blank cell is not known; it is not 0.")
	block("Cautions", w.cautions...)
	block("To make it again", w.repeat...)
	if err := book.Cover(w.title, lines); err != nil {
		return nil, err
	}
	for _, g := range []grid{w.lines, w.totals, w.till} {
		if len(g.rows) == 0 {
			continue
		}
		if err := book.Sheet(g.sheet()); err != nil {
			return nil, err
		}
	}
	var b bytes.Buffer
	_, err = book.WriteTo(&b)
	return b.Bytes(), err
}

func (g grid) sheet() spreadsheet.Sheet {
	s := spreadsheet.Sheet{Name: g.name, About: g.about, Wide: true}
	for _, c := range g.columns {
		s.Columns = append(s.Columns, spreadsheet.Column{Head: c.head, Width: c.width, Format: c.format})
	}
	s.Rows = func(add func(...any) error) error {
		for _, r := range g.rows {
			row := make([]any, len(r))
			for i, c := range r {
				switch {
				case c.formula != "":
					row[i] = spreadsheet.Formula(c.formula, c.value)
				case c.number:
					row[i] = c.value
				case g.columns[i].format == spreadsheet.Date:
					day, err := spreadsheet.Day(c.text)
					if err != nil {
						return fmt.Errorf("%s: %w", g.columns[i].head, err)
					}
					row[i] = day
				case c.text != "":
					row[i] = c.text
				}
			}
			if err := add(row...); err != nil {
				return err
			}
		}
		return nil
	}
	return s
}
