"""The map on the page, by ruler and protractor: rendered by PDFium and measured in pixels."""

import dataclasses
import io
import re
from types import SimpleNamespace

import numpy as np
import pypdfium2
import pytest
import zxingcpp
from pyproj import Geod
from reportlab.pdfgen.canvas import Canvas

from layoutplan.outputs.sheets.fonts import Fonts
from layoutplan.outputs.sheets.norths import draw_norths
from layoutplan.outputs.sheets.pen import MM, Box, Pen

COVER, DPI = 2, 300
PX_PER_MM = DPI / 25.4
GEOD = Geod(ellps="WGS84")
H_BLUE, S_PURPLE = (0, 114, 178), (176, 72, 127)


def scale_of(text):
    return int(re.search(r"Scale 1:([\d,]+)", text)[1].replace(",", ""))


def dark(picture, level=90):
    return (picture < level).all(axis=2)


def near(picture, color):
    return (np.abs(picture.astype(int) - color) < 12).all(axis=2)


def runs_of(row):
    """Starts and ends of runs of true values."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], row.astype(int), [0]))))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


@pytest.mark.long
@pytest.mark.parametrize("page", ["A4", "Letter"])
def test_a_ruler_on_the_scale_bar_gives_the_printed_distance(calm_plan, on_day, written, page):
    document = written(on_day(calm_plan, page=page))
    for number in range(COVER + 1, COVER + 9):
        text = document.text(number)
        scale = scale_of(text)
        printed_m = int(re.search(r"(?:^| )0 [\d.]+ (\d+) ?m Scale", text)[1])
        picture = document.picture(number, DPI)
        assert bar_length_mm(picture) == pytest.approx(printed_m * 1000 / scale, abs=0.3)


def bar_length_mm(picture):
    """Length of the bar, from its black-and-white pattern: two equal black runs with an equal white one between."""
    left = int(12 * PX_PER_MM)
    strip = dark(picture[:, left : left + int(52 * PX_PER_MM)])  # as far as the norths beside it
    found = []
    for row in strip[len(strip) // 4 :]:
        runs = runs_of(row)
        # black quarter, frame of the white one, black quarter, frame of the last
        if len(runs) == 3 and abs((runs[0][1] - runs[0][0]) - (runs[1][1] - runs[1][0])) < 8 < runs[0][1] - runs[0][0]:
            first, second, last = runs
            if last[1] - last[0] < 8 and abs((second[0] - first[1]) - (first[1] - first[0])) < 8:
                found.append((last[1] - first[0]) / PX_PER_MM)
    found = [length for length in found if length > 9]  # railways in the legend look alike
    assert found, "no scale bar"
    return float(np.median(found)) - 0.5 / MM  # the outline is half a point thick on each end, half of it outside


def signs_px(picture):
    """Middle of the filled signs of H (a square) and S (a pennant) on the map. [pixels]."""
    frame = picture[: int(150 * PX_PER_MM), : int(130 * PX_PER_MM)]
    out = []
    for color in (H_BLUE, S_PURPLE):
        mask = near(frame, color)
        best = max(
            ((r, c) for r in range(0, frame.shape[0] - 40, 4) for c in range(0, frame.shape[1] - 40, 4)),
            key=lambda at: mask[at[0] : at[0] + 44, at[1] : at[1] + 44].sum(),
        )
        rows, columns = np.nonzero(mask[best[0] - 8 : best[0] + 56, best[1] - 8 : best[1] + 56])
        rows, columns = rows + best[0] - 8, columns + best[1] - 8
        out.append(((columns.min() + columns.max()) / 2, (rows.min() + rows.max()) / 2))
    return out


def test_stakes_lie_where_the_ellipsoid_says_and_north_is_up(calm_plan, written):
    """From H to S: bearing and distance by pyproj's geodesic, against pixels between their signs."""
    document = written(calm_plan)
    (h, s) = (calm_plan.electrodes.iloc[row] for row in (0, 1))
    assert (h["tower_id"], h["role"], s["role"]) == (calm_plan.towers["tower_id"][0], "H", "S")
    bearing, _, distance = GEOD.inv(h["lon"], h["lat"], s["lon"], s["lat"])
    (hx, hy), (sx, sy) = signs_px(document.picture(COVER + 1, DPI))
    sy += (1.45 - 1.0) / 2 * 2.2 * PX_PER_MM * -1  # the pennant's box reaches further down than up from its point
    east, north = (sx - hx) / PX_PER_MM, (hy - sy) / PX_PER_MM
    assert np.hypot(east, north) == pytest.approx(distance * 1000 / scale_of(document.text(COVER + 1)), abs=0.5)
    assert np.degrees(np.arctan2(east, north)) % 360 == pytest.approx(bearing % 360, abs=0.6)


@pytest.mark.parametrize(
    ("grid", "magnetic", "angles"),
    [
        (0.6, 4.0, {0, 22, 44}),
        (-0.9, 2.0, {-22, 0, 22}),
        (-12.0, -3.0, {-44, -22, 0}),
        (0.0, None, {0, 22}),
        (None, -0.1, {-22, 0}),
        (None, None, {0}),
    ],
)
def test_norths_are_told_apart_on_their_sides_and_in_their_order(grid, magnetic, angles):
    """Arrows measured in pixels; 12 degrees and 0.1 are drawn alike, the figures stand beside."""
    buffer, fonts = io.BytesIO(), Fonts()
    canvas = Canvas(buffer, pagesize=(60 * MM, 20 * MM), initialFontName=fonts.regular)
    turn = np.radians(np.nan if grid is None else -grid)
    sheet = SimpleNamespace(
        grid=np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]]),
        declination_deg=np.nan if magnetic is None else magnetic,
        declination_note="The job names no day of work, so there is none.",
        declination_model="WMM-2025, 2026-05-04",
    )
    draw_norths(Pen(canvas, fonts), Box(0, 3, 58, 14), sheet)
    canvas.showPage()
    canvas.save()
    page = pypdfium2.PdfDocument(buffer.getvalue())[0]
    text = " ".join(page.get_textpage().get_text_bounded().split())
    assert ("MN magnetic" in text) == (magnetic is not None)
    assert ("magnetic left out: The job names no day" in text) == (magnetic is None)
    assert ("WMM-2025, 2026-05-04" in text) == (magnetic is not None)
    if grid is not None:
        assert f"GN grid {abs(grid):.2f}° {'E' if grid >= 0 else 'W'}" in text
    assert ("not to scale" in text) == (len(angles) > 1)
    picture = np.asarray(page.render(scale=DPI / 72).to_pil().convert("RGB"))[:, : int(23 * PX_PER_MM)]
    foot_mm = 10 - max(sum(angles), 0) / 12
    rows, columns = np.nonzero(dark(picture))
    east, north = columns / PX_PER_MM - foot_mm, 20 - 3.8 - rows / PX_PER_MM
    angle, away = np.degrees(np.arctan2(east, north)), np.hypot(east, north)
    ring = angle[(away > 4) & (away < 5)]
    assert all(min(abs(value - a) for a in angles) < 6 for value in ring)
    assert all((np.abs(ring - a) < 3).any() for a in angles)


@pytest.mark.long
def test_codes_lead_to_drop_off_and_stakes(calm_plan, written):
    document = written(calm_plan)
    number = COVER + 1
    found = zxingcpp.read_barcodes(document.picture(number, DPI))
    places = {}
    for code in found:
        lat, lon = re.fullmatch(r"geo:(-?\d+(?:\.\d+)?),(-?\d+(?:\.\d+)?)", code.text).groups()  # RFC 5870
        places[code.position.top_left.x, code.position.top_left.y] = (float(lon), float(lat))
    by_height = sorted(places, key=lambda at: at[1])
    tower, *stakes = by_height
    h, s = sorted(stakes)  # H on the left, S on the right, as in the table above them
    first = calm_plan.approaches.query("to == 'tower' and tower_id == @calm_plan.towers.tower_id[0]").iloc[0]
    assert places[tower] == pytest.approx((first["drop_off_lon"], first["drop_off_lat"]), abs=1e-7)
    for at, (_, row) in zip((h, s), calm_plan.electrodes.iloc[:2].iterrows(), strict=True):
        assert places[at] == pytest.approx((row["lon"], row["lat"]), abs=1e-7)


@pytest.mark.long
def test_codes_of_every_page_can_be_read(calm_plan, written):
    document = written(calm_plan)
    for number, status in enumerate(calm_plan.towers["status"], COVER + 1):
        codes = zxingcpp.read_barcodes(document.picture(number, 200))
        assert len(codes) == (1 if status == "no layout" else 3)


@pytest.mark.long
def test_map_frames_are_not_empty(calm_plan, written):
    document = written(calm_plan)
    for number in range(COVER + 1, COVER + 9):
        picture = document.picture(number, 100)
        frame = picture[int(45 * 100 / 25.4) : int(120 * 100 / 25.4), int(15 * 100 / 25.4) : int(110 * 100 / 25.4)]
        drawn = (frame < 245).any(axis=2).mean()
        assert 0.02 < drawn < 0.9
    front = document.picture(1, 100)
    assert dark(front[int(180 * 100 / 25.4) : int(260 * 100 / 25.4)]).mean() > 0.001


@pytest.mark.long
def test_nothing_is_drawn_in_the_margins(calm_plan, on_day, written):
    for page in ("A4", "Letter"):
        document = written(on_day(calm_plan, page=page))
        for number in range(1, len(document.pages) + 1):
            picture = document.picture(number, 100)
            ink = (picture < 250).any(axis=2)
            edge = int(10.5 * 100 / 25.4)
            inner = np.zeros_like(ink)
            inner[edge:-edge, edge:-edge] = True
            assert not (ink & ~inner).any(), (page, number)


@pytest.mark.long
def test_stakes_that_are_not_settled_are_hollow(calm_plan, written):
    document = written(calm_plan)
    filled = {}
    for number, status in enumerate(calm_plan.towers["status"], COVER + 1):
        picture = document.picture(number, 150)
        frame = near(picture[: int(150 * 150 / 25.4), : int(130 * 150 / 25.4)], H_BLUE)
        side = int(3 * 150 / 25.4)
        area = np.lib.stride_tricks.sliding_window_view(frame, (side, side))[::2, ::2].mean(axis=(2, 3))
        filled.setdefault(status, []).append(float(area.max()))
    assert min(filled["all rules met"] + filled["compromise"]) > 0.6
    assert max(filled["needs agreement"] + filled["map does not cover"] + filled["no layout"]) < 0.5


@pytest.mark.long
def test_contours_where_the_elevation_files_can_be_opened(sample_folder, written, tmp_path):
    import layoutplan

    (tmp_path / "job.toml").write_text(
        "[[lines]]\n[lines.towers]\n"
        f'path = "{sample_folder}/valley.gpkg"\nlayer = "towers"\norder_column = "seq"\n'
        f"where = \"line_id = 'kress-tee'\"\n[terrain]\nfiles = ['{sample_folder}/dem.tif']\n",
        "utf-8",
    )
    plan = layoutplan.plan(layoutplan.load_job(tmp_path / "job.toml"))
    assert re.search(r"Contours every \d+ m, heights in m", written(plan).text(COVER + 1))
    gone = plan.job.terrain.model_copy(update={"files": (tmp_path / "gone.tif",)})
    plan = dataclasses.replace(plan, job=plan.job.model_copy(update={"terrain": gone}))
    document = written(plan)
    assert "could not be opened for drawing" in document.text(COVER + 1)
    assert "could not be opened for drawing" in document.text(1)
