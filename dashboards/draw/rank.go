package draw

import (
	"fmt"
	"html"
	"math"
	"strings"
)

// RankRow is one place in an order: a level, and the ranks it may hold.
type RankRow struct {
	Name, Value  string // Value is the level as printed
	Level        float64
	Rank, Lo, Hi int // the estimate and its bounds, the first rank 1
	Words        string
}

// rankSize is how ranks are laid out at a width; two lines a row where there is little room.
type rankSize struct {
	width, name, value, scale, scaleTo, ranks, row float64
	two                                            bool
}

var (
	wideRanks = rankSize{width: Wide, name: 190, value: 240, scale: 262, scaleTo: 440, ranks: 470, row: 26}
	slimRanks = rankSize{width: Slim, name: 250, value: Slim, scale: 16, scaleTo: 136, ranks: 166, row: 46, two: true}
)

// MostSquares is how many ranks are drawn as squares; more are one bar.
const MostSquares = 40

// Ranks draws rows, best first, twice: the level as a dot on one scale, then
// as many squares as there are ranks, the estimate numbered, the other ranks
// it may hold in a lighter ink, the rest open. head names the level.
func Ranks(w Words, rows []RankRow, head string, wideMark, slimMark []string) (wide, slim Drawing) {
	return ranks(w, rows, head, wideRanks).marked(wideMark), ranks(w, rows, head, slimRanks).marked(slimMark)
}

func ranks(words Words, rows []RankRow, head string, s rankSize) Drawing {
	lo, hi := rows[0].Level, rows[0].Level
	for _, r := range rows {
		lo, hi = min(lo, r.Level), max(hi, r.Level)
	}
	from, to, step := scale(lo, hi)
	at := func(v float64) float64 { return s.scale + (v-from)/(to-from)*(s.scaleTo-s.scale) }
	pitch := min(25, (s.width-s.ranks)/float64(len(rows)))
	const top, mark = 40.0, 14.0
	height := top + float64(len(rows))*s.row
	var b strings.Builder
	b.WriteString(text(s.scale-10, 12, head, small) + text(s.ranks, 12, words.Rank, small))
	if s.two { // the figures stand far from their scale
		b.WriteString(text(s.value, 30, head, end+" "+small))
	}
	every := int(math.Ceil(38 / (at(from+step) - at(from)))) // so many steps that the numbers stay apart
	var grid strings.Builder
	for k := 0.0; from+k*step <= to+step/2; k++ {
		x := px(at(from + k*step))
		if !s.two {
			fmt.Fprintf(&grid, "M%s %sV%s", x, px(top-4), px(height))
		}
		for i := 0; s.two && i < len(rows); i++ { // clear of the names
			fmt.Fprintf(&grid, "M%s %sv16", x, px(top+float64(i)*s.row+22))
		}
		if int(k)%every == 0 {
			b.WriteString(text(at(from+k*step), 30, words.axisNumber(from+k*step, step), middle+" "+small))
		}
	}
	fmt.Fprintf(&b, `<path d="%s" stroke="%s"/>`, grid.String(), Hair)
	for i, r := range rows {
		y := top + float64(i)*s.row
		fmt.Fprintf(&b, `<g><title>%s</title>`, html.EscapeString(r.Words))
		b.WriteString(text(0, y+15, fitted(r.Name, s.name, 13), `font-weight="700"`) + text(s.value, y+15, r.Value, end))
		if s.two {
			y += 20
		}
		fmt.Fprintf(&b, `<circle cx="%s" cy="%s" r="4.5" fill="%s"/>`, px(at(r.Level)), px(y+10), Fed)
		var open strings.Builder
		if n := float64(len(rows)); n > MostSquares {
			left := func(rank int) float64 { return s.ranks + float64(rank-1)*pitch }
			bar := func(from, to float64, attr string) {
				fmt.Fprintf(&b, `<rect x="%s" y="%s" width="%s" height="%s" fill="%s"%s/>`, px(from), px(y+3), px(to-from), px(mark), Fed, attr)
			}
			fmt.Fprintf(&open, "M%s %sH%s", px(s.ranks), px(y+3+mark/2), px(s.ranks+n*pitch))
			bar(left(r.Lo), left(r.Hi+1), ` fill-opacity="0.65"`)
			bar(left(r.Rank), max(left(r.Rank+1), left(r.Rank)+1.5), "")
		}
		for rank := 1; rank <= len(rows) && len(rows) <= MostSquares; rank++ {
			x := s.ranks + float64(rank-1)*pitch
			w := pitch * 0.86
			switch {
			case rank == r.Rank:
				fmt.Fprintf(&b, `<rect x="%s" y="%s" width="%s" height="%s" fill="%s"/>`, px(x), px(y+3), px(w), px(mark), Fed)
				if pitch >= 18 {
					b.WriteString(text(x+w/2, y+14.5, fmt.Sprint(rank), middle+` font-size="12" font-weight="700" fill="`+Paper+`"`))
				}
			case rank >= r.Lo && rank <= r.Hi:
				fmt.Fprintf(&b, `<rect x="%s" y="%s" width="%s" height="%s" fill="%s" fill-opacity="0.65"/>`, px(x), px(y+3), px(w), px(mark), Fed)
			default:
				fmt.Fprintf(&open, "M%s %sh%sv%sh%sz", px(x+.5), px(y+3.5), px(w-1), px(mark-1), px(1-w))
			}
		}
		if open.Len() > 0 {
			fmt.Fprintf(&b, `<path d="%s" fill="none" stroke="%s"/>`, open.String(), Rule)
		}
		b.WriteString("</g>")
	}
	return Drawing{s.width, height + 4, b.String()}
}
