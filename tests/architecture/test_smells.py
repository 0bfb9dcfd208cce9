"""The report of long modules and functions finds them, and only them."""

from __future__ import annotations

import ast

from tests.architecture.smells import figures, functions, smells
from tests.architecture.source import Module


def module(text: str) -> Module:
    return Module("assistant.made_up", "assistant/made_up.py", ast.parse(text), len(text.splitlines()))


SHORT = "def short():\n    return 1\n"
LONG = "def long():\n" + "    1\n" * 40


def test_a_long_function_is_named_with_its_place():
    assert smells([module(SHORT + LONG)]) == ["assistant/made_up.py:3: long has 41 lines"]


def test_a_long_module_is_named():
    assert smells([module("1\n" * 401)]) == ["assistant/made_up.py: 401 lines"]
    assert smells([module(SHORT * 200)]) == []


def test_methods_count_too_and_the_medians_are_told():
    nested = module("class Thing:\n" + "".join(f"    {line}\n" for line in SHORT.splitlines()))
    assert list(functions(nested)) == [("short", 2, 2)]
    assert figures([nested]) == "1 modules, median 3 lines; 1 functions, median 2 lines"
