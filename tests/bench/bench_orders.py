"""Walks the states of the protocol in other orders than `prompter flow check` does, and tells what it finds there.

python tests/bench/bench_orders.py [--first 0] [--seeds 5] [--out DIR]

Of the states that count as the same only the first that is met is walked; drawn orders meet others first, after longer
chains of answers that come at once. Half a minute a seed. Each fault's trace is written to DIR (traces/ by default), for
`prompter flow replay`; it is a true way through the machine, whatever the order that found it.
"""

import argparse
import gc
from dataclasses import replace
from pathlib import Path

from prompter.flow.reading import load_flow
from prompter.proof.check import LATE_PARTS
from prompter.proof.traces import trace_of, write
from prompter.proof.walk import MOVES, Walk
from prompter.resources import flow_file

FLOW = "breathing-trouble"
PARTS = (*LATE_PARTS, ("child", replace(MOVES, words=True)))
"""Those of the check, and one that is too much for its memory: what only speaks is said where everything is."""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--seeds", type=int, default=5, help="how many")
    parser.add_argument("--out", type=Path, default=Path("traces"))
    args = parser.parse_args()
    flow = load_flow(flow_file(FLOW))
    args.out.mkdir(parents=True, exist_ok=True)
    for seed in range(args.first, args.first + args.seeds):
        for number, (age, part) in enumerate(PARTS):
            found = Walk(flow, age, part=part, order=seed).run()
            print(f"seed {seed}, {age}: {found.moves:,} moves, {found.states:,} states", flush=True)
            for name, detail in found.findings.failed.items():
                file = args.out / f"{seed}-{number}-{age}-{name.replace(' ', '-').replace(chr(39), '')}.json"
                write(trace_of(FLOW, name, detail, found.traces[name]), file)
                print(f"  fails {name}: {detail} ({file})", flush=True)
            gc.collect()


if __name__ == "__main__":
    main()
