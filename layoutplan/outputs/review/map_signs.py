"""Signs, styles and legend of the small maps: those of the sheets, each once on the page."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from layoutplan.job.class_model import PaperArea, PaperLine
from layoutplan.layout.model import Plan
from layoutplan.outputs.review.pieces import inert
from layoutplan.outputs.sheets.styles import ROLE_COLOR, Looks

_UNIT = 1.5  # of the map, for a point on the sheets
_SHAPES = {"H": "M-6-6h12v12h-12z", "S": "M-8-6h16l-8 15z"}  # square, and pennant with its point down to the ground
_PATCH = "M2,2h36v16h-36z"
_LETTER = {"H": 3.2, "S": 1.8}  # below the middle
_HATCH = {"horizontal": "M0,4h8", "cross": "M0,0L8,8M0,8L8,0"}  # those that the sheets draw
_DASH = {"H": "", "S": "stroke-dasharray:8 4;"}


def classes_of(plan: Plan) -> list[str]:
    """Obstacle classes of the map in the order of drawing; their places are their numbers in the styles.

    Parameters
    ----------
    plan : Plan
        With its obstacles.

    Returns
    -------
    list of str
    """
    there = set(plan.obstacles["obstacle_class"])
    known = plan.job.obstacle_classes
    return sorted(there, key=lambda name: (known[name].look.order if name in known else 0, name))


def map_style(plan: Plan, classes: Sequence[str]) -> str:
    """Return the style of the maps: no style stands with a single shape.

    Parameters
    ----------
    plan : Plan
        With its job's classes.
    classes : sequence of str
        From `classes_of`.

    Returns
    -------
    str
        CSS.
    """
    looks = Looks.of(plan.job.obstacle_classes)
    rules = [
        rule for number, name in enumerate(classes) for rule in _class_rules(number, looks.area(name), looks.line(name))
    ]
    for role, color in ROLE_COLOR.items():
        rules.append(f".l{role}{{stroke:{color};stroke-width:3.5;{_DASH[role]}}}")
        rules.append(f".m{role}{{fill:{color};stroke:#111;stroke-width:1.2}}")
        rules.append(f".m{role}n{{fill:#fff;stroke:{color};stroke-width:2.2}}.m{role}n+text{{fill:{color}}}")
    return "\n".join(rules)


def _class_rules(number: int, area: PaperArea, line: PaperLine) -> Iterator[str]:
    fill = f"url(#h{number})" if area.hatch in _HATCH else area.fill or "none"
    yield f".a{number}{{fill:{fill};{_stroke(area.line, area.width, area.dash)}}}"
    yield f".k{number}{{{_stroke(line.line, line.width, line.dash)}}}"
    yield f"#h{number} path{{{_stroke(area.line, 0.5, ())}}}"
    yield f"#h{number} rect{{fill:{area.fill or 'none'}}}"


def _stroke(color: str, width: float, dash: tuple[float, ...]) -> str:
    dashes = f";stroke-dasharray:{' '.join(f'{part * _UNIT:g}' for part in dash)}" if dash else ""
    return f"stroke:{color};stroke-width:{min(width, 4.0) * _UNIT:g}{dashes}"


def map_signs(plan: Plan, classes: Sequence[str]) -> str:
    """Return the signs that the maps use by name.

    Parameters
    ----------
    plan : Plan
        With its job's classes.
    classes : sequence of str
        From `classes_of`.

    Returns
    -------
    str
        SVG that takes no room.
    """
    stakes = "".join(
        f'<g id=m{role}{of}><path class=m{role}{of} d="{_SHAPES[role]}" />'
        f"<text class=mt y={_LETTER[role]}>{role}</text></g>"
        for role in ROLE_COLOR
        for of in ("", "n")
    )
    looks = Looks.of(plan.job.obstacle_classes)
    hatches = "".join(
        f"<pattern id=h{number} width=8 height=8 patternUnits=userSpaceOnUse><rect width=8 height=8 />"
        f"<path d={_HATCH[hatch]} /></pattern>"
        for number, name in enumerate(classes)
        if (hatch := looks.area(name).hatch) in _HATCH
    )
    return (
        "<svg class=signs aria-hidden=true><defs><pattern id=mh width=5 height=5 patternUnits=userSpaceOnUse>"
        "<path d=M-1,1L1,-1M0,5L5,0M4,6L6,4 /></pattern>"
        f'<g id=mT><path d="M-5-5h10v10h-10zM-5-5l10 10M5-5l-10 10" /></g>{stakes}{hatches}</defs></svg>\n'
    )


def map_legend(plan: Plan, classes: Sequence[str]) -> str:
    """Return what the signs mean.

    Parameters
    ----------
    plan : Plan
        With its obstacles.
    classes : sequence of str
        From `classes_of`.

    Returns
    -------
    str
        HTML.
    """
    areas = set(plan.obstacles["obstacle_class"][plan.obstacles.geometry.geom_type.str.endswith("Polygon")])
    known = plan.job.obstacle_classes
    entries = [
        ("<use href=#mT x=20 y=10 />", "tower"),
        ("<path class=ml d=M2,10h36 />", "line"),
        ("<path class=lH d=M2,10h20 /><use href=#mH x=28 y=10 />", "lead and stake H"),
        ("<path class=lS d=M2,10h20 /><use href=#mS x=28 y=10 />", "lead and stake S"),
        ("<use href=#mHn x=10 y=10 /><use href=#mSn x=30 y=10 />", "hollow: not to be staked yet"),
        ("<circle class=mX cx=20 cy=10 r=4 />", "the lead crosses something"),
        (f"<path class=mK d={_PATCH} />", "no stake may stand there"),
        ("<path class=rc d=M2,10h36 />", "reach of the reel, where there is no layout"),
        *(
            (f"<path class=a{number} d={_PATCH} />" if name in areas else f"<path class=k{number} d=M2,10h36 />",
             inert(known[name].label if name in known else name.replace("_", " ")))
            for number, name in enumerate(classes)
        ),
    ]  # fmt: skip
    told = "".join(
        f'<li><svg class=map viewBox="0 0 40 20" aria-hidden=true>{sign}</svg> {words}\n' for sign, words in entries
    )
    return f"<ul class=legend>{told}</ul>\n"
