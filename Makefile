# Every target is one line that calls go or a file under scripts/; `make` alone lists them.
SHELL     := /bin/bash
GO        ?= go
BIN       ?= bin/afterbeam
VERSION   ?= $(shell git describe --tags --always --dirty 2>/dev/null || echo unknown)
FUZZTIME  ?= 20s
BENCHTIME ?= 1s
BENCH     ?= full
CRASH     ?= full
PKG       ?= ./...

.DEFAULT_GOAL := help
.PHONY: help build test race lint fuzz bench crash validate generate notice sbom package ci

help: ## list the targets
	@sed -n 's/^\([a-z]*\): .*## \(.*\)$$/\1|\2/p' $(MAKEFILE_LIST) | while IFS='|' read -r name text; do printf '  %-8s %s\n' "$$name" "$$text"; done

build: ## build the static program bin/afterbeam (BIN=path for another place)
	CGO_ENABLED=0 $(GO) build -trimpath -ldflags '-s -w -X main.version=$(VERSION)' -o $(BIN) ./cmd/afterbeam

test: ## run all tests (PKG=./internal/... for a part, CI=true makes a missing outside program a failure)
	$(GO) test -timeout 25m $(PKG)

race: ## run the tests of the packages that start goroutines under the race detector
	scripts/race.sh

lint: ## go vet, golangci-lint and the format check
	scripts/lint.sh $(PKG)

fuzz: ## run every fuzz target for FUZZTIME (20s)
	scripts/fuzz.sh $(FUZZTIME)

bench: ## run every benchmark for BENCHTIME (1s) and set the goals beside; BENCH=slice at small sizes
	scripts/bench.sh $(BENCHTIME) $(BENCH) $(PKG)

crash: ## kill the service over 7,700 times, for hours, and look for what is lost (CRASH=slice for minutes)
	AFTERBEAM_CRASH=$(CRASH) $(GO) test -count=1 -timeout 24h -v ./internal/crashtest

validate: ## set the physics beside outside values at full counts and print the tables: half an hour
	scripts/validate.sh $(PKG)

generate: ## write generated Go anew, after api/openapi.yaml changed
	$(GO) generate ./...

notice: ## write NOTICE anew from the modules in use and their licence files
	$(GO) run ./scripts/notice

sbom: build ## write dist/afterbeam.cdx.json, what the program is made of (CycloneDX)
	scripts/package.sh sbom $(BIN) $(VERSION)

package: build ## write dist/: a Debian package, a tarball, SBOM, licence texts and SHA256SUMS
	scripts/package.sh all $(BIN) $(VERSION)

ci: ## everything a change must pass, as the build machine runs it
	.ci/run
