package main

import (
	"bufio"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

// The made-up country of the timings: nothing in it is a real place, shop, brand or price.
const (
	madeDistricts = 20
	madeShops     = 10 // per district
	madeItems     = 80
	madeMonths    = 60 // from 2020-01
	madeBasket    = 12 // the first items
	madeOffers    = 3  // variety x grade x pack of one item
)

// Classes of COICOP 2018 (from memory).
var madeFamilies = []struct{ name, class, unit string }{
	{"bread", "01.1.1", "kg"}, {"milk", "01.1.4", "L"}, {"eggs", "01.1.4", "each"}, {"rice", "01.1.1", "kg"},
	{"beef", "01.1.2", "kg"}, {"oil", "01.1.5", "L"}, {"buns", "01.1.1", "each"}, {"fish", "01.1.3", "kg"},
	{"potatoes", "01.1.7", "kg"}, {"juice", "01.2.1", "L"}, {"citrus", "01.1.6", "each"}, {"cheese", "01.1.4", "kg"},
	{"apples", "01.1.6", "kg"}, {"soup", "01.1.9", "L"}, {"lettuce", "01.1.7", "each"}, {"sugar", "01.1.8", "kg"},
}

type madePack struct {
	text     string
	quantity float64
}

var madePacks = map[string][]madePack{
	"kg":   {{"500 g", .5}, {"1 kg", 1}, {"250 g", .25}, {"4 x 125 g", .5}, {"2 kg", 2}},
	"L":    {{"1 L", 1}, {"6 x 330 ml", 1.98}, {"75 cl", .75}, {"2 L", 2}},
	"each": {{"12 each", 12}, {"6 each", 6}, {"1 each", 1}},
}

// planted is what writeNotes put into notes.csv: bad rows and exact copies are part of rows.
type planted struct{ rows, bad, duplicates int }

// writeNotes writes dir/notes.csv with the given number of rows, oldest month first, and dir/tables. The same number
// gives the same bytes. About 1 % of the rows cannot be read (date, item, price, pack in turn), 1 % repeat an earlier row.
// No observation key has two prices up to 28 x 48,000 rows a month.
func writeNotes(dir string, rows int) (planted, error) {
	var n planted
	if err := writeTables(dir); err != nil {
		return n, err
	}
	f, err := os.Create(filepath.Join(dir, "notes.csv"))
	if err != nil {
		return n, err
	}
	defer f.Close()
	w := bufio.NewWriterSize(f, 1<<20)
	w.WriteString("observed_on,region,outlet,item,variety,grade,price,pack,packs,price_type,currency\n")

	rng := rand.New(rand.NewPCG(2020, 1))
	type offer struct {
		words, pack string
		cents       float64
	}
	var items [madeItems]string
	var offers [madeItems][madeOffers]offer
	var drift [madeItems]float64 // ln change a month
	for i := range items {
		var unit string
		items[i], _, unit = madeItem(i)
		packs, base := madePacks[unit], 80*math.Exp(2.5*rng.Float64())
		first, second := packs[i%len(packs)], packs[(i+1)%len(packs)]
		offers[i] = [madeOffers]offer{
			{",store own label,,", first.text, base * first.quantity},
			{",maker label,,", second.text, base * second.quantity * 1.15},
			{",farm bought,organic,", first.text, base * first.quantity * 1.6},
		}
		drift[i] = .008*rng.Float64() - .001
	}
	var shops [madeDistricts * madeShops]struct {
		words string
		level float64
	}
	for s := range shops {
		shops[s].words = "," + madeDistrict(s%madeDistricts) + "," + madeShop(s) + ","
		shops[s].level = .9 + .2*rng.Float64()
	}

	const step = 1_000_003 // a prime: walks the month's places in a scattered order, each once
	var line, copied []byte
	var level [madeItems]float64
	for month := range madeMonths {
		for i := range level {
			level[i] = math.Exp(drift[i] * float64(month))
		}
		here := rows*(month+1)/madeMonths - rows*month/madeMonths
		for j := range here {
			n.rows++
			chance := rng.Uint32N(10_000)
			if chance < 100 && copied != nil {
				w.Write(copied)
				n.duplicates++
				continue
			}
			// District changes fastest, then item: few rows still price the whole basket everywhere.
			at := j * step % here
			at, district := at/madeDistricts, at%madeDistricts
			at, i := at/madeItems, at%madeItems
			at, shop := at/madeShops, district+madeDistricts*(at%madeShops)
			round, o := at/madeOffers, &offers[i][at%madeOffers]
			day := 1 + (5*shop+month+9*round)%28

			packs, kind, factor := ",1,", "regular,XTS\n", 1.0
			switch {
			case chance%100 < 3:
				kind, factor = "member,XTS\n", .95
			case chance%100 < 9:
				packs, kind, factor = ",2,", "promo,XTS\n", 1.8
			}
			cents := max(1, int64(o.cents*level[i]*shops[shop].level*factor*(.97+.06*rng.Float64())+.5))

			bad := -1
			if chance >= 9_900 {
				bad = n.bad % 4
				n.bad++
			}
			line = strconv.AppendInt(line[:0], int64(2020+month/12), 10)
			if bad == 0 {
				line = append(line, "-13-"...)
			} else {
				line = append(line, '-', '0'+byte((month%12+1)/10), '0'+byte((month%12+1)%10), '-')
			}
			line = append(line, '0'+byte(day/10), '0'+byte(day%10))
			line = append(append(line, shops[shop].words...), items[i]...)
			if bad == 1 {
				line = append(line, "-unknown"...)
			}
			line = append(line, o.words...)
			line = strconv.AppendInt(line, cents/100, 10)
			line = append(line, '.', '0'+byte(cents/10%10), '0'+byte(cents%10))
			if bad == 2 {
				line[len(line)-1] = 'o'
			}
			line = append(line, ',')
			if bad == 3 {
				line = append(line, "a few"...)
			} else {
				line = append(line, o.pack...)
			}
			line = append(append(line, packs...), kind...)
			w.Write(line)
			if bad < 0 && chance < 300 {
				copied = append(copied[:0], line...)
			}
		}
	}
	if err := w.Flush(); err != nil {
		return n, err
	}
	return n, f.Close()
}

func madeDistrict(d int) string { return fmt.Sprintf("district-%02d", d+1) }
func madeShop(s int) string {
	return fmt.Sprintf("%s-shop-%02d", madeDistrict(s%madeDistricts), s/madeDistricts+1)
}

func madeItem(i int) (name, class, unit string) {
	f := madeFamilies[i%len(madeFamilies)]
	return fmt.Sprintf("%s-%d", f.name, i/len(madeFamilies)+1), f.class, f.unit
}

func writeTables(dir string) error {
	var regions, outlets, items, baskets, deflators strings.Builder
	regions.WriteString("region,region_name,parent,level,population_weight,weight_source,currency_code,prices_include_tax\n" +
		"country,Country,,country,1,invented,XTS,yes\n")
	for d := range madeDistricts {
		fmt.Fprintf(&regions, "%s,District %d,country,district,%.4f,invented,XTS,yes\n", madeDistrict(d), d+1,
			float64(d+1)/(madeDistricts*(madeDistricts+1)/2))
	}
	outlets.WriteString("outlet,region,outlet_type,publish_name,open_from_on,open_to_on\n")
	types := []string{"large", "discount", "convenience", "market"}
	for s := range madeDistricts * madeShops {
		fmt.Fprintf(&outlets, "%s,%s,%s,no,,\n", madeShop(s), madeDistrict(s%madeDistricts), types[s/madeDistricts%len(types)])
	}
	items.WriteString("item,item_name,coicop_code,coicop_version,base_unit,food_code,density_kg_per_l,piece_kg,edible_yield," +
		"season_from_month,season_to_month,keeps_sealed_days,keeps_opened_days,source\n")
	baskets.WriteString("basket,item,grade,quantity,unit,per,basis,price_rule,source\n")
	for i := range madeItems {
		name, class, unit := madeItem(i)
		fmt.Fprintf(&items, "%s,%s,%s,2018,%s,,,,,,,,,invented\n", name, name, class, unit)
		if i < madeBasket {
			fmt.Fprintf(&baskets, "plain,%s,,%.2f,%s,week,AP,typical,invented\n", name, .25*float64(1+i%4), unit)
		}
	}
	deflators.WriteString("series,region,month,index_value,base_period,adjustment,source\n")
	for m := range madeMonths {
		fmt.Fprintf(&deflators, "general,country,%d-%02d,%.3f,2020-01,unadjusted,invented\n", 2020+m/12, m%12+1,
			100*math.Pow(1.003, float64(m)))
	}
	if err := os.MkdirAll(filepath.Join(dir, "tables"), 0o777); err != nil {
		return err
	}
	for name, text := range map[string]string{
		"regions": regions.String(), "outlets": outlets.String(), "items": items.String(), "baskets": baskets.String(),
		"deflators": deflators.String(),
		"households": "household,household_name,persons,person_equivalents,meals_per_day,source\n" +
			"single,One person,1,1.2,3,invented\nfour,Four persons,4,4,3,invented\n",
		"allowances": "programme,region,persons,amount_kind,effective_from,effective_to,amount_lcu,currency_code,per,paid_on_day,source\n" +
			"support,country,1,typical,2020-01-01,2022-06-30,100,XTS,month,1,invented\n" +
			"support,country,1,typical,2022-07-01,,106,XTS,month,1,invented\n" +
			"support,country,4,typical,2020-01-01,2022-06-30,350,XTS,month,1,invented\n" +
			"support,country,4,typical,2022-07-01,,371,XTS,month,1,invented\n",
	} {
		if err := os.WriteFile(filepath.Join(dir, "tables", name+".csv"), []byte(text), 0o666); err != nil {
			return err
		}
	}
	return nil
}
