"""Roads and gates as drivers see them, from OpenStreetMap tags: pure functions on a tag dictionary.

Only what the map says plainly counts as open to the crew's vehicle. Decisions, all of them judgement:

- An untagged road is open, an untagged track is not: tracks are mostly private land, and forest law closes many.
- Whatever is restricted in any way (private, for customers, by hours, ``no``) needs a permission: an owner can give it.
- Paths, footways and steps are not driven on unless their tags say that motor vehicles may.
- An untagged gate may be locked: driving through needs a permission. Bollards and blocks stop vehicles.
"""

from __future__ import annotations

from collections.abc import Mapping

ROAD_CLASSES = frozenset({"main_road", "minor_road", "track_path"})
GATE, BRIDGE = "gate", "bridge_overhead"
OPEN, PERMIT, CLOSED = "yes", "permit", "no"
_KEYS = ("motorcar", "motor_vehicle", "vehicle", "access")  # the more special one counts
_OPEN = frozenset({"yes", "permissive", "designated", "destination", "public", "official"})
_NOT_DRIVEN = frozenset(
    {"path", "footway", "cycleway", "bridleway", "steps", "via_ferrata", "pedestrian", "construction", "busway"}
)
_PRIVATE_SERVICE = frozenset({"driveway", "emergency_access", "drive-through"})
_STOPS_VEHICLES = frozenset({"bollard", "block", "cycle_barrier", "kissing_gate", "stile", "turnstile", "log"})
_ALWAYS_OPEN = frozenset({"cattle_grid", "entrance"})


def vehicle_on_road(tags: Mapping[str, str]) -> str:
    """Tell whether a vehicle may be driven on a road or path: ``"yes"``, ``"permit"`` or ``"no"``."""
    highway = tags.get("highway", "")
    said = _said(tags)
    if said is not None:
        return CLOSED if said == PERMIT and highway in _NOT_DRIVEN else said
    if highway in _NOT_DRIVEN:
        return CLOSED
    return PERMIT if highway in ("track", "raceway") or tags.get("service") in _PRIVATE_SERVICE else OPEN


def vehicle_through_gate(tags: Mapping[str, str]) -> str:
    """Tell whether a vehicle gets through a gate or other barrier: ``"yes"``, ``"permit"`` or ``"no"``."""
    barrier = tags.get("barrier", "")
    if barrier in _STOPS_VEHICLES:
        return CLOSED
    if tags.get("locked") == "yes":
        return PERMIT
    return _said(tags) or (OPEN if barrier in _ALWAYS_OPEN else PERMIT)


def vehicle_said(value: str) -> str:
    """Read one value of an access key, or of a layer's own column in the same words."""
    text = value.strip().lower()
    return OPEN if text in _OPEN else CLOSED if text == CLOSED else PERMIT


def _said(tags: Mapping[str, str]) -> str | None:
    """What the access keys say; None if they are silent."""
    if any(f"{key}:conditional" in tags for key in _KEYS):
        return PERMIT
    value = next((tags[key] for key in _KEYS if key in tags), None)
    if value is None:
        return None
    return OPEN if value in _OPEN else PERMIT
