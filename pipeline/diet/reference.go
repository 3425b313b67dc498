package diet

// HealthyDietBasket is the basket of the cost of a healthy diet: 11 items of 6 food
// groups, 2330 kcal a day. Source: Herforth et al., FAO 2022; the totals as
// published, the kcal of each group from memory (they add up to 2330).
var HealthyDietBasket = []Target{
	{"starchy_staples", 1160, 2},
	{"animal_source", 300, 2},
	{"legumes_nuts_seeds", 300, 1},
	{"vegetables", 110, 3},
	{"fruits", 160, 2},
	{"oils_fats", 300, 1},
}

// DailyValue is the amount of a nutrient a day that food labels of the United States
// are reckoned by, for adults and children of 4 years and more. It is no one's
// requirement.
type DailyValue struct {
	Nutrient, Unit string
	Amount         float64
}

// DV finds the Daily Value of a nutrient in a table.
func DV(table []DailyValue, nutrient string) (v DailyValue, ok bool) {
	for _, v := range table {
		if v.Nutrient == nutrient {
			return v, true
		}
	}
	return DailyValue{}, false
}

// DailyValues2016 are those of the rule of 2016. Vitamin A in ug RAE, vitamin E in mg
// alpha-tocopherol, folate in ug DFE, niacin in mg NE. Source: 21 CFR 101.9(c)(8)(iv)
// and (c)(9).
var DailyValues2016 = []DailyValue{
	{"fat", "g", 78},
	{"saturated fat", "g", 20},
	{"cholesterol", "mg", 300},
	{"carbohydrate", "g", 275},
	{"sodium", "mg", 2300},
	{"fibre", "g", 28},
	{"protein", "g", 50},
	{"added sugars", "g", 50},
	{"vitamin A", "ug", 900},
	{"vitamin C", "mg", 90},
	{"calcium", "mg", 1300},
	{"iron", "mg", 18},
	{"vitamin D", "ug", 20},
	{"vitamin E", "mg", 15},
	{"vitamin K", "ug", 120},
	{"thiamin", "mg", 1.2},
	{"riboflavin", "mg", 1.3},
	{"niacin", "mg", 16},
	{"vitamin B6", "mg", 1.7},
	{"folate", "ug", 400},
	{"vitamin B12", "ug", 2.4},
	{"phosphorus", "mg", 1250},
	{"magnesium", "mg", 420},
	{"zinc", "mg", 11},
	{"selenium", "ug", 55},
	{"copper", "mg", 0.9},
	{"manganese", "mg", 2.3},
	{"potassium", "mg", 4700},
	{"choline", "mg", 550},
}

// DailyValues1993 are those before the rule of 2016, for 2000 kcal, which the first
// nutrient-rich foods index used. Source: 21 CFR 101.9(c), edition before 2016.
var DailyValues1993 = []DailyValue{
	{"fat", "g", 65},
	{"saturated fat", "g", 20},
	{"cholesterol", "mg", 300},
	{"carbohydrate", "g", 300},
	{"sodium", "mg", 2400},
	{"fibre", "g", 25},
	{"protein", "g", 50},
	{"vitamin A", "IU", 5000},
	{"vitamin C", "mg", 60},
	{"calcium", "mg", 1000},
	{"iron", "mg", 18},
	{"vitamin D", "IU", 400},
	{"vitamin E", "IU", 30},
	{"vitamin K", "ug", 80},
	{"thiamin", "mg", 1.5},
	{"riboflavin", "mg", 1.7},
	{"niacin", "mg", 20},
	{"vitamin B6", "mg", 2},
	{"folate", "ug", 400},
	{"vitamin B12", "ug", 6},
	{"phosphorus", "mg", 1000},
	{"magnesium", "mg", 400},
	{"zinc", "mg", 15},
	{"selenium", "ug", 70},
	{"copper", "mg", 2},
	{"manganese", "mg", 2},
	{"potassium", "mg", 3500},
}
