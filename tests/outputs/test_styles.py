"""The styles inside plan.gpkg: the table as desktop programs read it, and both kinds of document in it.

No package that tests can install carries the OGC's schema of SLD 1.0.0, nor is there one of QML. So SLD is held against
the order of elements in that schema (StyledLayerDescriptor.xsd), QML against what the program is known to need; no
desktop program draws the layers here.
"""

import re
import sqlite3
import warnings
from contextlib import closing

import pyogrio
import pytest
from lxml import etree
from pyogrio.errors import DataSourceError

from layoutplan.job import shipped_classes
from layoutplan.job.classes import with_overrides
from layoutplan.layout.rules import ALL_MET, BREAKS, COMPROMISED, NEEDS_AGREEMENT, NOT_CONFIRMED, NOT_COVERED, STATUSES
from layoutplan.layout.schema import TABLES, tables
from layoutplan.outputs.gpkg import write_gpkg
from layoutplan.outputs.styles import add_styles
from layoutplan.outputs.styles.checked import CHECKED_STYLES
from layoutplan.outputs.styles.layers import layer_styles
from layoutplan.outputs.styles.qml import qml_text
from layoutplan.outputs.styles.sld import sld_text
from layoutplan.written.read import read_plan_tables

STYLES = layer_styles(shipped_classes().values())
ALL = {**STYLES, **{f"check: {name}": style for name, style in CHECKED_STYLES.items()}}
SLD, OGC = "{http://www.opengis.net/sld}", "{http://www.opengis.net/ogc}"
# children of each element in the order of the schema
ORDER = {
    "StyledLayerDescriptor": "Name Title Abstract NamedLayer",
    "NamedLayer": "Name LayerFeatureConstraints UserStyle",
    "UserStyle": "Name Title Abstract IsDefault FeatureTypeStyle",
    "FeatureTypeStyle": "Name Title Abstract FeatureTypeName SemanticTypeIdentifier Rule",
    "Rule": "Name Title Abstract LegendGraphic Filter ElseFilter MinScaleDenominator MaxScaleDenominator "
    "PolygonSymbolizer LineSymbolizer PointSymbolizer TextSymbolizer",  # symbolizers in any order; this is ours
    "PointSymbolizer": "Geometry Graphic",
    "LineSymbolizer": "Geometry Stroke",
    "PolygonSymbolizer": "Geometry Fill Stroke",
    "TextSymbolizer": "Geometry Label Font LabelPlacement Halo Fill",
    "Graphic": "Mark Opacity Size Rotation",
    "Mark": "WellKnownName Fill Stroke",
    "Fill": "GraphicFill CssParameter",
    "Stroke": "GraphicFill GraphicStroke CssParameter",
    "GraphicFill": "Graphic",
    "Halo": "Radius Fill",
    "Label": "PropertyName",
    "Filter": "PropertyIsEqualTo Not",
    "Not": "Or PropertyIsEqualTo",
    "Or": "PropertyIsEqualTo",
    "PropertyIsEqualTo": "PropertyName Literal",
}
# options of simple symbols in documents that the program wrote itself; any other would be passed over without a word
OPTIONS = {
    "SimpleMarker": "angle color name outline_color outline_width outline_width_unit size size_unit",
    "SimpleLine": "capstyle customdash customdash_unit joinstyle line_color line_style line_width line_width_unit "
    "use_custom_dash",
    "SimpleFill": "color outline_color outline_style outline_width outline_width_unit style",
}
MARKS = {"square", "circle", "triangle", "star", "cross", "x"}  # the well-known names of SLD 1.0.0, section 11.3.2


def rows(path, sql: str) -> list[tuple]:
    with closing(sqlite3.connect(path)) as base:
        return base.execute(sql).fetchall()


def test_the_table(plan, tmp_path) -> None:
    path = write_gpkg(plan, tmp_path)
    found = rows(path, "SELECT f_table_catalog, f_table_schema, f_table_name, f_geometry_column, useAsDefault, "
                       "update_time FROM layer_styles")  # fmt: skip
    geometry = dict(rows(path, "SELECT table_name, column_name FROM gpkg_geometry_columns"))
    assert {row[2]: row[3] for row in found} == {name: geometry.get(name, "") for name in TABLES}
    assert {row[:2] for row in found} == {("", "")}  # with NULL the style is passed over
    assert {row[4:] for row in found} == {(1, "1970-01-01T00:00:00.000Z")}
    assert rows(path, "SELECT data_type, last_change FROM gpkg_contents WHERE table_name = 'layer_styles'") == [
        ("attributes", "1970-01-01T00:00:00.000Z")
    ]
    assert rows(path, "PRAGMA integrity_check") == [("ok",)]


def test_gdal_lists_and_reads_without_a_warning(plan, tmp_path) -> None:
    path = write_gpkg(plan, tmp_path)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert set(pyogrio.list_layers(path)[:, 0]) == {*TABLES, "layer_styles"}
        assert len(pyogrio.read_dataframe(path, layer="layer_styles")) == len(TABLES)


def test_a_plan_read_back_has_no_table_of_styles(plan, tmp_path) -> None:
    write_gpkg(plan, tmp_path)
    assert set(read_plan_tables(tmp_path)) == set(TABLES)


def test_a_locked_file_is_no_bare_database_error(plan, tmp_path) -> None:
    path = write_gpkg(plan, tmp_path)
    with pytest.raises(DataSourceError, match=r"plan\.gpkg: ."):
        add_styles(path, {}, TABLES, {})


@pytest.mark.parametrize("layer", ALL)
def test_sld_keeps_the_order_of_the_schema(layer) -> None:
    root = etree.fromstring(sld_text(layer, ALL[layer]).encode())
    assert (root.tag, root.get("version")) == (f"{SLD}StyledLayerDescriptor", "1.0.0")
    for element in root.iter():
        name = etree.QName(element).localname
        children = [etree.QName(child).localname for child in element]
        if children or name in ORDER:
            places = [ORDER[name].split().index(child) for child in children]
            assert places == sorted(places), name
        space = OGC if name.startswith("Property") or name in ("Filter", "Literal", "Not", "Or") else SLD
        assert element.tag == space + name
    assert {mark.text for mark in root.iter(f"{SLD}WellKnownName")} <= MARKS
    for kind in root.iter(f"{SLD}FeatureTypeStyle"):  # an "else" beside a rule for all rows would fit none
        rules = list(kind)
        if any(rule.find(f"{SLD}ElseFilter") is not None for rule in rules):
            assert all(
                rule.find(f"{SLD}ElseFilter") is not None or rule.find(f"{OGC}Filter") is not None for rule in rules
            )


@pytest.mark.parametrize("layer", ALL)
def test_columns_of_the_rules_are_columns_of_the_layer(layer) -> None:
    schema = TABLES if layer in TABLES else tables("check")
    columns = {*schema[layer.removeprefix("check: ")].columns}
    root = etree.fromstring(sld_text(layer, ALL[layer]).encode())
    assert {element.text for element in root.iter(f"{OGC}PropertyName")} <= columns
    document = qml_text(ALL[layer], {})
    for text in re.findall(r'(?:filter|fieldName)="([^"]*)"', document):
        assert set(re.findall(r"&quot;(.*?)&quot;", text)) <= columns


@pytest.mark.parametrize("layer", ALL)
def test_qml_has_a_symbol_for_every_rule(layer) -> None:
    root = etree.fromstring(qml_text(ALL[layer], {}).encode())
    assert root.tag == "qgis"
    renderer = root.find("renderer-v2")
    assert renderer.get("type") == "RuleRenderer"
    symbols = {symbol.get("name"): symbol for symbol in renderer.find("symbols")}
    rules = [rule for rule in renderer.iter("rule") if rule.get("symbol")]
    assert [rule.get("symbol") for rule in rules] == list(symbols)
    assert len({rule.get("key") for rule in renderer.iter("rule")}) == len(list(renderer.iter("rule")))
    for symbol in symbols.values():
        kinds = {part.get("class") for part in symbol.findall("layer")}
        assert kinds == {{"marker": "SimpleMarker", "line": "SimpleLine", "fill": "SimpleFill"}[symbol.get("type")]}
        for part in symbol.findall("layer"):
            assert {option.get("name") for option in part.iter("Option")} - {None} <= {
                *OPTIONS[part.get("class")].split()
            }
        for option in symbol.iter("Option"):
            if option.get("name", "").endswith("color"):
                assert re.fullmatch(r"(\d{1,3},){3}255", option.get("value"))
    wanted = {"Point": "marker", "LineString": "line"}.get(TABLES[layer].geometry) if layer in TABLES else None
    if wanted:
        assert {symbol.get("type") for symbol in symbols.values()} == {wanted}
    assert root.get("labelsEnabled") == ("1" if ALL[layer].label else "0")


def shape_of(root, value: str) -> tuple[str, str]:
    (rule,) = [rule for rule in root.iter(f"{SLD}Rule") if f">{value}<" in etree.tostring(rule).decode()]
    graphic = rule.find(f".//{SLD}Graphic")
    return graphic.find(f".//{SLD}WellKnownName").text, graphic.find(f"{SLD}Rotation").text


def test_status_and_role_are_told_without_colour() -> None:
    towers = etree.fromstring(sld_text("towers", STYLES["towers"]).encode())
    assert len({shape_of(towers, status) for status in STATUSES}) == len(STATUSES)
    stakes = etree.fromstring(sld_text("electrodes", STYLES["electrodes"]).encode())
    assert shape_of(stakes, "H") != shape_of(stakes, "S")
    checked = etree.fromstring(sld_text("electrodes", CHECKED_STYLES["electrodes"]).encode())
    verdicts = [ALL_MET, COMPROMISED, NEEDS_AGREEMENT, NOT_COVERED, BREAKS, NOT_CONFIRMED]
    assert len({shape_of(checked, verdict) for verdict in verdicts}) == len(verdicts)


def test_labels_say_more_the_nearer_one_looks() -> None:
    label = STYLES["towers"].label
    root = etree.fromstring(qml_text(STYLES["towers"], {}).encode())
    far, near = root.find("labeling/rules").findall("rule")
    assert (far.get("scalemindenom"), far.get("scalemaxdenom")) == (str(label.remark_up_to), str(label.up_to))
    assert (near.get("scalemindenom"), near.get("scalemaxdenom")) == ("0", str(label.remark_up_to))
    texts = [rule.find(".//text-style").get("fieldName") for rule in (far, near)]
    assert texts[0] == '"tower_id"'
    assert texts[1] == """"tower_id" || CASE WHEN "status" = 'all rules met' THEN '' ELSE '\\n' || "status" END"""
    sld = etree.fromstring(sld_text("towers", STYLES["towers"]).encode())
    (labels,) = [rule for rule in sld.iter(f"{SLD}Rule") if rule.find(f"{SLD}TextSymbolizer") is not None]
    assert labels.find(f"{SLD}MaxScaleDenominator").text == str(label.up_to)


def test_what_no_rule_names_is_drawn_still() -> None:
    """A status, a class or a handling unknown to the styles must not vanish; such a lead is drawn as unknown."""
    for layer in ("towers", "electrodes", "leads", "permissions"):
        root = etree.fromstring(qml_text(STYLES[layer], {}).encode())
        assert any(rule.get("filter") == "ELSE" for rule in root.iter("rule")), layer
        assert f"{SLD}ElseFilter" in {
            element.tag for element in etree.fromstring(sld_text(layer, STYLES[layer]).encode()).iter()
        }
    leads = etree.fromstring(qml_text(STYLES["leads"], {}).encode())
    (other,) = [rule.get("label") for rule in leads.iter("rule") if rule.get("filter") == "ELSE"]
    assert other.startswith("unknown")


def test_what_is_out_of_scale_is_not_drawn_as_anything_else() -> None:
    """A rule out of scale is no rule to "else": buildings would turn up as "anything else" on an overview."""
    root = etree.fromstring(qml_text(STYLES["obstacles"], {}).encode())
    (other,) = {rule.get("filter") for rule in root.iter("rule") if rule.get("label") == "anything else"}
    named = set(re.findall(r"'(\w+)'", other))
    assert other.startswith('NOT coalesce("obstacle_class" IN (')
    assert named == set(shipped_classes())
    sld = etree.fromstring(sld_text("obstacles", STYLES["obstacles"]).encode())
    (other,) = [rule for rule in sld.iter(f"{SLD}Rule") if rule.find(f"{OGC}Filter/{OGC}Not") is not None]
    assert {element.text for element in other.iter(f"{OGC}Literal")} == named


def test_every_class_has_its_rule_for_areas_lines_and_points() -> None:
    root = etree.fromstring(qml_text(STYLES["obstacles"], {}).encode())
    filters = [rule.get("filter") for rule in root.iter("rule")]
    for name in shipped_classes():
        assert filters.count(f"\"obstacle_class\" = '{name}'") == 3
    groups = root.find("renderer-v2/rules").findall("rule")
    assert [group.get("label") for group in groups] == ["areas", "lines", "points"]
    assert all(group[-1].get("label") == "anything else" for group in groups)


def test_only_classes_on_the_map_are_in_the_legend(plan, tmp_path) -> None:
    path = write_gpkg(plan, tmp_path)
    ((document,),) = rows(path, "SELECT styleQML FROM layer_styles WHERE f_table_name = 'obstacles'")
    shown = set(re.findall(r"obstacle_class&quot; = '(\w+)'", document))
    assert shown == set(plan.obstacles["obstacle_class"])


def test_titles_of_columns(plan, tmp_path) -> None:
    path = write_gpkg(plan, tmp_path)
    titles = rows(path, "SELECT table_name, column_name, title FROM gpkg_data_columns")
    assert {row[:2] for row in titles} == {(name, each) for name, table in TABLES.items() for each in table.columns}
    for name, table in TABLES.items():
        ((document,),) = rows(path, f"SELECT styleQML FROM layer_styles WHERE f_table_name = '{name}'")
        found = etree.fromstring(document.encode()).find("aliases")
        assert [alias.get("field") for alias in found] == list(table.columns)
        assert [alias.get("name") for alias in found] == [column.title for column in table.columns.values()]
    described = rows(path, "SELECT table_name, definition FROM gpkg_extensions WHERE extension_name = 'gpkg_schema'")
    assert {row[0] for row in described} == {"gpkg_data_columns", "gpkg_data_column_constraints"}
    identifiers = dict(rows(path, "SELECT table_name, identifier FROM gpkg_contents"))
    assert identifiers["electrodes"] == "Stakes H and S"


def test_the_job_s_own_rules_show() -> None:
    """Where the job lets a stake stand, the style says so."""
    own = layer_styles(with_overrides({"quarry": {"stake": "agree"}}).values())
    labels = [
        next(rule.label for rule in styles["obstacles"].rules if rule.value == "quarry") for styles in (STYLES, own)
    ]
    assert labels[0].endswith("(no stake)")
    assert labels[1].endswith("(stake by agreement)")


@pytest.mark.long
def test_no_foreign_text_gets_in(make_plan, hostile_texts, tmp_path) -> None:
    """Styles are made of the program's own words only: another plan with the same classes has the same."""
    found = []
    for name, towers in (("hostile", len(hostile_texts) + 2), ("plain", 2)):
        (tmp_path / name).mkdir()
        path = write_gpkg(make_plan(towers, hostile=name == "hostile"), tmp_path / name)
        found.append(rows(path, "SELECT styleQML, styleSLD FROM layer_styles"))
    assert found[0] == found[1]
