"""What the tests of the hardware pages share: the words of a drawing, and a test for each build."""

import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from bainwright.builds.catalogue import BUILDS, BY_NAME

SVG = "{http://www.w3.org/2000/svg}"
each_build = pytest.mark.parametrize("build", BUILDS, ids=list(BY_NAME))


def drawn_words(path: Path) -> str:
    """Every word of a drawing."""
    return " ".join(" ".join(text.itertext()) for text in ET.parse(path).getroot().iter(SVG + "text"))
