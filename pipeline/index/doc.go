// Package index computes price statistics: index numbers between months and
// regions, what moved them, and the edits, fills and ranges that belong to them.
//
// Numbers in, numbers out. A price is money per unit, a quantity is units, both
// in one order of products; a panel is p[t][i], periods (or regions) by
// products. NaN means not priced, or no quantity known; it is never read as
// zero. Slices of differing length are a programmer's mistake and panic; every
// other fault of the numbers is an error that names the value.
//
// Order of reading: match.go (what two periods have in common), mean.go (power
// means and their weights), formula.go, elementary.go and bilateral.go (the
// formulas), chain.go, multilateral.go, splice.go and spatial.go (many periods or
// regions), contribution.go and decompose.go (what moved), deflate.go, season.go
// and alert.go (series), edit.go, impute.go, robust.go, regress.go and
// resample.go (the statistics beneath).
//
// Sources named in short: CPI Manual 2004 = ILO, IMF, OECD, UN, Eurostat, World
// Bank, Consumer Price Index Manual: Theory and Practice; CPI Manual 2020 = the
// same, Concepts and Methods; Balk 2008 = Price and Quantity Index Numbers; ICP
// 2013 = World Bank, Measuring the Real Size of the World Economy.
//
// The package does not read files, know units, calendars or money, round, or
// decide what is published.
package index
