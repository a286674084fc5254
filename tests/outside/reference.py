"""
The table of reference values: cases computed outside previz, each with its source and tolerance.

`reference-values.json` says per case where its formula or fact comes from and whether that source was seen, seen
second-hand or written from memory; a test's docstring repeats it.
"""

from __future__ import annotations

import json
from functools import cache
from operator import itemgetter
from pathlib import Path

import numpy as np
import pytest

TABLE = Path(__file__).with_name("reference-values.json")


@cache
def _all_cases() -> tuple[dict, ...]:
    return tuple(json.loads(TABLE.read_text(encoding="utf-8"))["cases"])


def cases(*id_prefixes: str) -> list[dict]:
    """
    Return the cases of the table whose id begins with one of `id_prefixes`: "3" for a chapter, "3.3" for its third quantity, "3.3a".

    Raises
    ------
    ValueError
        If a prefix has no case, so that no check can lose its cases in silence.
    """
    found = [case for prefix in id_prefixes for case in _cases_of(prefix)]
    return [_plain_numbers(case) for case in found]


def each(*id_prefixes: str):
    """Return the pytest mark that runs a test once for each case, as its argument `case`, under the case's id."""
    return pytest.mark.parametrize("case", cases(*id_prefixes), ids=itemgetter("id"))


def agree(case: dict, key: str, found, tolerance: str = "rel") -> None:
    """Assert that `found` is the case's output `key` within the tolerance that the case itself names, element by element."""
    np.testing.assert_allclose(found, case["outputs"][key], rtol=case["tol"][tolerance], atol=case["tol"].get("abs", 0), err_msg=f"{case['id']} {key}")


def _cases_of(prefix: str) -> list[dict]:
    found = [case for case in _all_cases() if case["id"].startswith(prefix) and not case["id"][len(prefix) :][:1].isdigit()]
    if not found:
        raise ValueError(f"reference-values.json has no case {prefix}")
    return found


def _plain_numbers(case: dict) -> dict:
    """Return the case with its inputs' text "inf" as infinity."""
    inputs = {key: np.inf if value == "inf" else value for key, value in case["inputs"].items()}
    return case | {"inputs": inputs}
