"""What both shell routes size before they plan: pattern, gates, cluster, coats, shell, metal, polymer.

The plan, the notebook and the pictures read the same numbers from here. Not valid for parts beyond the dipping
envelope; feeding through one gate a part is assumed to be enough: `cluster_turns.runner_feeding` shows where it is not.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pourprint.ledger.rates import RateCard
from pourprint.plans.jobs import Job
from pourprint.process.contraction import casting_mm, pattern_mm
from pourprint.process.freezing.section_modulus import hottest_section, nearest_metals
from pourprint.process.freezing.solidification import Mould
from pourprint.process.sand.feeding import cylinder_cm3, cylinder_mm, feeder_volume_cm3
from pourprint.process.shell.burn_out import burning_h, polymer_share
from pourprint.process.shell.clusters import Rack, Seat, clusters_per_kit, hang, stance
from pourprint.process.shell.coats import Bend, by_size, closing_coat, damp_factor, drying_h, intervals_h, shell_cm3
from pourprint.routes import common


@dataclass(frozen=True, eq=False)
class ShellSizes:
    """The sizes of a shell-cast job: (Job, RateCard). Lists go by the kit's parts; numbers may be arrays."""

    job: Job
    rates: RateCard
    printed: bool = True  # or of wax, which runs out of the shell and leaves nothing to burn

    # Patterns ----------------------------------------------------------------------------------------

    @cached_property
    def scale(self):
        """Size of the pattern over that of the casting [-]."""
        return pattern_mm(1.0, self.job.alloy["contraction"])

    @cached_property
    def boxes_mm(self):
        """Least box of each part's pattern, however the part is drawn, list of (..., 3) [mm]."""
        return [self.scale * item.part.study(Seat).sides_mm for item in self.job.kit.parts]

    @cached_property
    def patterns_cm3(self):
        """Volume of each part's pattern, machining stock included, list of (...) [cm3]."""
        return [cm3 * self.scale**3 for cm3 in self.casting_cm3]

    @cached_property
    def kit_polymer_cm3(self):
        """Polymer in one kit's patterns [cm3]."""
        p, kit = self.rates.section("printed_pattern"), self.job.kit
        shares = [polymer_share(item.part.modulus_mm * self.scale, p("skin"), p("infill")) for item in kit.parts]
        solid = [share * cm3 for share, cm3 in zip(shares, self.patterns_cm3, strict=True)]
        return common.total(kit, solid) if self.printed else 0.0

    @property
    def kit_polymer_kg(self):
        """The same by mass [kg]."""
        return self.kit_polymer_cm3 * self.rates["printed_pattern.polymer_density"] / 1000

    @property
    def kit_ash_g(self):
        """Ash that one kit's patterns leave in their shells [g]."""
        return 10 * self.kit_polymer_kg * self.rates["printed_pattern.ash"]

    @property
    def printing_h(self):
        """Time to print one kit's patterns [h]."""
        return self.kit_polymer_cm3 / self.rates["printed_pattern.print_rate"]

    @cached_property
    def burning_h(self):
        """Time in which the kiln's air burns one kit's patterns [h]."""
        return burning_h(self.kit_polymer_kg, self.rates["shell.air_flow"], self.rates["shell.air_excess"])

    def dimensions(self, item):
        """Sizes of one KitPart as finished, as cast and as printed, and how surely the contraction is known.

        Holes that are machined afterwards are cast smaller, as in the finishing list. Tolerances are of the route's
        casting grade (nan above 160 mm); `smallest_mm` and `largest_mm` are how far the casting is off if the metal
        contracts most, or least, of its range. Returns: pandas table [mm].
        """
        import pandas as pd

        entry, tolerance_of = self.job.alloy.entries["contraction"], common.as_made("printed_pattern", self.rates)[0]
        work = self.machining[self.job.kit.parts.index(item)]
        names = [f"bore {i}" for i, _ in enumerate(item.bores, start=1)]
        names += [f"socket {i}, for a tube" for i, _ in enumerate(item.sockets, start=1)]
        sizes = [(f"box along {axis}", side, side) for axis, side in zip("xyz", item.part.box_mm, strict=True)]
        rows = []
        for name, finished, cast in [*sizes, *zip(names, work.hole_mm.tolist(), work.raw_mm.tolist(), strict=True)]:
            tolerance = tolerance_of(finished).item() if finished <= 160 else np.nan
            pattern = pattern_mm(cast, entry.value)
            off = [casting_mm(pattern, percent) - cast for percent in (entry.high, entry.low)]
            rows.append((name, finished, cast, pattern, pattern - cast, tolerance, *off))
        names = ("finished", "cast", "pattern", "allowance", "tolerance", "smallest", "largest")
        table = pd.DataFrame(rows, columns=["dimension", *(f"{name}_mm" for name in names)])
        return table.set_index("dimension").astype(float)

    def hold_h(self, kits, loads):
        """Hold of a batch's burn-out, its kiln loads together [h]: longer where their air burns too slowly."""
        return np.maximum(loads * self.rates["shell.burn_out"], kits * self.burning_h)

    # Gates and metal ---------------------------------------------------------------------------------

    @cached_property
    def machining(self):
        return common.machining_of(self.job, self.rates, "printed_pattern")

    @cached_property
    def sections_mm(self):
        """{part: modulus of its hottest section [mm]}, found in thick sand: a guide for a shell."""
        parts = (item.part for item in self.job.kit.parts)
        nearest = nearest_metals(self.job.alloy)
        return {part: hottest_section(part, nearest).modulus_mm for part in parts}

    @cached_property
    def gate_mm(self):
        """{part: diameter of its gate [mm]}: a bar, modulus d/4, that freezes after the part's hottest section."""
        ratio = 4 * self.rates["cluster.gate_ratio"]
        return {part: ratio * section for part, section in self.sections_mm.items()}

    def gate_cm3(self, part):
        return cylinder_cm3(self.gate_mm[part], self.gate_length_mm)

    @cached_property
    def feeding_cm3(self):
        """Metal of runner and cup that one piece of each part and its gate take as feeders' metal, list of (...) [cm3].

        Whatever stands above them in the tree gives the same share of itself as a plain feeder.
        """
        shrinkage, efficiency = self.job.alloy["shrinkage"] / 100, self.rates["cluster.feeding"]
        pairs = zip(self.job.kit.parts, self.casting_cm3, strict=True)
        return [feeder_volume_cm3(cm3 + self.gate_cm3(item.part), shrinkage, efficiency) for item, cm3 in pairs]

    @cached_property
    def runner_mm(self):
        """Diameter of the runner [mm]: the lab's, or more where the thickest gate must be fed from it, or the largest
        piece takes more metal than it holds."""
        c, fed_cm3 = self.rates.section("cluster"), common.largest(self.feeding_cm3)
        holds = cylinder_mm(np.maximum(fed_cm3 - c("cup_volume"), 0), c("runner_length"))
        return common.largest((c("runner_diameter"), c("gate_ratio") * common.largest(self.gate_mm.values()), holds))

    @cached_property
    def runner_cm3(self):
        return cylinder_cm3(self.runner_mm, self.rates["cluster.runner_length"])

    @property
    def tree_cm3(self):
        """Runner and cup [cm3]."""
        return self.runner_cm3 + self.rates["cluster.cup_volume"]

    @cached_property
    def casting_cm3(self):
        """Metal of each part as cast, machining stock included, gate apart [cm3]."""
        return common.casting_cm3(self.job, self.machining)

    def kilograms(self, cm3):
        return cm3 * self.job.alloy["density"] / 1000

    @cached_property
    def metal_kg(self):
        """Where one kit's metal goes [kg]: parts, gates, and its share of runners and cups."""
        kit = self.job.kit
        sizes = {
            "parts": common.total(kit, self.casting_cm3),
            "gates": common.total(kit, [self.gate_cm3(item.part) for item in kit.parts]),
            "runner": self.per_kit * self.runner_cm3,
            "cup": self.per_kit * self.rates["cluster.cup_volume"],
        }
        return {name: self.kilograms(cm3) for name, cm3 in sizes.items()}

    @property
    def casting_yield(self):
        """Castings over metal poured [-], clusters filled as in a mean batch."""
        return self.metal_kg["parts"] / sum(self.metal_kg.values())

    def poured_kg(self, kits, clusters):
        """Metal poured for a number of kits on a number of clusters [kg]."""
        metal = self.metal_kg
        return kits * (metal["parts"] + metal["gates"]) + clusters * self.kilograms(self.tree_cm3)

    # Shell -------------------------------------------------------------------------------------------

    def _by_size(self, name):
        """A value by the longest side of the kit's patterns: clusters are mixed, so the kit shares its coats."""
        longest_mm, s = common.largest(np.max(box, axis=-1) for box in self.boxes_mm), self.rates.section("shell")
        return by_size(longest_mm, s("size_small"), s("size_large"), s(f"{name}_small"), s(f"{name}_large"))

    @cached_property
    def coats(self):
        """Shell coats, the seal coat included [-]."""
        return np.ceil(self._by_size("coats") - 1e-9)

    @cached_property
    def thickness_mm(self):
        return self._by_size("thickness")

    @property
    def start_c(self):
        """Temperature of the shell at the pour [°C]."""
        return self.rates["shell.preheat_share"] * self.job.alloy["solidus"]

    def mould(self, **changes):
        """The shell at the pour, as heat sees it: Mould; `changes` replace single fields."""
        values = {"density_kg_m3": 1000 * self.rates["shell.density"], "air_c": self.rates["room.temperature"]}
        return Mould.shell(self.thickness_mm, start_c=self.start_c, **values, **changes)

    @property
    def open_interval_h(self):
        """Drying of an open surface between coats [h]."""
        return self.rates["shell.coat_interval"] * damp_factor(self.rates["shell.humidity"])

    @cached_property
    def intervals_h(self):
        """Drying after each coat but the last [h], (k, ...)."""
        s = self.rates.section("shell")
        holes = [hole for item in self.job.kit.parts for hole in item.sockets]
        depth, diameter = ([getattr(hole, name) for hole in holes] for name in ("depth_mm", "diameter_mm"))
        conditions = (s("coat_interval"), s("humidity"), s("cavity_delay"), s("least_opening"))
        return intervals_h(self.coats, self.thickness_mm, depth, diameter, *conditions)

    @property
    def closing_mm(self):
        """Diameters of the sockets that fill up with ceramic before the last coat [mm], sorted: they need a core."""
        each, least = self.thickness_mm / self.coats, self.rates["shell.least_opening"]
        sockets = {socket.diameter_mm for item in self.job.kit.parts for socket in item.sockets}
        return sorted(d for d in sockets if np.any(closing_coat(each, d, least) < self.coats))

    @property
    def stuccoed(self):
        """Coats with stucco [-]: all but the seal coat, which dries to the end."""
        return np.maximum(self.coats - 1, 1)

    @cached_property
    def interval_h(self):
        """Mean drying between coats [h]."""
        return self.intervals_h.sum(axis=0) / self.stuccoed

    @property
    def drying_h(self):
        """From the first dip to a dry shell [h]."""
        return drying_h(self.stuccoed, self.interval_h, self.rates["shell.final_drying"])

    def shell_kg(self, part):
        """Shell on one pattern [kg]."""
        bend = part.study(Bend).scaled(self.scale)
        cm3 = shell_cm3(part.area_cm2 * self.scale**2, self.thickness_mm, bend)
        return cm3 * self.rates["shell.density"] / 1000

    @cached_property
    def runner_shell_kg(self):
        length = self.rates["cluster.runner_length"]
        side_cm2 = np.pi * self.runner_mm * length / 100
        return shell_cm3(side_cm2, self.thickness_mm, Bend(np.pi * length, 0)) * self.rates["shell.density"] / 1000

    def table(self):
        """One row a part: its pattern, gate, and how many fill a cluster; needs single numbers. pandas table."""
        import pandas as pd

        rows = {
            item.part.name: {
                "pieces a kit [-]": item.count,
                **{f"pattern {axis} [mm]": float(side) for axis, side in zip("xyz", box, strict=True)},
                "gate diameter [mm]": float(self.gate_mm[item.part]),
                "of it alone on a cluster [-]": float(alone),
            }
            for item, box, alone in zip(self.job.kit.parts, self.boxes_mm, self.alone, strict=True)
        }
        return pd.DataFrame.from_dict(rows, orient="index")

    # Clusters ----------------------------------------------------------------------------------------

    @property
    def gap_mm(self):
        """Gap between patterns [mm]: the lab's, or more where two shells and the room between them need it."""
        return np.maximum(self.rates["cluster.gap"], self._two_shells_mm)

    @property
    def gate_length_mm(self):
        """From runner to part [mm]: the lab's, or more where the shells of both and the room between them need it."""
        return np.maximum(self.rates["cluster.gate_length"], self._two_shells_mm)

    @property
    def _two_shells_mm(self):
        return 2 * self.thickness_mm + self.rates["cluster.clearance"]

    @cached_property
    def rack(self):
        """What clusters hang on."""
        c = self.rates.section("cluster")
        sizes = (self.runner_mm, c("runner_length"), self.gate_length_mm, self.gap_mm, c("dip_diameter"))
        return Rack(*(np.asarray(v, dtype=float) for v in sizes))

    @cached_property
    def stances(self):
        """How each part hangs, list of Stance."""
        return [stance(box, self.rack) for box in self.boxes_mm]

    @cached_property
    def loads(self):
        """Share of a cluster's weight limit, of a crucible and of what its tree feeds that each part takes [-], list of
        (..., 3)."""
        tree_kg = self.kilograms(self.tree_cm3)
        rooms_kg = (
            self.rates["cluster.weight_limit"] - self.runner_shell_kg - tree_kg,
            common.crucible_kg(self.job, self.rates) - tree_kg,
        )
        found = []
        for item, casting_cm3, fed_cm3 in zip(self.job.kit.parts, self.casting_cm3, self.feeding_cm3, strict=True):
            metal_kg = self.kilograms(casting_cm3 + self.gate_cm3(item.part))
            masses_kg = (metal_kg + self.shell_kg(item.part), metal_kg)
            # Where the runner alone is too heavy, nothing hangs.
            shares = [
                np.where(room > 0, kg / np.maximum(room, 1e-9), 2.0)
                for kg, room in zip(masses_kg, rooms_kg, strict=True)
            ]
            found.append(np.stack(np.broadcast_arrays(*shares, fed_cm3 / self.tree_cm3), axis=-1))
        return found

    @cached_property
    def alone(self):
        """How many of each part fill a cluster by themselves [-], list of (...)."""
        return [
            np.minimum(stance.ring * stance.tiers, np.floor(1 / load + 1e-9).min(axis=-1))
            for stance, load in zip(self.stances, self.loads, strict=True)
        ]

    @cached_property
    def _hanging(self):
        """Half angle [rad], height along the runner [mm] and loads [-] of each part."""
        return [one.wedge_rad for one in self.stances], [one.sides_mm[..., 2] for one in self.stances], self.loads

    @cached_property
    def per_kit(self):
        """Clusters that one kit fills [-]. Raises: Infeasible."""
        c, kit = self.rates.section("cluster"), self.job.kit
        limits = (
            f"parts hang inside {common.limit(c('dip_diameter'))} mm on a runner of {common.limit(self.runner_mm)} × "
            f"{common.limit(c('runner_length'))} mm, a cluster weighs at most {common.limit(c('weight_limit'))} kg, "
            f"and its crucible holds {common.limit(common.crucible_kg(self.job, self.rates))} kg: split the part"
        )
        common.share_of_lots(kit, self.alone, [box / self.scale for box in self.boxes_mm], "a cluster", limits)
        counts = [item.count for item in kit.parts]
        return clusters_per_kit(counts, *self._hanging, self.alone, self.rack.runner_length, self.rack.gap)

    def hang(self, kits):
        """A layout of a number of kits: list of clusters, each a list of Hung. Single numbers only."""
        each = [kits * item.count for item in self.job.kit.parts]
        kinds = (np.array(values).tolist() for values in self._hanging)
        return hang(each, *kinds, self.rack.runner_length.item(), self.rack.gap.item())
