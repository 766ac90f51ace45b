# Everything runs inside .venv, which the first target that needs it builds once.

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
# % of the lines and branches of the core that tests/shared must reach alone: the same tests run
# on a board, and coverage of the whole suite would double what its drives take.
CORE_FLOOR := 95
# One lock for every Python from the oldest on: without --python-version uv would leave out what
# only Pythons older than the one at work need.
OLDEST := $(shell sed -n 's/^requires-python = ">=\(.*\)"/\1/p' pyproject.toml)
LOCK := $(BIN)/uv pip compile --quiet --universal --python-version $(OLDEST) \
    --fork-strategy fewest --no-header --generate-hashes

.DEFAULT_GOAL := help
.PHONY: help setup run-setup demo test check panel pictures site web firmware release hardware rig chip bench fields figures trust mutants intervals twins fuzz fuzz-guided docs pages labs lock audit links newcomer clean

help: ## list these targets
	@awk -F ':.*## ' '/^[a-z-]+:.*## / { printf "  make %-9s %s\n", $$1, $$2 }' $(MAKEFILE_LIST)

setup: ## build .venv with every pinned package, 1.1 GB (the other targets do it too)
	@$(PYTHON) host_sim/build/set_up.py all

run-setup: ## the same without what only tests and builds need, 0.4 GB
	@$(PYTHON) host_sim/build/set_up.py run

demo: run-setup ## drive the shipped speed trace on the twin; writes out/demo/report.html
	$(BIN)/python -m host_sim drive --out out/demo

test: setup ## run every check: lint, types, house rules, tests on three interpreters
	@told=$$($(BIN)/pytest --quiet --numprocesses auto --cov --cov-fail-under=$(CORE_FLOOR) \
	    tests/shared 2>&1) || { echo "$$told" >&2; exit 1; }
	$(BIN)/pytest --numprocesses auto

check: setup ## the quick loop: lint, types, house rules, the firmware's tests on CPython, drives
	$(BIN)/pytest --quiet --numprocesses auto tests/repo tests/shared tests/host/twin/test_drive.py

panel: run-setup ## play with the twin in the browser
	$(BIN)/python -m host_sim panel

pictures: setup ## make the pictures of the panel in docs/pictures (needs chromium)
	$(BIN)/python -m host_sim pictures

site: run-setup ## write the twin in a page, static files for any web server, into out/site (needs npm)
	$(BIN)/python -m host_sim.site

web: setup ## write site and pages into one folder, out/web, with links to each other (needs npm)
	$(BIN)/python -m host_sim.build.web

firmware: setup ## build the firmware for a board; prints its flash and heap
	$(BIN)/python -m host_sim.build.firmware

release: setup ## wheel, firmware bundle and checksums in build/release, of what is committed
	$(BIN)/python -m host_sim.build.release

hardware: setup ## draw the circuit, check it, simulate it (needs KiCad 9 and ngspice)
	$(BIN)/python -m host_sim hardware draw
	$(BIN)/python -m host_sim hardware check
	$(BIN)/python -m host_sim hardware margins

rig: setup ## firmware and bench rig as two VMs joined by their pins: make rig MACHINE=bypass_pd
	$(BIN)/python -m tests.support.rig_pair $(MACHINE)

chip: setup ## run firmware and contract on an emulated RP2040: make chip UF2=micropython.uf2
	CHIP_UF2=$(UF2) $(BIN)/pytest tests/chip -rs

bench: setup ## print what a tick costs
	$(BIN)/python -m host_sim.build.benchmark

fields: setup ## drive in a calm, an ordinary and a rough field and print the figures
	$(BIN)/python -m host_sim fields

figures: setup ## run what takes minutes and write its figures into docs/reference anew
	$(BIN)/python -m host_sim.build.printed_pages

trust: setup ## try faults single and in pairs, clean hours, states, mutants, fuzz; out/trust.json
	@mkdir -p out
	$(BIN)/python -m host_sim.trials.trust --out out/trust.json

mutants: setup ## break what keeps outputs safe in small ways; a shared test must notice each
	$(BIN)/python -m host_sim.trials.trust.mutants

intervals: setup ## measure many plots with a hidden truth; the intervals of as-applied figures must hold it
	$(BIN)/python -m host_sim.field_trial.coverage

twins: setup ## fit 50 machines with hidden parameters; the intervals must hold the truth
	$(BIN)/python -m host_sim.fit.hidden

fuzz: setup ## feed every loader of files damaged ones: make fuzz EXAMPLES=20000 (for each)
	$(BIN)/python -m tests.support.loader_fuzz $(EXAMPLES)
	$(BIN)/python -m tests.support.sentence_fuzz
	$(BIN)/python -m tests.support.can_fuzz
	PLAN_MUTANTS=10000 $(BIN)/pytest -q tests/host/field_trial/test_plan_on_board.py -k "mutated or right_sums"

fuzz-guided: setup ## the same led by what the code does, with atheris: make fuzz-guided LOADER=job
	$(BIN)/uv pip sync --quiet --require-hashes --target build/atheris requirements-guided.lock
	PYTHONPATH=build/atheris $(BIN)/python -m tests.support.guided_fuzz $(LOADER)

docs: setup ## write the reference pages, the diagrams, and the stub of Settings, from tables and runs
	$(BIN)/python -m host_sim.build.settings_stub
	$(BIN)/python -m host_sim settings docs
	$(BIN)/python -m host_sim.build.pin_reference
	$(BIN)/python -m host_sim.build.diagrams

pages: setup ## write the documents as pages with contents and offline search into out/pages
	$(BIN)/python -m host_sim.build.pages

labs: setup ## run the sheets of the labs and write their figures into the instructor's notes
	$(BIN)/python -m host_sim.labs

lock: setup ## pin what pyproject.toml asks for, with its hashes, in requirements.lock
	$(LOCK) --all-extras --output-file requirements.lock pyproject.toml
	$(LOCK) --extra checkout --constraint requirements.lock --output-file requirements-run.lock \
	    pyproject.toml

audit: setup ## ask the advisory database about every pinned package (needs the network)
	$(BIN)/uv tool run pip-audit --strict --require-hashes --disable-pip --requirement requirements.lock

newcomer: setup ## how long from link to ribbon and from clone to report (needs npm, network)
	$(BIN)/python -m host_sim.build.newcomer

links: setup ## ask every address that the project names whether it answers (needs the network)
	$(BIN)/python -m host_sim.build.external_links

clean: ## remove .venv and everything generated
	rm -rf $(VENV) .setup.lock build out .coverage .coverage.* .hypothesis .mypy_cache .pytest_cache \
	    .ruff_cache
	find . \( -name __pycache__ -o -name '*.mpy' \) -prune -exec rm -rf {} +
