"""The card for the wall, read back with another library: one page, complete, honest, large enough."""

import io
from dataclasses import replace

import pypdf
import pytest

from prompter.care.card import CAUTIONS
from prompter.care.plan import load_plan
from prompter.errors import CannotDo
from prompter.flow.table import BUILT_IN
from prompter.papers.card import READ_PT, card_pdf
from prompter.papers.route import main_route, reason_route
from prompter.resources import shared_file

PLANS = [shared_file("demo-plan.yaml"), *sorted(shared_file("plans").glob("*.yaml"))]


@pytest.fixture(params=PLANS, ids=lambda file: file.stem)
def file(request):
    return request.param


def page_of(pdf):
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    assert len(reader.pages) == 1
    return reader.pages[0]


def flat(page):
    return " ".join(page.extract_text().split())


def made(tables, file, plan=None, **more):
    return page_of(card_pdf(tables(file), plan or load_plan(file), **{"invented": True, "foot": ["Version 1."], "not_approved": True, **more}))


def test_it_is_one_a4_page_with_every_word_number_and_caution(tables, file):
    plan, table = load_plan(file), tables(file)
    page = made(tables, file)
    # ISO 216: 210 by 297 mm.
    assert [round(float(side) * 25.4 / 72) for side in (page.mediabox.width, page.mediabox.height)] == [210, 297]
    words = flat(page)
    for caution in CAUTIONS:
        assert caution in words
    everywhere = [name for name in (*table.flow.everywhere, *BUILT_IN) if name in table.flow.answers]
    own = {answer for stand in table.stands.values() for answer in stand.own_answers} & set(table.flow.answers)
    for name in {*everywhere, *own}:
        assert table.flow.answers[name].wordings[0] in words, name
    phone = plan.phone
    for value in (f"Call {phone.number}", phone.call_back, phone.address[0], plan.clinician.phone, plan.patient.name):
        assert value in words
    assert f"Suction depth: {plan.suction.depth_cm:g} cm" in words
    if plan.tube is not None:
        assert f"Tube: {plan.tube.inside_mm:g} mm inside" in words
        assert f"Smaller tube: {plan.tube.smaller_spare_inside_mm:g} mm" in words


def test_steps_are_those_the_flow_takes_by_itself(tables):
    table = tables(PLANS[0])
    main = [stand.name for stand in main_route(table)]
    # CLINICAL section 4, the silent column, for a plan with a valve, no inner tube, and saline.
    assert main == [
        "tube-check", "valve-off", "suction", "passed", "look", "bag", "saline", "bag-again", "suction-again",
        "passed-again", "last-bag",
    ]  # fmt: skip
    answers, change = reason_route(table, main_route(table))
    assert answers == ["won't pass", "flat"]
    # CLINICAL section 5: hold, in the hand, ties, out, in, guide, hold, prove.
    assert [stand.name for stand in change][:8] == [
        "hold-tube", "in-hand", "ties", "tube-out", "tube-in", "guide-out", "hold-new", "prove",
    ]  # fmt: skip


def test_it_says_that_it_is_invented_or_not_approved(tables):
    assert "INVENTED DEMONSTRATION PLAN" in flat(made(tables, PLANS[0]))
    assert "NOT APPROVED BY A CLINICIAN" in flat(made(tables, PLANS[0], invented=False))
    approved = flat(made(tables, PLANS[0], invented=False, not_approved=False))
    assert "NOT APPROVED" not in approved and "INVENTED" not in approved


def test_neck_only_never_reads_of_cover_or_mask_on_the_face(tables):
    words = flat(made(tables, next(f for f in PLANS if f.stem == "adult-neck-only")))
    assert "NECK-ONLY" in words and "Mask over mouth" not in words and "head back" not in words


def test_without_a_plan_no_number_is_invented(tables):
    page = page_of(card_pdf(tables(PLANS[0]), None, False, ["x"], True))
    assert "fill in address and numbers by hand" in flat(page) and "Suction depth:" not in flat(page)


def test_type_can_be_read_from_a_metre(tables, file):
    sizes: list[float] = []
    made(tables, file).extract_text(visitor_text=lambda text, cm, tm, font, size: sizes.append(size) if text.strip() else None)
    small = [size for size in sizes if size < READ_PT[1]]
    assert len(small) <= 6 and min(sizes) >= 8  # only the cautions at the foot
    assert max(sizes) >= 20  # the number to call


def test_a_letter_that_cannot_be_printed_is_refused_by_name(tables):
    plan = load_plan(PLANS[0])
    odd = plan.model_copy(update={"clinician": plan.clinician.model_copy(update={"name": "Doctor \u0141ukasz"})})
    with pytest.raises(CannotDo, match="\u0141"):
        made(tables, PLANS[0], odd)


def test_too_much_for_one_page_is_refused(tables):
    table = tables(PLANS[0])
    flow = table.flow.model_copy(update={"title": "very long " * 400})
    with pytest.raises(CannotDo, match="one page"):
        card_pdf(replace(table, flow=flow), load_plan(PLANS[0]), True, ["x"], True)
