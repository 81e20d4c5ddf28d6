"""The simulated emergencies with all their assumptions drawn anew within their ranges: what breaks a property there.

    python tests/bench/bench_assumptions.py [--sets 50] [--seeds 500] [--from 0]
    python tests/bench/bench_assumptions.py --trace SET SEED

`prompter flow simulate` holds the assumptions of shared/world/parameters.yaml; here each set of 500
emergencies has its own, drawn evenly between the low and the high end that stand there. It proves nothing
about patients: it looks for faults of the flow where people are slower, noisier or less lucky than assumed.
Each fault is printed with its set and seed, which `--trace` plays step by step. Stops at any time; what was
printed stands.
"""

import argparse
import random
import time

from prompter.practise.world.parameters import the_parameters
from prompter.practise.world.run import CARD, FLOW, many, one, works_for


def drawn(number: int) -> dict[str, float]:
    """A value for every assumption of set `number`, but for those of the card."""
    rng = random.Random(number)
    return {
        p.name: round(rng.uniform(p.low, p.high), 4)
        for p in the_parameters().each.values() if not p.name.startswith(f"{CARD}.")
    }  # fmt: skip


def trace(number: int, seed: int) -> None:
    values = {name.replace(".", "__"): value for name, value in drawn(number).items()}
    outcome = one(seed, p=the_parameters().with_values(**values), note=lambda ms, who, what: print(f"{ms / 1000:8.2f} s  {who:13} {what}"))
    print("\n".join(outcome.failures) or "no property broken")


def run(sets: range, seeds: int) -> None:
    began, played, broken = time.monotonic(), 0, 0
    for number in sets:
        works = works_for(range(number * seeds, (number + 1) * seeds), FLOW, changed=drawn(number))
        for outcome in (o for outcomes in many(works) for o in outcomes):
            played += 1
            if outcome.failures:
                broken += 1
                print(f"set {number} seed {outcome.seed}: {'; '.join(outcome.failures)}", flush=True)
    print(f"{played} emergencies, {len(sets)} sets of assumptions, {time.monotonic() - began:.0f} s; {broken} broke a property")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--sets", type=int, default=50)
    parser.add_argument("--seeds", type=int, default=500, help="emergencies a set")
    parser.add_argument("--from", dest="first", type=int, default=0)
    parser.add_argument("--trace", type=int, nargs=2, metavar=("SET", "SEED"))
    asked = parser.parse_args()
    if asked.trace:
        trace(*asked.trace)
    else:
        run(range(asked.first, asked.first + asked.sets), asked.seeds)
