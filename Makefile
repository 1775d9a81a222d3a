# Every target is one task of scripts/do.py, which needs nothing but Python 3.11 or newer:
# on a machine without make, run `python3 scripts/do.py TASK`.
PYTHON ?= python3
.PHONY: help setup demo test lint docs serve lock audit clean
help:
	@$(PYTHON) scripts/do.py --help
setup demo test lint docs serve lock audit clean:
	@$(PYTHON) scripts/do.py $@
