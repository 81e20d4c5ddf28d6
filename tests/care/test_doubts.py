"""What is suspicious, but does not stop a plan."""

from datetime import date

import pytest

from prompter.care.doubts import not_in_force, warnings
from prompter.care.plan import load_plan

TODAY = date(2026, 3, 1)
UNAPPROVED = [
    ("approved_by: Doctor Imre Vale, an invented clinician", "approved_by: none"),
    ("approved_on: 2026-01-20", "approved_on: none"),
    ("review_due: 2031-01-20", "review_due: none"),
]
REAL = ("demonstration: yes", "demonstration: no")

# plan, changes, the sentence's words
DOUBTS = [
    ("", [("review_due: 2031-01-20", "review_due: 2026-02-28")], "overdue since 2026-02-28"),
    ("", UNAPPROVED, "not approved"),
    ("", [REAL, ("last_tested: 2026-01-15", "last_tested: 2025-11-30")], "on 2025-11-30"),
    ("", [REAL, ("last_tested: 2026-01-15", "last_tested: none")], "never tried"),
    ("", [("last_tested: 2026-01-15", "last_tested: 2026-03-02")], "phone test (2026-03-02)"),
    ("", [("done: 2025-03-10", "done: 2026-03-10")], "first tube change (2026-03-10)"),
    ("", [("approved_on: 2026-01-20", "approved_on: 2026-03-20")], "approval (2026-03-20)"),
    ("", [("weight_kg: 14", "weight_kg: 140")], "140 kg is unusual"),
    ("", [("below_saturation: 92", "below_saturation: 80")], "80 % is low"),
    ("", [("call_after_s: none", "call_after_s: 90")], "only after 90 seconds"),
    # A child's spare: half a millimetre smaller; an adult's: one full size (public go-bag list).
    ("", [("spare_inside_mm: 4.0", "spare_inside_mm: 3.5")], "1 mm smaller; 0.5 mm is usual"),
    (
        "adult-ventilated-cuffed",
        [("spare_inside_mm: 7", "spare_inside_mm: 7.5")],
        "0.5 mm smaller; 1 mm is usual",
    ),
    ("", [("spare_inside_mm: 4.0", "spare_inside_mm: none")], "no smaller spare"),
    ("", [("spare_same_size: yes", "spare_same_size: no")], "no spare of the same size"),
    ("child-hard-way", [("[cap, filter]", "[valve]")], "cuff must be empty"),
    ("child-hard-way", [("air_ml: not ordered", "air_ml: 1")], "holds water"),
    # 20 to 30 cmH2O, from memory.
    ("adult-ventilated-cuffed", [("cmh2o: 25", "cmh2o: 31")], "31 cmH2O is outside"),
    # (8/3/3.5)^2 = 0.58 by hand: allowed in an infant (below 70 %), but the stricter row is 50 %.
    ("infant-alone", [("catheter_fr: 6", "catheter_fr: 8")], "blocks 58% of the tube"),
    # 5 s infant and child, 10 s adult: common practice, no source.
    ("", [("seconds: 5", "seconds: 6")], "6 s is long; 5 s is usual"),
    ("adult-neck-only", [("seconds: 10", "seconds: 11")], "11 s is long; 10 s is usual"),
    # Up to 2 mL: common practice, no source.
    ("", [("saline_ml: 1 ", "saline_ml: 2.5 ")], "2.5 mL of saline"),
    # 20 to 30 a minute: Topjian et al. 2020.
    ("", [("a_minute: none", "a_minute: 31")], "31 breaths a minute is outside"),
    ("", [("a_minute: none", "a_minute: 19")], "19 breaths a minute is outside"),
    # (700 - 200) x 0.16 / 10 = 8 minutes by hand.
    ("", [("gauge_psi: 1500", "gauge_psi: 700")], "only 8 minutes"),
]


@pytest.mark.parametrize(("plan", "changes", "words"), DOUBTS, ids=[row[2] for row in DOUBTS])
def test_doubts(spoilt, plan, changes, words):
    [doubt] = warnings(load_plan(spoilt(*changes, plan=plan)), TODAY)
    assert words in doubt and doubt.endswith(".")


@pytest.mark.parametrize(
    ("changes", "holds"),
    [
        ([], True),
        (UNAPPROVED, False),
        ([("review_due: 2031-01-20", "review_due: 2026-02-28")], False),
        # On its day a review is due, not overdue.
        ([("review_due: 2031-01-20", "review_due: 2026-03-01")], True),
        ([("seconds: 5", "seconds: 9")], True),
    ],
)
def test_in_force(spoilt, changes, holds):
    assert (not_in_force(load_plan(spoilt(*changes)), TODAY) == []) is holds


@pytest.mark.parametrize("plan", ["child-hard-way", "adult-ventilated-cuffed"])
@pytest.mark.parametrize("pressure", [20, 30])
def test_usual_cuff_pressure_is_not_doubted(spoilt, plan, pressure):
    # 20 to 30 cmH2O, from memory, both ends included.
    change = {
        "child-hard-way": ("  cuff_ml: 1.5", f"  cuff_ml: 1.5\n  cuff_pressure_cmh2o: {pressure}"),
        "adult-ventilated-cuffed": ("cmh2o: 25", f"cmh2o: {pressure}"),
    }[plan]
    assert warnings(load_plan(spoilt(change, plan=plan)), TODAY) == []


def test_phone_test_is_good_for_ninety_days(spoilt):
    fresh = load_plan(spoilt(REAL, ("last_tested: 2026-01-15", "last_tested: 2025-12-01")))
    assert warnings(fresh, TODAY) == []
