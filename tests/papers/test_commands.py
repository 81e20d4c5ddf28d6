"""`prompter flow draw`, `print`, `diff` as a person would use them."""

import json
from pathlib import Path

import pypdf
import pytest
from typer.testing import CliRunner

from prompter.cli_flow import app
from prompter.errors import CannotDo
from prompter.flow.family import family_text
from prompter.journal import Journal
from prompter.opening import opened_record
from prompter.resources import flow_file, shared_file

DEMO = str(shared_file("demo-plan.yaml"))
FLOW_TEXT = flow_file("breathing-trouble").read_text(encoding="utf-8")
WHOLE_TEXT = family_text(flow_file("breathing-trouble"))


def run(*words: str):
    return CliRunner().invoke(app, list(words))


def test_draw_leaves_a_page_for_each_part_and_the_call_apart(tmp_path: Path) -> None:
    result = run("draw", "--plan", DEMO, "--out", str(tmp_path / "pages"))
    names = {file.name for file in (tmp_path / "pages").iterdir()}
    assert result.exit_code == 0 and {"care-0.svg", "care-any.svg", "call.svg"} <= names
    assert len(result.stdout.splitlines()) == len(names)
    for file in (tmp_path / "pages").iterdir():
        text = file.read_text(encoding="utf-8")
        assert "not approved by a clinician" in text and "invented demonstration" in text


def test_mermaid_is_printed_or_written(tmp_path: Path) -> None:
    printed = run("draw", "--format", "mermaid").stdout
    assert run("draw", "--format", "mermaid", "--out", str(tmp_path / "flow.mmd")).exit_code == 0
    assert (tmp_path / "flow.mmd").read_text(encoding="utf-8") == printed


def test_print_writes_one_page_and_says_how_it_stands(tmp_path: Path) -> None:
    out = tmp_path / "card.pdf"
    result = run("print", "--plan", DEMO, "--out", str(out))
    assert result.exit_code == 0 and "not approved" in result.stdout
    assert len(pypdf.PdfReader(out).pages) == 1


def test_diff_of_files_tells_and_ends_with_1_and_of_the_same_with_0(tmp_path: Path) -> None:
    other = tmp_path / "other.yaml"
    other.write_text(FLOW_TEXT.replace('say: ["Ties off."]', 'say: ["Ties off now."]'), encoding="utf-8")
    differs = run("diff", "breathing-trouble", str(other))
    assert differs.exit_code == 1 and len(differs.stdout.splitlines()) == 1 and "Step 'ties'" in differs.stdout
    same = run("diff", "breathing-trouble", "breathing-trouble", "--json")
    assert same.exit_code == 0 and json.loads(same.stdout) == {"same": True, "changes": []}
    plans = run("diff", DEMO, str(shared_file("plans", "infant-alone.yaml")))
    assert plans.exit_code == 1 and "suction depth in centimetres: 6.5 instead of 9" in plans.stdout


def test_diff_takes_journals(tmp_path: Path, tables) -> None:
    variant = tables(Path(DEMO)).variant

    def journal(name: str, flow_text: str, plan_text: str | None) -> str:
        record = opened_record(
            flow_text=flow_text, plan_text=plan_text, plan_name="x", variant=variant, live=False, seed=0,
            voice=None, ears=[], settings={},
        )  # fmt: skip
        Journal.create(tmp_path / name, record).close()
        return str(tmp_path / name)

    plan_text = Path(DEMO).read_text(encoding="utf-8")
    old = journal("a.jsonl", WHOLE_TEXT + "\n", plan_text)
    new = journal("b.jsonl", WHOLE_TEXT.replace("hold_s: 30", "hold_s: 20"), plan_text.replace("depth_cm: 9", "depth_cm: 8"))
    assert run("diff", old, old).exit_code == 0
    told = run("diff", old, new).stdout.splitlines()
    assert told == [
        "Rule: “hold on” holds for 20 s instead of 30 s.",
        "Plan, suction, measured suction depth in centimetres: 8 instead of 9.",
    ]
    assert run("diff", old, "breathing-trouble").exit_code == 0
    assert run("diff", DEMO, old).exit_code == 0
    none = journal("c.jsonl", WHOLE_TEXT, None)
    assert "There is no care plan any more." in run("diff", old, none).stdout


@pytest.mark.parametrize(
    "words",
    [
        ("draw", "no-such-flow"), ("print", "no-such-flow"), ("diff", "breathing-trouble", DEMO),
        ("diff", "nowhere.jsonl", DEMO), ("print", "--plan", "nowhere.yaml"), ("diff", DEMO, "nowhere.yaml"),
        ("print", "--plan", DEMO, "--out", "/dev/null/card.pdf"), ("draw", "--out", "/dev/null/pages"),
    ],
)  # fmt: skip
def test_what_cannot_be_done_is_one_line_that_says_how_to_mend_it(words: tuple[str, ...]) -> None:
    error = run(*words).exception
    assert isinstance(error, CannotDo) and error.mend and "\n" not in error.one_line()


def test_every_command_and_option_has_help() -> None:
    for command in ("draw", "print", "diff"):
        result = run(command, "--help")
        assert result.exit_code == 0 and len(result.stdout.splitlines()) > 5
