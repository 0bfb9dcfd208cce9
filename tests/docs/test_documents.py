"""README.md and DEVELOPERS.md say what is so: commands, flags, settings, addresses, files, dependencies, examples."""

from __future__ import annotations

import argparse
import re
import shlex
import subprocess
import tomllib
from collections.abc import Iterator

import pytest

from assistant.doors.command_line import build_parser
from assistant.doors.web import create_app
from tests.docs.blocks import ROOT, Home, agrees, blocks, play
from tests.hand_made import hand_made

README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
BOTH = README + DEVELOPERS
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
FILES = [
    path
    for path in subprocess.run(
        ["git", "ls-files", "-co", "--exclude-standard"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.splitlines()
    if (ROOT / path).exists()
]


def commands(parser: argparse.ArgumentParser | None = None) -> dict[str, tuple[argparse.ArgumentParser, str | None]]:
    """Every command of `aftercare --help`, and every action of a command, with its parser and its line of help."""
    found: dict[str, tuple[argparse.ArgumentParser, str | None]] = {}
    for group in (one for one in (parser or build_parser())._actions if isinstance(one, argparse._SubParsersAction)):
        helps = {choice.dest: choice.help for choice in group._choices_actions}
        for name, inner in group.choices.items():
            found[name] = (inner, helps.get(name))
            found |= {f"{name} {action}": told for action, told in commands(inner).items()}
    return found


@pytest.mark.parametrize("name", commands())
def test_every_command_has_help_and_stands_in_the_documents_with_its_flags(name):
    parser, told = commands()[name]
    assert told, f"{name} has no help"
    assert re.search(rf"`(aftercare )?{name}\b", BOTH), f"{name} stands in neither README.md nor DEVELOPERS.md"
    flags = {flag for action in parser._actions for flag in action.option_strings if flag.startswith("--")}
    missing = [flag for flag in flags - {"--help"} if f"`{flag}" not in BOTH and f" {flag}" not in BOTH]
    assert not missing, f"{name} has flags that no document names: {missing}"


def test_every_command_that_the_readme_lists_exists():
    table = README.split("## Commands")[1].split("**`ask`** reads")[0]
    listed = re.findall(r"^\| `([a-z-]+)", table, re.MULTILINE)
    assert len(listed) >= 13
    assert set(listed) <= set(commands())


def test_every_shell_line_with_our_program_would_be_understood():
    lines = [line for block in blocks(BOTH) if block.kind == "sh" for line in block.text.splitlines()]
    ours = [shlex.split(line, comments=True)[1:] for line in lines if re.match(r"(\S*/)?aftercare ", line)]
    for arguments in ours:
        build_parser().parse_args(arguments)
    assert ours


def test_there_is_one_line_to_try_it_and_one_to_test_it():
    lines = [line for block in blocks(README) if block.kind == "sh" for line in block.text.splitlines()]
    (demo,) = (line for line in lines if line.endswith("aftercare demo"))
    (tests,) = (line for line in lines if "/pytest" in line)
    for line in (demo, tests):
        assert line.startswith("python3 -m venv ")
        assert re.search(r"pip install -q ('?\.(\[test\])?'?) &&", line)
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert "$(readme_line 'aftercare demo')" in script
    assert "$(readme_line 'pytest')" in script


def test_the_first_paragraph_says_what_it_does_for_whom():
    first = README.split("\n\n")[1]
    for word in ("detailer", "owners", "text", "answers", "books", "reminds", "guess"):
        assert word in first.lower()
    assert len(first.split()) < 120


def test_the_readme_examples_print_what_is_written(tmp_path, request):
    played = list(play(README, Home(tmp_path, README, request.config.cache.mkdir("models"))))
    assert len(played) >= 5
    for step, printed in played:
        assert agrees(step.printed, printed), f"$ {step.command}\n{printed}"


def test_settings_are_documented_and_nothing_else_is():
    source = (ROOT / "assistant" / "settings.py").read_text(encoding="utf-8")
    read = set(re.findall(r"\"((?:AFTERCARE|TWILIO)_[A-Z_]+)\"", source))
    told = set(re.findall(r"`((?:AFTERCARE|TWILIO)_[A-Z_]+)`", README.split("## Settings")[1].split("\n## ")[0]))
    assert told == read


def test_every_address_is_documented(database, business, tmp_path):
    app = create_app(hand_made(database, business, tmp_path))
    rules = [rule.rule for rule in app.url_map.iter_rules() if rule.endpoint != "static"]
    told = re.findall(r"`(?:GET|POST) (/[^`]*)`", README)
    missing = [rule for rule in rules if not any(_covers(one, rule) for one in told)]
    assert not missing, f"the README's table of addresses lacks {missing}"


def _covers(told: str, rule: str) -> bool:
    """`/crew/...` stands for everything below it; `<token>` for any converter with a token."""
    if told.endswith("/..."):
        return rule.startswith(told.removesuffix("..."))
    return re.sub(r"<[^>]*>", "<>", told) == re.sub(r"<[^>]*>", "<>", rule)


def test_paths_in_the_documents_exist():
    told = set(re.findall(r"`((?:assistant|tests|knowledge|demo_conversations)/[\w./-]*)`", BOTH))
    assert len(told) > 20
    wrong = sorted(path for path in told if not (ROOT / path).exists())
    assert not wrong, f"named in the documents, but not there: {wrong}"


def tree() -> Iterator[str]:
    """Paths of the drawn file tree in DEVELOPERS.md, from its indentation."""
    (drawn,) = (block.text for block in blocks(DEVELOPERS) if block.name == "tree")
    above: list[tuple[int, str]] = []
    for line in drawn.splitlines():
        name = line.split()[0]
        indent = len(line) - len(line.lstrip())
        above = [(depth, path) for depth, path in above if depth < indent]
        path = (above[-1][1] if above else "") + name
        if name.endswith("/"):
            above.append((indent, path))
        yield path


def test_the_file_tree_matches():
    drawn = list(tree())
    code = {f"{folder}/" for path in FILES if path.endswith(".py") for folder in _above(path)}
    knowledge = {f"{folder}/" for path in FILES if path.startswith("knowledge/") for folder in _above(path)[:2]}
    plain = {path for path in FILES if re.fullmatch(r"[^./]+\.\w+|assistant/\w+\.py|\.ci/\w+", path)}
    plain -= {"assistant/__init__.py"}
    missing = sorted((code | knowledge | {"demo_conversations/"} | plain) - set(drawn))
    assert not missing, f"draw these in DEVELOPERS.md: {missing}"
    gone = [path for path in drawn if not (ROOT / path).exists()]
    assert not gone, f"drawn in DEVELOPERS.md and not there: {gone}"


def _above(path: str) -> list[str]:
    """The folders a file lies in, the outermost first."""
    parts = path.split("/")[:-1]
    return ["/".join(parts[:depth]) for depth in range(1, len(parts) + 1)]


def test_every_dependency_is_explained_with_its_licence():
    asked = PROJECT["dependencies"] + [one for extra in PROJECT["optional-dependencies"].values() for one in extra]
    names = {re.match(r"[\w-]+", one)[0].lower() for one in asked} - {PROJECT["name"]}
    told = {
        name.lower(): cells
        for cells in re.findall(r"^\| (`.*)\|$", DEVELOPERS.split("## Dependencies")[1], re.MULTILINE)
        for name in re.findall(r"`([\w-]+)`", cells.split("|")[0])
    }
    assert sorted(names - told.keys()) == [], "explain these under Dependencies"
    assert sorted(told.keys() - names) == [], "these are explained under Dependencies and no longer asked for"
    assert all(re.search(r"MIT|BSD|Apache|MPL|LGPL|ZPL", cells) for cells in told.values())
