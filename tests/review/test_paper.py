"""The PDF: A4 without a system package, read back by another library, whole for any content."""

import io

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pypdf import PdfReader

from prompter.journal import read
from prompter.review import build
from prompter.review.account import ten_lines
from prompter.review.paper import as_pdf
from prompter.review.questions import questions


def words_of(pdf: bytes) -> str:
    return " ".join(" ".join(p.extract_text() for p in PdfReader(io.BytesIO(pdf)).pages).split())


def test_it_says_what_the_page_says(incident):
    text = words_of(as_pdf(incident))
    for line in ten_lines(incident):
        assert line.lead in text
    for question in questions(incident):
        assert question.replace("→", "to") in text
    for shown in ("41 s within the limit", "Topjian et al.", "not a medical device", "14 March 2026, 02:41:07"):
        assert shown in text


def test_it_is_a4_and_the_same_each_time(incident):
    pdf = as_pdf(incident)
    reader = PdfReader(io.BytesIO(pdf))
    # ISO 216: A4 is 210 x 297 mm; a point is 1/72 inch
    for page in reader.pages:
        assert (round(float(page.mediabox.width) * 25.4 / 72), round(float(page.mediabox.height) * 25.4 / 72)) == (210, 297)
    assert pdf == as_pdf(incident)
    assert len(pdf) <= 500_000


def test_a_damaged_record_says_so(journal_file):
    path = journal_file.with_name("damaged.jsonl")
    path.write_bytes(journal_file.read_bytes().replace(b'"text":"Ties off."', b'"text":"Ties on!!"'))
    assert "The record is damaged" in words_of(as_pdf(build(read(path), "night")))


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.text(max_size=40) | st.just("long " * 4000) | st.just("<b>&amp;</para>"))
def test_any_text_can_be_printed(sample, tmp_path_factory, text):
    path = tmp_path_factory.mktemp("pdf") / "a.jsonl"
    text = text.encode("utf-8", "replace").decode()
    story = sample.Story().at(0, "opened").at(0, "started").say(1, text, text).at(2, "note", text=text)
    assert as_pdf(build(read(story.write(path)), text)).startswith(b"%PDF")


@pytest.mark.parametrize("seconds", [0, 1, 7200])
def test_any_length_can_be_drawn(sample, tmp_path, seconds):
    story = sample.Story().at(0, "opened").at(0, "started").at(seconds, "closed", outcome="open")
    assert as_pdf(build(read(story.write(tmp_path / "a.jsonl")), "a")).startswith(b"%PDF")
