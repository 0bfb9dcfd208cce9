"""A report of what has grown long: `python -m tests.architecture.smells`. Something to look at, not a failure."""

from __future__ import annotations

import ast
from collections.abc import Iterator, Sequence
from statistics import median

from tests.architecture.source import Module, modules

LONG_MODULE, LONG_FUNCTION = 400, 40
NOT_MEANT = ("assistant/storage/migrations/versions/",)
"""Steps of the tables are lists; nobody reads them from top to bottom."""


def functions(module: Module) -> Iterator[tuple[str, int, int]]:
    """(name, line, number of lines) of every function and method, signature and docstring counted in."""
    for node in ast.walk(module.tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node.name, node.lineno, (node.end_lineno or node.lineno) - node.lineno + 1


def smells(looked_at: Sequence[Module]) -> list[str]:
    """One line for each module and function that is longer than it should be."""
    found = []
    for module in looked_at:
        if module.lines > LONG_MODULE:
            found.append(f"{module.path}: {module.lines} lines")
        for name, line, length in functions(module):
            if length > LONG_FUNCTION:
                found.append(f"{module.path}:{line}: {name} has {length} lines")
    return found


def figures(looked_at: Sequence[Module]) -> str:
    """Medians and numbers, in one line."""
    lengths = [length for module in looked_at for _, _, length in functions(module)]
    return (
        f"{len(looked_at)} modules, median {median(module.lines for module in looked_at):.0f} lines; "
        f"{len(lengths)} functions, median {median(lengths):.0f} lines"
    )


if __name__ == "__main__":
    meant = [module for module in modules() if not module.path.startswith(NOT_MEANT)]
    print(figures(meant))
    print("\n".join(smells(meant)) or "nothing has grown long")
