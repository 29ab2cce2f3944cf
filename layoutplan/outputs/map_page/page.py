"""A folium map that needs no network: Leaflet lies inside the page, and a policy forbids everything else."""

from __future__ import annotations

import base64
import re
from importlib.metadata import distribution
from importlib.resources import files
from typing import Any

import folium

from layoutplan.outputs.page_notes import note_tag

_LEAFLET = files("js_lib_leaflet") / "static" / "js_lib_leaflet"
_LEAFLET_PACKAGE = "django-js-lib-leaflet"
_POLICY = (
    "default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src 'unsafe-inline'; script-src-attr 'none'; "
    "base-uri 'none'; form-action 'none'"
)
# these load files from the network, or call jQuery, which is not there
_NEEDS_NETWORK = (folium.TileLayer, folium.WmsTileLayer, folium.Popup, folium.Icon)


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
    return re.sub(r"url\(images/([\w.-]+)\)", lambda match: f"url({_png(match[1])})", text)


def _png(name: str) -> str:
    return "data:image/png;base64," + base64.b64encode((_LEAFLET / "images" / name).read_bytes()).decode()


def _leaflet_js() -> str:
    text = re.sub(r"//# sourceMappingURL=.*", "", (_LEAFLET / "leaflet.js").read_text("utf-8"))
    return f"/*\n{distribution(_LEAFLET_PACKAGE).read_text('LICENSE')}*/\n{text}"
