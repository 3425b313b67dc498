package quantity

import (
	"errors"
	"strings"
	"testing"
)

func TestGTINErrors(t *testing.T) {
	for _, c := range []struct{ code, say string }{
		{"", "digits under the bars"},
		{"36000291452", "036000291452"}, // a UPC whose leading zero a spreadsheet dropped
		{"6291041500214", "once more"},
		{"12345", "8, 12, 13 or 14"},
		{"62910415O0213", "0 to 9"},
		{strings.Repeat("1", 1000), "8, 12, 13 or 14"},
	} {
		_, err := GTIN14(c.code)
		var e *Error
		if !errors.Is(err, ErrGTIN) || !errors.As(err, &e) || !strings.Contains(e.Instead, c.say) {
			t.Errorf("%q: got %v, want advice with %q", clip(c.code), err, c.say)
		}
		if _, err := Restricted(c.code); err == nil {
			t.Errorf("%q: restricted without being valid", clip(c.code))
		}
		if _, err := EmbeddedReadings(c.code); err == nil {
			t.Errorf("%q: readings of an invalid code", clip(c.code))
		}
	}
	for _, body := range []string{"", "123456", "62910415002A", "1234567890"} {
		if d, err := CheckDigit(body); !errors.Is(err, ErrGTIN) {
			t.Errorf("%q: got %d and %v, want ErrGTIN", body, d, err)
		}
	}
	for _, code := range []string{"", "0425261", "24252614", "04252615", "0425261A"} {
		if upc, err := ExpandUPCE(code); !errors.Is(err, ErrGTIN) {
			t.Errorf("UPC-E %q: got %s and %v, want ErrGTIN", code, upc, err)
		}
	}
	for _, indicator := range []int{0, 9, -1} {
		if code, err := CaseGTIN14("6291041500213", indicator); !errors.Is(err, ErrGTIN) {
			t.Errorf("indicator %d: got %s and %v, want ErrGTIN", indicator, code, err)
		}
	}
}

// Every last digit of a UPC-E puts the zeros elsewhere. By hand from the rule (GS1 General Specifications, UPC-E, from memory).
func TestExpandUPCE(t *testing.T) {
	for six, body := range map[string]string{
		"123450": "01200000345", "123451": "01210000345", "123452": "01220000345", "123453": "01230000045",
		"123454": "01234000005", "123455": "01234500005", "123459": "01234500009",
	} {
		digit, err := CheckDigit(body)
		if err != nil {
			t.Fatal(err)
		}
		check := string(rune('0' + digit))
		if got, err := ExpandUPCE("0" + six + check); err != nil || got != body+check {
			t.Errorf("%s: got %s and %v, want %s", six, got, err, body+check)
		}
	}
}

// complete adds the check digit.
func complete(t *testing.T, body string) string {
	t.Helper()
	digit, err := CheckDigit(body)
	if err != nil {
		t.Fatal(err)
	}
	return body + string(rune('0'+digit))
}

func TestRestricted(t *testing.T) {
	for body, want := range map[string]bool{
		"200000000001": true, "299999999999": true, "020000000001": true, "040000000001": true,
		"30000000001": false, "952000000001": false, "030000000001": false,
		"20000000001": true,                                    // UPC-A with number system 2
		"40000000001": true,                                    // UPC-A with number system 4
		"0000001":     true, "2000001": true, "5000001": false, // GTIN-8
		"1952000000001": false, "1200000000001": true,
	} {
		if got, err := Restricted(complete(t, body)); err != nil || got != want {
			t.Errorf("%s: got %v and %v, want %v", body, got, err, want)
		}
	}
}

func TestEmbeddedReadings(t *testing.T) {
	got, err := EmbeddedReadings(complete(t, "291234501299"))
	if err != nil || len(got) != 2 {
		t.Fatalf("got %v and %v, want two readings", got, err)
	}
	for i, want := range []struct{ item, digits, price, weight string }{
		{"2912345", "01299", "12.99", "1.299 kg"}, {"2912345", "1299", "12.99", "1.299 kg"},
	} {
		g := got[i]
		if g.Item != want.item || g.Digits != want.digits || g.Price.FloatString(2) != want.price || g.Weight.String() != want.weight {
			t.Errorf("got %+v, want %+v", g, want)
		}
	}
	for _, body := range []string{"952000000001", "040000000001", "2000001", "1200000000001"} {
		if got, err := EmbeddedReadings(complete(t, body)); err != nil || got != nil {
			t.Errorf("%s: got %v and %v, want nothing offered", body, got, err)
		}
	}
}

// Laws: one wrong digit is always seen; zeros on the left change nothing.
func TestCheckDigitLaws(t *testing.T) {
	code := complete(t, "952012345678")
	for i := range len(code) {
		for d := byte('0'); d <= '9'; d++ {
			wrong := code[:i] + string(d) + code[i+1:]
			if got := ValidGTIN(wrong); got != (d == code[i]) {
				t.Errorf("%s: got valid %v", wrong, got)
			}
		}
	}
	if !ValidGTIN("0" + code) {
		t.Errorf("0%s: got invalid", code)
	}
}
