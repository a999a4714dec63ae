# Everything a person types is here: `make` alone lists it.
# Needs git, make and Python 3.11 or newer with its venv module; nothing else has to be installed.

# Called as `make -f /elsewhere/handsel/Makefile`: go there first, then do the same.
HERE := $(dir $(lastword $(MAKEFILE_LIST)))
ifneq ($(HERE),./)
.DEFAULT_GOAL := help
.PHONY: FORCE
FORCE:
%: FORCE ; @$(MAKE) --no-print-directory -C "$(HERE)" $@
help: FORCE ; @$(MAKE) --no-print-directory -C "$(HERE)" help
$(lastword $(MAKEFILE_LIST)): ;
else

SHELL := /bin/bash
.SHELLFLAGS := -eu -o pipefail -c
.DELETE_ON_ERROR:
MAKEFLAGS += --no-builtin-rules

# The first Python on the path that really starts and is new enough; set PYTHON=... to choose another.
PYTHON ?= $(shell for p in python3.11 python3.12 python3.13 python3.14 python3 python; do \
  $$p -c 'import sys, venv; sys.exit(sys.version_info < (3, 11))' 2>/dev/null && echo $$p && break; done)

VENV := .venv
PY   := $(VENV)/bin/python
PIP  := $(PY) -m pip --disable-pip-version-check
# Stamps say which checkout folder the environment was made for: a moved checkout installs again.
WHERE := $(shell pwd | cksum | cut -d' ' -f1)
RUN  := $(VENV)/.run-$(WHERE)
DEV  := $(VENV)/.dev-$(WHERE)
AXE  := $(VENV)/axe/axe.min.js

DEMO    ?= demo-day
PORT    ?= 8000
EXAMPLE ?= examples/01-good-hand.toml
OUT     ?= out
WORKERS ?= 2
# Two test processes on two cores: more threads inside each would only wait for one another, and so would a third process.
ONE_THREAD := OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 MKL_NUM_THREADS=1 OPENCV_FOR_THREADS_NUM=1

.PHONY: help run browser real-photos test quick lint types bundle study bench pins clean

help:  ## this list
	@awk -F ':.*## ' '/^[a-z]+:.*## /{printf "  make %-8s %s\n", $$1, $$2}' Makefile

run: $(RUN)  ## make the environment and start the bench with an invented build day; PORT=8000
	$(VENV)/bin/handsel serve --demo --data "$(DEMO)" --port $(PORT)

assess: $(RUN)  ## assess the bundled example, without the bench, and say where the results lie
	$(VENV)/bin/handsel assess "$(EXAMPLE)" --out "$(OUT)"
	@echo; echo "The drawing and the page for the bench lie in $$(cd "$(OUT)" && pwd):"; ls "$(OUT)"

test: $(DEV) $(AXE) | browser real-photos  ## everything that must hold: style, types, all tests
	$(PY) -m ruff check .
	$(call beside_types,$(PYTEST))

quick: $(DEV) $(AXE) | browser real-photos  ## the same without the slow tests, while working
	$(PY) -m ruff check .
	$(call beside_types,$(PYTEST) -m "not slow")

PYTEST := $(ONE_THREAD) $(PY) -m pytest -n $(WORKERS) --dist loadfile
# Tests wait now and then, for a browser or a server; the types are looked at meanwhile. Both are told, and both count.
beside_types = @echo '$(PY) -m mypy & $(1)'; $(PY) -m mypy >$(VENV)/mypy.txt 2>&1 & types=$$!; \
  tests=0; $(1) || tests=$$?; wrong=0; wait $$types || wrong=$$?; cat $(VENV)/mypy.txt; exit $$((tests | wrong))

# ---- environment ------------------------------------------------------------------------------
# Every file that pip takes must have a hash from the list; our own package comes from this folder.

$(PY):
	@test -n "$(PYTHON)" || { echo "No Python 3.11 or newer with venv was found." \
	  "Install one (Debian, Ubuntu: apt install python3 python3-venv), or set PYTHON=/path/to/python."; exit 1; }
	$(PYTHON) -m venv $(VENV) || { echo "The environment could not be made. On Debian and Ubuntu:" \
	  "apt install python3-venv, then the same command again."; rm -rf $(VENV); exit 1; }

$(RUN): requirements.txt pyproject.toml | $(PY)
	$(PIP) install --quiet --require-hashes -r requirements.txt
	$(PIP) install --quiet --no-deps --no-build-isolation --editable .
	$(PIP) check
	@rm -f $(VENV)/.run-*; touch $@

# Not compiled beforehand: the tests use few of these thousands of modules, and Python compiles those itself, once.
$(DEV): requirements-dev.txt $(RUN)
	$(PIP) install --quiet --no-compile --require-hashes -r requirements-dev.txt
	$(PIP) check
	@rm -f $(VENV)/.dev-*; touch $@

# ---- what only the tests of the pages need ------------------------------------------------------
# A Chromium, found on the path or installed where apt and the right to use it are at hand; and the
# accessibility checks, fetched through npm by version and held against their fingerprint.
CHROMIUM = $(shell for b in chromium chromium-browser google-chrome; do command -v $$b && break; done)

browser:
	@test -n "$(CHROMIUM)" || { command -v apt-get >/dev/null && test "$$(id -u)" = 0 \
	  && apt-get update -q >/dev/null && apt-get install -y -q chromium >/dev/null; } \
	  || { echo "The tests of the pages need Chromium (Debian, Ubuntu: sudo apt install chromium)."; exit 1; }

# Real photos with a stored calibration. Without them a handful of tests are left out, and say so.
real-photos:
	@test -d /usr/share/doc/opencv-doc/examples || { command -v apt-get >/dev/null && test "$$(id -u)" = 0 \
	  && apt-get update -q >/dev/null && apt-get install -y -q --no-install-recommends opencv-doc >/dev/null; } \
	  || echo "Left out: the checks on real photos (Debian, Ubuntu: sudo apt install opencv-doc)."

AXE_VERSION := 4.14.1
AXE_SHA512 := 1477dafa598d8d065f273d6af302aa203c02e83131707b7fa648cd41bd3d6b734f8c22a0dab86ee6a6f64b8afbe804b214d36db85a2826965edfb3a0b9d546b5
$(AXE): | $(PY)
	@command -v npm >/dev/null || { echo "The accessibility checks come through npm; install Node.js (Debian," \
	  "Ubuntu: sudo apt install npm)."; exit 1; }
	@mkdir -p $(dir $@); cd $(dir $@) && rm -f *.tgz && npm pack --silent axe-core@$(AXE_VERSION) >/dev/null \
	  && echo "$(AXE_SHA512)  axe-core-$(AXE_VERSION).tgz" | $(CURDIR)/$(PY) -c "import hashlib, sys; \
	  want, name = sys.stdin.read().split(); \
	  sys.exit(hashlib.sha512(open(name, 'rb').read()).hexdigest() != want and name + ' is not the file it should be')" \
	  && tar -xzf axe-core-$(AXE_VERSION).tgz --strip-components=1 package/axe.min.js package/LICENSE

# ---- for a laptop that never sees the internet --------------------------------------------------
# make bundle                                     for this kind of computer and this Python
# make bundle FOR=windows FOR_PYTHON=3.12         for another; windows, macos-arm, macos-intel, linux, linux-arm
BUNDLE ?= dist/handsel-bundle
FOR ?=
FOR_PYTHON ?= 3.11
platforms_windows     := win_amd64
platforms_macos-arm   := macosx_14_0_arm64 macosx_11_0_arm64
platforms_macos-intel := macosx_14_0_x86_64 macosx_10_13_x86_64
platforms_linux       := manylinux_2_28_x86_64 manylinux_2_27_x86_64 manylinux2014_x86_64
platforms_linux-arm   := manylinux_2_28_aarch64 manylinux_2_27_aarch64 manylinux2014_aarch64
TARGET = $(if $(FOR),--implementation cp --python-version $(FOR_PYTHON) \
  $(foreach p,$(or $(platforms_$(FOR)),$(error FOR=$(FOR) is not known; use windows, macos-arm, \
  macos-intel, linux or linux-arm)),--platform $(p)))
VENV_PYTHON = $(if $(filter windows,$(FOR)),handsel-env\Scripts\python,handsel-env/bin/python)

bundle: $(RUN)  ## a folder of wheels for a laptop without internet
	rm -rf "$(BUNDLE)"; mkdir -p "$(BUNDLE)"
	$(PIP) download --quiet --no-deps --only-binary :all: --require-hashes $(TARGET) -r requirements.txt -d "$(BUNDLE)"
	$(PIP) wheel --quiet --no-deps --no-build-isolation --wheel-dir "$(BUNDLE)" .
	@echo "$$(ls "$(BUNDLE)" | wc -l) wheels, $$(du -sh "$(BUNDLE)" | cut -f1), in $(BUNDLE)."
	@echo "Copy the folder to the laptop. There, beside it, make an environment once:"
	@echo "  $(if $(filter windows,$(FOR)),py,python3) -m venv handsel-env"
	@echo "and install with this one command:"
	@echo '  $(VENV_PYTHON) -m pip install --no-index --find-links $(notdir $(BUNDLE)) "handsel[meshes,planning]"'

# ---- measuring and keeping up ---------------------------------------------------------------------
BENCHES := $(filter-out benchmarks/_%,$(wildcard benchmarks/*.py))

# Hands and photos that were made before are not made again, so a study that was stopped goes on. All of it takes many
# hours; renders need LLVM 16 or newer (DRJIT_LIBLLVM_PATH). Each line can be run by itself.
STUDY := $(ONE_THREAD) $(PY) studies/
study: $(DEV)  ## run every study in studies/; they write docs/studies
	$(STUDY)referee_study.py
	$(STUDY)closed_loop.py
	$(STUDY)kill_server.py
	$(STUDY)day_plan_study.py
	for seed in 2027 2028 2029; do $(STUDY)faulty_hands.py out/faulty-hands --seed $$seed --hands 1060 || exit 1; done
	$(STUDY)faulty_hands.py out/faulty-hands --seed 2030 --hands 660
	$(STUDY)faulty_hands.py out/faulty-hands --seed 2031 --hands 650
	$(STUDY)faulty_hands.py out/faulty-hands --seed 2032 --hands 500
	$(STUDY)faulty_hands.py out/faulty-dev --seed 11 --hands 80
	$(STUDY)faulty_hands.py out/faulty-dev --seed 13 --hands 820
	$(STUDY)diagnosis_ceiling.py out/faulty-hands/ceiling --development out/faulty-dev --slices 10 --rounds 48
	$(STUDY)diagnosis_study.py out/faulty-hands --searches 105 --search-rounds 3
	$(STUDY)hand_plan_evening.py
	$(STUDY)hand_plan_study.py --hands 200 --rounds 12 --keep out/plan-hands
	for kind in clean field; do $(STUDY)angle_renders.py --kind $$kind --count 210 || exit 1; done
	for kind in missing covered above; do $(STUDY)angle_renders.py --kind $$kind --count 20 || exit 1; done
	$(STUDY)angle_study.py
	$(STUDY)stretched_study.py
	$(STUDY)part_renders.py
	$(STUDY)part_renders.py --phone --out out/part-renders-phone
	$(STUDY)parts_study.py --keep out/part-renders
	$(STUDY)parts_study.py --keep out/part-renders-phone
	$(STUDY)parts_study.py
	$(STUDY)cuff_renders.py --kind clean --count 100
	$(STUDY)cuff_renders.py --kind hard --count 60
	$(STUDY)cuff_study.py
	$(STUDY)bend_renders.py
	$(STUDY)bend_study.py

bench: $(DEV)  ## run every benchmark in benchmarks/, on one core
	@for b in $(BENCHES); do echo "== $$b"; $(ONE_THREAD) $(PY) "$$b" || exit 1; done; echo "$(words $(BENCHES)) benchmarks run."

# One list for every system and every Python from 3.11 on; see docs/decisions/0002-pinned-hashes.md.
LOCK := $(VENV)/pins/bin/uv pip compile --quiet --universal --python-version 3.11 --fork-strategy fewest \
  --generate-hashes --no-emit-index-url --no-emit-find-links --no-annotate --no-header
ALL := pyproject.toml requirements.in --extra meshes --extra planning

pins: | $(PY)  ## write requirements*.txt afresh from pyproject.toml (for maintainers; needs the network)
	$(PYTHON) -m venv $(VENV)/pins
	$(VENV)/pins/bin/python -m pip install --quiet uv==0.13.9
	$(LOCK) $(UPGRADE) $(ALL) -o requirements.txt
	$(LOCK) $(UPGRADE) $(ALL) requirements-dev.in --extra dev -c requirements.txt -o requirements-dev.txt

clean:  ## remove the environment and everything that was made here
	rm -rf $(VENV) build dist out demo-day .pytest_cache .mypy_cache .ruff_cache .hypothesis
endif
