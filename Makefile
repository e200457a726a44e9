# Two ways in: `make demo` sets up and runs a whole class, `make test` sets up and passes the tests.
PYTHON ?= python3
VENV   := .venv
BIN    := $(VENV)/bin
STUBS  := .stubs

.PHONY: setup demo test lint types firmware-types made pages pictures schema hardware image wheel-check clean

setup: $(VENV)/ready

$(VENV)/ready: pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --upgrade pip
	$(BIN)/python -m pip install --quiet --editable '.[dev]'
	touch $@

demo: setup
	$(BIN)/handbell demo
	@echo 'To go on, type:  . $(BIN)/activate'
	@echo 'Then, for one:   handbell check docs/examples/three-block.toml'

test: setup
	$(MAKE) --jobs 2 lint
	$(BIN)/python -m pytest -n 2 --dist worksteal

# The firmware is checked against the MicroPython stubs, kept apart from the host's packages.
$(STUBS)/ready: $(VENV)/ready
	$(BIN)/python -m pip install --quiet --target $(STUBS) --no-deps --upgrade \
	    micropython-rp2-stubs==1.28.* micropython-stdlib-stubs
	touch $@

lint: types firmware-types made pages

types: setup
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy

firmware-types: $(STUBS)/ready
	$(BIN)/python tests/check_firmware_types.py $(STUBS)

made: setup
	$(BIN)/python -m handbell.plan.schema --check
	$(BIN)/python -m handbell.cli.contract --check
	$(BIN)/python -m handbell.store.bundles.form --check
	$(BIN)/python -m hardware.build --check

# The manual as pages, in build/pages; a page that nothing leads to or a dead link fails.
pages: setup
	$(BIN)/mkdocs build --quiet --strict --config-file docs/site/mkdocs.yml

pictures: setup
	HANDBELL_UPDATE_PICTURES=1 $(BIN)/python -m pytest tests/device/test_screens.py -q
	$(BIN)/python tests/browser/report_pictures.py

schema: setup
	$(BIN)/python -m handbell.plan.schema --write
	$(BIN)/python -m handbell.cli.contract --write
	$(BIN)/python -m handbell.store.bundles.form --write

# Everything that is made from hardware/box.toml: tables, schematic, wiring, the case's pictures.
hardware: setup
	$(BIN)/python -m hardware.build
	$(BIN)/python -m hardware.case pictures

# The image for a box's board: make image MICROPYTHON=folder/of/its/source (docs/makers/image.md).
image: setup
	$(BIN)/python -m image.build "$(MICROPYTHON)"

# The wheel in empty environments (docs/engineers/wheel.md): make wheel-check PYTHONS="python3.10 python3.13"
PYTHONS ?= $(PYTHON)
wheel-check: setup
	$(BIN)/python tests/wheel/run.py $(PYTHONS)

clean:
	rm -rf $(VENV) $(STUBS) .mypy_cache .ruff_cache .pytest_cache demo-out build/image
