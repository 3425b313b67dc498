# make demo   builds, makes the invented demo workspace, runs it, says where to look
# make test   all tests
# make check  the tests, and what a change must also keep: format, vet, generated files
# make storybook  every page in every made-up state, to look at
# make real   the US workspace on real open data, where $(SHARED) holds it

BUILD  := .build
DEMO   := $(BUILD)/tavrin
REAL   := $(BUILD)/us
SHARED ?= ../shared/data

# The chart library, and the accessibility checker of the tests: fetched once from npm, held to this version and hash, never committed.
CHARTS_VERSION  := 6.1.0
CHARTS_SHA512   := q0yaFPggC9FUdsWH4blavRWFmxdrIodbkoKNAjJudAI6CA9gNPxHtV2RcZNEepZVlk4yvBYkOkbk6HIVpIyHZA==
LIBRARY         := $(BUILD)/assets/echarts.min.js
CHECKER_VERSION := 4.14.1
CHECKER_SHA512  := FHfa+lmNjQZfJz1q8wKqIDwC6DExcHt/pkjNQb09a3NPjCKg2rhu5qb2S4r76ASyFNNtuFooJpZe37OgudVGtQ==
CHECKER         := $(BUILD)/assets/axe.min.js

GO ?= go
export CGO_ENABLED = 1

.PHONY: build assets demo test check storybook real bench generate clean

build: assets
	$(GO) build -o $(BUILD)/farthing ./cmd/farthing

assets: $(LIBRARY)

# fetch NAME, VERSION, HASH: the package's archive in $(BUILD)/npm, if it has that hash
define fetch
	@mkdir -p $(BUILD)/assets $(BUILD)/npm
	cd $(BUILD)/npm && npm pack --silent $(1)@$(2) >/dev/null
	@got=$$(openssl dgst -sha512 -binary $(BUILD)/npm/$(1)-$(2).tgz | base64 -w0); \
	 test "$$got" = "$(3)" || { echo "the hash of $(1) is $$got, not the one pinned: nothing installed"; exit 1; }
endef

$(LIBRARY):
	$(call fetch,echarts,$(CHARTS_VERSION),$(CHARTS_SHA512))
	tar -xzf $(BUILD)/npm/echarts-$(CHARTS_VERSION).tgz -C $(BUILD)/npm package/dist/echarts.min.js package/LICENSE package/NOTICE
	cp $(BUILD)/npm/package/LICENSE $(BUILD)/assets/echarts.LICENSE
	cp $(BUILD)/npm/package/NOTICE $(BUILD)/assets/echarts.NOTICE
	cp $(BUILD)/npm/package/dist/echarts.min.js $@

$(CHECKER):
	$(call fetch,axe-core,$(CHECKER_VERSION),$(CHECKER_SHA512))
	tar -xzf $(BUILD)/npm/axe-core-$(CHECKER_VERSION).tgz -C $(BUILD)/npm package/axe.min.js package/LICENSE
	cp $(BUILD)/npm/package/LICENSE $(BUILD)/assets/axe.LICENSE
	cp $(BUILD)/npm/package/axe.min.js $@

# Exit 3 says that rows were set aside: the demo has three on purpose.
demo: build
	rm -rf $(DEMO)
	$(BUILD)/farthing init $(DEMO) --with demo
	$(BUILD)/farthing run --workspace $(DEMO) || test $$? -eq 3
	@echo "look at $(DEMO)/site/index.html"

test: assets $(CHECKER)
	FARTHING_ASSETS=$(abspath $(BUILD)/assets) $(GO) test -timeout 60m ./... ./testdata/demo/generate

check: test
	@test -z "$$(gofmt -l cmd pipeline queries dashboards testdata)" || { gofmt -l cmd pipeline queries dashboards testdata; echo "not formatted: run gofmt -w on these"; exit 1; }
	$(GO) vet ./... ./testdata/demo/generate
	$(GO) mod tidy -diff
	$(GO) run ./testdata/demo/generate
	git diff --exit-code -- testdata/demo testdata/golden

storybook: assets
	rm -rf $(BUILD)/storybook
	FARTHING_ASSETS=$(abspath $(BUILD)/assets) $(GO) test ./dashboards -run '^TestStorybook$$' -storybook $(abspath $(BUILD)/storybook)
	@echo "look at $(BUILD)/storybook/index.html"

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
