"""The pages put together: sections drawn one after the other, so that memory stays flat, and merged."""

from __future__ import annotations

from collections.abc import Iterator
from io import BytesIO
from pathlib import Path

import numpy as np
import shapely
from pypdf import PdfWriter
from reportlab import rl_config
from reportlab.pdfgen.canvas import Canvas

from layoutplan.layout.model import Plan
from layoutplan.layout.part import part_words
from layoutplan.outputs.columns import as_lists, turned, west_deg
from layoutplan.outputs.plan_number import plan_number
from layoutplan.outputs.sheets.contours import ground_of
from layoutplan.outputs.sheets.cover import draw_front, draw_lists, front_pages
from layoutplan.outputs.sheets.facts import Sheet, sheets_of
from layoutplan.outputs.sheets.fonts import Fonts
from layoutplan.outputs.sheets.layers import Features
from layoutplan.outputs.sheets.legend import ClassLook, class_looks
from layoutplan.outputs.sheets.pen import MM, Pen
from layoutplan.outputs.sheets.surroundings import Surroundings
from layoutplan.outputs.sheets.tower_page import PageFrame, draw_continued, draw_tower_page
from layoutplan.outputs.words import credit_text
from layoutplan.text import clean

_PAGES_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
_NAMED = 5
_SECTION = 50  # towers drawn before their pages are written out


def write_sheets(plan: Plan, folder: Path) -> Path:
    """Write the staking sheets: a cover, then a page for each tower in the plan's order.

    The same plan gives the same bytes.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    folder : Path
        Where the file is made.

    Returns
    -------
    Path
        ``sheets.pdf``.
    """
    west = west_deg(plan.whole or plan)
    sheets, magnetic = sheets_of(plan, west)
    around = _around(plan, west)
    classes = class_looks(around.features, np.arange(len(around.features.kind)))
    fonts = Fonts(plan.job.output.font)
    page = _PAGES_MM[plan.job.output.page]
    frame = PageFrame(
        page=page,
        title=clean((plan.whole or plan).job.title),
        part=part_words(plan),
        plan_number=plan_number(plan),
        credits=credit_text(plan),
        magnetic=magnetic.model,
        grid_crs=plan.grid_crs,
        calls=_calls(plan),
        pages=0,
    )
    first = front_pages(frame.content, len(sheets), len(classes)) + 1
    frame = frame.numbered(first - 1 + len(sheets))
    starts: list[int] = []
    towers = list(_tower_sections(sheets, first, frame, around, fonts, starts))
    front = _front(plan, sheets, frame, around, classes, fonts)
    path = folder / "sheets.pdf"
    _merge([front, *towers], path, sheets, starts, frame)
    return path


def _calls(plan: Plan) -> str:
    work, blank = plan.job.work, "_" * 16
    return clean(f"Control room {work.control_room or blank}   Emergency {work.emergency_phone or blank}")


def _tower_sections(
    sheets: list[Sheet], first: int, frame: PageFrame, around: Surroundings, fonts: Fonts, starts: list[int]
) -> Iterator[bytes]:
    """Draw the towers' pages, and note in ``starts`` the place of each among all pages, from 0 on."""
    place = first - 1
    for start in range(0, len(sheets), _SECTION):
        buffer = BytesIO()
        canvas = _canvas(buffer, frame, fonts)
        for number, sheet in enumerate(sheets[start : start + _SECTION], first + start):
            starts.append(place)
            pen = Pen(canvas, fonts)
            rest = draw_tower_page(pen, sheet, number, frame, around)
            canvas.showPage()
            place += 1
            while rest:
                rest = draw_continued(pen, sheet, number, frame, rest)
                canvas.showPage()
                place += 1
        canvas.save()
        yield buffer.getvalue()


def _front(
    plan: Plan,
    sheets: list[Sheet],
    frame: PageFrame,
    around: Surroundings,
    classes: dict[str, tuple[str, ClassLook]],
    fonts: Fonts,
) -> bytes:
    """Draw the cover last: by then it is known which names could not be printed."""
    buffer = BytesIO()
    canvas = _canvas(buffer, frame, fonts)
    notes = [note for note in (fonts.problem, _spelt_note(sheets, fonts), around.ground.note) if note]
    pen = Pen(canvas, fonts)
    draw_front(pen, plan, sheets, frame, around, notes)

    def next_page() -> Pen:
        canvas.showPage()
        return pen

    draw_lists(next_page, sheets, frame, classes)
    canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _spelt_note(sheets: list[Sheet], fonts: Fonts) -> str:
    """Report which letters could not be printed, and name the towers whose ids hold some."""
    if not fonts.lost:
        return ""
    ids = [sheet.tower.tower_id for sheet in sheets if fonts.lost & set(sheet.tower.tower_id)]
    more = f" and {len(ids) - _NAMED} more" if len(ids) > _NAMED else ""
    towers = f"towers {', '.join(ids[:_NAMED])}{more}" if ids else "no tower id, but names on maps or of lines"
    return (
        f"{len(fonts.lost)} letter(s) are in no font of these sheets; they are spelt in Latin letters between ‹ and › "
        f"({towers}). Name a TrueType font that has them in output.font."
    )


def _canvas(buffer: BytesIO, frame: PageFrame, fonts: Fonts) -> Canvas:
    rl_config.useA85 = 0  # binary streams: a fifth smaller, a third faster
    size = (frame.page[0] * MM, frame.page[1] * MM)
    return Canvas(buffer, pagesize=size, pageCompression=1, invariant=1, initialFontName=fonts.regular)


def _merge(sections: list[bytes], path: Path, sheets: list[Sheet], starts: list[int], frame: PageFrame) -> None:
    writer = PdfWriter()
    for section in sections:
        writer.append(BytesIO(section))
    for place, sheet in zip(starts, sheets, strict=True):
        writer.add_outline_item(title=f"Tower {clean(sheet.tower.tower_id)}", page_number=place)
    writer.add_metadata(
        {
            "/Title": frame.title,
            "/Subject": f"Staking sheets, plan number {frame.plan_number}",
            "/Creator": "layoutplan",
        }
    )
    with path.open("wb") as file:
        writer.write(file)


def _around(plan: Plan, west_deg: float) -> Surroundings:
    towers = (plan.whole or plan).towers
    mine, lonlat = (shapely.get_coordinates(turned(t.geometry.array, west_deg)) for t in (plan.towers, towers))
    reach = plan.job.rules.reach_m
    half = plan.spans["half_width_m"].to_numpy(dtype=float)
    return Surroundings(
        features=Features.of(plan.obstacles, west_deg, plan.job.obstacle_classes),
        spans=turned(plan.spans.geometry.array, west_deg),
        measured=plan.spans["line_id"].isin(towers["line_id"]).to_numpy(dtype=bool),
        corridor_m=np.asarray(half + plan.job.rules.line_clearance_m),
        towers=lonlat,
        tower_ids=as_lists(towers, ["tower_id"])[0],
        reach_m=reach,
        ground=ground_of(plan, mine, 3 * reach),
        classes=plan.job.obstacle_classes,
    )
