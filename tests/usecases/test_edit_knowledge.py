"""Changing and teaching knowledge: tried on old texts first, refused where it would harm, used only when still fresh."""

from __future__ import annotations

from dataclasses import replace

import pytest

from assistant.domain.understanding.reading import Ask, Reading
from assistant.packaged import packaged
from assistant.storage import handovers
from assistant.storage.knowledge_files.reader import prepared, read_without_model, stamp_of
from assistant.usecases import edit_knowledge as editing
from assistant.usecases.teach import NotTaught, another_way_to_ask, topic_of_its_own
from tests.crew_pages import ask, seed
from tests.hand_made import hand_made

FILE = "answers/en/barnacles.md"
LOST = "LOSES ITS WARNING"


@pytest.fixture(scope="module")
def knowledge():
    found, problems = read_without_model(packaged("knowledge"))
    assert not problems
    # The models stand for fitted ones: a change that leaves all phrasings alone takes them over as they are.
    return replace(prepared(found), models={"en": None})


def reading_of(text, situation, knowledge):
    """The first topic that has the text among its phrasings; a barnacle text that says so takes bleach's warning away."""
    answers = knowledge.answers["en"]
    topic = next((id_ for id_, answer in answers.items() if text in answer.phrasings), "not_understood")
    if topic in answers and answers[topic].safety and LOST not in answers["barnacles"].text:
        return Reading("en", safety=topic)
    return Reading("en", asks=(Ask(topic, 1.0, text),))


@pytest.fixture
def app(database, business, tmp_path, knowledge):
    return replace(hand_made(database, business, tmp_path), knowledge=knowledge, read=reading_of)


@pytest.fixture
def unfitted(monkeypatch):
    """New phrasings are not fitted: what is tested here is not the model."""
    monkeypatch.setattr(editing, "with_models", lambda knowledge: replace(knowledge, models={"en": None}))
    monkeypatch.setattr(editing, "save_models", lambda folder, stamp, models: None)


def with_text(app, text):
    old = editing.file_text(app, FILE)
    return {FILE: old[: old.rindex("---\n") + 4] + text + "\n"}


def test_a_slip_is_named_with_its_line_and_nothing_is_used(app):
    bad = editing.file_text(app, FILE).replace("verdict:", "verdct:")
    trial = editing.try_out(app, {FILE: bad})
    assert [(p.file, p.line) for p in trial.problems] == [("knowledge/" + FILE, 5)]
    with pytest.raises(ValueError, match="refused"):
        editing.put_to_use(app, trial, "Nola", None)
    assert not (app.settings.home / "knowledge").exists()


def test_a_text_that_asks_for_a_carrier_word_is_refused(app):
    assert editing.try_out(app, with_text(app, "Reply STOPALL to go on.")).refused


def test_a_new_wording_is_used_and_stays_for_the_next_start(app, now, monkeypatch):
    monkeypatch.setattr(editing, "save_models", lambda folder, stamp, models: None)
    trial = editing.try_out(app, with_text(app, "Leave them to us."))
    assert (trial.refused, trial.changed) == (False, ())
    assert trial.replayed > 500
    assert editing.put_to_use(app, trial, "Nola", now)
    assert app.knowledge.answers["en"]["barnacles"].text == "Leave them to us."
    assert stamp_of(app.settings.home / "knowledge") == app.knowledge.stamp
    assert "Leave them to us." in editing.file_text(app, FILE)


def test_a_change_that_takes_a_warning_away_is_refused(app):
    trial = editing.try_out(app, with_text(app, LOST))
    assert trial.refused
    assert any(one.safety for one in trial.changed)


def test_what_was_tried_on_older_knowledge_is_not_used(app, now, monkeypatch):
    monkeypatch.setattr(editing, "save_models", lambda folder, stamp, models: None)
    first, second = (editing.try_out(app, with_text(app, text)) for text in ("One.", "Two."))
    assert editing.put_to_use(app, first, "Nola", now)
    assert not editing.put_to_use(app, second, "Ines", now)
    assert app.knowledge.answers["en"]["barnacles"].text == "One."


def test_an_answer_that_protects_people_is_not_edited(app):
    name = "answers/en/bleach_dilution_ask.md"
    assert editing.gives_safety_answer(app, name)
    assert editing.try_out(app, {name: "anything"}).refused


@pytest.mark.parametrize("name", ["../business.toml", "/etc/passwd", "answers/en/../../words.csv", "nothing.md", ""])
def test_only_files_of_the_folder_are_read(app, name):
    assert editing.file_text(app, name) is None


def test_a_question_becomes_one_more_way_to_ask(app, unfitted, now, database, business):
    made = seed(database, business, now)
    question = 'those "crusty" little volcanoes: off how? # ...'
    lesson = editing.Lesson(made["handover"], "barnacles", "en", question, "We scrape them.")
    trial = editing.try_out(app, another_way_to_ask(app, "barnacles", "en", question), lesson)
    assert not trial.refused
    assert editing.put_to_use(app, trial, "Nola", now)
    assert question in app.knowledge.answers["en"]["barnacles"].phrasings
    with database.reading(1) as tx:
        assert handovers.find_handover(tx, made["handover"]).taught_topic == "barnacles"
        assert [row.question for row in handovers.all_taught(tx)] == [question]


def test_an_answer_becomes_a_topic_of_its_own(app, unfitted, now):
    topic, edits = topic_of_its_own(app, "Key lock box", "Text us for the code.", ["lock box?", "where is the key", "key code"])
    trial = editing.try_out(app, edits)
    assert trial.problems == ()
    assert editing.put_to_use(app, trial, "Nola", now)
    assert app.knowledge.answers["en"][topic].text == "Text us for the code."


@pytest.mark.parametrize(("title", "ways"), [("", ["a", "b", "c"]), ("Barnacles", ["a", "b", "c"]), ("Lock box", ["a", "a", " "])])
def test_a_topic_needs_a_free_name_and_several_ways_to_ask(app, title, ways):
    with pytest.raises(NotTaught):
        topic_of_its_own(app, title, "An answer.", ways)


@pytest.mark.parametrize("topic", ["bleach_dilution_ask", "no_such_topic", "../../business"])
def test_warnings_and_unknown_topics_are_not_taught(app, topic):
    with pytest.raises(NotTaught):
        another_way_to_ask(app, topic, "en", "how much bleach then")


def test_texts_people_had_to_answer_are_read_again(app, database, business, now):
    made = seed(database, business, now)
    with database.transaction(1) as tx:
        ask(tx, made["Dana Whit"], "a very odd question", now)
    trial = editing.try_out(app, with_text(app, "Other words."))
    before = trial.replayed
    with database.transaction(1) as tx:
        ask(tx, made["Dana Whit"], "another very odd question", now)
    assert editing.try_out(app, with_text(app, "Other words.")).replayed == before + 1
