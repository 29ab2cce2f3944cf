"""Settings of the documentation."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

project = "layoutplan"
copyright = "the layoutplan authors"
extensions = ["myst_parser", "sphinx.ext.autodoc", "sphinx.ext.napoleon"]
source_suffix = {".md": "markdown"}
exclude_patterns = ["_build", "examples", "LICENSE.txt"]
html_theme = "furo"
html_title = "layoutplan"
myst_heading_anchors = 3
autodoc_typehints = "description"
napoleon_google_docstring = False
