package intake

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"math"
	"math/big"
	"regexp"
	"slices"
	"strings"
	"time"

	"farthing/pipeline/quantity"
	"farthing/pipeline/result"
	"farthing/pipeline/workspace"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
	"github.com/apache/arrow/go/v17/arrow/memory"
	"github.com/zeebo/xxh3"
)

// The columns of a price note. Every reader of prices hands over rows of these.
const (
	observedOn = iota
	region
	outlet
	item
	price
	pack
	variety
	grade
	gtin
	packs
	priceType
	currency
	weighed
	pieces
	shelfUnitPrice
	kind
	market
	rowID
	note
	nColumns
)

var columnNames = [nColumns]string{"observed_on", "region", "outlet", "item", "price", "pack", "variety", "grade", "gtin", "packs",
	"price_type", "currency", "weighed", "pieces", "shelf_unit_price", "kind", "market", "row_id", "note"}

// fields are one row's texts, by column; nil is a column that the file lacks.
type fields [nColumns][]byte

// obsSchema is the columns of obs_price, in order.
var obsSchema = arrow.NewSchema([]arrow.Field{
	{Name: "file_id", Type: arrow.PrimitiveTypes.Int32}, {Name: "line", Type: arrow.PrimitiveTypes.Int32},
	{Name: "key_hash", Type: arrow.PrimitiveTypes.Uint64}, {Name: "observation_id", Type: arrow.PrimitiveTypes.Uint64},
	{Name: "day", Type: arrow.FixedWidthTypes.Date32}, {Name: "month", Type: arrow.PrimitiveTypes.Int32},
	{Name: "region", Type: arrow.PrimitiveTypes.Int32}, {Name: "outlet", Type: arrow.PrimitiveTypes.Int32},
	{Name: "item", Type: arrow.PrimitiveTypes.Int32}, {Name: "variety", Type: arrow.PrimitiveTypes.Int32},
	{Name: "grade", Type: arrow.PrimitiveTypes.Int32}, {Name: "gtin", Type: arrow.PrimitiveTypes.Int32},
	{Name: "amount", Type: arrow.PrimitiveTypes.Int32}, {Name: "price_type", Type: arrow.PrimitiveTypes.Int32},
	{Name: "series", Type: arrow.PrimitiveTypes.Int32},
	{Name: "micro_price", Type: arrow.PrimitiveTypes.Int64, Nullable: true},
	{Name: "is_average", Type: arrow.FixedWidthTypes.Boolean}, {Name: "is_wholesale", Type: arrow.FixedWidthTypes.Boolean},
	{Name: "is_label_off", Type: arrow.FixedWidthTypes.Boolean},
}, nil)

// setAside is a row that could not be read.
type setAside struct {
	line int
	fault
	row string
}

// aside is a row as it is set aside: whatever it holds, as text that can be kept and shown.
func aside(line int, raw []byte, f *fault) setAside {
	return setAside{line, fault{f.code, clip(f.field, 60), clip(f.text, 200), f.cure}, clip(string(raw), 4096)}
}

// typer turns rows of texts into typed observations. It belongs to one worker:
// it reads each distinct text once and remembers it.
type typer struct {
	*lexicon
	vocab  *vocabulary
	source string // whose aliases hold
	fileID int32
	keptOn time.Time // the day on which the file was taken into the archive

	seenText [seriesID + 1]map[string]word
	blank    [seriesID + 1]word // what an empty cell of the column means
	seenDay  map[string]dayRead
	textID   map[string]int32 // numbers of this worker's own, to key seenPack by
	seenPack map[packKey]packRead
	byRegion bool                // amounts depend on the region: there are local measures
	sold     map[string]packText // read from titles

	walk  *walker   // through a profile; nil for price notes
	dates *dates    // of a profile
	day0  time.Time // of a spreadsheet's day numbers

	out    *array.RecordBuilder
	aside  []setAside
	nRows  int
	keyBuf []byte
}

// packText is what a title says is sold.
type packText struct {
	text  []byte
	fault *fault
}

// word is a text and its number, or why it can not be used.
type word struct {
	text    string // as one of ours
	escaped string // for the observation key
	id      int32
	alias   *workspace.Alias
	fault   *fault
}

type dayRead struct {
	day   arrow.Date32
	month result.Month
	text  string
	fault *fault
}

type packKey struct {
	item, region, pack, packs, weighed, pieces int32
	priced                                     bool
}

type packRead struct {
	bought
	escaped string // of its pack, for the observation key
	fault   *fault
}

func newTyper(l *lexicon, v *vocabulary, source string, fileID int32) *typer {
	t := &typer{lexicon: l, vocab: v, source: source, fileID: fileID, seenDay: map[string]dayRead{}, textID: map[string]int32{"": 0},
		seenPack: map[packKey]packRead{}, byRegion: len(l.measures) > 0}
	for i := range t.seenText {
		t.seenText[i] = map[string]word{}
		t.blank[i] = t.first(i, "")
	}
	t.out = array.NewRecordBuilder(memory.DefaultAllocator, obsSchema)
	return t
}

// take gives what was typed since the last call.
func (t *typer) take() (arrow.Record, []setAside, int) {
	aside, n := t.aside, t.nRows
	t.aside, t.nRows = nil, 0
	return t.out.NewRecord(), aside, n
}

// reject sets a row aside.
func (t *typer) reject(line int, raw []byte, f *fault) {
	t.aside = append(t.aside, aside(result.LineOf(line), raw, f))
}

// clip is valid text of about n bytes at most.
func clip(s string, n int) string {
	if len(s) <= n {
		return strings.ToValidUTF8(s, "\ufffd")
	}
	return strings.ToValidUTF8(s[:n], "\ufffd") + fmt.Sprintf("… (%d bytes; the whole is in the archive)", len(s))
}

// row types one row: it is appended to the output or set aside.
func (t *typer) row(line int, raw []byte, f *fields, series []byte) {
	t.nRows++
	if bad := t.typed(line, f, series); bad != nil {
		if why := workspace.BadText(bad.text); why != "" { // then that is the trouble, whatever it led to
			bad = &fault{"text", bad.field, bad.text, why}
		}
		t.reject(line, raw, bad)
	}
}

func (t *typer) typed(line int, f *fields, series []byte) *fault {
	isAverage := false
	switch string(f[kind]) {
	case "", "quote":
	case "average":
		isAverage = true
	default:
		return &fault{"kind", "kind", string(f[kind]), "write quote or average, or nothing for quote"}
	}
	isWholesale := false
	switch string(f[market]) {
	case "", "retail":
	case "wholesale":
		isWholesale = true
	default:
		return &fault{"market", "market", string(f[market]), "write retail or wholesale, or nothing for retail"}
	}
	day := t.day(f[observedOn], isAverage)
	if day.fault != nil {
		return day.fault
	}
	reg := t.text(region, f[region])
	it := t.text(item, f[item])
	shop := t.text(outlet, f[outlet])
	kindOf := t.text(priceType, f[priceType])
	cur := t.text(currency, f[currency])
	vari, grad, code := t.text(variety, f[variety]), t.text(grade, f[grade]), t.text(gtin, f[gtin])
	packText := f[pack]
	if a := it.alias; a != nil { // a source's name may say more than the item
		if a.Variety != "" && vari.text == "" {
			vari = t.text(variety, []byte(a.Variety))
		}
		if a.Grade != "" && grad.text == "" {
			grad = t.text(grade, []byte(a.Grade))
		}
		if a.Pack != "" && len(packText) == 0 {
			packText = []byte(a.Pack)
		}
	}
	ofSeries := t.text(seriesID, series)
	for _, w := range []*word{&reg, &it, &shop, &kindOf, &cur, &vari, &grad, &code, &ofSeries} {
		if w.fault != nil {
			return w.fault
		}
	}
	if shop.text == "" && !isAverage {
		return &fault{"blank", "outlet", "", "name the outlet; only an average has none"}
	}
	if !isAverage {
		if bad := t.atOutlet(t.outlets[shop.text], reg.text, day); bad != nil {
			return bad
		}
	}
	if money := t.regions[reg.text].Currency; cur.text == "" {
		cur = t.text(currency, []byte(money))
	} else if cur.text != money {
		return &fault{"currency", "currency", cur.text, "the region counts in " + money + ": note the price in it, or correct the region"}
	}
	if len(packText) == 0 && t.walk != nil && t.walk.src.Gives == "averages" {
		title := t.title(f[item])
		if title.fault != nil {
			return title.fault
		}
		packText = title.text
	}
	micro, priced, bad := t.price(f[price], kindOf.text)
	if bad != nil {
		return bad
	}
	amt := t.amountOf(&it, &reg, packText, f[packs], f[weighed], f[pieces], priced)
	if amt.fault != nil {
		return amt.fault
	}
	labelOff := false
	if len(f[shelfUnitPrice]) > 0 && priced {
		off, bad := t.labelOff(string(f[shelfUnitPrice]), t.items[it.text], float64(micro)/1e6/amt.quantity)
		if bad != nil {
			return bad
		}
		labelOff = off
	}

	key := append(t.keyBuf[:0], day.text...)
	for _, s := range []string{reg.escaped, shop.escaped, it.escaped, vari.escaped, grad.escaped, code.escaped, amt.escaped, kindOf.escaped, cur.escaped, ofSeries.escaped} {
		key = append(append(key, '|'), s...)
	}
	key = append(key, '|')
	if isWholesale { // a price of its own beside that of retail
		key = append(key, "wholesale|"...)
	}
	keyHash := xxh3.Hash(key)
	if priced {
		key = quantity.AppendMicro(key, micro)
	}
	t.keyBuf = key
	sum := sha256.Sum256(key)

	b := t.out
	for i, v := range [...]int32{t.fileID, int32(line)} {
		b.Field(i).(*array.Int32Builder).Append(v)
	}
	b.Field(2).(*array.Uint64Builder).Append(keyHash)
	b.Field(3).(*array.Uint64Builder).Append(binary.BigEndian.Uint64(sum[:8]) >> 16)
	b.Field(4).(*array.Date32Builder).Append(day.day)
	for i, v := range [...]int32{int32(day.month), reg.id, shop.id, it.id, vari.id, grad.id, code.id, amt.id, kindOf.id, ofSeries.id} {
		b.Field(5 + i).(*array.Int32Builder).Append(v)
	}
	if priced {
		b.Field(15).(*array.Int64Builder).Append(micro)
	} else {
		b.Field(15).AppendNull()
	}
	for i, v := range [...]bool{isAverage, isWholesale, labelOff} {
		b.Field(16 + i).(*array.BooleanBuilder).Append(v)
	}
	return nil
}

// title is what the title of an item says is sold: after its last "per", else
// after its last comma.
func (t *typer) title(b []byte) packText {
	if p, ok := t.sold[string(b)]; ok {
		return p
	}
	var p packText
	title := string(b)
	_, sold, err := quantity.ParseTitleUnit(title)
	if i := strings.LastIndexByte(title, ','); err != nil && i >= 0 && !strings.Contains(title, " per ") {
		if _, errPack := quantity.ParsePack(title[i+1:], quantity.Options{}); errPack == nil {
			sold, err = strings.TrimSpace(title[i+1:]), nil
		}
	}
	if err != nil {
		why := "the title says no unit"
		if q, ok := err.(*quantity.Error); ok {
			why = q.Why
		}
		p.fault = &fault{"pack", "pack", title, why + ": give the pack of this item in tables/aliases, as in 1 lb"}
	}
	p.text = []byte(sold)
	if t.sold == nil {
		t.sold = map[string]packText{}
	}
	t.sold[title] = p
	return p
}

// text reads one field of a column once.
func (t *typer) text(col int, b []byte) word {
	if len(b) == 0 {
		return t.blank[col]
	}
	if w, ok := t.seenText[col][string(b)]; ok {
		return w
	}
	w := t.first(col, string(b))
	t.seenText[col][string(b)] = w
	return w
}

// first reads a text that the worker has not seen in that column.
func (t *typer) first(col int, s string) word {
	w := t.read(col, s)
	w.escaped = escape(w.text)
	if w.fault == nil {
		w.id = t.vocab.word(w.text)
	}
	return w
}

func (t *typer) read(col int, s string) (w word) {
	name := workspace.SourceColumns[col]
	if bad := workspace.BadName(s); bad != "" {
		return word{fault: &fault{"text", name, s, bad}}
	}
	w.text = s
	switch col {
	case region:
		w.text, w.alias, w.fault = t.region(t.source, s)
	case item:
		w.text, w.alias, w.fault = named(t.lexicon, t.source, "item", s, t.items, t.itemNames)
	case outlet:
		if t.outlets != nil && s != "" {
			w.text, w.alias, w.fault = named(t.lexicon, t.source, "outlet", s, t.outlets, t.outletNames)
		}
	case grade:
		if a := t.alias(t.source, "grade", s); a != nil {
			w.text = a.Means
		}
	case gtin:
		if s != "" && !quantity.ValidGTIN(s) {
			w.fault = &fault{"gtin", name, s, "check the digits under the bar code: 8, 12, 13 or 14 of them with a right check digit"}
		}
	case priceType:
		if s == "" {
			w.text = "regular"
		}
		if slices.Contains(workspace.PricedTypes, w.text) || slices.Contains(workspace.UnpricedTypes, w.text) ||
			w.text == missingType && t.source != notesSource { // no word for a person to type
			return w
		}
		w.fault = &fault{"price_type", name, s, "write one of " + strings.Join(append(append([]string{}, workspace.PricedTypes...), workspace.UnpricedTypes...), ", ")}
	case currency:
		if s != "" && !(len(s) == 3 && strings.ToUpper(s) == s) {
			w.fault = &fault{"currency", name, s, "write the three letters of ISO 4217"}
		}
	}
	return w
}

// missingType marks the row of an open file that says "no value".
const missingType = "missing"

// escape makes a text safe between the bars of an observation's key.
func escape(s string) string {
	if !strings.ContainsAny(s, `|\`) {
		return s
	}
	return strings.NewReplacer(`\`, `\\`, `|`, `\|`).Replace(s)
}

func (t *typer) day(b []byte, isAverage bool) dayRead {
	key := b
	if isAverage {
		key = append([]byte{'~'}, b...) // a month alone is a day of an average only
	}
	if d, ok := t.seenDay[string(key)]; ok {
		return d
	}
	var d dayRead
	if t.dates != nil {
		d = t.dates.read(string(b))
	} else {
		text := string(b)
		if when, is := serial(t.day0, text); is {
			text = when.Format("2006-01-02")
		}
		d = readDay(text, t.settings.Prices.DateOrder, isAverage)
	}
	t.seenDay[string(key)] = d
	return d
}

// price reads a price in millionths; priced is false where the type says that there is none.
func (t *typer) price(b []byte, kindOf string) (micro int64, priced bool, bad *fault) {
	unpriced := kindOf == missingType || kindOf == "not_sold" || kindOf == "out_of_stock"
	if len(b) == 0 {
		if unpriced {
			return 0, false, nil
		}
		return 0, false, &fault{"blank", "price", "", "note the price, or the price_type not_sold or out_of_stock"}
	}
	if unpriced {
		return 0, false, &fault{"price", "price", string(b), "leave the price blank where the price_type is " + kindOf}
	}
	minor, round := int64(1), false
	if t.walk != nil {
		minor, round = int64(max(1, t.walk.src.MinorUnits)), t.walk.src.RoundPrices
	}
	comma := t.settings.Prices.Decimal == ","
	if micro, ok := plainMicro(b, comma); ok && micro > 0 && minor == 1 {
		return micro, true, nil
	}
	r, err := quantity.ParseDecimal(string(b), comma)
	f := &fault{"price", "price", string(b), "write a price such as 2.49"}
	switch {
	case err != nil:
		if q, ok := err.(*quantity.Error); ok && q.Instead != "" {
			f.cure = q.Why + ": " + q.Instead
		}
		return 0, false, f
	case r.Sign() < 0:
		f.cure = "a price is above 0: write it without the minus"
		return 0, false, f
	case r.Sign() == 0:
		f.cure = "a price is above 0: if there was none, leave it blank and write the price_type not_sold or out_of_stock"
		return 0, false, f
	}
	r.Mul(r, big.NewRat(1, minor))
	if round {
		r, _ = new(big.Rat).SetString(r.FloatString(6))
	}
	micro, ok := quantity.Micro(r)
	if !ok || micro == 0 {
		f.cure = "at most six decimals (round_prices of a source rounds to them), and below 100 000 000 000"
		return 0, false, f
	}
	return micro, true, nil
}

// plainMicro reads the usual form of a price, digits and at most one decimal mark, without an allocation.
func plainMicro(b []byte, comma bool) (int64, bool) {
	mark := byte('.')
	if comma {
		mark = ','
	}
	var n int64
	digits, decimals := 0, -1
	for _, c := range b {
		switch {
		case c >= '0' && c <= '9':
			n = n*10 + int64(c-'0')
			digits++
			if decimals >= 0 {
				decimals++
			}
		case c == mark && decimals < 0 && digits > 0:
			decimals = 0
		default:
			return 0, false
		}
	}
	if digits == 0 || digits > 15 || decimals == 0 || decimals > 6 || digits-max(decimals, 0) > 11 {
		return 0, false
	}
	for range 6 - max(decimals, 0) {
		n *= 10
	}
	return n, true
}

func (t *typer) amountOf(it, reg *word, packText, packsText, weighedText, piecesText []byte, priced bool) packRead {
	key := packKey{it.id, 0, t.number(packText), t.number(packsText), t.number(weighedText), t.number(piecesText), priced}
	if t.byRegion {
		key.region = reg.id
	}
	if p, ok := t.seenPack[key]; ok {
		return p
	}
	var p packRead
	for _, x := range []struct {
		col  int
		text []byte
	}{{pack, packText}, {packs, packsText}, {weighed, weighedText}, {pieces, piecesText}} {
		if bad := workspace.BadText(string(x.text)); bad != "" {
			p.fault = &fault{"text", columnNames[x.col], string(x.text), bad}
		}
	}
	if p.fault == nil {
		sold := t.unitsMeant(string(packText))
		p.bought, p.fault = t.amount(t.items[it.text], reg.text, sold, string(packsText), string(weighedText), string(piecesText), priced)
	}
	if p.fault == nil {
		p.bought = t.vocab.amount(p.bought)
		p.escaped = escape(p.pack)
	}
	t.seenPack[key] = p
	return p
}

// unitsMeant puts our words for a source's own: for the whole text of a pack,
// else for each word in it.
func (t *typer) unitsMeant(sold string) string {
	if a := t.alias(t.source, "unit", sold); a != nil {
		return a.Means
	}
	return wordInPack.ReplaceAllStringFunc(sold, func(word string) string {
		if a := t.alias(t.source, "unit", word); a != nil {
			return a.Means
		}
		return word
	})
}

var wordInPack = regexp.MustCompile(`\pL+`)

// atOutlet holds a note against the outlet's own row, and its day against the
// day on which the file was kept, with a day's grace for time zones.
func (t *typer) atOutlet(o *workspace.Outlet, region string, day dayRead) *fault {
	when := day.day.ToTime()
	if !t.keptOn.IsZero() && when.After(t.keptOn.AddDate(0, 0, 1)) {
		return &fault{"future", "observed_on", day.text, "the file was kept on " + t.keptOn.Format("2006-01-02") + ", before that day: check the year"}
	}
	switch {
	case o == nil:
	case o.Region != region:
		return &fault{"outlet_region", "region", region, fmt.Sprintf("tables/outlets has %s in %s: correct the region, or the outlet", o.Outlet, o.Region)}
	case !o.OpenFrom.IsZero() && when.Before(o.OpenFrom) || !o.OpenTo.IsZero() && when.After(o.OpenTo):
		return &fault{"outlet_closed", "observed_on", day.text, "tables/outlets says that " + o.Outlet + " was not open on that day: correct the day, or open_from_on and open_to_on"}
	}
	return nil
}

// number numbers a text within this worker.
func (t *typer) number(b []byte) int32 {
	if len(b) == 0 {
		return 0
	}
	id, ok := t.textID[string(b)]
	if !ok {
		id = int32(len(t.textID))
		t.textID[string(b)] = id
	}
	return id
}

// labelOff says whether the label's own unit price disagrees with the computed
// one by more than the rounding of its last digit and the settings' tolerance.
func (t *typer) labelOff(label string, it *workspace.Item, computed float64) (bool, *fault) {
	f := &fault{"shelf_unit_price", "shelf_unit_price", label, "write it as 2.40/kg, 0.24/100 g or 1.20/L"}
	shelf, err := quantity.ParseShelfPrice(label, quantity.Options{Comma: t.settings.Prices.Decimal == ","})
	if err != nil || shelf.Price.Sign() == 0 {
		return false, f
	}
	want, _ := quantity.DimensionOf(it.BaseUnit)
	per, err := shelf.Per.To(want, bridge(it))
	if err != nil {
		f.cure = "a unit price per " + it.BaseUnit + ", in which the item is counted"
		return false, f
	}
	value, _ := shelf.Price.Float64()
	rounding := 0.5 * math.Pow10(-shelf.Places) / per.Float()
	return math.Abs(value/per.Float()-computed) > rounding*1.000001+t.settings.Edit.ShelfTolerance*computed, nil
}
