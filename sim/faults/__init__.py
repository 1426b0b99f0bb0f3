"""Faults of wiring, mains, board and person: what each does to a bench, and what must hold while it does."""
