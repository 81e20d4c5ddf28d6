"""Numpy's own threads stay out of the way of the sound's and the recogniser's."""

import os
import subprocess
import sys

import pytest

TELL = "import prompter, os; print(os.environ['OPENBLAS_NUM_THREADS'])"


@pytest.mark.parametrize(("given", "kept"), [(None, "1"), ("3", "3")])
def test_small_products_are_not_shared_out_unless_somebody_wants_it(given: str | None, kept: str) -> None:
    env = {name: value for name, value in os.environ.items() if name != "OPENBLAS_NUM_THREADS"}
    env |= {"OPENBLAS_NUM_THREADS": given} if given else {}
    told = subprocess.run([sys.executable, "-c", TELL], env=env, capture_output=True, text=True, check=True)
    assert told.stdout.strip() == kept


def test_numpy_is_not_loaded_before_it_is_set() -> None:
    code = "import sys, prompter; print('numpy' in sys.modules)"
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "False"
