"""The pattern route in charts: the pattern's sizes, drying, firing, the shell's stress and heat, where metal goes; and
the cluster as a picture to turn."""

import numpy as np
import pandas as pd

from pourprint.figures.look import INK, LOOKS, PARTS, Chart, counted, tint
from pourprint.figures.solids import MOST_FACETS, box, coarser, joined, lines_trace, picture, solid_trace, tube
from pourprint.figures.strokes import band, bars, canvas, line, mark, write
from pourprint.ledger.errors import InputError
from pourprint.process.freezing.solidification import Melt, Mould, adams_time_s, freezing_point_c
from pourprint.process.shell.burn_out import shell_stress_mpa
from pourprint.process.shell.clusters import Seat, places
from pourprint.process.shell.hot_shell import shell_heat_share
from pourprint.routes.printed_pattern import kiln_h

COLOUR = LOOKS["printed_pattern"].colour
WAX = "#B8A07A"
MOST_DIMENSIONS = 14  # rows of a chart that can still be read


def dimension_chart(sizes, item):
    """How far each size may stray by the uncertain contraction, against its casting tolerance: Chart.

    Parameters: `sizes` ShellSizes; `item` KitPart.
    """
    table = sizes.dimensions(item)
    kinds = table.index.where(table.index.str.startswith("box"), table.index.str.split().str[0])
    alike = table.iloc[:, :2].assign(kind=kinds).duplicated().to_numpy()
    shown = table[~alike].head(MOST_DIMENSIONS)
    words = [name.replace("box along", "whole length along") for name in shown.index]
    names = [f"{name}, {cast_mm:.1f} mm" for name, cast_mm in zip(words, shown["cast_mm"], strict=True)]
    stray, allowed = shown["largest_mm"] - shown["smallest_mm"], shown["tolerance_mm"]
    off = (shown[["smallest_mm", "largest_mm"]].abs().max(axis=1) / allowed).max()
    entry = sizes.job.alloy.entries["contraction"]
    title = f"{item.part.name}: doubt about contraction takes up to {2 * off:.0%} of the tolerance on one side"
    key = "grey: the casting's tolerance · stripes: the range of contraction"
    figure = canvas(title, "deviation of the casting [mm]", rows=names, key=key)
    bars(figure, allowed.fillna(0), names, "#BBBBBB", base=-allowed.fillna(0) / 2, name="casting tolerance")
    bars(figure, stray, names, COLOUR, "/", base=shown["smallest_mm"], width=0.35, name="contraction")
    figure.add_vline(x=0, line={"color": INK, "width": 1})
    return Chart(
        figure.update_layout(barmode="overlay"),
        f"The pattern is printed {entry.value:g}% larger. Were the contraction {entry.low:g} or {entry.high:g}%, the "
        f"castings would be off by up to {off:.0%} of the tolerance to one side.",
        "For each size a wide grey bar for the total casting tolerance about zero, and on it a narrow bar for what the "
        f"range of contraction ({entry.pedigree}) can do.",
        table,
    )


def drying_chart(sizes):
    """Hours of drying after each coat: of an open surface, and what the slowest blind hole adds. Chart."""
    hours, final = np.asarray(sizes.intervals_h, dtype=float), float(sizes.rates["shell.final_drying"])
    open_h, coats = float(sizes.open_interval_h), [f"coat {k}" for k in range(1, len(hours) + 1)]
    added, humidity = hours.sum() - open_h * len(hours), float(sizes.rates["shell.humidity"])
    title = f"Blind holes add {added:.0f} h of drying at {humidity:.0f}% humidity"
    key = "plain: an open surface · dots: what the slowest blind hole adds"
    figure = canvas(title, up="drying before the next coat [h]", height=360, key=key, b=40)
    bars(figure, np.full(len(hours), open_h), coats, COLOUR, name="open surface", upright=True)
    said = [f"{h:.1f}" for h in hours]
    bars(figure, hours - open_h, coats, tint(COLOUR, 0.6), ".", said, name="slowest blind hole", upright=True)
    closing = ", ".join(f"{d:g}" for d in sizes.closing_mm)
    closed = f" Sockets of {closing} mm fill up with ceramic before the last coat: they need a core." * bool(closing)
    return Chart(
        figure,
        f"{len(hours)} waits of {hours.mean():.1f} h on average and {final:.0f} h at the end: {hours.sum() + final:.0f}"
        f" h from the first dip to a dry shell. Coat {np.argmax(hours) + 1} is the slowest.{closed}",
        f"{len(hours)} bars, one a coat with stucco; the lower part, {open_h:.1f} h, is the same for all, the upper "
        "grows as ceramic narrows the holes.",
        pd.DataFrame({"open_surface_h": open_h, "slowest_hole_h": hours}, index=coats),
    )


def firing_chart(sizes, kits=1):
    """Temperature of shells and kiln from burn-out to the pour, for one kiln load: Chart."""
    s = sizes.rates.section("shell")
    hot, warm = float(s("burn_out_temperature")), float(sizes.start_c)
    room = float(sizes.rates["room.temperature"])
    clusters = max(1.0, np.ceil(kits * float(sizes.per_kit) - 1e-9))
    loads = np.ceil(clusters / s("kiln_clusters") - 1e-9)
    hold, own = float(sizes.hold_h(kits, loads) / loads), kits * float(sizes.burning_h) / loads
    spans = [
        (f"heat at {s('kiln_heating'):.0f} K/h", float(kiln_h(sizes.rates, hot)), hot),
        ("hold, air through the kiln", hold, hot),
        ("cool", float(kiln_h(sizes.rates, hot)), room),
        ("rinse,<br>patch and dry", float(s("patch_time") + s("patch_drying")), room),
        ("heat", float(kiln_h(sizes.rates, warm)), warm),
        ("soak, then pour", float(s("preheat")), warm),
    ]
    times = np.concatenate([[0.0], np.cumsum([hours for _, hours, _ in spans])])
    heat = np.array([room, *(end for _, _, end in spans)])
    title = f"Burnt out at {hot:.0f} °C, poured at {warm:.0f} °C: {times[-1]:.0f} h in and out of the kiln"
    figure = canvas(title, "hours of one kiln load [h]", "temperature of the shell [°C]")
    line(figure, times, heat, COLOUR, width=3, hover="%{x:.1f} h: %{y:.0f} °C")
    for i, (name, _, _) in enumerate(spans):
        (x0, x1), (y0, y1) = times[i : i + 2], heat[i : i + 2]
        place = {"dy": 14, "yanchor": "bottom"} if y0 == y1 else {"anchor": "left", "dx": 8, "dy": -8}
        write(figure, (x0 + x1) / 2, (y0 + y1) / 2, name, **place)
    figure.update_xaxes(range=[-0.4, times[-1] + 1.5]).update_yaxes(range=[-40, 1.18 * hot])
    return Chart(
        figure,
        f"Holding takes {hold:.1f} h; this load's polymer would need {own:.1f} h of the kiln's air to burn.",
        f"A line of temperature over time: up to {hot:.0f} °C, held, down to the room for rinsing, up to {warm:.0f} °C "
        "for the pour.",
        pd.DataFrame(spans, columns=["what", "hours", "end_celsius"]).set_index("what"),
    )


def crack_chart(sizes, item):
    """Stress in the shell round a part's thickest place as its pattern expands, over the infill: Chart.

    Parameters: `sizes` ShellSizes; `item` KitPart. The thickest place is taken as a ball of the part's V/A, radius
    3 V/A; see `shell_stress_mpa` for what the estimate leaves out.
    """
    radius = 3 * item.part.modulus_mm * sizes.scale  # of the ball with the part's V/A
    infill, skin = np.linspace(0, 1, 61), float(sizes.rates["printed_pattern.skin"])
    c, green = sizes.rates.section("crack"), sizes.rates.entries["crack.green_strength"]
    stress = shell_stress_mpa(radius, sizes.thickness_mm, skin, infill, c)
    mine = float(sizes.rates["printed_pattern.infill"])
    here, solid = float(shell_stress_mpa(radius, sizes.thickness_mm, skin, mine, c)), float(stress[-1])
    title = f"Filled to {mine:.0%}, the pattern loads the shell with {here / solid:.0%} of a solid one's"
    figure = canvas(title, "infill of the pattern [%]", "stress in the shell [MPa]", 360, zero="y")
    band(figure, green.low, green.high, upright=True)
    line(figure, 100 * infill, stress, COLOUR, width=3, hover="%{x:.0f}%: %{y:.1f} MPa")
    mark(figure, [100 * mine], [here])
    breaks = f"unfired shells break<br>at about {green.low:g} to {green.high:g} MPa"
    write(figure, 1, green.high, breaks, anchor="left", dy=-20, align="left")  # where the curve has not risen yet
    write(figure, 100 * mine, here, f"this pattern: {here:.1f} MPa", anchor="left", dx=6, dy=-16)
    figure.update_xaxes(range=[0, 102])
    return Chart(
        figure,
        "A sparse pattern grows as much as a solid one, but is softer. The estimate ranks fillings; it does not "
        "promise that a shell holds.",
        f"A curve that rises with the infill from {stress[0]:.1f} to {solid:.1f} MPa; a grey band from {green.low:g} "
        f"to {green.high:g} MPa is the strength of unfired (green) shells ({green.pedigree}).",
        pd.DataFrame({"infill": infill[::6], "stress_mpa": stress[::6]}).set_index("infill"),
    )


def metal_chart(sizes):
    """Where the metal of one kit goes, as bars, where clusters are full: Chart."""
    metal = {name: float(kg) for name, kg in sizes.metal_kg.items()}
    total, kilograms = sum(metal.values()), [*metal.values()]
    title = f"In full clusters {sizes.casting_yield:.0%} of the metal becomes parts"
    figure = canvas(title, f"metal poured for one {sizes.job.kit.noun}, clusters full [kg]", rows=metal)
    shades = [COLOUR, *(tint(COLOUR, white) for white in (0.3, 0.5, 0.7))]
    bars(figure, kilograms, [*metal], shades, said=[f"{kg:.2f} kg, {kg / total:.0%}" for kg in kilograms])
    return Chart(
        figure.update_xaxes(range=[0, 1.25 * max(kilograms)]),
        f"{total:.2f} kg are poured for {metal['parts']:.2f} kg of castings, more where a cluster is not full. Steel "
        "foundries reported 53% on average, 33 to 73% (SFSA survey 1997, published).",
        "Four bars: parts, gates, runner and cup, as long as the metal in them.",
        pd.DataFrame({"kg": metal, "share": {name: kg / total for name, kg in metal.items()}}),
    )


def hot_shell_chart(sizes, part):
    """How much of a casting's heat its shell can take, over the shell's temperature: Chart.

    Parameters: `sizes` ShellSizes; `part` Part. See `shell_heat_share` for the balance and its limits.
    """
    melt, thickness = Melt.of(sizes.job.alloy), float(sizes.thickness_mm)
    warm = float(sizes.start_c)
    shell_c = np.linspace(20, freezing_point_c(melt) - 10, 50)
    share = shell_heat_share(part.modulus_mm, melt, Mould.shell(thickness, start_c=shell_c))
    mould = Mould.shell(thickness, start_c=warm)
    here, rule = (float(ask(part.modulus_mm, melt, mould)) for ask in (shell_heat_share, adams_time_s))
    title = f"{part.name}: a shell of {thickness:.1f} mm at {warm:.0f} °C can take {here:.0%} of the casting's heat"
    axes = ("temperature of the shell at the pour [°C]", "share of the heat [%]")
    figure = canvas(title, *axes, 360, zero="y")
    line(figure, shell_c, 100 * share, COLOUR, width=3, hover="%{x:.0f} °C: %{y:.0f}%")
    mark(figure, [warm], [100 * here])
    figure.add_hline(y=100, line={"color": INK, "dash": "dash"})
    write(figure, 20, 100, "all of it", anchor="left", dy=10)
    write(figure, warm, 100 * here, f"at the pour: {here:.0%}", arrow=(60, -40), ground=True)
    return Chart(
        figure,
        "What it cannot take must leave through its outside. The rule for thick moulds does not know that the shell "
        f"ends: it says {rule:.0f} s, as if for flat walls in a block of ceramic.",
        f"A line that falls from {share[0]:.0%} for a cold shell to {share[-1]:.0%} just below freezing.",
        pd.DataFrame({"shell_celsius": shell_c[::5], "share": share[::5]}).set_index("shell_celsius"),
    )


# The cluster ---------------------------------------------------------------------------------------------


def cluster_picture(sizes, kits=1, number=1):
    """One cluster of a layout as a picture to turn: runner, cup, gates and patterns where the layout hangs them.

    Parameters: `sizes` ShellSizes of single numbers; `kits` laid out; `number` of the cluster to show, from 1.
    Meshes are coarsened to stay below 20 000 facets; parts without one are boxes. Returns: Chart. Raises: InputError.
    """
    clusters = sizes.hang(kits)
    if number not in range(1, len(clusters) + 1):
        raise InputError(f"number={number!r} must be from 1 to {len(clusters)}, the clusters asked for.")
    hung, noun = places(clusters[number - 1]), sizes.job.kit.noun
    parts, start = [item.part for item in sizes.job.kit.parts], sizes.rack.start_mm.item()
    each = (MOST_FACETS - 400) // max(len(hung), 1) - 24
    kinds, traces = sorted({kind for kind, _, _ in hung}), []
    for kind in kinds:
        vertices, faces, land, gate_r = _hanging(parts[kind], sizes, kind, each)
        solids, gates = [], []
        for _, angle, foot in (place for place in hung if place[0] == kind):
            at = np.array([start, 0, foot])
            turn = np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1]])
            solids.append(((vertices + at) @ turn.T, faces))
            gates.append(tube(np.array([(0.0, 0.0, foot + land[2]), land + at]) @ turn.T, gate_r, 8))
        traces.append(solid_trace(joined(solids), PARTS[kind % len(PARTS)], 1.0, parts[kind].name))
        traces.append(solid_trace(joined(gates), tint(WAX, 0.5), 1.0, "gate"))
    length, radius = sizes.rack.runner_length.item(), float(sizes.runner_mm) / 2
    runner = tube([(0, 0, 0), (0, 0, length)], radius, 24)
    cup = _cup(radius, length, sizes.rates["cluster.cup_volume"])
    traces.append(solid_trace(joined([runner, cup]), WAX, 1.0, "runner and cup"))
    around, tank = np.linspace(0, 2 * np.pi, 60), sizes.rack.dip_diameter.item() / 2
    rings = [np.c_[tank * np.cos(around), tank * np.sin(around), np.full(60, height)] for height in (0.0, length)]
    traces.append(lines_trace(rings, "#777777", name="dipping tank", dash="dot"))
    title = f"Cluster {number} of {len(clusters)}: {counted(len(hung), 'pattern')} on one runner; drag to turn"
    rows = [(i, r.count, parts[r.kind].name, r.from_mm) for i, c in enumerate(clusters, start=1) for r in c]
    on_it = {parts[kind].name: sum(place[0] == kind for place in hung) for kind in kinds}
    return Chart(
        picture(title, traces, (1.3, 1.3, 0.75), 560),
        f"Clusters for {counted(kits, noun)}: {len(clusters)} in this layout; the plan counts "
        f"{kits * float(sizes.per_kit):.2f}, a mean over many {noun}s, and rounds it up.",
        f"A vertical runner of {2 * radius:.0f} mm with a cup on top; round it, ring above ring, hang "
        f"{', '.join(f'{count} {name}' for name, count in on_it.items())}, each on a gate; dotted circles of "
        f"{2 * tank:.0f} mm are the dipping tank.",
        pd.DataFrame(rows, columns=["cluster", "patterns", "part", "from_mm"]).set_index("cluster"),
    )


def _hanging(part, sizes, kind, most):
    """A pattern as it hangs, its gate's end at x = 0: vertices [mm], faces, gate's end (3,) and radius [mm]."""
    turn, scale = sizes.stances[kind].turn, sizes.scale
    seat = part.study(Seat).scaled(scale)
    if part.mesh is None:
        vertices, faces = box((np.zeros(3), seat.sides_mm))
    else:
        drawn = part.mesh[0] @ seat.frame.T * scale
        vertices, faces = coarser(drawn, part.mesh[1], most)
        vertices = vertices - drawn.min(0)
    outward = 1.0 if seat.low_end[turn[0]] else -1.0  # the heavy end sits at the gate
    frame = np.zeros((3, 3))
    frame[0, turn[0]], frame[2, turn[2]] = outward, 1.0
    frame[1] = np.cross(frame[2], frame[0])
    land = seat.lands_mm[turn[0], 0 if outward > 0 else 1]
    # The turned box begins at the runner's side, with the middle of its width before the runner.
    start = np.minimum(frame @ seat.sides_mm, 0) + np.array([0, seat.sides_mm[turn[1]] / 2, 0])
    return vertices @ frame.T - start, faces, frame @ land - start, sizes.gate_mm[part] / 2


def _cup(radius, foot, volume_cm3):
    """A cup as a cone that opens upward from the runner and holds its volume; as high as its mouth is wide."""
    mouth = np.cbrt(1000 * volume_cm3 * 3 / (2 * np.pi))  # of a full cone of that height, near enough for a picture
    return tube([(0, 0, foot), (0, 0, foot + 1.5 * mouth)], (radius, max(mouth, radius)), 24)
