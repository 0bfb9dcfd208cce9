"""Fenced blocks of the documents, and the console examples among them played in a home of their own.

A `console` block holds commands after `$ ` and what they print; `...` stands for anything. Where the program now says
something else, `python -m tests.docs.blocks README.md` writes that down; read it through before you keep it.
"""

from __future__ import annotations

import os
import re
import stat
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
_BLOCK = re.compile(r"^```(?P<kind>\S*)[ ]?(?P<name>.*)\n(?P<text>(?:.*\n)*?)```$", re.MULTILINE)
_STEP = re.compile(r"^\$ (?P<command>.*)\n(?P<printed>(?:(?!\$ ).*\n)*)", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Block:
    """One fenced block: the word after the fence, what follows it, the line it begins in, and what it holds."""

    kind: str
    name: str
    line: int
    text: str


@dataclass(frozen=True, slots=True)
class Step:
    """One command of a console block and what the document says it prints."""

    command: str
    printed: str


def blocks(document: str) -> list[Block]:
    """Every fenced block of a Markdown text."""
    return [
        Block(match["kind"], match["name"], document.count("\n", 0, match.start()) + 1, match["text"])
        for match in _BLOCK.finditer(document)
    ]


def steps(document: str) -> list[Step]:
    """The commands of all console blocks, in order."""
    console = [block for block in blocks(document) if block.kind == "console"]
    return [Step(match["command"], match["printed"]) for block in console for match in _STEP.finditer(block.text)]


def agrees(written: str, printed: str) -> bool:
    """Whether what was printed is what stands written, `...` standing for anything."""
    parts = (re.escape(part) for part in written.strip().split("..."))
    return re.fullmatch(".*?".join(parts), printed.strip(), re.DOTALL) is not None


class Home:
    """An empty folder in which commands run as a newcomer's would: named files of the document, nothing else."""

    def __init__(self, folder: Path, document: str, models: Path | None = None) -> None:
        self.folder = folder
        for block in blocks(document):
            if block.name:
                (folder / block.name).write_text(block.text, encoding="utf-8")
        program = folder / "bin" / "aftercare"
        program.parent.mkdir()
        program.write_text(f'#!/bin/sh\nexec {sys.executable} -m assistant "$@"\n', encoding="utf-8")
        program.chmod(program.stat().st_mode | stat.S_IXUSR)
        if models:
            (folder / "aftercare").mkdir()
            (folder / "aftercare" / "cache").symlink_to(models)

    def run(self, command: str) -> str:
        """What one command prints, problems included."""
        ours = {"HOME": str(self.folder), "PYTHONPATH": str(ROOT), "PATH": f"{self.folder / 'bin'}:{os.environ['PATH']}"}
        kept = {name: value for name, value in os.environ.items() if not name.startswith(("AFTERCARE_", "TWILIO_"))}
        done = subprocess.run(
            ["bash", "-c", command], cwd=self.folder, env={**kept, **ours}, stdin=subprocess.DEVNULL, text=True,
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, timeout=120, check=False,
        )  # fmt: skip
        return done.stdout


def play(document: str, home: Home) -> Iterator[tuple[Step, str]]:
    """Each step with what its command prints now."""
    for step in steps(document):
        yield step, home.run(step.command)


def rewritten(document: str, home: Home) -> str:
    """The document with what is printed now in the place of what no longer agrees."""
    for step, printed in play(document, home):
        if not agrees(step.printed, printed):
            head = f"$ {step.command}\n"
            document = document.replace(head + step.printed, head + printed.strip() + "\n", 1)
    return document


if __name__ == "__main__":
    for name in sys.argv[1:]:
        text = Path(name).read_text(encoding="utf-8")
        with tempfile.TemporaryDirectory() as place:
            Path(name).write_text(rewritten(text, Home(Path(place), text)), encoding="utf-8")
