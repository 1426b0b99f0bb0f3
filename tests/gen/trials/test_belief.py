"""The dial-in, property by property: what a weld may and may not do to the estimate and to the advice.

The welds are invented. What speaks for what (cold welds break at the joint, early expulsion is of force, dirt or no upslope)
is common practice, no source.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr, rel_entr

from gen.trials.advice import ALIKE, LIKELY, REPEATS, SURE, SURE_LEAST, next_trial, reminders, scatter_in_the_way
from gen.trials.belief import Belief, believe
from gen.trials.model import ASSUMED, STEP, Floats, edges, shapes
from gen.trials.values import OUTCOMES, Outcome, Prior, Setting, Tried

PRIOR = Prior(0.3, 0.5, 80, force_held="spring")
TIMES = [n * 0.02 for n in range(5, 60, 2)]
CANDIDATES = [Setting(time_s, 80) for time_s in TIMES]


def weld(time_s: float, outcome: Outcome = "tore parent", percent: float = 80, **more: object) -> Tried:
    return Tried(Setting(time_s, percent), outcome, **more)  # type: ignore[arg-type]


WELDS = [
    weld(0.2, "no bond"),
    weld(0.28, "broke at joint"),
    weld(0.38),
    weld(0.56, expulsion="late"),
    weld(0.34, "broke at joint"),
    weld(0.42),
    weld(0.46),
]


def width(belief: Belief, edge: str) -> float:
    """Of the central 95 % of an edge, as the logarithm of its ratio."""
    found = getattr(belief.window(80), edge)
    return math.log(found.high / found.low)


# -- the estimate ---------------------------------------------------------------------------------------------------


def test_before_any_weld_it_is_the_handbooks() -> None:
    """The window expected straddles the handbook's middle, and leaves room for a suggestion that is half or double."""
    window = believe(PRIOR, []).window(80)
    middle = math.sqrt(PRIOR.low_s * PRIOR.high_s)
    assert window.low_s.median < middle < window.high_s.median
    for factor in (0.5, 2):
        assert window.low_s.low < factor * window.low_s.median < window.low_s.high
    assert 0.85 < window.chance < 0.99


def test_welds_find_the_window() -> None:
    """The edges come to lie between the welds that show them, and better known than before."""
    before, after = believe(PRIOR, []), believe(PRIOR, WELDS)
    window = after.window(80)
    assert 0.34 < window.low_s.median < 0.42
    assert 0.46 < window.high_s.median < 0.58
    assert window.chance > 0.97
    for edge in ("low_s", "high_s"):
        assert width(after, edge) < 0.6 * width(before, edge)


def test_hotter_and_colder() -> None:
    """A cold weld moves the lower edge up, a torn one down, late expulsion moves the upper edge down, none moves it up."""
    start = believe(PRIOR, []).window(80)
    cold, torn = (believe(PRIOR, [weld(0.4, o)]).window(80) for o in ("broke at joint", "tore parent"))
    assert cold.low_s.median > start.low_s.median > torn.low_s.median
    late, none = (believe(PRIOR, [weld(0.5, expulsion=e)]).window(80) for e in ("late", "none"))
    assert late.high_s.median < start.high_s.median < none.high_s.median


def test_outcomes_are_ordered() -> None:
    """Longer is hotter: fewer without a bond, more torn, more expelled; the three outcomes are all there are."""
    found = [believe(PRIOR, WELDS).chances(s) for s in CANDIDATES]
    for one, longer in zip(found, found[1:]):
        assert longer.no_bond <= one.no_bond + 1e-9
        assert longer.tore >= one.tore - 1e-9
        assert longer.expelled >= one.expelled - 1e-9
    for one in found:
        assert one.no_bond + one.broke + one.tore == pytest.approx(1)
        assert one.good <= min(one.tore, 1 - one.expelled) + 1e-9


def test_early_expulsion_is_not_of_time() -> None:
    """It leaves the window where it was, however the weld broke, and asks for the force to be changed first."""
    early = weld(0.38, "no bond", expulsion="early")
    assert believe(PRIOR, [*WELDS, early]).window(80) == believe(PRIOR, WELDS).window(80)
    told = reminders([*WELDS, early], 50)
    assert len(told) == 1
    assert "force" in told[0]
    assert reminders(WELDS, 50) == ()


def test_one_wrong_label_does_not_wreck_it() -> None:
    """One of eight good welds written down as no bond, or as expelled, leaves the edges within their former 95 %."""
    welds = WELDS + [weld(time_s) for time_s in (0.4, 0.42, 0.44, 0.44)]
    sound = believe(PRIOR, welds).window(80)
    for wrong in (replace(welds[-1], outcome="no bond"), replace(welds[-1], expulsion="late")):
        slipped = believe(PRIOR, [*welds[:-1], wrong]).window(80)
        assert sound.low_s.low < slipped.low_s.median < sound.low_s.high
        assert sound.high_s.low < slipped.high_s.median < sound.high_s.high
        assert slipped.chance > 0.9


def test_setdown_narrows_it() -> None:
    """A measured setdown tells where it becomes too much; not measured, or with none wanted, it does not."""
    wanted = replace(PRIOR, setdown_share=(0.1, 0.2))
    shares = (0.03, 0.06, 0.12, 0.22, 0.1, 0.14, 0.16)
    measured = [replace(w, setdown_share=share) for w, share in zip(WELDS, shares)]
    assert width(believe(wanted, measured), "high_s") < 0.8 * width(believe(wanted, WELDS), "high_s")
    assert believe(PRIOR, measured).window(80) == believe(PRIOR, WELDS).window(80)
    deep = [replace(w, setdown_share=2 * share) for w, share in zip(WELDS, shares)]
    assert believe(wanted, deep).window(80).high_s.median < believe(wanted, measured).window(80).high_s.median
    assert (
        believe(wanted, deep).chances(Setting(0.44, 80)).good
        < believe(wanted, measured).chances(Setting(0.44, 80)).good
    )


def test_percent_is_heat() -> None:
    """Fewer percent want more time: at least as percent squared and not much above its third power; and welds at
    one percent tell of another, though less surely."""
    belief = believe(PRIOR, WELDS)
    here, there = belief.window(80), belief.window(60)
    ratio = there.low_s.median / here.low_s.median
    assert (80 / 60) ** 2 < ratio < (80 / 60) ** 3
    assert there.low_s.high / there.low_s.low > here.low_s.high / here.low_s.low
    more = believe(PRIOR, [*WELDS, *(weld(t, o, 60) for t, o in ((0.6, "broke at joint"), (0.9, "tore parent")))])
    assert more.window(60).low_s.high / more.window(60).low_s.low < there.low_s.high / there.low_s.low
    # Welds at the other percent alone are the same welds, seen from there.
    shifted = believe(replace(PRIOR, percent=60), [replace(w, setting=Setting(w.setting.time_s, 60)) for w in WELDS])
    assert shifted.window(60) == here


def test_worn_electrodes_want_more_time() -> None:
    """Cold welds that come later in a row at one time are put down to wear as well; dressing takes it away."""
    row = [weld(0.4)] * 12 + [weld(0.4, "broke at joint")] * 4
    worn = believe(PRIOR, row)
    dressed = believe(PRIOR, [*row, weld(0.4, dressed=True)])
    assert dressed.window(80).low_s.median < 0.96 * worn.window(80).low_s.median


def test_same_welds_same_answer() -> None:
    """No chance in it: the same welds give the same belief, and their order matters only through wear."""
    assert believe(PRIOR, WELDS).window(80) == believe(PRIOR, list(WELDS)).window(80)
    turned = believe(PRIOR, WELDS[::-1]).window(80)
    assert turned.low_s.median == pytest.approx(believe(PRIOR, WELDS).window(80).low_s.median, rel=0.05)


def test_off_the_grid() -> None:
    """A weld a hundred times shorter or longer than the handbook's is taken as cold or hot, and breaks nothing."""
    belief = believe(PRIOR, [weld(0.004, "no bond"), weld(40.0, expulsion="late"), *WELDS])
    assert 0.34 < belief.window(80).low_s.median < 0.42
    assert belief.chances(Setting(40.0, 80)).good < 0.01
    assert belief.chances(Setting(0.004, 80)).no_bond > 0.99


def test_welds_that_contradict_each_other() -> None:
    """Hundreds of welds that expelled from 0.1 s on and never bonded up to 1.5 s, which no joint does: no number is lost."""
    row = [weld(time_s, "no bond", expulsion="late", dressed=True) for time_s in (0.1, 1.5)]
    belief = believe(PRIOR, row * 300)
    window, chances = belief.window(80), belief.chances(Setting(0.4, 80))
    assert window.high_s.median < window.low_s.median
    assert chances.no_bond + chances.broke + chances.tore == pytest.approx(1)
    assert chances.good < 0.1


def test_sums_are_those_over_the_whole() -> None:
    """What is summed edge by edge is what comes of each scatter and both edges laid out: chance of a good weld, and both
    edges of the window, to 1e-9."""
    belief = believe(PRIOR, WELDS)
    made, good = shapes(ASSUMED, "spring"), np.zeros(len(TIMES))
    for weight, p in belief._under:
        whole = p.whole
        assert whole.sum() == pytest.approx(1)
        # Heat is rounded to a fourth of the step from the first edge of either kind.
        at = np.log(TIMES)[:, None] - p.worn_heat
        above_tear, above_expel = (
            at - first - np.arange(count) * STEP
            for first, count in ((p.heat[0], len(p.heat)), (p.upper[0], len(p.upper)))
        )
        part = STEP / 4
        tears = ndtr(np.rint(above_tear[:, None] / part) * part / made.scatter[p.scatters][:, None])
        expels = ndtr(np.rint(above_expel[:, None] / part) * part / made.expel_scatter[p.scatters][:, None])
        good += weight * np.einsum("stu,nst,nsu->n", whole, tears, 1 - expels)
        assert p.high == pytest.approx(whole.sum(axis=0), abs=1e-9)
    assert belief.good(CANDIDATES) == pytest.approx(good, abs=1e-9)


def test_a_suggestion_that_was_all_wrong() -> None:
    """Hundreds of cold welds far above what the handbook lets expect leave a belief that says so, at the end of its reach."""
    belief = believe(PRIOR, [weld(10.0, "no bond")] * 300)
    assert belief.window(80).low_s.median > 2
    assert belief.chances(Setting(0.4, 80)).good < 0.01


@pytest.mark.parametrize(
    "bad",
    [
        lambda: Setting(0, 80),
        lambda: Setting(1, 101),
        lambda: Prior(0.5, 0.3, 80),
        lambda: Prior(0.3, 0.5, 80, (0.2, 0.2)),
    ],
)
def test_bad_values(bad: object) -> None:
    """Values without a meaning are refused where they are made."""
    with pytest.raises(ValueError, match="not"):
        bad()  # type: ignore[operator]


# -- the advice -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("count", range(len(WELDS) + 1))
def test_never_a_forbidden_setting(count: int) -> None:
    """Whatever has been tried, what is forbidden is not offered; where all is, nothing is, and it says so."""
    belief = believe(PRIOR, WELDS[:count])
    free = next_trial(belief, CANDIDATES, lambda _: True)
    assert free.setting is not None
    for limit in (free.setting.time_s - 0.001, 0.2):
        advice = next_trial(belief, CANDIDATES, lambda s, limit=limit: s.time_s <= limit)
        assert advice.setting is not None
        assert advice.setting.time_s <= limit
    nothing = next_trial(belief, CANDIDATES, lambda _: False)
    assert nothing.setting is None
    assert not nothing.settled
    assert nothing.why


def test_settles_and_then_stays() -> None:
    """Good welds at the setting offered make it one to keep, and it is then offered again."""
    tried = list(WELDS)
    for _ in range(12):
        advice = next_trial(believe(PRIOR, tried), CANDIDATES, lambda _: True)
        assert advice.setting is not None
        if advice.settled:
            break
        tried.append(Tried(advice.setting, "tore parent"))
    assert advice.settled
    belief = believe(PRIOR, tried)
    chances = belief.chances(advice.setting)
    assert chances.good >= SURE
    assert chances.good_least >= SURE_LEAST
    assert sum(abs(t.setting.time_s / advice.setting.time_s - 1) <= ALIKE for t in tried) >= REPEATS
    again = next_trial(believe(PRIOR, [*tried, Tried(advice.setting, "tore parent")]), CANDIDATES, lambda _: True)
    assert again.setting == advice.setting
    assert again.settled


def test_sure_is_not_settled() -> None:
    """A setting that must lie in the window, by the welds on either side of it, is offered but not settled before its own."""
    sides = [weld(0.26, "no bond"), weld(0.3, "broke at joint"), *[weld(0.36)] * 2]
    sides += [*[weld(0.6)] * 2, weld(0.8, expulsion="late"), weld(0.9, expulsion="late")]
    between = [s for s in CANDIDATES if 0.41 < s.time_s < 0.53]
    advice = next_trial(believe(PRIOR, sides), between, lambda _: True)
    assert advice.setting is not None
    assert believe(PRIOR, sides).good([advice.setting])[0] > SURE
    assert not advice.settled
    sides += [Tried(advice.setting, "tore parent")] * REPEATS
    assert next_trial(believe(PRIOR, sides), between, lambda _: True).settled


def test_does_not_settle_on_cold_welds() -> None:
    """Nothing is settled while no weld was good."""
    tried: list[Tried] = []
    for _ in range(6):
        advice = next_trial(believe(PRIOR, tried), CANDIDATES, lambda _: True)
        assert advice.setting is not None
        assert not advice.settled
        tried.append(Tried(advice.setting, "broke at joint"))
    assert tried[-1].setting.time_s > tried[0].setting.time_s


def test_scatter_is_learnt() -> None:
    """Welds that part cleanly at the edges lower the scatter believed, mixed ones raise it; air is believed to scatter less."""
    clean = [weld(t, o) for t in (0.3, 0.33) for o in ("broke at joint",) * 4]
    clean += [weld(t) for t in (0.36, 0.4) for _ in range(4)]
    mixed = [weld(t, o) for t in (0.25, 0.3, 0.36, 0.42, 0.5) for o in ("broke at joint", "tore parent", "tore parent")]
    start = believe(PRIOR, []).scatter.median
    assert (
        believe(PRIOR, clean).scatter.median < 0.9 * start < start < 1.2 * start < believe(PRIOR, mixed).scatter.median
    )
    held = [believe(replace(PRIOR, force_held=by), WELDS).scatter.median for by in ("air", "spring", "hand")]
    assert held == sorted(held)


def test_scatter_costs_chance() -> None:
    """The same welds promise less where the force is held by hand than by air, and the lower limit is the lower."""
    by_air, by_hand = (
        believe(replace(PRIOR, force_held=by), WELDS).chances(Setting(0.44, 80)) for by in ("air", "hand")
    )
    assert by_hand.good < by_air.good - 0.05
    for one in (by_air, by_hand):
        assert one.good_least < one.good


@pytest.mark.parametrize("wanted", [None, (0.075, 0.225)])
def test_lower_limit_is_a_tenth(wanted: tuple[float, float] | None) -> None:
    """Of joints drawn from what is believed of the edges, the scatter and the setdown, one in ten is good less often than the
    lower limit, and all together as often as predicted."""
    measured = [replace(w, setdown_share=0.1 + 0.05 * n) for n, w in enumerate(WELDS[2:5])]
    belief = believe(replace(PRIOR, setdown_share=wanted, force_held="hand"), [*WELDS, *(measured if wanted else [])])
    setting, rng, count = Setting(0.42, 80), np.random.default_rng(3), 20_000
    made, found = shapes(belief.assumed, "hand"), []
    for weight, p in belief._under:
        n = round(weight * count)
        whole = p.whole
        s, t, e = np.unravel_index(rng.choice(whole.size, n, p=whole.ravel() / whole.sum()), whole.shape)
        heat = math.log(setting.time_s) - p.worn_heat
        tears = ndtr((heat - p.heat[t]) / made.scatter[p.scatters][s])
        good = tears * ndtr((p.upper[e] - heat) / made.expel_scatter[p.scatters][s])
        if p.limit is not None and p.limit_shape is not None:
            u = np.array([rng.choice(len(p.upper), p=p.limit[i] / p.limit[i].sum()) for i in t])
            shapes_of = p.limit_shape.reshape(-1, p.limit_shape.shape[-1])
            k = np.array([rng.choice(len(shapes_of), p=shapes_of[:, i] / shapes_of[:, i].sum()) for i in u])
            above = made.power[k // 5] * (heat - p.upper[u]) / made.setdown_scatter[k % 5]
            good = good * ndtr(-above)
        found.append(good)
    drawn, told = np.concatenate(found), belief.chances(setting)
    assert drawn.mean() == pytest.approx(told.good, abs=0.01)
    assert float(np.quantile(drawn, 0.1)) == pytest.approx(told.good_least, abs=0.03)


def test_scatter_in_the_way() -> None:
    """Where good and bad welds lie mixed at every time it is said that the force wants holding, not before a few welds; where
    they part cleanly it is not."""
    mixed = [weld(0.4, *what) for what in (("tore parent",), ("broke at joint",), ("no bond",))] * 4
    mixed += [weld(t, "tore parent", expulsion="late") for t in (0.36, 0.42, 0.46)]
    by_hand = replace(PRIOR, force_held="hand")
    told = scatter_in_the_way(believe(by_hand, mixed))
    assert told
    assert "hold the force" in told
    assert scatter_in_the_way(believe(by_hand, mixed[:5])) is None
    assert scatter_in_the_way(believe(replace(PRIOR, force_held="air"), WELDS * 2)) is None


@pytest.mark.parametrize("wanted", [None, (0.1, 0.2)])
def test_of_no_setting_there_is_nothing_to_say(wanted: tuple[float, float] | None) -> None:
    """Where the verdict leaves nothing to choose from, there are no chances and nothing to learn; none of it is an error."""
    belief = believe(replace(PRIOR, setdown_share=wanted), WELDS)
    assert belief.good([]).shape == belief.information([]).shape == (0,)


def test_best_is_the_best() -> None:
    """No time on a fine scale has a better chance of a good weld than the one given as best."""
    belief = believe(PRIOR, WELDS)
    best = belief.best(80)
    assert best.percent == 80
    most = max(belief.good([Setting(n * 0.005, 80) for n in range(20, 200)]))
    assert belief.chances(best).good > most - 0.005


@pytest.mark.parametrize("time_s", [0.24, 0.34, 0.42, 0.6])
@pytest.mark.parametrize("count", [0, 3])
def test_information_is_what_is_learnt(time_s: float, count: int) -> None:
    """What a weld is said to tell is what it does tell, by the average over its six results of how far each moves the belief
    in the scatter and both edges: relative entropy, in nats, of the belief after it against that before."""
    assumed = replace(ASSUMED, wear=0.0)  # one table, so that the beliefs can be laid side by side
    before = believe(PRIOR, WELDS[:count], assumed)
    first = learnable(before)
    held = first > 0  # what has next to no weight is left out of a belief
    learnt = total = 0.0
    for outcome, expulsion in itertools.product(OUTCOMES, ("none", "late")):
        after = believe(PRIOR, [*WELDS[:count], weld(time_s, outcome, expulsion=expulsion)], assumed)
        chance = math.exp(evidence(after) - evidence(before))
        learnt += chance * float(rel_entr(learnable(after)[held], first[held]).sum())
        total += chance
    assert total == pytest.approx(1, abs=1e-6)
    assert before.information([Setting(time_s, 80)])[0] == pytest.approx(learnt, abs=1e-3)


def learnable(belief: Belief) -> Floats:
    """Of the scatter, where it tears and where it expels, laid out over the whole grid."""
    ((_, posterior),) = belief._under
    grid = edges(PRIOR, belief.assumed)
    whole = np.zeros((len(shapes(belief.assumed, PRIOR.force_held).scatter), len(grid.heat), len(grid.upper)))
    t, u = (round((a[0] - b[0]) / STEP) for a, b in ((posterior.heat, grid.heat), (posterior.upper, grid.upper)))
    _, count, uppers = posterior.whole.shape
    whole[posterior.scatters, t : t + count, u : u + uppers] = posterior.whole
    return whole


def evidence(belief: Belief) -> float:
    ((_, posterior),) = belief._under
    return posterior.log_evidence


def test_next_is_the_most_telling() -> None:
    """Until one is sure, none of the settings about as likely in the window tells more than the one offered."""
    belief = believe(PRIOR, WELDS[:2])
    advice = next_trial(belief, CANDIDATES, lambda _: True)
    assert advice.setting is not None
    good = belief.good(CANDIDATES)
    likely = [s for s, chance in zip(CANDIDATES, good) if chance >= LIKELY * max(good)]
    assert len(likely) > 2
    assert advice.setting == likely[int(np.argmax(belief.information(likely)))]


def test_dressing() -> None:
    """After so many welds the electrodes want dressing; after it, what was good wants trying again, until it was."""
    assert "dress them" in " ".join(reminders([weld(0.4)] * 10, 10))
    assert reminders([weld(0.4)] * 9, 10) == ()
    elsewhere = [*[weld(0.4)] * 10, weld(0.6, dressed=True)]
    assert [("0.4 s" in line, "again" in line) for line in reminders(elsewhere, 10)] == [(True, True)]
    assert reminders([*elsewhere, weld(0.4)], 10) == ()
    assert reminders([], 1) == ()
