"""Dialling in on scrap: the trials of a joint, the estimate of its good window, and the next weld to try."""

from gen.trials.adding import Added, add_trial, new_trials, remove_trial
from gen.trials.better import BetterWeld, better_weld
from gen.trials.dialling import DRESS_EVERY, Proposal, check_output, doubts, propose, settle, verdicts_on
from gen.trials.joints import Compared, Known, compare, known_of, no_trials, recorded
from gen.trials.running import Bounds, NextWeld, Operator, TrialRun, WeldsSeen, completed
from gen.trials.sheet import from_csv, to_csv
from gen.trials.values import Setting
from gen.trials.verdicts import Forbidden, Verdicts, nearest
from gen.trials.wording import (
    chances_text,
    computed_text,
    good_sentences,
    good_text,
    not_known,
    scatter_text,
    setting_text,
    window_sentences,
    window_text,
)

__all__ = [
    "DRESS_EVERY",
    "Added",
    "BetterWeld",
    "Bounds",
    "Compared",
    "Forbidden",
    "Known",
    "NextWeld",
    "Operator",
    "Proposal",
    "Setting",
    "TrialRun",
    "Verdicts",
    "WeldsSeen",
    "add_trial",
    "better_weld",
    "chances_text",
    "check_output",
    "compare",
    "completed",
    "computed_text",
    "doubts",
    "from_csv",
    "good_sentences",
    "good_text",
    "known_of",
    "nearest",
    "new_trials",
    "no_trials",
    "not_known",
    "propose",
    "recorded",
    "remove_trial",
    "scatter_text",
    "setting_text",
    "settle",
    "to_csv",
    "verdicts_on",
    "window_sentences",
    "window_text",
]
