"""Charts of the pattern route: the pattern's sizes, drying, firing, stress and heat in the shell, where metal goes."""

import numpy as np
import plotly.graph_objects as go

from pourprint.figures.look import INK, LOOKS, Chart, styled, tint
from pourprint.process.freezing.solidification import Melt, Mould, adams_time_s, freezing_point_c
from pourprint.process.heating import ROOM_C
from pourprint.process.shell.burn_out import shell_stress_mpa
from pourprint.process.shell.hot_shell import shell_heat_share
from pourprint.routes.printed_pattern import kiln_h, pour_shell_c

COLOUR = LOOKS["printed_pattern"].colour
MOST_DIMENSIONS = 14  # rows of a chart that can still be read


def dimension_chart(sizes, item):
    """How far each size may stray by the uncertain contraction, against its casting tolerance: Chart.

    Parameters: `sizes` ShellSizes; `item` KitPart.
    """
    table = sizes.dimensions(item)
    alike = [
        (name.split()[0], *row[:2]) if "box" not in name else name
        for name, row in zip(table.index, table.values, strict=True)
    ]
    shown = table[[key not in alike[:i] for i, key in enumerate(alike)]].head(MOST_DIMENSIONS)
    names = [f"{name}, {row.cast_mm:.1f} mm" for name, row in shown.iterrows()]
    figure = go.Figure()
    figure.add_bar(
        y=names,
        x=shown["tolerance_mm"].fillna(0),
        base=-shown["tolerance_mm"].fillna(0) / 2,
        orientation="h",
        marker={"color": "#DDDDDD"},
        name="casting tolerance",
    )
    figure.add_bar(
        y=names,
        x=shown["largest_mm"] - shown["smallest_mm"],
        base=shown["smallest_mm"],
        orientation="h",
        width=0.35,
        marker={"color": COLOUR, "pattern": {"shape": "/", "fgcolor": "white", "size": 6, "fillmode": "overlay"}},
        name="contraction",
    )
    share = ((shown["largest_mm"] - shown["smallest_mm"]) / shown["tolerance_mm"]).max()
    entry = sizes.job.alloy.entries["contraction"]
    figure.update_layout(
        title=f"{item.part.name}: doubt about contraction fills up to {share:.0%} of the tolerance<br>"
        "<sup>grey: the casting's tolerance · blue strokes: the range of contraction</sup>"
    )
    figure.update_xaxes(title_text="deviation of the casting [mm]")
    figure.update_yaxes(categoryorder="array", categoryarray=names[::-1], automargin=True)
    styled(figure, height=26 * len(names) + 165).update_layout(barmode="overlay", margin={"l": 10, "t": 70})
    return Chart(
        figure,
        f"The pattern is printed {entry.value:g} % larger. Were the contraction {entry.low:g} or {entry.high:g} %, the "
        f"castings would be off by up to {share / 2:.0%} of the tolerance, either way.",
        "For each size a wide grey bar for the total casting tolerance about zero, and on it a narrow bar for what the "
        f"range of contraction ({entry.pedigree}) can do.",
        table,
    )


def drying_chart(sizes):
    """Hours of drying after each coat: of an open surface, and what the slowest blind hole adds. Chart."""
    import pandas as pd

    hours, final = np.asarray(sizes.intervals_h, dtype=float), float(sizes.rates["shell.final_drying"])
    open_h, coats = float(sizes.open_interval_h), [f"coat {k}" for k in range(1, len(hours) + 1)]
    humidity = float(sizes.rates["shell.humidity"])
    figure = go.Figure()
    figure.add_bar(x=coats, y=np.full(len(hours), open_h), marker={"color": COLOUR}, name="open surface")
    figure.add_bar(
        x=coats,
        y=hours - open_h,
        marker={
            "color": tint(COLOUR, 0.6),
            "pattern": {"shape": ".", "fgcolor": INK, "size": 6, "solidity": 0.2, "fillmode": "overlay"},
        },
        name="slowest blind hole",
        text=[f"{h:.1f}" for h in hours],
        textposition="outside",
        cliponaxis=False,
    )
    slowest = int(np.argmax(hours))
    figure.update_yaxes(title_text="drying before the next coat [h]", rangemode="tozero")
    figure.update_xaxes(title_text="plain: an open surface · dots: what the slowest blind hole adds")
    added = hours.sum() - open_h * len(hours)
    figure.update_layout(title=f"Blind holes add {added:.0f} h of drying at {humidity:.0f} % humidity")
    closing = ", ".join(f"{d:g}" for d in sizes.closing_mm)
    closed = f" Sockets of {closing} mm fill up with ceramic before the last coat: they need a core." * bool(closing)
    table = pd.DataFrame({"open_surface_h": open_h, "slowest_hole_h": hours}, index=coats)
    return Chart(
        styled(figure, height=360),
        f"{len(hours)} waits of {hours.mean():.1f} h on average and {final:.0f} h at the end: {hours.sum() + final:.0f}"
        f" h from the first dip to a dry shell. Coat {slowest + 1} is the slowest.{closed}",
        f"{len(hours)} bars, one a coat with stucco; the lower part, {open_h:.1f} h, is the same for all, the upper "
        "grows as ceramic narrows the holes.",
        table,
    )


def firing_chart(sizes, kits=1):
    """Temperature of shells and kiln from burn-out to the pour, for one kiln load: Chart."""
    import pandas as pd

    s = sizes.rates.section("shell")
    hot, warm = float(s("burn_out_temperature")), float(pour_shell_c(sizes.job, sizes.rates))
    clusters = max(1.0, np.ceil(kits * float(sizes.per_kit) - 1e-9))
    loads = np.ceil(clusters / s("kiln_clusters") - 1e-9)
    hold = float(sizes.hold_h(kits, loads) / loads)
    spans = [
        (f"heat at {s('kiln_heating'):.0f} K/h", float(kiln_h(sizes.rates, hot)), hot),
        ("hold, air through the kiln", hold, hot),
        ("cool", float(kiln_h(sizes.rates, hot)), ROOM_C),
        ("rinse, patch and dry", float(s("patch_time") + s("patch_drying")), ROOM_C),
        ("heat", float(kiln_h(sizes.rates, warm)), warm),
        ("soak, then pour", float(s("preheat")), warm),
    ]
    times = np.concatenate([[0.0], np.cumsum([hours for _, hours, _ in spans])])
    heat = np.array([ROOM_C, *(end for _, _, end in spans)])
    figure = styled(go.Figure(), height=380)
    figure.add_trace(go.Scatter(x=times, y=heat, mode="lines+markers", line={"color": COLOUR, "width": 3}))
    for (name, _, _), x0, x1, y0, y1 in zip(spans, times[:-1], times[1:], heat[:-1], heat[1:], strict=True):
        flat = y0 == y1
        figure.add_annotation(
            x=(x0 + x1) / 2,
            y=(y0 + y1) / 2,
            text=name,
            showarrow=False,
            yshift=14 if flat else -8,
            xshift=0 if flat else 8,
            xanchor="center" if flat else "left",
        )
    figure.update_xaxes(title_text="hours of one kiln load [h]", range=[-0.4, times[-1] + 1.5])
    figure.update_yaxes(title_text="shell [°C]", range=[-40, 1.18 * hot])
    figure.update_layout(
        title=f"Burnt out at {hot:.0f} °C, poured at {warm:.0f} °C: {times[-1]:.0f} h in and out of the kiln"
    )
    table = pd.DataFrame([(n, h, e) for n, h, e in spans], columns=["what", "hours", "end_celsius"]).set_index("what")
    own = kits * float(sizes.burning_h) / loads
    return Chart(
        figure,
        f"Holding takes {hold:.1f} h; this load's polymer would need {own:.1f} h of the kiln's air to burn.",
        f"A line of temperature over time: up to {hot:.0f} °C, held, down to the room for rinsing, up to {warm:.0f} °C "
        "for the pour.",
        table,
    )


def crack_chart(sizes, item):
    """Stress in the shell round a part's thickest place as its pattern expands, over the infill: Chart.

    Parameters: `sizes` ShellSizes; `item` KitPart. The thickest place is taken as a ball of the part's V/A, radius
    3 V/A; see `shell_stress_mpa` for what the estimate leaves out.
    """
    import pandas as pd

    radius = 3 * item.part.modulus_mm * sizes.scale  # of the ball with the part's V/A
    infill, skin = np.linspace(0, 1, 61), float(sizes.rates["printed_pattern.skin"])
    c, green = sizes.rates.section("crack"), sizes.rates.entries["crack.green_strength"]
    stress = shell_stress_mpa(radius, sizes.thickness_mm, skin, infill, c)
    mine = float(sizes.rates["printed_pattern.infill"])
    here, solid = float(shell_stress_mpa(radius, sizes.thickness_mm, skin, mine, c)), float(stress[-1])
    figure = styled(go.Figure(), height=360)
    figure.add_hrect(y0=green.low, y1=green.high, fillcolor="#DDDDDD", line_width=0, layer="below")
    figure.add_scatter(x=100 * infill, y=stress, mode="lines", line={"color": COLOUR, "width": 3})
    figure.add_scatter(x=[100 * mine], y=[here], mode="markers", marker={"size": 12, "color": INK})
    figure.add_annotation(
        x=98,
        y=green.value,
        text=f"unfired shells break at about {green.low:g} to {green.high:g} MPa",
        showarrow=False,
        xanchor="right",
    )
    figure.add_annotation(x=100 * mine, y=here, text=f"this pattern: {here:.1f} MPa", showarrow=True, ax=70, ay=-40)
    figure.update_xaxes(title_text="infill of the pattern [%]", range=[0, 102])
    figure.update_yaxes(title_text="stress in the shell [MPa]", rangemode="tozero")
    figure.update_layout(
        title=f"Filled to {mine:.0%}, the pattern loads the shell with {here / solid:.0%} of a solid one's"
    )
    return Chart(
        figure,
        "A sparse pattern grows as much as a solid one, but is softer. The estimate ranks fillings; it does not "
        "promise that a shell holds.",
        f"A curve that rises with the infill from {stress[0]:.1f} to {solid:.1f} MPa; a grey band from {green.low:g} "
        f"to {green.high:g} MPa is the strength of unfired (green) shells ({green.pedigree}).",
        pd.DataFrame({"infill": infill[::6], "stress_mpa": stress[::6]}).set_index("infill"),
    )


def metal_chart(sizes):
    """Where the metal of a mean kit goes, as bars: Chart."""
    import pandas as pd

    metal = {name: float(kg) for name, kg in sizes.metal_kg.items()}
    total = sum(metal.values())
    figure = go.Figure(
        go.Bar(
            x=list(metal.values()),
            y=list(metal),
            orientation="h",
            marker={"color": [COLOUR, *(tint(COLOUR, white) for white in (0.3, 0.5, 0.7))]},
            text=[f"{kg:.2f} kg, {kg / total:.0%}" for kg in metal.values()],
            textposition="outside",
            cliponaxis=False,
        )
    )
    figure.update_yaxes(categoryorder="array", categoryarray=list(metal)[::-1], automargin=True, ticksuffix="  ")
    figure.update_xaxes(title_text="metal poured for one kit [kg]", range=[0, 1.25 * max(metal.values())])
    figure.update_layout(title=f"{sizes.casting_yield:.0%} of the metal becomes parts")
    styled(figure, height=260).update_layout(margin={"l": 10})
    return Chart(
        figure,
        f"{total:.2f} kg are poured for {metal['parts']:.2f} kg of castings. Steel foundries reported 53 % on average, "
        "33 to 73 % (SFSA survey 1997, published).",
        "Four bars: parts, gates, runner and cup, as long as the metal in them.",
        pd.DataFrame({"kg": metal, "share": {name: kg / total for name, kg in metal.items()}}),
    )


def hot_shell_chart(sizes, part):
    """How much of a casting's heat its shell can take, over the shell's temperature: Chart.

    Parameters: `sizes` ShellSizes; `part` Part. See `shell_heat_share` for the balance and its limits.
    """
    import pandas as pd

    melt, thickness = Melt.of(sizes.job.alloy), float(sizes.thickness_mm)
    stop = freezing_point_c(melt)
    shell_c = np.linspace(20, stop - 10, 50)
    share = shell_heat_share(part.modulus_mm, melt, Mould.shell(thickness, start_c=shell_c))
    warm = float(pour_shell_c(sizes.job, sizes.rates))
    here = float(shell_heat_share(part.modulus_mm, melt, Mould.shell(thickness, start_c=warm)))
    rule = float(adams_time_s(part.modulus_mm, melt, Mould.shell(thickness, start_c=warm)))
    figure = styled(go.Figure(), height=360)
    figure.add_trace(go.Scatter(x=shell_c, y=100 * share, mode="lines", line={"color": COLOUR, "width": 3}))
    figure.add_scatter(x=[warm], y=[100 * here], mode="markers", marker={"size": 12, "color": INK})
    figure.add_hline(y=100, line={"color": INK, "dash": "dash"})
    figure.add_annotation(x=20, y=100, text="all of it", showarrow=False, xanchor="left", yshift=10)
    figure.add_annotation(x=warm, y=100 * here, text=f"at the pour: {here:.0%}", ax=60, ay=-40, bgcolor="white")
    figure.update_xaxes(title_text="temperature of the shell at the pour [°C]")
    figure.update_yaxes(title_text="heat taken [% of the casting's]", rangemode="tozero")
    figure.update_layout(
        title=f"{part.name}: a shell of {thickness:.1f} mm at {warm:.0f} °C can take {here:.0%} of the casting's heat"
    )
    return Chart(
        figure,
        "What it cannot take must leave through its outside. The rule for thick moulds does not know that the shell "
        f"ends: it says {rule:.0f} s, as if for flat walls in a block of ceramic.",
        f"A line that falls from {share[0]:.0%} for a cold shell to {share[-1]:.0%} just below freezing.",
        pd.DataFrame({"shell_celsius": shell_c[::5], "share": share[::5]}).set_index("shell_celsius"),
    )
