"""Whether a copy in grey keeps apart what is drawn on the maps, from the styles and from rendered swatches.

Lightness is L* of CIE 1976 (ISO/CIE 11664-4), for sRGB (IEC 61966-2-1). What a copier keeps apart is judgement, no
source: tints lighter than 85 come out white, two tones differ from 15 on, two dashes or widths from a factor of 2 on.
"""

import io
from itertools import combinations

import numpy as np
import pypdfium2
import pytest
from reportlab.pdfgen.canvas import Canvas

from layoutplan.job import shipped_classes
from layoutplan.job.class_model import PaperArea, PaperLine
from layoutplan.outputs.sheets.fonts import Fonts
from layoutplan.outputs.sheets.legend import LegendSign, entries_of
from layoutplan.outputs.sheets.pen import INK, MM, Box, Pen
from layoutplan.outputs.sheets.styles import (
    CONTOUR_COLOR,
    CONTOUR_WIDTHS,
    CORRIDOR_COLOR,
    CORRIDOR_DASH,
    CORRIDOR_WIDTH,
    KEEP_OUT_COLOR,
    LEAD_DASH,
    LEAD_WIDTH,
    LINE_WIDTHS,
    ROLE_COLOR,
    WALK_COLOR,
    WALK_DASH,
    Looks,
)

WHITE_FROM, TONE, FACTOR, DARK = 85.0, 15.0, 1.9, 65.0
LOOKS = Looks.of(shipped_classes())


def lightness(color):
    """L* of a colour, white for a tint that is lost."""
    srgb = np.array([int(color[n : n + 2], 16) for n in (1, 3, 5)]) / 255
    linear = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    y = float(linear @ (0.2126, 0.7152, 0.0722))
    found = 116 * y ** (1 / 3) - 16 if y > (6 / 29) ** 3 else y * (29 / 3) ** 3
    return 100.0 if found > WHITE_FROM else found


@pytest.mark.parametrize(("color", "value"), [("#767676", 49.6), ("#000000", 0.0), ("#ffffff", 100.0)])
def test_lightness_of_known_colours(color, value):
    """Grey 118 of sRGB is the darkest with 4.5 : 1 on white (WCAG 2): Y = 0.1812, L* = 49.6."""
    assert lightness(color) == pytest.approx(value, abs=0.1)


def dashes_differ(one, other):
    if len(one) != len(other):
        return True
    return any(max(a, b) / min(a, b) >= FACTOR for a, b in zip(one, other, strict=True))


def tones_differ(one, other):
    return abs(lightness(one or "#ffffff") - lightness(other or "#ffffff")) >= TONE


def areas_differ(one: PaperArea, other: PaperArea):
    return one.hatch != other.hatch or tones_differ(one.fill, other.fill) or dashes_differ(one.dash, other.dash)


def lines_differ(one: PaperLine, other: PaperLine):
    if dashes_differ(one.dash, other.dash) or tones_differ(one.line, other.line):
        return True
    if (one.inside is None) != (other.inside is None):
        return True
    if one.inside is not None:
        return tones_differ(one.inside, other.inside) or dashes_differ(one.inside_dash, other.inside_dash)
    return max(one.width, other.width) / min(one.width, other.width) >= FACTOR


KEEP_OUT = PaperArea.model_construct(line=KEEP_OUT_COLOR, hatch="leaning to the right")  # "diagonal": to the left
AREAS = {**LOOKS.areas, "any other class": LOOKS.area("?"), "keep-out": KEEP_OUT}
LINES = {
    **LOOKS.lines,
    "any other class": LOOKS.line("?"),
    **{f"lead of {r}": PaperLine(line=ROLE_COLOR[r], width=LEAD_WIDTH, dash=LEAD_DASH[r]) for r in "HS"},
    "way on foot": PaperLine(line=WALK_COLOR, width=1.3, dash=WALK_DASH),
    "contour": PaperLine(line=CONTOUR_COLOR, width=CONTOUR_WIDTHS[1]),
    "corridor": PaperLine(line=CORRIDOR_COLOR, width=CORRIDOR_WIDTH, dash=CORRIDOR_DASH),
    "line to be measured": PaperLine(line=INK, width=LINE_WIDTHS[1]),
    "another line": PaperLine(line=INK, width=LINE_WIDTHS[0]),
}


def test_areas_are_told_apart_in_grey():
    alike = [pair for pair in combinations(AREAS, 2) if not areas_differ(*map(AREAS.get, pair))]
    assert not alike


def test_lines_are_told_apart_in_grey():
    alike = [pair for pair in combinations(LINES, 2) if not lines_differ(*map(LINES.get, pair))]
    assert not alike


def test_what_differs_in_colour_only_is_found_out():
    """The looks that these sheets once had for pipelines and power lines, for crops and woodland."""
    pipe, line = (
        PaperLine(line=c, width=w, dash=(d, 2, 1.5, 2)) for c, w, d in (("#8a5527", 1.3, 9), ("#4d3f63", 1.2, 10))
    )
    assert not lines_differ(pipe, line)
    crops, woodland = PaperArea(fill="#fbf7e8", line="#d9cfa6"), PaperArea(fill="#e1edd9", line="#8fb081")
    assert not areas_differ(crops, woodland)


@pytest.mark.parametrize("name", sorted(AREAS))
def test_areas_are_seen_on_a_copy(name):
    """By a pattern, a tone or an outline that is not lost; what is unknown or shut never by an outline alone."""
    look = AREAS[name]
    assert lightness(look.line) < DARK
    assert look.hatch or lightness(look.fill or "#ffffff") < WHITE_FROM or look.dash or name == "any other class"
    if (row := shipped_classes().get(name)) and (row.look.group == "silent" or row.label == "no-entry land"):
        assert look.hatch


@pytest.mark.parametrize("name", sorted(LINES))
def test_lines_are_seen_on_a_copy(name):
    assert lightness(LINES[name].line) < DARK


def swatch(draw):
    """A swatch of the legend as a copier sees it: grey, tints lost, stretched to black and white."""
    buffer, fonts = io.BytesIO(), Fonts()
    canvas = Canvas(buffer, pagesize=(32 * MM, 22 * MM), initialFontName=fonts.regular)
    draw(Pen(canvas, fonts), Box(1, 1, 30, 20))
    canvas.showPage()
    canvas.save()
    grey = np.asarray(pypdfium2.PdfDocument(buffer.getvalue())[0].render(scale=200 / 72).to_pil().convert("L")) / 255
    inner = grey[24:-24, 24:-24]  # without its outline
    return np.clip((inner - 0.35) / (0.85 - 0.35), 0, 1)


def texture(grey):
    """Share of ink, and how much of it changes along, across and on both diagonals."""
    steps = [np.abs(grey[:, 2:] - grey[:, :-2]), np.abs(grey[2:] - grey[:-2])]
    steps += [np.abs(grey[2:, 2:] - grey[:-2, :-2]), np.abs(grey[2:, :-2] - grey[:-2, 2:])]
    return np.array([1 - grey.mean(), *(step.mean() for step in steps)])


def test_patterns_differ_where_they_are_printed():
    """Not by their names but as PDFium draws them."""
    by_label = {row.label: name for name, row in shipped_classes().items()}
    kept_out = [entry for entry in entries_of({LegendSign.KEEP_OUT}, {}) if "keep-out" in entry[0]]
    hatched = {shipped_classes()[name].label: (name, look) for name, look in LOOKS.areas.items() if look.hatch}
    entries = [*kept_out, *entries_of(set(), {name: (label, look) for label, (name, look) in hatched.items()})]
    seen = {by_label.get(label, label): texture(swatch(draw)) for label, draw in entries}
    assert len(seen) == len(hatched) + 1 > 12
    for one, other in combinations(seen, 2):
        if {one, other} in ({"no_entry", "military"}, {"houses_unmapped", "shore_unmapped"}):
            continue  # by their outline
        assert np.abs(seen[one] - seen[other]).max() > 0.015, (one, other)
        assert seen[one].max() > 0.015, one
