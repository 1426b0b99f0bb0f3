"""Runs that reports are made of, and reports read back."""
