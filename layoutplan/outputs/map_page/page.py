"""A folium map that needs no network: Leaflet lies inside the page, and a policy forbids everything else."""

from __future__ import annotations

import re
from importlib.metadata import distribution
from importlib.resources import files
from typing import Any

import folium
from folium.template import Template

from layoutplan.outputs.page_notes import note_tag

_LEAFLET = files("js_lib_leaflet") / "static" / "js_lib_leaflet"
_LEAFLET_PACKAGE = "django-js-lib-leaflet"
_POLICY = (
    "default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src 'unsafe-inline'; script-src-attr 'none'; "
    "base-uri 'none'; form-action 'none'"
)
# these load files from the network, or call jQuery, which is not there
_NEEDS_NETWORK = (folium.TileLayer, folium.WmsTileLayer, folium.Popup, folium.Icon)


# folium's own page has no language and no landmark, and forbids zooming
_PAGE = Template(
    """<!DOCTYPE html>
<html lang="en">
<head>
<title>{{ this.title }}</title>
{{ this.header.render(**kwargs) }}
</head>
<body>
{{ this.html.render(**kwargs) }}
</body>
<script>
{{ this.script.render(**kwargs) }}
</script>
</html>
"""
)
_MAP = Template(
    """{% macro header(this, kwargs) %}
<meta name="viewport" content="width=device-width, initial-scale=1">
{% endmacro %}
{% macro html(this, kwargs) %}
<main aria-label="Map"><div class="folium-map" id={{ this.get_name() | tojson }}></div></main>
{% endmacro %}
{% macro script(this, kwargs) %}
var {{ this.get_name() }} = L.map({{ this.get_name() | tojson }},
    { center: {{ this.location | tojson }}, crs: L.CRS.{{ this.crs }}, ...{{ this.options | tojavascript }} });
{% endmacro %}"""
)


class AsIs(folium.Element):
    """Text that goes into the page as it is; a plain ``Element`` would read it as a template."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self._name, self.text = "AsIs", text

    def render(self, **kwargs: Any) -> str:  # noqa: ARG002  # the signature is branca's
        """Return the text.

        Parameters
        ----------
        **kwargs
            Further settings.

        Returns
        -------
        str
        """
        return self.text


class OfflineMap(folium.Map):
    """A map in one file."""

    default_js = []  # noqa: RUF012  # a class attribute of folium's
    default_css = []  # noqa: RUF012
    _template = _MAP

    def to_html(self, title: str, note: str, css: str, js: str) -> str:
        """Return the page; the same map gives the same text.

        Parameters
        ----------
        title : str
            Title of the page, inert already.
        note : str
            What the record of the plan is to say about this page; none of it foreign text.
        css, js : str
            The page's own style and script; the script runs when Leaflet is there, before the map is made.

        Returns
        -------
        str
            HTML.

        Raises
        ------
        ValueError
            If something on the map would need the network.
        """
        root = self.figure
        root._template = _PAGE
        root.title = title
        for name, text in {
            "policy": f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">',
            "note": note_tag(note),
            "leaflet_css": f"<style>{_leaflet_css()}</style>",
            "leaflet_js": f"<script>{_leaflet_js()}</script>",
            "page_css": f"<style>\n{css}</style>",
            "page_js": f"<script>\n{js}</script>",
        }.items():
            root.header.add_child(AsIs(text), name=name)
        _number(root)
        page = str(root.render())
        if strangers := self._strangers():
            raise ValueError(f"not fit for a page without network: {', '.join(strangers)}")
        return page

    @property
    def figure(self) -> folium.Figure:
        """The page around the map."""
        root = self.get_root()
        assert isinstance(root, folium.Figure)
        return root

    def _strangers(self) -> list[str]:
        links = [name for name, child in self.figure.header._children.items() if isinstance(child, folium.Link)]
        return links + [child.get_name() for child in _tree(self) if isinstance(child, _NEEDS_NETWORK)]


def _tree(element: folium.Element) -> list[folium.Element]:
    return [element, *(below for child in element._children.values() for below in _tree(child))]


def _number(root: folium.Figure) -> None:
    """Give the elements running numbers in place of random ones."""
    parts = [root, root.header, root.html, root.script]
    for number, element in enumerate(dict.fromkeys(child for part in parts for child in _tree(part))):
        element._id = f"{number:05d}"


def _leaflet_css() -> str:
    text = (_LEAFLET / "leaflet.css").read_text("utf-8")
    return re.sub(r"background-image: url\(images/[\w.-]+\);", "", text)  # the page draws its own signs


def _leaflet_js() -> str:
    text = re.sub(r"//# sourceMappingURL=.*", "", (_LEAFLET / "leaflet.js").read_text("utf-8"))
    return f"/*\n{distribution(_LEAFLET_PACKAGE).read_text('LICENSE')}*/\n{text}"
