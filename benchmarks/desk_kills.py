"""A desk is killed at random moments: nothing that was shown as kept may be lost.

Run ``python -m benchmarks.desk_kills``. The installed command is served on a folder and worked
with: a key is put right, an option is chosen and changed, songs are dropped in, sets are written
and their slots changed, the pace of talk is said. It is killed as the power button does (SIGKILL)
after a time that is drawn by seed, and what it had acknowledged is read from the disk; then it is
started again on the same folder. Leaves with 1 where anything is lost, or unreadable.
"""

from __future__ import annotations

import argparse
import http.client
import io
import random
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import Final

import numpy as np
import soundfile

import segue
from benchmarks._desk_hands import Desk, Hands
from segue.cli.between import demo_pair

N_KILLS: Final = 30
SOONEST_S, LATEST_S = 0.0, 12.0  # of work before a kill: a change takes a few of them


def noise(dice: random.Random) -> bytes:
    """A song of three seconds."""
    file = io.BytesIO()
    samples = 0.1 * np.random.default_rng(dice.randrange(1 << 30)).standard_normal((144_000, 2))
    soundfile.write(file, samples, 48_000, format="WAV", subtype="PCM_16")
    return file.getvalue()


def work(desk: Desk, hands: Hands) -> None:
    """Order until the desk is gone."""
    try:
        while True:
            hands.order(desk)
    except RuntimeError as error:
        hands.refused.append(str(error))
    except (OSError, http.client.HTTPException, ValueError):
        return  # it was killed


def killed_once(folder: Path, hands: Hands, dice: random.Random) -> tuple[float, list[str]]:
    """A desk, worked at until it is killed: after how long, and what was lost."""
    desk = Desk(folder)
    worker = threading.Thread(target=work, args=(desk, hands))
    worker.start()
    after_s = dice.uniform(SOONEST_S, LATEST_S)
    time.sleep(after_s)
    desk.kill()
    worker.join()
    return after_s, hands.lost()


def main() -> int:
    """Print each kill; 1 where anything was lost."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=N_KILLS)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    dice = random.Random(asked.seed)
    n_lost = 0
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "songs"
        folder.mkdir()
        sound = noise(dice)
        (folder / "first.wav").write_bytes(sound)
        run = "segues/made"
        old, new = demo_pair()
        wishes = segue.Wishes(recipes=("throw and land",))
        segue.between(old, new, out=folder / run, wishes=wishes)
        hands = Hands(folder=folder, run=run, song="first.wav", sound=sound, dice=dice)
        for n in range(1, asked.kills + 1):
            after_s, lost = killed_once(folder, hands, dice)
            n_lost += len(lost)
            print(f"{n:3d}  killed after {after_s:4.1f} s  {hands.n_kept:4d} orders kept so far  "
                  f"{'; '.join(lost) or 'nothing lost'}", flush=True)  # fmt: skip
        left = [path.name for path in folder.glob(".dropped-*")]
    print(f"{asked.kills} kills, {hands.n_kept} orders kept, {n_lost} lost; "
          f"{len(left)} half files left to be swept")  # fmt: skip
    return int(n_lost > 0)


if __name__ == "__main__":
    sys.exit(main())
