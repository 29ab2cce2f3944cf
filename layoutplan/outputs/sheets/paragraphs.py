"""The words on a tower's page."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from layoutplan.job.classes import ObstacleClass
from layoutplan.layout.crossings import FROM_START, STAKE, what
from layoutplan.layout.model import PERMISSION, REACHABLE
from layoutplan.layout.reasons import Reason, reasons_of
from layoutplan.layout.rules import BROKEN, COMPROMISE, KEEP_OUT, UNKNOWN, class_labels, ground_words, rule_words
from layoutplan.layout.set_out import set_out
from layoutplan.outputs.sheets.blocks import Block, Item
from layoutplan.outputs.sheets.crossings import Crossing
from layoutplan.outputs.sheets.facts import Sheet
from layoutplan.outputs.words import degrees, fault_place, figure, quantities, quantity, ratio_words

_CLEAR_SHOWN = 3
_STEEP_DEG = 10.0  # judgement
_VOLTAGES = ("expected_reading_v_high", "emf_load_v", "emf_fault_v", "transferred_fault_v", "service_ratio")
_TICK = "☐"
_AGREED = "Agreed with ______________ on _________"


def blocks_of(
    sheet: Sheet, crossings: list[Crossing], road: str, classes: Mapping[str, ObstacleClass], *, brief: bool = False
) -> list[Block]:
    """What has to be settled, how to find the stakes, what to expect and beware of, what is near.

    Parameters
    ----------
    sheet : Sheet
        Facts of the tower.
    crossings : list of Crossing
        From `crossings_of`.
    road : str
        From `nearest_road`.
    classes : mapping of str to ObstacleClass
        Of the job.
    brief : bool
        Without what the table of the stakes holds as well, for a page that is too full.

    Returns
    -------
    list of Block
        From the top down.
    """
    labels = class_labels(classes)
    return [
        Block("To be agreed, compromises", tuple(_to_settle(sheet, crossings, classes))),
        Block("How to find it", tuple(_find(sheet, brief))),
        Block("Expected (computed, no measurement)", tuple(_expected(sheet))),
        Block("Cautions for this tower", tuple(_cautions(sheet))),
        Block("Access, and what to keep clear of", (*_access(sheet, road, labels), *_clear_of(sheet, labels))),
    ]


def _to_settle(sheet: Sheet, crossings: list[Crossing], classes: Mapping[str, ObstacleClass]) -> Iterator[Item]:
    for roles, item in _of_both(crossings):
        where = f"at {item.at_m:.1f} m from the tower" if item.number else FROM_START
        mark = str(item.number) if item.number else "!" if item.forbidden or item.minded else _TICK
        says = f"{_leads(roles, 'crosses', 'cross')} {item.what} {where}"
        if item.forbidden:
            yield Item(f"{says}: not to be laid there, whoever agrees.", mark)
        elif item.minded:
            yield Item(f"{says}: take care.", mark)
        else:
            yield Item(f"{says}. {_AGREED}", mark)
    stand: dict[str, list[str]] = {}
    for row in sheet.crossings:
        if row.met_by == STAKE:
            stand.setdefault(what(row, classes), []).append(row.role)
    for ground, roles in stand.items():
        yield Item(f"{_stakes(roles)} on {ground}. {_AGREED}", _TICK)
    reasons: dict[str, list[str]] = {}
    for stake in sheet.stakes:
        for reason in _other_reasons(stake.role, sheet, classes):
            reasons.setdefault(reason.line, []).append(stake.role)
    for line, roles in reasons.items():
        yield Item(f"{' and '.join(roles)}: {line}.", "!")
    to_ask = list(_to_ask(sheet))
    yield from to_ask
    if not (reasons or crossings or to_ask or stand):
        yield Item("Nothing as far as the map shows; owners' records and the ground itself have not been checked.")


def _of_both(crossings: Sequence[Crossing]) -> list[tuple[list[str], Crossing]]:
    """Crossings with whose leads they are; what the tower stands in once for both."""
    found: dict[object, tuple[list[str], Crossing]] = {}
    for item in crossings:
        found.setdefault(item.number or (item.what, item.verdict), ([], item))[0].append(item.role)
    return list(found.values())


def _leads(roles: Sequence[str], one: str, several: str) -> str:
    return f"Lead {roles[0]} {one}" if len(roles) == 1 else f"Leads {' and '.join(roles)} {several}"


def _stakes(roles: Sequence[str]) -> str:
    return f"Stake {roles[0]} stands" if len(roles) == 1 else f"Stakes {' and '.join(roles)} stand"


def _to_ask(sheet: Sheet) -> Iterator[Item]:
    """Permissions that the ways on foot and the stop need, each named once; what they assume stands elsewhere."""
    told: dict[str, list[str]] = {}
    for way in sheet.ways:
        if way.verdict == PERMISSION:
            told.setdefault(way.reason, []).append(way.to)
    for reason, targets in told.items():
        yield Item(f"Way to {' and '.join(targets)} needs permission: {reason}. {_AGREED}", _TICK)


def _other_reasons(role: str, sheet: Sheet, classes: Mapping[str, ObstacleClass]) -> list[Reason]:
    """Reasons beside what is listed with a line to sign."""
    checks, crossings = ([row for row in rows if row.role == role] for rows in (sheet.checks, sheet.crossings))
    return [reason for reason in reasons_of(checks, crossings, classes) if not reason.of_features]


def _is_fixed(role: str, sheet: Sheet) -> bool:
    return any(check.role == role and check.rule == "fixed_stake" for check in sheet.checks)


def _find(sheet: Sheet, brief: bool) -> Iterator[Item]:
    for stake in sheet.stakes:
        fixed = "Fixed by the job." if _is_fixed(stake.role, sheet) else ""
        text = fixed if brief else f"{set_out(stake).line}. {fixed}".rstrip()
        if text:
            yield Item(text, stake.role, bold=True)
    yield Item("GPS: waypoint, or scan the code. Tape and bearing decide; more than 10 m apart: stop and find out why.")
    if sheet.declination_note:
        yield Item(sheet.declination_note, "!", bold=True)


def _access(sheet: Sheet, road: str, labels: Mapping[str, str]) -> Iterator[Item]:
    """Where to leave the vehicle, and how far it is to walk."""
    if not sheet.ways:
        yield Item(f"Nearest road: {road}. Ways on foot were not looked for.")
        return
    to_tower, *to_stakes = sheet.ways
    if to_tower.drop_off_lat is None:
        yield Item(f"No place to stop is known ({to_tower.verdict}{_why(to_tower)}). Nearest road: {road}.", "!")
    else:
        where = to_tower.road_name or labels.get(to_tower.road_class, "road")
        place = f"{to_tower.drop_off_lat:.5f}, {to_tower.drop_off_lon:.5f}"
        yield Item(f"Stop on {where} at {place} (code above). To the tower: {_walk(to_tower)}")
    for way in to_stakes:
        yield Item(f"on foot from the tower: {_walk(way)}", way.to)


def _walk(way: Any) -> str:
    if way.walk_min is None:
        return f"{way.verdict}{_why(way)}."
    climb = f", climbing {way.climb_m:.0f} m" if way.climb_m else ""
    crossed = f", across {way.crossings}" if way.crossings else ""
    asked = "" if way.verdict == REACHABLE else f"; {way.verdict.upper()}"
    return f"{way.walk_m:.0f} m, {way.walk_min:.0f} min{climb}{crossed}{asked}{_why(way)}."


def _why(way: Any) -> str:
    return f": {way.note}" if way.note else ""


def _clear_of(sheet: Sheet, labels: Mapping[str, str]) -> Iterator[Item]:
    for stake in sheet.stakes:
        near = [check for check in sheet.checks if check.role == stake.role and check.rule.startswith(KEEP_OUT)]
        near.sort(key=lambda check: ((check.measured or 0) - (check.limit or 0), check.rule))
        texts = [
            f"{ground_words(check.rule, labels)}{_called(check.detail)} "
            f"{figure(check.measured, 'm')} away{_keep(check.limit)}"
            for check in near[:_CLEAR_SHOWN]
        ]
        if stake.map_gaps:
            texts.append("what else is there is NOT KNOWN")
        nothing = "nothing mapped near it that has a keep-out"
        yield Item(f"{'; '.join(texts) or nothing}; line {figure(stake.distance_to_line_m, 'm')} away.", stake.role)


def _called(name: str | None) -> str:
    return f" '{name}'" if name else ""


def _keep(limit_m: float | None) -> str:
    return f", keep {limit_m:g} m" if limit_m else ""


def _expected(sheet: Sheet) -> Iterator[Item]:
    for stake in sheet.stakes:
        if all(getattr(stake, name) is None for name in _VOLTAGES):
            yield Item(
                "every voltage on the lead is unknown, figures are missing: treat it as live.", stake.role, bold=True
            )
            continue
        arrival = quantities(stake.expected_reading_v_low, stake.expected_reading_v_high, "V")
        worst = ratio_words(stake.service_ratio)
        text = f"voltmeter, tower to stake, on arrival: {arrival}; worst in service {worst}."
        yield Item(text, stake.role, bold=True)
        yield Item(
            f"induced by greatest load {quantity(stake.emf_load_v, 'V')}; "
            f"by a fault {quantity(stake.emf_fault_v, 'V')}; "
            f"transferred by a fault {quantity(stake.transferred_fault_v, 'V')}{fault_place(stake.fault_location)}.",
            stake.role,
        )
    tower = sheet.tower
    yield Item(
        f"Reading about {quantity(tower.expected_resistance_ohm, 'ohm')}, "
        f"bias {quantity(tower.bias_ohm, 'ohm')} ({quantity(tower.bias_pct, '%')}), "
        f"coupling {quantity(tower.coupling_ohm, 'ohm')}."
    )
    yield Item(
        f"Tower under an earth fault: {quantity(tower.earth_potential_rise_kv, 'kV')}"
        f"{fault_place(tower.fault_location)}; current in service "
        f"{quantities(tower.standing_current_a_low, tower.standing_current_a_high, 'A')}."
    )


def _passed(sheet: Sheet) -> Iterator[Item]:
    """What leads pass closely; what they cross is told with the crossings."""
    crossing = {check.role for check in sheet.checks if check.rule == "lead_crossing" and check.verdict == BROKEN}
    passed: dict[str, list[str]] = {}
    for check in sheet.checks:
        if check.rule == "lead_beside" and check.verdict == COMPROMISE and check.role not in crossing:
            passed.setdefault(f"{check.detail} by {figure(check.measured, 'm')}", []).append(check.role)
    for what_and_far, roles in passed.items():
        them = "it" if len(roles) == 1 else "them"
        yield Item(f"{_leads(roles, 'passes', 'pass')} {what_and_far}: keep {them} off.", "!")


def _cautions(sheet: Sheet) -> Iterator[Item]:
    told: dict[tuple[str, str], list[str]] = {}
    for stake in sheet.stakes:
        told.setdefault((stake.handling or "unknown", stake.handling_fault or "unknown"), []).append(stake.role)
    for (service, fault), roles in told.items():
        yield Item(f"{_leads(roles, '', '').strip()}, in service {service}. Under a fault {fault}.", "!", bold=True)
    beside = ", ".join(f"{stake.role} {quantity(stake.stake_touch_v, 'V')}" for stake in sheet.stakes)
    if beside:
        yield Item(
            f"Stand clear of stake and lead: under a fault from the stake to the ground 1 m away {beside}.",
            "!",
            bold=True,
        )
    yield from _passed(sheet)
    for check in sheet.checks:
        if (
            check.verdict in (COMPROMISE, BROKEN, UNKNOWN)
            and check.rule in ("reading_bias", "lead_coupling")
            and check.role == "H"
        ):
            measured, limit = quantity(check.measured, check.unit), quantity(check.limit, check.unit)
            yield Item(f"{rule_words(check.rule).capitalize()} {measured}, {limit} required.")
    steep = [f"{s.role} {degrees(s.slope_deg)} at the stake" for s in sheet.stakes if (s.slope_deg or 0) > _STEEP_DEG]
    steep += [
        f"{s.role} a drop of {s.cliff_drop_m:.0f} m on the way" for s in sheet.stakes if (s.cliff_drop_m or 0) > 0
    ]
    if steep:
        yield Item(f"Steep: {', '.join(steep)}.", "!")
    yield Item(
        "Treat every lead as live. Stop when thunder or switching is near. The cautions on the cover apply here; local "
        "codes, the asset owner's rules and licensed practice take precedence."
    )
