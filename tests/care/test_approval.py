"""An approval holds for exactly these bytes, until its day; whatever else lies beside is none."""

import json
from datetime import date, timedelta

import pytest
import typer
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from prompter import cli_flow, cli_plan
from prompter.care.approval import (
    INVENTED,
    Approval,
    new_approval,
    plan_standing,
    sidecar_of,
    standing,
    write_approval,
)
from prompter.care.plan import load_plan
from prompter.errors import CannotDo
from prompter.flow.family import family_files
from prompter.resources import flow_file

TODAY = date(2026, 3, 1)
UNTIL = date(2026, 9, 1)
FLOW = flow_file("breathing-trouble")


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "abc.yaml"
    path.write_bytes(b"abc")
    return path


def approve(file, until=UNTIL, today=TODAY):
    return write_approval(file, new_approval(file, "Doctor Imre Vale", "paediatrician", until, today))


def test_the_hash_is_sha_256_of_the_bytes(file):
    approve(file)
    # FIPS 180-4: SHA-256 of "abc".
    said = json.loads(sidecar_of(file).read_text(encoding="utf-8"))["sha256"]
    assert said == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_it_holds_from_its_day_to_its_last_day(file):
    assert standing(file, TODAY).state == "not approved"
    approve(file)
    states = {day: standing(file, day).state for day in (TODAY, UNTIL, UNTIL + timedelta(days=1))}
    assert list(states.values()) == ["approved", "approved", "outdated"]
    assert not standing(file, TODAY - timedelta(days=1)).holds  # a clock that is wrong
    assert standing(file, TODAY).says == (
        "approved by Doctor Imre Vale, paediatrician, 2026-03-01; until 2026-09-01."
    )


def test_only_this_user_reads_it_and_it_lies_beside(file):
    beside = approve(file)
    assert beside == file.with_name("abc.yaml.approval.json") and beside.stat().st_mode & 0o777 == 0o600


@settings(max_examples=60, deadline=None)
@given(at=st.integers(0, 2), bit=st.integers(0, 7), more=st.binary(max_size=3))
def test_any_change_of_the_bytes_ends_it(tmp_path_factory, at, bit, more):
    file = tmp_path_factory.mktemp("bytes") / "plan.yaml"
    file.write_bytes(b"abc")
    approve(file)
    changed = bytearray(b"abc")
    changed[at] ^= 1 << bit
    file.write_bytes(bytes(changed) + more)
    found = standing(file, TODAY)
    assert found.state == "changed" and not found.holds


@settings(max_examples=60, deadline=None)
@given(content=st.one_of(st.binary(max_size=200), st.text(max_size=100).map(str.encode), st.just(b"{" * 20_000)))
def test_whatever_lies_beside_never_approves_and_never_raises(tmp_path_factory, content):
    file = tmp_path_factory.mktemp("odd") / "plan.yaml"
    file.write_bytes(b"abc")
    sidecar_of(file).write_bytes(content)
    assert not standing(file, TODAY).holds


def test_a_folder_beside_or_no_file_at_all_is_no_approval(tmp_path):
    file = tmp_path / "plan.yaml"
    assert standing(file, TODAY).state == "not approved"
    sidecar_of(file).mkdir()
    assert standing(file, TODAY).state == "unreadable"


def test_an_invented_plan_is_never_approved(file):
    approve(file)
    assert standing(file, TODAY, invented=True) is INVENTED and not INVENTED.holds


@pytest.mark.parametrize(
    ("by", "role", "until", "where"),
    [
        (" ", "nurse", UNTIL, "--by"),
        ("Doctor", "", UNTIL, "--role"),
        ("Doctor", "nurse", TODAY, "--until"),
        ("Doctor", "nurse", date(2206, 1, 1), "--until"),
    ],
)
def test_what_cannot_be_an_approval_is_refused(file, by, role, until, where):
    with pytest.raises(CannotDo) as refused:
        new_approval(file, by, role, until, TODAY)
    assert refused.value.where == where and refused.value.mend
    assert not sidecar_of(file).exists()


def test_a_file_changed_between_reading_and_writing_is_not_approved(file):
    approval = new_approval(file, "Doctor", "nurse", UNTIL, TODAY)
    file.write_bytes(b"abd")
    with pytest.raises(CannotDo):
        write_approval(file, approval)
    assert not sidecar_of(file).exists()


# ---- the commands ------------------------------------------------------------------------------


def run(app, file, *more, typed=None):
    until = (date.today() + timedelta(days=30)).isoformat()
    words = ["approve", str(file), "--by", "Doctor Imre Vale", "--role", "paediatrician", "--until", until]
    return CliRunner().invoke(app, [*words, *more], input=typed)


def test_it_is_asked_before_anything_is_written(spoilt):
    file = spoilt(("demonstration: yes", "demonstration: no"))
    refused = run(cli_plan.app, file, typed="n\n")
    assert refused.exit_code == 1 and "read this plan whole" in refused.output and not sidecar_of(file).exists()
    nobody = run(cli_plan.app, file, typed="")
    assert nobody.exit_code != 0 and not sidecar_of(file).exists()
    assert run(cli_plan.app, file, typed="y\n").exit_code == 0 and standing(file, date.today()).holds


def test_a_demonstration_and_a_broken_file_cannot_be_approved(spoilt, tmp_path):
    broken = tmp_path / "flow.yaml"
    broken.write_text("flow: x", encoding="utf-8")
    for app, file in ((cli_plan.app, spoilt()), (cli_flow.app, broken), (cli_plan.app, broken)):
        result = run(app, file, "--yes")
        assert isinstance(result.exception, CannotDo) and not sidecar_of(file).exists()


def test_a_flow_is_approved_and_shown_as_such(tmp_path):
    own = tmp_path / "own.yaml"
    own.write_bytes(FLOW.read_bytes())
    first = run(cli_flow.app, own, "--yes")
    assert first.exit_code == 0 and "not approved whole: tube-bleeding is not approved" in first.output
    assert "This flow is not approved whole" in CliRunner().invoke(cli_flow.app, ["show", str(own)]).output
    for file in family_files(FLOW)[1:]:
        side = tmp_path / file.name
        side.write_bytes(file.read_bytes())
        assert run(cli_flow.app, side, "--yes").exit_code == 0
    shown = CliRunner().invoke(cli_flow.app, ["show", str(own)]).output
    assert "This flow is approved by Doctor Imre Vale, paediatrician" in shown
    side.write_text(side.read_text("utf-8") + "# changed\n", encoding="utf-8")
    assert "changed since Doctor Imre Vale" in CliRunner().invoke(cli_flow.app, ["show", str(own)]).output


def test_what_is_packaged_is_not_approved(any_plan):
    assert not sidecar_of(any_plan).exists() and not sidecar_of(FLOW).exists()
    assert "This flow is not approved" in CliRunner().invoke(cli_flow.app, ["show"]).output


def test_without_a_file_beside_it_a_plan_stands_as_it_says_and_with_one_only_that_counts(spoilt):
    file = spoilt(("demonstration: yes", "demonstration: no"))
    plan, today = load_plan(file), date(2026, 6, 1)
    says_itself = plan_standing(plan, file, today)
    assert says_itself.holds and "nothing seals it" in says_itself.says
    overdue = plan_standing(plan, file, date(2032, 1, 1))
    assert overdue.state == "outdated" and "2031-01-20" in overdue.says
    approve(file)
    assert "nothing seals it" not in plan_standing(plan, file, today).says
    file.write_text(file.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    assert plan_standing(plan, file, today).state == "changed"


def test_both_commands_tell_what_they_do():
    for app in (cli_plan.app, cli_flow.app):
        command = typer.main.get_command(app).commands["approve"]
        assert "these bytes only" in command.help and all(p.help for p in command.params if p.name != "help")


def test_the_file_beside_is_a_known_form(file):
    beside = approve(file)
    assert Approval.model_validate_json(beside.read_bytes()).file == "abc.yaml"
