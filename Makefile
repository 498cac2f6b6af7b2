# Each target says what it does after '##'; `make` alone lists them.

# The tools need no C compiler (sqlc brings its SQL parser along as WebAssembly).
TOOL := CGO_ENABLED=0 go tool -modfile=.ci/tools.mod
PROTO_TOOL := cd proto && CGO_ENABLED=0 go tool -modfile=../.ci/tools.mod
RACED := ./internal/localpg/pgtest ./internal/store ./internal/rpc ./internal/web ./internal/loadplan/anytime
SQL_TOOL := cd internal/store && CGO_ENABLED=0 go tool -modfile=../../.ci/tools.mod

.PHONY: help
help: ## List the targets
	@grep -hE '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed -E 's/^([a-z-]+):[^#]*## */\1\t/' | expand -t 18

.PHONY: generate
generate: generate-proto generate-sql ## Write all generated code anew

.PHONY: generate-proto
generate-proto: ## Write the Go code of the contract anew (proto/stillroom)
	$(PROTO_TOOL) buf generate

.PHONY: generate-sql
generate-sql: ## Write the typed queries anew (internal/store/db)
	$(SQL_TOOL) sqlc generate

.PHONY: check
check: generate ## Fail when the generated code is not what the contract and the SQL give
	@stray="$$(git status --porcelain -- proto internal/store/db)"; \
	if [ -n "$$stray" ]; then \
		git --no-pager diff -- proto internal/store/db | head -200; echo "$$stray"; \
		echo "check: generated code is out of step with its source; commit what 'make generate' wrote" >&2; exit 1; \
	fi

.PHONY: thirdparty
thirdparty: ## Print the imported .proto files of others anew (proto/third_party)
	go run -modfile=.ci/tools.mod ./.ci/thirdparty

.PHONY: format
format: ## Format Go and .proto files in place
	gofmt -w cmd internal proto .ci
	$(PROTO_TOOL) buf format -w --path stillroom

.PHONY: lint-proto
lint-proto: ## Lint the contract and compare it with the one before (see .ci/breaking)
	$(PROTO_TOOL) buf lint
	.ci/breaking

.PHONY: lint
lint: lint-proto ## Lint everything: formatting, vet, the rules in .golangci.yml, the contract
	@unformatted="$$(gofmt -l $$(git ls-files '*.go'))"; [ -z "$$unformatted" ] || { echo "not formatted: $$unformatted" >&2; exit 1; }
	go vet ./...
	$(TOOL) golangci-lint run --allow-parallel-runners ./...

.PHONY: test
test: ## Run all tests
	go test ./...

.PHONY: race
race: ## Run the tests of the packages where goroutines meet, with the race detector
	go test -race -short $(RACED)

.PHONY: benchmarks
benchmarks: ## Run each benchmark once, so that none rots
	go test -run '^$$' -bench . -benchtime 1x -short ./...

.PHONY: vulns
vulns: ## Check for known vulnerabilities (see .ci/vulns)
	.ci/vulns

.PHONY: binary
binary: ## Build the static program, bin/stillroom
	CGO_ENABLED=0 go build -trimpath -ldflags '-s -w' -o bin/stillroom ./cmd/stillroom

.PHONY: compose
compose: binary ## Check docker-compose.yml against the program
	CGO_ENABLED=0 go run -modfile=.ci/tools.mod ./.ci/compose bin/stillroom

.PHONY: ci
ci: ## Do all that is done before a change lands
	.ci/run
