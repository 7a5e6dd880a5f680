# What a person runs: `make demo` and `make test`. Both set up all they need on Debian 12 or Raspberry Pi OS.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
SUDO := $(shell [ "$$(id -u)" = 0 ] || echo sudo)

PDF_PACKAGES := libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0 fonts-dejavu-core
DEMO_PACKAGES := python3-venv mosquitto $(PDF_PACKAGES)
TEST_PACKAGES := $(DEMO_PACKAGES) chromium ngspice nginx-light openssl victoria-metrics influxdb
INSTALLED = dpkg-query -W -f '$${db:Status-Status}\n'

.PHONY: help demo test check clean
help:
	@echo 'make demo   four weeks of two furnaces, then live, on http://127.0.0.1:8470'
	@echo 'make test   every test, with every real service it needs'
	@echo 'make check  formatting, lints and types only'

demo: .stamps/demo
	$(BIN)/sootline demo

test: .stamps/dev .stamps/micropython-32/micropython check
	$(BIN)/python -m pytest -n 2 --dist loadfile --no-loadscope-reorder

check: .stamps/dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

# Debian packages, once; what is there already is left alone.
.stamps/debian-%: Makefile
	@mkdir -p .stamps
	@missing=; for package in $(PACKAGES); do \
	  $(INSTALLED) $$package 2>/dev/null | grep -qx installed || missing="$$missing $$package"; done; \
	if [ -n "$$missing" ]; then \
	  command -v apt-get >/dev/null || { echo "Install these packages first:$$missing"; exit 1; }; \
	  echo "Installing:$$missing"; $(SUDO) apt-get update -qq && \
	  $(SUDO) env DEBIAN_FRONTEND=noninteractive apt-get install -y --no-install-recommends $$missing; fi
	@touch $@
.stamps/debian-demo: PACKAGES = $(DEMO_PACKAGES)
.stamps/debian-test: PACKAGES = $(TEST_PACKAGES)

$(BIN)/python:
	$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "sootline needs Python 3.11 or newer")'
	$(PYTHON) -m venv $(VENV)

.stamps/demo: .stamps/debian-demo pyproject.toml requirements.lock | $(BIN)/python
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -c requirements.lock -e '.[demo]'
	@touch $@

.stamps/dev: .stamps/debian-test pyproject.toml requirements.lock | $(BIN)/python
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -c requirements.lock -e '.[dev]'
	@touch $@

# A MicroPython whose objects have the size of a board's. Where it cannot be had the tests that need it say so.
.stamps/micropython-32/micropython: tests/firmware/micropython_32.sh
	@sh $< .stamps/micropython-32 || echo 'Going on without the 32-bit MicroPython; its tests will be skipped.'

clean:
	rm -rf $(VENV) .stamps build dist demo-data .mypy_cache .ruff_cache .pytest_cache
