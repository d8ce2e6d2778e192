"""Which way a mould opens, and which cavities need a core of their own.

A printed mould has no pattern to draw, so an undercut does not forbid anything. But what neither half shows when
the mould lies open cannot be brushed clean of loose sand, coated or looked at: it becomes a separate core.
Not modelled: draft, the strength of thin cores, cores that would have to pass each other when they are set.
"""

from dataclasses import dataclass, field, replace

import numpy as np

from pourprint.ledger.checks import plain
from pourprint.parts.meshes import groups_of
from pourprint.process.freezing.voxels import columns
from pourprint.process.geometry import centre_of_mass, facets, own_frame, resized, smallest_rectangle, sphere, unit

SPREAD = 32  # directions spread evenly over a half sphere; the part's own axes and facet normals come on top
OWN_NORMALS = 12
ALIKE = 0.09  # directions that hide so much more than the least count as alike
COARSE, FINE = 32, 100  # rays along the longest side: to rank the directions, and to measure the winner


@dataclass(frozen=True, eq=False)
class PartingStudy:
    """How a part's mould opens; a kind for `Part.study`.

    frame (3, 3): rows u, v, w; w is up in the mould and the way it opens, u the longer side of the box.
    low_mm, high_mm (..., 3): the part's box in that frame [mm]. parting_mm (...): w of the flat parting plane [mm].
    region_cm3 (..., r): hidden regions, largest first [cm3]. known: False where there was no mesh to look at.
    tried (n, 3), tried_cm3 (..., n): directions tried and the volume that each hides [cm3].
    """

    frame: np.ndarray
    low_mm: np.ndarray
    high_mm: np.ndarray
    parting_mm: float | np.ndarray
    region_cm3: np.ndarray
    known: bool = True
    tried: np.ndarray = field(default_factory=lambda: np.zeros((0, 3)), repr=False)
    tried_cm3: np.ndarray = field(default_factory=lambda: np.zeros(0), repr=False)

    @classmethod
    def measured(cls, vertices, faces):
        """Try many directions with few rays, then measure the best with many. vertices (n, 3) [mm], faces (m, 3).

        The best hides least. Of those alike, the part's own straight ways come before slanted ones, the lowest first.
        """
        own = own_frame(vertices, faces)  # the same rays however it is drawn
        vertices = vertices @ own.T
        longest = np.ptp(vertices, axis=0).max()
        tried = candidates(vertices, faces)
        looks = [columns(vertices, faces, longest / COARSE, direction) for direction in tried]
        hides = np.array([_hidden_cm3(look) for look in looks])
        alike = hides <= (1 + ALIKE) * hides.min()
        slanted = np.arange(len(tried)) >= len(tried) - SPREAD
        tall = np.round(np.ptp(vertices @ tried.T, axis=0) / longest, 1)  # a few millimetres do not matter
        best = np.lexsort((hides, tall, slanted, ~alike))[0]
        up = tried[best] * _heavy_side(vertices, faces, tried[best])
        seen = columns(vertices, faces, longest / FINE, up)
        turn, length, width = smallest_rectangle(vertices @ seen.frame[:2].T)
        turn = turn if length >= width else np.array([turn[1], -turn[0]])  # the longer side along u
        frame = np.vstack([turn @ seen.frame[:2], seen.frame[2]]) + 0.0  # no −0
        placed, frame = vertices @ frame.T, frame @ own
        sizes = placed.min(0), placed.max(0), flat_parting(seen), hidden_of(seen)[1]
        return cls(frame, *sizes, True, tried @ own, hides)

    @classmethod
    def estimated(cls, part):
        """A part known by numbers alone: lying on the largest side of its box, parted at half its height, its cavities
        unknown."""
        box = np.sort(part.box_mm)[..., ::-1]
        return cls(np.eye(3), 0 * box, box, plain(box[..., 2]) / 2, np.zeros(0), False)

    scaled = resized

    def upside_down(self):
        """The study of the same mould with its other half on top."""
        turn = np.array([1.0, -1.0, -1.0])
        low, high = (np.where(turn > 0, a, -b) for a, b in ((self.low_mm, self.high_mm), (self.high_mm, self.low_mm)))
        return replace(self, frame=self.frame * turn[:, None], low_mm=low, high_mm=high, parting_mm=-self.parting_mm)

    def cores(self, least_cm3):
        """(how many hidden regions of at least least_cm3 [-], their volume together [cm3]), each (...)."""
        large = self.region_cm3 >= np.asarray(least_cm3)[..., None]
        return large.sum(-1), (self.region_cm3 * large).sum(-1)


def block_mm(cavity_mm, wall_mm, beside_mm=0.0):
    """Outer sizes of the mould block of one cavity.

    Parameters: `cavity_mm` (..., 3) room of part and feeder [mm]; `wall_mm` of sand all round (...,) [mm];
    `beside_mm` room for the sprue beside the part, along the second side (...,) [mm]. Returns: (..., 3) [mm].
    """
    u, v, w = np.moveaxis(np.asarray(cavity_mm, dtype=float), -1, 0)
    walls = 2 * np.asarray(wall_mm)
    return np.stack(np.broadcast_arrays(u + walls, v + walls + beside_mm, w + walls), axis=-1)


def candidates(vertices, faces):
    """Directions worth trying: the axes, the part's own largest facet normals, and an even spread. Unit (n, 3).

    A mould opens both ways, so a direction and its opposite are one: all have w ≥ 0.
    """
    normals, areas, _ = facets(vertices, faces)
    kinds, which = np.unique(_upward(np.round(normals, 3)), axis=0, return_inverse=True)
    largest = np.argsort(np.bincount(which.ravel(), areas))[::-1][:OWN_NORMALS]
    found = unit(np.vstack([np.eye(3)[::-1], kinds[largest], sphere(2 * SPREAD)[:SPREAD]]))
    twins = np.triu(np.abs(found @ found.T) > 0.9999, 1).any(0)
    return found[~twins]  # the even spread comes last and holds no twins of its own


def hidden_of(seen):
    """The room between stretches of metal that neither mould half shows, from Columns.

    Stretches of neighbouring rays belong to one region where they overlap: a core could pass from one to the other.
    Returns: the region that each of `seen.gaps` belongs to (g,), 0 the largest; the regions' volumes (r,) [cm3].
    """
    column, start, end = seen.gaps
    label = _labelled(seen.shape, column, start, end) if len(column) else column
    region = np.argsort(np.argsort(-np.bincount(label, end - start)))[label]
    return region, np.bincount(region, end - start) * seen.spacing_mm**2 / 1000


def flat_parting(seen):
    """W of the plane that most rays cross in the part's outline [mm].

    Where a ray's outermost ends lie on both sides of the plane, each half of the mould can leave the part.
    """
    first = np.flatnonzero(np.diff(seen.column, prepend=-1))
    last = np.flatnonzero(np.diff(seen.column, append=-1))
    heights = np.concatenate([seen.enter_mm[first], seen.exit_mm[last]])
    step = np.repeat([1, -1], len(first))
    order = np.lexsort((-step, heights))  # at one height, entries before exits
    crossed = np.cumsum(step[order])
    most = int(crossed.argmax())
    return float(heights[order][most : most + 2].mean())


def _hidden_cm3(seen):
    _, start, end = seen.gaps
    return (end - start).sum() * seen.spacing_mm**2 / 1000


def _labelled(shape, column, start, end):
    """A label for each stretch, the same within a connected region (g,)."""
    pairs = [(column[:0], column[:0])]
    for step in (1, shape[1]):
        beside = column + step
        if step == 1:  # the last ray of a row has no neighbour in the next row
            beside = np.where(beside % shape[1] == 0, -1, beside)
        first, past = np.searchsorted(column, beside, "left"), np.searchsorted(column, beside, "right")
        for rank in range(int((past - first).max(initial=0))):
            one = np.flatnonzero(first + rank < past)
            other = first[one] + rank
            touch = np.minimum(end[one], end[other]) > np.maximum(start[one], start[other])
            pairs.append((one[touch], other[touch]))
    one, other = (np.concatenate(side) for side in zip(*pairs, strict=True))
    return groups_of(one, other, len(column))


def _upward(directions):
    """Each direction or its opposite, such that the last component that is not 0 is above 0."""
    last = np.where(directions[:, 2] != 0, directions[:, 2], np.where(directions[:, 1] != 0, *directions[:, 1::-1].T))
    return directions * np.where(last < 0, -1, 1)[:, None] + 0.0


def _heavy_side(vertices, faces, direction):
    """+1 or −1: which way along direction puts the heavier half on top, where the feeder stands."""
    height = vertices @ direction
    return 1 if centre_of_mass(vertices, faces) @ direction >= (height.min() + height.max()) / 2 else -1
