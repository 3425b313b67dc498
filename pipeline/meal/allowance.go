package meal

import (
	"fmt"
	"math/big"
)

// Allowance is money for a calendar month.
type Allowance struct {
	Amount      *big.Rat
	Days        int // in the month
	Persons     *big.Rat
	MealsPerDay *big.Rat
}

// Rates of an allowance, exactly.
type Rates struct {
	PerDay       *big.Rat // of the household: amount / days
	PerPersonDay *big.Rat // amount / (days x persons)
	PerMeal      *big.Rat // of one person: amount / (days x persons x meals a day)
}

// Rates shares the allowance out. A count not above zero is ErrCount, an amount below zero ErrQuantity; an amount not known gives
// no rates. Common practice.
func (a Allowance) Rates() (Rates, error) {
	for _, c := range []*big.Rat{big.NewRat(int64(a.Days), 1), a.Persons, a.MealsPerDay} {
		if err := above(c, ErrCount); err != nil {
			return Rates{}, err
		}
	}
	if err := atLeastZero(a.Amount, ErrQuantity); err != nil || a.Amount == nil {
		return Rates{}, err
	}
	var r Rates
	r.PerDay = new(big.Rat).Quo(a.Amount, big.NewRat(int64(a.Days), 1))
	r.PerPersonDay = new(big.Rat).Quo(r.PerDay, a.Persons)
	r.PerMeal = new(big.Rat).Quo(r.PerPersonDay, a.MealsPerDay)
	return r, nil
}

// Per is a cost shared out over servings, meals or days: cost / n. A cost not known gives nil, n not above zero ErrCount.
func Per(cost, n *big.Rat) (*big.Rat, error) {
	if err := above(n, ErrCount); err != nil || cost == nil {
		return nil, err
	}
	return new(big.Rat).Quo(cost, n), nil
}

// Balance is allowance - cost: above zero is under the allowance. Either not known gives nil.
func Balance(allowance, cost *big.Rat) *big.Rat {
	if allowance == nil || cost == nil {
		return nil
	}
	return new(big.Rat).Sub(allowance, cost)
}

// Reach says how far an allowance reaches in a month at one cost a day.
type Reach struct {
	Days      *big.Rat // allowance / cost a day; may exceed the month
	Adequacy  *big.Rat // allowance / (cost a day x days in the month)
	Shortfall *big.Rat // max(0, cost of the month - allowance)
}

// ReachOf computes a reach; either amount not known gives none. A cost or a number of days not above zero is an error (ErrPrice,
// ErrCount). Common practice.
func ReachOf(allowance, perDay *big.Rat, daysInMonth int) (Reach, error) {
	if allowance == nil || perDay == nil {
		return Reach{}, nil
	}
	if err := above(perDay, ErrPrice); err != nil {
		return Reach{}, err
	}
	if daysInMonth < 1 {
		return Reach{}, fmt.Errorf("%w: %d days", ErrCount, daysInMonth)
	}
	month := new(big.Rat).Mul(perDay, big.NewRat(int64(daysInMonth), 1))
	r := Reach{Days: new(big.Rat).Quo(allowance, perDay), Adequacy: new(big.Rat).Quo(allowance, month), Shortfall: month.Sub(month, allowance)}
	if r.Shortfall.Sign() < 0 {
		r.Shortfall.SetInt64(0)
	}
	return r, nil
}

// Whole is the number of whole times that money pays a cost: floor(money / cost), exactly, so that 8.10 at 0.27 a day is 30 days.
// Of days it is the days fed, of a serving's portion cost the servings, of a batch's till cost the batches. Money below zero is
// ErrQuantity, a cost not above zero ErrPrice.
func Whole(money, cost *big.Rat) (*big.Int, error) {
	if err := above(cost, ErrPrice); err != nil {
		return nil, err
	}
	if money == nil || money.Sign() < 0 {
		return nil, fmt.Errorf("%w: money", ErrQuantity)
	}
	q := new(big.Rat).Quo(money, cost)
	return new(big.Int).Quo(q.Num(), q.Denom()), nil
}

// MealsCovered says how many servings an allowance buys, by the part used and at the till. The two differ; say which is shown.
type MealsCovered struct {
	ByPortion *big.Int // floor(allowance / portion cost of a serving)
	Batches   *big.Int // floor(allowance / till cost of a batch)
	ByTill    *big.Int // servings in those batches, a part of one not counted
}

// Meals counts the servings that an allowance buys of a recipe of so many servings a batch. Errors as for Whole; servings not above
// zero are ErrServings. A till cost of zero is an error too: nothing is bought, so nothing limits the batches.
func Meals(allowance, perServing, till, servings *big.Rat) (MealsCovered, error) {
	var m MealsCovered
	err := above(servings, ErrServings)
	if err == nil {
		m.ByPortion, err = Whole(allowance, perServing)
	}
	if err == nil {
		m.Batches, err = Whole(allowance, till)
	}
	if err != nil {
		return MealsCovered{}, err
	}
	n := new(big.Rat).Mul(new(big.Rat).SetInt(m.Batches), servings)
	m.ByTill = new(big.Int).Quo(n.Num(), n.Denom())
	return m, nil
}

// FoodCostPercent is 100 x portion cost / menu price; TargetPrice is portion cost / target share. Either not above zero is ErrPrice.
// Source: culinary mathematics, cost / target food cost % = target price.
func FoodCostPercent(portionCost, menuPrice *big.Rat) (*big.Rat, error) {
	x, err := TargetPrice(portionCost, menuPrice)
	if err != nil {
		return nil, err
	}
	return x.Mul(x, big.NewRat(100, 1)), nil
}

// TargetPrice: see FoodCostPercent.
func TargetPrice(portionCost, share *big.Rat) (*big.Rat, error) {
	if err := above(portionCost, ErrPrice); err != nil {
		return nil, err
	}
	if err := above(share, ErrPrice); err != nil {
		return nil, err
	}
	return new(big.Rat).Quo(portionCost, share), nil
}
