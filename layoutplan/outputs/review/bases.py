"""Where limits come from: each basis stands once on the page, and rows refer to it by number."""

from __future__ import annotations

import re

from layoutplan.outputs.review.pieces import inert

_SHORT = re.compile(r"[,;(:]")


class Bases:
    """Numbers bases in the order in which they are met."""

    def __init__(self) -> None:
        self._numbers: dict[str, int] = {}

    def refer(self, basis: object, edition: object = "") -> str:
        """Return the beginning of a basis with a link to all of it.

        The beginning shows the kind: ``common practice``, ``engineering judgement``, ``project setting``, or the
        document where there is a published source.

        Parameters
        ----------
        basis, edition : object
            As in the tables.

        Returns
        -------
        str
            HTML.

        Examples
        --------
        >>> Bases().refer("common practice, no published source")
        '<a href=#b1><i>common practice</i> [1]</a>'
        """
        if not inert(basis):
            return "not stated"
        full = inert(basis) + (f"; edition: {inert(edition)}" if inert(edition) else "")
        place = self._numbers.setdefault(full, len(self._numbers) + 1)
        short = _SHORT.split(str(basis), maxsplit=1)[0]
        return f"<a href=#b{place}><i>{inert(short)}</i> [{place}]</a>"

    @property
    def texts(self) -> tuple[str, ...]:
        """All bases in full, inert; the first is number 1."""
        return tuple(self._numbers)
