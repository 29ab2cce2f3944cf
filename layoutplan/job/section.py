"""What all parts of the job file have in common."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any, ClassVar, get_args

from pydantic import BaseModel, ConfigDict, Field, ValidationInfo, field_validator, model_validator

from layoutplan.job.bounds import too_long, wrong_number

LONGEST_TEXT = 5_000  # letters; a filter may list many values, all other texts are far shorter (judgement)
Positive = Annotated[float, Field(gt=0)]
NonNegative = Annotated[float, Field(ge=0)]


class Section(BaseModel):
    """Base of all sections: unknown keys, non-finite numbers and endless texts are refused, values stay as they are."""

    former: ClassVar[Mapping[str, str]] = MappingProxyType({})  # names of keys in jobs of before, and those of today

    model_config = ConfigDict(
        extra="forbid", frozen=True, allow_inf_nan=False, str_strip_whitespace=True, str_max_length=LONGEST_TEXT
    )

    @model_validator(mode="before")
    @classmethod
    def _by_names_of_today(cls, given: Any) -> Any:
        """Take keys by their former names; one that is given by both is refused."""
        if not isinstance(given, dict):
            return given
        if twice := [f"'{old}' is called '{new}' now" for old, new in cls.former.items() if {old, new} <= given.keys()]:
            raise ValueError(f"{'; '.join(twice)}: both are given; keep the second")
        return {cls.former.get(key, key): value for key, value in given.items()}

    @field_validator("*", mode="before")
    @classmethod
    def _as_it_is_meant(cls, value: Any, info: ValidationInfo) -> Any:
        """Refuse what would be turned into another kind without a word, and what nobody can mean."""
        key = info.field_name or ""
        kinds = _kinds(cls, key)
        for item in value if isinstance(value, list | tuple) else (value,):
            if wrong := _wrong(key, item, kinds):
                raise ValueError(wrong)
        return value


@lru_cache(maxsize=1000)
def _kinds(model: type[BaseModel], key: str) -> frozenset[type]:
    """All plain types in the annotation of a key."""
    return frozenset(_types(model.model_fields[key].annotation))


def _types(annotation: Any) -> set[type]:
    inner = [_types(arg) for arg in get_args(annotation)]
    return set().union(*inner) if inner else {annotation} if isinstance(annotation, type) else {type(annotation)}


def _wrong(key: str, value: Any, kinds: frozenset[type]) -> str:
    if isinstance(value, bool):
        return "" if bool in kinds else _expected(kinds)
    if isinstance(value, int | float):
        if not kinds & {int, float}:
            return _expected(kinds)
        return wrong_number(key, value) if isinstance(value, int) or math.isfinite(value) else ""
    if isinstance(value, str):
        if not kinds & {str, Path, date}:
            return _expected(kinds)
        if "\0" in value:
            return "a text with a null character in it: delete that"
        return too_long(key, value) or (
            "a name or path is expected, not nothing" if _is_blank_path(value, kinds) else ""
        )
    return ""


def _is_blank_path(value: str, kinds: frozenset[type]) -> bool:
    return Path in kinds and not value.strip()


def _expected(kinds: frozenset[type]) -> str:
    """What the key takes, where that is one plain thing; empty where pydantic says it better."""
    if bool in kinds:
        return "true or false is expected, without quotes"
    if kinds & {int, float} and str not in kinds:
        return "a number is expected, without quotes"
    return "a day is expected, without quotes: 2026-04-13" if date in kinds else ""


class FileSource(Section):
    """A table of features in a file."""

    path: Path = Field(description="File, relative to the job file.")
    layer: str | None = Field(None, description="Layer in the file; may be left out when the file has only one.")
    where: str | None = Field(None, description="Attribute filter in OGR SQL, for instance `kind = 'tower'`.")
    crs: str | None = Field(None, description="Coordinate reference system, for files that carry none (`EPSG:25832`).")
