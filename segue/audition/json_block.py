"""Values for the page's script, as a JSON block that cannot end early."""

from __future__ import annotations

import json


def json_block(values: object) -> str:
    r"""Values as JSON that may stand in a script block.

    Parameters
    ----------
    values : object

    Returns
    -------
    str
        Without '<': a name such as '</script>' would end the block. Without
        '@': it marks the places that the server fills.

    Examples
    --------
    >>> json_block(["</script>"])
    '["\\u003c/script>"]'
    """
    text = json.dumps(values, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace("@", "\\u0040")
