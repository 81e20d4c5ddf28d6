"""The kinds of value a plan is made of, as a nurse writes them: yes, no, none, a short text."""

from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema
from pydantic_core import core_schema

NONE_WORDS = ("none", "not ordered")


class Part(BaseModel):
    """A group of the plan: exact types, unknown names refused, never changed after reading."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True, allow_inf_nan=False)


def _yes_no(value: Any) -> Any:
    if not isinstance(value, str):
        return value
    return {"yes": True, "no": False}.get(value.strip().lower(), value)


YesNo = Annotated[
    bool, BeforeValidator(_yes_no), WithJsonSchema({"enum": ["yes", "no", True, False]})
]


class _OrNone:
    """Lets 'none' and 'not ordered' stand for an empty value; use on `SomeType | None`."""

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> core_schema.CoreSchema:
        return core_schema.no_info_before_validator_function(self._read, handler(source))

    def __get_pydantic_json_schema__(self, schema: Any, handler: Any) -> dict[str, Any]:
        described = handler(schema)
        described["anyOf"] = [*described["anyOf"], {"enum": list(NONE_WORDS)}]
        return described

    @staticmethod
    def _read(value: Any) -> Any:
        is_none = isinstance(value, str) and value.strip().lower() in NONE_WORDS
        return None if is_none else value


OR_NONE = _OrNone()

# Printable, one line, no braces or markup that a prompt could trip over; with a letter or digit,
# so that something is left to say.
_SIGN = r"\x00-\x1f\x7f-\x9f\u2028\u2029\ufeff\ufffe\uffff{}<>\[\]"
_PLAIN = rf"^[^{_SIGN}]*[^\W_][^{_SIGN}]*$"

Text = Annotated[str, Field(min_length=1, max_length=160, pattern=_PLAIN)]
SpokenName = Annotated[str, Field(max_length=24, pattern=r"^[^\W\d_]+([ '’.-]{1,2}[^\W\d_]+)*\.?$")]
"""Letters, said aloud in prompts of a few words: a first name, 'Dr. Vale'."""

PhoneNumber = Annotated[
    str, Field(max_length=24, pattern=r"^\+?[0-9*#]([ ()./-]{0,2}[0-9*#]){1,15}$")
]
Millilitres = Annotated[float, Field(gt=0, le=50)]
InsideMm = Annotated[float, Field(ge=2, le=12)]
Percent = Annotated[int, Field(ge=50, le=100)]
