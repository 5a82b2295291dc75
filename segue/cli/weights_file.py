"""The band's own weights: one JSON file in the user's configuration, written only when asked."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, Any, Final

from segue.errors import InputError
from segue.files.plain_file import plain_bytes
from segue.files.whole_file import write_whole
from segue.score.weights import WEIGHTS

if TYPE_CHECKING:
    from pathlib import Path

SCHEMA_VERSION = 1  # of the file that a band's weights are kept in
_LARGEST_BYTES: Final = 1 << 16  # of such a file; far beyond use
_OF_ODD_JSON: Final = (TypeError, LookupError, AttributeError, ArithmeticError, RecursionError)
"""What becomes of a list where a table is expected, of a number without end, of a deep nest."""


def weights_path() -> Path:
    """Where the band's own weights are, if there are any."""
    import platformdirs

    return platformdirs.user_config_path("segue") / "weights.json"


def read_weights(path: Path) -> dict[str, float] | None:
    """The band's own weights; None if there is no file.

    Raises
    ------
    InputError
        If the file is there and cannot be used.
    """
    if not path.exists():
        return None
    try:
        found = json.loads(plain_bytes(path, most_bytes=_LARGEST_BYTES).decode("utf-8"))
        return _checked(found)
    except (OSError, ValueError, *_OF_ODD_JSON) as error:
        raise InputError(
            path, f"holds no weights ({error}): write them anew with 'segue taste', or delete it."
        ) from error


def write_weights(path: Path, weights: dict[str, float], *, n_decisions: int) -> None:
    """Write the band's own weights, whole or not at all."""
    found = {
        "schema_version": SCHEMA_VERSION,
        "n_decisions": n_decisions,
        "weights": {name: round(value, 4) for name, value in weights.items()},
    }
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, (json.dumps(found, indent=1) + "\n").encode())
    except OSError as error:
        raise InputError(path, f"could not be written ({error.strerror}).") from error


def _checked(found: Any) -> dict[str, float]:  # noqa: ANN401 - any JSON value
    if found["schema_version"] != SCHEMA_VERSION:
        raise ValueError(f"schema {found['schema_version']}, not {SCHEMA_VERSION}")
    weights = {str(name): float(value) for name, value in found["weights"].items()}
    if set(weights) != set(WEIGHTS):
        odd = sorted(set(weights) ^ set(WEIGHTS))
        raise ValueError(f"measures that do not match: {', '.join(odd)}")
    if not all(math.isfinite(v) and v >= 0 for v in weights.values()) or not sum(weights.values()):
        raise ValueError("weights must be 0 or more, and not all 0")
    return weights
