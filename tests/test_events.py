"""Every event and cue goes into a journal line and comes back the same."""

import dataclasses
import json
import typing

import pytest

from prompter import events


def _sample(cls: type) -> events.Record:
    """An instance with a distinct value in every field."""
    values: dict[str, object] = {}
    hints = typing.get_type_hints(cls)
    for index, field in enumerate(dataclasses.fields(cls), start=1):
        kind = hints[field.name]
        if field.name == "how":
            values[field.name] = "keyed"
        elif kind is bool:
            values[field.name] = True
        elif "int" in str(kind):
            values[field.name] = index
        elif "float" in str(kind):
            values[field.name] = index + 0.5
        else:
            values[field.name] = f"{field.name} {index}"
    return cls(**values)


def _classes() -> list[type]:
    found, todo = [], [events.Record]
    while todo:
        for cls in todo.pop().__subclasses__():
            # slots=True leaves the class it replaced behind: the module's own name counts.
            if getattr(events, cls.__name__, None) is cls:
                found.append(cls)
                todo.append(cls)
    return sorted(found, key=lambda cls: cls.__name__)


def test_all_kinds_are_registered_under_their_own_class() -> None:
    assert {cls.kind: cls for cls in _classes()} == events.KINDS
    assert len(events.KINDS) >= 18


@pytest.mark.parametrize("cls", _classes(), ids=lambda cls: cls.__name__)
def test_round_trip_through_json(cls: type) -> None:
    record = _sample(cls)
    assert events.from_record(json.loads(json.dumps(record.to_record()))) == record


@pytest.mark.parametrize("cls", _classes(), ids=lambda cls: cls.__name__)
def test_events_cannot_be_changed(cls: type) -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        _sample(cls).at_ms = 7  # type: ignore[misc]


def test_unknown_fields_are_ignored_and_unknown_kinds_refused() -> None:
    record = {**events.Ticked(5).to_record(), "prev": "abc", "seq": 3}
    assert events.from_record(record) == events.Ticked(5)
    with pytest.raises(KeyError):
        events.from_record({"kind": "no such thing", "at_ms": 1})
