# The commands of Lotward. Those that make runs are listed in README.md as well.

PYTHON ?= python3
BIN := .venv/bin
RUN := $(BIN)/python manage.py

.PHONY: setup demo test check bench coverage locks

setup: .venv/.runtime

.venv/bin/python:
	@$(PYTHON) -c 'import sys; sys.exit(None if sys.version_info >= (3, 11) else "Lotward needs Python 3.11 or later.")'
	@$(PYTHON) -m venv .venv || { rm -rf .venv; exit 1; }

.venv/.runtime: requirements.txt | .venv/bin/python
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements.txt
	touch $@

.venv/.dev: requirements-dev.txt | .venv/bin/python
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements-dev.txt
	touch $@ .venv/.runtime

demo: setup
	$(RUN) demo $(if $(PORT),--port $(PORT))

test: .venv/.dev
	.ci/chromium
	.ci/ippeve
	$(BIN)/python -m pytest --cov --cov-report= -n 2 --dist worksteal --durations=12 --durations-min=5
	$(MAKE) --no-print-directory coverage

coverage:
	$(BIN)/python -m coverage report --fail-under=95
	$(BIN)/python -m coverage report --fail-under=100 --include='kitting/domain/*,kitting/services/*,dispatch/domain/*,dispatch/services/*'

check:
	.ci/run

bench: .venv/.dev
	$(BIN)/python -m benchmarks

# Maintainers only, after a change of the dependencies in pyproject.toml; needs uv.
locks:
	uv pip compile pyproject.toml --generate-hashes --universal --no-annotate --no-header --output-file requirements.txt
	uv pip compile pyproject.toml --group test --group typing --group lint --generate-hashes --universal --no-annotate --no-header --output-file requirements-dev.txt
