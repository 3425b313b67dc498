// Package meal costs dishes and plans twice, by the part used and at the till,
// and finds the least change that brings a plan under a sum of money.
//
// Numbers in, numbers out, in exact rationals. Money is in one currency, a
// quantity in the base unit of its good (kg, L or each), a price buys one pack. A
// good is whatever one pack answers to, usually an item and its grade; its name is
// opaque here. Days are whole numbers from 1 on one count that the caller chooses;
// day 0 stands for not known.
//
// nil is not known, and never zero: what follows from a number not known is nil
// too, and the part that is known stands beside it. Arguments are not changed, and
// results may share numbers with them: read both, write neither.
//
// Order of reading: yield.go (as purchased and edible portion), line.go and
// recipe.go (the lines of dishes and plans), shop.go (portion cost and till cost of
// a shopping), leftover.go (what is left, for how long, what is stranded), sheet.go
// (the workings sheet and rounding), allowance.go (against an allowance), swap.go
// and till.go (least sacrifice by portion cost and by till cost).
//
// AP, EP, yield, portion cost: food service trade terms; Penn State Pressbooks,
// Recipe and Menu Costing, ch. 7 (seen in a secondary copy). Till cost, leftover,
// stranded, sacrifice: our own words, defined at their functions.
//
// The package does not read files, know units, calendars or grades, or decide what
// is published. How long food keeps is the caller's table, a rule of thumb at best:
// local food safety guidance goes before it.
package meal
