# make demo   sets everything up and runs the whole job on an invented shop; the pictures land in demo-out/
# make test   sets everything up and runs every check
# make check  the fast part of the checks, without the tests
# make lock   writes requirements/*.txt anew (UPGRADE=1: with the newest versions)

PYTHON ?= python3
BIN := .venv/bin
# One thread per worker: the two workers share the cores, and sums come out the same everywhere.
ONE_THREAD := OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1

.PHONY: demo test check lint setup setup-run lock format bench clean pictures

demo: setup-run
	$(BIN)/straightband demo --out demo-out

test: lint
	@$(PYTHON) scripts/ensure_chromium.py
	$(ONE_THREAD) $(BIN)/python -m pytest -n 2 -q

check: lint

lint: setup
	$(BIN)/python scripts/check_lock.py
	$(BIN)/ruff format --check --quiet .
	$(BIN)/ruff check --quiet .
	$(BIN)/mypy
	$(BIN)/lint-imports --no-logo

setup:
	@$(PYTHON) scripts/setup.py dev

setup-run:
	@$(PYTHON) scripts/setup.py run

lock:
	$(PYTHON) scripts/lock.py
	@$(MAKE) --no-print-directory setup
	$(BIN)/python scripts/check_lock.py

format: setup
	$(BIN)/ruff check --quiet --fix .
	$(BIN)/ruff format --quiet .

bench: setup
	$(BIN)/python -m benchmarks.run

pictures: setup
	$(BIN)/python scripts/write_docs.py

clean:
	rm -rf .venv .tools demo-out .mypy_cache .pytest_cache .ruff_cache .hypothesis .import_linter_cache
