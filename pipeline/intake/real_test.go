package intake

import (
	"path/filepath"
	"sort"
	"os"
	"testing"
)

const sharedData = "../../../shared/data"

// real are files of the published data that a clone does not have.
func real(t *testing.T, patterns ...string) (files []string) {
	t.Helper()
	if _, err := os.Stat(sharedData); err != nil {
		t.Skip("the published files are not here: they are no part of a clone")
	}
	for _, p := range patterns {
		found, err := filepath.Glob(filepath.Join(sharedData, p))
		if err != nil || len(found) == 0 {
			t.Fatalf("no file %s: %v", p, err)
		}
		files = append(files, found...)
	}
	sort.Strings(files)
	return files
}

func (k *taken) log(limit int) {
	for _, f := range k.all.Files {
		k.Logf("%s (%s): %d read, %d accepted, %d quarantined, %d duplicate, %d held", f.Path, f.Source, f.Read, f.Accepted, f.Quarantined, f.Duplicate, f.Held)
		for i, r := range f.Reasons {
			if i == limit {
				k.Logf("   ... %d more reasons", len(f.Reasons)-i)
				break
			}
			k.Logf("   %d x %s %s %q: %.150s", r.Rows, r.Code, r.Field, r.Text, r.Cure)
		}
	}
}

func TestX(t *testing.T) {
	for fam, files := range map[string][]string{
		"wfp-ken": {"wfp-ken/wfp_food_prices_ken.csv","wfp-ken/*.gz", "wfp-ken/consumer*"}, "wfp-hti": {"wfp-hti/*.csv"},
		"ons": {"ons-uk/*"}, "statcan": {"statcan*/*"}, "ers": {"ers-produce/*"}, "allowances": {"snap*/*.csv", "usda-food*/*.csv"},
		"cpi": {"cpi-us-monthly/*.csv", "cpi-world-annual/*.csv", "cpi-us-regions/CU*SAF11.csv","cpi-us-regions/*SA0.csv"}, "scanner-oj": {"scanner-oj/b*", "scanner-oj/*yx*"}, "scanner-pl": {"scanner-pl*/*.csv*"},
	} {
		t.Run(fam, func(t *testing.T) { takeIn(t, fam, real(t, files...)...).log(6) })
	}
	t.Run("bls", func(t *testing.T) {
	k := takeIn(t, "bls", real(t, "bls-ap-fred/series_index.csv","bls-ap-fred/series/*", "bls-ap-labstat/ap.*","bls-ap-pdq/*")...)
	k.log(0)
	})
}
