"""Supports of a part on the plate: where it cannot carry itself, what stands below, and the work to take it off.

Not modelled: how stiffly a support holds against distortion, and how it leads heat away.
"""

from dataclasses import dataclass, fields

import numpy as np

from pourprint.ledger.checks import check_numbers, plain
from pourprint.ledger.errors import InputError
from pourprint.parts.meshes import SELF_SUPPORTING_DEG
from pourprint.process.freezing.voxels import columns
from pourprint.process.geometry import facets, ranges, resized, smallest_rectangle

ON_PLATE_MM = 1e-3  # a facet no higher than this above the lowest point lies on the plate
MOST_SAMPLES = 3_000_000


@dataclass(frozen=True, eq=False)
class Standing:
    """How a part stands on the plate in one direction, or in many: every field (..., k) for k directions.

    height_mm, length_mm, width_mm: box on the plate, turned about the vertical to its smallest rectangle [mm].
    foot_cm2: surface that lies flat on the plate. plate_cm2, inner_cm2: surface, seen from above, held by supports
    that stand on the plate, and by supports that stand on the part itself (roofs of bores and of arms above
    others). support_cm3: room that the supports fill, without the lift. side_cm2: upright part of the surface: the
    length of all section outlines, integrated over the height. shadow_cm2: the part seen from above.
    plate_reach_cm3, inner_reach_cm3: held surface times how far inside the shadow it lies [cm2·cm].
    """

    height_mm: np.ndarray
    length_mm: np.ndarray
    width_mm: np.ndarray
    foot_cm2: np.ndarray
    plate_cm2: np.ndarray
    inner_cm2: np.ndarray
    support_cm3: np.ndarray
    side_cm2: np.ndarray
    shadow_cm2: np.ndarray
    plate_reach_cm3: np.ndarray
    inner_reach_cm3: np.ndarray

    @property
    def held_cm2(self):
        """Surface held by supports [cm2]."""
        return self.plate_cm2 + self.inner_cm2

    scaled = resized

    def at(self, index):
        """The stand in the direction `index`, one number or one for each of an array (…): all fields (…). Returns:
        Standing."""

        def taken(value):
            lead = np.broadcast_shapes(np.shape(index), value.shape[:-1])
            each = np.broadcast_to(index, lead)[..., None], np.broadcast_to(value, (*lead, value.shape[-1]))
            return plain(np.take_along_axis(each[1], each[0], axis=-1)[..., 0])

        return Standing(**{name: taken(value) for name, value in vars(self).items()})

    @classmethod
    def of_each(cls, stands):
        """Standings of one direction each as one Standing of many, (k,)."""
        return cls(**{x.name: np.array([getattr(one, x.name) for one in stands]) for x in fields(cls)})


def hanging(downward):
    """Does a surface need a support? `downward` (…): how far it looks down, 1 flat over the plate, 0 upright [-].

    >>> hanging(np.cos(np.radians([0, 44, 45, 46]))).tolist()
    [True, True, False, False]
    """
    return np.asarray(downward) > np.cos(np.radians(SELF_SUPPORTING_DEG)) * (1 + 1e-6)


@dataclass(frozen=True, eq=False)
class Shadow:
    """A part seen from above.

    cells (n, 2): the squares of a grid that it covers, whole numbers; the grid has its corner at origin_mm (2,), a
    width of spacing_mm [mm], and is turned by turn (2, 2) into the first two axes of `frame` (3, 3): rows u, v along
    the smallest rectangle round the part, and w upward; `vertices @ frame.T` stands as the part is printed.
    """

    cells: np.ndarray
    origin_mm: np.ndarray
    turn: np.ndarray
    spacing_mm: float
    frame: np.ndarray

    @property
    def points_mm(self):
        """The middles of the covered squares (n, 2) [mm]."""
        return (self.origin_mm + (self.cells + 0.5) * self.spacing_mm) @ self.turn

    scaled = resized


@dataclass(frozen=True, eq=False)
class Posts:
    """Vertical samples of the supports under a part: each holds `area_mm2` (n,) of the plan view.

    top_mm (n, 3): point held, in u, v, w along the stand's frame [mm]; foot_mm (n,): height on which it stands
    [mm]; inner (n,): does it stand on the part? reach_mm (n,): how far inside the shadow it lies [mm].
    """

    top_mm: np.ndarray
    foot_mm: np.ndarray
    area_mm2: np.ndarray
    inner: np.ndarray
    reach_mm: np.ndarray


def posts(surface, found):
    """The supports of a part, sampled over every surface that cannot carry itself.

    Parameters: `surface` as from `facets`; `found` Columns of the same mesh along its upward direction: where a
    support ends is sampled at its rays. Returns: Posts and the foot's area [mm2]. The held area is exact, lengths are
    right to about the ray spacing times the slope of what the support stands on.
    """
    from scipy.ndimage import distance_transform_edt

    up, spacing = found.frame[2], found.spacing_mm
    normals, areas, corners = surface
    corners = corners @ found.frame.T
    low = corners[..., 2].min()
    down = -normals @ up
    needs = hanging(down)
    flat = needs & (corners[..., 2].max(axis=1) - low <= ON_PLATE_MM)
    needs &= ~flat
    corners, projected = corners[needs], (areas * down)[needs]

    # Points spread evenly over each facet, enough of them for one to a ray.
    number = np.maximum(np.ceil(projected / spacing**2), 1).astype(int)
    if number.sum() > MOST_SAMPLES:
        raise InputError(f"spacing_mm={spacing!r} gives {number.sum()} support samples; use a coarser spacing.")
    facet, turn = ranges(np.zeros_like(number), number)
    s, t = (turn + 0.5) / number[facet], (0.5 + turn * 0.6180339887) % 1  # an even spread over the unit square
    root = np.sqrt(s)[:, None]
    p = corners[facet]
    points = p[:, 0] * (1 - root) + p[:, 1] * (root * (1 - t[:, None])) + p[:, 2] * (root * t[:, None])

    cell = np.floor((points[:, :2] - found.origin_mm) / spacing).astype(int)
    cell = np.clip(cell, 0, np.array(found.shape) - 1)
    column = cell[:, 0] * found.shape[1] + cell[:, 1]
    # The highest exit of the same ray below the point: one search over (ray, height) as a single rising number.
    span = found.exit_mm.max() - low + spacing
    key = found.column * span + (found.exit_mm - low)
    asked = column * span + np.clip(points[:, 2] - low - spacing / 2, 0, None)
    place = np.searchsorted(key, asked, side="right") - 1
    inner = (place >= 0) & (found.column[place] == column)
    foot = np.where(inner, found.exit_mm[place], low)
    inside = distance_transform_edt(np.pad(found.count > 0, 1))[1:-1, 1:-1] * spacing
    reach = inside[cell[:, 0], cell[:, 1]]
    return Posts(points, np.minimum(foot, points[:, 2]), projected[facet] / number[facet], inner, reach), (
        (areas * down)[flat].sum()
    )


def stand(vertices, faces, up, spacing_mm):
    """How a part stands with direction `up` (3,) turned upward, supports by ray columns.

    Parameters: mesh [mm], closed and outward; `spacing_mm` of the rays [mm].
    Returns: Standing of single numbers, and its Shadow. Raises: InputError.
    """
    found = columns(vertices, faces, spacing_mm, up)
    normals, areas, _ = surface = facets(vertices, faces)
    found_posts, foot = posts(surface, found)
    points = np.asarray(vertices, dtype=float) @ found.frame.T
    turn, length, width = smallest_rectangle(points[:, :2])
    cells = np.argwhere(found.count).astype(np.int16)
    held, inner = found_posts.area_mm2, found_posts.inner
    room, reached = held * (found_posts.top_mm[:, 2] - found_posts.foot_mm), held * found_posts.reach_mm
    return Standing(
        height_mm=np.ptp(points[:, 2]),
        length_mm=length,
        width_mm=width,
        foot_cm2=foot / 100,
        plate_cm2=held[~inner].sum() / 100,
        inner_cm2=held[inner].sum() / 100,
        support_cm3=room.sum() / 1000,
        side_cm2=side_area(normals, areas, found.frame[2]) / 100,
        shadow_cm2=len(cells) * found.spacing_mm**2 / 100,
        plate_reach_cm3=reached[~inner].sum() / 1000,
        inner_reach_cm3=reached[inner].sum() / 1000,
    ), Shadow(cells, found.origin_mm, turn.T, found.spacing_mm, np.vstack([turn @ found.frame[:2], found.frame[2]]))


def side_area(normals, areas, up):
    """Upright part of a surface, Σ A·sin of the angle between normal and `up`: the outline of all sections [mm2].

    Parameters: normals (m, 3), areas (m,) [mm2], `up` (3,) or several as (3, n). Returns: [mm2], () or (n,).
    Source: exact (the length of a section's outline in a layer dz is the surface between, times that sine).
    """
    return areas @ np.sqrt(np.maximum(1 - (normals @ up) ** 2, 0))


def cut_cm2(standing, density):
    """Metal that the saw passes under a part [cm2]: its foot, and the metal share `density` [-] of its supports."""
    return standing.foot_cm2 + density * standing.plate_cm2


def removal_h(standing, rate_cm2_h, double_reach_mm, inner_factor):
    """Hand work to take the supports off [h].

    Parameters: `standing` Standing; `rate_cm2_h` surface cleared at the rim [cm2/h]; `double_reach_mm` inside the
    part's outline it takes twice as long [mm]; `inner_factor` longer where both ends stand on the part, as in a
    bore [-]. Source: own planning rule (invented); a shop's own times come first.
    """
    per_cm = 10 / np.asarray(double_reach_mm, dtype=float)
    plate = standing.plate_cm2 + standing.plate_reach_cm3 * per_cm
    inner = standing.inner_cm2 + standing.inner_reach_cm3 * per_cm
    return (plate + inner_factor * inner) / rate_cm2_h


def roughness_um(slope_deg, layer_um, particles_um, dross_um):
    """Arithmetic mean roughness Ra of a printed surface [µm].

    Parameters: `slope_deg` between surface and plate: 90 upright, 0 flat and looking up, negative looking down
    [degrees], −90 to 90; `layer_um` layer [µm]; `particles_um` of powder that sinters on to every surface [µm];
    `dross_um` more where the melt sags, on a flat surface looking down, less with its slope [µm]: both stand in the
    ledger's section roughness. Stairs: layer·cos(slope)/4 (exact for sharp steps); they stay away on the one surface
    that is flat and looks up, which this does not show.

    >>> roughness_um(np.array([90, 45, -45]), 60, 7, 14).round(1).tolist()
    [7.0, 17.6, 27.5]
    """
    check_numbers(True, layer_um=layer_um, particles_um=particles_um, dross_um=dross_um)
    slope = np.radians(np.asarray(slope_deg, dtype=float))
    stairs = np.asarray(layer_um) * np.cos(slope) / 4
    return particles_um + stairs + dross_um * np.where(slope < 0, np.cos(slope), 0)
