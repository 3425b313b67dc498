# make demo   builds, makes the invented demo workspace, runs it, says where to look
# make test   all tests
# make check  the tests, and what a change must also keep: format, vet, generated files
# make real   the US workspace on real open data, where $(SHARED) holds it

BUILD  := .build
DEMO   := $(BUILD)/tavrin
REAL   := $(BUILD)/us
SHARED ?= ../shared/data

# The chart library: fetched once from npm, held to this version and hash, never committed.
CHARTS         := echarts
CHARTS_VERSION := 6.1.0
CHARTS_SHA512  := q0yaFPggC9FUdsWH4blavRWFmxdrIodbkoKNAjJudAI6CA9gNPxHtV2RcZNEepZVlk4yvBYkOkbk6HIVpIyHZA==
LIBRARY        := $(BUILD)/assets/echarts.min.js

GO ?= go
export CGO_ENABLED = 1

.PHONY: build assets demo test check real bench generate clean

build: assets
	$(GO) build -o $(BUILD)/farthing ./cmd/farthing

assets: $(LIBRARY)

$(LIBRARY):
	@mkdir -p $(BUILD)/assets $(BUILD)/npm
	cd $(BUILD)/npm && npm pack --silent $(CHARTS)@$(CHARTS_VERSION) >/dev/null
	@got=$$(openssl dgst -sha512 -binary $(BUILD)/npm/$(CHARTS)-$(CHARTS_VERSION).tgz | base64 -w0); \
	 test "$$got" = "$(CHARTS_SHA512)" || { echo "the chart library's hash is $$got, not the one pinned: nothing installed"; exit 1; }
	tar -xzf $(BUILD)/npm/$(CHARTS)-$(CHARTS_VERSION).tgz -C $(BUILD)/npm package/dist/echarts.min.js package/LICENSE package/NOTICE
	cp $(BUILD)/npm/package/LICENSE $(BUILD)/assets/echarts.LICENSE
	cp $(BUILD)/npm/package/NOTICE $(BUILD)/assets/echarts.NOTICE
	cp $(BUILD)/npm/package/dist/echarts.min.js $@

# Exit 3 says that rows were set aside: the demo has three on purpose.
demo: build
	rm -rf $(DEMO)
	$(BUILD)/farthing init $(DEMO) --with demo
	$(BUILD)/farthing run --workspace $(DEMO) || test $$? -eq 3
	@echo "look at $(DEMO)/site/index.html"

test: assets
	FARTHING_ASSETS=$(abspath $(BUILD)/assets) $(GO) test -timeout 30m ./... ./testdata/demo/generate

check: test
	@test -z "$$(gofmt -l cmd pipeline queries dashboards testdata)" || { gofmt -l cmd pipeline queries dashboards testdata; echo "not formatted: run gofmt -w on these"; exit 1; }
	$(GO) vet ./... ./testdata/demo/generate
	$(GO) mod tidy -diff
	$(GO) run ./testdata/demo/generate
	git diff --exit-code -- testdata/demo testdata/golden

# The open files that testdata/us reads: item codes of its basket, in the US as a whole and four regions.
REAL_ITEMS := 701111 701312 701322 702111 703112 706111 FD3101 708111 709112 710211 711211 712112 712311 714233 715211
REAL_FILES  = $(SHARED)/bls-ap-fred/series_index.csv \
	$(wildcard $(foreach item,$(REAL_ITEMS),$(SHARED)/bls-ap-fred/series/APU0[0-4]00$(item).csv)) \
	$(wildcard $(SHARED)/cpi-us-regions/CUUR0[0-4]00SAF11.csv) $(SHARED)/snap-allotments/snap_max_allotment.csv

real: build
	@test -d $(SHARED)/bls-ap-fred || { echo "no open data at $(SHARED): say SHARED=DIR"; exit 1; }
	rm -rf $(REAL)
	$(BUILD)/farthing init $(REAL) --with us
	$(BUILD)/farthing import --workspace $(REAL) $(REAL_FILES)
	$(BUILD)/farthing run --workspace $(REAL)
	$(BUILD)/farthing show reach --workspace $(REAL) --region us --month 2023-06
	@echo "look at $(REAL)/site/index.html"

# One million notes against the hand-written script, in one run.
bench: assets
	FARTHING_ROWS=$(or $(ROWS),1000000) $(GO) test ./cmd/farthing -run '^$$' -bench ImportRun -benchtime $(or $(TIMES),3)x

clean:
	rm -rf $(BUILD)
