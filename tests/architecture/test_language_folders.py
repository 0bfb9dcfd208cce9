"""The languages of knowledge/ are parallel, and no text asks a client for a word that the carrier acts on."""

from __future__ import annotations

import ast
import csv
import re

import pytest

from assistant.domain.wording import placeholders_in
from assistant.packaged import packaged
from assistant.storage.knowledge_files.reader import LANGUAGES, read_without_model
from tests.architecture.source import modules
from tests.knowledge_texts import client_texts

FOLDER = packaged("knowledge")
KNOWLEDGE, PROBLEMS = read_without_model(FOLDER)
OTHERS = [language for language in LANGUAGES if language != "en"]
CARRIER = re.compile(r"\b(?:STOPALL|STOP|UNSUBSCRIBE|CANCEL|END|QUIT|REVOKE|OPT-?OUT|OPT ?OUT|UNSTOP|START|YES)\b")
INSTRUCTION = re.compile(r"\b(?:text|Text|envía|Envía|escribe|Escribe) STOP (?:to|para) ")
"""The one use that is allowed: how to leave the list. Lower-case words of plain speech are no keywords to reply with."""
REPLY_WITH = re.compile(
    r"\b(?:text|reply|send|answer|type|respond|responde|contesta|manda|envía|escribe|di)\b(?: (?:me|us|back|with|just|a|con|solo|un))*"
    r" [\"'(]?(?:stop|stopall|unsubscribe|cancel|end|quit|revoke|opt ?out|unstop|start|yes|si|sí)\b(?! to | para )",
    re.IGNORECASE,
)


def test_the_knowledge_has_no_problems():
    assert [str(problem) for problem in PROBLEMS] == []


@pytest.mark.parametrize("language", OTHERS)
def test_every_text_file_has_its_twin(language):
    for kind in ("answers", "nudges"):
        names = {path.name for path in (FOLDER / kind / "en").glob("*.md")}
        assert names == {path.name for path in (FOLDER / kind / language).glob("*.md")}
        assert len(names) >= 10
    assert KNOWLEDGE.wording["en"].keys() == KNOWLEDGE.wording[language].keys()


@pytest.mark.parametrize("language", OTHERS)
def test_an_answer_decides_the_same_in_every_language(language):
    for topic, english in KNOWLEDGE.answers["en"].items():
        other = KNOWLEDGE.answers[language][topic]
        for field in ("group", "verdict", "handover", "needs", "safety"):
            assert getattr(english, field) == getattr(other, field), f"{topic}: {field} differs in {language}"
        assert {when for when, _ in english.variants} == {when for when, _ in other.variants}, topic


@pytest.mark.parametrize("language", OTHERS)
def test_a_sentence_says_no_more_in_one_language_than_in_another(language):
    for id, english in KNOWLEDGE.wording["en"].items():
        extra = set(placeholders_in(KNOWLEDGE.wording[language][id])) - set(placeholders_in(english))
        assert not extra, f"{id} in {language} speaks of {extra}, which the English sentence does not know"


def test_columns_by_language_are_filled_in_each():
    for path in sorted(FOLDER.glob("*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        for column in (name for name in rows[0] if name.endswith("_en")):
            stem = column.removesuffix("_en")
            for number, row in enumerate(rows, start=2):
                filled = {code: bool(row[f"{stem}_{code}"].strip()) for code in LANGUAGES}
                assert len(set(filled.values())) == 1, f"{path.name}, row {number}: {stem} is filled for {filled}"


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_text_asks_for_a_word_that_the_carrier_acts_on(language):
    wrong = [
        (place, text) for place, text in client_texts(KNOWLEDGE, language)
        if CARRIER.search(INSTRUCTION.sub("", text)) or REPLY_WITH.search(INSTRUCTION.sub("", text))
    ]  # fmt: skip
    assert not wrong


@pytest.mark.parametrize("asked", ["Reply YES to confirm.", "Text CANCEL if plans change", "Just answer yes", "or END it",
                                   "Responde SÍ", "Text START to come back"])  # fmt: skip
def test_such_a_text_would_be_noticed(asked):
    assert CARRIER.search(asked) or REPLY_WITH.search(asked)


def test_sentences_stand_in_the_language_folders_and_not_in_the_code():
    """Whole sentences in the conversation's modules would speak one language only."""
    sentence = re.compile(r"[A-ZÁÉÍÓÚ¿¡][a-záéíóúñ']* (?:[\w',]+ ){3,}[\w']+[.!?]")
    found = []
    for module in (one for one in modules() if one.name.startswith("assistant.domain.conversation")):
        documented = {id(node.value) for node in ast.walk(module.tree) if isinstance(node, ast.Expr)}
        for node in ast.walk(module.tree):
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in documented:
                found += [f"{module.path}:{node.lineno}: {node.value}"] if sentence.search(node.value) else []
    assert not found
