"""The worst fault for each tower and each lead, wherever in the network it is."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from layoutplan.arrays import ComplexArray, FloatArray, IntArray
from layoutplan.exposure.earthing import Excerpt, units
from layoutplan.exposure.fault_values import values_in_station, values_on_line
from layoutplan.exposure.faults import LineFaults, one_place
from layoutplan.exposure.limits import touch_values
from layoutplan.exposure.mutual import Transfer
from layoutplan.exposure.network import Network
from layoutplan.exposure.windows import FAR_M
from layoutplan.exposure.worst import Worst

_LEADS = 2


@dataclass(frozen=True, slots=True)
class FaultFigures:
    """What faults do to some towers (t,) and their leads (t, 2).

    Attributes
    ----------
    rise, induced, transferred, together : Worst
        Potential of the tower; voltage induced in a lead; voltage between a lead bonded to the tower and the ground at
        its stake; both added arithmetically, by one fault.
    share : ndarray, shape (t,)
        Part of the current of a fault at the tower itself that enters the ground by its own footing. [-]
    """

    rise: Worst
    induced: Worst
    transferred: Worst
    together: Worst
    share: FloatArray

    def rows(self, index: IntArray) -> FaultFigures:
        """Return the figures of some of the towers.

        Parameters
        ----------
        index : ndarray of int
            Rows to keep.

        Returns
        -------
        FaultFigures
        """
        return FaultFigures(
            self.rise.rows(index),
            self.induced.rows(index),
            self.transferred.rows(index),
            self.together.rows(index),
            self.share[index],
        )


def causes(network: Network) -> list[str]:
    """Name every place of a fault; the numbers of `Worst.cause`.

    Parameters
    ----------
    network : Network
        Of the job.

    Returns
    -------
    list of str
        For people to read.
    """
    names = [
        f"line '{source.line.id}', tower {name}" if name else ""
        for source in network.sources
        for name in source.course.names
    ]
    return names + [fault.station.name for _, fault in network.station_faults]


def fault_figures(
    network: Network, tower: IntArray, stake_xy_m: FloatArray | None, made: Mapping[float, list[Transfer]]
) -> FaultFigures:
    """Find the worst faults.

    Parameters
    ----------
    network : Network
        Of the job.
    tower : ndarray of int, shape (t,)
        Rows of the network's towers.
    stake_xy_m : ndarray, shape (t, 2, 2), or None
        H and S in the towers' frames; without them only the towers are looked at. [m]
    made : mapping of float to list of Transfer
        By supply frequency what `lead_transfers` gives for their leads; empty without them.

    Returns
    -------
    FaultFigures
        The worst fault for each figure of each tower. [V]
    """
    count = len(tower)
    found = FaultFigures(
        Worst.nothing((count,)),
        Worst.nothing((count, _LEADS)),
        Worst.nothing((count, _LEADS)),
        Worst.nothing((count, _LEADS)),
        np.full(count, np.nan),
    )
    unknown = np.zeros((count, 1 + 3 * _LEADS), dtype=bool)
    for hz, system in network.systems.items():
        direct = made.get(hz)
        for rows, excerpt in system.excerpts(network.node, tower):
            asked = _Asked(
                network, excerpt, tower[rows], None if stake_xy_m is None else stake_xy_m[rows], direct, rows
            )
            unknown[rows] |= _count_in(network, hz, asked, found)
    unknown = np.asarray(unknown | _no_currents(network, tower)[:, None])
    if stake_xy_m is not None:
        unknown[:, 1:] |= np.asarray(np.isnan(stake_xy_m).any(axis=(1, 2)))[:, None]
    each = unknown[:, 1:].reshape(count, 3, _LEADS)
    return FaultFigures(
        found.rise.without(unknown[:, 0]),
        found.induced.without(each[:, 0]),
        found.transferred.without(each[:, 1]),
        found.together.without(each[:, 2]),
        found.share,
    )


def _no_currents(network: Network, tower: IntArray) -> np.ndarray:
    """Mark towers that carry a line of unknown fault current, or have one near by, or of which nothing is known."""
    out = np.asarray(~network.known[tower])
    place = network.towers.lonlat_deg[tower]
    for source in network.sources:
        if source.faults is None:
            out |= (source.vertex[tower] >= 0) | (source.course.axis.nearest(place)[0] <= FAR_M)
    for axis in network.unknown_axes:
        out |= axis.nearest(place)[0] <= FAR_M
    return out


class _Asked:
    """What is asked of the faults for a block of towers: columns V, footing current, transferred H, S, induced H, S."""

    def __init__(
        self,
        network: Network,
        excerpt: Excerpt,
        tower: IntArray,
        stake_xy_m: FloatArray | None,
        direct: list[Transfer] | None,
        rows: IntArray,
    ) -> None:
        self.network, self.excerpt, self.tower, self.rows = network, excerpt, tower, rows
        self.leads = stake_xy_m is not None
        system, size = excerpt.system, excerpt.system.network.size
        columns = [units(size, network.node[tower]), units(size, system.footing_row(network.footings.of_tower[tower]))]
        self._direct: list[Transfer] = []
        if stake_xy_m is not None and direct is not None:
            columns.append(self._transferred(stake_xy_m))
            self._direct = [_of_leads(part, rows) for part in direct]
            columns.append(self._by_wires())
        self.solved = excerpt.solve(sparse.csr_array(sparse.hstack(columns, format="csr")))

    def _transferred(self, stake_xy_m: FloatArray) -> sparse.csr_array:
        """Tower less ground at the stakes, H and S of each tower in turn, shape (size, 2 t)."""
        network, system, size = self.network, self.excerpt.system, self.excerpt.system.network.size
        raised = network.near.transfer_resistance_ohm(
            network.footings, self.tower, np.nan_to_num(stake_xy_m, nan=100.0)
        )
        towers, leads, parts = raised.shape
        column = np.repeat(np.arange(towers * leads), parts)
        row = (np.arange(towers)[:, None, None] * parts + np.zeros((1, leads, 1), int) + np.arange(parts)).ravel()
        weight = sparse.csr_array((raised.ravel(), (row, column)), shape=(towers * parts, towers * leads))
        ground = sparse.coo_array(network.near.currents(self.tower).T @ weight)
        placed = (ground.data.astype(complex), (system.footing_row(ground.row), ground.col))
        own = units(size, np.repeat(network.node[self.tower], leads))
        return sparse.csr_array(own - sparse.csr_array(placed, shape=(size, towers * leads)))

    def _by_wires(self) -> sparse.csr_array:
        """Voltage induced in the leads per ampere in each branch, shape (size, 2 t)."""
        system = self.excerpt.system
        total = sparse.csr_array((system.network.size, _LEADS * len(self.tower)), dtype=complex)
        for line, made in enumerate(self._direct):
            own = system.lines[line]
            span, row = system.branch_row(line)
            if not len(span) or not len(made.row):
                continue
            table = made.by_span(own.shares()[own.course.span_section], own.course.span_length_m)
            place = sparse.csr_array(
                (np.ones(len(span)), (row, span)), shape=(system.network.size, len(own.course.span_section))
            )
            total = total + place @ table.T
        return sparse.csr_array(total)

    def direct(self, faults: LineFaults) -> list[sparse.csr_array] | None:
        """What each phase of a line adds to every column by itself."""
        if not self.leads:
            return None
        course = self.excerpt.system.lines[faults.line].course
        made = self._direct[faults.line]
        above = sparse.csr_array(((2 + _LEADS) * len(self.tower), len(course.span_section)), dtype=complex)
        tables = [made.by_span(one_place(course, place), course.span_length_m) for place in faults.phase_place]
        return [sparse.csr_array(sparse.vstack((above, table), format="csr")) for table in tables]


def _of_leads(made: Transfer, rows: IntArray) -> Transfer:
    """Keep the leads of some towers, numbered anew."""
    number = np.full(made.spans[0], -1)
    number[(_LEADS * rows[:, None] + np.arange(_LEADS)).ravel()] = np.arange(_LEADS * len(rows))
    return made.renumbered(number, _LEADS * len(rows))


def _count_in(network: Network, hz: float, asked: _Asked, found: FaultFigures) -> np.ndarray:
    """Count the faults of all lines of one frequency in; return where unknown ones may be worse, shape (t, 7)."""
    unknown = np.zeros((len(asked.tower), 1 + 3 * _LEADS), dtype=bool)
    first = np.cumsum([0, *(len(source.course.names) for source in network.sources)])
    for number, source in enumerate(network.sources):
        faults = source.faults
        if faults is None or source.line.frequency_hz != hz:
            continue
        values = values_on_line(asked.excerpt, faults, asked.solved, asked.direct(faults))
        limit = touch_values(network, asked.tower, faults.clearing_time_s)
        _share_here(asked, source.vertex[asked.tower], faults, values.value, values.vertex, found.share)
        for place, (worst, size) in enumerate(_sizes(asked, values.value, found)):
            known = np.where(values.known, size, -1.0)
            best = known.argmax(axis=-1)
            most = np.take_along_axis(known, best[..., None], axis=-1)[..., 0]
            other = np.where(values.known, -1.0, size).max(axis=-1)
            unknown[:, _columns(place)] |= (other >= most).reshape(len(asked.tower), -1)
            if values.known.any():
                worst.take(asked.rows, most, limit, faults.clearing_time_s, first[number] + values.vertex[best])
    for number, (frequency, station) in enumerate(network.station_faults):
        if frequency != hz:
            continue
        value = values_in_station(asked.excerpt, station, asked.solved)
        limit = touch_values(network, asked.tower, station.clearing_time_s)
        for worst, size in _sizes(asked, value, found):
            cause = np.full(size.shape[:-1], first[-1] + number)
            worst.take(asked.rows, size[..., 0], limit, station.clearing_time_s, cause)
    return unknown


def _columns(place: int) -> slice:
    return slice(0, 1) if place == 0 else slice(1 + _LEADS * (place - 1), 1 + _LEADS * place)


def _sizes(asked: _Asked, value: ComplexArray, found: FaultFigures) -> Iterator[tuple[Worst, FloatArray]]:
    """Each quantity with its size for every fault by the worst phase, shape (t, k) or (t, 2, k)."""
    count = len(asked.tower)
    size = np.abs(value)
    yield found.rise, size[:count].max(axis=-1)
    if asked.leads:
        transferred, induced = (part.reshape(count, _LEADS, *size.shape[1:]) for part in np.split(size[2 * count :], 2))
        yield found.induced, induced.max(axis=-1)
        yield found.transferred, transferred.max(axis=-1)
        yield found.together, (induced + transferred).max(axis=-1)


def _share_here(
    asked: _Asked, at: IntArray, faults: LineFaults, value: ComplexArray, vertex: IntArray, share: FloatArray
) -> None:
    """Write down the greatest part of the current of a fault at a tower that enters the ground there."""
    count = len(asked.tower)
    place = np.searchsorted(vertex, at).clip(0, max(len(vertex) - 1, 0))
    mine = np.flatnonzero((at >= 0) & (vertex[place] == at)) if len(vertex) else np.zeros(0, dtype=np.int64)
    row = np.searchsorted(faults.vertex, at[mine])
    fed = faults.feed_a[row].sum(axis=1)
    current = np.abs(value[count + mine, place[mine]]).max(axis=-1)
    known = faults.known[row] & (fed > 0)
    here = np.divide(current, fed, out=np.full(len(mine), np.nan), where=known)
    rows = asked.rows[mine]
    share[rows] = np.fmax(share[rows], here)
