package quantity

import (
	"fmt"
	"math/big"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// token: a number has digits and at most one point, a word is lower-case letters, a sign is one character.
type token struct {
	kind  byte // 'n', 'w', 's'; 0 beyond the end
	text  string
	tight bool // no blank before it
}

// parser reads the grammar of ParsePack by recursive descent.
type parser struct {
	text string
	o    Options
	toks []token
	i    int
}

// plain rewrites the signs of printed labels to what the grammar knows.
var plain = strings.NewReplacer("½", " 1/2", "¼", " 1/4", "¾", " 3/4", "⅓", " 1/3", "⅔", " 2/3", "⅛", " 1/8", "⅜", " 3/8",
	"⅝", " 5/8", "⅞", " 7/8", "⁄", "/", "×", "x", "–", "-", "—", "-", "−", "-", "℮", "", "ℓ", "l", "one-half", "half")

func newParser(text string, o Options) (*parser, error) {
	ps := &parser{text: text, o: o}
	switch {
	case len(text) > maxText:
		return nil, ps.fail(ErrSyntax, fmt.Sprintf("longer than %d characters", maxText), "the net content alone, as in 6 x 330 ml")
	case !utf8.ValidString(text):
		return nil, ps.fail(ErrSyntax, "not UTF-8 text", "the file saved as UTF-8, or its encoding declared")
	}
	s := []rune(plain.Replace(strings.ToLower(text)))
	isDigit := func(r rune) bool { return r >= '0' && r <= '9' }
	isNumber := func(r rune) bool { return isDigit(r) || r == '.' || r == ',' }
	isWord := func(r rune) bool { return unicode.IsLetter(r) || unicode.IsMark(r) || r == '_' || r == '\'' }
	run := func(i int, in func(rune) bool) int {
		for i < len(s) && in(s[i]) {
			i++
		}
		return i
	}
	for start, end := 0, 0; start < len(s); start = end {
		tight := start > 0 && !unicode.IsSpace(s[start-1])
		switch r := s[start]; {
		case unicode.IsSpace(r):
			end = run(start, unicode.IsSpace)
		case isDigit(r):
			for end = run(start, isNumber); !isDigit(s[end-1]); { // a mark after the last digit ends a phrase
				end--
			}
			number := string(s[start:end])
			if _, err := ParseDecimal(number, o.Comma); err != nil {
				err.(*Error).Read = clip(text)
				return nil, err
			}
			ps.toks = append(ps.toks, token{'n', strings.Replace(number, ",", ".", 1), tight})
		case isWord(r):
			end = run(start, isWord)
			word := string(s[start:end])
			next := run(end, unicode.IsSpace)
			if cut, ok := strings.CutSuffix(word, "x"); ok && cut != "" && next < len(s) && isDigit(s[next]) {
				if _, known := o.lookup(word); !known { // "1lx10"
					word, end = cut, end-1
				}
			}
			ps.toks = append(ps.toks, token{'w', word, tight})
			if end < len(s) && s[end] == '.' { // an abbreviation's dot
				end++
			}
		default:
			end = start + 1
			ps.toks = append(ps.toks, token{'s', string(r), tight})
		}
	}
	return ps, nil
}

func (ps *parser) fail(kind error, why, instead string) *Error {
	return &Error{kind, clip(ps.text), why, instead}
}

const example = "an amount and its unit, as in 500 g, 6 x 330 ml or 400 g (240 g drained)"

// unexpected reports the token where reading stopped.
func (ps *parser) unexpected() *Error {
	switch t := ps.at(0); {
	case t.kind == 0:
		return ps.fail(ErrSyntax, "the text ends where an amount or a unit should stand", example)
	case t.text == "x":
		return ps.fail(ErrSyntax, "a multiplier is a whole number above zero", example)
	case slices.Contains(vessels, t.text), slices.Contains(packWords, t.text):
		return ps.noContent()
	case t.kind == 'w':
		return ps.o.unknownUnit(ps.text, strings.Join(ps.words(), " "))
	default:
		return ps.fail(ErrSyntax, fmt.Sprintf("%q is not expected there", clip(t.text)), example)
	}
}

func (ps *parser) noContent() *Error {
	return ps.fail(ErrSyntax, "the content of one is not stated", "as in 4 x 400 g, or 4 each")
}

// at is the token k places ahead.
func (ps *parser) at(k int) token {
	if ps.i+k < len(ps.toks) {
		return ps.toks[ps.i+k]
	}
	return token{}
}

// accept takes the next token if it is one of these words or signs.
func (ps *parser) accept(texts ...string) bool {
	t := ps.at(0)
	if t.kind == 0 || t.kind == 'n' || !slices.Contains(texts, t.text) {
		return false
	}
	ps.i++
	return true
}

// acceptTo takes the sign of a range.
func (ps *parser) acceptTo() bool { return ps.accept("-", "to") }

// packWords name a package that holds pieces, so that a bare "pack of 6" is six pieces; vessels hold an amount.
var (
	packWords = []string{"pack", "packs", "pk", "pkg"}
	vessels   = []string{"can", "cans", "tin", "tins", "bottle", "bottles", "jar", "jars", "bag", "bags", "box", "boxes",
		"carton", "cartons", "packet", "packets", "pouch", "pouches", "tub", "tubs", "tray", "trays", "sachet", "sachets"}
)

// container takes the name of a package, unless it is a declared measure.
func (ps *parser) container() (name string) {
	name = ps.at(0).text
	if _, declared := ps.o.Measures[name]; declared || !ps.accept(packWords...) && !ps.accept(vessels...) {
		return ""
	}
	return name
}

// label takes "net" or "drained" with the words that go with them.
func (ps *parser) label() (label string) {
	if ps.accept("net") {
		label = "net"
	}
	if ps.accept("drained") {
		label = "drained"
		ps.accept("net")
	}
	if label != "" {
		ps.accept("wt", "weight", "content", "contents")
		ps.accept(":")
	}
	return label
}

// figure is one stated size: low = high unless it is a range.
type figure struct {
	low, high Amount
	place     *big.Rat // one unit of the last place printed, in base units; 0 for fractions, which are exact
	marked    bool     // printed with a decimal mark, so perhaps itself a rounding
	ounce     bool     // a bare ounce: mass, unless a volume beside it says otherwise
	vessels   bool     // not an amount yet: so many vessels, whose content must follow
}

func (f figure) isRange() bool { return !f.low.Equal(f.high) }

func (f figure) times(lo, hi *big.Rat) figure {
	f.low, f.high, f.place = f.low.Times(lo), f.high.Times(hi), mul(f.place, hi)
	return f
}

func mul(x, y *big.Rat) *big.Rat { return new(big.Rat).Mul(x, y) }

// content is count x figure; the count is a range where lo < hi.
type content struct {
	label  string
	lo, hi *big.Rat
	figure
	each bool // "330 ml each"
}

func (ps *parser) pack() (Pack, error) {
	ps.accept("per")
	first, err := ps.content()
	if err != nil {
		return Pack{}, err
	}
	var net, drained *content
	if first.label == "drained" {
		drained = &first
	} else {
		net = &first
	}
	for ps.at(0).kind != 0 {
		open := ps.accept("(")
		if !open && !ps.accept(",", ";", "/") && ps.at(0).text != "drained" {
			return Pack{}, ps.unexpected()
		}
		next, err := ps.content()
		if err != nil {
			return Pack{}, err
		}
		if open && !ps.accept(")") {
			return Pack{}, ps.unexpected()
		}
		switch {
		case next.label == "drained" && drained == nil:
			drained = &next
		case next.label == "drained":
			return Pack{}, ps.fail(ErrSyntax, "two drained weights", "one drained weight")
		case net == nil:
			net = &next
		case next.each && net.low.d == Count && net.low.r.Sign() > 0 && net.low.r.IsInt() && net.high.r.IsInt(): // "6 cans (330 ml each)"
			net.lo, net.hi, net.figure = mul(net.lo, net.low.r), mul(net.hi, net.high.r), next.figure
		default:
			if net.figure, err = ps.same(*net, next); err != nil {
				return Pack{}, err
			}
		}
	}
	return ps.finish(net, drained)
}

// finish puts the contents together; one of the two may be nil.
func (ps *parser) finish(net, drained *content) (Pack, error) {
	count := unity
	p := Pack{}
	if net != nil {
		count = net.lo
		switch f := net.figure; {
		case net.vessels:
			return Pack{}, ps.noContent()
		case net.lo.Cmp(net.hi) < 0:
			f, count = f.times(net.lo, net.hi), unity
			p.Range = Range{f.low, f.high}
		case f.isRange():
			p.Range = Range{f.low, f.high}
		default:
			p.Each = f.low
		}
	}
	if d := drained; d != nil {
		fits := net == nil || net.lo.Cmp(net.hi) == 0 && d.low.d == net.low.d && d.low.r.Cmp(net.low.r) <= 0 &&
			(d.lo.Cmp(unity) == 0 || d.lo.Cmp(net.lo) == 0)
		if !fits || d.vessels || d.isRange() || d.lo.Cmp(d.hi) < 0 {
			return Pack{}, ps.fail(ErrSyntax, "a drained weight is one amount, of one piece, not above the net one",
				"as in 400 g (240 g drained) or 6 x 400 g (240 g drained)")
		}
		p.Drained = d.low
		if net == nil {
			count = d.lo
		}
	}
	p.Count = new(big.Rat).Set(count)
	return p, nil
}

// same checks that b states the content a again, of one piece or of all, and gives the figure of one piece to keep.
func (ps *parser) same(a, b content) (figure, error) {
	inverse := func(x *big.Rat) *big.Rat { return new(big.Rat).Inv(x) }
	said := b.times(b.lo, b.hi)
	for _, one := range []figure{said, said.times(inverse(a.lo), inverse(a.hi))} {
		if kept, ok := agree(a.figure, one, ps.o); ok {
			return kept, nil
		}
	}
	fluid := a.ounce && b.low.d == Volume || b.ounce && a.low.d == Volume
	switch {
	case a.low.d == Count && b.low.d != Count:
		return figure{}, ps.fail(ErrDimension, fmt.Sprintf("the %s may be of one or of all", b.low.d),
			"6 x 330 ml or 6 cans (330 ml each) for one, 250 g for all")
	case a.low.d != b.low.d && !fluid:
		return figure{}, ps.fail(ErrDimension, fmt.Sprintf("%s and %s in one text", a.low.d, b.low.d), "one of the two")
	}
	return figure{}, ps.fail(ErrDisagree, "the second amount is not the first one said again", "the one that the label states")
}

// agree compares two statements of one amount. The second may be rounded or cut off at its last printed place, and differ by 1 %
// at most; then the first is kept. If only the first has decimals it may be the rounded one ("25.4 oz / 750 ml"); then the
// second is kept. A bare ounce beside a volume is a fluid ounce.
func agree(a, b figure, o Options) (figure, bool) {
	a, b = a.fluid(b, o), b.fluid(a, o)
	if a.low.d != b.low.d {
		return figure{}, false
	}
	within := func(place *big.Rat, x, y Amount) bool {
		diff := new(big.Rat).Sub(x.r, y.r)
		diff.Abs(diff)
		return (diff.Sign() == 0 || diff.Cmp(place) < 0) && diff.Cmp(mul(x.r, big.NewRat(1, 100))) <= 0
	}
	both := func(place *big.Rat) bool { return within(place, a.low, b.low) && within(place, a.high, b.high) }
	switch {
	case both(b.place):
		return a, true
	case a.marked && both(a.place):
		return b, true
	}
	return figure{}, false
}

// fluid turns a bare ounce into a fluid ounce where the other figure is a volume.
func (f figure) fluid(other figure, o Options) figure {
	if !f.ounce || other.low.d != Volume {
		return f
	}
	floz := units["floz_us"]
	if o.Imperial {
		floz = units["floz_imp"]
	}
	k := quo(floz.size.r, units["oz"].size.r)
	f.low, f.high, f.place = Amount{mul(f.low.r, k), Volume}, Amount{mul(f.high.r, k), Volume}, mul(f.place, k)
	return f
}

func (ps *parser) content() (content, error) {
	c := content{label: ps.label()}
	var err error
	if c.lo, c.hi, c.figure, err = ps.multi(); err != nil {
		return c, err
	}
	ps.container()
	ps.accept("e") // the estimated sign of Directive 76/211/EEC, typed as a letter
	c.each = ps.accept("each", "ea")
	save := ps.i
	switch label := ps.label(); {
	case label != "" && ps.at(0).kind == 'n': // "400 g drained 240 g": the word belongs to what follows
		ps.i = save
	case label != "" && c.label != "":
		return c, ps.fail(ErrSyntax, "two labels on one amount", "as in 400 g (240 g drained)")
	case label != "":
		c.label = label
	}
	return c, nil
}

// multi reads { count "x" } size { "x" count } and the named packages that stand for an "x".
func (ps *parser) multi() (lo, hi *big.Rat, f figure, err error) {
	start := ps.i
	packOf := ps.container() != "" && ps.accept("of") // "pack of 6"
	if !packOf {
		ps.i = start
	}
	save := ps.i
	if a, b, ok := ps.count(); ok {
		ps.accept("-") // "6-pack"
		name := ps.container()
		switch {
		case ps.accept("x"), name != "" && ps.accept("of"):
			lo, hi, f, err = ps.multi()
			if err == nil {
				lo, hi = mul(lo, a), mul(hi, b)
			}
			return lo, hi, f, err
		case (name != "" || packOf) && ps.atEnd():
			f = figure{low: Amount{a, Count}, high: Amount{b, Count}, place: new(big.Rat)}
			f.vessels = slices.Contains(vessels, name)
			return unity, unity, f, nil
		}
		ps.i = save
	}
	lo, hi = unity, unity
	if ps.at(0).text == "(" && !ps.atFraction() {
		ps.i++
		if lo, hi, f, err = ps.multi(); err == nil && !ps.accept(")") {
			err = ps.unexpected()
		}
	} else {
		f, err = ps.size()
	}
	for err == nil && ps.accept("x") {
		a, b, ok := ps.count()
		if !ok {
			return nil, nil, figure{}, ps.unexpected()
		}
		lo, hi = mul(lo, a), mul(hi, b)
	}
	return lo, hi, f, err
}

// atEnd: nothing more belongs to this content.
func (ps *parser) atEnd() bool {
	t := ps.at(0)
	return t.kind == 0 || t.kind == 's' && strings.Contains("(),;/", t.text)
}

func (t token) isWhole() bool { return t.kind == 'n' && !strings.Contains(t.text, ".") }

// count reads a whole number above zero, or a range of two.
func (ps *parser) count() (lo, hi *big.Rat, ok bool) {
	if lo = ratOf(ps.at(0).text); !ps.at(0).isWhole() || lo.Sign() == 0 {
		return nil, nil, false
	}
	ps.i++
	save := ps.i
	if ps.acceptTo() && ps.at(0).isWhole() {
		if hi = ratOf(ps.at(0).text); lo.Cmp(hi) < 0 {
			ps.i++
			return lo, hi, true
		}
	}
	ps.i = save
	return lo, lo, true
}

// ratOf is the value of a decimal text already known to be a number, or zero. Never a fraction: in those math/big takes a
// leading zero for octal.
func ratOf(decimal string) *big.Rat {
	if r, ok := new(big.Rat).SetString(decimal); ok {
		return r
	}
	return new(big.Rat)
}

func quo(x, y *big.Rat) *big.Rat { return new(big.Rat).Quo(x, y) }

// lastPlace is one unit of the last of so many decimals.
func lastPlace(decimals int) *big.Rat { return quo(unity, ratOf("1"+strings.Repeat("0", decimals))) }

// size reads one amount or a range of amounts.
func (ps *parser) size() (figure, error) {
	if f, ok, err := ps.can(); ok || err != nil {
		return f, err
	}
	n, err := ps.number()
	if err != nil {
		return figure{}, err
	}
	if n != nil && ps.acceptTo() { // "750-800 g"
		high, err := ps.number()
		if err == nil && high == nil {
			err = ps.unexpected()
		}
		if err != nil {
			return figure{}, err
		}
		u, err := ps.unit()
		if err != nil {
			return figure{}, err
		}
		return ps.interval(n.of(u), high.of(u))
	}
	low, err := ps.compound(n)
	if err != nil || !ps.acceptTo() {
		return low, err
	}
	if n, err = ps.number(); err != nil { // "900 g - 2 kg"
		return figure{}, err
	}
	high, err := ps.compound(n)
	if err != nil {
		return figure{}, err
	}
	return ps.interval(low, high)
}

func (ps *parser) interval(low, high figure) (figure, error) {
	if low.low.d != high.low.d || low.low.r.Cmp(high.low.r) >= 0 {
		return figure{}, ps.fail(ErrSyntax, "a range goes from a smaller to a larger amount of one dimension", "as in 750-800 g")
	}
	high.low = low.low
	return high, nil
}

func (n numeral) of(u unit) figure {
	a := u.size.Times(n.val)
	return figure{low: a, high: a, place: mul(n.place, u.size.r), marked: n.place.Sign() > 0 && n.place.Cmp(unity) < 0,
		ounce: u.token == "oz" && u.system == "avoirdupois"}
}

// compound reads the unit of a number and smaller parts of the same system: "1 lb 4 oz". Without a number it is one unit.
func (ps *parser) compound(n *numeral) (figure, error) {
	numbered := n != nil
	if !numbered {
		n = &numeral{unity, new(big.Rat)}
	}
	u, err := ps.unit()
	if err != nil {
		return figure{}, err
	}
	f := n.of(u)
	for numbered && ps.at(0).kind == 'n' {
		if n, err = ps.number(); err != nil {
			return figure{}, err
		}
		part, err := ps.unit()
		if err != nil {
			return figure{}, err
		}
		g := n.of(part)
		if part.system != u.system || g.low.d != f.low.d || g.low.r.Cmp(u.size.r) >= 0 {
			return figure{}, ps.fail(ErrSyntax, fmt.Sprintf("the second amount is no part of one %s", u.token),
				"one amount, as in 1 lb 4 oz; the same amount said again goes in parentheses")
		}
		g.low = Amount{new(big.Rat).Add(f.low.r, g.low.r), f.low.d}
		g.high, g.ounce = g.low, false
		f, u = g, part
	}
	return f, nil
}

// words are the next words, three at most: no unit has more.
func (ps *parser) words() (names []string) {
	for k := 0; k < 3 && ps.at(k).kind == 'w'; k++ {
		names = append(names, ps.at(k).text)
	}
	return names
}

// unit reads the longest known unit.
func (ps *parser) unit() (unit, error) {
	names := ps.words()
	for k := len(names); k > 0; k-- {
		if u, ok := ps.o.lookup(strings.Join(names[:k], " ")); ok {
			ps.i += k
			return u, nil
		}
	}
	return unit{}, ps.unexpected()
}

// numeral is a number and one unit of its last printed place (0 for a fraction or a word, which are exact).
type numeral struct{ val, place *big.Rat }

// number reads digits, a fraction or both; nil if there is none.
func (ps *parser) number() (*numeral, error) {
	exact := new(big.Rat)
	t := ps.at(0)
	switch {
	case ps.accept("half"):
		return &numeral{big.NewRat(1, 2), exact}, nil
	case ps.accept("one"):
		return &numeral{big.NewRat(1, 1), exact}, nil
	case ps.atFraction(): // "(1/7)", our own exact form
		n := quo(ratOf(ps.at(1).text), ratOf(ps.at(3).text))
		ps.i += 5
		return &numeral{n, exact}, nil
	case t.kind != 'n':
		return nil, nil
	case ps.at(1).text == "/" && ps.at(2).kind == 'n':
		part, err := ps.fraction()
		return &numeral{part, exact}, err
	}
	ps.i++
	save := ps.i
	if ps.at(0).tight && ps.at(1).tight {
		ps.accept("-") // "1-1/2"
	}
	if t.isWhole() && ps.at(0).kind == 'n' && ps.at(1).text == "/" && ps.at(2).kind == 'n' {
		part, err := ps.fraction()
		if err != nil {
			return nil, err
		}
		return &numeral{part.Add(part, ratOf(t.text)), exact}, nil
	}
	ps.i = save
	_, decimals, _ := strings.Cut(t.text, ".")
	return &numeral{ratOf(t.text), lastPlace(len(decimals))}, nil
}

// fraction reads a proper fraction of everyday measuring. "4/100 g" and "12/16 oz" are case counts in the trade, so other
// fractions are refused rather than guessed.
func (ps *parser) fraction() (*big.Rat, error) {
	num, den := ps.at(0).text, ps.at(2).text
	usual := num == "1" || slices.Contains([]string{"2", "3", "4", "8"}, den)
	var r *big.Rat
	if n, d := ratOf(num), ratOf(den); d.Sign() > 0 {
		r = quo(n, d)
	}
	if !usual || r == nil || r.RatString() != num+"/"+den || r.Cmp(unity) >= 0 {
		return nil, ps.fail(ErrSyntax, fmt.Sprintf("%q is no fraction of everyday measuring", clip(num+"/"+den)),
			"a multipack as 4 x 100 g, a fraction as 1/2, 3/4 or 1 1/2, or a decimal")
	}
	ps.i += 3
	return r, nil
}

// atFraction: "(", digits, "/", digits above zero, ")".
func (ps *parser) atFraction() bool {
	return ps.at(0).text == "(" && ps.at(1).isWhole() && ps.at(2).text == "/" && ps.at(3).isWhole() && ps.at(4).text == ")" &&
		ratOf(ps.at(3).text).Sign() > 0
}

// can reads a US can size, "No. 2 1/2" or "#10". A declared measure "no. 2 1/2" wins over the table.
func (ps *parser) can() (f figure, ok bool, err error) {
	if t := ps.at(1); t.kind != 'n' || !ps.accept("no", "#") {
		return figure{}, false, nil
	}
	name := ps.at(0).text
	if ps.i++; ps.at(0).kind == 'n' && ps.at(1).text == "/" && ps.at(2).kind == 'n' {
		name += " " + ps.at(0).text + "/" + ps.at(2).text
		ps.i += 3
	}
	if a, ok := ps.o.Measures["no. "+name]; ok && a.d != Unknown {
		return figure{low: a, high: a, place: new(big.Rat)}, true, nil
	}
	bounds, ok := canRows[name]
	if !ok {
		return figure{}, false, ps.fail(ErrUnit, fmt.Sprintf("no can size %q is known here", clip(name)),
			"the net content of the can, or the declared measure no. "+clip(name))
	}
	ounce := units["oz"].size
	return figure{low: ounce.Times(ratOf(bounds[0])), high: ounce.Times(ratOf(bounds[1])), place: new(big.Rat)}, true, nil
}
