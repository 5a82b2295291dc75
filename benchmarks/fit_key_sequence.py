"""Fit the nets that hear the key segment by segment, and write their weights.

``python -m benchmarks.fit_key_sequence FOLDER... --into segue/analysis/key_sequence.npz`` takes
the same items as ``benchmarks.fit_key``, with the same options, fits one net for each fold of
songs to the other three for ``--seconds`` (on a GPU where there is one), and prints how many keys
each hears right of the songs that it has not seen. It needs ``torch`` besides the project.

The weights in place were fitted on one GPU, four nets side by side in 320 s, 4700 steps each, to
the items that `benchmarks.fit_key` names. This is their maker put in order; it has been tried
on a few items only, and a new run gives other weights of the same kind. A run with stronger decay
and noise, more layers, and recordings that count more heard no group better.
"""

import copy
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np
import torch
from torch import Tensor, nn
from torch.nn import functional

from benchmarks._key_frames import N_FOLDS, KeyItem, other_cut
from benchmarks.fit_key import fit_options, heard_items
from segue.analysis.key_segments import NoteFrames
from segue.analysis.key_sequence import MOST_SEGMENTS, segment_places
from segue.music.key import MODES, N_PITCH_CLASSES

N_UNITS: Final = 48
N_LAYERS: Final = 5
N_LOOKS: Final = 4
N_HIDDEN: Final = 64
N_SEEN: Final = 60 + 17
"""Five registers of twelve notes, and what is told of a segment besides."""
BATCH: Final = 128
RATE: Final = 0.002
DECAY: Final = 0.03
SMOOTHING: Final = 0.04
STEADY: Final = 0.998
"""Share of the weights of before in their running mean, which is what is kept."""
SHIFTED_SHARE: Final = 0.12
"""Share of cuts whose downbeats come some segments late."""


class Net(nn.Module):
    """The net of `segue.analysis.key_sequence`, as it is fitted."""

    def __init__(self) -> None:
        super().__init__()
        self.first = nn.Linear(N_SEEN, N_UNITS)
        self.taps = nn.ModuleList(
            nn.Conv1d(N_UNITS, N_UNITS, 3, padding=2**n, dilation=2**n) for n in range(N_LAYERS)
        )
        self.levels = nn.ModuleList(nn.LayerNorm(N_UNITS) for _ in range(N_LAYERS + 1))
        self.looks = nn.Linear(N_UNITS, N_LOOKS)
        self.hidden = nn.Linear(N_UNITS * (N_LOOKS + 1), N_HIDDEN)
        self.modes = nn.Linear(N_HIDDEN, len(MODES))
        self.some, self.many = nn.Dropout(0.1), nn.Dropout(0.3)

    def forward(self, notes: Tensor, places: Tensor, weight: Tensor) -> Tensor:
        """Odds of all keys, shape (n_cuts, 24); segments of which nothing is told do not count."""
        n_cuts = len(weight)
        turned = [torch.roll(notes, -t, 3).flatten(2) for t in range(N_PITCH_CLASSES)]
        told = places[:, None].expand(-1, N_PITCH_CLASSES, -1, -1)
        seen = torch.cat([torch.stack(turned, 1), told], 3).flatten(0, 1)
        is_there = (places.abs().sum(2) > 0).to(seen.dtype)
        there = is_there.repeat_interleave(N_PITCH_CLASSES, 0)[..., None]
        state = self.some(functional.relu(self.first(seen))) * there
        for level, taps in zip(self.levels, self.taps, strict=False):
            heard = functional.relu(taps((level(state) * there).transpose(1, 2)))
            state = state + self.some(heard.transpose(1, 2)) * there
        state = self.levels[-1](state)
        looked = torch.softmax(self.looks(state) + (there - 1) * 1e4, 1)
        evenly = weight.repeat_interleave(N_PITCH_CLASSES, 0)[..., None]
        means = torch.einsum("bta,btc->bac", torch.cat([looked, evenly], 2), state).flatten(1)
        units = self.many(functional.relu(self.hidden(self.many(means))))
        return self.modes(units).reshape(n_cuts, N_PITCH_CLASSES, -1).transpose(1, 2).flatten(1)


def main() -> None:
    """Fit from the command line."""
    options = fit_options(__doc__ or "")
    items = heard_items(options)
    nets = []
    for fold in range(N_FOLDS):
        fitted = [item for item in items if item.fold != fold]
        nets.append(fitted_net(fitted, fold, options.seconds / N_FOLDS))
        held = [item for item in items if item.fold == fold]
        print(f"fold {fold}: {len(fitted)} items, right of {len(held)} others: "
              f"{share_right(nets[-1], held):.3f}", flush=True)  # fmt: skip
    write_nets(nets, options.into)


def fitted_net(items: list[KeyItem], seed: int, seconds: float) -> Net:
    """The running mean of a net's weights, by AdamW with a cosine rate."""
    torch.manual_seed(seed)
    rng = np.random.default_rng(seed)
    device = _device()
    net = Net().to(device)
    kept = copy.deepcopy(net)
    chances = np.array([item.weight for item in items])
    chances /= chances.sum()
    steps = torch.optim.AdamW(net.parameters(), lr=RATE, weight_decay=DECAY)
    start_s, number = time.monotonic(), 0
    while (done := (time.monotonic() - start_s) / seconds) < 1:
        for group in steps.param_groups:
            warmed = min(1.0, (number + 1) / 100)
            group["lr"] = RATE * warmed * (0.5 * (1 + np.cos(np.pi * done)) + 0.005)
        chosen = [items[place] for place in rng.choice(len(items), BATCH, p=chances)]
        cuts = [_other(item.cuts[rng.integers(len(item.cuts))], rng) for item in chosen]
        keys = torch.tensor([item.key for item in chosen], device=device)
        odds = net(*_tensors(cuts, device))
        loss = functional.cross_entropy(odds, keys, label_smoothing=SMOOTHING)
        steps.zero_grad()
        loss.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        steps.step()
        share = min(STEADY, 1 - 1 / (number + 2))
        with torch.no_grad():
            for mean, now in zip(kept.parameters(), net.parameters(), strict=True):
                mean.lerp_(now, 1 - share)
        number += 1
    return kept.eval()


def _device() -> torch.device:
    return torch.device("cuda" if torch.cuda.is_available() else "cpu")


def _other(cut: NoteFrames, rng: np.random.Generator) -> NoteFrames:
    """The cut made anew, sometimes with its downbeats late, at another certainty."""
    cut = other_cut(cut, rng)
    late = int(rng.integers(4)) if rng.random() < SHIFTED_SHARE else 0
    downbeat = np.concatenate([cut.downbeat[late:], np.zeros(late)])[: len(cut.downbeat)]
    return replace(cut, downbeat=downbeat * rng.uniform(0.3, 1.0))


def _tensors(cuts: list[NoteFrames], device: torch.device) -> tuple[Tensor, ...]:
    """Notes, places and weights of cuts, nothing after the end of the shorter ones."""
    tables = []
    for cut in cuts:
        near = slice(0, MOST_SEGMENTS) if cut.is_start else slice(-MOST_SEGMENTS, None)
        places, weight = segment_places(cut)
        tables.append((cut.notes[near], places[near], weight[near]))
    longest = max(len(weight) for *_, weight in tables)

    def filled(tables: list[np.ndarray]) -> Tensor:
        whole = np.zeros((len(tables), longest, *tables[0].shape[1:]), dtype=np.float32)
        for row, table in zip(whole, tables, strict=True):
            row[: len(table)] = table
        return torch.from_numpy(whole).to(device)

    return tuple(filled(list(column)) for column in zip(*tables, strict=True))


def share_right(net: Net, items: list[KeyItem]) -> float:
    """Share of keys that the net hears right, mean of both cuts."""
    right = []
    with torch.no_grad():
        for item in items:
            odds = torch.log_softmax(net(*_tensors(list(item.cuts), _device())), 1).mean(0)
            right.append(int(odds.argmax()) == item.key)
    return float(np.mean(right)) if right else 0.0


def write_nets(nets: list[Net], path: Path) -> None:
    """Write the arrays that ``segue.analysis.key_sequence`` reads, in half precision."""

    def table(tensor: Tensor) -> np.ndarray:
        return tensor.detach().cpu().numpy()

    def stacked(name: str) -> tuple[np.ndarray, np.ndarray]:
        layers = [getattr(net, name) for net in nets]
        return (np.stack([table(layer.weight).T for layer in layers]),
                np.stack([table(layer.bias) for layer in layers]))  # fmt: skip

    def layers(part: Callable[[Net, int], np.ndarray]) -> np.ndarray:
        return np.stack([np.stack([part(net, n) for net in nets]) for n in range(N_LAYERS)])

    arrays: dict[str, np.ndarray] = {}
    for name in ("first", "looks", "hidden", "modes"):
        weight, bias = stacked(name)
        arrays[name] = weight
        arrays[f"{name}_bias"] = np.expand_dims(bias, (1,) if name in {"hidden", "modes"} else
                                                (1, 2))  # fmt: skip
    n_levels = range(N_LAYERS + 1)
    arrays["scales"] = np.stack([[table(n.levels[k].weight) for n in nets] for k in n_levels])
    arrays["shifts"] = np.stack([[table(n.levels[k].bias) for n in nets] for k in n_levels])
    arrays["tap_biases"] = layers(lambda net, n: table(net.taps[n].bias))
    for name in ("scales", "shifts", "tap_biases"):
        arrays[name] = arrays[name][:, :, None, None]
    arrays["taps"] = layers(
        lambda net, n: table(net.taps[n].weight).transpose(2, 1, 0).reshape(-1, N_UNITS)
    )
    np.savez_compressed(path, **{name: array.astype(np.float16) for name, array in arrays.items()})


if __name__ == "__main__":
    main()
