"""A model of the pyboard: timer 2 and its registers."""
