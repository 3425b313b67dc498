package meal

import (
	"errors"
	"fmt"
	"math/big"
)

// The faults of the numbers, for errors.Is. The error itself names the value and where it stands.
var (
	ErrYield    = errors.New("yield not above zero")
	ErrQuantity = errors.New("quantity below zero")
	ErrSize     = errors.New("pack size not above zero")
	ErrPrice    = errors.New("price not above zero")
	ErrMultibuy = errors.New("not a multibuy")
	ErrDay      = errors.New("not a day")
	ErrTwice    = errors.New("given twice")
	ErrServings = errors.New("servings not above zero")
	ErrCount    = errors.New("count not above zero")
	ErrRecipe   = errors.New("no such recipe")
	ErrCycle    = errors.New("recipe made of itself")
	ErrOptions  = errors.New("no option")
	ErrUnpriced = errors.New("cost not known")
)

// above returns err unless x is known and above zero.
func above(x *big.Rat, err error) error {
	switch {
	case x == nil:
		return fmt.Errorf("%w: not known", err)
	case x.Sign() <= 0:
		return fmt.Errorf("%w: %s", err, x.RatString())
	}
	return nil
}

func atLeastZero(x *big.Rat, err error) error {
	if x == nil || x.Sign() >= 0 {
		return nil
	}
	return fmt.Errorf("%w: %s", err, x.RatString())
}

// APRequired is the quantity as purchased that gives an edible portion:
//
//	AP = EP / yield
//
// in the unit of ep. The yield is a share of the AP quantity and may exceed 1 (rice, pulses); one that is nil, zero or below is
// ErrYield. A nil ep gives nil. Source: culinary mathematics, EPQ / yield = APQ.
func APRequired(ep, yield *big.Rat) (*big.Rat, error) {
	if err := above(yield, ErrYield); err != nil || ep == nil {
		return nil, err
	}
	if err := atLeastZero(ep, ErrQuantity); err != nil {
		return nil, err
	}
	return new(big.Rat).Quo(ep, yield), nil
}

// APUnitCost is the money per unit as purchased: price / size of a pack. Both must be above zero (ErrPrice, ErrSize).
func APUnitCost(price, size *big.Rat) (*big.Rat, error) {
	if err := errors.Join(above(price, ErrPrice), above(size, ErrSize)); err != nil {
		return nil, err
	}
	return new(big.Rat).Quo(price, size), nil
}

// EPUnitCost is the money per unit of edible portion: AP unit cost / yield. Yields as in APRequired; a nil cost gives nil. Source:
// Culinary Institute of America, The Ultimate Guide to Recipe Calculation, 2008, APC / yield = EPC (seen in a secondary copy).
func EPUnitCost(apUnitCost, yield *big.Rat) (*big.Rat, error) {
	if err := above(yield, ErrYield); err != nil || apUnitCost == nil {
		return nil, err
	}
	return new(big.Rat).Quo(apUnitCost, yield), nil
}

// EPUnitCostWithByproduct credits what the trim is worth (butcher's test, common practice):
//
//	EP unit cost = (AP cost - byproduct value) / EP quantity
//
// ep must be above zero (ErrQuantity). A byproduct worth more than the whole gives a cost below zero.
func EPUnitCostWithByproduct(apCost, byproduct, ep *big.Rat) (*big.Rat, error) {
	if ep == nil || ep.Sign() <= 0 {
		return nil, fmt.Errorf("%w: an edible portion must be above zero", ErrQuantity)
	}
	if apCost == nil || byproduct == nil {
		return nil, nil
	}
	x := new(big.Rat).Sub(apCost, byproduct)
	return x.Quo(x, ep), nil
}

// Yield is the measured share that is edible: EP / AP, as a share of 1. ap must be above zero (ErrQuantity) and so must the yield.
func Yield(ep, ap *big.Rat) (*big.Rat, error) {
	if ap == nil || ap.Sign() <= 0 {
		return nil, fmt.Errorf("%w: a quantity as purchased must be above zero", ErrQuantity)
	}
	if err := above(ep, ErrYield); err != nil {
		return nil, err
	}
	return new(big.Rat).Quo(ep, ap), nil
}

// YieldChain is the yield of successive stages (trimming, cooking, portioning), their product; yields never add. Of no stages it
// is 1, of one not known nil. Source: USDA Agriculture Handbook 102, successive stages.
func YieldChain(yields ...*big.Rat) (*big.Rat, error) {
	known, product := true, big.NewRat(1, 1)
	for i, y := range yields {
		if y == nil {
			known = false
			continue
		}
		if err := above(y, ErrYield); err != nil {
			return nil, fmt.Errorf("stage %d: %w", i+1, err)
		}
		product.Mul(product, y)
	}
	if !known {
		return nil, nil
	}
	return product, nil
}

// PortionCost is a quantity times its unit cost, both EP or both AP. Either not known gives nil.
func PortionCost(quantity, unitCost *big.Rat) *big.Rat {
	if quantity == nil || unitCost == nil {
		return nil
	}
	return new(big.Rat).Mul(quantity, unitCost)
}

// PacksNeeded is the least whole number of packs that hold a need: ceil(need / size), exactly, so that a need of exactly two packs
// buys two. A need of zero buys none; one below zero is ErrQuantity, a size not above zero ErrSize.
func PacksNeeded(need, size *big.Rat) (int64, error) {
	if err := above(size, ErrSize); err != nil {
		return 0, err
	}
	if need == nil {
		return 0, fmt.Errorf("%w: not known", ErrQuantity)
	}
	if err := atLeastZero(need, ErrQuantity); err != nil {
		return 0, err
	}
	packs := new(big.Rat).Quo(need, size)
	n, rest := new(big.Int).QuoRem(packs.Num(), packs.Denom(), new(big.Int))
	if rest.Sign() > 0 {
		n.Add(n, big.NewInt(1))
	}
	if most := int64(1e12); !n.IsInt64() || n.Int64() > most {
		return 0, fmt.Errorf("%w: %s in packs of %s are more than %d packs", ErrSize, need.RatString(), size.RatString(), most)
	}
	return n.Int64(), nil
}
