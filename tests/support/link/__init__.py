"""Boards at the other end of a line."""
