"""pH of substances.csv against published values, and against what acid and alkaline mean."""

from __future__ import annotations

import pytest

PUBLISHED = [
    ("vinegar", 2.9, "University of Idaho, FCS 270, pH of some common foods"),
    ("lemon_juice", 2.2, "University of Idaho, FCS 270: lemons"),
    ("lemon_juice", 2.0, "University of Idaho, FCS 270: limes"),
    ("baking_soda", 8.22, "samaterials, pH of acids and bases: calculated, 10 mmol/l"),
    ("borax", 9.17, "samaterials, 10 mmol/l"),
    ("washing_soda", 10.97, "samaterials, 10 mmol/l"),
    ("tsp", 11.71, "samaterials, 10 mmol/l"),
    ("ammonia", 10.61, "samaterials, 10 mmol/l"),
    ("alkaline_degreaser", 11.91, "samaterials, sodium metasilicate, 10 mmol/l"),
    ("citric_acid", 2.08, "cyrrion, pH of common acids: 100 mmol/l"),
    ("bathroom_cleaner", 2.44, "cyrrion, lactic acid, 100 mmol/l"),
    ("muriatic_acid", 1.08, "cyrrion, hydrochloric acid, 100 mmol/l"),
    ("chlorine_bleach", 11.5, "veterinary disinfectant booklet, hypochlorite"),
    ("hydrogen_peroxide", 4.5, "hunker, 3 percent peroxide: 4 to 5"),
    ("seawater", 8.1, "NOAA, ocean acidification"),
    ("neutral_boat_soap", 7.0, "definition of neutral"),
]
BY_TYPE = {"wheel_cleaner", "salt_remover", "two_part_teak_cleaner"}
"""Sold in kinds on both sides, so that their range says little."""


def limits(row):
    return float(row["ph_low"]), float(row["ph_high"])


@pytest.mark.parametrize(("id", "ph", "source"), PUBLISHED)
def test_a_published_ph_lies_within_the_row(substances, id, ph, source):
    low, high = limits(substances[id])
    assert low <= ph <= high, f"{source}: {ph}, the row says {low} to {high}"


def test_lye_as_sold_is_stronger_than_its_thin_solution(substances):
    """11.95 at 10 mmol/l (samaterials); the sold product is stronger."""
    assert limits(substances["caustic_soda"])[0] > 11.95
    assert limits(substances["oven_cleaner"])[0] > 11.95


def test_ranges_agree_with_their_class(substances):
    counted = 0
    for id, row in substances.items():
        if not row["ph_low"] or id in BY_TYPE:
            continue
        low, high = limits(row)
        counted += 1
        assert 0 <= low < high <= 14, id
        if row["class"] in {"acid", "strong_acid"}:
            assert low < 6, f"{id} is called an acid and begins at pH {low}"
        if row["class"] == "alkali":
            assert high > 8, f"{id} is called an alkali and ends at pH {high}"
        if row["class"] == "neutral_soap":
            assert (low, high) == (6, 8), id
    assert counted >= 60
