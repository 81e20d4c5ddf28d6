"""The simulated body against published figures (written here, never taken from the program's own file)."""

from random import Random

import pytest

from prompter.practise.world.airway import Airway
from prompter.practise.world.parameters import the_parameters
from prompter.practise.world.patient import Patient

# Patel et al., Can J Anaesth 1994;41:771, from memory: seconds without breathing until 90%, after breathing oxygen.
PUBLISHED_S = {"infant": 97, "child": 160, "adult": 382}


def patient(age: str, usual: float = 100, **changed: float) -> Patient:
    p = the_parameters().with_values(**changed)
    airway = Airway(p, Random(1), "open")
    airway.pull_out()
    return Patient(p, age, usual, airway, 20)


def until(body: Patient, percent: float) -> int:
    """Seconds until the saturation is there, nothing reaching the lungs."""
    body.apnoea_until = 10_000_000
    while body.spo2 > percent:
        body.advance(body.now + 1000)
        assert body.now < 3_600_000
    return body.now // 1000


@pytest.mark.parametrize("age", PUBLISHED_S)
def test_after_oxygen_it_falls_to_90_in_the_published_time(age: str) -> None:
    assert until(patient(age, patient__lung_reserve_on_air=1.0), 90) == pytest.approx(PUBLISHED_S[age], abs=1)


@pytest.mark.parametrize("age", PUBLISHED_S)
def test_a_sick_patient_breathing_air_has_far_less(age: str) -> None:
    """The same source's table is for healthy patients after oxygen; the range stays below half of it."""
    for reserve in (0.1, 0.4):
        assert until(patient(age, patient__lung_reserve_on_air=reserve), 90) < PUBLISHED_S[age] / 2


def test_the_younger_falls_faster() -> None:
    """Direction: Kinouchi et al., Anesthesiology 1992;77:1105."""
    infant, child, adult = (until(patient(age, 97), 60) for age in ("infant", "child", "adult"))
    assert infant < child < adult


@pytest.mark.parametrize(("age", "use", "held"), [("infant", 7, 12), ("child", 5.5, 12.5), ("adult", 3.5, 14)])
def test_below_90_it_falls_as_oxygen_used_over_oxygen_held(age: str, use: float, held: float) -> None:
    """mL/kg/min over mL/kg, textbook values from memory; that these alone count: Sands et al. 2009."""
    body = patient(age)
    until(body, 80)
    began, before = body.now, body.spo2
    body.advance(began + 20_000)
    assert (before - body.spo2) / 20 == pytest.approx(use / held * 100 / 60, rel=0.05)


def test_breaths_that_reach_the_lungs_bring_it_back_and_others_do_not() -> None:
    for flow, rises in ((0.9, True), (0.1, False)):
        body = patient("child")
        until(body, 70)
        before = body.spo2
        for _ in range(10):
            body.breath(flow)
            body.advance(body.now + 3000)
        assert (body.spo2 > before) is rises


def test_nothing_gets_through_a_tube_beside_the_windpipe_or_with_its_guide() -> None:
    airway = Airway(the_parameters(), Random(1), "open")
    assert airway.by_bag("tube") == 1
    for name, value in (("tube", "wrong"), ("tube", "out"), ("guide_in", True)):
        bad = Airway(the_parameters(), Random(1), "open")
        setattr(bad, name, value)
        assert bad.by_bag("tube") == 0


def test_mouth_and_nose_lead_nowhere_in_the_neck_only() -> None:
    """McGrath et al., Anaesthesia 2012;67:1025."""
    airway = Airway(the_parameters(), Random(1), "neck only", tube="", has_tube=False)
    assert airway.by_bag("mouth") == 0
    assert airway.by_bag("neck") > 0
