# The same lines stand in README.md for those without make.
PYTHON ?= python3
BIN := .venv/bin

.PHONY: help demo test check notebooks bench bench-fits bench-intake bench-whole-way calibrate spark
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

bench: .venv/.ready     ## speed, as ratios within one run
	$(BIN)/python -m tests.bench

bench-fits: .venv/.ready  ## fits and simulator beside what one would otherwise pick, at 10 thousand and a million visits
	$(BIN)/python -m tests.bench_fits

bench-intake: .venv/.ready  ## speed and memory of intake at 100 thousand and a million visits
	$(BIN)/python -m tests.bench_intake

bench-whole-way: .venv/.ready  ## time and memory of intake and report at 11 thousand, 100 thousand and a million visits
	$(BIN)/python -m tests.bench_whole_way

calibrate: .venv/.ready ## whether ranges hold as often as they say; OPTIONS="--clinics 100 --jobs 2", see --help
	OPENBLAS_NUM_THREADS=1 $(BIN)/python -m tests.calibrate $(OPTIONS)

spark: .venv/.ready     ## what the Spark engine needs besides Java
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements-spark.txt
