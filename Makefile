# The same lines stand in README.md for those without make.
PYTHON ?= python3
BIN := .venv/bin

.PHONY: help demo test check notebooks bench calibrate spark
help:            ## show these lines
	@grep -E '^[a-z-]+:.*##' Makefile | sed 's/:.*##/ -/'

.venv/.ready: requirements.txt pyproject.toml
	@echo "Setting up .venv: about 150 packages are fetched, which takes a few minutes."
	$(PYTHON) -m venv .venv
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e .
	@touch .venv/.ready

demo: .venv/.ready      ## the main job on the invented clinic; says where the report is
	$(BIN)/earclinic demo demo_clinic

test: demo              ## every test, the notebooks included
	$(BIN)/python -m pytest -n 2 --dist loadfile --nbval --nbval-sanitize-with tests/notebooks/sanitise.cfg

check: .venv/.ready     ## style, types and import directions
	$(BIN)/ruff check . && $(BIN)/ruff format --check . && $(BIN)/mypy && $(BIN)/lint-imports

notebooks: demo         ## run the notebooks again in place
	$(BIN)/python -m analysis.report.notebooks notebooks

bench: .venv/.ready     ## speed and memory of each part and of the whole way, as ratios within one run
	$(BIN)/python -m tests.bench $(OPTIONS)

calibrate: .venv/.ready ## whether ranges hold as often as they say; OPTIONS="--clinics 100 --jobs 2", see --help
	OPENBLAS_NUM_THREADS=1 $(BIN)/python -m tests.calibrate $(OPTIONS)

spark: .venv/.ready     ## what the Spark engine needs besides Java
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements-spark.txt
