"""Imports point down only; the ground floor is pure; the clock and the environment are read in one place each."""

from __future__ import annotations

import ast
import re
import sys
import tomllib

import pytest

from tests.architecture.source import ROOT, Module, dotted, modules

MAY_IMPORT = {
    "domain": set(),
    "storage": {"domain"},
    "carriers": {"domain"},
    "settings": {"domain"},
    "clock": set(),
    "packaged": set(),
    "assembly": {"domain", "storage", "carriers", "settings", "clock", "packaged"},
    "usecases": {"domain", "storage", "carriers", "assembly", "packaged"},
    "doors": {"domain", "storage", "carriers", "usecases", "assembly", "settings", "clock", "packaged", "__version__"},
    "__main__": {"doors"},
    "assistant": set(),
}
PURE = set(
    "__future__ abc bisect collections dataclasses datetime decimal enum functools hashlib html itertools math operator re"
    " string typing unicodedata xml zlib zoneinfo".split()
)
"""Parts of the standard library that neither touch the world nor roll dice."""
PURE_PACKAGES = {"dateutil", "holidays", "icalendar", "numpy", "phonenumbers", "rapidfuzz", "scipy"}
ONLY_IN = {
    "flask": {"doors"}, "werkzeug": {"doors"}, "markupsafe": {"doors"}, "waitress": {"doors"},
    "sqlalchemy": {"storage", "settings", "doors"}, "alembic": {"storage"}, "twilio": {"carriers", "doors"},
}  # fmt: skip
COMES_WITH = {"werkzeug": "flask", "markupsafe": "flask", "requests": "twilio", "urllib3": "twilio"}
"""Packages imported by name that another one brings and shows in its own interface."""
SPELLED = {"yaml": "pyyaml", "dateutil": "python-dateutil", "argon2": "argon2-cffi", "PIL": "pillow",
           "spellchecker": "pyspellchecker"}  # fmt: skip
NOT_IMPORTED = {"tzdata", "pyspellchecker", "psycopg"}
"""Read as data, or loaded by SQLAlchemy from its name in an address."""


def outside(module: Module) -> set[str]:
    """Packages imported that are neither ours nor the standard library's."""
    tops = {name.split(".")[0] for name, _ in module.imports()}
    return tops - set(sys.stdlib_module_names) - {"assistant"}


@pytest.mark.parametrize("module", modules(), ids=lambda module: module.name)
def test_imports_point_down_only(module):
    wrong = [
        f"{module.path}:{line} imports {name}"
        for name, line in module.imports()
        if name.startswith("assistant.") and (unit := name.split(".")[1]) != module.unit
        and unit not in MAY_IMPORT[module.unit]
    ]  # fmt: skip
    assert not wrong


@pytest.mark.parametrize("module", [one for one in modules() if one.unit == "domain"], ids=lambda module: module.name)
def test_the_ground_floor_takes_values_and_gives_values(module):
    tops = {name.split(".")[0] for name, _ in module.imports()}
    assert tops <= PURE | PURE_PACKAGES | {"assistant"}
    calls = {dotted(node.func) for node in ast.walk(module.tree) if isinstance(node, ast.Call)}
    assert not calls & {"open", "print", "input", "exec", "eval", "__import__"}


def test_libraries_of_the_outer_floors_stay_there():
    wrong = [
        f"{module.path}: {name}" for module in modules() for name in outside(module) & ONLY_IN.keys()
        if module.unit not in ONLY_IN[name]
    ]  # fmt: skip
    assert not wrong


def test_the_clock_is_read_in_one_module():
    asked = re.compile(r"(datetime|date|dt)(\.datetime|\.date)?\.(now|utcnow|today)|time\.(time|time_ns|localtime)|func\.now")
    readers = {
        module.path for module in modules() for node in ast.walk(module.tree)
        if isinstance(node, ast.Call) and asked.fullmatch(dotted(node.func))
    }  # fmt: skip
    assert readers == {"assistant/clock.py"}


def test_the_environment_is_handed_to_the_settings_and_read_nowhere_else():
    handed, touched = 0, 0
    for module in modules():
        for node in ast.walk(module.tree):
            touched += isinstance(node, ast.expr) and dotted(node) in {"os.environ", "os.getenv", "os.environb"}
            if isinstance(node, ast.Call) and dotted(node.func) == "Settings.from_environment":
                handed += any(dotted(argument) == "os.environ" for argument in node.args)
        assert ("environ" in dict(module.imports())) is False
    assert handed == touched == 1


def test_there_is_no_chance_but_in_the_names_of_links():
    dice = {
        module.path: tops for module in modules()
        if (tops := {name.split(".")[0] for name, _ in module.imports()} & {"random", "secrets", "uuid"})
    }  # fmt: skip
    below = {path for path in dice if not path.startswith("assistant/doors/")}
    assert below <= {"assistant/storage/database.py"}
    assert all("random" not in tops for tops in dice.values())


def test_what_is_imported_is_asked_for_and_what_is_asked_for_is_imported():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    asked = {re.match(r"[\w-]+", one)[0].lower() for one in project["dependencies"]}
    used = {SPELLED.get(name, name) for module in modules() for name in outside(module)}
    missing = sorted(name for name in used if COMES_WITH.get(name, name) not in asked)
    assert not missing, f"imported, but not among the dependencies: {missing}"
    idle = sorted(asked - used - NOT_IMPORTED)
    assert not idle, f"among the dependencies, but never imported: {idle}"
