package quantity

import (
	"fmt"
	"math/big"
	"slices"
	"strings"
)

// Status says how far a figure can be relied on. The zero value: there is no figure.
type Status string

// In falling order of trust. A user's own weighing comes before any table.
const (
	Measured       Status = "measured"
	Published      Status = "published"
	CommonPractice Status = "common practice"
	FromMemory     Status = "from memory"
)

var statuses = []Status{Measured, Published, CommonPractice, FromMemory}

// ParseStatus reads one of the four statuses, written exactly so.
func ParseStatus(text string) (Status, bool) {
	return Status(text), slices.Contains(statuses, Status(text))
}

// Figure is an amount with its grounds. The zero value is no figure: unknown, not zero.
type Figure struct {
	Amount Amount
	Status Status
	Source string
}

// OK says that there is a figure: an amount above zero, of a status, from a source.
func (f Figure) OK() bool {
	return f.Amount.d != Unknown && f.Amount.r.Sign() > 0 && slices.Contains(statuses, f.Status) && f.Source != ""
}

// Facts are what one layer of knowledge says of one item: the user's own tables, or a reference. Figures that are not OK are
// passed over, as if they did not stand there.
type Facts struct {
	Measures map[string]Figure // one of a named measure, by lower-case name: "cup", "large bowl", "piece", "clove"
	Density  Figure            // mass of 1 L of the item
	Piece    Figure            // mass of one piece; a measure "piece" or "each" of mass or volume stands for it too

	// AskDensity and AskPiece say what settles a figure that exists in several forms and so is none here ("name the preparation: chopped 0.68
	// kg per L, sliced 0.49"). Empty: nothing is known.
	AskDensity, AskPiece string
}

// Convention settles bare customary words (cup, tablespoon, pint ...) that differ between countries. The zero value settles the
// teaspoon alone.
type Convention string

const (
	NoConvention Convention = ""
	MetricCups   Convention = "metric"     // cup 250 mL, tablespoon 15 mL, teaspoon 5 mL (common practice)
	USCups       Convention = "us"         // all of the US customary units (NIST Handbook 44, appendix C)
	ImperialPint Convention = "imperial"   // gallon, quart, pint, gill, fluid ounce; spoons 15 and 5 mL; no cup: 250 mL and half a pint are both in use
	Australian   Convention = "australian" // cup 250 mL, tablespoon 20 mL, teaspoon 5 mL (common practice)
)

// stemUnits are the units that a convention means by a bare stem.
var stemUnits = map[Convention]map[string]string{
	NoConvention: {"tsp": "tsp_metric"},
	MetricCups:   {"cup": "cup_metric", "tbsp": "tbsp_metric", "tsp": "tsp_metric"},
	USCups: {"cup": "cup_us", "tbsp": "tbsp_us", "tsp": "tsp_us", "floz": "floz_us", "gill": "gill_us", "pt": "pt_us", "qt": "qt_us", "gal": "gal_us",
		"dry_pt": "dry_pt_us", "dry_qt": "dry_qt_us", "peck": "peck_us", "bushel": "bushel_us"},
	ImperialPint: {"floz": "floz_imp", "gill": "gill_imp", "pt": "pt_imp", "qt": "qt_imp", "gal": "gal_imp", "tbsp": "tbsp_metric", "tsp": "tsp_metric"},
	Australian:   {"cup": "cup_metric", "tbsp": "tbsp_au", "tsp": "tsp_metric"},
}

// ParseConvention reads metric, us, imperial, australian or nothing.
func ParseConvention(text string) (Convention, bool) {
	c := Convention(strings.ToLower(strings.TrimSpace(text)))
	_, ok := stemUnits[c]
	return c, ok
}

// Kitchen reads what a cook writes about one item.
type Kitchen struct {
	Item       string     // for the advice, as the tables spell it
	Words      []string   // the item's own words, in any number: "eggs", "onion"; "2 eggs" are two pieces
	Comma      bool       // the decimal comma is declared
	Convention Convention // what bare cups, spoons and pints are
	Middle     bool       // a range of numbers is its middle; else it is refused
	Facts      []Facts    // the nearest first: the user's own for this item, the user's own for all, the reference's
}

// Used is a figure that an amount rests on.
type Used struct {
	What string // "cup", "density", "piece", "middle of 2-3"
	Figure
}

// Cooked is an amount as a cook wrote it, in the base unit that was asked for.
type Cooked struct {
	As      string // the text as read
	Written Amount // before any change of dimension: 2 cups as litres, 3 cloves as kilograms or pieces
	Amount  Amount
	Used    []Used // in the order of use; none for legal units alone
}

// Status is the least reliable of the figures used, and "" if none was needed.
func (c Cooked) Status() Status {
	least := -1
	for _, u := range c.Used {
		least = max(least, slices.Index(statuses, u.Status))
	}
	if least < 0 {
		return ""
	}
	return statuses[least]
}

// Read turns a quantity and its unit, in two texts or together in one, into an exact amount of dimension to:
//
//	amount = number measure, then kg = L x density = pieces x piece weight
//
//	text    = number ["-" number] ["of"] [measure] ["of"] { item word }
//	number  = as in ParsePack | a | an | one ... twelve | half [a] | [a] quarter | third | two thirds | three quarters | two and a half
//
// "2 cups", "1 1/2" "cup", "½ tsp", "2 eggs", "half an onion", "a pinch", "2 large eggs", "3 cloves of garlic", "half" "piece", and every text of
// ParseAmount ("1 lb 4 oz", "2 x 400 g", "2 tins of 400 g"). A measure is looked for in the facts, the nearest first, then among the
// legal units; a bare word that countries use differently needs the Convention. The item alone, "piece" and "each" are pieces, and so is a bare number
// of an item that is counted (to is Count). Nothing is guessed:
//
//   - ErrSyntax: unreadable, zero, vague ("to taste"), no unit, a bare ounce of what is kept by volume;
//   - ErrRange: "2-3 carrots" without Middle;
//   - ErrUnit: no such measure is known for this item, or the word means different amounts in different countries;
//   - ErrDimension: the density or piece weight is unknown, or depends on the form. This and ErrUnit are gaps that a scale closes:
//     the error says what to weigh and where to write it.
//
// No text makes it panic; all errors are *Error.
func (k Kitchen) Read(quantity, unit string, to Dimension) (Cooked, error) {
	text := strings.TrimSpace(strings.TrimSpace(quantity) + " " + strings.TrimSpace(unit))
	c := Cooked{As: text}
	if to.BaseUnit() == "" {
		return Cooked{}, &Error{ErrDimension, clip(text), "no base unit is asked for", "kg, L or each for this item"}
	}
	ps, err := newParser(text, Options{Comma: k.Comma})
	if err != nil {
		return Cooked{}, err
	}
	if c.Written, c.Used, err = k.written(ps, to); err != nil {
		return Cooked{}, err
	}
	if c.Written.r.Sign() <= 0 {
		return Cooked{}, ps.fail(ErrSyntax, "an amount of nothing", "an amount above zero, or no such line")
	}
	var steps []Used
	if c.Amount, steps, err = k.convert(ps, c.Written, to); err != nil {
		return Cooked{}, err
	}
	c.Used = append(c.Used, steps...)
	if max(len(c.Written.String()), len(c.Amount.String())) > 2*maxNumber {
		return Cooked{}, ps.fail(ErrSyntax, "a figure longer than any recipe needs", "fewer digits")
	}
	return c, nil
}

var numberWords = []string{"zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"}

// part reads a word for a part of one: half, third(s), quarter(s).
func (ps *parser) part() *big.Rat {
	switch {
	case ps.accept("half"):
		return big.NewRat(1, 2)
	case ps.accept("third", "thirds"):
		return big.NewRat(1, 3)
	case ps.accept("quarter", "quarters"):
		return big.NewRat(1, 4)
	}
	return nil
}

// cooksNumber reads a number in digits or words; nil if there is none.
func (ps *parser) cooksNumber() (n *big.Rat, err error) {
	article := ps.accept("a", "an")
	if p := ps.part(); p != nil {
		return p, nil
	}
	switch i := slices.Index(numberWords, ps.at(0).text); {
	case article:
		return big.NewRat(1, 1), nil
	case i > 0 && ps.at(0).kind == 'w':
		ps.i++
		n = big.NewRat(int64(i), 1)
	default:
		x, err := ps.number()
		if err != nil || x == nil {
			return nil, err
		}
		n = x.val
	}
	save := ps.i
	switch {
	case ps.accept("and"):
		if ps.accept("a", "an", "one"); true {
			if p := ps.part(); p != nil {
				return p.Add(p, n), nil
			}
		}
		if ps.at(0).kind == 'n' && ps.at(1).text == "/" && ps.at(2).kind == 'n' {
			p, err := ps.fraction()
			if err != nil {
				return nil, err
			}
			return p.Add(p, n), nil
		}
	case n.IsInt():
		if p := ps.part(); p != nil && n.Cmp(big.NewRat(4, 1)) < 0 { // "two thirds"
			if p.Mul(p, n); p.Cmp(unity) < 0 {
				return p, nil
			}
		}
	}
	ps.i = save
	return n, nil
}

// vague are words for which no amount stands anywhere.
var vague = []string{"some", "few", "several", "couple", "taste", "needed", "desired", "little", "plenty", "generous", "enough", "about", "around", "circa", "ca", "approx", "approximately"}

// written reads number and measure.
func (k Kitchen) written(ps *parser, to Dimension) (Amount, []Used, error) {
	for _, t := range ps.toks {
		if t.kind == 'w' && slices.Contains(vague, t.text) {
			return Amount{}, nil, ps.fail(ErrSyntax, fmt.Sprintf("%q is no amount", t.text), "the amount that you use, as in 1/4 tsp or 2 g; the words into the note")
		}
	}
	var used []Used
	n, err := ps.cooksNumber()
	if err != nil {
		return Amount{}, nil, err
	}
	simple := true // number, then words alone
	if n != nil {
		save := ps.i
		if ps.acceptTo() {
			high, err := ps.cooksNumber()
			switch {
			case err != nil:
				return Amount{}, nil, err
			case high == nil:
				ps.i = save // "2-inch": the sign is no range
			default:
				said := n.RatString() + "-" + high.RatString()
				if high.Cmp(n) <= 0 {
					return Amount{}, nil, ps.fail(ErrSyntax, "a range goes from a smaller to a larger number", "one number")
				}
				middle := new(big.Rat).Mul(new(big.Rat).Add(n, high), big.NewRat(1, 2))
				if !k.Middle {
					return Amount{}, nil, ps.fail(ErrRange, "an amount between "+n.RatString()+" and "+high.RatString(),
						fmt.Sprintf("one number: %s, %s, or the middle %s", n.RatString(), high.RatString(), mixed(middle)))
				}
				n = middle
				used = append(used, Used{"middle of " + said, Figure{New(middle, Count), CommonPractice, "declared: the middle of a range"}})
			}
		}
	}
	for _, t := range ps.toks[ps.i:] {
		simple = simple && t.kind == 'w'
	}
	if n == nil || !simple {
		return k.packText(ps, used)
	}
	one, more, err := k.measure(ps, to)
	if err != nil {
		return Amount{}, nil, err
	}
	return one.Times(n), append(used, more...), nil
}

// mixed prints 5/2 as "2 1/2".
func mixed(r *big.Rat) string {
	whole, rest := new(big.Int).QuoRem(r.Num(), r.Denom(), new(big.Int))
	if whole.Sign() == 0 || rest.Sign() == 0 {
		return r.RatString()
	}
	return whole.String() + " " + new(big.Rat).SetFrac(rest, r.Denom()).RatString()
}

// packText leaves the rest to the grammar of packs, with this kitchen's measures.
func (k Kitchen) packText(ps *parser, used []Used) (Amount, []Used, error) {
	if len(ps.toks) == 0 || !slices.ContainsFunc(ps.toks, func(t token) bool { return t.kind == 'n' || slices.Contains(numberWords, t.text) }) {
		return Amount{}, nil, ps.fail(ErrSyntax, "no number", "a number and a unit, as in 1 1/2 cup, 3 cloves or 400 g; a blank quantity is no amount")
	}
	if len(used) > 0 {
		return Amount{}, nil, ps.fail(ErrSyntax, "a range and more than one amount", "one amount")
	}
	all := &parser{text: ps.text, toks: ps.toks}
	o := Options{Comma: k.Comma, Measures: map[string]Amount{}}
	var text strings.Builder // the same text, its bare words in the units of the convention
	for ; all.i < len(all.toks); all.i++ {
		written, taken := all.toks[all.i].text, 1
		if all.toks[all.i].kind == 'n' && k.Comma {
			written = strings.Replace(written, ".", ",", 1)
		}
		for words := all.words(); len(words) > 0; words = words[:len(words)-1] {
			name := strings.Join(words, " ")
			f, found := k.find(name)
			token := stemUnits[k.Convention][bare[name]]
			_, legal := units[name]
			switch {
			case found && token != "" && f.Amount.Equal(units[token].size):
				name = token
			case found:
				o.Measures[name] = f.Amount
			case bare[name] != "":
				return Amount{}, nil, k.differs(ps, name, bare[name])
			case !legal:
				continue
			}
			if found {
				used = append(used, Used{strings.Join(words, " "), f})
			}
			written, taken = name, len(words)
			break
		}
		if !all.toks[all.i].tight {
			text.WriteByte(' ')
		}
		text.WriteString(written)
		all.i += taken - 1
	}
	a, err := ParseAmount(text.String(), o)
	if err != nil {
		err.(*Error).Read = clip(ps.text)
	}
	return a, used, err
}

// singular lists what a word may be the plural of, the word itself first.
func singular(word string) []string {
	list := []string{word}
	for _, ending := range [][2]string{{"ies", "y"}, {"ves", "f"}, {"ves", "fe"}, {"es", ""}, {"s", ""}} {
		if stem, ok := strings.CutSuffix(word, ending[0]); ok && len(stem) > 1 {
			list = append(list, stem+ending[1])
		}
	}
	return list
}

// SameWord: two lower-case words that are equal but for an English plural ("egg", "eggs").
func SameWord(a, b string) bool {
	return slices.ContainsFunc(singular(a), func(s string) bool { return slices.Contains(singular(b), s) })
}

// find looks a measure up in the facts, then among what the convention settles, by its name in any number. Only the last word of a name has a plural.
func (k Kitchen) find(name string) (Figure, bool) {
	at := strings.LastIndexByte(name, ' ') + 1
	var names []string
	for _, s := range singular(name[at:]) {
		names = append(names, name[:at]+s)
	}
	names = append(names, name+"s")
	for _, facts := range k.Facts {
		for _, s := range names {
			if f := facts.Measures[s]; f.OK() {
				return f, true
			}
		}
	}
	stem := bare[name]
	if token := stemUnits[k.Convention][stem]; stem != "" && token != "" {
		f := Figure{units[token].size, CommonPractice, "a " + stem + " is " + token + " here: a teaspoon is 5 mL wherever no other convention is declared"}
		if k.Convention != NoConvention {
			f.Source = "a " + stem + " is " + token + ": convention " + string(k.Convention)
		}
		if strings.HasSuffix(token, "_us") || strings.HasSuffix(token, "_imp") {
			f.Status = Published
		}
		return f, true
	}
	return Figure{}, false
}

// differs explains a bare word that countries use for different amounts.
func (k Kitchen) differs(ps *parser, name, stem string) *Error {
	var ways []string
	for _, country := range []string{"_metric", "_us", "_imp", "_au"} {
		if u, ok := units[stem+country]; ok {
			ways = append(ways, u.token+" ("+new(big.Rat).Mul(u.size.r, big.NewRat(1000, 1)).FloatString(1)+" mL)")
		}
	}
	name = plainWord(name)
	return ps.fail(ErrUnit, fmt.Sprintf("one %s is not the same amount in all countries", name),
		strings.Join(ways, ", ")+"; or declare [meals] convention in farthing.toml; or "+k.weigh(name))
}

// record is the row of tables/measures that closes a gap.
func (k Kitchen) record(measure, unit string) string {
	row := "put it into tables/measures: measure " + clip(measure)
	if k.Item != "" {
		row += ", item " + clip(k.Item)
	}
	return row + ", quantity ..., unit " + unit
}

var pieceWords = []string{"each", "ea", "piece", "pieces", "pc", "pcs", "whole"}

// measure reads the words behind a number: the amount of one.
func (k Kitchen) measure(ps *parser, to Dimension) (Amount, []Used, error) {
	var words []string
	for _, t := range ps.toks[ps.i:] {
		if !slices.Contains([]string{"of", "the", "a", "an", "level"}, t.text) { // a spoon is level unless said otherwise
			words = append(words, t.text)
		}
	}
	piece := New(unity, Count)
	isItem := func(word string) bool {
		return slices.ContainsFunc(k.Words, func(w string) bool { return SameWord(strings.ToLower(w), word) })
	}
	for n := min(len(words), 4); n > 0; n-- {
		name, rest := strings.Join(words[:n], " "), words[n:]
		if slices.ContainsFunc(rest, func(w string) bool { return !isItem(w) }) {
			continue
		}
		if n == 1 && slices.Contains(pieceWords, name) {
			return piece, nil, nil
		}
		if f, ok := k.find(name); ok {
			return f.Amount, []Used{{name, f}}, nil
		}
		if stem := bare[name]; stem != "" {
			return Amount{}, nil, k.differs(ps, name, stem)
		}
		if u, ok := units[name]; ok {
			if u.token == "oz" && to == Volume {
				return Amount{}, nil, ps.fail(ErrSyntax, "an ounce of what is kept by volume may be a fluid ounce", "floz_us or floz_imp, or grams")
			}
			return u.size, nil, nil
		}
	}
	unknown := slices.DeleteFunc(slices.Clone(words), isItem)
	name := strings.Join(unknown, " ")
	switch {
	case len(words) == 0 && to == Count, len(words) > 0 && len(unknown) == 0:
		return piece, nil, nil
	case len(words) == 0:
		return Amount{}, nil, ps.fail(ErrSyntax, "a number without a unit", "a unit, as in g, mL or cup; each for pieces")
	}
	for n := min(len(unknown)-1, 3); n > 0; n-- { // "2 cups chopped": a measure, and words that belong elsewhere
		known := strings.Join(unknown[:n], " ")
		if _, ok := k.find(known); ok || bare[known] != "" || units[known].token != "" || n == 1 && slices.Contains(pieceWords, known) {
			return Amount{}, nil, ps.fail(ErrSyntax, fmt.Sprintf("%q is no part of an amount", clip(strings.Join(unknown[n:], " "))),
				"number and measure alone; how it is cut or chosen goes into preparation or grade")
		}
	}
	name = plainWord(name)
	return Amount{}, nil, ps.fail(ErrUnit, fmt.Sprintf("no amount is known for one %s of %s", clip(name), k.name()), k.weigh(name))
}

func (k Kitchen) name() string {
	if k.Item == "" {
		return "this item"
	}
	return clip(k.Item)
}

// plainWord is the singular of a name, for the advice: "bunches" is a bunch, "leaves" a leaf, "slices" a slice.
func plainWord(name string) string {
	for _, ending := range [][2]string{{"ies", "y"}, {"aves", "af"}, {"ches", "ch"}, {"shes", "sh"}, {"ss", "ss"}, {"_us", "_us"}, {"s", ""}} {
		if stem, ok := strings.CutSuffix(name, ending[0]); ok && len(stem) > 1 {
			return stem + ending[1]
		}
	}
	return name
}

// weigh says what to put on the scale.
func (k Kitchen) weigh(name string) string {
	return "weigh one " + clip(name) + " of " + k.name() + " in grams and " + k.record(name, "g")
}

// figure is the nearest known figure: the mass (or volume) of one litre or of one piece.
func (k Kitchen) figure(of Dimension) (f Figure, ask string) {
	for _, facts := range k.Facts {
		candidates := []Figure{facts.Density}
		if of == Count {
			candidates = []Figure{facts.Measures["piece"], facts.Measures["each"], facts.Piece}
		}
		for _, f := range candidates {
			if f.OK() && f.Amount.d != Count && (of == Count || f.Amount.d == Mass) {
				return f, ""
			}
		}
		if a := facts.AskDensity; ask == "" && of == Volume {
			ask = a
		}
		if a := facts.AskPiece; ask == "" && of == Count {
			ask = a
		}
	}
	return Figure{}, ask
}

// convert takes an amount to another dimension: pieces by what one holds, volume and mass by the density.
func (k Kitchen) convert(ps *parser, a Amount, to Dimension) (Amount, []Used, error) {
	if a.d == to {
		return a, nil, nil
	}
	var used []Used
	need := func(of Dimension) (Figure, error) {
		f, ask := k.figure(of)
		what, unit := "piece", "g"
		why := "the weight of one piece of " + k.name() + " is not known"
		if of == Volume {
			what = "density"
			why = "the density of " + k.name() + " is not known, so " + a.d.String() + " does not turn into " + to.String()
		}
		if f.OK() {
			used = append(used, Used{what, f})
			return f, nil
		}
		instead := "weigh one piece of " + k.name() + " in grams and " + k.record("piece", unit)
		if of == Volume {
			name := k.volumeWord(ps)
			instead = "weigh one " + name + " of " + k.name() + " in grams and " + k.record(name, unit) + "; or write the amount in grams"
			if to == Volume {
				instead = "write the amount in mL; or weigh one litre of " + k.name() + " and put it into tables/items: density_kg_per_l"
			}
		}
		if ask != "" {
			why, instead = why+" until its form is", ask+"; or "+instead
		}
		return Figure{}, &Error{ErrDimension, clip(ps.text), why, instead}
	}
	var piece Figure
	var err error
	goal := to
	if a.d == Count || to == Count {
		if piece, err = need(Count); err != nil {
			return Amount{}, nil, err
		}
		if a.d == Count {
			a = piece.Amount.Times(a.r)
		} else {
			goal = piece.Amount.d
		}
	}
	if a.d != goal {
		f, err := need(Volume)
		if err != nil {
			return Amount{}, nil, err
		}
		if a, err = a.To(goal, Bridge{DensityKgPerL: f.Amount.r, Source: f.Source}); err != nil {
			return Amount{}, nil, err
		}
	}
	if to == Count {
		a = New(quo(a.r, piece.Amount.r), Count)
	}
	return a, used, nil
}

// volumeWord is the measure to weigh where a density is lacking: the one that was written, else a litre.
func (k Kitchen) volumeWord(ps *parser) string {
	for i, t := range ps.toks {
		if t.kind != 'w' {
			continue
		}
		for _, s := range singular(t.text) {
			f, found := k.find(s)
			if u, legal := units[s]; legal && u.size.d == Volume || found && f.Amount.d == Volume || bare[s] != "" {
				if i > 0 && ps.toks[i-1].kind == 'w' { // "metric cup"
					if _, ok := units[ps.toks[i-1].text+" "+s]; ok {
						return ps.toks[i-1].text + " " + plainWord(s)
					}
				}
				return plainWord(s)
			}
		}
	}
	return "litre"
}
