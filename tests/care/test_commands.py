"""`prompter plan`: new, check, show, schema, driven as a person would."""

import json
import os
import stat
from datetime import date, timedelta

import pytest
import typer
from typer.testing import CliRunner

from prompter.care import place
from prompter.care.approval import new_approval, write_approval
from prompter.care.ask import Interview, Refused, check_answer
from prompter.care.plan import Plan, load_plan
from prompter.care.problems import leaves
from prompter.care.questions import QUESTIONS
from prompter.care.writing import shown
from prompter.cli_plan import app, schema_text

ALL = [question for _, questions in QUESTIONS for question in questions]
OVERDUE = ("review_due: 2031-01-20", "review_due: 2026-01-21")


def run(*arguments, typed=None):
    result = CliRunner().invoke(app, [str(argument) for argument in arguments], input=typed)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def answers(plan):
    """(path, typed answer) as somebody with this plan in hand gives them."""
    values = plan.values()
    return [
        (question.path, shown(values[question.path])) for question in ALL if question.when(values)
    ]


def typed(pairs):
    return "".join(f"{text}\n" for _, text in pairs)


def as_real(plan):
    return plan.model_copy(update={"demonstration": False})


# ---- new ---------------------------------------------------------------------------------------


def test_every_value_of_a_plan_is_asked_for():
    asked = {question.path for question in ALL} - {"tube", "oxygen"}
    assert asked == {path for path, _ in leaves(Plan)} - {"demonstration"}
    assert all(question.why and question.words for question in ALL)


def test_new_makes_the_same_plan(any_plan):
    plan = load_plan(any_plan)
    result = run("new", typed=typed(answers(plan)) + "y\n")
    assert result.exit_code == 0, result.output
    written = load_plan(place.plan_file())
    # An answer's commas part the lines of an address; it is said the same.
    assert written.spoken() == plan.spoken()
    phone = written.phone.model_copy(update={"address": plan.phone.address})
    assert written.model_copy(update={"phone": phone}) == as_real(plan)
    assert stat.S_IMODE(os.stat(place.plan_file()).st_mode) == 0o600
    assert not place.draft_file().exists()
    assert f"Care plan of {plan.patient.name}" in result.output


@pytest.mark.parametrize("stop", [1, 7, 23, 40])
def test_new_interrupted_and_resumed(spoilt, stop):
    plan = load_plan(spoilt())
    given = answers(plan)
    first = run("new", typed=typed(given[:stop]))
    assert first.exit_code == 1 and "answers are kept" in first.output
    assert stat.S_IMODE(os.stat(place.draft_file()).st_mode) == 0o600
    assert not place.plan_file().exists()
    second = run("new", typed=typed(given[stop:]) + "y\n")
    assert second.exit_code == 0, second.output
    assert "Going on" in second.output
    assert load_plan(place.plan_file()) == as_real(plan)


def test_wrong_answers_are_refused_at_once_and_asked_again(spoilt):
    plan = load_plan(spoilt())
    lines = []
    wrong = {
        "patient.age_group": "toddler",
        "patient.weight_kg": "heavy",
        "patient.usual_saturation": "197",
        "airway.can_breathe_through_mouth_or_nose": "no",
        "tube.smaller_spare_inside_mm": "5",
        "suction.catheter_fr": "12",
        "suction.seconds": "20",
        "tube.first_change_done": "last year",
    }
    for path, text in answers(plan):
        lines += [wrong[path], text] if path in wrong else [text]
    result = run("new", typed="\n".join(lines) + "\ny\n")
    assert result.exit_code == 0, result.output
    for words in (
        "Your answer is 'toddler'. Write one of: 'infant', 'child', 'adult'.",
        "a number is wanted",
        "it must be at most 100",
        "Ask the clinician whether any air passes",
        "is not smaller than the tube",
        "a 12 Fr catheter blocks".replace("a 12", "A 12"),
        "No pass is longer than 15 s",
        "Write a day such as 2031-05-01",
    ):
        assert words in result.output
    assert load_plan(place.plan_file()) == as_real(plan)


def test_back_changes_an_earlier_answer_and_asks_what_it_unsettles(spoilt):
    plan = load_plan(spoilt())
    lines = []
    for path, text in answers(plan):
        if path == "suction.vacuum_mmhg":
            # Back to the catheter; then on.
            lines += ["back", "6"]
        lines.append(text)
    result = run("new", typed="\n".join(lines) + "\ny\n")
    assert result.exit_code == 0, result.output
    assert load_plan(place.plan_file()).suction.catheter_fr == 6


def test_a_changed_answer_asks_again_what_it_contradicts(spoilt):
    interview = Interview(place.draft_file())
    given = dict(answers(load_plan(spoilt())))
    asked = []

    def ask(words, suggestion):
        path = next(question.path for question in ALL if question.words == words)
        asked.append(path)
        if again and path == "tube.inside_mm":
            return "3.5"
        if again and path == "tube.smaller_spare_inside_mm":
            return "3"
        if again and path == "suction.catheter_fr":
            return "6"
        return given[path]

    again = False
    assert interview.run(ask, lambda _: None).tube.inside_mm == 4.5
    again, asked[:] = True, []
    plan = interview.run(ask, lambda _: None, again=True)
    assert (plan.tube.inside_mm, plan.suction.catheter_fr) == (3.5, 6)


def test_not_right_asks_all_again_with_the_answers_as_suggestions(spoilt):
    given = answers(load_plan(spoilt()))
    keep_all = ["" if path != "patient.name" else "Juna" for path, _ in given]
    result = run("new", typed=typed(given) + "n\n" + "\n".join(keep_all) + "\ny\n")
    assert result.exit_code == 0, result.output
    assert load_plan(place.plan_file()).patient.name == "Juna"


def test_renewing_suggests_the_old_plan_and_keeps_it(spoilt):
    source = spoilt(("demonstration: yes", "demonstration: no"))
    place.write_private(place.plan_file(), source.read_text(encoding="utf-8"))
    given = answers(load_plan(source))
    lines = ["15" if path == "patient.weight_kg" else "" for path, _ in given]
    result = run("new", "--from", source, typed="\n".join(lines) + "\ny\n")
    assert result.exit_code == 0, result.output
    assert load_plan(place.plan_file()).patient.weight_kg == 15
    kept = place.plan_file().with_name("plan.before.yaml")
    assert load_plan(kept).patient.weight_kg == 14 and kept.name in result.output


def test_a_plan_made_from_an_invented_one_stays_invented(spoilt):
    source = spoilt()
    lines = "\n" * len(answers(load_plan(source))) + "y\n"
    assert run("new", "--from", source, typed=lines).exit_code == 0
    assert load_plan(place.plan_file()).demonstration


@pytest.mark.parametrize("draft", ["", "[]", "{", '{"patient.name": 3, "suction.depth_cm": "x"}'])
def test_a_damaged_draft_starts_anew(spoilt, draft):
    place.write_private(place.draft_file(), draft)
    result = run("new", typed=typed(answers(load_plan(spoilt()))) + "y\n")
    assert result.exit_code == 0, result.output


def test_a_place_that_cannot_be_written_is_one_line(spoilt, tmp_path):
    target = tmp_path / "file" / "plan.yaml"
    (tmp_path / "file").write_text("")
    result = run("new", "--out", target, typed=typed(answers(load_plan(spoilt()))) + "y\n")
    assert result.exit_code == 2 and "Mend:" in result.stderr
    assert place.draft_file().exists(), "the answers are kept"


@pytest.mark.parametrize(
    ("path", "text", "value"),
    [
        ("patient.age_group", "Child", "child"),
        ("patient.oximeter", " YES ", True),
        ("oxygen.cylinder", "d", "D"),
        ("tube.sits_on_it", "Cap, filter", ["cap", "filter"]),
        ("tube.sits_on_it", "nothing", []),
        ("phone.number", "911", "911"),
        ("rescue.saline_ml", "Not ordered", None),
        ("phone.address", "1 A Road, B", ["1 A Road", "B"]),
        ("tube", "no", False),
    ],
)
def test_answers_as_people_type_them(path, text, value):
    assert check_answer(path, text) == value


@pytest.mark.parametrize(
    ("path", "text"),
    [("tube", "perhaps"), ("patient.name", ""), ("suction.depth_cm", "nan"), ("keep_sound", "1")],
)
def test_answers_that_cannot_stand(path, text):
    with pytest.raises(Refused):
        check_answer(path, text)


# ---- check, show, schema -----------------------------------------------------------------------


def test_check_a_good_plan(any_plan):
    result = run("check", any_plan)
    assert result.exit_code == 0 and "Care plan of" in result.stdout and result.stderr == ""


def test_check_an_overdue_plan_prints_the_card_and_says_so(spoilt):
    file = spoilt(OVERDUE)
    result = run("check", file)
    assert result.exit_code == 1 and "Care plan of Juno" in result.stdout
    assert result.stderr == f"{file}: The review of this plan is overdue since 2026-01-21.\n"


def test_check_says_that_a_sealed_plan_was_changed(spoilt):
    file = spoilt(("demonstration: yes", "demonstration: no"))
    until = date.today() + timedelta(days=90)
    write_approval(file, new_approval(file, "Doctor Imre Vale", "paediatrician", until, date.today()))
    good = run("check", file)
    assert good.exit_code == 0 and good.stderr == "" and "paediatrician" in good.stdout
    file.write_text(file.read_text(encoding="utf-8").replace("seconds: 5", "seconds: 4"), encoding="utf-8")
    changed = run("check", file)
    assert changed.exit_code == 1 and len(changed.stderr.splitlines()) == 1
    assert "changed since Doctor Imre Vale approved it" in changed.stderr


def test_check_a_wrong_plan_lists_all_and_no_card(spoilt):
    file = spoilt(("seconds: 5", "seconds: 50"), ("order: breaths first", "order: x"))
    result = run("check", file)
    assert result.exit_code == 2 and result.stdout == ""
    lines = result.stderr.splitlines()
    assert len(lines) == 2 and all(line.startswith(f"{file}:") for line in lines)


def test_check_as_json(spoilt):
    good = json.loads(run("check", spoilt(), "--json").stdout)
    assert good["valid"] and good["in_force"] and good["problems"] == []
    assert good["facts"] == sorted(load_plan(spoilt()).facts())
    overdue = run("check", spoilt(OVERDUE), "--json")
    assert overdue.exit_code == 1
    report = json.loads(overdue.stdout)
    assert report["valid"] and not report["in_force"] and "overdue" in report["warnings"][0]
    file = spoilt(("seconds: 5", "seconds: 50"))
    wrong = run("check", file, "--json")
    report = json.loads(wrong.stdout)
    assert wrong.exit_code == 2 and not report["valid"]
    assert report["problems"][0]["where"].startswith(f"{file}:")
    assert len(wrong.stderr.splitlines()) == 1


def test_check_nothing_there(tmp_path):
    result = run("check", tmp_path / "none.yaml")
    assert result.exit_code == 2 and "no such file" in result.stderr


def test_show_the_plan_of_this_user(spoilt):
    missing = run("show")
    assert missing.exit_code == 2 and "prompter plan new" in missing.stderr
    place.write_private(place.plan_file(), spoilt().read_text(encoding="utf-8"))
    assert "Care plan of Juno" in run("show").stdout
    assert "Care plan of Pip" in run("show", spoilt(plan="infant-alone")).stdout


def test_schema(tmp_path):
    assert run("schema").stdout == schema_text()
    assert run("schema", "--out", tmp_path / "s.json").exit_code == 0
    assert (tmp_path / "s.json").read_text(encoding="utf-8") == schema_text()
    failed = run("schema", "--out", tmp_path)
    assert failed.exit_code == 2 and "Mend:" in failed.stderr


def test_every_command_and_option_has_help():
    group = typer.main.get_command(app)
    assert group.help and set(group.commands) == {"new", "check", "show", "schema", "approve"}
    for command in group.commands.values():
        assert command.help
        assert all(getattr(parameter, "help", "") for parameter in command.params)
