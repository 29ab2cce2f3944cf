"""Roads and gates as drivers see them, from OpenStreetMap tags: pure functions on a tag dictionary.

Only what the map says plainly counts as open to the crew's vehicle. Decisions, all of them judgement:

- An untagged road is open, an untagged track is not: tracks are mostly private land, and forest law closes many.
- Whatever is restricted in any way (private, for customers, by hours, ``no``) needs a permission: an owner can give it.
- Paths, footways and steps are not driven on unless their tags let motor vehicles in by name: ``access=yes`` on a
  footway speaks of people. Where they are private or closed to people, walking there needs a permission, too.
- An untagged gate may be locked: driving through needs a permission. One tagged as locked, or as private or closed to
  people, is not walked through without asking either. Bollards and blocks stop vehicles.
- Nobody stops on a motorway, on another road for motor traffic only, or in a tunnel or gallery, whoever permits it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from layoutplan.job.access import CLOSED, NO_STOPPING, OPEN, PERMIT, PRIVATE_PATH
from layoutplan.job.classes import ROADS, the
from layoutplan.job.roles import Role

ROAD_CLASSES = frozenset(ROADS)
GATE, BRIDGE = the(Role.GATE), the(Role.BRIDGE)
LOCKED = "locked"
_KEYS = ("motorcar", "motor_vehicle", "vehicle", "access")  # the more special one counts
_BY_NAME = ("motorcar", "motor_vehicle")
_ON_FOOT = ("foot", "access")
_OPEN = frozenset({"yes", "permissive", "designated", "destination", "public", "official"})
_NOT_DRIVEN = frozenset(
    {"path", "footway", "cycleway", "bridleway", "steps", "via_ferrata", "pedestrian", "construction", "busway"}
)
_PRIVATE_SERVICE = frozenset({"driveway", "emergency_access", "drive-through"})
_MOTORWAYS = frozenset({"motorway", "motorway_link"})
_STOPS_VEHICLES = frozenset({"bollard", "block", "cycle_barrier", "kissing_gate", "stile", "turnstile", "log"})
_ALWAYS_OPEN = frozenset({"cattle_grid", "entrance"})


def vehicle_on_road(tags: Mapping[str, str]) -> str:
    """Whether a vehicle may be driven on a road or path.

    Parameters
    ----------
    tags : mapping of str to str
        Of the way.

    Returns
    -------
    str
        ``"yes"``, ``"permit"`` or ``"no"``; ``"no stopping"`` is driven on, but nobody stops there; ``"private path"``
        is no place for a vehicle, and walked on with a permission only.

    References
    ----------
    Judgement, no source; see the head of this module.

    Examples
    --------
    >>> vehicle_on_road({"highway": "residential"}), vehicle_on_road({"highway": "footway"})
    ('yes', 'no')
    >>> vehicle_on_road({"highway": "track"}), vehicle_on_road({"highway": "motorway"})
    ('permit', 'no stopping')
    """
    driven = _driven(tags)
    if _for_motors_only(tags):
        return NO_STOPPING
    if tags.get("tunnel", "no") != "no" and driven != CLOSED:
        return NO_STOPPING if driven == OPEN else PRIVATE_PATH
    return driven


def _for_motors_only(tags: Mapping[str, str]) -> bool:
    """Whether a road is a motorway in all but name."""
    return tags.get("highway") in _MOTORWAYS or "yes" in (tags.get("motorroad"), tags.get("expressway"))


def _driven(tags: Mapping[str, str]) -> str:
    """What the tags state of driving, stopping left aside."""
    highway = tags.get("highway", "")
    if highway in _NOT_DRIVEN:
        if _stated(tags, _BY_NAME) == OPEN:
            return OPEN
        return PRIVATE_PATH if _stated(tags, _ON_FOOT) == PERMIT else CLOSED
    notes = _stated(tags, _KEYS)
    if notes is not None:
        return notes
    return PERMIT if highway in ("track", "raceway") or tags.get("service") in _PRIVATE_SERVICE else OPEN


def vehicle_through_gate(tags: Mapping[str, str]) -> str:
    """Whether a vehicle gets through a gate or other barrier.

    Parameters
    ----------
    tags : mapping of str to str
        Of the barrier.

    Returns
    -------
    str
        ``"yes"``, ``"permit"`` or ``"no"``; through ``"locked"`` nobody walks without a permission either.

    Examples
    --------
    >>> [vehicle_through_gate({"barrier": barrier}) for barrier in ("cattle_grid", "gate", "bollard")]
    ['yes', 'permit', 'no']
    """
    barrier = tags.get("barrier", "")
    if barrier in _STOPS_VEHICLES:
        return CLOSED
    if tags.get("locked") == "yes" or _stated(tags, _ON_FOOT) == PERMIT:
        return LOCKED
    return _stated(tags, _KEYS) or (OPEN if barrier in _ALWAYS_OPEN else PERMIT)


def vehicle_stated(value: str) -> str:
    """Read one value of an access key, or of a layer's own column in the same words.

    Parameters
    ----------
    value : str
        As it stands in the map.

    Returns
    -------
    str
        ``"yes"``, ``"no"``, ``"no stopping"``, or ``"permit"`` for anything else.

    Examples
    --------
    >>> vehicle_stated("permissive"), vehicle_stated("customers"), vehicle_stated("")
    ('yes', 'permit', 'permit')
    """
    text = value.strip().lower()
    return OPEN if text in _OPEN else text if text in (CLOSED, NO_STOPPING) else PERMIT


def _stated(tags: Mapping[str, str], keys: Sequence[str]) -> str | None:
    """What access keys state, the more special ones first; None if they are silent."""
    if any(f"{key}:conditional" in tags for key in keys):
        return PERMIT
    value = next((tags[key] for key in keys if key in tags), None)
    if value is None:
        return None
    return OPEN if value in _OPEN else PERMIT
