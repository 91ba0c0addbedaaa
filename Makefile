# SPDX-License-Identifier: Apache-2.0
#
# What one can do here. `make demo` and `make test` work in a fresh clone on
# Debian with Go. Everything built lands in build/, which git ignores.

SHELL := /bin/bash
.SHELLFLAGS := -euo pipefail -c
.DEFAULT_GOAL := help

# The program and its tests are pure Go: one static file for any board.
export CGO_ENABLED := 0

# The race detector is for packages in which something runs beside something
# else; the pure ones have nothing to race, and tests/ starts programs, browsers
# and machines. Left to `make race-all` are those whose only other goroutine
# feeds a pipe or waits for a child, and whose ciphers, libraries, voices or whole
# daemons take minutes under the detector.
UNIT = $$(grep -rlE --include='*.go' '\bgo (func|[A-Za-z_.]+)\(|"sync(/atomic)?"' audio cmd console device store | xargs -n 1 dirname | sort -u | sed 's,^,./,')
LONG = ^./\(console/\(report\|insight\|backup\|evidence\|archive\|api\)\|audio/\(voice\|file\|level\|speaker\|tone\)\|cmd\)
# Machines and systems of the tests' own are started apart: neighbours starve them.
# A system and a machine have a processor each; the browser wants all there are.
# The vet of make check is enough.
BESIDE = $$(go list ./... | grep -v '^tallyhood/tests/\(kernel\|package\|browser\)$$')
BUILD = go build -trimpath -ldflags '-s -w'

.PHONY: help
help: ## list the targets
	@grep -hE '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed -E 's/^([a-z-]+):.*## /\1\t/' | expand -t 14

.PHONY: demo
demo: build ## build, serve and play the demo ten times as fast; the address is printed
	build/tallyhood serve --demo --speed 10

.PHONY: build
build: ## build the program into build/
	$(BUILD) -o build/tallyhood ./cmd/tallyhood

.PHONY: test
test: unit-tests system-tests browser-tests pages ## install what the tests need, run every test and page check

.PHONY: go-test
go-test: unit-tests system-tests browser-tests ## every Go test

# Apart, so that with --keep-going a failure in one hides nothing in the next.
.PHONY: unit-tests
unit-tests: install build/tools/testlog ## the Go tests but those of tests/package, kernel and browser
	go test -C .ci/tools ./...
	go test -vet=off -timeout 20m -json $(BESIDE) | build/tools/testlog

.PHONY: system-tests
system-tests: install build/tools/testlog build/tools/nfpm ## the package in a clean system, the daemon on a real kernel
	tests/kernel/fetch
	go test -vet=off -timeout 20m -p 2 -json ./tests/package ./tests/kernel | build/tools/testlog

.PHONY: browser-tests
browser-tests: install build/tools/testlog ## the pages in a real browser
	go test -vet=off -timeout 20m -json ./tests/browser | build/tools/testlog

.PHONY: pages
pages: install ## the pages' source, types and module tests
	.ci/pages

.PHONY: check
check: ## fast static checks: format, vet, rules
	@unformatted=$$(gofmt -l .); \
	if [ -n "$$unformatted" ]; then echo "not formatted by gofmt:"; echo "$$unformatted"; exit 1; fi
	go vet ./...
	go vet -C .ci/tools ./...
	go test ./tests/rules

.PHONY: lint
lint: build/tools/staticcheck ## staticcheck, at the version in .ci/tools/go.mod
	build/tools/staticcheck ./...

.PHONY: race
race: ## the packages in which goroutines share something under the race detector, in random order
	CGO_ENABLED=1 go test -vet=off -race -short -shuffle=on $$(printf '%s\n' $(UNIT) | grep -v '$(LONG)')

.PHONY: race-all
race-all: ## every package with goroutines under the race detector
	CGO_ENABLED=1 go test -vet=off -race -short -shuffle=on $(UNIT)

.PHONY: cpus
cpus: ## the loops on one processor, as on a small board; the other tests have them on all
	go test -vet=off -count=1 -short -shuffle=on -cpu=1 ./console/hub/...
	go test -vet=off -count=1 -short -shuffle=on -cpu=1 ./console/session -run 'Starved|LostEdges|AtMost|Breath|Beside|WhereARun|Stubborn|OneDrives|StopEnds|PowerCut|Journal|NotSaved|Nothing|Commands|Spoiled'

.PHONY: fresh
fresh: ## what is generated is up to date, and go.mod is tidy
	.ci/fresh

.PHONY: cross
cross: ## static programs for the boards, with their sizes
	.ci/cross

.PHONY: dist
dist: build/tools/nfpm ## archives and Debian packages for every kind of board
	.ci/dist

.PHONY: deb
deb: build/tools/nfpm ## the Debian package for this machine
	ARCHS=$(patsubst arm,armv7,$(shell go env GOARCH)) .ci/dist

.PHONY: arm
arm: ## unit tests as both arm kinds, by emulation
	.ci/emulate

# The packages in which the word size or the order of bytes could matter.
WORDS = ./device/... ./store ./store/memory ./audio/mix ./audio/tone ./audio/wav ./console/procedure ./console/hoodlevel ./console/record ./console/sealing ./console/wiring ./console/latency ./console/evidence

.PHONY: arm-words
arm-words: ## the same for the packages in which the processor matters
	.ci/emulate $(WORDS)

.PHONY: bench
bench: ## every benchmark once
	go test -run '^$$' -bench . -benchmem ./...

.PHONY: install
install: ## install missing Debian packages and the node tools
	.ci/install

.PHONY: clean
clean: ## remove what was built
	rm -rf build

build/tools/testlog: $(wildcard .ci/tools/testlog/*.go) .ci/tools/go.mod
	go build -C .ci/tools -o ../../$@ ./testlog

build/tools/staticcheck: .ci/tools/go.mod .ci/tools/go.sum
	go build -C .ci/tools -o ../../$@ honnef.co/go/tools/cmd/staticcheck

build/tools/nfpm: .ci/tools/go.mod .ci/tools/go.sum
	go build -C .ci/tools -o ../../$@ github.com/goreleaser/nfpm/v2/cmd/nfpm
