"""How many events a second one core's flow machine takes, and how long a table and an engine take to build.

    python tests/bench/bench_machine.py [SECONDS]

The mix is that of long random emergencies: prompts that end, ticks, speech, answers (taken and refused),
numbers, utterances not believed. The events are made before, so that only the machine is measured.
"""

import gc
import json
import random
import sys
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "flow"))

from driver import Drive, engine_for, table_for, the_flow  # noqa: E402
from variants import drawn  # noqa: E402

from prompter.events import Record, SpeechEnded, SpeechStarted, Ticked  # noqa: E402
from prompter.flow.engine import Engine  # noqa: E402
from prompter.flow.machine import FlowMachine  # noqa: E402
from prompter.flow.reading import load_flow  # noqa: E402
from prompter.flow.table import Table, build  # noqa: E402
from prompter.resources import flow_file  # noqa: E402

VARIANTS, TURNS, TICK_MS = 8, 400, 500
AIM_EVENTS_A_SECOND = 50_000


def emergency(seed: int, table: Table) -> list[Record]:
    """One long emergency: somebody answers most questions, talks, mumbles, says numbers."""
    rng, drive = random.Random(seed), Drive(table)
    drive.start()
    answers = [a for a in table.flow.answers if a not in ("finished", "close it", "taken over")]
    for _ in range(TURNS):
        if drive.machine.closed:
            break
        drive.wait(rng.choice([0.5, 1, 2, 4, 9]))
        drive.feed(SpeechStarted(drive.now))
        drive.wait(0.8)
        own = [a for a in table.stands[drive.step].own_answers if a in answers]
        what = rng.random()
        if what < 0.1:
            drive.number(rng.randint(80, 99))
        elif what < 0.2:
            drive.mumbles()
        else:
            drive.blurts(rng.choice(own) if own and what < 0.75 else rng.choice(answers))
        drive.feed(SpeechEnded(drive.now))
    # A live session lets time pass as well as prompts.
    ticks = [Ticked(at) for at in range(TICK_MS, drive.now, TICK_MS)]
    return sorted([*drive.events, *ticks], key=lambda e: e.at_ms)


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 5.0
    variants = list(drawn(1, VARIANTS))
    began = time.perf_counter()
    flow = load_flow(flow_file("breathing-trouble"))
    read_ms = 1000 * (time.perf_counter() - began)
    gc.collect()
    gc.freeze()
    began = time.perf_counter()
    built = [build(flow, variant) for variant in variants]
    build_ms = 1000 * (time.perf_counter() - began) / VARIANTS
    began = time.perf_counter()
    for table in built:
        Engine(table)
    engine_ms = 1000 * (time.perf_counter() - began) / VARIANTS

    the_flow()
    runs = [(table_for(v), emergency(seed, table_for(v))) for seed, v in enumerate(variants)]
    kinds = Counter(event.kind for _, events in runs for event in events)
    rate = speed(runs, seconds)
    rare = speed([(t, [e for e in events if e.kind != "ticked" or e.at_ms % TICK_MS]) for t, events in runs], seconds)
    print(json.dumps({
        "events_a_second": round(rate), "without_idle_ticks": round(rare), "aim": AIM_EVENTS_A_SECOND,
        "read_flow_ms": round(read_ms), "build_table_ms": round(build_ms, 1), "build_engine_ms": round(engine_ms, 1),
        "rows": round(sum(len(t.rows) for t in built) / VARIANTS), "mix": dict(kinds.most_common()),
    }, indent=1))  # fmt: skip


def speed(runs: list[tuple[Table, list[Record]]], seconds: float) -> float:
    """Events a second, each run on a machine of its own."""
    fed, spent = 0, 0.0
    while spent < seconds:
        for table, events in runs:
            machine = FlowMachine(table, engine_for(table))
            began = time.perf_counter()
            for event in events:
                machine.feed(event)
            spent += time.perf_counter() - began
            fed += len(events)
    return fed / spent


if __name__ == "__main__":
    main()
