"""What exists: frozen dataclasses, checked at birth. No file, no clock, no computation beyond that."""
