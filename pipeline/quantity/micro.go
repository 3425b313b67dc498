package quantity

import (
	"bytes"
	"math/big"
	"strconv"
)

// Micro is a price in millionths of the currency, the form in which prices are
// kept: exact, and false where it has more than six decimals, is not above 0
// or is 100 000 000 000 or more.
func Micro(price *big.Rat) (int64, bool) {
	scaled := new(big.Rat).Mul(price, big.NewRat(1_000_000, 1))
	if !scaled.IsInt() || scaled.Sign() <= 0 || !scaled.Num().IsInt64() || scaled.Num().Int64() >= 1e17 {
		return 0, false
	}
	return scaled.Num().Int64(), true
}

// AppendMicro prints millionths as a plain decimal without trailing zeros.
func AppendMicro(b []byte, micro int64) []byte {
	b = strconv.AppendInt(b, micro/1_000_000, 10)
	if rest := micro % 1_000_000; rest != 0 {
		d := strconv.AppendInt(nil, 1_000_000+rest, 10)
		b = append(append(b, '.'), bytes.TrimRight(d[1:], "0")...)
	}
	return b
}
