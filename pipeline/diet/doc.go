// Package diet computes what diets cost at the least: by a linear program over
// nutrients, and by the published baskets of the cheapest foods.
//
// Numbers in, numbers out, with names. The linear programs take exact rationals
// and are answered by package lp with a certificate; the baskets and the measures
// of nutrient density are short sums in float64. A missing number is nil or NaN and
// is never read as zero: a food without a price, or without a content that is asked
// for, is left out and named.
//
// Order of reading: diet.go (least-cost diets, what one unit more costs, what
// conflicts), basket.go (energy-sufficient and healthy diets), density.go
// (nutrients for money, percent of Daily Values), reference.go (published tables).
//
// A least-cost diet is a yardstick of prices, not dietary advice: it knows only the
// nutrients and limits it is given. For what a person should eat ask a dietitian;
// local guidelines decide.
//
// The package does not read files or know units: amounts, contents and prices are
// per the same base unit of a food (kg, L, each, 100 g), which the caller chooses.
package diet
