"""Without names: a canary in every text of the plan, said, written and noted everywhere, is in no output."""

import io
import json
import re
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError
from pypdf import PdfReader
from ruamel.yaml import YAML

from prompter.care import words
from prompter.care.plan import Plan
from prompter.journal import read
from prompter.review import as_csv, as_json, build, render
from prompter.review.fhir import as_fhir
from prompter.review.paper import as_pdf
from prompter.review.sounds import Heard

DEMO = Path(__file__).parents[2] / "shared/demo-plan.yaml"


def text_leaves(schema: dict, part: dict, path: tuple = ()) -> list[tuple]:
    """Every leaf of the plan's model that takes free text, by its path; a list counts as its first item."""
    part = schema["$defs"][part["$ref"].rsplit("/", 1)[1]] if "$ref" in part else part
    found = [leaf for way in part.get("anyOf", []) for leaf in text_leaves(schema, way, path)]
    for name, inner in part.get("properties", {}).items():
        found += text_leaves(schema, inner, (*path, name))
    if "items" in part:
        found += text_leaves(schema, part["items"], (*path, 0))
    is_free = part.get("type") == "string" and not {"enum", "const", "format"} & part.keys()
    return [*found, path] if is_free else found


LEAVES = list(dict.fromkeys(text_leaves(Plan.model_json_schema(), Plan.model_json_schema())))
LETTERS = "abcdefghijklmnopqrstuvwxyz"


def canaries(number: int) -> list[str]:
    """A text, a name and a phone number that stand nowhere else; the plan takes one of them."""
    letter = LETTERS[number]
    return [f"canary {letter}zq{number}x of {letter}ville", f"Zq{letter}vex{letter}", f"555-01{number:02d}77{number:02d}"]


def set_in(raw: Any, path: tuple, value: Any) -> None:
    for step in path[:-1]:
        raw = raw[step]
    raw[path[-1]] = value


@pytest.fixture(scope="module")
def caged() -> tuple[Plan, str, list[str]]:
    """The demo plan with a canary in every free text: the plan, its YAML, the canaries."""
    raw = YAML(typ="safe").load(DEMO)
    used = []
    for number, path in enumerate(LEAVES):
        for canary in canaries(number):
            set_in(raw, path, canary)
            try:
                Plan.model_validate(raw)
            except ValidationError as error:
                if any(e["loc"][: len(path)] == path for e in error.errors()):
                    continue
            used.append(canary)
            break
    text = io.StringIO()
    YAML().dump(raw, text)
    return Plan.model_validate(raw), text.getvalue(), used


def test_every_text_of_the_plan_has_its_canary(caged):
    _, _, used = caged
    assert len(used) == len(LEAVES) == len(set(used))
    # counted by hand in prompter/care/parts.py: why_the_tube, who_may_change_it, two names, the phone's six,
    # the clinician's three, approved_by
    assert len(LEAVES) == 14


@pytest.fixture(scope="module")
def told(sample, caged, tmp_path_factory):
    """A journal in which every field of every event says every canary."""
    plan, text, used = caged
    variant = {"facts": [], "words": plan.spoken(), "numbers": {}}
    story = sample.blocked_tube()
    opened = story.events[0][1]
    opened |= {"plan_text": text, "plan_name": f"{used[0]}.yaml", "variant": variant}
    opened |= {"approval": {"plan": f"approved by {used[-1]}, until 2031."}, "flow_text": "version: 1\nname: x\n"}
    opened |= {"settings": {"who": used[0]}, "voice": used[1]}
    everything = ". ".join([*used, *(words.digits(c) for c in used if c[0].isdigit()), *plan.spoken().values()])
    kinds = ("say", "announced", "heard", "answered", "unclear", "note", "failed", "fault", "refused", "moved",
             "learned", "closed once", "reopened", "repaired", "numbered", "tone", "pace", "beat")  # fmt: skip
    names = ("text", "heard", "wording", "answer", "said", "runner_up", "sound", "detail", "what", "value", "why",
             "how", "note", "source", "target", "step", "role", "part", "name", "quantity", "outcome", "extra")  # fmt: skip
    for n, kind in enumerate(kinds):
        fields = dict.fromkeys(names, everything) | {"list": used, "inner": {"deep": everything}}
        story.at(250 + n / 100, kind, **fields)
    for n, canary in enumerate(used):
        story.at(255 + n / 100, "say", text=f"{canary}: {canary.upper()}!", role="care", step="watch", cue=900 + n)
    return read(story.write(tmp_path_factory.mktemp("told") / f"{used[0]}.jsonl"))


def outputs(reading, anonymous: bool) -> dict[str, str]:
    incident = build(reading, "Zqavexa and canary azq0x.jsonl", anonymous)
    sounds = {e["seq"]: Heard("data:audio/flac;base64,Q0FOQVJZ") for e in reading.events if e["kind"] == "heard"}
    made = {"page": render(incident, sounds), "csv": as_csv([incident]), "json": as_json([incident])}
    pdf = PdfReader(io.BytesIO(as_pdf(incident)))
    made["pdf"] = " ".join(page.extract_text() for page in pdf.pages) + str(pdf.metadata)
    made |= {v: as_fhir(incident, v) for v in ("R4B", "R5")}
    return made


def traces(text: str, used: list[str]) -> list[str]:
    """The canaries found, however broken across lines, in digits apart, or in part."""
    flat = re.sub(r"\s+", " ", text).lower()
    digits = re.sub(r"[\s,.-]", "", flat)
    found = [c for c in used if c.lower() in flat or (c[0].isdigit() and re.sub(r"\D", "", c) in digits)]
    return found + re.findall(r"\b[a-z]zq\d+x\b|\bzq[a-z]vex[a-z]\b|q0fOqvjz", flat)


def test_no_canary_is_in_any_output(told, caged):
    pytest.importorskip("fhir.resources", reason="prompter[fhir] is not installed")
    _, _, used = caged
    for name, text in outputs(told, anonymous=True).items():
        assert traces(text, used) == [], name
        assert len(text) > 1000
    # the same search finds them where nothing is left out
    with_names = outputs(told, anonymous=False)
    for name in ("page", "csv", "json", "pdf"):
        assert len(set(traces(with_names[name], used))) >= len(used), name
    assert traces(with_names["R5"], used)


def test_what_people_said_freely_is_left_out_though_no_plan_knows_it(sample, tmp_path):
    pytest.importorskip("fhir.resources", reason="prompter[fhir] is not installed")
    free = "tell Wilma next door"
    story = sample.blocked_tube()
    for n, (kind, names) in enumerate(
        {
            "heard": ("text", "said", "sound", "sound_sha256"),
            "note": ("text", "detail", "sound"),
            "failed": ("detail", "text"),
            "fault": ("detail", "text"),
            "something new": ("text", "name", "what", "value", "answer"),
            "reopened": ("plan_name", "detail"),
        }.items()
    ):
        story.at(250 + n / 10, kind, believed=False, **dict.fromkeys(names, free))
    reading = read(story.write(tmp_path / "a.jsonl"))
    for name, text in outputs(reading, anonymous=True).items():
        assert "wilma" not in text.lower(), name
    assert "Wilma" in outputs(reading, anonymous=False)["page"]


def test_what_the_clinician_needs_is_still_there(journal_file):
    reading = read(journal_file)
    named, other = build(reading, "night"), build(reading, "night", anonymous=True)
    assert other.measures == named.measures
    assert (other.outcome, other.duration_s, other.tries) == (named.outcome, named.duration_s, named.tries)
    assert other.plan.get("suction", "depth_cm") == 9
    page = render(other)
    for text in ("Suction pass 1", "it&#39;s blocked", "Anonymous:", "9 cm by the plan"):
        assert text in page
    assert "Juno" not in page
    assert "data:audio" not in page
    assert json.loads(as_json([other]))["incidents"][0]["id"] != named.id


def test_only_names_are_taken_out_of_a_sentence(sample, tmp_path):
    plan = (
        "phone: { dialled_without_hands: Call by voice and ask Maria, number: '555-0142' }\n"
        "clinician: { name: Doctor Imre Vale }\n"
    )
    story = sample.Story().at(0, "opened", plan_text=plan).at(0, "started")
    story.say(1, "Call on speaker: 5 5 5, 0 1 4 2.", "look").say(2, "maria, call. VALE is Doctor.", "look")
    page = as_csv([build(read(story.write(tmp_path / "a.jsonl")), "a", anonymous=True)])
    assert "“Call on speaker: [left out].”" in page
    assert "“[left out], call. [left out] is Doctor.”" in page


@pytest.mark.parametrize("broken", ["\tx: 1\n", "a: 'not closed\n", "a: 1\na: 2\n", "a: \x07\n", "more: [" + "1," * 2000 + "]\n"])
def test_a_plan_that_cannot_be_read_tells_no_name_either(sample, tmp_path, broken):
    plan = f"patient:\n  name: Wilma Tern  # at night\nclinician: {{ name: 'Doctor Imre Vale' }}\nphone:\n  number: \"555-0142\"\n{broken}"
    story = sample.Story().at(0, "opened", plan_text=plan).at(0, "started")
    story.say(1, "Wilma is better. Vale knows.", "look").say(2, "Call on speaker: 5 5 5, 0 1 4 2.", "look")
    page = as_csv([build(read(story.write(tmp_path / "a.jsonl")), "a", anonymous=True)])
    assert "better" in page and "Call on speaker" in page
    assert not any(name in page for name in ("Wilma", "Tern", "Vale", "5 5 5"))


def test_no_day_of_the_plan_is_told(journal_file):
    text = as_json([build(read(journal_file), "n", anonymous=True)])
    assert str(date(2026, 1, 20)) not in text
    assert "Vale" not in text
