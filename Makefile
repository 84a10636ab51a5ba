# The commands of this project: `make demo`, `make test` and `make quick`. Each sets up what it needs first.

VENV   := .venv
PYTHON ?= python3
PY     := $(VENV)/bin/python
PORT   ?= 8000
STAMP  := $(VENV)/.installed

.PHONY: demo test quick bench format clean

demo: $(STAMP)
	@PORT=$(PORT) $(PY) manage.py demo

test: $(STAMP) .ci/browser.done
	@.ci/checks

quick: $(STAMP) .ci/browser.done
	@.ci/checks quick

bench: $(STAMP)
	@$(PY) -m tests.bench

format: $(STAMP)
	$(VENV)/bin/ruff check --fix . && $(VENV)/bin/ruff format .

# Set up again only when the pins change, so that a second run needs no network.
$(STAMP): requirements.txt
	@.ci/system-libraries run
	@PYTHON=$(PYTHON) .ci/virtualenv $(VENV)
	@touch $@

.ci/browser.done: .ci/system-libraries
	@.ci/system-libraries test
	@touch $@

clean:
	rm -rf $(VENV) .ci/*.done .data
