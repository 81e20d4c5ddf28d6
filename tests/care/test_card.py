"""The card: complete, plain, with its cautions; and the list of the bag."""

import io
from datetime import date

from rich.console import Console

from prompter.care.card import CAUTIONS, DEMONSTRATION, print_card
from prompter.care.plan import load_plan
from prompter.care.supplies import supplies

TODAY = date(2026, 3, 1)


def card(plan, width=80):
    out = io.StringIO()
    print_card(plan, TODAY, Console(file=out, width=width))
    return out.getvalue()


def flat(text):
    return " ".join(text.split())


def test_every_plan_has_its_values_and_cautions_in_plain_text(any_plan):
    plan = load_plan(any_plan)
    text = card(plan)
    assert "\x1b" not in text and max(map(len, text.splitlines())) <= 80
    assert text.startswith(DEMONSTRATION)
    words = flat(text)
    assert all(caution in words for caution in CAUTIONS)
    phone, clinician = plan.phone, plan.clinician
    for value in (plan.patient.name, phone.number, phone.call_back, clinician.phone, phone.door):
        assert value in words
    assert f"{plan.suction.depth_cm:g} cm" in words and f"{plan.suction.catheter_fr:g} Fr" in words


def test_a_real_plan_is_not_called_invented(spoilt):
    assert "INVENTED" not in card(load_plan(spoilt(("demonstration: yes", "demonstration: no"))))


def test_oxygen_minutes_by_hand(spoilt):
    # Virginia Office of EMS 2010: (1500 - 200) x 0.16 = 208 L: 20.8 min at 10, 416 min at 0.5 L/min.
    words = flat(card(load_plan(spoilt())))
    assert "10 L/min, lasts 20 minutes" in words and "0.5 L/min, lasts 6 h 56 min" in words
    assert "none: room air" in flat(card(load_plan(spoilt(plan="infant-alone"))))


def test_neck_only_shouts(spoilt):
    words = flat(card(load_plan(spoilt(plan="adult-neck-only"))))
    assert "NECK-ONLY: mouth and nose lead nowhere" in words and "usually alone" in words


def test_doubts_and_missing_approval_are_on_the_card(spoilt):
    plan = load_plan(
        spoilt(
            ("approved_by: Doctor Imre Vale, an invented clinician", "approved_by: none"),
            ("approved_on: 2026-01-20", "approved_on: none"),
            ("seconds: 5", "seconds: 9"),
        )
    )
    words = flat(card(plan))
    assert "NOT APPROVED" in words and "! This plan is not approved" in words
    assert "! A suction pass of 9 s is long" in words


def test_narrow_paper(spoilt):
    assert "exampleton children's hospital" in flat(card(load_plan(spoilt()), width=60)).lower()


# ---- the bag -----------------------------------------------------------------------------------


def names(plan):
    return {supply.name: supply.detail for supply in supplies(plan)}


def test_bag_follows_the_plan(spoilt):
    demo = names(load_plan(spoilt()))
    assert demo["spare tube"].startswith("4.5 mm") and demo["smaller tube"] == "4 mm"
    assert demo["suction catheters"].startswith("8 Fr") and demo["saline"].startswith("1 mL")
    assert "face mask" in demo and "oxygen cylinder" in demo
    assert "syringe for the cuff" not in demo and "clean inner tube" not in demo
    cuffed = names(load_plan(spoilt(plan="adult-ventilated-cuffed")))
    assert {"syringe for the cuff", "clean inner tube", "spare filter"} <= set(cuffed)
    assert "sterile water for the cuff" in names(load_plan(spoilt(plan="child-hard-way")))
    alone = names(load_plan(spoilt(plan="infant-alone")))
    assert "oxygen cylinder" not in alone and "saline" not in alone


def test_bag_of_a_neck_only_patient_has_no_face_mask(spoilt):
    bag = names(load_plan(spoilt(plan="adult-neck-only")))
    assert "face mask" not in bag and "small mask for the neck hole" in bag
    assert not {"spare tube", "smaller tube", "guides", "tube ties"} & set(bag)


def test_supplies_are_named_once(any_plan):
    listed = [supply.name for supply in supplies(load_plan(any_plan))]
    assert len(listed) == len(set(listed)) > 10
