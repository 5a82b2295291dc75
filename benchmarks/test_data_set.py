"""The small rendered excerpts that the tests hear: ``python -m benchmarks.test_data_set``.

Six grooves of our own and six chorales by J. S. Bach, then two lead lines, each clean and with
bleed: the first draw of a seed that nothing was tuned on, none left out. Chorales only, since
their music (died 1750) and the engraving that the corpus was typed from are in the public
domain. The sounds are samples of FluidR3 GM, under the MIT licence that lies beside the data.
"""

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import soundfile
import soxr

from benchmarks import _first_notes
from benchmarks._attacks import measured_attacks
from benchmarks._render import RATE_HZ, Audio
from benchmarks.ears_set import PROGRAMS, Job, made, piece_pools

if TYPE_CHECKING:
    from benchmarks._draft import Edge

SEED: Final = 901
N_SONGS: Final = 12
N_LEADS: Final = 2
FILE_RATE_HZ: Final = 32_000
VORBIS_LEVEL: Final = 0.7
BLEED_BELOW_DB: Final = 18.0
KEPT: Final = (
    "edge", "key", "tempo_bpm", "time_signature", "metre", "beats_s", "downbeats_s",
    "tuning_cents", "has_drums", "kind", "group", "piece", "length_s",
)  # fmt: skip


def songs(into: Path, cache: Path) -> list[dict[str, Any]]:
    """Endings and openings in turn, grooves and chorales in pairs."""
    rng = np.random.default_rng(SEED)
    pool = piece_pools(SEED)["chorale"]
    truths = []
    for number in range(N_SONGS):
        edge: Edge = "end" if number % 2 == 0 else "start"
        style = "groove" if number % 4 < 2 else "chorale"
        names = [str(name) for name in rng.permutation(pool)[:30]]
        audio, facts = made(Job(seed=SEED, number=number, edge=edge, style=style,
                                names=tuple(names), into=into, cache=cache))  # fmt: skip
        file = f"{number:02d}_{style}_{edge}.ogg"
        _write(into / file, audio)
        truths.append({"file": file} | {name: facts[name] for name in KEPT})
    return truths


def leads(into: Path, cache: Path) -> list[dict[str, Any]]:
    """First notes of lead lines."""
    truths = []
    for number in range(N_LEADS):
        rng = np.random.default_rng([SEED, 1_000_000 + number])
        sung = _first_notes.phrase(rng)
        truth = _first_notes.first_note_truth(sung, measured_attacks(PROGRAMS, cache))
        lead = _first_notes.lead_sound(sung, rng)
        sounds = {"clean": lead, "bleed": _first_notes.with_bleed(lead, BLEED_BELOW_DB, rng)}
        for kind, sound in sounds.items():
            file = f"lead_{number}_{kind}.ogg"
            _write(into / file, sound)
            truths.append({"file": file, "midi": truth["midi"], "time_s": truth["time_s"]})
    return truths


def _write(path: Path, audio: Audio) -> None:
    at_rate = soxr.resample(audio, RATE_HZ, FILE_RATE_HZ, quality="VHQ")
    soundfile.write(path, at_rate, FILE_RATE_HZ, format="OGG", compression_level=VORBIS_LEVEL)


def main() -> None:
    """Make the excerpts and their truth."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--into", type=Path, default=Path("tests/data"))
    parser.add_argument("--cache", type=Path, required=True, help="as of the ears benchmark")
    options = parser.parse_args()
    options.into.mkdir(parents=True, exist_ok=True)
    truth = {
        "songs": songs(options.into, options.cache),
        "leads": leads(options.into, options.cache),
    }
    (options.into / "truth.json").write_text(json.dumps(truth, indent=1) + "\n")


if __name__ == "__main__":
    main()
