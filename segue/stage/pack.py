"""The pack: every file that the rig needs for one song change."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from segue import __version__
from segue.audio.clip import Clip
from segue.audio.loudness import integrated_lufs, loudness_range_lu, momentary_lufs, short_term_lufs
from segue.audio.true_peak import true_peak_dbtp
from segue.audio.write import read_wav, wav24_bytes
from segue.errors import OptionError, RunFolderError
from segue.files.whole_file import written_at
from segue.runfolder.run_document import DOCUMENT_NAME, candidate_of, read_document
from segue.runfolder.run_folder import whole_folder
from segue.stage.cue_sheet import CueSheet, cue_sheet
from segue.stage.in_evening import InEvening, evening_sheet
from segue.stage.midi import midi_bytes
from segue.stage.midi_score import Marker, markers_of
from segue.stage.riff import BroadcastFacts, CuePoint, bext_chunk, cue_chunks, with_chunks
from segue.stage.sheet_pages import Paper, sheets_html, sheets_pdf

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime
    from pathlib import Path

    from segue.runfolder.run_records import CandidateRecord, RunDocument

CHANNELS: Final = ("music left", "music right", "click", "cue")
"""Of the multichannel file, in any order that is asked for."""
PACK_MARK: Final = "markers.json"
"""A folder with this file in it is a pack, which a new one may replace."""
OUR_MARKS: Final = frozenset({DOCUMENT_NAME, PACK_MARK})
"""A folder with one of these holds what Segue made, which is no song."""
_FADE_S: Final = 0.002  # a cut ends in a fade this short, so that it does not click; by judgement
_MODES: Final = {1: "M=mono", 2: "M=stereo"}
"""Of a coding history, by the number of channels (EBU R 98-1999, from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StageRequest:
    """What `stage_pack` is asked to do.

    Parameters
    ----------
    out : Path
        The pack to be: a folder.
    rank : int, str or None
        Candidate, by its rank or label ('2b'); None is the one that was chosen, or else the best
        scored.
    channels : tuple of str
        Of a multichannel file, in order: all of `CHANNELS`, or none for no such file. Players
        made for listening mix its click into the room.
    in_ear_dba : float or None
        A level measured in the ear.
    where : InEvening or None
        Its place in an evening, for the cue sheet.
    """

    run: Path
    out: Path
    rank: int | str | None = None
    channels: tuple[str, ...] = ()
    paper: Paper = "a4"
    in_ear_dba: float | None = None
    where: InEvening | None = None

    def __post_init__(self) -> None:
        if self.channels and sorted(self.channels) != sorted(CHANNELS):
            raise OptionError(
                f"channels '{', '.join(self.channels)}' are not an order of "
                f"{', '.join(CHANNELS)}: name each of them once."
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class StagePack:
    """What was written.

    Parameters
    ----------
    sheet : CueSheet
        Several make an evening's sheets.
    """

    files: tuple[str, ...]
    sheet: CueSheet
    markers: tuple[Marker, ...]
    duration_s: float
    rank: int
    label: str


def stage_pack(request: StageRequest) -> StagePack:
    """Write the pack of a candidate.

    Raises
    ------
    RunFolderError
        If the run folder cannot be read, or the pack not written.
    InputError
        If one of the run's sound files cannot be read.
    OptionError
        If there is no such candidate.
    """
    check_pack_place(request.out)
    document = read_document(request.run)
    record = candidate_of(document, request.rank)
    buses = _buses(request.run, record)
    plan = record.plan
    markers = markers_of(
        plan,
        from_title=document.outgoing.title,
        to_title=document.incoming.title,
        is_free=not document.incoming.pulse.is_known,
    )
    keys_heard = (document.outgoing.key.is_known, document.incoming.key.is_known)
    sheet = sheet_of(
        document,
        record,
        channels=request.channels,
        in_ear_dba=request.in_ear_dba,
        where=request.where,
    )
    files = {
        **_sounds(request, record, buses, markers, document),
        "tempo map.mid": midi_bytes(plan, markers, keys_heard=keys_heard),
        "cue sheet.html": sheets_html([sheet]).encode(),
        "cue sheet.pdf": sheets_pdf([sheet], paper=request.paper),
        PACK_MARK: markers_json(markers),
    }
    with whole_folder(request.out) as folder:
        check_pack_place(request.out)  # again, now that nobody else can write
        for name, content in files.items():
            (folder / name).write_bytes(content)
    return StagePack(
        files=tuple(files),
        sheet=sheet,
        markers=markers,
        duration_s=buses["click"].n_frames / document.rate_hz,
        rank=record.rank,
        label=record.label,
    )


def sheet_of(
    document: RunDocument,
    record: CandidateRecord,
    *,
    channels: tuple[str, ...] | None = None,
    in_ear_dba: float | None = None,
    where: InEvening | None = None,
) -> CueSheet:
    """The cue sheet of a candidate.

    Parameters
    ----------
    channels : tuple of str, optional
        As for `cue_sheet`.
    where : InEvening, optional
        Its place in an evening.
    """
    # An evening tells talk and changeover apart, a plan has only their sum.
    plan = record.plan if where is None else replace(record.plan, talk_s=None)
    sheet = cue_sheet(
        plan,
        outgoing=document.outgoing,
        incoming=document.incoming,
        channels=channels,
        in_ear_dba=in_ear_dba,
    )
    return sheet if where is None else evening_sheet(sheet, plan, where)


def check_pack_place(out: Path) -> None:
    """Only an empty place, or an earlier pack, may be written over.

    Raises
    ------
    RunFolderError
        If something else is there.
    """
    if out.is_dir() and any(out.iterdir()) and not (out / PACK_MARK).is_file():
        raise RunFolderError(out, "holds other files and is not a pack: name a new one with --out.")
    if out.exists() and not out.is_dir():
        raise RunFolderError(out, "is a file: name a folder with --out.")


def _buses(run: Path, record: CandidateRecord) -> dict[str, Clip]:
    """The candidate's sound from beat 0 on."""
    names = {"music": record.music_file, "click": record.click_file, "cue": record.cue_file}
    return {bus: _from_beat_0(run / name, record.plan.lead_in_s) for bus, name in names.items()}


def _from_beat_0(path: Path, lead_in_s: float) -> Clip:
    clip = read_wav(path)
    cut = clip.samples[round(lead_in_s * clip.rate_hz) :].copy()
    fade = min(round(_FADE_S * clip.rate_hz), len(cut))
    cut[:fade] *= (np.sin(np.linspace(0, np.pi / 2, fade, endpoint=False)) ** 2)[:, None]
    return Clip(samples=cut, rate_hz=clip.rate_hz)


def _sounds(
    request: StageRequest,
    record: CandidateRecord,
    buses: dict[str, Clip],
    markers: tuple[Marker, ...],
    document: RunDocument,
) -> dict[str, bytes]:
    rate_hz = document.rate_hz
    clips = {f"{bus}.wav": clip for bus, clip in buses.items()}
    if request.channels:
        clips["all channels.wav"] = _together(buses, request.channels)
    points = [CuePoint(frame=round(m.time_s * rate_hz), name=m.name) for m in markers]
    points = [point for point in points if point.frame < buses["click"].n_frames]
    made = written_at(request.run / record.music_file)
    words = f"{document.outgoing.title} to {document.incoming.title}: {record.plan.recipe}"
    files = {}
    for name, clip in clips.items():
        description = f"{words}, {name.removesuffix('.wav')}"
        facts = _broadcast_facts(clip, description, made, channels=request.channels)
        files[name] = with_chunks(
            bytes(wav24_bytes(clip)), before_data=bext_chunk(facts), after_data=cue_chunks(points)
        )
    return files


def _together(buses: dict[str, Clip], channels: Sequence[str]) -> Clip:
    sides = {
        "music left": buses["music"].samples[:, 0],
        "music right": buses["music"].samples[:, -1],
        "click": buses["click"].samples[:, 0],
        "cue": buses["cue"].samples[:, 0],
    }
    samples = np.stack([sides[name] for name in channels], axis=1)
    return Clip(samples=samples, rate_hz=buses["music"].rate_hz)


def _broadcast_facts(
    clip: Clip, description: str, made: datetime, *, channels: Sequence[str]
) -> BroadcastFacts:
    """Of one file: its own levels, and when the run rendered it, by the clock of this machine."""
    n_channels = clip.samples.shape[1]
    mode = _MODES.get(n_channels, f"T={n_channels} channels: {'; '.join(channels)}")
    return BroadcastFacts(
        description=description,
        originator=f"segue {__version__}",
        date=f"{made:%Y-%m-%d}",
        time=f"{made:%H:%M:%S}",
        loudness_lufs=integrated_lufs(clip),
        range_lu=loudness_range_lu(clip),
        true_peak_dbtp=true_peak_dbtp(clip, oversampling=8),
        momentary_lufs=float(momentary_lufs(clip)[1].max()),
        short_term_lufs=float(short_term_lufs(clip)[1].max()),
        history=f"A=PCM,F={clip.rate_hz},W=24,{mode}",
    )


def markers_json(markers: Sequence[Marker]) -> bytes:
    """Markers as a JSON file."""
    rows = [{"time_s": round(m.time_s, 6), "beat": m.beat, "name": m.name} for m in markers]
    text = json.dumps({"schema_version": 1, "markers": rows}, indent=1, ensure_ascii=False)
    return (text + "\n").encode()
