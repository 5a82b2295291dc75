"""The page on the architecture names every part of the program, in the order that is enforced."""

import re
import tomllib
from pathlib import Path

import segue

PACKAGE = Path(segue.__file__).parent
ROOT = Path(__file__).parents[1]
PAGE = ROOT / "docs" / "architecture.md"


def enforced_layers():
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    (contract,) = settings["tool"]["importlinter"]["contracts"]
    return [set(re.split(r"\s*\|\s*", layer)) for layer in contract["layers"]]


def described_parts():
    text = PAGE.read_text(encoding="utf-8")
    table = text.partition("<!-- layers -->")[2].partition("<!-- end of layers -->")[0]
    return re.findall(r"^\| `(\w+)` \|", table, re.MULTILINE)


def parts_of_the_package():
    modules = {path.stem for path in PACKAGE.glob("*.py")}
    packages = {path.parent.name for path in PACKAGE.glob("*/__init__.py")}
    return (modules | packages) - {"__init__"}


def test_the_page_names_every_part_once_and_nothing_else():
    parts = described_parts()
    assert len(parts) == len(set(parts))
    assert set(parts) == parts_of_the_package()


def test_the_page_has_the_order_that_is_enforced():
    place = {name: n for n, layer in enumerate(enforced_layers()) for name in layer}
    places = [place[name] for name in described_parts()]
    assert places == sorted(places)
    assert len(place) == len(places)
