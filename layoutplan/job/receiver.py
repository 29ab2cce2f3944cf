"""What a receiver is given to show beside the names of waypoints."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, StringConstraints

from layoutplan.job.section import Section

_Symbol = Annotated[str, StringConstraints(min_length=1, max_length=60)]


class Symbols(Section):
    """Symbols of waypoints in `waypoints.gpx`; which names a receiver knows is in its manual."""

    H: _Symbol = Field("H", description="Of a current electrode H.")
    S: _Symbol = Field("S", description="Of a potential electrode S.")
    tower: _Symbol = Field("tower", description="Of a tower.")
    not_yet: _Symbol = Field("do not stake yet", description="Of a stake that must not be staked yet.")

    def of(self, kind: str) -> str:
        """Symbol of a waypoint.

        Parameters
        ----------
        kind : str
            ``"H"``, ``"S"``, ``"tower"``, or the sign of a stake that must not be staked yet.

        Returns
        -------
        str

        Examples
        --------
        >>> Symbols().of("H"), Symbols().of("H not yet")
        ('H', 'do not stake yet')
        """
        return str(getattr(self, kind, self.not_yet))
