"""What a net would see of an arranged edge, guessed from its notes without any sound.

Notes are spread over segments as a spectrum's median would show them, leak into their
overtones, decay, drown in drums and fade. A thousand edges take a minute; sound is what the
net is fitted to in the end, but of songs it hears many more this way.
"""

from typing import Any

import numpy as np

from benchmarks._render import DRUM_CHANNEL
from benchmarks.rendered_songs import EdgeDraft
from segue.analysis.chroma import LOWEST_MIDI, N_NOTES, folded
from segue.analysis.key_segments import register_weights

SERIES = (0, 12, 19, 24, 28, 31, 34, 36)
"""Overtones in semitones."""


def guessed_cuts(draft: EdgeDraft, rng: np.random.Generator) -> list[dict[str, Any]]:
    """Both cuts of an edge: half seconds, and beats as they might be heard."""
    start = max(draft.length_s - 45.0, 0.0) if draft.cut.edge == "end" else 0.0
    start += float(rng.uniform(0, 0.5)) * (draft.cut.edge == "end")
    stop = min(draft.length_s, start + 45.0)
    halves = np.arange(start, stop + 0.5, 0.5)
    cuts = [(halves, np.zeros(len(halves) - 1))]
    beats = _heard_beats(draft, rng)
    if beats is not None:
        edges, downs = beats
        keep = (edges >= start) & (edges <= stop)
        if keep.sum() > 8:
            cuts.append((edges[keep], downs[keep][:-1]))
    matrix = _note_matrix(draft, rng)
    return [_frames(draft, edges, downs, matrix, rng) for edges, downs in cuts]


def _heard_beats(
    draft: EdgeDraft, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray] | None:
    beats = np.array(draft.truth["beats_s"])
    if rng.random() < 0.15 or len(beats) < 8:
        return None
    downs = np.isin(beats, draft.truth["downbeats_s"])
    draw = rng.random()
    if draw < 0.12:
        beats, downs = beats[::2], downs[::2]
    elif draw < 0.25:
        middle = (beats[:-1] + beats[1:]) / 2
        beats = np.sort(np.concatenate([beats, middle]))
        downs = np.isin(beats, draft.truth["downbeats_s"])
    if rng.random() < 0.25:
        downs = np.roll(downs, int(rng.integers(1, 4)))
    step = float(np.median(np.diff(beats)))
    before = np.arange(beats[0] - step, 0, -step)[::-1]
    after = np.arange(beats[-1] + step, draft.length_s, step)
    edges = np.concatenate([before, beats, after])
    is_apart = np.concatenate([[True], np.diff(edges) > 0.05])
    sure = float(rng.uniform(0.2, 1.0))
    heard = np.concatenate([np.zeros(len(before)), downs * sure, np.zeros(len(after))])
    return edges[is_apart], heard[is_apart]


def _note_matrix(draft: EdgeDraft, rng: np.random.Generator) -> tuple[np.ndarray, ...]:
    """Pitched notes: start, stop, MIDI pitch, amplitude, decay."""
    channels = {n.channel for n in draft.notes if n.channel != DRUM_CHANNEL}
    loud = {
        c: (draft.players.voices[c].volume / 100) ** 2 * np.exp(0.6 * rng.standard_normal())
        for c in channels
    }
    decay = {c: 30.0 if rng.random() < 0.4 else float(rng.uniform(0.4, 3.0)) for c in channels}
    ring = {c: float(rng.uniform(0.0, 0.4)) for c in channels}
    notes = [n for n in draft.notes if n.channel != DRUM_CHANNEL]
    return (
        np.array([n.start_s for n in notes]),
        np.array([n.start_s + n.length_s + ring[n.channel] for n in notes]),
        np.array([n.midi for n in notes]),
        np.array([loud[n.channel] * (n.velocity / 100) ** 1.5 for n in notes]),
        np.array([decay[n.channel] for n in notes]),
    )


def _frames(
    draft: EdgeDraft,
    edges: np.ndarray,
    downs: np.ndarray,
    matrix: tuple[np.ndarray, ...],
    rng: np.random.Generator,
) -> dict[str, Any]:
    start, stop, midi, loud, decay = matrix
    low, high = edges[:-1, None], edges[1:, None]
    share = np.clip((np.minimum(stop, high) - np.maximum(start, low)) / (high - low), 0, 1)
    share = np.clip((share - 0.15) / 0.55, 0, 1) ** rng.uniform(0.7, 1.5)
    middle = np.maximum((low + high) / 2 - start, 0.0)
    amplitude = share * loud * np.exp(-middle / decay)
    sounding = np.zeros((len(edges) - 1, 128 + 40))
    for note in range(len(midi)):
        sounding[:, midi[note]] += amplitude[:, note]
    series = np.zeros_like(sounding)
    leaks = np.zeros_like(sounding)
    bright = float(rng.uniform(0.45, 0.85))
    for number, up in enumerate(SERIES):
        shifted = np.roll(sounding, up, axis=1)
        series += bright**number * shifted
        leaks += shifted * (1.0 if number == 0 else rng.uniform(0, 0.45) * 0.8**number)
    leaks += np.roll(sounding, -12, axis=1) * rng.uniform(0, 0.15)
    power = float(rng.uniform(0.7, 1.5))
    level = sounding.sum(axis=1)
    gain = _fade_gain(draft, (edges[:-1] + edges[1:]) / 2)
    quiet = 0.01 * float(np.median(level)) * 10 ** rng.uniform(-1, 1) / np.maximum(gain, 1e-4)
    noise = rng.uniform(0.0, 0.03) + (rng.uniform(0, 0.05) if draft.players.drums else 0.0)
    strengths = []
    for values in (leaks, series):
        kept = values[:, LOWEST_MIDI : LOWEST_MIDI + N_NOTES] + 1e-9
        kept = kept / (kept.max(axis=1, keepdims=True) + quiet[:, None])
        kept = np.maximum(kept**power - rng.uniform(0, 0.15), 0)
        kept += noise * np.abs(rng.standard_normal(kept.shape)) * (1 + 0.5 * (quiet > 0.3))[:, None]
        strengths.append(kept)
    registers = np.stack([folded(strengths[0] * w) for w in register_weights()], axis=1)
    registers *= np.array([1.5, 0.9, 0.8, 1.0])[:, None]
    registers /= registers.sum(axis=(1, 2), keepdims=True) + 1e-6
    plain = folded(strengths[1])
    plain /= plain.sum(axis=1, keepdims=True) + 1e-6
    notes = np.sqrt(np.concatenate([registers, plain[:, None]], axis=1))
    heard = level * gain + 0.003 * np.median(level) + 1e-9
    octaves = np.log2(heard / np.median(heard))
    return {
        "x": np.clip(notes * 255, 0, 255).round().astype(np.uint8),
        "level": np.clip(octaves * 16 + 160, 0, 255).round().astype(np.uint8),
        "down": (downs * 255).astype(np.uint8),
        "edges": edges.astype(np.float32),
    }


def _fade_gain(draft: EdgeDraft, times_s: np.ndarray) -> np.ndarray:
    if not draft.cut.fade_s:
        return np.ones(len(times_s))
    left = np.clip((draft.length_s - times_s) / draft.cut.fade_s, 0, 1)
    return np.asarray(left ** (3.0 if draft.cut.fade_shape == "decibels" else 1.0))
