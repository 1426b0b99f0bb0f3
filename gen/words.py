"""The words and figures that host and board share: those of firmware_templates/app/words.py."""

from firmware_templates.app.words import *  # noqa: F403
from firmware_templates.app.words import OFF, SQUEEZE, STATE_NAMES

ARMED_STATES = STATE_NAMES[SQUEEZE : OFF + 1]
"""The states from an accepted pedal to the end of off time."""
