"""Measures standby: false starts, the phrase taken, its share of a core, its memory, its answer.

    python tests/bench/bench_standby.py [--hours H] [--short] [--audio DIR] [--out DIR] [--jobs N] [--show]

- false starts: generated household sound (household.py) through the very same listening code, faster
  than real time. "None in T hours" bounds the rate at 3.0/T an hour (95%, Poisson), for this sound only.
- phrase taken: said by voices that tuned nothing (REPORT in sounds.py), each a little faster or slower,
  higher or lower; four seconds of the surroundings before it; clean, and in noise at 5 dB.
- share of a core and memory: a process of its own that waits in real time at a synthetic microphone,
  with everything loaded that an emergency needs.
- answer: `prompter standby` at virtual sound devices, from the phrase's last sample above -40 dB of its
  peak to the first such sample of the loudspeaker. Left out where there are no virtual sound devices.

Every row is kept in --out at once: interrupt it, and run it again to go on. Rows belong to one state of
the code that listens. --short (at most a minute) is for every day. Writes standby.json.
"""

import argparse
import hashlib
import json
import math
import multiprocessing
import os
import platform
import shutil
import signal
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any
from zlib import crc32

import numpy as np
from household import KINDS, MINUTE_S, SPEECH, minute
from live_helpers import live_helper
from rich.console import Console
from rich.table import Table
from sounds import REPORT_VOICES, in_surroundings, noises, say

from prompter import limits
from prompter.hear.endpoint import BLOCK_MS
from prompter.resources import shared_file
from prompter.standby import bounds
from prompter.standby.ear import Listening
from prompter.standby.standby import AGAIN
from prompter.standby.start_phrase import SPOKEN, StartPhrase
from prompter.standby.troubles import Troubles

HERE = Path(__file__).parent
BESIDE = HERE.parents[2] / "shared" / "audio"
NOISES = {"crying": "baby-cry", "hiss": "hiss", "motor": "motor", "rumble": "rumble"}
SNR_DB = 5
AIMS = {"false_starts": 0, "clean": 0.95, "noisy": 0.85, "core_percent": 5, "memory_mb": 300, "answer_ms": 1_000}
Row = dict[str, Any]


def fingerprint(audio: Path) -> str:
    """Changes with what listens and with the sounds."""
    package, digest = HERE.parent.parent / "prompter", hashlib.sha256()
    files = [package / "standby" / f"{name}.py" for name in ("pieces", "start_phrase")]
    files += [package / "hear" / f"{n}.py" for n in ("detector", "steady", "embedded_ear", "whisper_model", "clues")]
    files += [HERE / f"{name}.py" for name in ("household", "sounds", "talk")]
    for path in files:
        digest.update(path.read_bytes())
    standby = [f"{n}={getattr(bounds, n)}" for n in dir(bounds) if n.isupper()]
    standby += [f"{n}={getattr(limits, n)}" for n in dir(limits) if n.startswith(("SPEECH_", "WINDOW_"))]
    digest.update(f"{standby} {len(list(audio.rglob('*.*')))}".encode())
    return digest.hexdigest()[:10]


# ---- false starts, and the phrase ----------------------------------------------------------------

_ear: StartPhrase | None = None


def listening() -> Listening:
    """Standby's own ear, fresh; the model is loaded once."""
    global _ear
    if _ear is None:
        _ear = StartPhrase(threads=1)
        _ear.warm_up()
    troubles = Troubles(print, lambda text: None)
    return Listening(None, _ear, troubles, threading.Lock())


def through(sound: np.ndarray) -> tuple[list[int], Listening]:
    """When a start was heard (ms), and the ear afterwards."""
    ear, starts = listening(), []
    whole = len(sound) // limits.BLOCK_SAMPLES * limits.BLOCK_SAMPLES
    for number, block in enumerate(sound[:whole].astype(np.float32).reshape(-1, limits.BLOCK_SAMPLES), 1):
        if ear.hear(block):
            starts.append(number * BLOCK_MS)
    return starts, ear


def minute_row(task: tuple[int, str]) -> Row:
    number, audio = task
    kind, sound = minute(number, Path(audio))
    began = time.process_time()
    starts, ear = through(sound)
    used_s = time.process_time() - began
    return {
        "row": "minute", "number": number, "kind": kind, "starts": starts, "pieces": ear.counts.pieces,
        "nearest": round(ear.counts.nearest, 2), "core_percent": round(100 * used_s / MINUTE_S, 2),
    }  # fmt: skip


def phrase_row(task: tuple[str, int, str]) -> Row:
    """`condition` 'clean' or a noise's name. Taken: while it was said, or within a second of its end."""
    condition, number, audio = task
    rng = np.random.default_rng([8, crc32(condition.encode()), number])
    name, rate, pitch = REPORT_VOICES[number % len(REPORT_VOICES)]
    clip = say(SPOKEN, (name, rate + int(rng.integers(-12, 13)), pitch + int(rng.integers(-8, 9))))
    noise = None
    if condition != "clean":
        some = noises(Path(audio), NOISES[condition])
        noise = some[int(rng.integers(len(some)))]
    spoken = in_surroundings(clip, noise, SNR_DB, number, before_s=4.0)
    starts, ear = through(spoken.sound)
    taken = [at for at in starts if spoken.starts_ms < at <= spoken.ends_ms + 1_000]
    after_ms = round(taken[0] - spoken.ends_ms) if taken else None
    return {
        "row": "phrase", "condition": condition, "number": number, "voice": name, "taken": bool(taken),
        "after_ms": after_ms, "nearest": round(ear.counts.nearest, 2),
    }  # fmt: skip


def read_rows(path: Path) -> list[Row]:
    """Those kept; a line that an interruption cut is left out."""
    rows = []
    for line in path.read_text().splitlines() if path.exists() else []:
        try:
            rows.append(json.loads(line))
        except json.JSONDecodeError:
            continue
    return rows


def measure(kept: Path, audio: Path, minutes: list[int], phrases: int, jobs: int) -> None:
    """Appends each row that is not there yet; phrases first."""
    rows = read_rows(kept)
    done = {(r.get("condition"), r["number"]) for r in rows if r["row"] != "cost"}
    asked = [(c, n, str(audio)) for n in range(phrases) for c in ("clean", *NOISES) if (c, n) not in done]
    waited = [(n, str(audio)) for n in minutes if (None, n) not in done]
    works: list[tuple[Callable[[Any], Row], list[Any]]] = [(phrase_row, asked), (minute_row, waited)]
    signal.signal(signal.SIGTERM, lambda *_: sys.exit("interrupted; run it again to go on"))
    with multiprocessing.get_context("spawn").Pool(jobs) as pool, kept.open("a") as file:
        if kept.stat().st_size:
            file.write("\n")  # the last line may have been cut
        for work, tasks in works:
            for row in pool.imap_unordered(work, tasks):
                file.write(json.dumps(row) + "\n")
                file.flush()


# ---- what it costs -------------------------------------------------------------------------------


def cost(kind: str, sound: np.ndarray, seconds: float) -> Row:
    """A process that waits in real time, hearing `sound`."""
    with tempfile.TemporaryDirectory(prefix="standby-cost-") as folder:
        path = Path(folder, "sound.npy")
        np.save(path, sound.astype(np.float32))
        ran = subprocess.run(
            [sys.executable, str(HERE / "standby_child.py"), str(path), str(seconds)],
            env={**os.environ, "PROMPTER_HOME": folder}, capture_output=True, text=True, check=True,
        )  # fmt: skip
    return {"row": "cost", "kind": kind, "number": 0} | json.loads(ran.stdout.splitlines()[-1])


# ---- how fast it answers -------------------------------------------------------------------------


def answers(starts: int) -> dict[str, Any]:
    """Times from phrase to first sound, each start after an emergency that was closed."""
    servers, caregivers = live_helper("sound_server"), live_helper("caregiver")
    if why := servers.missing():
        return {"left_out": why}
    folder = Path(tempfile.mkdtemp(prefix="bench-standby-"))
    server = servers.SoundServer(folder)
    plan, said = caregivers.write_plan(folder / "plan.yaml"), folder / "said.txt"
    ready = [sys.executable, "-m", "prompter.cli", "ready", "--quiet", "--plan", str(plan)]
    environment = {**server.environment, "PROMPTER_HOME": str(folder / "home")}
    subprocess.run(ready, env=environment, capture_output=True)  # the self-test at the start does this
    with said.open("w") as output:
        standby = subprocess.Popen(
            [sys.executable, "-m", "prompter.cli", "standby", "--plan", str(plan), "--out", str(folder / "out"),
             "--self-test", "23"],
            env=environment | {AGAIN: "1"}, stdin=subprocess.PIPE, stdout=output, stderr=output,
        )  # fmt: skip
    times: list[int] = []
    missed, waits = 0, 1
    try:
        for number in range(starts):
            _until(lambda n=waits: said.read_text().count("Standby. To start") >= n, 60)
            time.sleep(2)
            record = folder / f"room-{number}.raw"
            recorder = server.record(record)
            time.sleep(0.5)
            caregivers.Caregiver(server, caregivers_voice(number)).say(SPOKEN)
            begun = "an emergency begins: start phrase"
            if not _until(lambda n=len(times): said.read_text().count(begun) > n, 3, must=False):
                missed += 1
                recorder.terminate()
                continue
            time.sleep(4)
            recorder.terminate()
            recorder.wait()
            for _ in range(2):
                standby.send_signal(signal.SIGINT)
                time.sleep(0.5)
            mouth, loudspeaker = servers.recorded(record)
            end, waits = int(_loud(mouth)[-1]), waits + 1
            first = _loud(loudspeaker[end:])
            times.append(round(1000 * int(first[0] if len(first) else len(loudspeaker) - end) / servers.RATE_HZ))
    finally:
        standby.kill()
        standby.wait()
        server.close()
        shutil.rmtree(folder, ignore_errors=True)
    return {"ms": times, "missed": missed, "load_1m": round(os.getloadavg()[0], 1)}


def caregivers_voice(number: int) -> str:
    return ("en-gb+f2", "en-us+f3", "en-gb-x-rp+m3", "en-us+m7")[number % 4]


def _loud(sound: np.ndarray) -> np.ndarray:
    return np.flatnonzero(np.abs(sound) > np.abs(sound).max() / 100)


def _until(holds: Callable[[], bool], seconds: float, must: bool = True) -> bool:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if holds():
            return True
        time.sleep(0.05)
    if must:
        raise RuntimeError("standby did not do what was waited for")
    return False


# ---- the table -----------------------------------------------------------------------------------


def figures(rows: list[Row], minutes: list[int], phrases: int) -> dict[str, Any]:
    wanted = set(minutes)
    heard = [r for r in rows if r["row"] == "minute" and r["number"] in wanted]
    said = [r for r in rows if r["row"] == "phrase" and r["number"] < phrases]
    hours = len(heard) * MINUTE_S / 3600
    starts = sum(len(r["starts"]) for r in heard)
    taken = {
        c: {"taken": sum(r["taken"] for r in some), "n": len(some)}
        for c in ("clean", *NOISES)
        if (some := [r for r in said if r["condition"] == c])
    }
    after = sorted(r["after_ms"] for r in said if r["after_ms"] is not None)
    return {
        "hours": round(hours, 2), "false_starts": starts,
        "bound_an_hour": round(_most(starts) / hours, 3) if hours else None,
        "minutes_by_kind": {k: sum(r["kind"] == k for r in heard) for k in dict.fromkeys(KINDS)},
        "starts_by_kind": {r["kind"]: len(r["starts"]) for r in heard if r["starts"]},
        "nearest": max((r["nearest"] for r in heard), default=None),
        "taken": taken,
        "decided_after_ms": [round(np.percentile(after, p)) for p in (50, 95)] if after else None,
    }  # fmt: skip


def _most(events: int) -> float:
    """One-sided 95% upper bound of a Poisson count (exact: the mean at which so few come in 5%)."""
    low, high = float(events), events + 30.0
    for _ in range(60):
        mean = (low + high) / 2
        chance = sum(math.exp(-mean) * mean**k / math.factorial(k) for k in range(events + 1))
        low, high = (mean, high) if chance > 0.05 else (low, mean)
    return high


def show(found: dict[str, Any]) -> None:
    table = Table("figure", "measured", "aim", title="Standby")
    bound = f"at most {found['bound_an_hour']} an hour of this sound (95%)"
    table.add_row("false starts", f"{found['false_starts']} in {found['hours']} h; {bound}", "0 in 10 h")
    for condition, count in found["taken"].items():
        name = condition if condition == "clean" else f"{condition}, {SNR_DB} dB"
        share, aim = count["taken"] / count["n"], AIMS["clean" if condition == "clean" else "noisy"]
        table.add_row(f"phrase taken, {name}", f"{count['taken']} of {count['n']}, {100 * share:.1f}%", f"{100 * aim:.0f}%")
    for kind, row in found["cost"].items():
        table.add_row(f"share of a core, {kind}, {row['seconds']:.0f} s", f"{row['core_percent']:.1f}%", "5%")
        table.add_row(f"memory, {kind}", f"{row['memory_mb']} MB (most while loading {row['most_mb']})", "300 MB")
    answer = found["answer"]
    if "ms" in answer and answer["ms"]:
        text = f"p50 {statistics.median(answer['ms']):.0f}, most {max(answer['ms'])} ms (n {len(answer['ms'])})"
        table.add_row("phrase to first sound", f"{text}, {answer['missed']} not taken", "1 s")
    else:
        table.add_row("phrase to first sound", str(answer.get("left_out", "none was taken")), "1 s")
    Console(width=max(120, Console().width)).print(table)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--audio", type=Path)
    parser.add_argument("--out", type=Path, default=HERE / "results" / "standby")
    parser.add_argument("--hours", type=float, default=10.0)
    parser.add_argument("--phrases", type=int, default=200, help="of each condition")
    parser.add_argument("--seconds", type=float, default=120.0, help="of waiting in real time")
    parser.add_argument("--starts", type=int, default=8)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--short", action="store_true", help="a few of everything")
    parser.add_argument("--show", action="store_true", help="measure no more minutes and phrases")
    args = parser.parse_args()
    audio = args.audio or (BESIDE if BESIDE.is_dir() else shared_file("audio"))
    minutes, phrases = list(range(round(60 * args.hours))), args.phrases
    if args.short:
        minutes, phrases = [KINDS.index(kind) for kind in dict.fromkeys(KINDS)], 6
        args.seconds, args.starts = 6.0, 1
    args.out.mkdir(parents=True, exist_ok=True)
    kept = args.out / f"rows-{fingerprint(audio)}.jsonl"
    if not args.show:
        measure(kept, audio, minutes, phrases, args.jobs)
    found = figures(read_rows(kept), minutes, phrases)
    every = [minute(n, audio)[1] for n in (minutes if args.short else range(len(KINDS)))]
    each = max(1, round(args.seconds * limits.SAMPLE_RATE_HZ / len(every)))
    household = np.concatenate([one[:each] for one in every])  # so much of each minute
    sounds = {"quiet room": minute(KINDS.index("quiet"), audio)[1], "household": household}
    found["cost"] = {kind: cost(kind, sound, args.seconds) for kind, sound in sounds.items()}
    found["answer"] = answers(args.starts)
    speech = sum(KINDS.count(kind) for kind in SPEECH) / len(KINDS)
    found |= {
        "cores": os.cpu_count(), "machine": platform.machine(), "audio": audio.name,
        "speech_or_crying_share": speech, "load_1m": round(os.getloadavg()[0], 1), "aims": AIMS,
    }  # fmt: skip
    (args.out / "standby.json").write_text(json.dumps(found, indent=1) + "\n")
    show(found)
    clean = found["taken"].get("clean", {"taken": 0, "n": 0})  # none with --show and nothing kept
    sys.exit(1 if args.short and (found["false_starts"] or clean["taken"] < clean["n"] - 1) else 0)


if __name__ == "__main__":
    main()
