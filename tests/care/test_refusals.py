"""Every refusal of a plan: its line, what is wrong, how to mend it."""

from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from prompter.care import contradictions
from prompter.care.plan import load_plan
from prompter.care.problems import PlanProblems
from prompter.errors import CannotDo
from prompter.resources import shared_file

Spoilt = Callable[..., Path]
VENTILATED, NECK_ONLY = "adult-ventilated-cuffed", "adult-neck-only"


def line_of(file: Path, text: str, at_start: bool = False) -> int:
    lines = file.read_text(encoding="utf-8").splitlines()
    return next(
        number
        for number, line in enumerate(lines, 1)
        if (line.startswith(text) if at_start else text in line)
    )


# plan, changes, start of the line reported, words of what, words of mend
CONTRADICTIONS = [
    (
        "infant-alone",
        [("way_to_lungs: open", "way_to_lungs: none")],
        "  can_breathe",
        "'none'",
        "clinician",
    ),
    (NECK_ONLY, [("nose: no", "nose: partly")], "  can_breathe", "'partly'", "clinician"),
    ("", [("nose: yes", "nose: partly")], "  can_breathe", "'open'", "hard and partly"),
    ("", [("below_saturation: 92", "below_saturation: 97")], "  act_below", "97 %", "lower"),
    ("", [("below_saturation: 92", "below_saturation: none")], "  act_below", "oximeter", "both"),
    (
        NECK_ONLY,
        [("way_to_lungs: none", "way_to_lungs: hard"), ("nose: no", "nose: partly")],
        "tube: none",
        "no tube",
        "describe the tube",
    ),
    (
        "child-hard-way",
        [("way_to_lungs: hard", "way_to_lungs: none"), ("nose: partly", "nose: no")],
        "  sits_on_it",
        "cap sits on the tube",
        "sits_on_it",
    ),
    ("", [("[valve]", "[valve, valve]")], "  sits_on_it", "listed twice", "once"),
    ("", [("cuff_ml: none", "cuff_ml: 3")], "  cuff_ml", "no cuff", "cuff_ml: none"),
    (VENTILATED, [("  cuff_ml: 6\n", "")], "tube:", "no volume", "millilitres"),
    (
        "infant-alone",
        [("  cuff: none", "  cuff: none\n  cuff_pressure_cmh2o: 25")],
        "  cuff_pressure_cmh2o",
        "no cuff",
        "none",
    ),
    ("", [("air_ml: not ordered", "air_ml: 2")], "  bleeding_cuff", "no cuff", "not ordered"),
    ("", [("inner_tube: yes", "inner_tube: no")], "  bag_fits", "inner tube", "inner_tube: yes"),
    ("", [("spare_inside_mm: 4.0", "spare_inside_mm: 4.5")], "  smaller_spare", "4.5 mm", "printed"),
    ("", [("spare_inside_mm: 4.0", "spare_inside_mm: 5.0")], "  smaller_spare", "5 mm", "printed"),
    ("", [("done: 2025-03-10", "done: none")], "  change_allowed", "first change", "at_home: no"),
    (
        "",
        [("may_change_it: both parents and the night nurse", "may_change_it: none")],
        "  who_may_change_it",
        "nobody",
        "who is trained",
    ),
    ("", [("at_home: yes", "at_home: no")], "  who_may_change_it", "not allowed", "none"),
    (
        VENTILATED,
        [("trained_over_a_catheter: yes", "trained_over_a_catheter: no")],
        "  over_a_catheter_third_try",
        "without training",
        "no until",
    ),
    ("", [("catheter_fr: 8", "catheter_fr: 10")], "  catheter_fr", "55%", "8 Fr or smaller"),
    ("", [("catheter_fr: 8", "catheter_fr: 14")], "  catheter_fr", "does not go", "8 Fr"),
    ("", [("vacuum_mmhg: 100", "vacuum_mmhg: 120")], "  vacuum", "too strong", "below 120"),
    (VENTILATED, [("vacuum_mmhg: 150", "vacuum_mmhg: 200")], "  vacuum", "strong", "below 200"),
    ("", [("seconds: 5", "seconds: 16")], "  seconds", "too long", "15 s"),
    ("", [("usual_l_min: 0.5", "usual_l_min: 12")], "  highest_l_min", "above the highest", "two"),
    (NECK_ONLY, [("ventilator: no", "ventilator: yes")], "ventilator", "no tube", "ventilator: no"),
    ("", [("  name: Sam", "  name: none")], "  name: none", "no name", "short name"),
    ("", [("  name: Sam", "  name: juno")], "  name: juno", "both called", "nickname"),
    ("", [("approved_on: 2026-01-20", "approved_on: none")], "  approved_on", "name and", "both"),
    ("", [("due: 2031-01-20", "due: none")], "  review_due", "no day", "next review"),
    ("", [("due: 2031-01-20", "due: 2026-01-20")], "  review_due", "not after", "two days"),
]


@pytest.mark.parametrize(
    ("plan", "changes", "line", "what", "mend"),
    CONTRADICTIONS,
    ids=lambda value: value.strip() if isinstance(value, str) else "",
)
def test_contradictions(spoilt: Spoilt, plan, changes, line, what, mend):
    file = spoilt(*changes, plan=plan)
    with pytest.raises(PlanProblems) as caught:
        load_plan(file)
    [problem] = caught.value.problems
    assert problem.where == f"{file}:{line_of(file, line, at_start=True)}"
    assert what in problem.what and mend in problem.mend
    assert "\n" not in problem.one_line()


def test_every_contradiction_has_a_row_above(spoilt: Spoilt, monkeypatch: pytest.MonkeyPatch):
    fired = set()

    def watched(function):
        def run(*values):
            if finding := function(*values):
                fired.add(function.__name__)
            return finding

        return run

    checks = contradictions._CHECKS
    names = {function.__name__ for _, function in checks}
    monkeypatch.setattr(
        contradictions, "_CHECKS", [(paths, watched(function)) for paths, function in checks]
    )
    for plan, changes, *_ in CONTRADICTIONS:
        with pytest.raises(CannotDo):
            load_plan(spoilt(*changes, plan=plan))
    assert fired == names


FIELDS = [
    ("age_group: child", "age_group: kid", "`patient.age_group` is 'kid'", "'infant', 'child', 'adult'"),
    ("weight_kg: 14", "weight_kg: fourteen", "a number is wanted", "kilograms"),
    ("weight_kg: 14", "weight_kg: 0", "at least 1", "kilograms"),
    ("weight_kg: 14", "weight_kg: .nan", "a number is wanted", "kilograms"),
    ("weight_kg: 14", "weight_kg:", "is empty", "kilograms"),
    ("breaths_a_minute: 24", "breaths_a_minute: 24.5", "whole number", "at rest"),
    ("usual_saturation: 97", "usual_saturation: 970", "at most 100", "percent"),
    ("oximeter: yes", "oximeter: maybe", "'maybe'", "yes or no"),
    ('number: "555-0142"', "number: 5550142", "the number 5550142", '"5550142"'),
    ('number: "555-0142"', 'number: "call Sam"', "cannot be used", "emergency number"),
    ("done: 2025-03-10", "done: last spring", "'last spring'", "2031-05-01"),
    ("done: 2025-03-10", 'done: "2025-03-10"', "'2025-03-10'", "without quotes"),
    ("depth_cm: 9", "dpeth_cm: 9", "`suction.dpeth_cm` is not a field", "`depth_cm`"),
    ("pets: One dog, in the kitchen", "shoes: two", "not a field", "Remove"),
    ("name: Juno", "name: Juno {depth}", "cannot be used", "plain signs"),
    ("name: Juno", "name: Juno 7", "cannot be used", "short name"),
    ("[valve]", "valve", "sits_on_it`", "a list of"),
    ("[valve]", "[hat]", "'hat'", "'cap', 'valve', 'filter'"),
    ("cylinder: D", "cylinder: X", "'X'", "'D', 'E'"),
    ("highest_l_min: 10", "highest_l_min: 40", "at most 25", "litres a minute"),
]


@pytest.mark.parametrize(("old", "new", "what", "mend"), FIELDS, ids=[row[1] for row in FIELDS])
def test_fields(spoilt: Spoilt, old, new, what, mend):
    file = spoilt((old, new))
    with pytest.raises(PlanProblems) as caught:
        load_plan(file)
    problem = next(p for p in caught.value.problems if what in p.what)
    assert problem.where == f"{file}:{line_of(file, new)}"
    assert mend in problem.mend


def test_a_missing_field_is_reported_at_its_group(spoilt: Spoilt):
    file = spoilt(("  depth_cm: 9\n", ""))
    with pytest.raises(CannotDo) as caught:
        load_plan(file)
    assert str(caught.value) == (
        f"{file}:{line_of(file, 'suction:', at_start=True)}: `suction.depth_cm` is missing."
        " Mend: Add it: measured suction depth in centimetres."
    )


def test_a_missing_group_and_a_group_that_is_a_word(spoilt: Spoilt):
    file = spoilt(("oxygen:  ", "oxygen: plenty #"), ("  cylinder: D\n", ""),
                  ("  gauge_psi: 1500\n  usual_l_min: 0.5\n  highest_l_min: 10\n", ""))  # fmt: skip
    with pytest.raises(PlanProblems) as caught:
        load_plan(file)
    [problem] = caught.value.problems
    assert "`oxygen` is a group of fields, not 'plenty'" in problem.what


def test_all_problems_at_once_in_the_order_of_the_file(spoilt: Spoilt):
    file = spoilt(
        ("weight_kg: 14", "weight_kg: -3"),
        ("spare_inside_mm: 4.0", "spare_inside_mm: 6"),
        ("vacuum_mmhg: 100", "vacuum_mmhg: 190"),
        ("order: breaths first", "order: whatever"),
    )
    with pytest.raises(PlanProblems) as caught:
        load_plan(file)
    lines = str(caught.value).splitlines()
    expected = ["weight_kg", "spare_inside_mm", "vacuum_mmhg", "order: whatever"]
    assert [line.split(": ")[0] for line in lines] == [
        f"{file}:{line_of(file, text)}" for text in expected
    ]
    assert all(" Mend: " in line for line in lines)


def test_an_infants_catheter_may_fill_more(spoilt: Spoilt):
    # Blakeman et al. 2010: 70 % infants. (7/3/3.5)^2 = 0.44, (8/3/3.5)^2 = 0.58, (9/3/3.5)^2 = 0.73.
    assert load_plan(spoilt(("catheter_fr: 6", "catheter_fr: 8"), plan="infant-alone"))
    with pytest.raises(CannotDo, match="73%"):
        load_plan(spoilt(("catheter_fr: 6", "catheter_fr: 9"), plan="infant-alone"))


# ---- damaged files -----------------------------------------------------------------------------

DAMAGED = {
    "empty": (b"", "empty"),
    "only comments": (b"# nothing\n", "empty"),
    "a list": (b"- a\n- b\n", "not a plan"),
    "a word": (b"hello\n", "not a plan"),
    "tab": (b"patient:\n\tname: Juno\n", ":2: there is a tab"),
    "twice": (b"helper:\n  usual: no\n  usual: yes\n", ":3: `usual` is written twice"),
    "not closed": (b'patient:\n  name: "Juno\n', "cannot be understood"),
    "bad indent": (b"patient:\n  name: Juno\n age: 3\n", ":3: this line cannot be understood"),
    "binary": (bytes(range(256)), "UTF-8"),
    "latin": ("x: 1\nname: Zoë".encode("latin-1"), ":2: this is not UTF-8"),
    "utf-16": ("name: Juno".encode("utf-16"), "UTF-8"),
    "zeros": (bytes(1000), "cannot be understood"),
    "huge": (b"# " + b"x" * 300_000, "larger than"),
    "deep": (b"a: " + b"[" * 20_000, "deep"),
    "deep enough": (b"a: " + b"[" * 12 + b"]" * 12, "far more than a plan"),
    "many": (b"a: [" + b"1," * 2_000 + b"]", "far more than a plan"),
    "aliases": (
        b"a: &a [x,x,x,x,x,x,x,x]\n"
        + b"".join(
            b"%c: &%c [%s]\n" % (97 + i, 97 + i, b",".join([b"*%c" % (96 + i)] * 8))
            for i in range(1, 9)
        ),
        "far more than a plan",
    ),
    "alias to nothing": (b"a: *b\n", ":1: this line cannot be understood"),
    "itself": (b"a: &a [*a]\n", ":1: this line cannot be understood"),
    "impossible day": (b"a: 1\nb: 2031-02-31\n", ":2: a value here cannot be understood"),
    "tag": (b"a: !!python/object:os.system x\n", "no place in a plan"),
    "set": (b"a: !!set {x, y}\n", "no place in a plan"),
    "time": (b"a: 2031-02-01 10:00:00\n", "no place in a plan"),
    "number as a name": (b"1: x\n", ":1: `1` is no name"),
    "list as a name": (b"? [a, b]\n: x\n", "is no name"),
    "two documents": (b"a: 1\n---\nb: 2\n", "cannot be understood"),
    "merge": (b"a: &a {x: 1}\nb:\n  <<: *a\n", "`a` is not a field"),
}


@pytest.mark.parametrize("name", DAMAGED)
def test_damaged_files_give_clear_lines(name: str, tmp_path: Path):
    content, words = DAMAGED[name]
    file = tmp_path / "plan.yaml"
    file.write_bytes(content)
    with pytest.raises(CannotDo) as caught:
        load_plan(file)
    text = str(caught.value)
    assert words in text
    for line in text.splitlines():
        assert line.startswith(str(file)) and " Mend: " in line


def test_no_file_and_no_permission_and_no_file_at_all(tmp_path: Path):
    for file in (tmp_path / "none.yaml", tmp_path, Path("/dev/null"), Path("a\0b")):
        with pytest.raises(CannotDo) as caught:
            load_plan(file)
        assert caught.value.mend and "\n" not in str(caught.value)


def test_byte_order_mark_and_windows_lines_do_no_harm(spoilt: Spoilt):
    file = spoilt()
    file.write_bytes(b"\xef\xbb\xbf" + file.read_bytes().replace(b"\n", b"\r\n"))
    assert load_plan(file).patient.name == "Juno"


def test_yes_of_older_tools_is_understood(spoilt: Spoilt):
    file = spoilt(("nose: yes", "nose: true"), ("oximeter: yes", "oximeter: true"))
    assert load_plan(file).airway.can_breathe_through_mouth_or_nose == "yes"


def test_every_cut_of_a_plan_is_refused_clearly(spoilt: Spoilt):
    file = spoilt()
    content = file.read_bytes()
    # The last field ends 11 bytes before the end; every cut before it lacks something.
    for end in range(0, len(content) - 40, 97):
        file.write_bytes(content[:end])
        with pytest.raises(CannotDo) as caught:
            load_plan(file)
        assert str(file) in str(caught.value)


_DEMO = shared_file("demo-plan.yaml").read_bytes()
_SCRAPS = st.sampled_from(
    [b"\n", b"\t", b": ", b"- ", b"{", b"}", b"[", b"!!", b"&a ", b"*a", b"'", b'"', b"|\n", b"%"]
    + [b"2031-13-01", b"0x", b"1e999", b"!!float x", b"!!timestamp x", b"!!omap", b"? ", b"<<: "]
)


@settings(
    max_examples=600,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(
    at=st.integers(0, len(_DEMO)),
    drop=st.integers(0, 30),
    scrap=st.binary(max_size=6) | st.lists(_SCRAPS, min_size=1, max_size=4).map(b"".join),
)
def test_a_spoilt_file_is_a_plan_or_a_clear_line(at: int, drop: int, scrap: bytes, tmp_path: Path):
    file = tmp_path / "plan.yaml"
    file.write_bytes(_DEMO[:at] + scrap + _DEMO[at + drop :])
    try:
        plan = load_plan(file)
    except CannotDo as error:
        for line in str(error).splitlines():
            assert line.startswith(str(file)) and " Mend: " in line
    else:
        assert plan.facts() and plan.spoken() and plan.numbers()
