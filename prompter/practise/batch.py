"""Runs one or many rehearsals after one another and gathers what they show."""

import random
import sys
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Any

import numpy as np
from rich.console import Console

from prompter.care.approval import standing
from prompter.care.place import cache_folder
from prompter.care.plan import load_plan
from prompter.errors import CannotDo
from prompter.flow.family import family_text, least_approved
from prompter.flow.reading import load_flow
from prompter.flow.table import Table, Variant, build
from prompter.hear.ear import Ear
from prompter.hear.ears import loaded_ears
from prompter.opening import opened_record
from prompter.practise.rehearsal import Outcome, Setting, rehearse
from prompter.practise.script import Noise, Script, load_script, script_path, scripts
from prompter.practise.story import Story
from prompter.resources import data_folder, flow_file
from prompter.speak.loudness import Limits
from prompter.speak.own_voice import prompter_voice
from prompter.speak.plan_voice import plan_voice
from prompter.speak.voice import EspeakVoice

CAREGIVER_RATES_WPM = (145, 185)
CAREGIVER_PITCHES = (40, 60)
CAREGIVERS = tuple(
    f"{accent}+{variant}"
    for accent in ("en-us", "en-gb", "en-gb-x-rp")
    for variant in ("f2", "f3", "f4", "m1", "m2", "m3", "m5", "m6")
)
"""Synthetic voices a listener can follow, none of them the prompter's own (en-us). Others: --voice."""


@dataclass
class Request:
    """What `prompter rehearse` was asked for."""

    scripts: list[str] = field(default_factory=list)
    all_scripts: bool = False
    plan: Path | None = None
    seed: int = 0
    noise: str | None = None
    snr_db: float | None = None
    voice: str | None = None
    compute_ms: int | None = None
    echo_db: float | None = None
    over_share: float = 0.0
    out: Path = Path("rehearsals")


def run_batch(request: Request, console: Console, quiet: bool, now: datetime) -> dict[str, Any]:
    """Rehearses everything asked for; CONTRACTS' JSON object. Raises CannotDo before anything starts."""
    paths = scripts() if request.all_scripts else [script_path(name) for name in request.scripts]
    if not paths:
        raise CannotDo("there is nothing to rehearse.", "shared/scripts", "Install the package again.")
    prepared = [_prepare(path, request) for path in paths]
    if not quiet:
        for line in not_approved(prepared, now.date()):
            console.print(line, highlight=False, soft_wrap=True)
    ears = loaded_ears(cache_folder(), tell=lambda line: print(line, file=sys.stderr))
    outcomes = [_one(script, plan, request, ears, console, quiet, now) for script, plan in prepared]
    replies = sorted(ms for outcome in outcomes for ms in outcome.tally.reply_times())
    return {
        "ears": [ear.name for ear in ears],
        "reply_ms": {"p50": _percentile(replies, 50), "p95": _percentile(replies, 95), "n": len(replies)},
        "rehearsals": [outcome.record for outcome in outcomes],
    }


def _prepare(path: Path, request: Request) -> tuple[Script, Path]:
    script = load_script(path)
    flow = load_flow(flow_file(script.flow))
    script = load_script(path, flow)
    if request.noise is not None or request.snr_db is not None:
        kind = request.noise or (script.noise.kind if script.noise else None)
        if kind is None:
            raise CannotDo("an SNR needs a noise.", "--snr", "Give --noise as well, such as --noise baby-cry.")
        snr = request.snr_db if request.snr_db is not None else 10.0
        script = script.model_copy(update={"noise": Noise(kind=kind, snr_db=snr)})
    if request.plan is not None:
        return script, request.plan
    folder = data_folder("shared")
    plan = folder / f"{script.plan}.yaml"
    return script, plan if plan.exists() else folder / "plans" / f"{script.plan}.yaml"


def not_approved(prepared: list[tuple[Script, Path]], today: date) -> list[str]:
    """One line for all that is rehearsed without an approval; none if everything has one."""
    found = {}
    for script, plan_file in prepared:
        found[f"flow {script.flow}"] = least_approved(flow_file(script.flow), today)[1]
        found[f"plan {plan_file.stem}"] = standing(plan_file, today, load_plan(plan_file).demonstration)
    lines = [f"{name} is {stands.says.rstrip('.')}" for name, stands in found.items() if not stands.holds]
    return [f"For practice only: {'; '.join(lines)}."] if lines else []


def table_for(flow_name: str, plan_file: Path) -> tuple[Table, str, str]:
    """The table of a flow for a plan, with the texts of flow and plan."""
    plan = load_plan(plan_file)
    path = flow_file(flow_name)
    flow = load_flow(path)
    table = build(flow, Variant(plan.facts(), plan.spoken(), plan.numbers()))
    return table, family_text(path), plan_file.read_text("utf-8")


def _one(
    script: Script, plan_file: Path, request: Request, ears: list[Ear], console: Console, quiet: bool, now: datetime
) -> Outcome:
    table, flow_text, plan_text = table_for(script.flow, plan_file)
    plan = load_plan(plan_file).voice
    own_voice = plan_voice(cache_folder() / "clips", plan.name, prompter_voice(), table.texts)
    clips = own_voice.clips
    clips.prepare(table.texts())
    caregiver = _caregiver_voice(request, script)
    story = Story(console)
    if not quiet:
        noise = script.noise
        room = f"Room: {noise.kind}, {noise.snr_db:g} dB." if noise else "Quiet room."
        if request.echo_db is not None:
            room += f" The microphone hears the prompter, at {request.echo_db:+g} dB."
        if own_voice.lacks:
            room += f" In the embedded voice: {own_voice.lacks.rstrip('.')}."
        story.begin(f"{script.title}", f"Rehearsal {script.script}, seed {request.seed}. Invented plan: {plan_file.stem}.", room)
    setting = Setting(
        script=script, table=table, ears=ears, clips=clips, render=_cached(caregiver), seed=request.seed,
        compute_ms=request.compute_ms, folder=request.out / f"{script.script}-{request.seed}",
        opened=opened_record(
            flow_text=flow_text, plan_text=plan_text, plan_name=plan_file.name, variant=table.variant, live=False,
            seed=request.seed, voice=own_voice.name, ears=[ear.name for ear in ears],
            settings={
                "script": script.script, "caregiver_voice": caregiver.name, "compute_ms": request.compute_ms,
                "noise": script.noise.model_dump() if script.noise else None, "echo_db": request.echo_db,
            },
            approval={
                "flow": least_approved(flow_file(script.flow), now.date())[1].says,
                "plan": standing(plan_file, now.date(), load_plan(plan_file).demonstration).says,
            },
        ),
        began=now, watch=(lambda record: None) if quiet else story.saw,
        echo_db=request.echo_db, over_share=request.over_share, loudness=Limits(plan.quietest_db, plan.loudest_db),
    )  # fmt: skip
    outcome = rehearse(setting)
    outcome.record["report"] = str(_account(setting.folder))
    if not quiet:
        story.end(outcome.record)
    return outcome


def _account(folder: Path) -> Path:
    from prompter.review.files import write_page

    return write_page(folder / "journal.jsonl", folder / "account.html")


def _caregiver_voice(request: Request, script: Script) -> EspeakVoice:
    """Drawn by the seed, never the prompter's own."""
    draw = random.Random(f"{request.seed} {script.script}")
    name = request.voice or draw.choice(CAREGIVERS)
    return EspeakVoice(name, draw.randint(*CAREGIVER_RATES_WPM), draw.randint(*CAREGIVER_PITCHES))


def _cached(voice: EspeakVoice) -> Any:
    clips: dict[str, np.ndarray] = {}

    def render(text: str) -> np.ndarray:
        if text not in clips:
            clips[text] = voice.render(text)
        return clips[text]

    return render


def _percentile(ordered: list[int], percent: int) -> int | None:
    if not ordered:
        return None
    return int(np.percentile(ordered, percent, method="inverted_cdf"))
