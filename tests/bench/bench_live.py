"""Measures the live program through virtual sound devices; prints a table and writes JSON.

    python tests/bench/bench_live.py [--out FILE] [--voices N] [--starts N] [--short]

- first sound: from the start of the process to the first sample above -40 dB of the recording's
  peak, with no clip and protocol kept (cold) and with all (warm).
- reply: as CONTRACTS.md defines it, from the recording alone: the last sample above -40 dB of the
  utterance's peak to the first such sample of the prompter's next word. Room noise at -60 dB all along.
- memory: the highest resident set; idle: share of one core while it listens to that noise, silent.

Aims: reply p50 <= 400, p95 <= 700 ms; first sound <= 1 s warm, <= 3 s cold; <= 400 MB; idle <= 10% of a core.
--short (a minute) has one voice, one start and four answers, and leaves idling out; its exit code is 1
only if less than half of the answers were believed or had a reply that could be found.
"""

import argparse
import json
import os
import platform
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
from live_helpers import live_helper
from rich.console import Console
from rich.table import Table

VOICES = ("en-gb+f2", "en-gb", "en-us+f3", "en-gb-x-rp+m3", "en-us+m7", "en-029+f4")
ANSWERS = {
    "tube-check": "still in place",
    "valve-off": "okay done",
    "passed": "all the way",
    "look": "still struggling",
    "bag": "going up",
    "saline": "okay done",
}
"""What the caregiver says at each step."""

NOISE_DB = -60.0
IDLE_S = 15.0
SHORT_ANSWERS = 4
AIMS = {"reply_p50_ms": 400, "reply_p95_ms": 700, "first_warm_ms": 1_000, "first_cold_ms": 3_000, "memory_mb": 400, "idle_percent": 10}


servers, listening, caregivers = live_helper("sound_server"), live_helper("listening"), live_helper("caregiver")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--out", type=Path, help="write the figures here as JSON")
    parser.add_argument("--voices", type=int, default=4)
    parser.add_argument("--starts", type=int, default=3)
    parser.add_argument("--short", action="store_true", help="about a minute")
    arguments = parser.parse_args()
    if why := servers.missing():
        sys.exit(f"no virtual sound devices: {why}")
    folder = Path(tempfile.mkdtemp(prefix="bench-live-"))
    server = servers.SoundServer(folder)
    try:
        if arguments.short:
            figures = measure(server, folder, 1, 1, SHORT_ANSWERS)
        else:
            figures = measure(server, folder, arguments.voices, arguments.starts)
    finally:
        server.close()
        shutil.rmtree(folder, ignore_errors=True)
    show(figures)
    text = json.dumps(figures, indent=1)
    print(text)
    if arguments.out:
        arguments.out.write_text(text + "\n", encoding="utf-8")
    heard = min(figures["believed"], len(figures["replies"]))
    sys.exit(1 if arguments.short and 2 * heard < SHORT_ANSWERS else 0)


def measure(server: Any, folder: Path, voices: int, starts: int, answers: int | None = None) -> dict[str, Any]:
    """`answers`: so many of each voice, and no idling; all of them and idling if that is not given."""
    plan = caregivers.write_plan(folder / "plan.yaml")
    cold = [first_sound_ms(server, folder, plan, cold=True) for _ in range(starts)]
    caregivers.Respond(folder, server.environment, "--keys-only", "--plan", str(plan)).settle(12)
    warm = [first_sound_ms(server, folder, plan, cold=False) for _ in range(starts)]
    noise = noise_of(server, folder)
    replies: list[dict[str, Any]] = []
    memory_mb, lost = 0.0, 0
    for voice in VOICES[:voices]:
        found, used_mb, late = one_talk(server, folder, plan, voice, answers)
        replies += found
        memory_mb, lost = max(memory_mb, used_mb), lost + late
    idle = idle_percent(server, folder, plan) if answers is None else None
    noise.kill()
    quiet = [reply for reply in replies if not reply["over_a_prompt"]]
    return {
        "cores": os.cpu_count(), "machine": platform.machine(), "python": platform.python_version(),
        "load_1m": round(os.getloadavg()[0], 1),
        "reply_ms": percentiles([reply["reply_ms"] for reply in quiet]),
        "over_a_prompt_ms": percentiles([r["reply_ms"] for r in replies if r["over_a_prompt"]]),
        "decide_ms": percentiles([reply["decide_ms"] for reply in replies]),
        "believed": sum(reply["believed"] for reply in replies), "answers": len(replies), "blocks_late": lost,
        "first_sound_ms": {"cold": [round(ms) for ms in cold], "warm": [round(ms) for ms in warm]},
        "memory_mb": round(memory_mb), "idle_percent": None if idle is None else round(idle, 1), "replies": replies,
    }  # fmt: skip


def percentiles(times: list[float]) -> dict[str, int | None]:
    """p50, p95 and n."""
    if not times:
        return {"p50": None, "p95": None, "n": 0}
    p50, p95 = np.percentile(times, [50, 95])
    return {"p50": round(p50), "p95": round(p95), "n": len(times)}


def first_sound_ms(server: Any, folder: Path, plan: Path, cold: bool) -> float:
    """One start. The recorder is read as it records: its own delay (20 ms) is part of the figure."""
    if cold:
        shutil.rmtree(folder / "home", ignore_errors=True)
    recorder = subprocess.Popen(
        ["parec", "--device=loudspeaker.monitor", "--raw", "--format=s16le", f"--rate={servers.RATE_HZ}",
         "--channels=1", "--latency-msec=10"], env=server.environment, stdout=subprocess.PIPE,
    )  # fmt: skip
    assert recorder.stdout is not None
    os.read(recorder.stdout.fileno(), 960)
    program = caregivers.Respond(folder, server.environment, "--plan", str(plan))
    loud = 32768 * 10 ** (listening.LOUD_DB / 20) * 0.5
    try:
        while True:
            data = os.read(recorder.stdout.fileno(), 960)
            samples = np.frombuffer(data[: len(data) // 2 * 2], np.int16)
            if len(samples) and np.abs(samples.astype(int)).max() > loud:
                return 1000 * (time.monotonic() - program.began)
            if time.monotonic() - program.began > 20:
                raise RuntimeError("no sound")
    finally:
        recorder.kill()
        program.settle(1)


def noise_of(server: Any, folder: Path) -> "subprocess.Popen[bytes]":
    """Room noise in the mouth, for half an hour."""
    random = np.random.default_rng(1)
    second = 10 ** (NOISE_DB / 20) * random.standard_normal(60 * 16_000)
    return server.say(np.tile(second, 30).astype(np.float32), 16_000)


def one_talk(server: Any, folder: Path, plan: Path, voice: str, answers: int | None) -> tuple[list[dict[str, Any]], float, int]:
    """One caregiver through the first steps (so many of them): replies, memory in MB, blocks that came late."""
    recording = folder / "room.raw"
    caregiver = caregivers.Caregiver(server, voice)
    recorder = server.record(recording)
    program = caregivers.Respond(folder, server.environment, "--plan", str(plan))
    heard = []
    try:
        program.hears()
        for step, wording in list(ANSWERS.items())[:answers]:
            program.wait_for(lambda e, step=step: caregivers.step_of(e) == step and caregivers.asked(e), 60)
            before = len(program.events())
            caregiver.say(wording)
            try:
                events = program.wait_for(lambda e, n=before: any(x["kind"] == "heard" for x in e[n:]), 6)
            except AssertionError:
                break  # it was not heard at all, and silence led elsewhere
            heard.append(next(e for e in events[before:] if e["kind"] == "heard"))
            if not heard[-1]["believed"]:
                program.press(KEYS[step])
        time.sleep(2)
        memory_mb = status(program.process.pid, "VmHWM") / 1024
    finally:
        program.settle(0)
        recorder.terminate()
        recorder.wait()
    events = program.events()
    late = max((e["played_late"] for e in events if e["kind"] == "sound lost"), default=0)
    return _replies(events, heard, caregiver, recording), memory_mb, late


KEYS = {"tube-check": "1", "valve-off": "1", "passed": "1", "look": "4", "bag": "1", "saline": "1"}
"""The same answers by key, should one not be believed."""


def _replies(events: list[dict[str, Any]], heard: list[dict[str, Any]], caregiver: Any, recording: Path) -> list[dict[str, Any]]:
    from prompter.speak.own_voice import prompter_voice

    mouth, loudspeaker = servers.recorded(recording)
    voice, found, after_s = prompter_voice(), [], 0.0
    for (text, clip), decided in zip(caregiver.said, heard, strict=False):
        said = listening.find(clip, 22_050, mouth, servers.RATE_HZ, after_s, 200.0)
        if said is None:
            continue
        after_s = said.end_s
        reply = next(
            (e["text"] for e in events if e["seq"] > decided["seq"] and e["kind"] == "say" and e["role"] != "call"), ""
        )
        word = voice.render(reply)[: round(0.6 * 22_050)]
        spoken = listening.find(word, 22_050, loudspeaker, servers.RATE_HZ, said.end_s, 8.0)
        if spoken is not None:
            reply_ms = 1000 * (spoken.begin_s - said.end_s)
            found.append({
                "said": text, "heard": decided["heard"], "believed": decided["believed"], "reply": reply,
                "over_a_prompt": was_cut(events, decided), "reply_ms": round(reply_ms), "decide_ms": decided["decide_ms"],
                "known_ms": decided["mono_ms"] - decided["ended_ms"],
            })  # fmt: skip
    return found


def was_cut(events: list[dict[str, Any]], decided: dict[str, Any]) -> bool:
    """Whether the prompter was speaking when it was answered: such replies are reported apart."""
    soon = [e for e in events if e["seq"] > decided["seq"] and e["mono_ms"] < decided["mono_ms"] + 300]
    return any(e["kind"] == "prompt ended" and e["cut"] for e in soon)


def idle_percent(server: Any, folder: Path, plan: Path) -> float:
    """Share of one core between two questions of the watching step."""
    program = caregivers.Respond(folder, server.environment, "--plan", str(plan))
    try:
        for step, keys in (("tube-check", "1"), ("valve-off", "1"), ("passed", "1"), ("look", "1"), ("lips", "11"), ("number", "#97\n")):
            program.wait_for(lambda e, step=step: caregivers.step_of(e) == step, 40)
            for key in keys:
                program.press(key)
                time.sleep(0.4 if len(keys) == 2 else 0)
        program.wait_for(lambda e: any(x["kind"] == "say" and x["text"].startswith("How is") for x in e), 60)
        program.press("1")
        time.sleep(4)
        before = cpu_s(program.process.pid)
        time.sleep(IDLE_S)
        return 100 * (cpu_s(program.process.pid) - before) / IDLE_S
    finally:
        program.settle(0)


def cpu_s(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def status(pid: int, name: str) -> int:
    """A figure of /proc/PID/status in kB."""
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith(name):
            return int(line.split()[1])
    raise KeyError(name)


def show(figures: dict[str, Any]) -> None:
    table = Table("figure", "measured", "aim", title="Live, through virtual sound devices")
    reply, first = figures["reply_ms"], figures["first_sound_ms"]
    table.add_row("reply p50, ms", f"{reply['p50']} (n {reply['n']})", f"<= {AIMS['reply_p50_ms']}")
    table.add_row("reply p95, ms", str(reply["p95"]), f"<= {AIMS['reply_p95_ms']}")
    table.add_row("first sound warm, ms", str(first["warm"]), f"<= {AIMS['first_warm_ms']}")
    table.add_row("first sound cold, ms", str(first["cold"]), f"<= {AIMS['first_cold_ms']}")
    table.add_row("memory, MB", str(figures["memory_mb"]), f"<= {AIMS['memory_mb']}")
    table.add_row("idle listening, % of a core", str(figures["idle_percent"]), f"<= {AIMS['idle_percent']}")
    over = figures["over_a_prompt_ms"]
    table.add_row("reply into a prompt p50, ms", f"{over['p50']} (n {over['n']})", "")
    table.add_row("deciding p50 / p95, ms", "{p50} / {p95}".format(**figures["decide_ms"]), "")
    table.add_row("believed at the first try", f"{figures['believed']} of {figures['answers']}", "")
    Console().print(table)


if __name__ == "__main__":
    main()
