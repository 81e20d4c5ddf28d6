"""Any damage: the account goes up to it and says so, in every form, and never falls over."""

import json

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from prompter.journal import read_bytes
from prompter.review import as_csv, as_json, build, render
from prompter.review.fhir import as_fhir
from prompter.review.paper import as_pdf


@pytest.fixture(scope="module")
def whole(sample, tmp_path_factory) -> bytes:
    return sample.blocked_tube().write(tmp_path_factory.mktemp("whole") / "a.jsonl").read_bytes()


def damaged(data: bytes, way: str, share: float, bit: int) -> bytes:
    """One bit turned, the rest cut off, a line lost, doubled or changed with the next."""
    at = int(share * (len(data) - 1))
    lines = data.splitlines(keepends=True)
    line = int(share * (len(lines) - 2)) + 1  # the first stays: without it there is no account
    if way == "flip":
        at = max(at, len(lines[0]))
        return data[:at] + bytes([data[at] ^ 1 << bit]) + data[at + 1 :]
    if way == "cut":
        return data[: max(at, len(lines[0]))]
    if way == "lost":
        return b"".join(lines[:line] + lines[line + 1 :])
    if way == "doubled":
        return b"".join(lines[: line + 1] + lines[line:])
    return b"".join([*lines[:line], *reversed(lines[line : line + 2]), *lines[line + 2 :]])


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    st.sampled_from(["flip", "cut", "lost", "doubled", "swapped"]),
    st.floats(0, 1, exclude_max=True),
    st.integers(0, 7),
    st.booleans(),
)
def test_reviewed_up_to_the_damage(whole, way, share, bit, anonymous):
    data = damaged(whole, way, share, bit)
    reading = read_bytes(data)
    sound = data.splitlines()[: len(reading.events)]
    assert whole.splitlines()[: len(sound)] == sound  # nothing but what was written counts
    incident = build(reading, "damaged", anonymous)
    page = render(incident)
    if len(sound) == len(whole.splitlines()) and data == whole:
        return
    told = ("The record is damaged", "The record breaks off", "the record was not closed")
    assert any(text in page for text in told), way
    assert len(json.loads(as_json([incident]))["incidents"][0]["timeline"]) == len(sound)
    assert as_csv([incident]).count("\r\n") >= len(sound)
    assert as_pdf(incident).startswith(b"%PDF")


@pytest.mark.parametrize("version", ["R4B", "R5"])
def test_fhir_of_a_damaged_record_says_so(whole, version):
    pytest.importorskip("fhir.resources", reason="prompter[fhir] is not installed")
    incident = build(read_bytes(damaged(whole, "lost", 0.5, 0)), "damaged")
    bundle = as_fhir(incident, version)
    assert "The record is damaged" in bundle
    (encounter,) = [e["resource"] for e in json.loads(bundle)["entry"] if e["resource"]["resourceType"] == "Encounter"]
    assert encounter["status"] == "unknown"  # the end is beyond the damage
