"""The matrices between every two gamuts of a catalogue, adaptations included."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lutbench.identification.common import SIX_DECIMALS
from lutbench.model.catalogue import Catalogue, Entry
from lutbench.model.gamuts import ADAPTATIONS, xyz_of_xy
from lutbench.model.transforms import Array

ONE_WHITE = 1e-4
"""Difference of xy within which two white points are the same: four decimals."""


@dataclass(frozen=True)
class Pair:
    """A conversion between two gamuts."""

    source: Entry
    target: Entry
    adaptation: str
    matrix: Array
    published: bool = False
    """Whether the matrices are published, rounded ones and not computed from the primaries."""

    @property
    def alike(self) -> bool:
        """Whether both ends are the same gamut, so that nothing is converted."""
        return self.source.name == self.target.name


@dataclass(frozen=True)
class GamutBank:
    """Every pair of gamuts. The first pair is that of a gamut with itself."""

    gamuts: tuple[Entry, ...]
    sources: NDArray[np.int64]
    targets: NDArray[np.int64]
    adaptations: NDArray[np.int64]
    matrices: Array
    published: NDArray[np.bool_]
    names: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.sources)

    def pair(self, index: int) -> Pair:
        """The pair at `index`."""
        return Pair(
            self.gamuts[self.sources[index]],
            self.gamuts[self.targets[index]],
            self.names[self.adaptations[index]],
            self.matrices[index],
            bool(self.published[index]),
        )

    def like(self, pair: Pair) -> list[Pair]:
        """The pair with every adaptation and every published matrix."""
        ends = (self.gamuts.index(pair.source), self.gamuts.index(pair.target))
        chosen = (self.sources == ends[0]) & (self.targets == ends[1])
        return [self.pair(int(each)) for each in np.flatnonzero(chosen)]

    def only(self, source: str | None, target: str | None) -> GamutBank:
        """The pairs with the given gamuts; unless both are given, also a gamut with itself."""
        keep = np.ones(len(self), dtype=bool)
        for name, numbers in ((source, self.sources), (target, self.targets)):
            if name is not None:
                wanted = [i for i, each in enumerate(self.gamuts) if each.name == name]
                keep &= np.isin(numbers, wanted)
        if source is None or target is None or source == target:
            keep |= self.unchanged
        return self._at(keep)

    def _at(self, keep: NDArray[np.bool_]) -> GamutBank:
        return GamutBank(
            self.gamuts,
            self.sources[keep],
            self.targets[keep],
            self.adaptations[keep],
            self.matrices[keep],
            self.published[keep],
            self.names,
        )

    @property
    def first(self) -> GamutBank:
        """Only the pair that changes nothing."""
        return self._at(np.arange(len(self)) == 0)

    @cached_property
    def unchanged(self) -> NDArray[np.bool_]:
        """Which pairs are a gamut with itself."""
        return np.asarray(self.sources == self.targets)

    @cached_property
    def target_weights(self) -> Array:
        """The luminance weights of each pair's target, (pairs, 3)."""
        weights = [each.gamut.luminance_weights for each in self.gamuts if each.gamut is not None]
        return np.array(weights)[self.targets]

    @cached_property
    def flat(self) -> Array:
        """The matrices as rows of nine."""
        return self.matrices.reshape(-1, 9)


def bank_of(catalogue: Catalogue) -> GamutBank:
    """The bank of a catalogue."""
    entries = tuple(entry for entry in catalogue.gamuts() if entry.gamut is not None)
    owner, to_xyz, from_xyz, rounded = _versions(entries)
    whites = np.array([entry.gamut.white for entry in entries if entry.gamut])
    names = (*ADAPTATIONS, "none")
    adapt = np.array([_adaptations(whites, name) for name in names])
    counts = (len(owner), len(owner), len(names))
    s, t, a = (each.ravel() for each in np.meshgrid(*map(np.arange, counts)))
    # A gamut with itself changes nothing, even with a rounded published matrix. Where both
    # whites are the same, one adaptation is enough.
    one_white = np.abs(whites[:, None] - whites).max(axis=-1) < ONE_WHITE
    own_s, own_t = owner[s], owner[t]
    keep = (own_s != own_t) & ((a == 0) | ~one_white[own_s, own_t])
    s, t, a, own_s, own_t = s[keep], t[keep], a[keep], own_s[keep], own_t[keep]
    matrices = from_xyz[t] @ adapt[a, own_s, own_t] @ to_xyz[s]
    return GamutBank(
        entries,
        np.concatenate([[0], own_s]),
        np.concatenate([[0], own_t]),
        np.concatenate([[0], a]),
        np.concatenate([np.eye(3)[None], matrices]),
        np.concatenate([[False], rounded[s] | rounded[t]]),
        names,
    )


def _adaptations(whites: Array, name: str) -> Array:
    """The adaptation from every white to every other, shape (n, n, 3, 3)."""
    if name == "none":
        return np.broadcast_to(np.eye(3), (len(whites), len(whites), 3, 3))
    cone = ADAPTATIONS[name]
    seen = np.array([cone @ xyz_of_xy(white) for white in whites])
    gain = seen[None, :, :] / seen[:, None, :]
    return np.asarray(np.linalg.inv(cone) @ (gain[..., None] * cone))


def _versions(
    entries: tuple[Entry, ...],
) -> tuple[NDArray[np.int64], Array, Array, NDArray[np.bool_]]:
    """Each gamut's matrices, computed from its primaries, and as published if rounded."""
    from lutbench.model.registry import published_matrices

    published = published_matrices()
    owner: list[int] = []
    to_xyz: list[Array] = []
    from_xyz: list[Array] = []
    rounded: list[bool] = []
    for i, entry in enumerate(entries):
        assert entry.gamut is not None
        exact = entry.gamut.to_xyz
        mine = [(exact, np.asarray(np.linalg.inv(exact)))]
        for name in (entry.name, *entry.aliases):
            there, back = published.get(name, mine[0])
            if all(
                np.abs(there - one).max() > SIX_DECIMALS
                or np.abs(back - other).max() > SIX_DECIMALS
                for one, other in mine
            ):
                mine.append((there, back))
        for number, (there, back) in enumerate(mine):
            owner.append(i)
            to_xyz.append(there)
            from_xyz.append(back)
            rounded.append(number > 0)
    return np.array(owner), np.array(to_xyz), np.array(from_xyz), np.array(rounded)
