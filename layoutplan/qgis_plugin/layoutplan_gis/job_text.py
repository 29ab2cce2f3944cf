"""A job file as text, in TOML 1.0."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from .command import CommandError


def job_text(job: Mapping[str, Any]) -> str:
    """TOML of a job: nested mappings and lists of texts, numbers and truth values; CommandError for others."""
    return "".join(f"{_key(key)} = {_value(value)}\n" for key, value in job.items())


def _key(key: str) -> str:
    return _text(key)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(key)} = {_value(item)}" for key, item in value.items()) + " }"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_value(item) for item in value) + "]"
    raise CommandError(f"a value of kind {type(value).__name__} cannot stand in a job file")


def _text(text: str) -> str:
    try:
        text.encode("utf-8")
    except UnicodeEncodeError as err:
        raise CommandError(f"{text!a} holds signs that are no text. Rename it.") from err
    # the escapes of JSON are those of TOML, but for the one control character that JSON lets stand
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
