package quantity

import (
	"fmt"
	"math/big"
	"strings"
)

// GS1 General Specifications 2024: check digit, section 7.9; GTIN in a 14-digit field, indicator digits, UPC-E and prefixes
// from memory.

// CheckDigit is the digit that completes a GTIN body of 7, 11, 12 or 13 digits: weights 3, 1, 3 ... from the right,
//
//	digit = (10 - sum mod 10) mod 10
func CheckDigit(body string) (int, error) {
	switch len(body) {
	case 7, 11, 12, 13:
	default:
		return 0, gtinError(body, fmt.Sprintf("%d characters", len(body)), "7, 11, 12 or 13 digits, without the check digit")
	}
	if !isDigits(body) {
		return 0, gtinError(body, "not digits alone", "digits 0 to 9")
	}
	return checkDigit(body), nil
}

func checkDigit(body string) int {
	sum := 0
	for i := range len(body) {
		weight := 3
		if (len(body)-i)%2 == 0 {
			weight = 1
		}
		sum += weight * int(body[i]-'0')
	}
	return (10 - sum%10) % 10
}

func isDigits(s string) bool {
	return s != "" && strings.Trim(s, "0123456789") == ""
}

func gtinError(read, why, instead string) *Error { return &Error{ErrGTIN, clip(read), why, instead} }

// ValidGTIN: 8, 12, 13 or 14 digits with a right check digit.
func ValidGTIN(code string) bool {
	_, err := GTIN14(code)
	return err == nil
}

// GTIN14 is the 14-digit key of a GTIN, the same for UPC-A, EAN-13 and GTIN-14 of one article: zeros on the left, which leave the
// check digit as it is. The error says what is wrong, and when lost leading zeros are the likely cause.
func GTIN14(code string) (string, error) {
	if !isDigits(code) {
		return "", gtinError(code, "not digits alone", "the digits under the bars, 0 to 9, without blanks")
	}
	right := func(s string) bool { return checkDigit(s[:len(s)-1]) == int(s[len(s)-1]-'0') }
	switch n := len(code); n {
	case 8, 12, 13, 14:
	case 10, 11:
		if padded := strings.Repeat("0", 12-n) + code; right(padded) {
			return "", gtinError(code, fmt.Sprintf("%d digits; a spreadsheet may have dropped leading zeros", n), padded+", if the label says so")
		}
		fallthrough
	default:
		return "", gtinError(code, fmt.Sprintf("%d digits", n), "8, 12, 13 or 14 digits")
	}
	if !right(code) {
		return "", gtinError(code, "the check digit does not fit: a digit is wrong or two are swapped", "the digits under the bars, once more")
	}
	return strings.Repeat("0", 14-len(code)) + code, nil
}

// CaseGTIN14 is the code of a case of an article: indicator 1 to 8 before the article's code, and a new check digit.
func CaseGTIN14(code string, indicator int) (string, error) {
	key, err := GTIN14(code)
	if err != nil {
		return "", err
	}
	if indicator < 1 || indicator > 8 || key[0] != '0' {
		return "", gtinError(code, fmt.Sprintf("indicator %d on this code", indicator), "an indicator from 1 to 8 on the code of a single article")
	}
	body := fmt.Sprint(indicator) + key[1:13]
	return body + fmt.Sprint(checkDigit(body)), nil
}

// ExpandUPCE gives the UPC-A of an 8-digit UPC-E: number system 0 or 1, six digits of which the last says where zeros were left
// out, check digit (that of the UPC-A).
func ExpandUPCE(code string) (string, error) {
	if len(code) != 8 || !isDigits(code) || code[0] > '1' {
		return "", gtinError(code, "not a UPC-E", "8 digits that begin with 0 or 1")
	}
	system, d, check := code[:1], code[1:7], code[7:]
	var body string
	switch d[5] {
	case '0', '1', '2':
		body = d[:2] + d[5:] + "0000" + d[2:5]
	case '3':
		body = d[:3] + "00000" + d[3:5]
	case '4':
		body = d[:4] + "00000" + d[4:5]
	default:
		body = d[:5] + "0000" + d[5:]
	}
	upc := system + body + check
	if !ValidGTIN(upc) {
		return "", gtinError(code, "the check digit does not fit the expanded code "+upc, "the digits under the bars, once more")
	}
	return upc, nil
}

// prefix is the three-digit GS1 prefix of the article; GTIN-8 have prefixes of their own, and so none here.
func prefix(key string) string {
	if strings.HasPrefix(key, "000000") {
		return ""
	}
	return key[1:4]
}

// Restricted says that a valid code means something only inside a company or a region (in-store codes, variable measure): it is
// no key to compare shops by. GS1 prefixes 02, 04 and 20 to 29, and GTIN-8 that begin with 0 or 2. An invalid code is an error.
func Restricted(code string) (bool, error) {
	key, err := GTIN14(code)
	if err != nil {
		return false, err
	}
	p := prefix(key)
	if p == "" {
		return key[6] == '0' || key[6] == '2', nil
	}
	return p[0] == '2' || p[:2] == "02" || p[:2] == "04", nil
}

// Embedded is one way to read the digits inside a variable-measure code.
type Embedded struct {
	Item   string   // the digits that would name the article
	Digits string   // the digits that would hold a figure
	Price  *big.Rat // the figure as a price with two decimals
	Weight Amount   // the figure as grams
}

// EmbeddedReadings offers what a code of prefix 02 or 20 to 29 may hold: a figure of five digits, or of four behind a verifier digit,
// each as a price or as a weight. Which one is a national or even a shop's convention, so a person must choose; nothing is
// assumed. Other codes offer nothing; an invalid code is an error.
func EmbeddedReadings(code string) ([]Embedded, error) {
	key, err := GTIN14(code)
	if err != nil {
		return nil, err
	}
	p := prefix(key)
	if key[0] != '0' || p == "" || p[0] != '2' && p[:2] != "02" {
		return nil, nil
	}
	var readings []Embedded
	for _, n := range []int{5, 4} {
		digits := key[13-n : 13]
		figure := ratOf(digits)
		readings = append(readings, Embedded{key[1:8], digits, mul(figure, lastPlace(2)), New(mul(figure, lastPlace(3)), Mass)})
	}
	return readings, nil
}
