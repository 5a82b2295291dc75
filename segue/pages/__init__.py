"""Pages: the templates, style sheets and scripts of everything that opens in a browser.

Templates are in `templates`, style sheets in `styles`, scripts in `scripts`: no other
part of Segue writes HTML. This part knows no music. It fills templates with values, and
whatever is not marked as safe here is escaped; a name that a template asks for and is not
given is a fault, and never an empty place. With them is what else has one wording, or one
colour, on every page: the cautions, and the colours for pictures that lie beside a page.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Final

from markupsafe import Markup

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from jinja2 import Environment

TURN_DOWN: Final = "Turn in-ears and headphones down before you play, and bring them up slowly."

FOR_EARS: Final = "Click and cue are for ears only: start in-ears low."


def filled(template: str, values: Mapping[str, object]) -> str:
    """A page, or a part of one, as HTML text.

    Parameters
    ----------
    template : str
        Name of a file in `templates`.
    values : mapping of str to object
        What the template asks for, by name.
    """
    return _environment().get_template(template).render(values)


def joined(names: Sequence[str]) -> Markup:
    """Style sheets or scripts, one after another, as they may stand in a block of a page."""
    folders = {"css": "styles", "js": "scripts"}
    here = files("segue.pages")
    texts = [
        (here / folders[name.rpartition(".")[2]] / name).read_text(encoding="utf-8")
        for name in names
    ]
    return Markup("\n".join(texts))  # noqa: S704 - files of our own


def json_block(values: object) -> Markup:
    r"""Values as JSON that may stand in a script block.

    Returns
    -------
    Markup
        Without '<', '>', '&' and "'": a name such as '</script>' would end the block.

    Raises
    ------
    ValueError
        If a number is infinite or none.

    Examples
    --------
    >>> print(json_block(["</script>"]))
    ["\u003c/script\u003e"]
    """
    text = json.dumps(values, separators=(",", ":"), allow_nan=False)
    for sign in "<>&'":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return Markup(text)  # noqa: S704 - nothing is left in it that could end its block


@cache
def _environment() -> Environment:
    """Made once: reading templates takes longer than filling them."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("segue.pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.globals["joined"] = joined
    environment.globals["turn_down"] = TURN_DOWN
    environment.filters["json"] = json_block
    environment.filters["sha256"] = _hash
    return environment


def _hash(block: str) -> str:
    """Of an inline block, as a content security policy names it (W3C, CSP level 3)."""
    digest = hashlib.sha256(block.encode("utf-8")).digest()
    return f"sha256-{base64.b64encode(digest).decode()}"


_VARIABLE: Final = re.compile(r"--([\w-]+): (#[0-9a-fA-F]{6});")


@cache
def page_colours() -> dict[str, str]:
    """Every colour of a page in daylight, by its name in the style sheet.

    The old song is 'out', the bridge 'between', the new song 'in'; '-band' is a ground to write on.

    Examples
    --------
    >>> {"out", "between", "in", "first", "weak", "between-band"} <= page_colours().keys()
    True
    """
    sheet = files("segue.pages") / "styles" / "shared.css"
    daylight = sheet.read_text(encoding="utf-8").partition("@media")[0]
    return dict(_VARIABLE.findall(daylight))
