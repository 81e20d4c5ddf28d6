"""The care plan: what this patient's clinician ordered, as facts, words and numbers for the flow."""

from pathlib import Path
from typing import Annotated, Any, Self

from pydantic import Field, ValidationError, model_validator
from pydantic_core import PydanticCustomError

from prompter.care import breathing, words
from prompter.care.catheter import PASS_USUAL_S
from prompter.care.contradictions import contradictions
from prompter.care.fields import OR_NONE, Part, YesNo
from prompter.care.parts import (
    Airway,
    Approval,
    Clinician,
    Compressions,
    Helper,
    Oxygen,
    Patient,
    Phone,
    Rescue,
    Suction,
    Tube,
    Voice,
)
from prompter.care.problems import MAY_BE_ABSENT, problems_of
from prompter.care.reading import Document, read_yaml, read_yaml_text

FACTS: dict[str, str] = {
    "infant": "under one year",
    "child": "one year to puberty",
    "adult": "after puberty",
    "tube": "there is a tube in the neck hole",
    "cuffed": "the tube has a cuff",
    "inner tube": "the tube has an inner tube that comes out",
    "inner needed for bag": "the bag does not fit while the inner tube is out",
    "on tube": "a cap, valve or filter usually sits on the tube",
    "open": "the way from mouth and nose to the lungs is free",
    "hard": "the way from mouth and nose to the lungs is narrow or difficult",
    "neck only": "mouth and nose lead nowhere: the neck hole is the only way",
    "helper": "a second caregiver is usually there",
    "ventilated": "a ventilator is usually on the tube",
    "oxygen": "there is an oxygen cylinder",
    "saline": "saline into the tube is ordered",
    "change at once": "chest flat at the first bag breaths: change the tube at once",
    "change allowed": "the tube may be changed at home",
    "past depth": "one suction pass beyond the depth is ordered for a blocked tube",
    "compressions trained": "the caregiver was trained in pushing the chest",
    "pushes first": "trained order: pushes before breaths",
    "same spare": "a spare of the same size is there",
    "smaller spare": "a smaller spare is there",
    "guide": "a guide (obturator) is there",
    "over catheter": "a third try over a suction catheter is ordered and trained",
    "oximeter": "an oximeter is at hand",
    "mouth to tube": "the caregiver was trained to breathe into the tube",
    "bleeding cuff": "air into the cuff is ordered when it bleeds",
    "call at once": "the call is asked for at the start",
}
"""The closed vocabulary of `Plan.facts()`, each with its meaning."""

CALL_AFTER_HELPED_S, CALL_AFTER_ALONE_S = 0.0, 30.0
"""Common practice, no source: who is alone frees one hand first."""

SPO2_FLOOR_DEFAULT = 92
"""Used when the plan has no floor: it only keeps the flow from watching too soon, and is never
spoken as the patient's own. Common practice, no source."""

_WAYS = {"open": "open", "hard": "hard", "none": "neck only"}


class Plan(Part):
    """The whole plan. Reading it raises on any contradiction; an old plan is still a plan."""

    demonstration: YesNo = Field(default=False, description="yes for an invented plan")
    patient: Patient = Field(description="who is cared for")
    airway: Airway = Field(description="the airway above the tube, asked twice in other words")
    tube: Annotated[Tube | None, OR_NONE] = Field(description="the tube and its spares, or none")
    suction: Suction = Field(description="how suction is done")
    rescue: Rescue = Field(description="what is ordered for the rescue cycle")
    oxygen: Annotated[Oxygen | None, OR_NONE] = Field(description="the oxygen cylinder, or none")
    ventilator: YesNo = Field(description="yes if a ventilator is usually on the tube")
    helper: Helper = Field(description="the second caregiver")
    compressions: Compressions = Field(description="pushing the chest")
    phone: Phone = Field(description="the call for help")
    clinician: Clinician = Field(description="who is phoned when it is over")
    call_after_s: Annotated[Annotated[float, Field(ge=0, le=120)] | None, OR_NONE] = Field(
        default=None,
        description="seconds from the start until the call is asked for; none: 0 with a helper,"
        " 30 alone",
    )
    voice: Voice = Field(default=Voice(), description="with which voice and how loud the prompter speaks")
    keep_sound: YesNo = Field(description="yes if the sound of an emergency is kept")
    approval: Approval = Field(description="who approved this plan, and until when")

    @model_validator(mode="after")
    def _nothing_contradicts(self) -> Self:
        if found := contradictions(self.values()):
            raise PydanticCustomError(
                "contradictions", "the plan contradicts itself", {"found": found}
            )
        return self

    def values(self) -> dict[str, Any]:
        """Dotted path -> value; a part that may be absent also has its own path, True if there."""
        flat: dict[str, Any] = {}
        for name in type(self).model_fields:
            value = getattr(self, name)
            if isinstance(value, Part):
                flat |= {f"{name}.{key}": getattr(value, key) for key in type(value).model_fields}
            elif name not in MAY_BE_ABSENT:
                flat[name] = value
        return flat | {name: getattr(self, name) is not None for name in MAY_BE_ABSENT}

    def facts(self) -> frozenset[str]:
        """What holds for this patient, in the words of `FACTS`."""
        tube, rescue = self.tube, self.rescue
        held = {
            self.patient.age_group: True,
            _WAYS[self.airway.way_to_lungs]: True,
            "helper": self.helper.usual,
            "ventilated": self.ventilator,
            "oxygen": self.oxygen is not None,
            "saline": rescue.saline_ml is not None,
            "change at once": rescue.no_rise_first == "change",
            "past depth": self.suction.past_depth_when_blocked,
            "compressions trained": self.compressions.trained,
            "pushes first": self.compressions.order == "pushes first",
            "oximeter": self.patient.oximeter,
            "mouth to tube": tube is not None and rescue.mouth_to_tube_trained,
            "call at once": self._call_after_s() == 0,
        }
        if tube is not None:
            held |= {
                "tube": True,
                "cuffed": tube.cuff != "none",
                "inner tube": tube.inner_tube,
                "inner needed for bag": not tube.bag_fits_without_inner_tube,
                "on tube": bool(tube.sits_on_it),
                "change allowed": tube.change_allowed_at_home,
                "same spare": tube.spare_same_size,
                "smaller spare": tube.smaller_spare_inside_mm is not None,
                "guide": tube.guide,
                "over catheter": tube.over_a_catheter_third_try,
                "bleeding cuff": rescue.bleeding_cuff_air_ml is not None,
            }
        return frozenset(fact for fact, holds in held.items() if holds)

    def spoken(self) -> dict[str, str]:
        """Words for the braces in the prompts; what is not ordered gets words without number."""
        said = dict(_SPOKEN_WITHOUT_A_PLAN)
        depth = words.quantity(self.suction.depth_cm, "centimetre")
        door = [self.phone.door.rstrip("."), *([self.phone.pets] if self.phone.pets else [])]
        said |= {
            "name": self.patient.name,
            "number": words.digits(self.phone.number),
            "depth": depth,
            "past_depth": f"past {depth}",
            "address": words.sentence_list(self.phone.address),
            "callback": words.digits(self.phone.call_back),
            "door": ". ".join(door),
            "clinician": self.clinician.name,
            "hospital": self.clinician.hospital,
            "catheter": f"{words.number(self.suction.catheter_fr)} French",
            "suction_s": words.quantity(self.suction.seconds, "second"),
        }
        if self.helper.name:
            said["helper"] = self.helper.name
        if self.rescue.saline_ml is not None:
            said["saline_ml"] = words.quantity(self.rescue.saline_ml, "millilitre")
        if self.tube and self.tube.cuff_ml is not None:
            cuff_ml = words.quantity(self.tube.cuff_ml, "millilitre")
            said["cuff_ml"] = f"{cuff_ml} of {self.tube.cuff}"
        if self.rescue.bleeding_cuff_air_ml is not None:
            said["bleeding_cuff_ml"] = words.quantity(self.rescue.bleeding_cuff_air_ml, "millilitre")
        return said

    def numbers(self) -> dict[str, float]:
        """What pacing and timers need; the unit is last in each name."""
        age_group = self.patient.age_group
        return _numbers(
            breaths_per_minute=self.rescue.breaths_a_minute
            or breathing.BREATHS_PER_MINUTE[age_group],
            cycle=breathing.pushes_and_breaths(
                age_group, 2 if self.helper.usual else 1, self.compressions.trained
            ),
            suction_s=self.suction.seconds,
            call_after_s=self._call_after_s(),
            spo2_floor=self.patient.act_below_saturation or SPO2_FLOOR_DEFAULT,
        )

    def _call_after_s(self) -> float:
        if self.call_after_s is not None:
            return self.call_after_s
        return CALL_AFTER_HELPED_S if self.helper.usual else CALL_AFTER_ALONE_S


def _numbers(
    breaths_per_minute: float,
    cycle: tuple[int, int],
    suction_s: float,
    call_after_s: float,
    spo2_floor: float,
) -> dict[str, float]:
    return {
        "breaths_per_minute": float(breaths_per_minute),
        "breath_s": breathing.BREATH_S,
        "rescue_breaths": float(breathing.rescue_breaths(breaths_per_minute)),
        "pushes_per_minute": breathing.PUSHES_PER_MINUTE,
        "pushes_a_cycle": float(cycle[0]),
        "breaths_a_cycle": float(cycle[1]),
        "suction_s": float(suction_s),
        "call_after_s": float(call_after_s),
        "spo2_floor": float(spo2_floor),
    }


_SPOKEN_WITHOUT_A_PLAN: dict[str, str] = {
    "name": "the patient",
    "helper": "Helper",
    "number": "your emergency number",
    "depth": "to your measured depth",
    "past_depth": "past your measured depth",
    "saline_ml": "as ordered",
    "cuff_ml": "as ordered",
    "bleeding_cuff_ml": "as ordered",
    "address": "your address",
    "callback": "your own number",
    "door": "which door is open",
    "clinician": "your clinician",
    "hospital": "your hospital",
    "catheter": "your usual catheter",
    "suction_s": "a few seconds",
}


def for_no_plan() -> tuple[frozenset[str], dict[str, str], dict[str, float]]:
    """Facts, words and numbers when there is no plan or a broken one: nothing is invented.

    The facts ask for more rather than less (take off what may sit on the tube, an inner tube out);
    the neck hole comes before the face; nothing that needs an order or training is assumed.
    """
    facts = frozenset(
        ("child", "tube", "inner tube", "on tube", "hard", "oxygen")
        + ("change allowed", "same spare", "smaller spare", "guide")
    )
    numbers = _numbers(
        breaths_per_minute=breathing.BREATHS_PER_MINUTE["child"],
        cycle=breathing.pushes_and_breaths("child", rescuers=1, trained=False),
        suction_s=PASS_USUAL_S["child"],
        call_after_s=CALL_AFTER_ALONE_S,
        spo2_floor=SPO2_FLOOR_DEFAULT,
    )
    return facts, dict(_SPOKEN_WITHOUT_A_PLAN), numbers


def load_plan(path: str | Path) -> Plan:
    """Reads and checks a plan. Raises CannotDo with file and line; PlanProblems lists all it found.

    An overdue review or a missing approval does not stop it: an emergency needs the plan it has.
    """
    return _checked(read_yaml(path))


def parse_plan(text: str, name: str) -> Plan:
    """The same for a text that is at hand, such as a journal's; `name` is how messages call it."""
    return _checked(read_yaml_text(text, name))


def _checked(document: Document) -> Plan:
    try:
        return Plan.model_validate(document.data)
    except ValidationError as error:
        raise problems_of(error, document, Plan) from None

