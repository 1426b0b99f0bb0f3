"""The saturating transformer and the currents of one weld through it."""
