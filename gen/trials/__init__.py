"""Dialling a joint in on scrap: what the welds tried say of the good window, and which to try next."""
