"""Damaged lines to the emitted application, at length: `python -m tests.campaigns.damaged_lines [number] [first seed]`.

Two hundred thousand unless told otherwise, in this process and under both interpreters: truncated, flipped, merged, shifted,
noise of 64 KiB, invalid UTF-8, deep nesting, and whole checksums over what cannot be met. Prints figures; exit 1 when anything
changed, was met, crashed, or left memory in use.
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace

from sim.replay.playback import INTERPRETERS
from tests.support.app.line_damage import good_lines, storm, stream
from tests.support.app.stored import config_of, made
from tests.support.app.talking import TalkingBoard, coded, request

AT_ONCE = 10_000  # lines of one seed


def main(number: int = 200_000, first: int = 0) -> int:
    bundle, table = made()
    pushed = replace(table, name="pushed")
    good = good_lines("pushed", pushed.digest, coded(pushed))
    wrong = 0
    seeds = range(first, first + max(1, number // AT_ONCE))
    each = min(number, AT_ONCE)
    board = TalkingBoard(config_of(bundle))
    kept = board.kept()
    began, lines, taken, longest_s = time.monotonic(), 0, 0, 0.0
    for seed in seeds:
        for line in stream(seed, each, good):
            sent = time.monotonic()
            answers = board.send(line)
            longest_s = max(longest_s, time.monotonic() - sent)
            if board.kept() != kept or board.state != "ready" or any("error" not in answer for answer in answers):
                wrong += 1
                print(f"seed {seed}: {line!r} -> {answers}")
                board = TalkingBoard(config_of(bundle))
            lines, taken = lines + 1, taken + len(line)
        if "result" not in board.send(b"\n" + request(1, "hello"))[-1]:
            wrong += 1
            print(f"after seed {seed} the board does not answer")
    print(
        f"here: {lines} lines, {taken} bytes, {time.monotonic() - began:.0f} s, the longest {longest_s:.3f} s, {wrong} wrong"
    )
    for interpreter in INTERPRETERS:
        if not interpreter.available():
            print(f"not installed: {interpreter.needs}")
            wrong += 1
            continue
        began, errors, taken, gained = time.monotonic(), 0, 0, 0
        for seed in seeds:
            told = storm(interpreter, bundle, list(stream(seed, each, good)))
            if told["results"] != 1 or not told["unchanged"] or told["state"] != "ready":
                wrong += 1
                print(f"{interpreter.name}, seed {seed}: {told}")
            errors, taken = errors + told["errors"], taken + told["taken"]
            gained = max(gained, told["after"] - told["before"])
        wrong += interpreter.collects and gained > 0
        memory = f"{gained} bytes gained at most" if interpreter.collects else "memory not collected in this build"
        print(f"{interpreter.name}: {taken} bytes, {errors} errors told, {memory}, {time.monotonic() - began:.0f} s")
    print(f"{wrong} wrong")
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main(*(int(argument) for argument in sys.argv[1:])))
