"""Published welding schedules, and the first schedule that they suggest for a joint."""

from gen.handbook.advice import suggest
from gen.handbook.on_machine import naming_taps, refusal, suggest_on, table_force_N, with_electrodes
from gen.handbook.suggestion import Suggestion
from gen.handbook.wording import by_source, guess

__all__ = [
    "Suggestion",
    "by_source",
    "guess",
    "naming_taps",
    "refusal",
    "suggest",
    "suggest_on",
    "table_force_N",
    "with_electrodes",
]
