"""The incident for other programs: one JSON object, or one CSV row an event."""

import csv
import io
import json
from collections.abc import Iterable

from prompter.review.incident import Incident

CSV_FIELDS = ("incident", "seq", "at", "t_s", "kind", "row", "text", "how", "detail")


def as_json(incidents: Iterable[Incident]) -> str:
    """`{"incidents": [...]}` with measures and timeline; see `Incident.to_json`."""
    return (
        json.dumps({"incidents": [i.to_json() for i in incidents]}, ensure_ascii=False, indent=1)
        + "\n"
    )


def as_csv(incidents: Iterable[Incident]) -> str:
    """RFC 4180 with a header; times in seconds since the start and RFC 3339."""
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, CSV_FIELDS)
    writer.writeheader()
    for incident in incidents:
        for entry in incident.entries:
            row = {"incident": incident.id, **entry.to_json()}
            writer.writerow({name: harmless(value) for name, value in row.items()})
    return text.getvalue()


def harmless(value: object) -> object:
    """A text that a spreadsheet would run as a formula gets an apostrophe before it."""
    return f"'{value}" if isinstance(value, str) and value[:1] in tuple("=+-@\t\r") else value
