"""Every miswiring of the upgrade walked: `python -m tests.campaigns.miswirings found.jsonl`; about ten minutes of one core.

Goes on where it was left. The last lines count what was found, by rule, and list what no step finds, each with its reason.
Exit 1 where one is not found that tests/support/miswired/not_found.py does not name, or is found that it names; or where
a step finds one of tests/support/miswired/found_by.py that is not for it.
"""

from __future__ import annotations

import json
import sys
import tempfile
from collections import Counter
from pathlib import Path

from tests.support.miswired.found_by import FOUND_BY
from tests.support.miswired.not_found import NOT_FOUND
from tests.support.miswired.walks import machine


def main() -> None:
    kept = Path(sys.argv[1]).absolute()
    done = [json.loads(line) for line in kept.read_text().splitlines()] if kept.exists() else []
    names = {row["miswiring"] for row in done}
    with tempfile.TemporaryDirectory() as folder, machine(Path(folder)) as walks:
        for miswiring in walks.miswirings:
            if miswiring.name in names:
                continue
            found = walks.found(miswiring)
            done.append({"miswiring": miswiring.name, "rule": miswiring.rule, "by": found.by, "words": found.words})
            with kept.open("a") as file:
                file.write(json.dumps(done[-1]) + "\n")
    made, found_by = Counter(row["rule"] for row in done), Counter(row["rule"] for row in done if row["by"])
    for rule, count in made.items():
        print(f"{rule}: {found_by[rule]} of {count} found")
    print(f"together: {sum(found_by.values())} of {len(done)}")
    missed = {row["miswiring"] for row in done if not row["by"]}
    for name in sorted(missed):
        print(f"not found: {name}: {NOT_FOUND.get(name, 'NOT LISTED')}")
    for name in sorted(NOT_FOUND.keys() - missed):
        print(f"listed, and found: {name}")
    elsewhere = {row["miswiring"]: row["by"] for row in done if row["by"] != FOUND_BY.get(row["miswiring"], row["by"])}
    for name, by in elsewhere.items():
        print(f"found elsewhere: {name}: {by}, not {FOUND_BY[name]}")
    sys.exit(missed != NOT_FOUND.keys() or bool(elsewhere))


if __name__ == "__main__":
    main()
