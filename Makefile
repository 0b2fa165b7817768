# One command each: `make demo` sets up and runs the main job, `make test` sets up and tests.
PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
# Our matrices are small: threads only wait for one another.
export OPENBLAS_NUM_THREADS ?= 1

.PHONY: help install demo sample test test-slow fuzz faults audit recovery fmt lint types layers check bench calibration lock wheel docs clean

help:
	@echo "make demo   set up, simulate a season and write its reports to demo/"
	@echo "make sample the report of the simulated season, committed in reports/sample"
	@echo "make test   set up and run the tests"
	@echo "make check  lint, types, layers, tests, 100 simulated seasons against their truth"
	@echo "make fuzz   100,000 spoiled files and 1,000 calls: an answer or words, nothing else"
	@echo "make faults imports killed, disks full, many writers, damaged books"
	@echo "make audit  known weaknesses of the libraries in the lock (asks a service on the net)"
	@echo "make bench  measure, side by side in one run"
	@echo "make calibration  how often intervals of 90 % hold the truth (some minutes)"

$(VENV)/.use: requirements/use.txt pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements/use.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e .
	@touch $@

$(VENV)/.dev: $(VENV)/.use requirements/dev.txt requirements/axe.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements/dev.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes --no-deps -r requirements/axe.txt
	@touch $@

install: $(VENV)/.dev

demo: $(VENV)/.use
	@rm -rf demo
	$(BIN)/wearstats demo demo

sample: $(VENV)/.use
	@rm -rf build/sample
	@mkdir -p build
	$(BIN)/wearstats demo build/sample
	@rm -rf reports/sample
	@mv build/sample/report reports/sample

test: $(VENV)/.dev
	$(BIN)/python -m pytest -n 2 -q

test-slow: $(VENV)/.dev
	$(BIN)/python -m pytest -n 2 -q -m slow

fuzz: $(VENV)/.dev
	FUZZ_CASES=$${FUZZ_CASES:-100000} $(BIN)/python -m pytest -q -s -o faulthandler_timeout=0 tests/fuzz
	HYPOTHESIS_PROFILE=search $(BIN)/python -m pytest -q tests/properties/test_records.py

faults: $(VENV)/.dev
	$(BIN)/python benchmarks/faults.py

audit: $(VENV)/.dev
	$(PYTHON) -m venv $(VENV)/.audit
	$(VENV)/.audit/bin/python -m pip install --quiet --disable-pip-version-check "pip-audit>=2.9"
	$(VENV)/.audit/bin/pip-audit --require-hashes --disable-pip -r requirements/use.txt

recovery: $(VENV)/.dev
	$(BIN)/python -m pytest -q -m slow tests/recovery/test_seasons.py

fmt: $(VENV)/.dev
	$(BIN)/ruff format .
	$(BIN)/ruff check --fix .

lint: $(VENV)/.dev
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .

types: $(VENV)/.dev
	$(BIN)/mypy

layers: $(VENV)/.dev
	$(BIN)/lint-imports

check: lint types layers test recovery

bench: $(VENV)/.dev
	$(BIN)/python benchmarks/bench.py

calibration: $(VENV)/.dev
	$(BIN)/python benchmarks/calibration.py

lock:
	uv pip compile --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header \
		pyproject.toml requirements/build.in -o requirements/use.txt
	uv pip compile --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header \
		--extra dev --extra postgresql --extra cluster pyproject.toml requirements/build.in -c requirements/use.txt -o requirements/dev.txt

wheel: $(VENV)/.dev
	$(BIN)/python -m build --outdir dist

clean:
	rm -rf build dist demo .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache

docs: $(VENV)/.dev
	$(BIN)/python -c "from wearstats.records.dictionary import data_dictionary as d; \
		open('docs/data-dictionary.md', 'w', encoding='utf-8').write(d())"
