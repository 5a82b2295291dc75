"""The colours of the pages, for pictures that lie beside them: one thing has one colour on both."""

from __future__ import annotations

import re
from functools import cache
from importlib.resources import files
from typing import Final

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
