package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"farthing/pipeline/intake"
)

// TestPreviewCommand takes a newcomer's way: preview a file that no source is
// for, put the proposed profile into farthing.toml, paste the alias lines, import.
func TestPreviewCommand(t *testing.T) {
	w := filepath.Join(t.TempDir(), "new")
	call(t, []int{exitDone}, "init", w)
	file := filepath.Join(t.TempDir(), "market list.csv")
	for path, text := range map[string]string{
		file:                                   "A list; invented\n\ndate;market;commodity;unit;price\n03.01.2024;Quay;Red beans;500 g;1,25\n28.01.2024;Quay;Rice, broken;1 kg;2,10\n28.01.2024;Quay;Salt;sack;9,99\n",
		filepath.Join(w, "tables/regions.csv"): "region,region_name,parent,level,population_weight,weight_source,currency_code,prices_include_tax\nisle,The isle,,country,,,USD,no\n",
		filepath.Join(w, "tables/items.csv"):   "item,item_name,coicop_code,coicop_version,base_unit\nrice,Rice,01.1.1,2018,kg\nbeans,Beans,01.1.7,2018,kg\nsalt,Salt,01.1.9,2018,kg\n",
		filepath.Join(w, "tables/outlets.csv"): "outlet,region,outlet_type\n",
	} {
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	entries := func() (names []string) {
		list, err := os.ReadDir(w)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range list {
			names = append(names, e.Name())
		}
		return names
	}
	before := entries()
	var p intake.Preview
	if err := json.Unmarshal(call(t, []int{exitDone}, "import", "--preview", "--json", "--workspace", w, file), &p); err != nil {
		t.Fatal(err)
	}
	if after := entries(); len(after) != len(before)+1 || !slices.Contains(after, "source-market-list.toml") {
		t.Errorf("got %q in the workspace, want %q and source-market-list.toml", after, before)
	}
	if p.HeaderLine != 3 || p.Counts.Read != 3 || len(p.Unmapped) != 4 {
		t.Errorf("got header line %d, %d rows, unmapped %+v; want 3, 3, three items and a unit", p.HeaderLine, p.Counts.Read, p.Unmapped)
	}
	text := string(call(t, []int{exitDone}, "import", "--preview", "--workspace", w, file))
	for _, want := range []string{"header   line 3", "decimal = \",\"", "date_order = \"DMY\"", "nothing is stored", "market-list,item,Red beans,beans,,,", "written to"} {
		if !strings.Contains(text, want) {
			t.Errorf("got %s\nwant it to say %q", text, want)
		}
	}

	add := func(path, text string) {
		f, err := os.OpenFile(path, os.O_APPEND|os.O_WRONLY|os.O_CREATE, 0o644)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		if _, err := f.WriteString(text); err != nil {
			t.Fatal(err)
		}
	}
	add(filepath.Join(w, "farthing.toml"), "\n"+p.Profile)
	aliases := "source,kind,as_read,means,grade,variety,pack\n"
	for _, u := range p.Unmapped {
		if !strings.Contains(u.Alias, "…") {
			aliases += u.Alias + "\n"
		}
	}
	if err := os.WriteFile(filepath.Join(w, "tables/aliases.csv"), []byte(aliases), 0o644); err != nil {
		t.Fatal(err)
	}
	_, rep := importFiles(t, exitQuarantined, w, file)
	f := rep["market list.csv"]
	if f.Source != "market-list" || f.Accepted != 2 || f.Quarantined != 1 || f.Reasons[0].Code != "pack" || !strings.Contains(f.Reasons[0].Cure, "tables/measures") {
		t.Errorf("got %+v, want 2 rows accepted and the sack set aside", f)
	}

	call(t, []int{exitUsage}, "import", "--preview", "--workspace", w)
	call(t, []int{exitUsage}, "import", "--preview", "--workspace", w, file, file)
	call(t, []int{exitFailed}, "import", "--preview", "--workspace", w, file+".none")
}
