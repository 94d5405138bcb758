# The normal way needs no make: go run ./services/latewood demo, and bash .ci/test.
# Build outputs go to .bin/ and dist/ only; the top of the repository stays as it is.

.DEFAULT_GOAL := help
SHELL := bash
.SHELLFLAGS := -euo pipefail -c

SYSTEMS  := linux/amd64 linux/arm64 windows/amd64 darwin/arm64
VERSION  ?= $(shell git describe --tags --always --dirty 2>/dev/null || echo unversioned)
FUZZTIME ?= 30s
ARGS     ?=
LINT     := v2.15.0

.PHONY: help run test race fuzz golden gen proof bench cross release lint cover

help: ## this list
	@awk -F ':.*## ' '/^[a-z]+:.*## / { printf "  make %-9s %s\n", $$1, $$2 }' $(MAKEFILE_LIST)

run: ## run the program from the source: make run, make run ARGS="demo --once"
	go run ./services/latewood $(if $(ARGS),$(ARGS),run)

test: ## the test command: format, vet, builds for all systems, all tests
	bash .ci/test

race: ## all tests under the race detector
	CGO_ENABLED=1 go test -race -p 2 -timeout 30m ./...

fuzz: ## every fuzz target for a while: FUZZTIME=30s
	bash .ci/fuzz $(FUZZTIME)

golden: ## write the expected outputs anew (packages whose tests know -update); look at the diff before you commit
	@for d in $$(grep -rlE --include='*_test.go' 'flag\.Bool(Var)?\((&[a-zA-Z]+, )?"update"' events projections services | xargs -r -n 1 dirname | sort -u); do \
		go test -count=1 "./$$d" -update; \
	done

gen: ## write the generated files anew
	go generate ./...

proof: ## the tests with their full counts, the race detector, minutes of fuzzing a target: FUZZTIME=5m; takes hours
	FUZZTIME=$(if $(filter file,$(origin FUZZTIME)),5m,$(FUZZTIME)) bash .ci/proof

bench: ## all benchmarks
	go test -run '^$$' -bench . -benchmem ./...

cross: ## the program for every system, into .bin/
	@for s in $(SYSTEMS); do \
		out=.bin/latewood-$${s%/*}-$${s#*/}; [ "$${s%/*}" != windows ] || out=$$out.exe; \
		echo $$out; \
		CGO_ENABLED=0 GOOS=$${s%/*} GOARCH=$${s#*/} go build -trimpath -o $$out ./services/latewood; \
	done

release: ## one archive for every system with its sums, into dist/, the same bytes every time
	go run ./services/internal/house/release -version $(VERSION) -out dist

lint: ## the linters of .golangci.yml (fetched and built at the first use)
	go run github.com/golangci/golangci-lint/v2/cmd/golangci-lint@$(LINT) run

cover: ## how much the tests reach: a line a package, and .bin/cover.html
	@mkdir -p .bin
	go test -coverprofile=.bin/cover.out ./...
	go tool cover -html=.bin/cover.out -o .bin/cover.html
	@go tool cover -func=.bin/cover.out | tail -n 1
