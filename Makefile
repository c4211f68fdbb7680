# make serve   make the environment if needed, start the server, open a browser where there is one
# make test    the same environment with the test tools, then every test, a process for each processor
# make bench   speed, as ratios taken in one run
# make wheel   a wheel in dist/
# make bundle  dist/bundle/: everything for a memory stick, to be started on computers of this kind without internet
# make faces   remake piezolab/faces/*.woff2 from the published faces (needs npm); the characters stand in the script
# make lock    remake requirements.lock from pyproject.toml, keeping the pins that still fit (make lock UPGRADE=1: newest)
#
# Another Python: make serve PYTHON=python3.12      Options for the server: make serve ARGS="--port 9000"

PYTHON ?= $(firstword $(foreach p,python3 python3.13 python3.12 python3.11 python,$(shell \
    $(p) -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null && echo $(p))))
VENV ?= .venv
ARGS ?=
BIN = $(VENV)/bin
PIP = $(BIN)/python -m pip install --quiet --disable-pip-version-check --constraint requirements.lock
INPUTS = pyproject.toml requirements.lock

.PHONY: serve test bench wheel bundle lock faces
.DEFAULT_GOAL = serve

serve: $(VENV)/.ready
	$(BIN)/piezolab serve $(ARGS)

test: $(VENV)/.ready-test
	$(BIN)/python -m ruff check .
	$(BIN)/python -m pytest --numprocesses auto --dist loadfile $(ARGS)

bench: $(VENV)/.ready-test
	$(BIN)/python -m pytest tests/benchmarks $(ARGS)

wheel: $(VENV)/.ready-test
	$(BIN)/python -m pip wheel --quiet --no-deps --no-build-isolation --wheel-dir dist .

bundle: $(BIN)/python
	rm -rf dist/bundle && mkdir -p dist/bundle/wheels
	$(BIN)/python -m pip wheel --quiet --disable-pip-version-check --constraint requirements.lock --wheel-dir dist/bundle/wheels .
	cp piezolab/serving/bundle/start.sh piezolab/serving/bundle/start.bat piezolab/serving/bundle/read-me.txt dist/bundle
	$(BIN)/python -c 'import platform, sys; print("Python", platform.python_version(), platform.system(), platform.machine())' \
	    > dist/bundle/made-on.txt
	@echo "Copy the folder dist/bundle to the memory stick."

lock: $(BIN)/python
	$(PIP) uv
	$(BIN)/python -m uv pip compile pyproject.toml --extra test --extra lock --universal --python-version 3.11 \
	    --no-annotate --custom-compile-command "make lock" $(if $(UPGRADE),--upgrade) --quiet --output-file requirements.lock

faces: $(BIN)/python
	$(BIN)/python -m pip install --quiet --disable-pip-version-check 'fonttools[woff]>=4.60'
	rm -rf dist/faces && mkdir -p dist/faces
	cd dist/faces && npm pack --silent source-sans@3.52.0 @fontsource/stix-two-math@5.3.0 >/dev/null
	cd dist/faces && for kind in source-sans fontsource-stix; do mkdir $$kind && tar -xzf $$kind*.tgz -C $$kind; done
	$(BIN)/python .ci/make_faces.py dist/faces/source-sans/package/VF/SourceSans3VF-Upright.ttf \
	    dist/faces/fontsource-stix/package/files/stix-two-math-latin-400-normal.woff2

# The stamps make a second run start at once; a changed pin or dependency installs again.
$(VENV)/.ready: $(INPUTS) | $(BIN)/python
	@echo "Installing piezolab into $(VENV); the first time takes a few minutes."
	$(PIP) --editable .
	@touch $@

$(VENV)/.ready-test: $(INPUTS) | $(BIN)/python
	@echo "Installing piezolab and its test tools into $(VENV); the first time takes a few minutes."
	$(PIP) --editable '.[test]'
	@touch $@ $(VENV)/.ready

$(BIN)/python:
	@test -n "$(PYTHON)" || { echo "piezolab needs Python 3.11 or newer; none was found. Install one, or say make PYTHON=..." >&2; exit 1; }
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
	    { echo "piezolab needs Python 3.11 or newer; $(PYTHON) is older." >&2; exit 1; }
	@$(PYTHON) -c 'import ensurepip, venv' || \
	    { echo "$(PYTHON) cannot make environments; on Debian and Ubuntu install the package python3-venv." >&2; exit 1; }
	$(PYTHON) -m venv $(VENV)
