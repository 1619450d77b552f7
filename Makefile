# The two things a newcomer runs are `make demo` and `make test`; both set up what they
# need in .venv from a bare Python. uv is used where it is present.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin

.PHONY: demo test check lint bench wheel-check clean

demo: $(VENV)/run-ready
	$(BIN)/hingeline demo

test: $(VENV)/test-ready
	$(BIN)/python -m pytest

lint: $(VENV)/lint-ready
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

check: lint test

bench: $(VENV)/test-ready
	$(BIN)/python -m tests.benchmarks.bench_linkage
	$(BIN)/python -m tests.benchmarks.bench_plan
	$(BIN)/python -m tests.benchmarks.bench_tolerance
	$(BIN)/python -m tests.benchmarks.bench_startup
	$(BIN)/python -m tests.benchmarks.bench_board
	$(BIN)/python -m tests.benchmarks.bench_fit
	$(BIN)/python -m tests.benchmarks.bench_entry
	$(BIN)/python -m tests.benchmarks.bench_records
	$(BIN)/python -m tests.benchmarks.bench_check

# The built wheel, installed where nothing of ours is, must play the whole job.
wheel-check: $(VENV)/run-ready
	rm -rf build/wheel
	$(BIN)/python -m pip wheel --quiet --no-deps --wheel-dir build/wheel .
	$(PYTHON) -m venv build/wheel/venv
	build/wheel/venv/bin/python -m pip install --quiet build/wheel/*.whl
	cd build/wheel && venv/bin/hingeline demo --records demo.sqlite > demo.txt
	cd build/wheel && venv/bin/hingeline board install --sources --into board > board.txt
	diff firmware/main.py build/wheel/board/main.py
	diff -r -x __pycache__ firmware/benchboard build/wheel/board/benchboard
	diff -r -x __pycache__ -x describe.py -x host_session.py -x texts.py -x PROTOCOL.md \
	  shared_protocol build/wheel/board/shared_protocol
	@tail -n 3 build/wheel/demo.txt

clean:
	rm -rf $(VENV) build dist .pytest_cache .mypy_cache .ruff_cache .hypothesis

$(VENV)/made:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 10))' || \
	  { echo "Python 3.10 or newer is needed; name one with: make PYTHON=python3.12 ..."; exit 1; }
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --upgrade "pip>=25.1"
	touch $@

$(VENV)/run-ready: $(VENV)/made pyproject.toml
	@echo "Setting up (once; this fetches what Hingeline builds on) ..."
	@if command -v uv >/dev/null 2>&1; then \
	  uv pip install --quiet --python $(BIN)/python --editable . ; \
	else \
	  $(BIN)/python -m pip install --quiet --editable . ; \
	fi
	touch $@

$(VENV)/test-ready: $(VENV)/run-ready
	@echo "Setting up for tests (once) ..."
	@if command -v uv >/dev/null 2>&1; then \
	  uv pip install --quiet --python $(BIN)/python --group test ; \
	else \
	  $(BIN)/python -m pip install --quiet --group test ; \
	fi
	touch $@

# The linters are kept apart: the tests run on every Python, the linters on the newer ones.
$(VENV)/lint-ready: $(VENV)/test-ready
	@if command -v uv >/dev/null 2>&1; then \
	  uv pip install --quiet --python $(BIN)/python --group lint ; \
	else \
	  $(BIN)/python -m pip install --quiet --group lint ; \
	fi
	touch $@
