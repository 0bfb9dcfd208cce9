"""`check` on a knowledge folder broken in five ways names five places and remedies."""

from __future__ import annotations

import shutil

import pytest

from assistant.doors.command_line import main
from assistant.packaged import packaged


@pytest.fixture
def knowledge(tmp_path):
    folder = tmp_path / "knowledge"
    shutil.copytree(packaged("knowledge"), folder)
    return folder


def change(file, before, after):
    text = file.read_text(encoding="utf-8")
    assert before in text
    file.write_text(text.replace(before, after, 1), encoding="utf-8")
    return text[: text.index(before)].count("\n") + 1


def test_five_slips_in_five_files_are_five_lines_with_place_and_remedy(knowledge, tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("AFTERCARE_HOME", str(tmp_path / "none"))
    first_substance = (knowledge / "substances.csv").read_text(encoding="utf-8").splitlines()[1].split(",")
    places = {
        f"substances.csv:{change(knowledge / 'substances.csv', ','.join(first_substance[:2]), 'x,potion')}",
        f"coatings.csv:{change(knowledge / 'coatings.csv', 'wax,', 'varnish,')}",
        "answers/en/soap_which.md:",
        "answers/en/wash_how.md:",
        "mixtures.csv:",
    }
    change(knowledge / "answers/en/soap_which.md", "handover: never", "handover: sometimes")
    change(knowledge / "answers/en/wash_how.md", "---\n", "")
    (knowledge / "mixtures.csv").write_bytes(b"id,a,b\xff\n")
    code = main(["check", "--knowledge", str(knowledge)])
    told = capsys.readouterr().out.splitlines()
    assert code == 1
    for place in places:
        (line,) = [one for one in told if one.startswith(f"knowledge/{place.rstrip(':')}")]
        assert line.count(". ") >= 1, "problem, full stop, remedy"


def test_a_sound_folder_has_nothing_to_tell(knowledge, tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("AFTERCARE_HOME", str(tmp_path / "none"))
    assert main(["check", "--knowledge", str(knowledge)]) == 0
    assert capsys.readouterr().out == f"No problems in {knowledge}.\n"
