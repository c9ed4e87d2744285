# Two commands:  make run  (the job on the first example)   make test  (tests)
PYTHON ?= python3
VENV   ?= .venv
BIN    := $(VENV)/bin
EXAMPLE ?= examples/saddle-12l

.PHONY: run test lint lock benchmarks picture clean

run: $(VENV)/.core
	$(BIN)/tankwright make $(EXAMPLE)

test: $(VENV)/.dev
	$(BIN)/python -m pytest -n auto --dist loadfile

lint: $(VENV)/.dev
	$(BIN)/ruff check .
	$(BIN)/mypy

$(BIN)/python:
	$(PYTHON) -m venv $(VENV)

$(VENV)/.core: $(BIN)/python pyproject.toml requirements.lock
	$(BIN)/python -m pip install --quiet -c requirements.lock -e .
	touch $@

$(VENV)/.dev: $(BIN)/python pyproject.toml requirements.lock
	$(BIN)/python -m pip install --quiet -c requirements.lock -e ".[dev]"
	touch $@ $(VENV)/.core

# Rewrites requirements.lock: no addresses, no hashes, markers for every supported Python.
lock: $(BIN)/python
	$(BIN)/python -m pip install --quiet uv
	$(BIN)/uv pip compile pyproject.toml --universal --extra dev --no-header --no-annotate --no-emit-index-url --python-version 3.11 --output-file requirements.lock --quiet

# Tables of benchmarks/README.md, with conditions; takes some minutes.
benchmarks: $(VENV)/.dev
	$(BIN)/python benchmarks/develop.py
	$(BIN)/python benchmarks/nest_shear.py
	$(BIN)/python benchmarks/nest_profile.py

picture: $(VENV)/.core
	$(BIN)/python notes/picture.py

clean:
	rm -rf $(VENV) .pytest_cache .mypy_cache .ruff_cache .hypothesis
