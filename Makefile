# The menu. `make audit` and `make test` need nothing but Python 3.11 and make.
PYTHON ?= python3.11
VENV := .venv
BIN := $(VENV)/bin
READY := $(VENV)/.ready
RECORDINGS := build/recordings
SEED := 1
SIZE := 400
NUMBERS := harness/estimators/*,harness/score.py,harness/ranking.py,harness/gating.py

.PHONY: help audit test test-all lint types bench coverage mutation calibration trust recordings clean
.DEFAULT_GOAL := help

help: ## show this menu
	@grep -hE '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 14

$(READY): pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable '.[dev]'
	@touch $@

audit: $(READY) ## the main job: the reference scheme against every adversary of the demo scenario
	$(BIN)/keyassay audit envelope-trend --jobs 2 --out build/audit

test: lint types $(READY) ## lint, types, layering rules and all fast tests
	$(BIN)/python -m pytest -q -n 2 --dist worksteal

test-all: $(READY) recordings ## also the slow calibration tests and the real recordings
	$(BIN)/python -m pytest -q -n 2 --dist worksteal -m ''

lint: $(READY) ## ruff and the layering rules
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/lint-imports --no-cache

types: $(READY) ## mypy, strict
	$(BIN)/mypy

bench: $(READY) ## speed as ratios in one run
	$(BIN)/python -m pytest -q tests/benchmarks --benchmark-disable-gc -m ''

coverage: $(READY) ## branches of the harness that the fast tests take, workers and children counted
	rm -rf build/coverage
	mkdir -p build/coverage
	$(BIN)/coverage run -m pytest -q -n 2 --dist worksteal
	$(BIN)/coverage combine --quiet
	$(BIN)/coverage report --include='$(NUMBERS)' --fail-under=100
	$(BIN)/coverage report --omit='$(NUMBERS)' --fail-under=95
	$(BIN)/coverage json --quiet --omit='$(NUMBERS)' -o build/coverage/rest.json
	$(BIN)/python tests/branches_taken.py build/coverage/rest.json 95

mutation: $(READY) ## change lines of the numbers' modules at random, see whether tests fail; writes tests/mutation/report.md
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable '.[dev,mutation]'
	OPENBLAS_NUM_THREADS=1 OMP_NUM_THREADS=1 PYTHONPATH=tests $(BIN)/python -m mutation --seed $(SEED) --size $(SIZE)

calibration: $(READY) ## measure every interval and test on known channels; writes tests/calibration/table.md
	cd tests && ../$(BIN)/python -m calibration 2

trust: $(READY) ## measure whole audits on controls, planted flaws and their twins
	$(BIN)/keyassay calibrate --jobs 2 --out build/calibration

recordings: $(READY) ## fetch the packages that carry real recordings and write them as corpora
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --upgrade --target $(RECORDINGS)/packages \
		openhdemg==0.1.2 biosignalsnotebooks==0.6.14 aeon==1.6.0 pydicom==3.0.2
	$(BIN)/python -m fixtures.recordings $(RECORDINGS)/packages $(RECORDINGS)/corpora

clean: ## remove what was built
	rm -rf build $(VENV) .mypy_cache .ruff_cache .pytest_cache .hypothesis .benchmarks
