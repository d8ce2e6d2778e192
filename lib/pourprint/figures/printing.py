"""Printed metal in charts: directions, layers, hours and roughness."""

import numpy as np
import plotly.graph_objects as go

from pourprint.figures.look import INK, LOOKS, Chart, styled, tint
from pourprint.ledger.errors import InputError
from pourprint.parts import meshes
from pourprint.process.packing import layers
from pourprint.process.powder.bed import layer_seconds
from pourprint.process.powder.orientation import Scan
from pourprint.process.powder.supports import roughness_um
from pourprint.routes import printed_metal as route

COLOUR = LOOKS[route.NAME].colour
MOST_POINTS = 400  # of a curve
HOURS = {
    "spread powder": "recoat",
    "melt the inside": "hatch",
    "run round the outlines": "contour",
    "saw from the plate": "cut",
    "take off supports": "removal",
}
HOURS_KEY = "strokes: machines · plain: hands"
HOURS_IN_WORDS = (
    "five bars, one a kind of work, in the order in which it is done: hours of one kit. Spreading powder is shared by "
    "the kits that are usually printed together; what is melted includes the supports."
)


# Directions -----------------------------------------------------------------------------------------------


def orientation_map(job, rates, part_name=None):
    """Hours of one piece over all directions that may point up, the chosen one marked.

    Parameters: `part_name` which part of the kit (default: the first). Returns: Chart. Raises: InputError.
    """
    import pandas as pd

    piece = piece_named(job, rates, part_name)
    part, m = piece.item.part, rates.section(route.NAME)
    part.needed_mesh("turned to every direction")
    scan = part.study(Scan)
    part_cm3 = part.volume_cm3 + piece.machining.stock_cm3
    hours = route.hours_of(scan.standing, part_cm3, job, m).total
    measured = route.hours_of(piece.orientations.standing, part_cm3, job, m).total
    round_z, above = _angles(scan.directions)
    figure = go.Figure()
    figure.add_scatter(
        x=round_z,
        y=above,
        mode="markers",
        marker={
            "size": 13, "color": hours, "colorscale": "Cividis", "reversescale": True,
            "colorbar": {"title": {"text": "hours<br>a piece"}, "thickness": 14},
        },
        text=[f"{h:.1f} h" for h in hours],
        hovertemplate="%{x:.0f}° round, %{y:.0f}° above: %{text}<extra></extra>",
        name="scan",
    )  # fmt: skip
    for index, symbol, word in ((0, "x-thin", "as drawn"), (piece.index, "star", "chosen")):
        x, y = _angles(piece.orientations.directions[[index]])
        look = {"symbol": symbol, "size": 17, "color": "#D55E00", "line": {"width": 3, "color": "#D55E00"}}
        figure.add_scatter(x=x, y=y, mode="markers", marker=look, name=word, cliponaxis=False, hoverinfo="skip")
    figure.update_xaxes(title_text="direction that points up: round the part's z-axis [°]", range=[-190, 190], dtick=90)
    figure.update_yaxes(title_text="above its x-y plane [°]", range=[-100, 100], dtick=30)
    figure.update_layout(
        title=f"{part.name} takes {measured[piece.index]:.1f} h as chosen, {measured[0]:.1f} h as drawn, up to "
        f"{hours.max():.1f} h where dark"
    )
    table = pd.DataFrame(
        {
            "up": [str(tuple(d.round(2).tolist())) for d in piece.orientations.directions],
            "height_mm": piece.orientations.standing.height_mm,
            "support_cm3": piece.orientations.standing.support_cm3,
            "on the plate [cm2]": piece.orientations.standing.plate_cm2,
            "inside [cm2]": piece.orientations.standing.inner_cm2,
            "hours": measured,
        }
    ).sort_values("hours")
    styled(figure, height=445)
    for index, word in ((0, "as drawn"), (piece.index, "chosen")):
        x, y = _angles(piece.orientations.directions[[index]])
        side = {"xanchor": "left", "xshift": 14} if x[0] < 60 else {"xanchor": "right", "xshift": -14}
        figure.add_annotation(
            x=x[0], y=y[0], text=f"<b>{word} {measured[index]:.1f} h</b>", showarrow=False, bgcolor="#FFFFFFDD", **side
        )
    return Chart(
        figure,
        f"{part.name} takes {measured[piece.index]:.1f} hours a piece as chosen, {measured[0]:.1f} as drawn; the worst "
        f"of {len(hours)} directions takes {hours.max():.1f}.",
        "A map of all directions that may point up, coloured by hours a piece: printer (its share of spreading powder, "
        "and the laser), saw, and hands that take off supports, each hour counted alike. The map's hours are first "
        "estimates by projection, which sees no difference between supports on the plate and inside a bore; those of "
        "the marked directions come from ray columns, which do.",
        table.set_index("up"),
    )


def _angles(directions):
    """Angle round z and above the x-y plane [°] of directions (n, 3)."""
    x, y, z = np.asarray(directions).T
    return np.degrees(np.arctan2(y, x)), np.degrees(np.arcsin(np.clip(z, -1, 1)))


def piece_named(job, rates, part_name=None):
    """The Piece of that name in the layout of a job. Raises: InputError."""
    pieces = {piece.item.part.name: piece for piece in route.lay_out(job, rates).pieces}
    if part_name is not None and part_name not in pieces:
        raise InputError(f"part_name={part_name!r} must be one of {', '.join(pieces)}.")
    return next(iter(pieces.values())) if part_name is None else pieces[part_name]


# Layers and hours -----------------------------------------------------------------------------------------


def layer_times(job, rates, part_name=None):
    """Height [mm] and seconds for hatching, outline and spreading of every layer of a part as it is printed.

    Supports are left out. Returns: four arrays (n,). Raises: InputError.
    """
    piece, m = piece_named(job, rates, part_name), rates.section(route.NAME)
    vertices, faces = piece.item.part.needed_mesh("cut into layers")
    layer = route.layer_mm(job, m)
    turned_mesh = meshes.rotated_up(vertices, piece.up)
    heights = (np.arange(int(layers(piece.standing.height_mm, layer))) + 0.5) * layer
    areas, outlines = meshes.sections(turned_mesh, faces, heights)
    rate = job.alloy["laser_rate"] * m("layer_scale")
    return heights, *layer_seconds(areas, outlines, layer, rate, m("contour_speed"), m("recoat"))


def layer_chart(job, rates, part_name=None):
    """What the seconds of every layer go to, over the height of one part. Returns: Chart. Raises: InputError."""
    import pandas as pd

    heights, hatch, outline, spread = layer_times(job, rates, part_name)
    name = piece_named(job, rates, part_name).item.part.name
    step = -(-len(heights) // MOST_POINTS)
    figure = go.Figure()
    for word, seconds, white, dash in (
        ("spread powder", spread, 0.75, "dot"),
        ("outline", outline, 0.5, "dash"),
        ("inside", hatch, 0.15, "solid"),
    ):
        figure.add_scatter(
            x=heights[::step],
            y=seconds[::step],
            stackgroup="one",
            mode="lines",
            line={"color": COLOUR, "width": 1.5, "dash": dash},
            fillcolor=tint(COLOUR, white),
            name=word,
            hovertemplate=f"{word}: %{{y:.1f}} s at %{{x:.1f}} mm<extra></extra>",
        )
    low, widest = float(spread[0]), int(np.argmax(hatch))
    figure.add_scatter(
        x=[heights[len(heights) // 2], heights[widest], heights[0]],
        y=[low / 2, low + outline[widest] + hatch[widest] / 2, 0.95 * low],
        mode="text",
        text=["spread powder", "melt the inside", " thin band: outlines"],
        textposition=["middle center", "middle center", "bottom right"],
        hoverinfo="skip",
    )
    figure.update_xaxes(title_text="height [mm]", rangemode="tozero")
    figure.update_yaxes(title_text="seconds a layer, one piece alone", rangemode="tozero")
    share = spread.sum() / (spread + hatch + outline).sum()
    figure.update_layout(title=f"Alone on a plate, {name} spends {share:.0%} of its time on spreading powder")
    table = pd.DataFrame({"height_mm": heights, "inside_s": hatch, "outline_s": outline, "spread_s": spread})
    return Chart(
        styled(figure, height=395),
        f"{len(heights)} layers: {spread.sum() / 3600:.1f} h of spreading, {hatch.sum() / 3600:.1f} h inside, "
        f"{outline.sum() / 3600:.1f} h of outlines. More pieces on the plate share the spreading.",
        f"Three bands over the height from 0 to {heights[-1]:.0f} mm, stacked: the lowest, spreading powder, is the "
        "same for every layer; outlines are a thin band on it; the uppermost follows the area of each section.",
        table.iloc[:: max(1, len(table) // 10)].set_index("height_mm"),
    )


def hours_of_a_kit(layout):
    """{what: hours a kit [h]} of a Layout, in the order of work."""
    return {
        words: sum(piece.item.count * float(getattr(piece.hours, key)) for piece in layout.pieces)
        for words, key in HOURS.items()
    }


def hours_data(layout):
    """What the trace of `hours_figure` shows: list of one dict."""
    return [{"x": np.array([*hours_of_a_kit(layout).values()])}]


def hours_figure(layout):
    """Hours of one kit by kind of work, as one live trace: go.Figure in the order of `hours_data`."""
    (data,) = hours_data(layout)
    figure = go.Figure(
        go.Bar(
            **data,
            y=[*HOURS],
            orientation="h",
            texttemplate="%{x:.2f} h",
            textposition="auto",
            insidetextfont={"color": INK, "size": 14},
            outsidetextfont={"color": INK, "size": 14},
            marker={
                "color": [tint(COLOUR, white) for white in (0.6, 0.2, 0.4, 0.6, 0.8)],
                "pattern": {"shape": ["/", "/", "/", "/", ""], "fgcolor": INK, "fillmode": "overlay", "solidity": 0.1},
            },
            hovertemplate="%{y}: %{x:.2f} h a kit<extra></extra>",
        )
    )
    figure.update_layout(title=f"Hours of one kit<br><sup>{HOURS_KEY}</sup>")
    figure.update_xaxes(title_text="hours of one kit", rangemode="tozero")
    styled(figure, height=310).update_layout(margin={"l": 170})
    return figure.update_yaxes(autorange="reversed")


def hours_chart(job, rates):
    """Where the hours of one kit go, from powder to supports. Returns: Chart. Raises: InputError."""
    import pandas as pd

    layout = route.lay_out(job, rates)
    hours = hours_of_a_kit(layout)
    longest = max(hours, key=hours.get)
    message = f"Of {sum(hours.values()):.1f} hours a kit, “{longest}” takes {hours[longest] / sum(hours.values()):.0%}"
    return Chart(
        hours_figure(layout).update_layout(title=f"{message}<br><sup>{HOURS_KEY}</sup>"),
        f"{message}.",
        HOURS_IN_WORDS[0].upper() + HOURS_IN_WORDS[1:],
        pd.DataFrame({"hours a kit": hours}),
    )


# Roughness ------------------------------------------------------------------------------------------------


def roughness_chart(job, rates):
    """Roughness of a printed surface by its slope, with the share of stairs. Returns: Chart. Raises: InputError."""
    import pandas as pd

    layer_um = 1000 * route.layer_mm(job, rates.section(route.NAME))
    slope = np.arange(-90.0, 91.0, 5.0)
    added = (rates["roughness.particles"], rates["roughness.dross"])
    ra, stairs = roughness_um(slope, layer_um, *added), roughness_um(slope, layer_um, 0.0, 0.0)
    figure = go.Figure()
    for y, dash, width in ((ra, "solid", 3), (stairs, "dash", 2)):
        figure.add_scatter(x=slope, y=y, mode="lines", line={"color": COLOUR, "dash": dash, "width": width})
    figure.add_scatter(
        x=[20, 0, -22],
        y=[ra[22] + 1, stairs[18] - 3.5, 2],
        mode="text",
        text=["stairs, sintered powder and sagging", "stairs of the layers alone", "needs supports"],
        textposition=["top right", "bottom center", "top center"],
        hoverinfo="skip",
    )
    figure.add_vrect(x0=-45, x1=0, fillcolor="#888888", opacity=0.15, line_width=0)
    figure.update_xaxes(
        title_text="slope against the plate [°]: looking down | flat | looking up",
        tickvals=[-90, -45, 0, 45, 90],
        ticktext=["−90 upright", "−45", "0 flat", "45", "90 upright"],
        range=[-100, 100],
    )
    figure.update_yaxes(title_text="roughness Ra [µm]", rangemode="tozero", range=[0, 1.15 * ra.max()])
    figure.update_layout(title=f"Surfaces that look down come out roughest ({layer_um:.0f} µm layers)")
    return Chart(
        styled(figure, height=395),
        f"An upright wall comes out at about {ra[0]:.0f} µm Ra, a slope of 45° looking up at {ra[-10]:.0f}, looking "
        f"down at {ra[9]:.0f}.",
        "A curve of roughness over the slope of the surface: lowest for upright walls at both ends, rising to the "
        "middle, and higher on the side that looks down. Stairs are exact for sharp steps; the rest is from memory.",
        pd.DataFrame({"slope_deg": slope, "Ra_um": ra, "stairs_um": stairs}).iloc[::3].set_index("slope_deg"),
    )
