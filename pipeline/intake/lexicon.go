package intake

import (
	"errors"
	"fmt"
	"math/big"
	"path"
	"regexp"
	"slices"
	"strings"
	"sync"

	"farthing/pipeline/quantity"
	"farthing/pipeline/workspace"
)

// fault is why a row is set aside: the field, what was read, and what would cure it.
type fault struct {
	code, field, text, cure string
}

// lexicon is what the settings and tables say about the names in a file.
type lexicon struct {
	settings workspace.Settings
	regions  map[string]*workspace.Region
	items    map[string]*workspace.Item
	outlets  map[string]*workspace.Outlet // nil: any outlet is taken
	measures []workspace.Measure
	aliases  map[aliasKey]*workspace.Alias
	imperial bool // bare pints, gallons and fluid ounces are imperial

	regionNames, itemNames, outletNames []string
}

type aliasKey struct{ source, kind, read string }

func newLexicon(s workspace.Settings, t *workspace.Tables) *lexicon {
	l := &lexicon{settings: s, regions: map[string]*workspace.Region{}, items: map[string]*workspace.Item{},
		aliases: map[aliasKey]*workspace.Alias{}, measures: t.Measures}
	for i := range t.Regions {
		l.regions[t.Regions[i].Region] = &t.Regions[i]
		l.regionNames = append(l.regionNames, t.Regions[i].Region)
	}
	for i := range t.Items {
		l.items[t.Items[i].Item] = &t.Items[i]
		l.itemNames = append(l.itemNames, t.Items[i].Item)
	}
	if len(t.Outlets) > 0 {
		l.outlets = map[string]*workspace.Outlet{}
		for i := range t.Outlets {
			l.outlets[t.Outlets[i].Outlet] = &t.Outlets[i]
			l.outletNames = append(l.outletNames, t.Outlets[i].Outlet)
		}
	}
	for i := range t.Aliases {
		a := &t.Aliases[i]
		l.aliases[aliasKey{a.Source, a.Kind, a.AsRead}] = a
	}
	return l
}

// alias is what a source's own name means here, or nil.
func (l *lexicon) alias(source, kind, read string) *workspace.Alias {
	if a := l.aliases[aliasKey{source, kind, read}]; a != nil {
		return a
	}
	return l.aliases[aliasKey{"*", kind, read}]
}

func (l *lexicon) region(source, read string) (string, *workspace.Alias, *fault) {
	return named(l, source, "region", read, l.regions, l.regionNames)
}

// named resolves a name of a kind to one of ours: itself, or by an alias.
func named[T any](l *lexicon, source, kind, read string, ours map[string]*T, names []string) (string, *workspace.Alias, *fault) {
	if ours[read] != nil {
		return read, nil, nil
	}
	a := l.alias(source, kind, read)
	if a != nil && ours[a.Means] != nil {
		return a.Means, a, nil
	}
	f := &fault{"unknown_" + kind, kind, read, ""}
	switch {
	case read == "":
		f.code, f.cure = "blank", "fill the cell"
	case a != nil:
		f.cure = fmt.Sprintf("tables/aliases: %q means %q, which is in no table: correct that row", read, a.Means)
	default:
		f.cure = fmt.Sprintf("add it to tables/%ss, or to tables/aliases the line %s,%s,%s,…", kind, source, kind, csvCell(read))
		if near := workspace.Nearest(read, names); near != "" {
			f.cure = fmt.Sprintf("did you mean %q? Otherwise %s", near, f.cure)
		}
	}
	return "", nil, f
}

func csvCell(s string) string {
	if strings.ContainsAny(s, "\",\n") {
		return `"` + strings.ReplaceAll(s, `"`, `""`) + `"`
	}
	return s
}

// source is the profile that reads a file of this name; a file that no profile
// names is price notes.
func (l *lexicon) source(file string) workspace.Source {
	for _, s := range l.settings.Sources {
		for _, p := range s.Files {
			ok, _ := path.Match(p, file)
			if packed, _ := path.Match(p, strings.TrimSuffix(file, ".gz")); ok || packed {
				return s
			}
		}
	}
	return priceNotes
}

// notesSource is the name of the source of price notes.
const notesSource = "notes"

var priceNotes = workspace.Source{Name: notesSource, Gives: "notes"}

// rank is a source's place in the settings; price notes come after all.
func (l *lexicon) rank(name string) int32 {
	i := slices.IndexFunc(l.settings.Sources, func(s workspace.Source) bool { return s.Name == name })
	if i < 0 {
		i = len(l.settings.Sources)
	}
	return int32(i)
}

// measured is the local measures that hold for an item in a region.
func (l *lexicon) measured(item, region string) map[string]quantity.Amount {
	var m map[string]quantity.Amount
	for _, row := range l.measures {
		if (row.Item == "" || row.Item == item) && (row.Region == "" || row.Region == region) {
			unit, err := quantity.ParseUnit(row.Unit)
			if err != nil {
				continue // told when the table is checked
			}
			if m == nil {
				m = map[string]quantity.Amount{}
			}
			m[strings.ToLower(row.Measure)] = unit.Times(row.Quantity)
		}
	}
	return m
}

// bought is an amount that a price buys, in the item's base unit.
type bought struct {
	id       int32
	asRead   string
	pack     string // in base units, "3 of 1 x 0.4 kg"
	packWord int32
	quantity float64 // 0 where nothing is priced
	baseUnit string
	measured bool
}

// amount reads what a price buys. weighed wins over the pack; pieces say how
// many are in it.
func (l *lexicon) amount(item *workspace.Item, region, pack, packs, weighed, pieces string, priced bool) (bought, *fault) {
	b := bought{asRead: pack, baseUnit: item.BaseUnit}
	n := big.NewRat(1, 1)
	if packs != "" {
		r, err := quantity.ParseDecimal(packs, false)
		if err != nil || !r.IsInt() || r.Sign() <= 0 {
			return b, &fault{"packs", "packs", packs, "write the whole number of packs that the price buys, or nothing for 1"}
		}
		n = r
	}
	if pack == "" && !priced {
		return b, nil
	}
	opt := quantity.Options{Comma: l.settings.Prices.Decimal == ",", Imperial: l.imperial, Measures: l.measured(item.Item, region)}
	p, err := quantity.ParsePack(pack, opt)
	if pack == "" || err != nil {
		return b, quantityFault("pack", pack, err)
	}
	b.pack = p.String()
	if p.Each.Dimension() != quantity.Unknown && p.Drained.Dimension() == quantity.Unknown {
		b.pack = fmt.Sprintf("%s x %s", p.Count.RatString(), p.Each)
	}
	if n.Cmp(big.NewRat(1, 1)) != 0 {
		b.pack = n.RatString() + " of " + b.pack
	}
	want, _ := quantity.DimensionOf(item.BaseUnit)
	field, read := "pack", pack // that says the amount
	var one quantity.Amount
	switch {
	case weighed != "":
		field, read = "weighed", weighed
		if one, err = quantity.ParseAmount(weighed, opt); err != nil {
			return b, quantityFault(field, read, err)
		}
		b.measured = true
	case pieces != "" && want == quantity.Count:
		r, err := quantity.ParseDecimal(pieces, false)
		if err != nil || r.Sign() <= 0 {
			return b, &fault{"pieces", "pieces", pieces, "write how many are in the pack"}
		}
		one = quantity.New(r, quantity.Count)
	default:
		if one, err = p.Total(); err != nil {
			return b, quantityFault("pack", pack, err)
		}
	}
	if want == quantity.Volume && one.Dimension() == quantity.Mass && bareOunce.MatchString(read) {
		return b, &fault{"dimension", field, read, "ounces of weight or of a liquid? Write fl oz for the liquid, or the weight in g"}
	}
	got, err := one.To(want, bridge(item))
	if err != nil {
		f := quantityFault(field, read, err)
		f.code = "dimension"
		return b, f
	}
	b.quantity = got.Times(n).Float()
	if !(b.quantity > 0) {
		return b, &fault{field, field, read, "write an amount above 0, such as 500 g"}
	}
	return b, nil
}

// bareOunce finds ounces that do not say of what: on a liquid's label they may mean either.
var bareOunce = regexp.MustCompile(`(?i)(^|[^a-z.])\s*(oz|ounces?)\b`)

// bridge is what the item's row says of its weight by volume and by piece.
func bridge(it *workspace.Item) quantity.Bridge {
	b := quantity.Bridge{DensityKgPerL: it.Density, PieceKg: it.PieceKg, Source: it.Source}
	if b.Source == "" {
		b.Source = fmt.Sprintf("%s:%d", it.File, it.Line)
	}
	return b
}

func quantityFault(field, read string, err error) *fault {
	f := &fault{code: field, field: field, text: read, cure: "write a pack such as 500 g, 6 x 330 ml or 12 each"}
	if q, ok := err.(*quantity.Error); ok && read != "" {
		f.cure = q.Why
		if q.Instead != "" {
			f.cure += ": " + q.Instead
		}
		if errors.Is(err, quantity.ErrUnit) {
			f.cure += ", in tables/measures; or say what it means by a line of tables/aliases of kind unit"
		}
	}
	return f
}

// vocabulary numbers the texts of the bulk tables. Workers share it: each asks
// it once for a text that is new to the worker.
type vocabulary struct {
	sync.Mutex
	words   map[string]int32
	amounts map[bought]int32
	newWord []string // since the last save, in order of number
	newPack []bought
}

func newVocabulary() *vocabulary {
	return &vocabulary{words: map[string]int32{}, amounts: map[bought]int32{}}
}

func (v *vocabulary) word(s string) int32 {
	v.Lock()
	defer v.Unlock()
	return v.wordLocked(s)
}

func (v *vocabulary) wordLocked(s string) int32 {
	id, ok := v.words[s]
	if !ok {
		s = strings.Clone(s)
		id = int32(len(v.words))
		v.words[s] = id
		v.newWord = append(v.newWord, s)
	}
	return id
}

func (v *vocabulary) amount(b bought) bought {
	v.Lock()
	defer v.Unlock()
	b.asRead = strings.Clone(b.asRead)
	b.packWord = v.wordLocked(b.pack)
	id, ok := v.amounts[b]
	if !ok {
		id = int32(len(v.amounts))
		v.amounts[b] = id
		stored := b
		stored.id = id
		v.newPack = append(v.newPack, stored)
	}
	b.id = id
	return b
}
