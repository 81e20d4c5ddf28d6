"""One emergency before anybody acts: whose it is, what is wrong, and who is there. Drawn by the seed alone."""

from dataclasses import dataclass
from functools import lru_cache
from random import Random
from typing import Any

from prompter.care.plan import Plan, load_plan
from prompter.flow.table import Variant
from prompter.practise.world.airway import Airway
from prompter.practise.world.parameters import Parameters
from prompter.practise.world.patient import Patient
from prompter.resources import shared_file

BEFORE_MS = 200_000
"""Trouble that begins before help is simulated for no longer than this."""


@dataclass(slots=True)
class Case:
    """`kind`: index of the patient in the parameters. Traits are what arms (flow, card) share."""

    seed: int
    kind: int
    cause: str
    airway: Airway
    patient: Patient
    helper: bool
    helper_knows: bool
    phone: bool
    panic: float
    silent: bool
    frozen_ms: int
    crew_ms: int


def kind_of(seed: int, p: Parameters) -> int:
    """Which of the parameters' patients this seed has."""
    kinds = p.tables["patients"]
    return Random(f"{seed} kind").choices(range(len(kinds)), [kind["weight"] for kind in kinds])[0]


def variant_of(plan: Plan) -> Variant:
    return Variant(plan.facts(), plan.spoken(), plan.numbers())


def plan_of(kind: dict[str, Any]) -> Plan:
    """The plan of one kind of patient, with what differs from its file."""
    return _plan(kind["plan"], tuple(sorted(kind.get("but", {}).items())))


@lru_cache(maxsize=64)
def _plan(name: str, but: tuple[tuple[str, Any], ...]) -> Plan:
    path = shared_file(f"{name}.yaml")
    plan = load_plan(path if path.exists() else shared_file("plans", f"{name}.yaml"))
    for dotted, value in but:
        group, field = dotted.split(".")
        part = getattr(plan, group).model_copy(update={field: value})
        plan = plan.model_copy(update={group: part})
    return plan


def draw(seed: int, p: Parameters) -> Case:
    """The same seed and parameters give the same case, whatever is done with it afterwards."""
    kind = kind_of(seed, p)
    plan = plan_of(p.tables["patients"][kind])
    facts, numbers = plan.facts(), plan.numbers()
    rng = Random(f"{seed} case")
    airway = _airway(facts, p, seed)
    age = next(age for age in ("infant", "child", "adult") if age in facts)
    usual = float(plan.patient.usual_saturation or 97)
    patient = Patient(p, age, usual, airway, numbers["breaths_per_minute"])
    cause = _cause(facts, p, rng)
    _strike(cause, airway, patient, p, rng)
    before_ms = int(1000 * p["patient.noticed_after_s"] * rng.lognormvariate(0, p["person.spread"]))
    patient.advance(min(before_ms, BEFORE_MS))
    patient.start_measuring()
    return Case(
        seed, kind, cause, airway, patient,
        helper="helper" in facts and rng.random() >= p["person.helper_absent"],
        helper_knows=rng.random() < p["call.helper_knows_phone"],
        phone=rng.random() >= p["call.no_phone"],
        panic=rng.random() * p["person.panic"],
        silent=rng.random() < p["person.never_speaks"],
        frozen_ms=int(1000 * p["person.frozen_s"]) if rng.random() < p["person.frozen"] else 0,
        crew_ms=int(60_000 * p["call.crew_min"] * rng.lognormvariate(0, 0.35)),
    )  # fmt: skip


def _airway(facts: frozenset[str], p: Parameters, seed: int) -> Airway:
    rng = Random(f"{seed} airway")
    airway = Airway(p, rng, next(way for way in ("open", "hard", "neck only") if way in facts))
    airway.has_tube = "tube" in facts
    airway.tube = "in" if airway.has_tube else ""
    airway.lid_on = "on tube" in facts
    airway.inner_in = "inner tube" in facts
    airway.inner_needed = "inner needed for bag" in facts
    airway.cuffed = airway.cuff_full = "cuffed" in facts
    airway.ventilator = "on" if "ventilated" in facts else ""
    airway.mouth_works = rng.random() < p["airway.mask_mouth_works"]
    airway.neck_works = rng.random() < p["airway.mask_neck_works"]
    return airway


def _cause(facts: frozenset[str], p: Parameters, rng: Random) -> str:
    needs = {
        "came out": "tube", "halfway out": "tube", "lid blocked": "on tube",
        "inner tube blocked": "inner tube", "ventilator fault": "ventilated",
    }  # fmt: skip
    weights = {c: w for c, w in p.tables["causes"].items() if needs.get(c) is None or needs[c] in facts}
    if "tube" not in facts:
        weights.pop("hard plug")  # nothing to change: it is suctioned or coughed out
    return rng.choices(list(weights), list(weights.values()))[0]


def _strike(cause: str, airway: Airway, patient: Patient, p: Parameters, rng: Random) -> None:
    flow = 0.0 if rng.random() < p["airway.full_plug"] else p["airway.partial_flow"]
    if cause in ("soft plug", "hard plug"):
        airway.plug, airway.plug_flow = cause.split()[0], flow
    elif cause == "inner tube blocked":
        airway.plug, airway.plug_flow = "inner", flow
    elif cause == "came out":
        airway.pull_out()
    elif cause == "halfway out":
        airway.tube = "halfway"
    elif cause == "lid blocked":
        airway.lid_blocks = True
    elif cause == "ventilator fault":
        airway.ventilator = "fault"
    elif cause == "breathing stopped":
        patient.apnoea_until = 1000 * rng.randint(60, 300)
    else:
        patient.effort = 0.45
    if airway.ventilator:
        patient.effort = 0.6  # off the ventilator

