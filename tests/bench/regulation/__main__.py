"""python -m tests.bench.regulation [--quick] [--seeds N] [--scenario NAME] [--only RIVAL]"""

from __future__ import annotations

import argparse
from statistics import fmean

from tests.bench.regulation.rivals import RIVALS
from tests.bench.regulation.scenarios import SCENARIOS, named
from tests.bench.regulation.table import HEADING, Row, line, measured, verdicts


def main() -> None:
    """Prints the table."""
    asked = argparse.ArgumentParser(prog="python -m tests.bench.regulation", description=__doc__)
    asked.add_argument("--quick", action="store_true", help="only our own controller")
    asked.add_argument("--seeds", type=int, default=1, help="vessels: the nominal one, then jitter")
    asked.add_argument("--scenario", help="the beginning of one scenario's name")
    asked.add_argument("--only", choices=list(RIVALS), action="append", help="only this rival")
    options = asked.parse_args()
    chosen = [named(options.scenario)] if options.scenario else list(SCENARIOS)
    rivals = options.only or (["barmkeep"] if options.quick else list(RIVALS))
    means: dict[str, list[Row]] = {}
    for rival in rivals:
        print(f"\n{rival}, {options.seeds} vessel(s) each\n{HEADING}")
        rows: list[Row] = []
        for scenario in chosen:
            some = [measured(scenario.jittered(seed), rival) for seed in range(options.seeds)]
            rows += some
            print(line(scenario.name, some), flush=True)
        means[rival] = rows
        print(line("all", rows))
        print("\n".join(verdicts(rows)))
    best = fmean(row.excess_mk for row in means[rivals[0]])
    print(f"\nexcess of each over {rivals[0]}'s:")
    for rival in rivals:
        print(f"{rival:26}{fmean(row.excess_mk for row in means[rival]) / best:7.2f} x")


if __name__ == "__main__":
    main()
