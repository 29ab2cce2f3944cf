"""Fonts of the sheets: embedded, with a second one for what the first lacks, and no letter lost without a word."""

from __future__ import annotations

import unicodedata
from functools import lru_cache
from importlib.util import find_spec
from itertools import groupby
from pathlib import Path
from typing import Any

from anyascii import anyascii
from reportlab.pdfbase import pdfmetrics

from layoutplan.outputs.sheets.font_file import sound_font
from layoutplan.text import clean

_BOX = "\N{WHITE SQUARE}"
_MOST_KEPT = 50_000
_LONG = 200  # letters; longer texts are not kept
_FACES = ("DejaVuSans", "DejaVuSans-Bold")  # come with matplotlib; Latin, Greek, Cyrillic, signs


class Fonts:
    """The sheets' fonts.

    Parameters
    ----------
    further : Path, optional
        TrueType font for letters that DejaVu Sans lacks.

    Attributes
    ----------
    problem : str
        Why ``further`` is not used; empty if it is, or is not asked for.
    lost : set of str
        Letters met so far that no font has, or that are not read from left to right; they are printed in Latin
        letters between ‹ and ›.
    """

    def __init__(self, further: Path | None = None) -> None:
        self.problem = ""
        self.lost: set[str] = set()
        self.regular, self.bold = (_registered(name, str(_folder() / f"{name}.ttf")) for name in _FACES)
        self.further = self._further(further) if further else None
        self._runs: dict[tuple[str, bool], list[tuple[str, str]]] = {}
        self._widths: dict[tuple[str, bool], float] = {}
        self._words: dict[tuple[str, bool], list[tuple[str, float]]] = {}

    def _further(self, path: Path) -> str | None:
        try:
            return _registered(f"Further-{path.name}", str(path))
        except OSError as err:
            reason = err.strerror or "cannot be read"
        except Exception:  # damaged in one way or another: the library checks little
            reason = "not a font, or damaged"
        self.problem = f"The font '{path.name}' cannot be used ({reason}); output.font needs a TrueType file."
        return None

    def runs(self, text: str, bold: bool = False) -> list[tuple[str, str]]:
        """Split text into runs of one font each; letters that no font has are spelt in Latin ones.

        Parameters
        ----------
        text : str
            Of any script.
        bold : bool
            Whether the letters are bold.

        Returns
        -------
        list of (str, str)
            Font and letters of each run.
        """
        key = (text, bold)
        if len(text) > _LONG:
            return self._split(text, bold)
        if key not in self._runs:
            self._bound(self._runs)
            self._runs[key] = self._split(text, bold)
        return self._runs[key]

    def _split(self, text: str, bold: bool) -> list[tuple[str, str]]:
        first = self.bold if bold else self.regular
        whole = text if text.isprintable() else clean(text)
        letters = [(self._font_of(char, first), char) for char in self._spelt(whole, first)]
        return [
            (font, "".join(char for _, char in group)) for font, group in groupby(letters, key=lambda item: item[0])
        ]

    def width(self, text: str, bold: bool = False) -> float:
        """Width of a text at a size of 1 point.

        Parameters
        ----------
        text : str
            To be written.
        bold : bool
            Whether the letters are bold.

        Returns
        -------
        float
            [points]
        """
        key = (text, bold)
        if len(text) > _LONG:
            return self._measured(text, bold)
        if key not in self._widths:
            self._bound(self._widths)
            self._widths[key] = self._measured(text, bold)
        return self._widths[key]

    def words(self, text: str, bold: bool = False) -> list[tuple[str, float]]:
        """Words of a text with their widths at a size of 1 point.

        Parameters
        ----------
        text : str
            To be written; what stands in it that cannot be is left out.
        bold : bool
            Whether the letters are bold.

        Returns
        -------
        list of (str, float)
            [points]
        """
        key = (text, bold)
        if len(text) > _LONG or key not in self._words:
            found = [(word, self.width(word, bold)) for word in clean(text).split()]
            if len(text) > _LONG:
                return found
            self._bound(self._words)
            self._words[key] = found
        return self._words[key]

    @staticmethod
    def _bound(kept: dict[Any, Any]) -> None:
        if len(kept) >= _MOST_KEPT:  # some thousand towers: begin anew
            kept.clear()

    def _measured(self, text: str, bold: bool) -> float:
        return float(sum(pdfmetrics.stringWidth(run, font, 1) for font, run in self.runs(text, bold)))

    def _font_of(self, char: str, first: str) -> str:
        return first if self.further is None or _has(first, char) else self.further

    def _spelt(self, text: str, first: str) -> str:
        missing = [not self._can_print(char, first) for char in text]
        if not any(missing):
            return text
        self.lost.update(char for char, no in zip(text, missing, strict=True) if no)
        parts = []
        for lost, group in groupby(zip(missing, text, strict=True), key=lambda item: item[0]):
            piece = "".join(char for _, char in group)
            parts.append(f"‹{_latin(piece, first)}›" if lost else piece)
        return "".join(parts)

    def _can_print(self, char: str, first: str) -> bool:
        if unicodedata.bidirectional(char) in ("R", "AL", "AN"):
            return False  # letters are set one after the other from left to right, which these are not read in
        return _has(first, char) or (self.further is not None and _has(self.further, char))


def _latin(text: str, font: str) -> str:
    latin = " ".join(anyascii(text).split())
    return "".join(char if _has(font, char) else _BOX for char in latin) or _BOX * len(text)


def _folder() -> Path:
    spec = find_spec("matplotlib")
    assert spec is not None
    assert spec.origin is not None
    return Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf"


@lru_cache(maxsize=8)
def _registered(name: str, path: str) -> str:
    pdfmetrics.registerFont(sound_font(name, Path(path)))
    return name


def _has(font: str, char: str) -> bool:
    return ord(char) in pdfmetrics.getFont(font).face.charToGlyph
