# Two commands set everything up on a fresh machine: make demo and make test.
# They need Go 1.26 and, on Debian, install the rest when run as root or with
# sudo; otherwise they name the missing packages and exit with status 2.

.DEFAULT_GOAL := help
export GOFLAGS ?= -mod=readonly
BIN := bin/coldseam
VERSION := $(shell git describe --always --dirty 2>/dev/null || echo dev)
ONCE ?=
FUZZTIME ?= 5m
# The forecast is numbers and starts no goroutine (arch_test.go): instrumented it
# takes five times the time, so its own tests run without the race detector and
# those of others leave it out. forecast/atonce runs it under the detector.
NUMBERS := -gcflags='example.org/coldseam/forecast/...=-race=false' -gcflags='gonum.org/v1/gonum/...=-race=false'
# Long tests whose point is time, memory or numbers stand in files that the race
# detector leaves out, and run without it.
plain = $(shell grep -rl '^//go:build !race' --include='*_test.go' . | grep -v '^./forecast/')
# The packages whose tests read a variable of the environment.
reads = $(shell grep -rl '"$(1)"' --include='*_test.go' . | xargs -n1 dirname | sort -u)
BENCHCOUNT ?= 1

# The tests that compare with files they can write.
GOLDEN := Golden|CookbookAndViews|SchemaIsAsWritten|ThresholdsFile

.PHONY: deb help demo test gauntlet golden pictures fuzz bench proof soak lint count build need-demo need-test need-bench

help: ## print this list
	@grep -E '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed 's/:.*## /\t/' | expand -t 10

build: ## build bin/coldseam
	@go build -trimpath -ldflags "-s -w -X example.org/coldseam/cmd/internal/env.Version=$(VERSION)" -o $(BIN) ./cmd/coldseam

deb: build ## make bin/coldseam.deb: apt install ./bin/coldseam.deb
	@sh deploy/deb.sh

demo: need-demo build ## run the whole morning on invented rivers; ONCE=1 exits afterwards
	@$(BIN) demo $(if $(ONCE),--once)

test: need-test ## vet, format check, all tests; what runs at once under the race detector
	@.ci/axe.sh
	@go vet ./...
	@unformatted=$$(gofmt -l $$(git ls-files '*.go' 2>/dev/null || find . -name '*.go')); \
	  if [ -n "$$unformatted" ]; then echo "gofmt wants: $$unformatted"; exit 1; fi
	@go test -race $(NUMBERS) -count=1 -timeout 30m $$(go list ./... | grep -v /forecast)
	@go test -race -count=1 ./forecast/atonce
	@go test -count=1 -timeout 20m $$(go list ./forecast/... | grep -v /atonce)
	@go test -count=1 -timeout 10m -run "^($$(sed -n 's/^func \(Test[A-Za-z0-9_]*\)(.*/\1/p' $(plain) | paste -sd '|'))$$" $(sort $(dir $(plain)))

need-demo:
	@sh deploy/need.sh postgres

need-test:
	@sh deploy/need.sh postgres gcc chromium dkim icalendar

need-bench: need-test
	@sh deploy/need.sh libxml2

golden: ## write the golden files anew; read the diff before committing
	@go test $$(grep -rl '"update"' --include='*_test.go' . | xargs -n1 dirname | sort -u) -run '$(GOLDEN)' -count=1 -update

gauntlet: need-test ## faults of every kind against the morning's word, the long form
	@mkdir -p proof-out
	@COLDSEAM_GAUNTLET=full go test -count=1 -v -timeout 3h ./forecast/gauntlet ./cmd/internal/gauntlet > proof-out/gauntlet.txt; \
	  s=$$?; awk -f .ci/gauntlet.awk proof-out/gauntlet.txt; [ $$s = 0 ] || grep -E '^ *--- FAIL|Messages:' proof-out/gauntlet.txt; exit $$s

pictures: need-test ## make the README's pictures anew, in docs/img
	@mkdir -p docs/img
	@COLDSEAM_PICTURES=$(CURDIR)/docs/img go test -count=1 -run '^TestPictures$$' ./notify ./notify/web

fuzz: ## run every fuzz target for FUZZTIME
	@for pkg in $$(grep -rl '^func Fuzz' --include='*_test.go' . | xargs -n1 dirname | sort -u); do \
	  for f in $$(grep -rhoE '^func Fuzz[A-Za-z0-9_]+' $$pkg/*_test.go | sed 's/func //'); do \
	    echo "== $$pkg $$f"; go test $$pkg -run '^$$' -fuzz "^$$f$$" -fuzztime $(FUZZTIME) -fuzzminimizetime 10x || exit 1; done; done

bench: need-bench ## run all benchmarks; lines and table land in bench-out/
	@mkdir -p bench-out
	@bash -o pipefail -c "go test ./... -run '^$$' -bench . -benchmem -count $(BENCHCOUNT) -timeout 90m | tee bench-out/bench.txt"
	@awk -f .ci/bench.awk bench-out/bench.txt > bench-out/table.txt

proof: need-test ## long-form proofs; their figures land in proof-out/
	@mkdir -p proof-out
	@COLDSEAM_PROOF=$(CURDIR)/proof-out go test $(call reads,COLDSEAM_PROOF) -run Proof -count=1 -timeout 60m -v
	@cat proof-out/backup.txt proof-out/backup-sending.txt
	@if [ "$$(id -u)" = 0 ]; then for p in unit deb postgres patroni three mail alerts compose bare; do .ci/$$p.sh || exit 1; done; \
	  else echo "not run: .ci/unit.sh, deb.sh, postgres.sh, patroni.sh, three.sh, mail.sh, alerts.sh, compose.sh and bare.sh, which want root on Debian"; fi

soak: need-test ## the long fault runs: kills, bad networks, simulated days
	@COLDSEAM_SOAK=1 go test $(call reads,COLDSEAM_SOAK) -count=1 -timeout 60m -v

lint: ## vet, staticcheck, spelling, dead code, long lines
	@go vet ./... && go mod verify
	@cd tools && GOFLAGS= go build -o ../bin/lint/ tool
	@bin/lint/staticcheck ./...
	@bin/lint/misspell -error $$(git ls-files '*.go' '*.md' '*.sql' '*.toml' '*.html')
	@sh .ci/lint.sh

count: ## code lines, packages and other figures of the program's form
	@cd tools && GOFLAGS= go run ./count ..
