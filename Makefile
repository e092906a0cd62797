# make run     the office with an invented job, and the program for tablets
# make test    all that must hold before a commit; CI runs the same
# make pictures  those of the README, drawn anew
# make bench   figures; make soak: a thousand schedules of faults; make fuzz: a minute of odd input for each fuzz target
#
# Needs Go and make, and for the tests also node and npm. Chromium and
# poppler-utils are installed where they are missing and apt-get may be used.

SHELL := /bin/bash -o pipefail

# Packages whose tests also run as WebAssembly: all that the tablet's program
# consists of or will, and the text form of a day, which the tests are written in.
SHARED = $$(GOOS=js GOARCH=wasm go list -deps ./cmd/tablet ./web ./internal/weather ./internal/daylog/script | grep ^duskline/)

# Packages where goroutines meet in one process. What is killed from outside is
# tried without the race detector, which makes its lives too short.
RACED = ./internal/store ./internal/store/sqlite ./internal/exchange ./internal/archive ./internal/signin ./web/...

# npm packages for tests: an IndexedDB, what internal/weather is compared with,
# and what pages are held against for people who do not see or point.
MODULES = .cache/node/node_modules

# Node is given few variables, because Go's glue takes no more than 12 KB of
# them, and an IndexedDB.
INDEXEDDB = $(MODULES)/fake-indexeddb
NODE = env -i PATH=$(PATH) HOME=$(HOME) NODE_OPTIONS=--require=$(CURDIR)/$(INDEXEDDB)/auto \
	$$(go env GOROOT)/lib/wasm/go_js_wasm_exec

.PHONY: pictures run tablet generate test tools check arrows wasm race bench fuzz soak

# make run DEMO= DATA=folder begins empty: it prints the code for the first account.
DEMO = -demo
DATA = data
run: tablet
	go run ./cmd/server $(DEMO) -data $(DATA)

# The tablet's program, compressed, within its size.
tablet:
	go run ./static/build

generate:
	go tool templ generate -path web

test: tools check arrows tablet wasm
	go test ./...
	$(MAKE) --no-print-directory race
	$(MAKE) --no-print-directory fuzz FUZZTIME=5s
	@echo "all tests passed"

tools: $(MODULES)/fake-indexeddb $(MODULES)/psychrolib $(MODULES)/astronomy-engine $(MODULES)/axe-core
	@command -v chromium >/dev/null || { echo "installing Chromium"; apt-get update -qq && \
		DEBIAN_FRONTEND=noninteractive apt-get install -qqy --no-install-recommends chromium >/dev/null; }
	@command -v pdftotext >/dev/null || { echo "installing poppler-utils"; apt-get update -qq && \
		DEBIAN_FRONTEND=noninteractive apt-get install -qqy --no-install-recommends poppler-utils >/dev/null; }

# All at once: npm takes away what the last call did not name.
$(MODULES)/fake-indexeddb $(MODULES)/psychrolib $(MODULES)/astronomy-engine $(MODULES)/axe-core &:
	npm install --prefix .cache/node --no-save --no-audit --no-fund --loglevel=error \
		fake-indexeddb@6.2.8 psychrolib@1.1.1 astronomy-engine@2.1.19 axe-core@4.14.1

check:
	go tool templ generate -path web -check -log-level error
	@unformatted=$$(gofmt -l .); [ -z "$$unformatted" ] || { echo "not formatted: $$unformatted"; exit 1; }
	go vet ./...
	GOOS=js GOARCH=wasm go vet $(SHARED)
	go tool staticcheck ./...
	GOOS=js GOARCH=wasm $$(go tool -n staticcheck) $(SHARED)

# -count=1: go list is not a file whose change would be noticed.
arrows:
	go test -count=1 -run TestArrows .

wasm: tools
	GOOS=js GOARCH=wasm go test -exec "$(NODE)" $(SHARED)
	@mkdir -p .cache/shorter && go run ./static/build -overlay .cache/shorter/overlay.json
	GOOS=js GOARCH=wasm go test -overlay .cache/shorter/overlay.json -exec "$(NODE)" ./internal/daylog ./internal/store/indexeddb
	GOOS=js GOARCH=wasm go test -overlay .cache/shorter/overlay.json -exec "$(NODE)" -run 'TestConverge|TestExchange' ./internal/exchange

race:
	go test -race -skip TestKilled $(RACED)

pictures: tools
	PICTURES=$(CURDIR)/docs go test -count=1 -run TestPictures ./cmd/server
	rm -f docs/*.pdf docs/summary-*.png

# A thousand schedules of faults; make test goes through fifty.
soak:
	go test -count=1 -timeout 3h -parallel 8 -run TestFaults -v ./internal/faultbench -args -runs 1000 | grep -v '^=== \|--- PASS'

bench:
	go test -run '^$$' -bench . ./...

FUZZTIME = 60s
fuzz:
	@grep -rl '^func Fuzz' --include='*_test.go' . | xargs -r grep -Ho '^func Fuzz[A-Za-z]*' | \
	while IFS=: read -r file name; do \
		go test -run '^$$' -fuzz "^$${name#func }$$" -fuzztime $(FUZZTIME) -fuzzminimizetime 100x ./$$(dirname $$file) || exit 1; \
	done
