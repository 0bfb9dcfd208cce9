"""Finds the folders that come with the program: beside it in a checkout, inside it when it was installed."""

from __future__ import annotations

from pathlib import Path

_HERE = Path(__file__).resolve().parent


def packaged(name: str) -> Path:
    """The folder `name` (knowledge, demo_conversations). Raises FileNotFoundError when the installation lacks it."""
    for folder in (_HERE / "_data" / name, _HERE.parent / name):
        if folder.is_dir():
            return folder
    raise FileNotFoundError(f"the folder {name} is missing from this installation: install the program again")
