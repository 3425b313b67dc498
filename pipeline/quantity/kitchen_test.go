package quantity

import (
	"errors"
	"math/big"
	"strings"
	"testing"
)

// figure is a test figure; its source is the test.
func figure_(t *testing.T, text string, s Status) Figure {
	t.Helper()
	return Figure{amount(t, text), s, "by hand"}
}

func TestTry(t *testing.T) {
	k := Kitchen{Item: "onions", Words: []string{"onion", "red"}, Facts: []Facts{{Measures: map[string]Figure{"large": figure_(t, "150 g", Published)}, Piece: figure_(t, "110 g", CommonPractice), Density: figure_(t, "0.68 kg", Published)}}}
	for _, x := range [][2]string{{"2", "cups"}, {"2 metric cups", ""}, {"half an onion", ""}, {"2-3 onions", ""}, {"1 1/2", "cup_us"}, {"½", "tsp"}, {"a pinch", ""}, {"1", "bunch"}, {"2 large onions", ""}, {"3", "cloves"}, {"two thirds of a metric cup of red onion", ""}, {"2 and a half", "piece"}, {"1 lb 4 oz", ""}, {"2 x 400", "g"}, {"", "g"}, {"2", ""}, {"2 cups chopped onions", ""}, {"to taste", ""}, {"2 tins", ""}, {"half a dozen onions", ""}, {"2 pt 1 cup", ""}, {"1-1/2 lb", ""}} {
		c, err := k.Read(x[0], x[1], Mass)
		t.Log(x, c.Amount, c.Written, c.Used, err)
	}
	_ = errors.Is
	_ = big.NewRat
	_ = strings.Join
}
