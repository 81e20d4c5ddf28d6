"""The FHIR Bundle: its structure by two libraries, its codes by their lists, its references, its content."""

import copy
import importlib
import json
import re
import sys
import warnings
from datetime import datetime

import pytest

from prompter.errors import CannotDo
from prompter.journal import read
from prompter.review import build
from prompter.review.fhir import as_fhir
from prompter.review.fhir_check import code_lists, problems

pytest.importorskip("fhir.resources", reason="prompter[fhir] is not installed")
VERSIONS = ("R4B", "R5")


@pytest.fixture(params=VERSIONS)
def version(request) -> str:
    return request.param


@pytest.fixture
def bundle(incident, version) -> dict:
    return json.loads(as_fhir(incident, version))


def resources(bundle: dict, kind: str) -> list[dict]:
    return [e["resource"] for e in bundle["entry"] if e["resource"]["resourceType"] == kind]


def test_it_holds_what_was_measured_and_done(bundle, version):
    kinds = {e["resource"]["resourceType"] for e in bundle["entry"]}
    assert kinds == {"Patient", "Encounter", "Observation", "Procedure", "Provenance"}
    values = {
        o["code"]["coding"][0]["code"]: [] for o in resources(bundle, "Observation") if "coding" in o["code"]
    }
    for o in resources(bundle, "Observation"):
        if "coding" in o["code"]:
            values[o["code"]["coding"][0]["code"]].append(o["valueQuantity"]["value"])
    # LOINC: oxygen saturation by pulse oximetry 59408-5, heart rate 8867-4
    assert values == {"59408-5": [84, 90, 95], "8867-4": [138]}
    done = [p["code"]["text"] for p in resources(bundle, "Procedure")]
    assert sorted(done) == [
        "Breaths by bag, paced",
        "Replacement of the tracheostomy tube",
        "Suction through the tracheostomy",
    ]
    (encounter,) = resources(bundle, "Encounter")
    period = encounter["actualPeriod" if version == "R5" else "period"]
    length = datetime.fromisoformat(period["end"]) - datetime.fromisoformat(period["start"])
    assert length.total_seconds() == 300
    (provenance,) = resources(bundle, "Provenance")
    assert len(provenance["target"]) == len(bundle["entry"]) - 1


def test_every_time_is_a_fhir_time(bundle):
    # FHIR's own expressions for dateTime with time and for instant (hl7.org/fhir/R5/datatypes.html), from memory
    form = re.compile(
        r"([0-9]([0-9]([0-9][1-9]|[1-9]0)|[1-9]00)|[1-9]000)-(0[1-9]|1[0-2])-(0[1-9]|[1-2][0-9]|3[0-1])"
        r"T([01][0-9]|2[0-3]):[0-5][0-9]:([0-5][0-9]|60)(\.[0-9]{1,9})?(Z|(\+|-)((0[0-9]|1[0-3]):[0-5][0-9]|14:00))"
    )
    times = re.findall(r'"(\d{4}-\d\d-\d\dT[^"]*)"', json.dumps(bundle))
    assert len(times) > 10
    assert all(form.fullmatch(text) for text in times)


def test_the_same_incident_gives_the_same_bundle(incident, version):
    assert as_fhir(incident, version) == as_fhir(incident, version)


def model(name: str, version: str):
    """A resource's class, or that of one part of it ('ProvenanceEntity')."""
    folder = "fhir.resources.R4B" if version == "R4B" else "fhir.resources"
    module = re.findall("[A-Z][a-z]+", name)[0].lower()
    return getattr(importlib.import_module(f"{folder}.{module}"), name)


def test_our_code_lists_are_those_of_the_library(version):
    for path, codes in code_lists(version).items():
        *holder, name = path.split(".")
        extra = model("".join(map(str.title, holder)), version).model_fields[name].json_schema_extra
        known = set(extra["enum_values"])
        if "+" in known:  # the library quotes the definition's short list: "... +" is "and more"
            assert known - {"+"} < codes, path
        else:
            assert known == codes, path


def test_a_wrong_code_or_reference_is_found(bundle, version):
    assert problems(bundle, version) == []
    at = {e["resource"]["resourceType"]: n for n, e in enumerate(bundle["entry"])}

    def broken(kind, change) -> list[str]:
        other = copy.deepcopy(bundle)
        change(other["entry"][at[kind]]["resource"])
        return problems(other, version)

    assert "none of the required" in broken("Observation", lambda r: r.update(status="done"))[0]
    assert "missing" in broken("Procedure", lambda r: r.pop("status"))[0]
    assert "not in the Bundle" in broken("Observation", lambda r: r.update(subject={"reference": "urn:uuid:0"}))[0]
    encounter = bundle["entry"][at["Encounter"]]["fullUrl"]
    assert "no Patient" in broken("Procedure", lambda r: r.update(subject={"reference": encounter}))[0]
    assert "none of the required" in broken("Provenance", lambda r: r["entity"][0].update(role="x"))[0]
    other = "finished" if version == "R5" else "completed"  # each release has its own word
    assert broken("Encounter", lambda r: r.update(status=other))


def test_a_second_library_finds_the_structure_right(incident):
    """fhircraft reads HL7's own StructureDefinitions, and walks their invariants."""
    types = pytest.importorskip(
        "fhircraft.fhir.resources.datatypes", reason="prompter[test-fhir] is not installed"
    )
    for version in VERSIONS:
        bundle = json.loads(as_fhir(incident, version))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # dom-6, a best practice: narrative
            types.get_fhir_type("Bundle", version).model_validate(bundle)
            for entry in bundle["entry"]:
                resource = entry["resource"]
                types.get_fhir_type(resource["resourceType"], version).model_validate(resource)
            observation = types.get_fhir_type("Observation", version)
            good = resources(bundle, "Observation")[0]
            for wrong in ({"unheard": 1}, {"valueString": "two values"}):
                with pytest.raises(ValueError):
                    observation.model_validate({**good, **wrong})


def test_any_sound_journal_makes_a_bundle(sample, tmp_path):
    story = sample.Story().at(0, "opened").at(1, "numbered", quantity="spo2", value="x").at(2, "pace", what="suction")
    path = story.at(1.5, "numbered", quantity="pulse", value=9999, how=3).write(tmp_path / "odd.jsonl")
    for version in VERSIONS:
        made = json.loads(as_fhir(build(read(path), "odd"), version))
        assert [o for o in resources(made, "Observation") if "coding" in o["code"]] == []


def test_a_clock_beyond_the_calendar_is_one_line(sample, tmp_path, version):
    reading = read(sample.blocked_tube().write(tmp_path / "x.jsonl"))
    reading.events[-1]["mono_ms"] = 2**52  # about 140,000 years, which a sound line can hold
    incident = build(reading, "x")
    with pytest.raises(CannotDo, match="beyond the calendar"):
        as_fhir(incident, version)


def test_without_the_library_it_is_one_line(incident, monkeypatch):
    monkeypatch.setitem(sys.modules, "fhir.resources.bundle", None)
    with pytest.raises(CannotDo) as caught:
        as_fhir(incident, "R5")
    assert "pip install 'prompter[fhir]'" in caught.value.one_line()
