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
	cargo build --release
	exec target/release/borewright demo

.PHONY: test
test: ## Every test, against a throwaway PostgreSQL and a real browser.
	.ci/install serve test
	env -u DATABASE_URL -u SERVICE_DATABASE_URL cargo test

.PHONY: lint
lint: ## Formatting and lints.
	.ci/install serve
	cargo fmt --check
	env -u DATABASE_URL cargo clippy --all-targets -- -D warnings

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
	env -u DATABASE_URL cargo bench

.PHONY: pictures
pictures: ## Take the README's pictures anew, in a real browser.
	.ci/install serve test
	env -u DATABASE_URL cargo test --test it
	mkdir -p tests/pictures
	for picture in $$(grep -o 'tests/pictures/[a-z0-9-]*\.png' README.md | sort -u); do cp "target/pictures/$${picture##*/}" "$$picture"; done
