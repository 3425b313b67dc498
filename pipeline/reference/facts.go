package reference

import (
	"cmp"
	"fmt"
	"math/big"
	"slices"
	"strings"
	"sync"

	"farthing/pipeline/quantity"
)

// kitchen are the measures of any food.
var kitchen = sync.OnceValue(func() map[string]quantity.Figure {
	all := map[string]quantity.Figure{}
	for _, r := range rows("kitchen.csv") {
		unit, err := quantity.ParseUnit(r["unit"])
		if err != nil {
			panic(err)
		}
		all[r["measure"]] = quantity.Figure{Amount: unit.Times(r.decimal("quantity")), Status: r.status(), Source: r["source"]}
	}
	return all
})

// Facts are what this table says of a food in a kitchen: the last layer of quantity.Kitchen.Facts. Household weights are of the edible portion, so that
//
//	weight as bought = edible weight / edible
//
// edible is the edible share of the weight as bought, which the caller knows of the item (edible_yield); 1 gives edible weights, for a line whose basis is
// EP. nil: one minus the table's refuse. Where that is unknown, or the food is sold with and without its refuse, there is no weight and the Ask texts say
// what to write; edible of zero or less counts as unknown.
//
// Volumes give the density of the form that preparation names ("finely chopped": chopped). Several forms and none named: no density, and AskDensity lists
// them. A food code that the table lacks, or none: the measures of any food alone (pinch, dash ...).
func (f *Foods) Facts(foodCode, preparation string, edible *big.Rat) quantity.Facts {
	facts := quantity.Facts{Measures: map[string]quantity.Figure{}}
	for name, figure := range kitchen() {
		facts.Measures[name] = figure
	}
	food, ok := f.Food(foodCode)
	if !ok {
		return facts
	}
	share, how := edible, "edible weight"
	switch {
	case edible == nil && food.Refuse != nil && !food.Either:
		share = new(big.Rat).Sub(big.NewRat(1, 1), food.Refuse)
	case edible == nil && len(food.Weights) > 0:
		facts.AskDensity = "write the item's edible_yield"
		if food.Either {
			facts.AskDensity += ": 1 if it is bought shelled, else about " + new(big.Rat).Sub(big.NewRat(1, 1), food.Refuse).FloatString(2)
		}
		facts.AskPiece = facts.AskDensity
		return facts
	}
	if share == nil || share.Sign() <= 0 {
		return facts
	}
	if share.Cmp(big.NewRat(1, 1)) != 0 {
		how = fmt.Sprintf("edible weight / %s of the weight as bought", share.FloatString(3))
	}
	var forms []string // beside densities, one each
	var densities []quantity.Figure
	plain := false // the only form is the food as it is
	var sizes []string
	named := 0
	for _, w := range food.Weights {
		kg := new(big.Rat).Quo(w.Grams, new(big.Rat).Mul(w.Count, big.NewRat(1000, 1)))
		one := quantity.Figure{Amount: quantity.New(kg.Quo(kg, share), quantity.Mass), Status: w.Status, Source: w.Source + "; " + how}
		if !isVolume(w.Measure) {
			facts.Measures[w.Measure] = one
			if slices.Contains([]string{"small", "medium", "large"}, w.Measure) {
				sizes = append(sizes, fmt.Sprintf("%s (%s g)", w.Measure, new(big.Rat).Mul(one.Amount.Rat(), big.NewRat(1000, 1)).FloatString(0)))
			}
			continue
		}
		volume, err := quantity.ParseUnit(w.Measure)
		if err != nil {
			panic(err) // the measures are ours or read by ReadSR26
		}
		one.Amount = one.Amount.Times(new(big.Rat).Inv(volume.Rat()))
		if w.Form != "" && inWords(w.Form, preparation) {
			if named++; named == 1 {
				facts.Density = one
			} else if !one.Amount.Equal(facts.Density.Amount) {
				facts.Density = quantity.Figure{} // the preparation names two forms
			}
		}
		plain = len(densities) == 0 && w.Form == ""
		forms, densities = append(forms, strings.ReplaceAll(cmp.Or(w.Form, "plain"), "|", " or ")), append(densities, one)
	}
	facts.Piece = facts.Measures["piece"]
	if facts.Piece.Amount.Dimension() == quantity.Unknown && len(sizes) > 0 {
		facts.AskPiece = "name the size: " + strings.Join(sizes, ", ")
	}
	if !facts.Density.OK() {
		switch {
		case plain:
			facts.Density = densities[0]
		case len(densities) > 0:
			for i, d := range densities {
				forms[i] += fmt.Sprintf(" (%s kg per L)", d.Amount.Rat().FloatString(2))
			}
			facts.AskDensity = "name the preparation: " + strings.Join(forms, ", ")
		}
	}
	return facts
}

// inWords: all words of one of the form's alternatives stand in the preparation.
func inWords(form, preparation string) bool {
	words := strings.FieldsFunc(strings.ToLower(preparation), func(r rune) bool { return strings.ContainsRune(" ,;/-_", r) })
	return slices.ContainsFunc(strings.Split(form, "|"), func(alternative string) bool {
		return !slices.ContainsFunc(strings.Fields(alternative), func(w string) bool { return !slices.Contains(words, w) })
	})
}
