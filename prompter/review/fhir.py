"""The incident for a hospital's systems: a FHIR Bundle of what was measured and done.

Vital signs have LOINC codes. What LOINC or HL7 have no exact code for keeps words only: a wrong code
would be read by programs that cannot doubt it. Paced breaths are not the patient's own rate, and so
are no respiratory rate.
"""

import json
import uuid
from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from typing import Any

from prompter.errors import Bug, CannotDo
from prompter.review.fhir_check import problems
from prompter.review.incident import Incident
from prompter.review.measures import Span
from prompter.review.page import integrity

Json = dict[str, Any]

LOINC, UCUM = "http://loinc.org", "http://unitsofmeasure.org"
ACT_CODE = "http://terminology.hl7.org/CodeSystem/v3-ActCode"
CATEGORY = "http://terminology.hl7.org/CodeSystem/observation-category"
PARTICIPANT = "http://terminology.hl7.org/CodeSystem/provenance-participant-type"
NAMESPACE = uuid.UUID("7a4f27d8-5a53-4d2c-9e0e-3d2f6f0d8a55")
"""Ours, drawn once at random: the same incident gets the same addresses each time."""

OXYGEN = [
    {"system": LOINC, "code": "59408-5", "display": "Oxygen saturation in Arterial blood by Pulse oximetry"},
    {"system": LOINC, "code": "2708-6", "display": "Oxygen saturation in Arterial blood"},
]  # the second is what HL7's vital-signs profile asks for beside the first (from memory)
PULSE = [{"system": LOINC, "code": "8867-4", "display": "Heart rate"}]

TOLD = {"spoken": "said by a caregiver", "keyed": "keyed by a caregiver"}


def as_fhir(incident: Incident, version: str) -> str:
    """A Bundle of the sort `collection` as JSON. version: 'R4B' or 'R5'.

    Raises CannotDo without the FHIR library that checks its structure.
    """
    model = _model(version)
    bundle = _Bundle(incident, version).made()
    try:
        model.model_validate(bundle)
    except ValueError as error:
        raise Bug(f"the {version} Bundle is not as FHIR wants it: {error}") from error
    if found := problems(bundle, version):
        raise Bug(f"the {version} Bundle is not as FHIR wants it: {'; '.join(found)}")
    return json.dumps(bundle, ensure_ascii=False, indent=1) + "\n"


def _model(version: str) -> Any:
    try:
        if version == "R4B":
            from fhir.resources.R4B.bundle import Bundle
        else:
            from fhir.resources.bundle import Bundle
    except ImportError as error:
        raise CannotDo(
            "needs a library that is not installed", "FHIR", "install it with: pip install 'prompter[fhir]'"
        ) from error
    return Bundle


class _Bundle:
    """Collects the resources of one incident."""

    def __init__(self, incident: Incident, version: str) -> None:
        self.i, self.is_r5 = incident, version == "R5"
        self.start = datetime.fromisoformat(incident.started)
        self.entries: list[Json] = []

    def made(self) -> Json:
        self.patient = self.add("Patient", **self._patient())
        self.about = {"subject": self.patient}
        self.encounter = self.add("Encounter", **self._encounter(), **self.about)
        self.about = {"subject": self.patient, "encounter": self.encounter}
        for fields in (*self._numbers(), *self._times()):
            self.add("Observation", status="final", **fields, **self.about)
        for text, span in self._done():
            when = {"occurrencePeriod" if self.is_r5 else "performedPeriod": self.period(span)}
            self.add("Procedure", status="completed", code={"text": text}, **when, **self.about)
        targets = [{"reference": entry["fullUrl"]} for entry in self.entries]
        self.add("Provenance", target=targets, **self._provenance())
        bundle = {"resourceType": "Bundle", "type": "collection", "timestamp": self.at(self.i.duration_s)}
        bundle["identifier"] = {"system": "urn:ietf:rfc:3986", "value": self.address("Bundle", 0)}
        return bundle | {"entry": self.entries}

    def add(self, kind: str, **fields: Any) -> Json:
        """Puts a resource in, and returns the reference to it."""
        address = self.address(kind, len(self.entries))
        resource = {"resourceType": kind, "id": address.removeprefix("urn:uuid:"), **fields}
        self.entries.append({"fullUrl": address, "resource": resource})
        return {"reference": address}

    def address(self, kind: str, number: int) -> str:
        return uuid.uuid5(NAMESPACE, f"{self.i.id} {self.i.started} {kind} {number}").urn

    def at(self, t_s: float) -> str:
        """Seconds since the start as a FHIR instant. Raises CannotDo for what no calendar holds."""
        try:
            return (self.start + timedelta(seconds=t_s)).isoformat(timespec="milliseconds")
        except OverflowError as error:
            raise CannotDo("its clock goes beyond the calendar, and FHIR wants dates", self.i.id, "use --format html.") from error

    def period(self, span: Span) -> Json:
        return {"start": self.at(span.from_s), "end": self.at(max(span.from_s, span.to_s))}

    def _patient(self) -> Json:
        name = self.i.plan.get("patient", "name")
        return {"name": [{"text": str(name)}]} if name and not self.i.anonymous else {}

    def _encounter(self) -> Json:
        home = {"system": ACT_CODE, "code": "HH", "display": "home health"}
        period = self.period(Span(0.0, self.i.duration_s))
        ended = self.i.outcome != "open"
        reason = "Breathing emergency with a tracheostomy at home"
        if self.is_r5:
            return {
                "status": "completed" if ended else "unknown",
                "class": [{"coding": [home]}],
                "actualPeriod": period,
                "reason": [{"value": [{"concept": {"text": reason}}]}],
            }
        return {
            "status": "finished" if ended else "unknown",
            "class": home,
            "period": period,
            "reasonCode": [{"text": reason}],
        }

    def _numbers(self) -> Iterator[Json]:
        """Each oxygen saturation and heart rate that was taken, and how it came to be known."""
        codes = {"spo2": (OXYGEN, "%", "%", range(101)), "pulse": (PULSE, "beats/minute", "/min", range(301))}
        refused = {
            event.fields["seq"] for event, after in zip(self.i.events, self.i.events[1:], strict=False)
            if after.kind == "refused"
        }
        for event in self.i.events:
            value = event.number("value")
            told = codes.get(event.text("quantity")) if event.kind == "numbered" else None
            if told is None or value is None or event.fields["seq"] in refused:
                continue
            coding, unit, code, sane = told
            if int(value) in sane:
                yield {
                    "category": [{"coding": [{"system": CATEGORY, "code": "vital-signs", "display": "Vital Signs"}]}],
                    "code": {"coding": coding, "text": coding[0]["display"]},
                    "effectiveDateTime": self.at(event.t_s),
                    "valueQuantity": {"value": int(value), "unit": unit, "system": UCUM, "code": code},
                    "method": {"text": TOLD.get(event.text("how"), "how it is known was not recorded")},
                }  # fmt: skip

    def _times(self) -> Iterator[Json]:
        m = self.i.measures
        lengths = {
            "Seconds from the start to the first paced breath": m.first_breath_s,
            "Longest time without a paced breath while breathing was not confirmed better, seconds":
                m.longest_without_breath.length_s if m.longest_without_breath else None,
            "Seconds from the start to the emergency call being asked for": m.call_asked_s,
            "Seconds from the start to the phone being on speaker": m.on_speaker_s,
            "Seconds from the start to the tube being out": m.tube_out_s,
            "Seconds from the start to the tube being proven open": m.tube_proven_s,
        }  # fmt: skip
        whole = {"effectivePeriod": self.period(Span(0.0, self.i.duration_s))}
        for text, value in lengths.items():
            if value is not None:
                quantity = {"value": value, "unit": "s", "system": UCUM, "code": "s"}
                yield {"code": {"text": text}, **whole, "valueQuantity": quantity}
        if m.breaths_a_minute is not None:
            quantity = {"value": m.breaths_a_minute, "unit": "breaths/minute", "system": UCUM, "code": "/min"}
            yield {"code": {"text": "Rate of breaths paced for the caregiver's bag"}, **whole, "valueQuantity": quantity}
        yield {"code": {"text": "Outcome"}, **whole, "valueString": self.i.outcome}
        yield {"code": {"text": "Integrity of the record"}, **whole, "valueString": integrity(self.i).text}
        if self.i.plan.is_rehearsal:
            yield {"code": {"text": "Rehearsal"}, **whole, "valueBoolean": True}

    def _done(self) -> Iterator[tuple[str, Span]]:
        m = self.i.measures
        yield from _each("Suction through the tracheostomy", m.suction)
        yield from _each("Chest compressions", m.pushes)
        if m.breaths_s:
            yield "Breaths by bag, paced", Span(m.breaths_s[0], m.breaths_s[-1])
        for finding in self.i.saline:
            yield "Saline into the tracheostomy tube", Span(finding.t_s, finding.t_s)
        if m.tube_out_s is not None and m.tube_proven_s is not None:
            yield "Replacement of the tracheostomy tube", Span(m.tube_out_s, m.tube_proven_s)

    def _provenance(self) -> Json:
        program = f"prompter {self.i.plan.opened.get('version') or ''}".strip()
        source = {"display": f"journal of incident {self.i.id}"}
        assembler = {"system": PARTICIPANT, "code": "assembler", "display": "Assembler"}
        return {
            "recorded": self.at(self.i.duration_s),
            "agent": [{"type": {"coding": [assembler]}, "who": {"display": program}}],
            "entity": [{"role": "source", "what": source}],
        }


def _each(text: str, spans: Iterable[Span]) -> Iterator[tuple[str, Span]]:
    for span in spans:
        yield text, span
