"""Everything that has to do with speed, with one command: ``python -m benchmarks``.

The other benchmarks (ears, score, review, review_bands, stretch, abuse, ...) are named in the
contributor's guide and run by themselves: ``python -m benchmarks.NAME``.
"""

from __future__ import annotations

import subprocess
import sys

COSTS = (("speed", "--long"), ("render",), ("catalogue",), ("evening",))


def main() -> int:
    """Run them one after the other; 1 where any missed a reach."""
    codes = []
    for name, *arguments in COSTS:
        print(f"\n== {name}", flush=True)
        codes.append(
            subprocess.run(
                [sys.executable, "-m", f"benchmarks.{name}", *arguments], check=False
            ).returncode
        )
    return int(any(codes))


if __name__ == "__main__":
    sys.exit(main())
