"""The words and figures that the host shares with the board, as they lie on it: firmware_templates/app/words.py."""

from firmware_templates.app.words import *  # noqa: F403
