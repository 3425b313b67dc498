package main

// months of the demo, 0 = 2023-01. Every event below stands at one of these.
const (
	jan23 = 0
	jun23 = 5
	jul23 = 6
	sep23 = 8
	nov23 = 10
	dec23 = 11
	jan24 = 12
	feb24 = 13
	mar24 = 14
	apr24 = 15
	dec24 = 23

	months    = 24
	firstYear = 2023
	standard  = "standard" // grade of a blank one: [prices] default_grade
)

// A good is an item in one grade and variety as the outlets sell it.
type good struct {
	item, grade, variety string
	base                 float64           // price per base unit in Tavrin, 2023-01
	growth               float64           // by 2024-04, as a fraction
	pack                 string            // where packs names no other
	packs                map[string]string // outlet: pack
	only                 []string          // outlets that sell it; none named: all
	once                 bool              // noted once a month, else once or twice
}

// goods hold the prices of 2023-01 and how far they rise. The potatoes are last of the basket's items, because their
// price is what brings the basket to its fixed totals.
var goods = []good{
	{item: "oats", base: 2.40, growth: .16, pack: "1 kg"},
	{item: "flour", variety: "white", base: 1.10, growth: .17, pack: "1 kg", packs: map[string]string{"vellick-hall": "1.5 kg", "ummer-barn": "1.5 kg"}},
	{item: "barley", base: 2.20, growth: .16, pack: "500 g"},
	{item: "lentils", variety: "green", base: 3.60, growth: .16, pack: "500 g"},
	{item: "milk", base: 1.20, growth: .16, pack: "1 L", packs: map[string]string{"dorrow-saver": "2 L", "fennow-shelf": "2 L"}},
	{item: "oil", base: 4.80, growth: .23, pack: "1 L"},
	{item: "cabbage", base: 1.90, growth: .06, pack: "1 kg"},
	{item: "carrots", base: 1.50, growth: .15, pack: "1 kg"},
	{item: "tinned-tomatoes", base: 2.50, growth: .16, pack: "400 g"},
	{item: "tinned-fish", base: 11.00, growth: .17, pack: "120 g", packs: map[string]string{"vellick-hall": "3 x 80 g", "ummer-barn": "3 x 80 g"}},
	{item: "plums", base: 3.20, growth: .15, pack: "500 g", packs: map[string]string{"brask-market": "1 kg"}},
	{item: "margarine", base: 6.00, growth: .13, pack: "500 g"},
	{item: "tinned-fish", grade: "line-caught", base: 24.00, growth: .13, pack: "200 g", only: []string{"vellick-hall", "quell-corner", "ummer-barn", "landing-counter"}, once: true},
	{item: "salt", base: 0.80, growth: .06, pack: "1 kg", only: []string{"vellick-hall", "dorrow-saver", "ummer-barn", "landing-counter"}, once: true},
	{item: "spice-mix", base: 50.00, growth: .11, pack: "30 g", only: []string{"vellick-hall", "brask-market", "ummer-barn", "landing-counter"}, once: true},
	{item: "potatoes", variety: "white", base: 1.30, growth: .144, pack: "2 kg", packs: map[string]string{"brask-market": "1 kg", "quell-corner": "1 kg"}},
}

// path is the part of a good's growth that has come by each month.
var path = [months]float64{0, .04, .09, .14, .20, .26, .33, .40, .48, .56, .64, .72, .80, .84, .96, 1, 1.01, 1.02, 1.03, 1.03, 1.05, 1.07, 1.09, 1.12}

// level is how dear a region or an outlet is; the districts' levels weigh to about 1.
var level = map[string]float64{
	"mirrow-bay": .985, "high-tansel": .995, "oddel-skerries": 1.106,
	"vellick-hall": .98, "dorrow-saver": .93, "quell-corner": 1.09, "brask-market": 1.01,
	"ummer-barn": .98, "fennow-shelf": .96, "hask-store": 1.06, "landing-counter": 1,
}

// averages are the items of the open file, under its own names. In the months of fixed the quotes give the same price
// as the open file, so no fixed figure depends on which of the two is read.
var averages = map[string]string{"flour": "Flour, wheat, per kg", "carrots": "Carrots, per kg"}
var fixed = map[int]bool{jan23: true, sep23: true, jan24: true, feb24: true, mar24: true, apr24: true}

// rise is the basket's cost in Tavrin against 2023-01.
var rise = map[int]float64{feb24: 1.13, mar24: 1.14, apr24: 1.145}

// sold tells whether an outlet's notes have a price of the good in month m.
func sold(g good, region, outlet, pack string, m int) bool {
	oddel := region == "oddel-skerries"
	switch g.item {
	case "oats": // two outlets change to the smaller pack, one sells both
		smaller := outlet == "vellick-hall" || outlet == "dorrow-saver"
		return pack == "900 g" && m >= sep23 || pack != "900 g" && !(smaller && m >= sep23)
	case "barley":
		return !oddel || m > jun23
	case "oil":
		return m != feb24 && !(oddel && m >= nov23 && m <= jan24)
	case "milk":
		return m != feb24 || outlet == "quell-corner"
	case "plums":
		return m%12 >= jul23 && m%12 <= sep23
	}
	return true
}

// pinned is a shelf price in cents that an event fixes; 0 leaves it to the generator, keep repeats last month's.
func pinned(g good, region, outlet, pack string, m int) int {
	const keep = -1
	switch {
	case g.item == "oats" && (outlet == "vellick-hall" || outlet == "dorrow-saver") && m <= dec23:
		return 240
	case g.item == "oats" && outlet == "ummer-barn" && pack == "900 g" && m == sep23:
		return 245
	case g.item == "oats" && (region == "mirrow-bay" || outlet == "ummer-barn") && m == sep23:
		return keep
	case g.item == "lentils" && outlet == "fennow-shelf" && m < jun23:
		return 180
	case g.item == "tinned-tomatoes" && outlet == "vellick-hall" && m <= jun23:
		return 100
	case g.item == "cabbage" && region == "high-tansel" && m >= jul23 && m <= nov23:
		return 190
	case g.item == "cabbage" && region == "high-tansel" && m == dec23: // the frost
		return 410
	case g.item == "cabbage" && region == "high-tansel" && m >= jan24 && m <= mar24:
		return 195
	case g.item == "milk" && outlet == "quell-corner" && m == feb24:
		return keep
	}
	return 0
}

// An offer is one more note beside the regular ones, priced as a fraction of that month's regular price.
type offer struct {
	day, outlet, item, priceType string
	packs                        int
	of                           float64 // the price of the packs together / regular price of one
}

var offers = []offer{
	{"2023-01-19", "vellick-hall", "tinned-tomatoes", "multibuy", 3, 2},
	{"2023-05-18", "vellick-hall", "tinned-tomatoes", "multibuy", 3, 2},
	{"2023-06-15", "vellick-hall", "tinned-tomatoes", "multibuy", 3, 2},
	{"2023-04-21", "dorrow-saver", "lentils", "promo", 1, .85},
	{"2023-07-12", "brask-market", "tinned-tomatoes", "promo", 1, .85},
	{"2023-11-22", "ummer-barn", "flour", "promo", 1, .9},
	{"2024-03-13", "vellick-hall", "oats", "promo", 1, .88},
	{"2024-05-16", "hask-store", "tinned-fish", "member", 1, .8},
	{"2024-06-20", "fennow-shelf", "milk", "promo", 1, .9},
	{"2024-12-11", "vellick-hall", "tinned-fish", "promo", 1, .8},
	{"2024-12-12", "ummer-barn", "tinned-tomatoes", "promo", 1, .85},
}

// unreadable rows, each set aside on import with a cure.
var unreadable = []note{
	{day: "03/04/2023", region: "mirrow-bay", outlet: "brask-market", good: good{item: "potatoes", variety: "white"}, pack: "1 kg", cents: 135, file: "mirrow-bay-2023-1", remark: "day or month first?"},
	{day: "2023-05-09", region: "high-tansel", outlet: "hask-store", good: good{item: "oil"}, pack: "12 oz", cents: 210, file: "high-tansel-2023-1", remark: "ounces of a liquid"},
	{day: "2024-08-14", region: "mirrow-bay", outlet: "dorrow-saver", good: good{item: "lentlis"}, pack: "500 g", cents: 195, file: "mirrow-bay-2024-2", remark: "no such item"},
}

// The slip: 18.00 typed for 1.80. The first note of the month carries it.
const slipOutlet, slipItem, slipMonth, slipCents = "fennow-shelf", "lentils", 2, 1800
