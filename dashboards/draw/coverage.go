package draw

import (
	"fmt"
	"math"
	"strings"
)

// Coverage is what a month's cost rests on, as shares of it; NaN for a month
// of which nothing is known.
type Coverage struct{ Observed, Imputed float64 }

// Coverages draws a column a month, from 0 to 100 %, twice: observed inked,
// imputed hatched, the rest open. labels name some of the months.
func Coverages(months []Coverage, labels []string, wideMark, slimMark []string) (wide, slim Drawing) {
	return coverages(months, labels, Wide).marked(wideMark), coverages(months, labels, Slim).marked(slimMark)
}

func coverages(months []Coverage, labels []string, width float64) Drawing {
	const left, top, plot = 46.0, 8.0, 130.0
	base := top + plot
	pitch := min(25, (width-left)/float64(len(months)))
	mark := pitch - min(3, pitch/8)
	at := func(share float64) float64 { return base - min(max(share, 0), 1)*plot }
	var b, ink, cuts, open strings.Builder
	for _, share := range []float64{0, 0.5, 1} {
		b.WriteString(text(left-8, at(share)+4, fmt.Sprintf("%.0f\u202f%%", share*100), end+" "+small))
		fmt.Fprintf(&b, `<path d="M%s %sH%s" stroke="%s"/>`, px(left), px(at(share)), px(left+float64(len(months))*pitch), Hair)
	}
	for i, m := range months {
		x := left + float64(i)*pitch
		if labels[i] != "" {
			b.WriteString(text(x, base+16, labels[i], small))
		}
		if math.IsNaN(m.Observed) {
			continue
		}
		seen, known := at(m.Observed), at(m.Observed+m.Imputed)
		if known < base {
			fmt.Fprintf(&ink, "M%s %sh%sV%sh%sz", px(x), px(base), px(mark), px(known), px(-mark))
		}
		for y := seen; y > known; y -= 5 { // lines of paper over the part that is filled in
			fmt.Fprintf(&cuts, "M%s %sL%s %s", px(x), px(y), px(x+mark), px(max(known, y-5)))
		}
		if known-top > 1.5 {
			fmt.Fprintf(&open, "M%s %sV%sh%sV%s", px(x+.5), px(known-1), px(top+.5), px(mark-1), px(known-1))
		}
	}
	fmt.Fprintf(&b, `<path d="%s" fill="%s"/>`, ink.String(), Fed)
	if cuts.Len() > 0 {
		fmt.Fprintf(&b, `<path d="%s" fill="none" stroke="%s" stroke-width="2"/>`, cuts.String(), Paper)
	}
	if open.Len() > 0 {
		fmt.Fprintf(&b, `<path d="%s" fill="none" stroke="%s"/>`, open.String(), Short)
	}
	return Drawing{width, base + 24, b.String()}
}
