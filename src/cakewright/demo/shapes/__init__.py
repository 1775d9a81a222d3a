"""Demo parts by family: plain functions that return a body."""
