"""One row for each tower, to be sorted: what a reviewer compares before opening any of them."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, NamedTuple

import pandas as pd

from layoutplan.layout.crossings import LEAD
from layoutplan.layout.model import REACHABLE, Plan
from layoutplan.layout.rules import AGREE, KEEP_OUT, NO_LAYOUT, STATUSES, class_labels, ground_words
from layoutplan.outputs.columns import as_lists, records
from layoutplan.outputs.review.pieces import NONE, inert, tower_rows
from layoutplan.outputs.review.verdicts import CHECKS, OPEN, UNKNOWN, exposed, of_checks
from layoutplan.outputs.words import STATUS_SIGNS, figure, quantities, quantity
from layoutplan.text import three_figures

NBSP = "\N{NO-BREAK SPACE}"
_FAR = 1e9  # beyond any that is near enough to be checked
_UNKNOWN = f"{UNKNOWN.sign} {UNKNOWN.word}"


class Value(NamedTuple):
    """A cell: its text, inert, a smaller one below, and what the column is sorted by; None stays last."""

    text: str
    small: str = ""
    by: float | None = None

    @property
    def html(self) -> str:
        """The cell."""
        by = (
            ""
            if self.by is None
            else f' data-v="{self.by:.6g}"'
            if isinstance(self.by, float)
            else f" data-v={self.by}"
        )
        return f"<td{by}>{self.text}" + (f"<small>{self.small}</small>" if self.small else "")


Column = tuple[str, list[Value]]
_NOTHING = Value(NONE)


def overview_table(plan: Plan, lines: Sequence[str], agreements: Sequence[Sequence[int]]) -> str:
    """Return the table with one row for each tower.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    lines : sequence of str
        Lines by their number in the filters.
    agreements : sequence of sequence of int
        Numbers in the register that each tower waits for.

    Returns
    -------
    str
        HTML.
    """
    stakes = _stakes(plan)
    columns: list[Column] = [
        ("status", _statuses(plan)),
        ("to be agreed", _agreements(agreements)),
        ("lead crosses", _crossings(plan)),
        ("to the nearest keep-out", _keep_outs(plan)),
        ("lead H / S, m", [_pair(rows, "lead_length_m", max) for rows in stakes]),
        ("angle H / S, °", [_pair(rows, "angle_to_line_deg", min) for rows in stakes]),
        ("reading, bias", [_reading(tower, bool(rows)) for tower, rows in zip(_readings(plan), stakes, strict=True)]),
        ("rules", _rules(plan)),
        *_voltages(stakes),
        ("walk", _walks(plan)),
    ]
    place = {line: number for number, line in enumerate(lines)}
    head = "".join(f"<th>{name}" for name in ("tower", *(name for name, _ in columns)))
    several = len(lines) > 1
    rows = zip(records(plan.towers, "line_id", "tower_id", "status"), *(values for _, values in columns), strict=True)
    body = "".join(
        f"<tr data-line={place[tower.line_id]}><th data-v={number}><a href=#t{number}>{inert(tower.tower_id)}</a>"
        f"{f'<small>{inert(tower.line_id)}</small>' if several else ''}{''.join(value.html for value in values)}\n"
        for number, (tower, *values) in enumerate(rows)
    )
    return f"<table id=overview class=overview><thead><tr>{head}<tbody>\n{body}</table>\n"


def _stakes(plan: Plan) -> list[list[Any]]:
    columns = ("lead_length_m", "angle_to_line_deg", "expected_reading_v_low", "expected_reading_v_high",
               "transferred_fault_v", "service_ratio", "fault_ratio")  # fmt: skip
    return _grouped(plan, plan.leads, columns)


def _grouped(plan: Plan, table: pd.DataFrame, columns: Iterable[str]) -> list[list[Any]]:
    """Rows of each tower in their order."""
    found: list[list[Any]] = [[] for _ in range(len(plan.towers))]
    for row, record in zip(tower_rows(plan, table).tolist(), records(table, *columns), strict=True):
        found[row].append(record)
    return found


def _statuses(plan: Plan) -> list[Value]:
    (found,) = as_lists(plan.towers, ["status"])
    return [Value(f"{STATUS_SIGNS[one]} {one}", by=float(STATUSES.index(one))) for one in found]


def _agreements(numbers: Sequence[Sequence[int]]) -> list[Value]:
    def links(mine: Sequence[int]) -> str:
        return ", ".join(f"<a href=#a{number}>A{number}</a>" for number in mine)

    return [Value(str(len(mine)), links(mine), float(len(mine))) for mine in numbers]


def _covered(plan: Plan) -> list[bool]:
    """Whether the map shows all about each tower and under its leads."""
    covers, gaps = as_lists(plan.towers, ["map_covers", "map_gaps"])
    return [bool(one) and not gap for one, gap in zip(covers, gaps, strict=True)]


def _crossings(plan: Plan) -> list[Value]:
    """How many features the leads cross, by verdict, worst first; what is not mapped is not called nothing."""
    leads = plan.crossings[plan.crossings["met_by"] == LEAD]
    rows = zip(_grouped(plan, leads, ("verdict",)), plan.towers["status"].tolist(), _covered(plan), strict=True)
    return [_NOTHING if status == NO_LAYOUT else _crossing(found, covered) for found, status, covered in rows]


def _crossing(found: Sequence[Any], covered: bool) -> Value:
    order = [*CHECKS]
    counts = Counter(row.verdict if row.verdict in CHECKS else UNKNOWN.word for row in found)
    told = [f"{CHECKS[verdict].sign}{NBSP}{counts[verdict]}" for verdict in order if counts[verdict]]
    weight = sum(count * 1000.0 ** -order.index(verdict) for verdict, count in counts.items())
    if covered:
        return Value(" ".join(told) or "nothing", by=float(weight))
    return Value(" ".join((*told, _UNKNOWN)), by=weight + 1000.0 ** -order.index(UNKNOWN.word))


def _keep_outs(plan: Plan) -> list[Value]:
    """The least that a stake stands beyond a keep-out, and which; negative within it."""
    labels = class_labels(plan.job.obstacle_classes)
    table = plan.checks[plan.checks["rule"].str.startswith(KEEP_OUT) & plan.checks["measured"].notna()]
    table = table.assign(spare=table["measured"] - table["limit"].fillna(0.0), tower=tower_rows(plan, table))
    least = table.sort_values("spare", kind="stable").drop_duplicates("tower")
    near = dict(zip(least["tower"], records(least, "rule", "role", "measured", "limit", "spare"), strict=True))
    rows = enumerate(zip(plan.towers["status"].tolist(), _covered(plan), strict=True))
    return [
        _NOTHING if status == NO_LAYOUT else _keep_out(near.get(row), covered, labels)
        for row, (status, covered) in rows
    ]


def _keep_out(near: Any, covered: bool, labels: Mapping[str, str]) -> Value:
    if near is None:
        return Value("none in reach", by=_FAR) if covered else Value(_UNKNOWN)
    ground = inert(ground_words(near.rule, labels))
    told = f"{near.role}, {ground}: {near.measured:.1f}{NBSP}of{NBSP}{near.limit or 0:g}{NBSP}m"
    return Value(figure(near.spare, "m"), told if covered else f"{told}; else {_UNKNOWN}", float(near.spare))


def _pair(rows: Sequence[Any], name: str, worst: Callable[[list[float]], float]) -> Value:
    """The figures of both stakes; sorted by the worse of them."""
    values = [getattr(row, name) for row in rows]
    known = [float(value) for value in values if value is not None]
    words = f"{NBSP}/{NBSP}".join(figure(value, "").rstrip() for value in values)
    return Value(words or NONE, by=worst(known) if known else None)


def _readings(plan: Plan) -> Iterable[Any]:
    return records(plan.towers, "expected_resistance_ohm", "bias_pct")


def _reading(tower: Any, staked: bool) -> Value:
    if not staked:
        return _NOTHING
    bias = None if tower.bias_pct is None else abs(float(tower.bias_pct))
    return Value(quantity(tower.expected_resistance_ohm, "ohm"), quantity(tower.bias_pct, "%"), bias)


def _rules(plan: Plan) -> list[Value]:
    """How many rules need the reviewer's eye, worst first; a fault is not among them."""
    counts: Mapping[int, Counter[str]] = defaultdict(Counter)
    for row, verdict in zip(tower_rows(plan, plan.checks).tolist(), of_checks(plan.checks), strict=True):
        counts[row][verdict.word] += 1
    found = []
    for row in range(len(plan.towers)):
        if row not in counts:
            found.append(_NOTHING)
            continue
        told = [f"{verdict.sign}{NBSP}{counts[row][verdict.word]}" for verdict in OPEN if counts[row][verdict.word]]
        weight = sum(counts[row][verdict.word] * 1000.0**-place for place, verdict in enumerate(OPEN))
        found.append(Value(" ".join(told) or CHECKS["kept"].sign + f"{NBSP}kept", by=float(weight)))
    return found


def _voltages(stakes: Sequence[Sequence[Any]]) -> list[Column]:
    """Voltage on the leads and the worst share of a limit: in service, and apart from it under a fault."""
    service = [_worst(rows, "service_ratio", 0, _on_arrival(rows)) for rows in stakes]
    fault = [_worst(rows, "fault_ratio", 1, quantity(_most(rows, "transferred_fault_v"), "V")) for rows in stakes]
    return [("in service, times its limit", service), ("under a fault, times its limit", fault)]


def _on_arrival(rows: Sequence[Any]) -> str:
    low = [row.expected_reading_v_low for row in rows]
    return quantities(None if None in low or not low else min(low), _most(rows, "expected_reading_v_high"), "V")


def _most(rows: Sequence[Any], name: str) -> float | None:
    values = [getattr(row, name) for row in rows]
    return None if None in values or not values else max(values)


def _worst(rows: Sequence[Any], name: str, state: int, voltage: str) -> Value:
    """One that is beyond its limit is told although another is unknown."""
    if not rows:
        return _NOTHING
    known = [value for value in (getattr(row, name) for row in rows) if value is not None]
    ratio = max(known, default=None)
    if len(known) < len(rows) and (ratio is None or ratio <= 1.0):
        ratio = None
    verdict = exposed(state).of(ratio)
    of = "" if ratio is None else f"{inert(three_figures(ratio))} "
    return Value(voltage, f"{of}{verdict.html}", None if ratio is None else float(ratio))


def _walks(plan: Plan) -> list[Value]:
    if plan.approaches.empty:
        return [Value("not looked for")] * len(plan.towers)
    ways = plan.approaches[plan.approaches["to"] == "tower"]
    found = _grouped(plan, ways, ("walk_m", "walk_min", "verdict"))
    return [_walk(rows[0]) if rows else Value(_UNKNOWN) for rows in found]


def _walk(way: Any) -> Value:
    if way.walk_min is None:
        return Value(inert(way.verdict))
    asked = "" if way.verdict == REACHABLE else f"{NBSP}{CHECKS[AGREE].sign}"
    return Value(figure(way.walk_min, "min", 0), f"{figure(way.walk_m, 'm', 0)}{asked}", float(way.walk_min))
