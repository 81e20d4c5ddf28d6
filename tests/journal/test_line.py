"""The line's format against the outside: RFC 8785, FIPS 180-4, RFC 3339."""

import json
import struct
from datetime import UTC, datetime, timedelta, timezone

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from prompter.errors import CannotDo
from prompter.journal.line import Chain, digest, timestamp

NOON = datetime(2026, 3, 14, 12, 0, 0, 5_999, timezone(timedelta(hours=-5, minutes=-30)))


def test_sha256_of_abc():
    # FIPS 180-4's example, as printed in the Secure Hash Standard's example values
    assert digest(b"abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_the_example_of_rfc_8785_section_3_2_2():
    given_text = r"""{
      "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
      "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
      "literals": [null, true, false]
    }"""
    wanted = (
        '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
        '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    )
    assert rfc8785.dumps(json.loads(given_text)) == wanted.encode()


def test_the_order_of_names_in_rfc_8785_section_3_2_3():
    names = ["\u20ac", "\r", "\ufb33", "1", "\U0001f600", "\u0080", "\u00f6"]
    line = rfc8785.dumps(dict.fromkeys(names, ""))
    assert list(json.loads(line)) == [
        "\r",
        "1",
        "\u0080",
        "\u00f6",
        "\u20ac",
        "\U0001f600",
        "\ufb33",
    ]


@pytest.mark.parametrize(
    ("bits", "text"),
    [
        ("0000000000000000", "0"),
        ("8000000000000000", "0"),
        ("0000000000000001", "5e-324"),
        ("7fefffffffffffff", "1.7976931348623157e+308"),
        ("4340000000000000", "9007199254740992"),
        ("4430000000000000", "295147905179352830000"),
        ("44b52d02c7e14af6", "1e+23"),
        ("444b1ae4d6e2ef50", "1e+21"),
        ("3eb0c6f7a0b5ed8d", "0.000001"),
        ("3eb0c6f7a0b5ed8c", "9.999999999999997e-7"),
        ("41b3de4355555553", "333333333.3333332"),
        ("becbf647612f3696", "-0.0000033333333333333333"),
        ("43143ff3c1cb0959", "1424953923781206.2"),
    ],
)
def test_numbers_of_rfc_8785_appendix_b(bits, text):
    assert rfc8785.dumps(struct.unpack(">d", bytes.fromhex(bits))[0]) == text.encode()


@given(st.datetimes(min_value=datetime(1950, 1, 1), timezones=st.timezones() | st.just(UTC)))
def test_every_time_follows_the_grammar_of_rfc_3339(at):
    # RFC 3339 section 5.6, date-time, written out again here and not taken from the program
    date, _, rest = timestamp(at).partition("T")
    year, month, day = date.split("-")
    clock, sign, offset = rest[:12], rest[12], rest[13:]
    assert (len(year), len(month), len(day)) == (4, 2, 2)
    assert sign in "+-"
    assert [len(part) for part in offset.split(":")] == [2, 2]
    assert int(offset[:2]) <= 23
    assert int(offset[3:]) <= 59
    hour, minute, second = clock.split(":")
    assert 0 <= int(hour) <= 23
    assert 0 <= int(minute) <= 59
    assert 0.0 <= float(second) < 60.0
    assert len(second) == 6
    assert abs(datetime.fromisoformat(timestamp(at)) - at) < timedelta(milliseconds=1)


def test_a_line_holds_what_the_contract_names():
    chain = Chain()
    first = chain.next_line({"kind": "opened", "plan_text": "é"}, NOON, 0)
    second = chain.next_line({"kind": "note", "b": 1.0, "a": None}, NOON, 12)
    event = json.loads(second)
    check = event.pop("check")
    assert event == {
        "v": 1,
        "seq": 2,
        "at": "2026-03-14T12:00:00.005-05:30",
        "mono_ms": 12,
        "kind": "note",
        "b": 1,
        "a": None,
        "prev": digest(first.rstrip(b"\n")),
    }
    assert json.loads(first)["prev"] == ""
    assert second.endswith(b"\n")
    assert rfc8785.dumps(json.loads(second)) + b"\n" == second
    assert digest(rfc8785.dumps(event)).startswith(check)


@pytest.mark.parametrize(
    "record",
    [
        {"kind": "x", "value": float("nan")},
        {"kind": "x", "value": 2**60},
        {"kind": "x", "value": "\ud800"},
        {"kind": "x", "value": b"bytes"},
        {"kind": "x", "prev": "mine"},
        {"value": 1},
    ],
)
def test_what_is_no_event_is_refused_and_changes_nothing(record):
    chain = Chain(7, "ab")
    with pytest.raises(CannotDo):
        chain.next_line(record, NOON, 0)
    assert (chain.seq, chain.prev) == (7, "ab")
