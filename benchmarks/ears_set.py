"""The benchmark's songs: openings and endings with their exact truth, made from a seed.

``python -m benchmarks.ears_set --seed 1 --into FOLDER`` writes ``index.json`` (a list of
truths, each with its ``file``), ``pairs.json`` and ``first_notes.json``. An odd seed and an
even one never share a score, so what is tuned on one can be reported on the other.
"""

import argparse
import json
import zlib
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
import soundfile
import soxr

from benchmarks import _first_notes, _grooves, _score_drafts, _scores
from benchmarks._attacks import measured_attacks
from benchmarks._draft import Draft, Edge, truth_of
from benchmarks._render import RATE_HZ, Audio, render

PROGRAMS: Final = tuple(
    sorted(
        {program for ensemble in _score_drafts.ENSEMBLES for program in ensemble}
        | {*_grooves.BASSES, *_grooves.STRUCK, *_grooves.PADS, *_grooves.LEADS}
        | set(_first_notes.VOICES)
    )
)
STYLE_SHARES: Final = {"chorale": 0.4, "classical": 0.35, "folk": 0.25}
LOUDEST: Final = 0.7
SET_VERSION: Final = 1
"""To be raised when the same seed comes to mean other sounds or truths; kept items are remade."""
DEV_SEED: Final = 1
REPORT_SEED: Final = 2
SIZES: Final = {DEV_SEED: 120, REPORT_SEED: 200}
"""Items of a set; it has half as many first notes, each clean and with bleed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One item to make: which seed, which number, and where from."""

    seed: int
    number: int
    edge: Edge
    style: str
    names: tuple[str, ...]
    into: Path
    cache: Path


def build(seed: int, n_items: int, into: Path, cache: Path) -> list[dict[str, Any]]:
    """Make the set, or what is missing of it, and return its index."""
    (into / "audio").mkdir(parents=True, exist_ok=True)
    measured_attacks(PROGRAMS, cache)
    jobs = _jobs(seed, n_items, into, cache)
    with ProcessPoolExecutor(max_workers=2) as pool:
        index = [item for item in pool.map(_item, jobs) if item is not None]
    (into / "index.json").write_text(json.dumps(index, indent=1))
    (into / "pairs.json").write_text(json.dumps(_pairs(index), indent=1))
    with ProcessPoolExecutor(max_workers=2) as pool:
        phrases = pool.map(_phrase_items, [seed] * (n_items // 2), range(n_items // 2),
                           [into] * (n_items // 2), [cache] * (n_items // 2))  # fmt: skip
        first_notes = [item for items in phrases for item in items]
    (into / "first_notes.json").write_text(json.dumps(first_notes, indent=1))
    return index


def _is_current(truth_path: Path) -> bool:
    """Whether an item is there and of this version."""
    if not truth_path.exists():
        return False
    kept = json.loads(truth_path.read_text())
    first = kept[0] if isinstance(kept, list) else kept
    return bool(first.get("version") == SET_VERSION)


def _phrase_items(seed: int, number: int, into: Path, cache: Path) -> list[dict[str, Any]]:
    """The clean stem of a phrase and the one with bleed."""
    truth_path = into / "audio" / f"first_{number:03d}.json"
    if not _is_current(truth_path):
        rng = np.random.default_rng([seed, 1_000_000 + number])
        sung = _first_notes.phrase(rng)
        truth = _first_notes.first_note_truth(sung, measured_attacks(PROGRAMS, cache))
        lead = _first_notes.lead_sound(sung, rng)
        below_db = float(rng.uniform(12, 26))
        sounds = {"clean": lead, "bleed": _first_notes.with_bleed(lead, below_db, rng)}
        items = []
        for kind, sound in sounds.items():
            file = f"audio/first_{number:03d}_{kind}.flac"
            soundfile.write(into / file, sound, RATE_HZ, subtype="PCM_16")
            bleed_db = -round(below_db, 1) if kind == "bleed" else None
            length_s = len(sound) / RATE_HZ
            items.append({"file": file, "seed": seed, "version": SET_VERSION, "edge": "start",
                          "kind": kind, "bleed_db": bleed_db, "length_s": length_s,
                          **truth})  # fmt: skip
        truth_path.write_text(json.dumps(items, indent=1))
    loaded: list[dict[str, Any]] = json.loads(truth_path.read_text())
    return loaded


def piece_pools(seed: int) -> dict[str, list[str]]:
    """Pieces of each style that a seed may draw; an odd and an even seed share none."""
    return {
        style: [name for name in names if zlib.crc32(name.encode()) % 2 == seed % 2]
        for style, names in _scores.corpus_pieces().items()
    }


def _jobs(seed: int, n_items: int, into: Path, cache: Path) -> list[Job]:
    """Half grooves, half scores, as many openings as endings."""
    rng = np.random.default_rng(seed)
    pools = piece_pools(seed)
    jobs = []
    for number in range(n_items):
        edge: Edge = "end" if number % 2 == 0 else "start"
        style, names = "groove", []
        if number % 4 >= 2:
            style = str(rng.choice(list(STYLE_SHARES), p=list(STYLE_SHARES.values())))
            names = [str(name) for name in rng.permutation(pools[style])[:30]]
        jobs.append(Job(seed=seed, number=number, edge=edge, style=style, names=tuple(names),
                        into=into, cache=cache))  # fmt: skip
    return jobs


def _item(job: Job) -> dict[str, Any] | None:
    file = f"audio/{job.number:03d}_{job.style}_{job.edge}.flac"
    truth_path = job.into / file.replace(".flac", ".json")
    if not _is_current(truth_path):
        audio, facts = made(job)
        soundfile.write(job.into / file, audio, RATE_HZ, subtype="PCM_16")
        truth = {"file": file, "seed": job.seed, "version": SET_VERSION} | facts
        truth_path.write_text(json.dumps(truth, indent=1))
    loaded: dict[str, Any] = json.loads(truth_path.read_text())
    return loaded


def made(job: Job) -> tuple[Audio, dict[str, Any]]:
    """The sound of an item and what is true of it."""
    rng = np.random.default_rng([job.seed, job.number])
    attacks = measured_attacks(PROGRAMS, job.cache)
    draft = _varied(_draft(job, rng), rng)
    return rendered(draft, rng), truth_of(draft, attacks)


def _draft(job: Job, rng: np.random.Generator) -> Draft:
    if job.style == "groove":
        return _grooves.groove(job.edge, rng)
    for name in job.names:
        score = _scores.load_score(name, job.style, job.cache / "scores")
        draft = score and _score_drafts.score_draft(score, job.edge, rng)
        if draft:
            return draft
    msg = f"item {job.number}: none of {len(job.names)} scores is fit; draw more names."
    raise RuntimeError(msg)


def _varied(draft: Draft, rng: np.random.Generator) -> Draft:
    """The draft, out of tune for most, in a room for half, coarsely coded for a fifth."""
    cents = float(rng.uniform(-40, 40)) if rng.random() < 0.7 else 0.0
    by_wheel = rng.random() < 0.5
    performance = replace(
        draft.performance,
        tuning_cents=cents if by_wheel else 0.0,
        reverb_level=float(rng.uniform(0.2, 0.9)) if rng.random() < 0.5 else 0.0,
        room_size=float(rng.uniform(0.2, 0.7)),
    )
    return replace(
        draft,
        performance=performance,
        resample_cents=0.0 if by_wheel else cents,
        mp3_level=float(rng.uniform(0.6, 0.9)) if rng.random() < 0.2 else None,
    )


def rendered(draft: Draft, rng: np.random.Generator) -> Audio:
    """The sound of a draft's file."""
    whole = render(draft.performance, length_s=draft.to_s)
    audio = whole[round(draft.from_s * RATE_HZ) :].astype(np.float64)
    if draft.fade_s:
        n_fade = min(round(draft.fade_s * RATE_HZ), len(audio))
        audio[-n_fade:] *= 10 ** (np.linspace(0, _grooves.FADE_TO_DB, n_fade)[:, None] / 20)
    if draft.resample_cents:
        audio = soxr.resample(audio, RATE_HZ * draft.speed_ratio, RATE_HZ, quality="VHQ")
    audio *= LOUDEST * float(rng.uniform(0.3, 1.0)) / max(float(np.abs(audio).max()), 1e-6)
    if draft.mp3_level is not None:
        audio = _through_mp3(audio, draft.mp3_level)
    return np.clip(audio, -1, 1).astype(np.float32)


def _through_mp3(audio: np.ndarray, level: float) -> np.ndarray:
    """The sound after MPEG layer 3; the codec's delay is found again and taken out."""
    import io

    coded = io.BytesIO()
    soundfile.write(coded, audio, RATE_HZ, format="MP3", compression_level=level)
    coded.seek(0)
    decoded, _ = soundfile.read(coded, dtype="float64", always_2d=True)
    n_fft = 1 << (len(audio) + len(decoded)).bit_length()
    spectra = [np.fft.rfft(sound.sum(axis=1), n_fft) for sound in (decoded, audio)]
    likeness = np.fft.irfft(spectra[0] * np.conj(spectra[1]), n_fft)
    delay = int(np.argmax(likeness[:4000]))
    out = np.zeros_like(audio)
    kept = decoded[delay : delay + len(audio)]
    out[: len(kept)] = kept
    return out


def _pairs(index: list[dict[str, Any]]) -> list[dict[str, str]]:
    """Every ending with an opening."""
    endings = [truth["file"] for truth in index if truth["edge"] == "end"]
    openings = [truth["file"] for truth in index if truth["edge"] == "start"]
    return [
        {"ending": ending, "opening": opening}
        for ending, opening in zip(endings, openings, strict=False)
    ]


def main() -> None:
    """Build a set from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--items", type=int, default=120)
    parser.add_argument("--into", type=Path, required=True)
    parser.add_argument("--cache", type=Path, required=True)
    options = parser.parse_args()
    index = build(options.seed, options.items, options.into, options.cache)
    print(f"{len(index)} items in {options.into}")


if __name__ == "__main__":
    main()
