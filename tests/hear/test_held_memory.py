"""The setting of glibc that keeps memory down: taken where there is one, passed over elsewhere."""

import ctypes
import platform

import pytest

from prompter.hear import held_memory


def test_glibc_takes_the_setting() -> None:
    if platform.libc_ver()[0] != "glibc":
        pytest.skip("not glibc")
    assert held_memory.hold_less()


@pytest.mark.parametrize("error", [AttributeError("mallopt"), OSError("no such library"), TypeError("None")])
def test_another_system_goes_without(error: Exception, monkeypatch: pytest.MonkeyPatch) -> None:
    def other(_: object) -> object:
        raise error

    monkeypatch.setattr(ctypes, "CDLL", other)
    assert not held_memory.hold_less()


def test_the_number_of_the_setting_is_that_of_malloc_h() -> None:
    # glibc, malloc/malloc.h: #define M_ARENA_MAX -8
    assert held_memory._M_ARENA_MAX == -8
