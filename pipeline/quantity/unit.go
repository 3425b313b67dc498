package quantity

import (
	"fmt"
	"math/big"
	"strings"
)

// unit is one row of the table. Amounts add up within one text ("1 lb 4 oz") only if their systems are equal.
type unit struct {
	token  string // unique, also accepted in texts
	system string
	size   Amount
}

// The table of units: token, system, dimension, size in base units (exact), other spellings. A token ending in _us, _imp,
// _metric, _au or _fda gets the spellings of its stem below, with "us", "imp"/"imperial"/"uk", "metric", "au"/"australian" or "fda" before them.
//
// Sources. SI: BIPM SI brochure, 9th ed. 2019, tables 7 and 8. Avoirdupois: pound 0.45359237 kg, ounce 1/16 pound, stone
// 14 pounds (Weights and Measures Act 1985, schedule 1, part V, as made; NIST Handbook 44, appendix C, agrees). US
// liquid: gallon 231 cubic inches, quart 1/4, pint 1/8, cup 1/16, gill 1/32, fluid ounce 1/128 gallon, tablespoon 1/2 and
// teaspoon 1/6 fluid ounce; US dry: bushel 2150.42 cubic inches, peck 1/4, quart 1/32, pint 1/64 bushel; inch 2.54 cm (NIST
// Handbook 44, appendix C, and UCUM, ucum-essence.xml). Imperial: gallon 4.54609 L, quart 1/4, pint 1/8, gill 1/32, fluid
// ounce 1/160 gallon (Weights and Measures Act 1985, schedule 1, part IV). Nutrition label measures: 21 CFR
// 101.9(b)(5)(viii), for labels only. Metric cup and spoons, Australian tablespoon: common practice.
var unitRows = []struct {
	token, system string
	d             Dimension
	size          string
	names         string
}{
	{"mg", "metric", Mass, "0.000001", "milligram milligrams"},
	{"g", "metric", Mass, "0.001", "gm gms gram grams gramme grammes"},
	{"dag", "metric", Mass, "0.01", "dkg decagram decagrams"},
	{"kg", "metric", Mass, "1", "kgs kilo kilos kilogram kilograms kilogramme kilogrammes"},
	{"tonne", "metric", Mass, "1000", "tonnes"},
	{"oz", "avoirdupois", Mass, "0.028349523125", "ounce ounces"},
	{"lb", "avoirdupois", Mass, "0.45359237", "lbs pound pounds"},
	{"stone", "avoirdupois", Mass, "6.35029318", "stones"},
	{"oz_fda", "label", Mass, "0.028", ""},

	{"ml", "metric", Volume, "0.001", "mls millilitre millilitres milliliter milliliters cc"},
	{"cl", "metric", Volume, "0.01", "centilitre centilitres centiliter centiliters"},
	{"dl", "metric", Volume, "0.1", "decilitre decilitres deciliter deciliters"},
	{"l", "metric", Volume, "1", "lit ltr litre litres liter liters"},
	{"hl", "metric", Volume, "100", "hectolitre hectolitres hectoliter hectoliters"},

	{"gal_us", "us", Volume, "3.785411784", ""},
	{"qt_us", "us", Volume, "0.946352946", ""},
	{"pt_us", "us", Volume, "0.473176473", ""},
	{"cup_us", "us", Volume, "0.2365882365", ""},
	{"gill_us", "us", Volume, "0.11829411825", ""},
	{"floz_us", "us", Volume, "0.0295735295625", ""},
	{"tbsp_us", "us", Volume, "0.01478676478125", ""},
	{"tsp_us", "us", Volume, "0.00492892159375", ""},
	{"bushel_us", "us dry", Volume, "35.23907016688", ""},
	{"peck_us", "us dry", Volume, "8.80976754172", ""},
	{"dry_qt_us", "us dry", Volume, "1.101220942715", ""},
	{"dry_pt_us", "us dry", Volume, "0.5506104713575", ""},

	{"gal_imp", "imperial", Volume, "4.54609", ""},
	{"qt_imp", "imperial", Volume, "1.1365225", ""},
	{"pt_imp", "imperial", Volume, "0.56826125", ""},
	{"gill_imp", "imperial", Volume, "0.1420653125", ""},
	{"floz_imp", "imperial", Volume, "0.0284130625", ""},

	{"cup_metric", "metric kitchen", Volume, "0.25", ""},
	{"tbsp_metric", "metric kitchen", Volume, "0.015", ""},
	{"tsp_metric", "metric kitchen", Volume, "0.005", ""},
	{"tbsp_au", "metric kitchen", Volume, "0.02", ""},

	{"cup_fda", "label", Volume, "0.24", ""},
	{"floz_fda", "label", Volume, "0.03", ""},
	{"tbsp_fda", "label", Volume, "0.015", ""},
	{"tsp_fda", "label", Volume, "0.005", ""},

	{"each", "count", Count, "1", "ea piece pieces pc pcs ct count unit units"},
	{"pair", "count", Count, "2", "pairs"},
	{"dozen", "count", Count, "12", "doz dz dozens"},
}

// stems are spellings of customary units whose size depends on the country.
var stems = map[string]string{
	"gal": "gal,gals,gallon,gallons", "qt": "qt,qts,quart,quarts", "pt": "pt,pts,pint,pints", "gill": "gill,gills",
	"cup": "cup,cups", "floz": "floz,fl oz,fluid ounce,fluid ounces,fl ounce,fl ounces",
	"tbsp": "tbsp,tbsps,tablespoon,tablespoons", "tsp": "tsp,tsps,teaspoon,teaspoons",
	"dry_pt": "dry pt,dry pint,dry pints", "dry_qt": "dry qt,dry quart,dry quarts",
	"bushel": "bushel,bushels,bu", "peck": "peck,pecks",
}

var prefixes = map[string][]string{
	"us": {"us "}, "imp": {"imp ", "imperial ", "uk "}, "metric": {"metric "}, "fda": {"fda "}, "au": {"au ", "australian "},
}

// units by every accepted spelling; bare maps a customary spelling to its stem.
var units, bare = buildUnits()

func buildUnits() (map[string]unit, map[string]string) {
	all, bare := map[string]unit{}, map[string]string{}
	for _, row := range unitRows {
		size, ok := new(big.Rat).SetString(row.size)
		if !ok {
			panic("unit table: " + row.token)
		}
		u := unit{row.token, row.system, Amount{size, row.d}}
		all[row.token] = u
		for _, name := range strings.Fields(row.names) {
			all[name] = u
		}
		i := strings.LastIndexByte(row.token, '_')
		if i < 0 {
			continue
		}
		stem, country := row.token[:i], row.token[i+1:]
		if stems[stem] == "" {
			continue
		}
		for _, name := range strings.Split(stems[stem], ",") {
			bare[name] = stem
			for _, prefix := range prefixes[country] {
				all[prefix+name] = u
			}
		}
	}
	return all, bare
}

// lookup finds a unit by its lower-case spelling. A declared measure wins over the table, so that a cup of one item or a
// pound of one market can be declared. A bare customary unit is US unless the options say imperial.
func (o Options) lookup(name string) (unit, bool) {
	if a, ok := o.Measures[name]; ok && a.d != Unknown {
		return unit{name, "declared " + name, a}, true
	}
	if u, ok := units[name]; ok {
		return u, true
	}
	country := "_us"
	if o.Imperial {
		country = "_imp"
	}
	u, ok := units[bare[name]+country]
	return u, ok
}

// unknownUnit explains a word that is no unit here.
func (o Options) unknownUnit(read, name string) *Error {
	why := fmt.Sprintf("%q is no unit known here and no declared measure", clip(name))
	instead := fmt.Sprintf("a unit such as g, kg, ml, L, oz, lb, fl oz or each; or declare the measure %s with its amount, region and source", clip(name))
	if stem, ok := bare[name]; ok {
		why = fmt.Sprintf("there is no imperial %q", name)
		instead = stem + "_us or, where there is one, " + stem + "_metric"
	}
	return &Error{ErrUnit, clip(read), why, instead}
}

// ParseUnit is the amount of one unit, for the tokens of the table (gal_us, pt_imp, cup_fda, dozen ...) and every other
// spelling of it. Bare customary units are US; a bare ounce is mass, a fluid ounce must say so.
func ParseUnit(text string) (Amount, error) {
	var o Options
	name := strings.ToLower(strings.Join(strings.Fields(strings.ReplaceAll(text, ".", " ")), " "))
	if u, ok := o.lookup(name); ok {
		return u.size, nil
	}
	return Amount{}, o.unknownUnit(text, name)
}

// canRows are the usual net contents by mass of US can sizes, smallest and largest printed, in avoirdupois ounces: what a can
// holds differs by food, so a can size is a range, and one amount needs a declared measure ("no. 2 1/2" for an item).
// Sources: K-State Research and Extension, table of can sizes (Lawrence Journal-World, 26 August 2009); No. 303 upper
// figure common practice; No. 2 lower figure from Stigler 1945, table A: 5386 g a dollar x 10.0 cents = 19 oz.
var canRows = map[string][2]string{
	"1": {"10.5", "12"}, "300": {"14", "16"}, "303": {"16", "17"}, "2": {"19", "20"}, "2 1/2": {"26", "30"}, "10": {"96", "117"},
}
