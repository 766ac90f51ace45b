# Everything runs inside .venv, which the first target that needs it builds once.

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
INSTALLED := $(VENV)/.installed

.DEFAULT_GOAL := help
.PHONY: help setup demo test panel pictures firmware chip bench docs lock audit clean

help: ## list these targets
	@awk -F ':.*## ' '/^[a-z]+:.*## / { printf "  make %-8s %s\n", $$1, $$2 }' $(MAKEFILE_LIST)

setup: $(INSTALLED) ## build .venv with the pinned packages (the other targets do this too)

$(INSTALLED): requirements.lock
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { \
	    echo 'Python 3.11 or newer is needed; name one: make PYTHON=/path/to/python3 ...' >&2; exit 1; }
	@$(PYTHON) -c 'import ensurepip, venv' || { \
	    echo 'Python cannot build an environment; on Debian: apt-get install python3-venv' >&2; exit 1; }
	@echo 'Installing the pinned packages in $(VENV); the first time takes a minute ...' >&2
	@$(PYTHON) -m venv $(VENV)
	@$(BIN)/python -m pip install --quiet --quiet --disable-pip-version-check \
	    --progress-bar off --no-deps --require-hashes --requirement requirements.lock
	@$(BIN)/python -m pip check --disable-pip-version-check >&2
	@touch $@

demo: setup ## drive the shipped speed trace on the twin; writes out/demo/report.html
	$(BIN)/python -m host_sim drive --out out/demo

test: setup ## run every check: lint, types, house rules, tests on three interpreters
	$(BIN)/pytest --numprocesses auto --cov

panel: setup ## play with the twin in the browser
	$(BIN)/python -m host_sim panel

pictures: setup ## make the pictures of the panel in docs/pictures (needs chromium)
	$(BIN)/python -m host_sim pictures

firmware: setup ## build the firmware for a board; prints its flash and heap
	$(BIN)/python -m host_sim.build.firmware

chip: setup ## run firmware and contract on an emulated RP2040: make chip UF2=micropython.uf2
	CHIP_UF2=$(UF2) $(BIN)/pytest tests/chip -rs

bench: setup ## print what a tick costs
	$(BIN)/python -m host_sim.build.benchmark

docs: setup ## write the reference pages that are made from tables
	$(BIN)/python -m host_sim settings docs
	$(BIN)/python -m host_sim.build.pin_reference

lock: setup ## pin what pyproject.toml asks for, with its hashes, in requirements.lock
	$(BIN)/uv pip compile --quiet --universal --fork-strategy fewest --all-extras --no-header \
	    --generate-hashes --output-file requirements.lock pyproject.toml

audit: setup ## ask the advisory database about every pinned package (needs the network)
	$(BIN)/uv tool run pip-audit --strict --require-hashes --disable-pip --requirement requirements.lock

clean: ## remove .venv and everything generated
	rm -rf $(VENV) build out .coverage .hypothesis .mypy_cache .pytest_cache .ruff_cache
