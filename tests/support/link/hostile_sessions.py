"""A session of everything that the host asks of a board, with one that is faulty."""

from __future__ import annotations

import random
import time
from collections import Counter
from pathlib import Path

import pytest

from gen.errors import InputError
from gen.link import Link, LinkError, Watch
from gen.link.rebuilding import rebuilt
from gen.records import Records
from tests.support.link.hostile_boards import faulty
from tests.support.link.pty_device import PtyDevice
from tests.support.machines import firmware, make_welder

WELDER = make_welder()
TABLE = firmware(WELDER, {"weld": "20 cycles"})[1]
QUICK_S = 0.03  # for an answer, where a real board has a second
LONGEST_S = 10.0  # of one request of any kind


def session(seed: int, folder: Path) -> tuple[Counter[str], list[str]]:
    """How each request ended ("answered", or the kind of refusal), and complaints: whatever was no one clear line, or slow."""
    chance = random.Random(seed)
    ends: Counter[str] = Counter()
    complaints: list[str] = []
    with (
        pytest.MonkeyPatch.context() as patch,
        PtyDevice(faulty(chance, frozenset({"hello"} if seed % 4 else ()))) as device,
    ):
        for name, value in (("ANSWER_S", QUICK_S), ("STORING_S", QUICK_S)):
            patch.setattr(f"gen.link.client.{name}", value)
        patch.setattr(Link._ask, "__defaults__", (QUICK_S, 3))
        patch.setattr("gen.link.watching._ANSWER_S", QUICK_S)
        try:
            with Link(device.port, patience_s=0.1) as link, Records(folder / "records.sqlite") as records:
                watch = Watch(link, records)
                for what, ask in (
                    ("status", link.status),
                    ("schedules", link.schedules),
                    ("pull", lambda: rebuilt(link.read("job"), WELDER)),
                    ("welds", link.welds),
                    ("curve", link.curve),
                    ("watch", watch.begin),
                    ("look", watch.look),
                    ("push", lambda: link.push(TABLE)),
                    ("select", lambda: link.select("job")),
                    ("remove", lambda: link.remove("other")),
                    ("maintain", link.maintain),
                ):
                    began = time.monotonic()
                    try:
                        ask()
                        ends["answered"] += 1
                    except InputError as error:
                        ends[type(error).__name__] += 1
                        complaints += _unclear(seed, what, error)
                    except Exception as error:
                        complaints.append(f"seed {seed}, {what}: {type(error).__name__}: {str(error)[:200]}")
                    if time.monotonic() - began > LONGEST_S:
                        complaints.append(f"seed {seed}, {what}: took {time.monotonic() - began:.0f} s")
        except LinkError as error:
            ends[f"{type(error).__name__} at hello"] += 1
            complaints += _unclear(seed, "hello", error)
        except Exception as error:
            complaints.append(f"seed {seed}, hello: {type(error).__name__}: {str(error)[:200]}")
    return ends, complaints


def _unclear(seed: int, what: str, error: InputError) -> list[str]:
    text = str(error)
    clear = text.isprintable() and len(text) <= 1500 and ("allowed: " in text or "nothing was changed" in text)
    return [] if clear else [f"seed {seed}, {what}: {text[:300]!r}"]
