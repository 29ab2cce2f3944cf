"""The plan's words as a crew reads them: without the numbers of layers, kinds of ground by their plain names."""

from __future__ import annotations

import re

from layoutplan.layout.model import Plan
from layoutplan.layout.rules import KEEP_OUT, rule_words

_BRACKETS = re.compile(r" \(([^()]*)\)")
_SECTION = re.compile(r"\[+([a-z]+)\]+")  # of the job file
_KEPT_OFF = rule_words(f"{KEEP_OUT}?").removesuffix("?")


class CrewWords:
    """Makes texts of a plan plain.

    Parameters
    ----------
    plan : Plan
        Its map features and classes are what is known by numbers and codes.
    """

    def __init__(self, plan: Plan) -> None:
        self._ids = {*plan.obstacles["feature_id"]} if len(plan.obstacles) else set()
        codes = {name.replace("_", " "): row.label for name, row in plan.job.obstacle_classes.items()}
        self._labels = {code: label for code, label in codes.items() if code != label}
        names = "|".join(map(re.escape, sorted(self._labels, key=len, reverse=True)))
        self._coded = re.compile(rf"\b({re.escape(_KEPT_OFF)}|lead crossing: )({names})\b")

    def __call__(self, text: str | None) -> str:
        """Return the text without numbers of map features, with labels of classes and plain words for their codes."""
        if not text:
            return ""
        named = self._coded.sub(lambda match: match[1] + self._labels[match[2]], text)
        named = _SECTION.sub(r"\1", named)
        return _BRACKETS.sub(self._bracket, named) if "(" in named else named

    def _bracket(self, match: re.Match[str]) -> str:
        words = match[1].split(" ")
        for start in range(len(words)):  # the longest end that is a number
            if " ".join(words[start:]) in self._ids:
                name = " ".join(words[:start])
                return f" ({name})" if name else ""
        return match[0]
