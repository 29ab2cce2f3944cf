"""Foreign text made harmless."""

import math

import pytest
from jinja2 import Template

from layoutplan.text import clean, csv_cell, file_stem, page_text, xml_text

HOSTILE = [
    "{{7*7}}",
    "{{cycler.__init__.__globals__.os.popen(dict(id=1)|join).read()}}",
    "Ramp {% closed",
    "x {# y",
    "`${alert(1)}`",
    "</script><img src=x onerror=alert(1)>",
    'He said "no" & left',
    "back\\slash",
]


@pytest.mark.parametrize("text", HOSTILE)
def test_page_text_survives_a_template_pass_unchanged(text):
    inert = page_text(text)
    assert Template(inert).render() == inert
    assert not set(inert) & set("{}`\\<>")


@pytest.mark.parametrize("text", HOSTILE)
def test_page_text_shows_letter_for_letter(text):
    import html

    assert html.unescape(page_text(text)) == text


@pytest.mark.parametrize(
    ("dirty", "tidy"),
    [
        ("a\x00b\x1b[31m", "a b [31m"),
        ("  two   spaces\n", "two spaces"),
        ("\u202eevil\u202c", "evil"),
        ("e\u0301", "é"),
        (None, ""),
        (math.nan, ""),
        (12, "12"),
        ("Башня 12", "Башня 12"),
    ],
)
def test_clean(dirty, tidy):
    assert clean(dirty) == tidy


@pytest.mark.parametrize(
    "cell", ["=1+1", "+1", "-1", "@x", "\tx", ";=1", ";;=1", "＝1", "＋1", "－1", "＠x", "﹢1", "﹣1", "﹫x"]
)
def test_spreadsheet_formulas_become_text(cell):
    assert csv_cell(cell) == "'" + cell


@pytest.mark.parametrize("cell", [-1.5, 3, "plain", ""])
def test_other_cells_pass(cell):
    assert csv_cell(cell) == cell


@pytest.mark.parametrize(
    ("name", "stem"),
    [
        ("109", "109"),
        ("12-A", "12-A"),
        ("../../etc/passwd", "etc_passwd"),
        ("C:\\con", "C_con"),
        ("-rf", "rf"),
        ("Башня 12", "Bashnya_12"),
        ("", "unnamed"),
        ("...", "unnamed"),
        ("x" * 80 + "-7", "x" * 58 + "-7"),
    ],
)
def test_file_stems_are_no_paths(name, stem):
    assert file_stem(name) == stem


def test_xml_text_fits_into_xml():
    """XML 1.0, section 2.2: no half characters (surrogates), no U+FFFE and U+FFFF."""
    from lxml import etree

    node = etree.Element("a")
    node.text = xml_text(
        "a" + "".join(map(chr, (*range(0x20), *range(0xD800, 0xE000), 0xFFFD, 0xFFFE, 0xFFFF, 0x1F5FC)))
    )
    assert node.text == "a \ufffd\U0001f5fc"
