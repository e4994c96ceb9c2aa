"""Damaged and varied inputs for every door of the program, and what may come of them; `tests/fuzz.py` runs them."""
