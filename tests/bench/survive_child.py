"""One keys-only emergency after the other on the virtual clock, until somebody kills this process.

Arguments: the folder of the journals, a seed. Tells on standard output, one line each: `J name` (this
journal is being written), `U ms` (computing of this process until it had resumed, however busy the
machine), `R ms` (resumed, ms of this process's own time), `A seq` (acknowledged), `C seq` (closed).
"""

import os
import random
import sys
import time
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

BEGAN_S = time.perf_counter()
LASTS_MS = 300_000


def tell(text: str) -> None:
    os.write(1, f"{text}\n".encode())


class Telling:
    """The journal; each acknowledged event is told."""

    def __init__(self, journal: Any) -> None:
        self.journal = journal

    def append(self, record: dict[str, Any], at: datetime, mono_ms: int) -> None:
        tell(f"A {self.journal.append(record, at, mono_ms)}")


def main() -> None:
    from prompter.care.plan import load_plan
    from prompter.flow.family import family_text
    from prompter.flow.reading import load_flow
    from prompter.flow.table import Variant, build
    from prompter.journal import Journal
    from prompter.opening import opened_record
    from prompter.resources import flow_file, shared_file
    from prompter.resuming import look

    folder, rng = Path(sys.argv[1]), random.Random(sys.argv[2])
    path = flow_file("breathing-trouble")
    text = family_text(path)
    plan = load_plan(shared_file("demo-plan.yaml"))
    variant = Variant(plan.facts(), plan.spoken(), plan.numbers())
    table = build(load_flow(path), variant)
    found = look([folder], table, text, "the plan").found
    while True:
        if found is not None:
            tell(f"J {found.path.name}")
            one(table, found.journal, rng, found)
            found = None
        opened = opened_record(
            flow_text=text, plan_text="the plan", plan_name="p", variant=variant, live=True,
            seed=None, voice=None, ears=[], settings={},
        )  # fmt: skip
        name = f"{time.time_ns()}.jsonl"
        tell(f"J {name}")
        journal = Journal.create(folder / name, opened)
        tell("A 1")
        one(table, journal, rng, None)


def one(table: Any, journal: Any, rng: random.Random, before: Any) -> None:
    """Begins or goes on, presses keys at random, and closes after some minutes of session time."""
    import numpy as np

    from prompter.session import Session, Timing
    from prompter.speak.mixer import Mixer

    rate_hz, clip = 1000, np.full(800, 0.1, np.float32)  # short clips: the sound is nobody's here
    mixer, sink = Mixer(rate_hz, lambda text: clip), Telling(journal)
    zero = now = 0
    machine = None
    if before is not None:
        machine = before.machine
        zero = now = before.last_ms + (before.gap_ms or 1)
        for entry in before.restored:
            sink.append(*entry)
    began = datetime.now().astimezone() - timedelta(milliseconds=now)
    session = Session(table, mixer, Timing(began, lambda position: position + zero), sink, machine=machine)
    if before is None:
        session.start(0)
    else:
        session.resume(now, before.gap_ms, before.utterances, before.announced)
        tell(f"U {1000 * time.process_time():.0f}")
        tell(f"R {1000 * (time.perf_counter() - BEGAN_S):.0f}")
    next_key = now + 1000
    end = max(now + 20_000, LASTS_MS)
    while now < end and not session.closed:
        now += 32
        mixer.render(now - zero - mixer.position)
        session.turn(now)
        if now >= next_key:
            view = session.view()
            keys = [key for key, *_ in (*view.own_keys, *view.own_keys, *view.everywhere_keys)]
            session.press(rng.choice(keys), now)
            next_key = now + rng.randint(500, 12_000)
            if rng.random() < 0.1:
                session.number("spo2", rng.randint(60, 100), now)
    session.end(now, "the time is up")
    tell(f"C {len(journal.lines)}")
    journal.close()


if __name__ == "__main__":
    main()
