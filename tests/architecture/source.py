"""The program's modules as syntax trees: what they import, what they call."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True)
class Module:
    """One module: its dotted name, its path below the root, its tree and its number of lines."""

    name: str
    path: str
    tree: ast.Module
    lines: int

    @property
    def unit(self) -> str:
        """The floor, or the module beside the floors, that it belongs to."""
        return self.name.split(".")[1] if "." in self.name else self.name

    def imports(self) -> Iterator[tuple[str, int]]:
        """Every module imported, wherever in the file, with the line."""
        for node in ast.walk(self.tree):
            if isinstance(node, ast.Import):
                yield from ((alias.name, node.lineno) for alias in node.names)
            elif isinstance(node, ast.ImportFrom) and node.module:
                inside = node.module == "assistant"
                yield from ((f"assistant.{alias.name}" if inside else node.module, node.lineno) for alias in node.names)


@cache
def modules() -> tuple[Module, ...]:
    """Every module of the program."""
    return tuple(_read(path) for path in sorted((ROOT / "assistant").rglob("*.py")))


def _read(path: Path) -> Module:
    text = path.read_text(encoding="utf-8")
    below = path.relative_to(ROOT)
    name = ".".join(below.with_suffix("").parts).removesuffix(".__init__")
    return Module(name, str(below), ast.parse(text, str(below)), len(text.splitlines()))


def dotted(node: ast.expr) -> str:
    """`a.b.c` as written; empty for anything else."""
    if isinstance(node, ast.Name):
        return node.id
    if isinstance(node, ast.Attribute):
        inner = dotted(node.value)
        return f"{inner}.{node.attr}" if inner else ""
    return ""
