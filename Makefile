# The commands of Lotward. Those that make runs are listed in README.md as well.

PYTHON ?= python3
BIN := .venv/bin
RUN := $(BIN)/python manage.py

# Tests start many processes: none reads the source anew.
unexport PYTHONDONTWRITEBYTECODE

.PHONY: setup tools demo test check check-long faults bench coverage locks

# Installs exactly what a lock names, from the index that the machine's pip is set to.
INDEX = $(BIN)/python -m pip config list | sed -n "s/^[^=]*\.index-url='\(.*\)'/\1/p" | head -n 1
INSTALL = UV_DEFAULT_INDEX="$${UV_DEFAULT_INDEX:-$$($(INDEX))}" $(BIN)/uv pip install \
	--quiet --system-certs --compile-bytecode --python $(BIN)/python --require-hashes -r

setup: .venv/.runtime

tools: .venv/.dev

.venv/bin/python:
	@$(PYTHON) -c 'import sys; sys.exit(None if sys.version_info >= (3, 11) else "Lotward needs Python 3.11 or later.")'
	@$(PYTHON) -m venv .venv || { rm -rf .venv; exit 1; }

.venv/.installer: requirements-installer.txt | .venv/bin/python
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r $<
	@touch $@

.venv/.runtime: requirements.txt .venv/.installer
	$(INSTALL) $<
	@touch $@

.venv/.dev: requirements-dev.txt .venv/.installer
	$(INSTALL) $<
	@touch $@ .venv/.runtime

demo: setup
	$(RUN) demo $(if $(PORT),--port $(PORT)) $(if $(TODAY),--today $(TODAY))

test: tools
	.ci/chromium
	.ci/programs
	$(BIN)/python -m pytest -n 2 --dist worksteal --durations=12 --durations-min=5

# The arithmetic, by the tests that aim at it; the whole takes as long again: check-long.
# Which lines are reached does not hang on how long a property is searched, nor on what
# does a thousand times what its neighbours do.
TESTS = tests/kitting/domain
AGAIN = $(TESTS)/test_guard_band.py $(TESTS)/test_intakefile.py::test_a_file_of_too_many_rows_is_told_so_once
coverage: tools
	LOTWARD_TEST_SEARCH=few $(BIN)/python -m pytest -q -n 2 --dist worksteal --cov=kitting/domain --cov=dispatch/domain --cov-report= $(addprefix --deselect ,$(AGAIN)) kitting/domain dispatch/domain $(TESTS) tests/dispatch/domain tests/dispatch/trace/test_trace.py
	$(BIN)/python -m coverage report --fail-under=95 --include='kitting/domain/*,dispatch/domain/*'

check:
	.ci/run

check-long: tools
	$(BIN)/python -m pytest -m long -n 2 --dist worksteal --durations=0
	.ci/postgres $(BIN)/python -m pytest -m long tests/commands/test_demo.py
	LOTWARD_TEST_SEARCH=more $(BIN)/python -m pytest -m "hypothesis and not long" -n 2 --dist worksteal
	LOTWARD_TEST_SEARCH=few $(BIN)/python -m pytest --cov --cov-report= -n 2 --dist worksteal -m "not browser and not long"
	$(BIN)/python -m coverage report --fail-under=95
	$(BIN)/python -m coverage report --fail-under=100 --include='*/domain/*,*/services/*,*/services.py,*/steps/*,*/steps.py'

# What may go wrong around an act, in every kind of act and on both databases.
faults: tools
	$(BIN)/python -m pytest -m "" --durations=0 tests/faults
	LOTWARD_TEST_FAULTS=1 .ci/postgres $(BIN)/python -m pytest -m "" --durations=0 tests/faults

bench: tools
	$(BIN)/python -m benchmarks

# Maintainers only, after a change of the dependencies in pyproject.toml.
LOCK = $(BIN)/uv pip compile --quiet --system-certs --universal --generate-hashes --no-strip-extras --no-annotate --no-header

locks: .venv/.installer
	$(LOCK) --group installer -o requirements-installer.txt
	$(LOCK) pyproject.toml -o requirements.txt
	$(LOCK) pyproject.toml --group test --group typing --group lint -o requirements-dev.txt
