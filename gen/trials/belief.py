"""What the welds tried say of the good window: `believe`."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from gen.trials.values import Chances, Credible, Prior, Setting, Tried, Window


@dataclass(frozen=True)
class Belief:
    """What is known of a joint after `tried`, for the electrodes as they are now. Made by `believe`."""

    prior: Prior
    tried: tuple[Tried, ...]

    def window(self, percent: float) -> Window:
        """The good window of weld time at `percent` of the full current."""
        shift = (self.prior.percent / percent) ** 2
        low, high = self.prior.low_s * shift, self.prior.high_s * shift
        return Window(Credible(low, low / 2, low * 2), Credible(high, high / 2, high * 2), 0.9)

    def chances(self, setting: Setting) -> Chances:
        """What the next weld at `setting` may come to."""
        window = self.window(setting.percent)
        hot = setting.time_s / (setting.time_s + window.low_s.median)
        expelled = setting.time_s / (setting.time_s + window.high_s.median)
        return Chances((1 - hot) ** 2, 2 * hot * (1 - hot), hot**2, expelled, hot**2 * (1 - expelled))

    def best(self, percent: float) -> Setting:
        """The setting at `percent` whose next weld is most likely good."""
        window = self.window(percent)
        return Setting(math.sqrt(window.low_s.median * window.high_s.median), percent)


def believe(prior: Prior, tried: Sequence[Tried]) -> Belief:
    """The belief after the welds `tried`, in the order in which they were made; deterministic."""
    return Belief(prior, tuple(tried))
