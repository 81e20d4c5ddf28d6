"""The groups of a care plan: what is asked about patient, tube, suction, people and phone.

Every description is read by people: it is in the JSON Schema and in the message when the field is
missing or wrong. What contradicts what is in `contradictions.py`.
"""

from datetime import date
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, WithJsonSchema

from prompter.care.breathing import AgeGroup
from prompter.care.cylinder import Letter
from prompter.care.fields import (
    OR_NONE,
    InsideMm,
    Millilitres,
    Part,
    Percent,
    PhoneNumber,
    SpokenName,
    Text,
    YesNo,
)


class Patient(Part):
    name: SpokenName = Field(description="the short name the caregiver calls the patient by")
    age_group: AgeGroup = Field(description="infant (under 1 year), child (to puberty) or adult")
    weight_kg: float = Field(ge=1, le=300, description="weight in kilograms")
    resting_breaths_a_minute: int = Field(ge=5, le=90, description="breaths a minute at rest")
    oximeter: YesNo = Field(description="yes if an oximeter is at hand at home")
    usual_saturation: Annotated[Percent | None, OR_NONE] = Field(
        description="the usual oxygen saturation in percent; none if it is never measured"
    )
    act_below_saturation: Annotated[Percent | None, OR_NONE] = Field(
        description="the floor: a saturation below it is acted on; none if it is never measured"
    )
    why_the_tube: Text = Field(description="why there is a tube or hole in the neck, in plain words")


def _breathe_word(value: Any) -> Any:
    # A YAML 1.1 tool turns a bare yes into true on the way here.
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else value


class Airway(Part):
    way_to_lungs: Literal["open", "hard", "none"] = Field(
        description="the way from mouth and nose to the lungs: open, hard, or none (neck-only)"
    )
    can_breathe_through_mouth_or_nose: Annotated[
        Literal["yes", "partly", "no"],
        BeforeValidator(_breathe_word),
        WithJsonSchema({"enum": ["yes", "partly", "no", True, False]}),
    ] = Field(
        description="with the neck hole shut, would air come through mouth or nose: yes, partly, no"
    )


class Tube(Part):
    inside_mm: InsideMm = Field(description="inside diameter of the tube in millimetres")
    cuff: Literal["none", "air", "water"] = Field(description="the cuff: none, air or water")
    cuff_ml: Annotated[Millilitres | None, OR_NONE] = Field(
        default=None, description="what fills the cuff, in millilitres; none without a cuff"
    )
    cuff_pressure_cmh2o: Annotated[
        Annotated[float, Field(gt=0, le=60)] | None, OR_NONE
    ] = Field(default=None, description="ordered cuff pressure in cmH2O, if one is ordered")
    inner_tube: YesNo = Field(description="yes if the tube has an inner tube that comes out")
    bag_fits_without_inner_tube: YesNo = Field(
        default=True, description="yes if the bag fits the tube while the inner tube is out"
    )
    sits_on_it: list[Literal["cap", "valve", "filter"]] = Field(
        max_length=3, description="what usually sits on the tube: a list of cap, valve, filter"
    )
    spare_same_size: YesNo = Field(description="yes if a spare of the same size is in the bag")
    smaller_spare_inside_mm: Annotated[InsideMm | None, OR_NONE] = Field(
        description="inside diameter of the smaller spare in millimetres, or none"
    )
    guide: YesNo = Field(description="yes if a guide (obturator) goes in with the tube")
    first_change_done: Annotated[date | None, OR_NONE] = Field(
        description="the day the care team did the first tube change, or none if not yet done"
    )
    change_allowed_at_home: YesNo = Field(description="yes if the tube may be changed at home")
    who_may_change_it: Annotated[Text | None, OR_NONE] = Field(
        description="who is trained to change the tube, or none"
    )
    over_a_catheter_third_try: YesNo = Field(
        default=False, description="yes if a third try over a suction catheter is ordered"
    )
    trained_over_a_catheter: YesNo = Field(
        default=False, description="yes if the caregiver was trained to change over a catheter"
    )


class Suction(Part):
    depth_cm: float = Field(ge=1, le=30, description="measured suction depth in centimetres")
    catheter_fr: float = Field(ge=4, le=24, description="suction catheter gauge in French")
    vacuum_mmhg: float = Field(ge=20, le=300, description="vacuum of the machine in mmHg")
    seconds: float = Field(ge=2, le=60, description="longest suction pass in seconds")
    past_depth_when_blocked: YesNo = Field(
        description="yes if one pass beyond the depth is ordered for a blocked tube"
    )


class Rescue(Part):
    saline_ml: Annotated[Annotated[float, Field(ge=0.1, le=10)] | None, OR_NONE] = Field(
        description="saline into the tube in millilitres, or not ordered"
    )
    no_rise_first: Literal["cycle", "change"] = Field(
        default="cycle",
        description="chest flat at the first bag breaths: finish the cycle, or change at once",
    )
    breaths_a_minute: Annotated[Annotated[float, Field(ge=10, le=40)] | None, OR_NONE] = Field(
        default=None, description="breaths a minute with the bag; none for the guideline's rate"
    )
    mouth_to_tube_trained: YesNo = Field(
        description="yes if the caregiver was trained to breathe into the tube"
    )
    bleeding_cuff_air_ml: Annotated[Millilitres | None, OR_NONE] = Field(
        description="air to add to the cuff when it bleeds, in millilitres, or not ordered"
    )


class Oxygen(Part):
    cylinder: Letter = Field(description="letter of the cylinder: D, E, M, G, H or K")
    gauge_psi: float = Field(ge=0, le=3500, description="the cylinder's gauge reading in psi")
    usual_l_min: float = Field(ge=0, le=25, description="usual flow in litres a minute")
    highest_l_min: float = Field(gt=0, le=25, description="highest flow in litres a minute")


class Helper(Part):
    usual: YesNo = Field(description="yes if a second caregiver is usually there")
    name: Annotated[SpokenName | None, OR_NONE] = Field(
        default=None, description="the helper's short name, said aloud"
    )


class Compressions(Part):
    trained: YesNo = Field(description="yes if the caregiver was trained in pushing the chest")
    order: Literal["breaths first", "pushes first"] = Field(
        description="breaths first or pushes first, as trained"
    )


class Phone(Part):
    number: PhoneNumber = Field(description="the emergency number, in quotes")
    dialled_without_hands: Text = Field(description="how it is dialled when no hand is free")
    last_tested: Annotated[date | None, OR_NONE] = Field(
        description="the day dialling without hands was last tried, or none"
    )
    address: list[Text] = Field(
        min_length=1, max_length=5, description="the address, line by line, as read to an operator"
    )
    call_back: PhoneNumber = Field(description="the number to call back, in quotes")
    door: Text = Field(description="which door, and how it opens")
    pets: Annotated[Text | None, OR_NONE] = Field(default=None, description="pets, or none")


class Clinician(Part):
    name: Text = Field(description="the clinician to phone")
    phone: PhoneNumber = Field(description="the clinician's number, in quotes")
    hospital: Text = Field(description="the hospital that knows the patient")


class Voice(Part):
    name: Literal["embedded", "natural", "natural low"] = Field(
        default="embedded", description="who speaks; the natural ones need the extra 'voice', and the embedded one stands in"
    )
    quietest_db: float = Field(default=0.0, ge=-12, le=0, description="never quieter than this, dB against the usual loudness")
    loudest_db: float = Field(default=9.0, ge=0, le=9, description="in noise never louder than this, dB against the usual loudness")


class Approval(Part):
    approved_by: Annotated[Text | None, OR_NONE] = Field(
        description="the clinician who approved this plan, or none while it waits"
    )
    approved_on: Annotated[date | None, OR_NONE] = Field(description="the day of approval, or none")
    review_due: Annotated[date | None, OR_NONE] = Field(description="the day of the next review")
