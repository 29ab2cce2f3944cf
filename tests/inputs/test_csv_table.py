from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import shapely

from layoutplan.errors import ColumnError, CRSError, InputError, LayerError, LineError
from layoutplan.inputs.towers import read_towers
from layoutplan.job import TowerSource

Write = Callable[..., Path]


def read(path: Path, **keys: str) -> np.ndarray:
    towers, _ = read_towers(TowerSource(path=path, **keys), "lines[0].towers")
    return shapely.get_coordinates(towers.geometry)


@pytest.mark.parametrize(
    "text",
    [
        "tower_id,lon,lat\n1,8.5,49\n2,8.6,49\n",
        "\ufefftower_id,lon,lat\r\n1,8.5,49\r\n2,8.6,49\r\n",
        "tower_id;lon;lat\n1;8,5;49,0\n2;8,6;49,0\n",
        "tower_id\tLongitude\tLatitude\n1\t8.5\t49\n2\t8.6\t49\n",
        'tower_id,lat,lon,note\n1,49,8.5,"a, b"\n2,49,8.6,\n',
        "tower_id,lon,lat\n1,8.5,49\n\n2,8.6,49\n,,\n",
        "tower_id;lon;lat\r1;8,5;49,0\r2;8,6;49,0\r",
    ],
    ids=["comma", "bom and crlf", "semicolon and decimal comma", "tab", "quoted", "blank rows", "cr alone"],
)
def test_habits_of_spreadsheets(towers_csv: Write, text: str) -> None:
    assert read(towers_csv(text)).tolist() == [[8.5, 49.0], [8.6, 49.0]]


def test_easting_and_northing(towers_csv: Write) -> None:
    path = towers_csv("tower_id,easting,northing\n1,500000,0\n2,166021.443,0\n")
    # UTM by definition: 500 km on the central meridian (9° E in zone 32); 166,021.443 m at the zone's edge on the
    # equator (from memory)
    lonlat = read(path, crs="EPSG:32632")
    assert lonlat == pytest.approx(np.array([[9.0, 0.0], [6.0, 0.0]]), abs=1e-8)


def test_named_columns_and_filter(towers_csv: Write) -> None:
    path = towers_csv("no,kind,pos_x,pos_y\n7,gantry,8,49\n8,tower,8.1,49\n9,tower,8.2,49\n")
    lonlat = read(path, id_column="no", x_column="pos_x", y_column="pos_y", crs="EPSG:4326", where="kind = 'tower'")
    assert lonlat.tolist() == [[8.1, 49.0], [8.2, 49.0]]


def test_rows_are_numbered_as_in_the_file_whatever_is_filtered(towers_csv: Write) -> None:
    path = towers_csv("tower_id,lon,lat\na,8,49\n\nb,8.1,49\nc,x,49\n")
    with pytest.raises(ColumnError, match="row 5, field 'lon': 'x' is not a finite number"):
        read(path, where="tower_id <> 'a'")


@pytest.mark.parametrize(
    ("text", "error", "message"),
    [
        ("tower_id,lon,lat\n1,8,49\n2,abc,49\n", ColumnError, "row 3, field 'lon': 'abc' is not a finite number"),
        ("tower_id,lon,lat\n1,8,\n2,8,49\n3,8,\n", ColumnError, r"row 2, field 'lat': empty \(also row 4\)"),
        ("tower_id,lon,lat\n1,nan,49\n", ColumnError, "row 2, field 'lon': 'nan' is not a finite number"),
        ("tower_id,lon,lat\n1,8,-inf\n", ColumnError, "row 2, field 'lat': '-inf' is not a finite number"),
        ('tower_id,lon,lat\n1,"8,5",49\n', ColumnError, "row 2, field 'lon': '8,5' is not a finite number"),
        ("tower_id,lon,lat\n1,49.1,98\n2,49.2,98\n", CRSError, "'lon' 49.1, 'lat' 98: latitude beyond ±90.*swap lines"),
        ("tower_id,lon,lat\n1,456000,5430000\n", CRSError, r"no longitude and latitude in degrees.*lines\[0\].tow"),
        ("tower_id,x,y\n1,456000,5430000\n", CRSError, r"no coordinate reference system. Set lines\[0\].tow"),
        ("tower_id,a,b\n1,8,49\n", ColumnError, r"the first row's names: tower_id, a, b. Set .*y_col"),
        ("tower_id,lon,lat\n1,8,49,7\n", InputError, r"row 2: not as many cells as the header has \(3\)"),
        ("tower_id,lon,lat\n1,8\n2,8,49\n", InputError, "row 2: not as many cells"),
        ("tower_id,lon,lat\n", LayerError, "no rows below the header"),
        ("tower_id,lon,lat\n,,\n", LayerError, "no rows below the header"),
        ("", LayerError, "no rows below the header"),
        ("tower_id,lon,lon,lat\n1,8,8,49\n", ColumnError, "two columns are called 'lon'"),
    ],
)  # fmt: skip
def test_bad_cells(towers_csv: Write, text: str, error: type[Exception], message: str) -> None:
    with pytest.raises(error, match=message):
        read(towers_csv(text))


def test_not_utf8_names_the_byte_and_the_way_out(towers_csv: Write) -> None:
    path = towers_csv("tower_id,lon,lat\n1,8,49\nMühle,8.1,49\n".encode("latin-1"))
    with pytest.raises(
        InputError, match=r"row 3: not UTF-8 text \(byte 0xFC at offset 25\). Save the table as 'CSV UTF-8'"
    ):
        read(path)


def test_wrong_column_names_list_those_there_are(towers_csv: Write) -> None:
    with pytest.raises(
        ColumnError, match=r"no column 'east'; there are: tower_id, lon, lat. Set lines\[0\].towers.x_column"
    ):
        read(towers_csv(), x_column="east")
    with pytest.raises(
        ColumnError, match=r"no column 'no'; there are: tower_id, lon, lat. Set lines\[0\].towers.id_column"
    ):
        read(towers_csv(), id_column="no")


@pytest.mark.parametrize(
    ("text", "rho"),
    [
        ("tower_id,lon,lat,rho\n1,8,49,120.5\n2,8.1,49,\n", [120.5, np.nan]),
        ("tower_id;lon;lat;rho\n1;8,0;49;120,5\n2;8,1;49; \n", [120.5, np.nan]),
        ("tower_id;lon;lat;rho\n1;8,0;49;1e2\n2;8,1;49;0.5\n", [100, 0.5]),
    ],
    ids=["comma", "semicolon and decimal comma", "semicolon and decimal point"],
)
def test_figures(towers_csv: Write, text: str, rho: list[float]) -> None:
    towers, _ = read_towers(TowerSource(path=towers_csv(text), soil_resistivity_column="rho"), "lines[0].towers")
    assert towers["soil_resistivity_ohm_m"].tolist() == pytest.approx(rho, nan_ok=True)


@pytest.mark.parametrize(
    "text",
    [
        'tower_id,lon,lat,rho\n1,8,49,90\n2,8.1,49,"1,200"\n',
        "tower_id\tlon\tlat\trho\n1\t8\t49\t90\n2\t8.1\t49\t1,200\n",
        "tower_id;lon;lat;rho\n1;8;49;90\n2;8,1;49;1.200,0\n",
    ],
    ids=["comma", "tab", "both signs"],
)
def test_a_comma_between_thousands_is_no_decimal_sign(towers_csv: Write, text: str) -> None:
    with pytest.raises(ColumnError, match=r"towers.csv, row 3, field 'rho': '1[.,]200(,0)?' is no positive number"):
        read(towers_csv(text), soil_resistivity_column="rho")


def test_filter_that_cannot_be_used(towers_csv: Write) -> None:
    with pytest.raises(InputError, match='cannot be read with where = "nope = 3"'):
        read(towers_csv(), where="nope = 3")
    with pytest.raises(LayerError, match="no row meets where = \"tower_id = 'none'\""):
        read(towers_csv(), where="tower_id = 'none'")


@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
def test_rows_are_numbered_and_filtered_whatever_ends_the_lines(towers_csv: Write, ends: str) -> None:
    rows = ["tower_id,lon,lat", "a,8,49", "b,8.1,49", "c,8.2,49", "d,x,49"]
    path = towers_csv(ends.join(rows) + ends)
    assert read(path, where="tower_id IN ('b', 'c')").tolist() == [[8.1, 49.0], [8.2, 49.0]]
    with pytest.raises(ColumnError, match=r"row 5, field 'lon': 'x' is not a finite number.*degrees as decimals"):
        read(path)
    path.write_bytes((ends.join(rows) + ends).replace("d,x", "Süd,8").encode("latin-1"))
    with pytest.raises(InputError, match="row 5: not UTF-8 text"):
        read(path)


def test_an_open_quote_swallows_no_towers(towers_csv: Write) -> None:
    path = towers_csv('tower_id,lon,lat,note\n1,8.5,49,\n2,8.6,49,"by the road\n3,8.7,49,\n4,8.8,49,\n')
    with pytest.raises(InputError, match="row 3: a double quote is not closed"):
        read(path)


def test_a_folder_in_place_of_a_table(tmp_path: Path) -> None:
    (tmp_path / "towers.csv").mkdir()
    with pytest.raises(InputError, match="a folder, where a table of text was expected"):
        read(tmp_path / "towers.csv")


def test_decimal_commas_between_commas_name_the_way_out(towers_csv: Write) -> None:
    with pytest.raises(InputError, match="where the comma is the decimal sign, part the cells by semicolons"):
        read(towers_csv("tower_id,lon,lat\n1,8,5,49,0\n2,8,6,49,0\n"))


@pytest.mark.parametrize(
    "text",
    [
        "tower_id,easting,northing\n1,8.40,49.09\n2,8.41,49.10\n3,8.42,49.11\n",
        # thousands parted by points, read as decimals
        "tower_id,easting,northing\n1,456.877,537.890\n2,457.003,538.124\n3,457.100,538.391\n",
    ],
    ids=["degrees", "thousands"],
)
def test_figures_that_are_no_metres(towers_csv: Write, text: str) -> None:
    with pytest.raises(LineError, match=r"all 3 towers stand within 5 m of each other.*degrees look taken for metres"):
        read(towers_csv(text), crs="EPSG:25832")
