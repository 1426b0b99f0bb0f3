"""Machines to be wired, and a reader of the sheet."""
