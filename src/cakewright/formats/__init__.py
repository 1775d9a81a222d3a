"""Bytes to model and back: readers hand back a thing and findings, writers a file others can open."""
