"""Settings as callers give them."""

from __future__ import annotations

import os
from typing import Any, Union

from ._native import InputError, Settings

Given = Union[None, Settings, str, "os.PathLike[str]"]


def settings(given: Any) -> Settings:
    """Checked settings: the defaults, those given, or those of a TOML file."""
    if given is None:
        return Settings()
    if isinstance(given, Settings):
        return given
    if not isinstance(given, (str, os.PathLike)):
        expected = "Settings, or the path of a TOML file as `glidepath settings` prints"
        raise InputError(f"settings: found {type(given).__name__}, expected {expected}")
    try:
        with open(given, encoding="utf-8-sig") as file:
            return Settings(file.read())
    except OSError as error:
        raise InputError(f"settings: {given}: cannot be read ({error.strerror})") from error
