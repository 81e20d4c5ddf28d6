"""Catheter, cylinder and breath rates against published rows."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from prompter.care import breathing, catheter, cylinder

AGES = ("infant", "child", "adult")


# ---- catheter: Blakeman et al., Respir Care 2022;67(2):258 -------------------------------------


def test_french_is_a_third_of_a_millimetre():
    # Definition of the French gauge.
    assert catheter.outside_mm(9) == pytest.approx(3.0)


@pytest.mark.parametrize(("inside_mm", "largest"), [(5.0, 8), (8.0, 14)])
def test_bedside_rule_worked_rows(inside_mm, largest):
    # A published medical calculator's worked table: 5 mm -> 10 -> 8 (or 9) Fr, 8 mm -> 16 -> 14 Fr.
    assert catheter.largest_fr(inside_mm) == largest


def test_no_catheter_is_small_enough_for_the_smallest_hole():
    assert catheter.largest_fr(2.0) is None


@given(st.floats(2.51, 12))
def test_bedside_rule_stays_under_half_the_area(inside_mm):
    # Blakeman et al. 2022: less than 50 % in children and adults.
    fr = catheter.largest_fr(inside_mm)
    assert fr is not None and (fr / 3 / inside_mm) ** 2 < 0.50


@pytest.mark.parametrize(
    ("fr", "inside_mm", "age_group", "fits"),
    [
        # Areas by hand: (10/3/5)^2 = 0.444, (11/3/5)^2 = 0.538; (7/3/3)^2 = 0.605, (8/3/3)^2 = 0.79.
        (10, 5.0, "child", True),
        (11, 5.0, "child", False),
        (11, 5.0, "adult", False),
        (7, 3.0, "infant", True),
        (7, 3.0, "child", False),
        (8, 3.0, "infant", False),
    ],
)
def test_share_of_the_lumen(fr, inside_mm, age_group, fits):
    # Less than 70 % (infant), 50 % (child, adult): Blakeman et al. 2022; 2010 edition for infants.
    assert catheter.fits(fr, inside_mm, age_group) is fits


def test_suction_limits():
    # Blakeman et al. 2022: 15 s; below 200 mmHg adults, below 120 mmHg newborns and children.
    assert catheter.PASS_LIMIT_S == 15
    assert catheter.VACUUM_LIMIT_MMHG == {"infant": 120, "child": 120, "adult": 200}
    # 5 s infant and child, 10 s adult: common practice, no source.
    assert catheter.PASS_USUAL_S == {"infant": 5, "child": 5, "adult": 10}


# ---- cylinder: Virginia Office of EMS, Oxygen Cylinder Guidance, October 2010 ------------------


@pytest.mark.parametrize(
    ("letter", "gauge_psi", "flow", "minutes", "shown"),
    [
        ("D", 1150, 10, 15, 15.0),
        ("E", 750, 10, 15, 15.0),
        # The guidance rounds: M comes out at 29.95 minutes.
        ("M", 392, 10, 30, 29.95),
        ("H", 300, 10, 30, 30.0),
        ("K", 300, 10, 30, 30.0),
    ],
)
def test_guidance_rows_last_their_time(letter, gauge_psi, flow, minutes, shown):
    left = cylinder.minutes_left(letter, gauge_psi, flow)
    assert shown - 0.005 <= left < minutes * 1.05


def test_worked_row_of_a_how_to():
    # A public how-to: D, 2000 psi, 0.5 L/min: 576 min.
    assert cylinder.minutes_left("D", 2000, 0.5) == pytest.approx(576)


def test_factor_of_g():
    # Respiratory-care handbooks: 2.41 litres a psi; (1200 - 200) x 2.41 / 10 by hand.
    assert cylinder.minutes_left("G", 1200, 10) == pytest.approx(241)


@pytest.mark.parametrize(
    ("letter", "minutes", "guidance"), [("D", 15, 1150), ("E", 15, 750), ("M", 30, 392), ("K", 30, 300)]
)
def test_smallest_gauge_reading(letter, minutes, guidance):
    # The guidance's own readings, rounded to what a gauge shows (M within half a psi).
    assert guidance - 15 <= cylinder.gauge_for(letter, minutes, 10) <= guidance + 0.5


def test_nothing_is_left_at_the_reserve():
    assert cylinder.minutes_left("E", 200, 2) == 0
    assert cylinder.minutes_left("E", 0, 2) == 0


def test_no_flow_is_refused():
    with pytest.raises(ValueError, match="flow"):
        cylinder.minutes_left("E", 2000, 0)


@given(
    st.sampled_from(sorted(cylinder.LITRES_A_PSI)), st.floats(1, 2000), st.floats(0.1, 25)
)
def test_gauge_and_minutes_are_inverse(letter, minutes, flow):
    gauge = cylinder.gauge_for(letter, minutes, flow)
    assert cylinder.minutes_left(letter, gauge, flow) == pytest.approx(minutes)


# ---- breaths and pushes: 2020 AHA Guidelines, Parts 3 and 4 ------------------------------------


def test_rates_are_within_the_guidelines():
    # Topjian et al. 2020: 20 to 30 a minute; Panchal et al. 2020: 10 a minute; pushes 100 to 120.
    for age_group in ("infant", "child"):
        assert 20 <= breathing.BREATHS_PER_MINUTE[age_group] <= 30
    assert breathing.BREATHS_PER_MINUTE["adult"] == 10
    assert 100 <= breathing.PUSHES_PER_MINUTE <= 120
    assert breathing.BREATH_S == 1


@pytest.mark.parametrize("age_group", AGES)
def test_one_rescuer_is_30_to_2(age_group):
    # Topjian et al. 2020, Panchal et al. 2020.
    assert breathing.pushes_and_breaths(age_group, 1, trained=True) == (30, 2)


@pytest.mark.parametrize(("age_group", "pushes"), [("infant", 15), ("child", 15), ("adult", 30)])
def test_two_rescuers(age_group, pushes):
    # Topjian et al. 2020: 15:2; adults stay at 30:2 (Panchal et al. 2020).
    assert breathing.pushes_and_breaths(age_group, 2, trained=True) == (pushes, 2)


@pytest.mark.parametrize("age_group", AGES)
def test_untrained_hands_only_push(age_group):
    assert breathing.pushes_and_breaths(age_group, 1, trained=False)[1] == 0


@given(st.floats(10, 40))
def test_rescue_breaths_fit_in_twelve_seconds(per_minute):
    # 3 to 4 breaths, at most 12 s from the first to the start of the last: common practice, no source.
    breaths = breathing.rescue_breaths(per_minute)
    assert breaths in (3, 4)
    assert (breaths - 1) * 60 / per_minute <= 12
