"""CAS registry numbers: the check digit rule of the registry, and the numbers that NIOSH gives for common chemicals."""

from __future__ import annotations

import re

import pytest

POCKET_GUIDE = {
    "acetic acid": "64-19-7", "acetone": "67-64-1", "ammonia": "7664-41-7", "ammonium hydroxide": "1336-21-6",
    "methyl ethyl ketone": "78-93-3", "2-butoxyethanol": "111-76-2", "chlorine dioxide": "10049-04-4",
    "diethylenetriamine": "111-40-0", "ethanol": "64-17-5", "ethanolamine": "141-43-5", "ethylene glycol": "107-21-1",
    "formic acid": "64-18-6", "hydrogen chloride": "7647-01-0", "hydrogen fluoride": "7664-39-3",
    "hydrogen peroxide": "7722-84-1", "isopropanol": "67-63-0", "kerosene": "8008-20-6", "methanol": "67-56-1",
    "dichloromethane": "75-09-2", "naphthalene": "91-20-3", "nitric acid": "7697-37-2", "oxalic acid": "144-62-7",
    "phosphoric acid": "7664-38-2", "potassium hydroxide": "1310-58-3", "sodium hydroxide": "1310-73-2",
    "stoddard solvent": "8052-41-3", "sulfuric acid": "7664-93-9", "toluene": "108-88-3", "turpentine": "8006-64-2",
    "xylene": "1330-20-7",
}  # fmt: skip
"""NIOSH Pocket Guide to Chemical Hazards, entries by name (ammonium hydroxide: the entry of ammonia, synonyms; ethanol
as ethyl alcohol; isopropanol as isopropyl alcohol; methyl ethyl ketone as 2-butanone; dichloromethane as methylene
chloride; xylene: the mixed isomers)."""


def check_digit(number: str) -> int:
    """The last digit that the registry's rule gives: digits counted from the right, times their place, modulo 10."""
    digits = [int(digit) for digit in reversed(number[:-2].replace("-", ""))]
    return sum(place * digit for place, digit in enumerate(digits, start=1)) % 10


@pytest.mark.parametrize(("number", "last"), [("7732-18-5", 5), ("107-07-3", 3), ("7681-52-9", 9), ("64-19-7", 7)])
def test_the_rule_gives_the_registry_s_own_examples(number, last):
    assert check_digit(number) == last


def test_every_registry_number_passes_its_check_digit(substances):
    numbers = [(id, number.strip()) for id, row in substances.items() for number in row["cas"].split(";") if number.strip()]
    assert len(numbers) >= 60
    for id, number in numbers:
        assert re.fullmatch(r"[1-9]\d{1,6}-\d{2}-\d", number), (id, number)
        assert check_digit(number) == int(number[-1]), (id, number)


def test_chemicals_carry_the_number_that_the_pocket_guide_gives(knowledge):
    compared = 0
    for name, number in POCKET_GUIDE.items():
        for id in knowledge.ingredients.get(name, ()):
            named = knowledge.substances[id]
            if named.cas and name in named.ingredients:
                compared += 1
                assert number in named.cas, f"{id} holds {name} and lists {named.cas}"
    assert compared >= 20
