"""The account of an incident for the clinician, made from its journal alone."""

from prompter.review.export import as_csv, as_json
from prompter.review.incident import Incident, build
from prompter.review.page import render

__all__ = ["Incident", "as_csv", "as_json", "build", "render"]
