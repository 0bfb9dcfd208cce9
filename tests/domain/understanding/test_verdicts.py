"""Verdicts on substances and tools: what decides, and that polarity never turns a no into a yes."""

import pytest

from assistant.domain.coatings import with_topper_coats
from assistant.domain.knowledge import Knowledge
from assistant.domain.substances import Freshness, judge
from tests.domain.understanding.conftest import Say

HARSH = ("bleach", "degreaser", "muriatic acid", "acetone", "oven cleaner", "bathroom cleaner", "a magic sponge", "ammonia")
ASKING = (
    "can i use {} on the hull",
    "is {} ok on the hull?",
    "is it bad to use {} on the hull",
    "{} on the hull is fine right?",
    "any harm in using {} on the hull?",
    "should i avoid {} on the hull",
    "thinking of using {} on the hull",
    "{} on the hull?",
    "why not just use {} on the hull",
    "my buddy says {} is safe on a sealed hull, is it?",
    "isnt {} alright for the hull",
    "will {} hurt the hull",
)


@pytest.mark.parametrize("thing", HARSH)
@pytest.mark.parametrize("asking", ASKING)
def test_a_harsh_cleaner_is_a_no_however_it_is_asked(say: Say, thing: str, asking: str) -> None:
    decision = say(asking.format(thing))
    assert decision.verdict == "no", decision


@pytest.mark.parametrize("asking", ASKING)
def test_neutral_soap_is_never_a_no(say: Say, asking: str) -> None:
    assert say(asking.format("pH-neutral boat soap")).verdict == "yes"


@pytest.mark.parametrize(
    "text",
    ["is it bad to rinse daily?", "can i rinse it every day", "rinsing after every trip is ok right?", "should i avoid rinsing daily"],
)
def test_the_verdict_is_on_rinsing_not_on_the_wording(say: Say, text: str) -> None:
    decision = say(text)
    assert decision.verdict == "yes"
    assert not decision.replies[0].lower().startswith(("yes", "no"))


@pytest.mark.parametrize(
    ("text", "verdict"),
    [
        ("can i use a bleach-free cleaner? it says ph neutral boat soap", "yes"),
        ("is wax ok on the non-skid", "no"),
        ("can i put topper on the steps", "no"),
        ("puedo usar cloro en el casco", "no"),
        ("es malo usar desengrasante en el casco?", "no"),
        ("puedo usar jabón náutico de ph neutro", "yes"),
        ("is acetone ok on the clear vinyl windows", "no"),
    ],
)
def test_surfaces_negations_and_spanish(say: Say, text: str, verdict: str) -> None:
    assert say(text).verdict == verdict


def test_soap_waits_while_the_coating_cures(say: Say) -> None:
    """Chidi's boat was sealed six days ago: no soap before day seven, whatever the soap."""
    decision = say("can i use pH-neutral boat soap on blue ledger", "chidi")
    assert decision.verdict == "no"
    assert "Jun 11" in decision.replies[0]


def test_a_report_is_recorded_and_no_verdict_is_invented(say: Say) -> None:
    decision = say("I used degreaser on the whole hull yesterday")
    assert decision.verdict is None
    logged = [change for change in decision.changes if type(change).__name__ == "LogCare"]
    assert [(change.kind.value, change.area) for change in logged] == [("harsh_wash", 1)]


def test_the_strictest_reading_wins(knowledge: Knowledge) -> None:
    for substance in knowledge.substances.values():
        for surface in ("", "hull", "seats", "nonskid"):
            found = judge(substance, surface if surface in knowledge.surfaces else "", "sealant", None, knowledge)
            if substance.verdict == "avoid" or (found.level or 0) >= 2:
                assert found.verdict == "no", substance.id
            if substance.verdict in {"ask", "dilute"}:
                assert found.verdict != "yes", substance.id


def test_fresh_coating_keeps_everything_wet_away(knowledge: Knowledge) -> None:
    sealant = knowledge.coatings["sealant"]
    soap = knowledge.substances["neutral_boat_soap"]
    assert judge(soap, "hull", "sealant", Freshness(5, sealant), knowledge).because == "keep_dry"
    assert judge(soap, "hull", "sealant", Freshness(100, sealant), knowledge).because == "no_soap"
    assert judge(soap, "hull", "sealant", Freshness(200, sealant), knowledge).verdict == "yes"


def test_no_topper_recorded_means_no_credit() -> None:
    assert with_topper_coats([], []) == []
