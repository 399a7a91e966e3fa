# The two commands a newcomer needs are `make demo` and `make test`. Both install what is missing.
SHELL := /bin/bash
.DEFAULT_GOAL := help
export SQLX_OFFLINE ?= true

.PHONY: help
help: ## Say what there is.
	@awk -F ':.*## ' '/^[a-z-]+:.*## / { printf "make %-12s %s\n", $$1, $$2 }' Makefile

.PHONY: demo
demo: ## Build, fill the invented demo shop and serve it; Ctrl-C stops.
	.ci/install serve
	cargo build --release --locked
	exec target/release/borewright demo

.PHONY: cluster
cluster: ## Build, start three database nodes, two web, two workers on this machine; Ctrl-C stops.
	.ci/install serve cluster
	$(if $(BOREWRIGHT),,cargo build --release --locked)
	exec python3 cluster/cluster.py

.PHONY: drill
drill: ## Beside a running `make cluster`: kill one process after another under load and count.
	python3 cluster/drill.py $(DRILL)

.PHONY: api-check
api-check: ## Beside a running `make demo`: hold the API against its own description with every check of schemathesis.
	python3 tests/api/check.py $(or $(ADDRESS),http://127.0.0.1:8080)

# The inputs of property tests are the same for everyone, so that what passes passes; `make properties` tries new ones.
PROPTEST_RNG_SEED ?= 20261129

.PHONY: test
test: export PROPTEST_RNG_SEED := $(PROPTEST_RNG_SEED)
test: ## Every test, against a throwaway PostgreSQL and a real browser.
	.ci/install serve test lint
	npm ci --silent
	env -u DATABASE_URL -u SERVICE_DATABASE_URL cargo test --locked

.PHONY: properties
properties: ## Try every property of the domain at new random inputs, ROUNDS times; a fault prints its seed.
	.ci/install serve test
	env -u DATABASE_URL cargo test --locked --lib --no-run
	set -e; for round in $$(seq $(or $(ROUNDS),10)); do \
	    export PROPTEST_RNG_SEED=$$(od -An -N4 -tu4 /dev/urandom | tr -d ' '); \
	    echo "round $$round, PROPTEST_RNG_SEED=$$PROPTEST_RNG_SEED"; \
	    env -u DATABASE_URL cargo test --locked --lib --quiet; \
	done

.PHONY: lint
lint: ## Formatting, lints, documentation, dependencies, style sheet and scripts.
	.ci/install serve lint
	cargo fmt --check
	env -u DATABASE_URL cargo clippy --locked --all-targets -- -D warnings
	env -u DATABASE_URL RUSTDOCFLAGS="-D warnings" cargo doc --locked --no-deps --document-private-items
	.ci/dependencies
	npm ci --silent
	npm run --silent lint

.PHONY: freeze
freeze: ## Add new migrations to the list of those that never change (migrations/checksums.sha256).
	cd migrations && for file in *.sql; do grep -q "  $$file$$" checksums.sha256 || sha256sum "$$file" >> checksums.sha256; done

.PHONY: sqlx
sqlx: ## Write the offline data of the SQL queries (.sqlx) anew.
	.ci/install serve
	.ci/sqlx write

.PHONY: sqlx-check
sqlx-check: ## Fail when the offline data of the SQL queries are stale.
	.ci/install serve
	.ci/sqlx check

.PHONY: bench
bench: ## The benchmarks whose figures the README shows.
	.ci/install serve
	env -u DATABASE_URL cargo bench --locked

.PHONY: pictures
pictures: ## Take the pictures of the README and the guide anew, in a real browser.
	.ci/install serve test
	env -u DATABASE_URL cargo test --locked --test it
	mkdir -p tests/pictures
	for picture in tests/pictures/*.png; do cp "target/pictures/$${picture##*/}" "$$picture"; done
