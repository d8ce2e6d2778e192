"""Designs on their way to less weight, and what they gain."""

import numpy as np
import pandas as pd

from pourprint.decide.lightness import pays_from
from pourprint.figures.look import INK, LOOKS, METAL, PARTS, Chart, counted, sampled, title_of
from pourprint.figures.strokes import bars, canvas, line, mark, write


def beam_picture(design, aside=0.0):
    """The half beam of `lighten_beam` with its mirror image, blue where material stays, its loads (in all 1, as two
    halves where `aside`, as given there) and its supports. Returns: go.Figure."""
    whole = np.hstack([design.density[:, ::-1], design.density])
    up, along = whole.shape
    filled = f"{whole.mean():.0%} of the room carries the load"
    title = f"{filled}: compliance {design.compliance:.1f} after {counted(design.iteration, 'iteration')}"
    key = "compliance: unit load on half a beam, unit modulus"
    figure = canvas(title, "length [cells]", "height [cells]", 300, key=key)
    grey = [[0, "rgba(128,128,128,0.05)"], [1, "#0072B2"]]
    figure.add_heatmap(z=whole[::-1], colorscale=grey, zmin=0, zmax=1, showscale=False, hoverinfo="skip")
    figure.update_xaxes(showgrid=False, constrain="domain")
    for side in sorted({-aside, aside}):
        write(figure, (along - 1) / 2 * (1 + side), up, "load" if aside else "load in the middle", arrow=(0, -32))
    words = {"mode": "markers+text", "text": ["support"] * 2, "textposition": ["middle right", "middle left"]}
    mark(figure, [0, along - 1], [-4] * 2, INK, "triangle-up", 14, **words)
    return figure.update_yaxes(scaleanchor="x", showgrid=False, constrain="domain", range=[-9, up + 5])


def search_chart(stages):
    """Energy of all load cases over the iterations. `stages` (n, 3) as `lightened` returns. Returns: Chart."""
    table = pd.DataFrame(stages, columns=["iteration", "energy [-]", "volume [cm³]"]).set_index("iteration")
    energy = table["energy [-]"]
    less = f"{1 / energy.iloc[-1]:.1f} times less than in the first guess"
    title = f"After {len(table)} iterations the loads move the node {less}"
    figure = canvas(title, "iteration", "energy over the first guess's [-]", log="y")
    line(figure, energy.index, energy, PARTS[0], hover="iteration %{x}: %{y:.3f}")
    return Chart(
        figure,
        f"{table['volume [cm³]'].iloc[-1]:.1f} cm³ of metal are left; the energy is that of all load cases together.",
        "One falling curve over the iterations, steep at first and flat at the end.",
        sampled(table).round(3),
    )


def stiffness_chart(table):
    """Stiffness for mass of verified shapes. `table` as `verify` returns. Returns: Chart."""
    names = list(table.index)
    both = table.filter(like="stiffness").to_numpy()
    low, high = both.min(axis=1), both.max(axis=1)
    mass = table["mass [g]"].to_numpy()
    best = int((low / mass).argmax())
    share = f"{low[best]:.0%} of the stiffness of “{names[0]}” with {mass[best] / mass[0]:.0%} of its mass"
    title = f"Stiffest for its mass is “{names[best]}”: {share}"
    figure = canvas(title, f"least stiffness over that of “{names[0]}” [-]", rows=names)
    said = [f"{a:.2f} to {b:.2f} at {grams:.0f} g" for a, b, grams in zip(low, high, mass, strict=True)]
    bars(figure, low.tolist(), names, METAL, said=said, hover="%{y}: %{x:.2f}")
    figure.update_xaxes(range=[0, 1.6 * low.max()])
    return Chart(
        figure,
        f"From rigid tubes and bearings to none; the least margin against yield is {table['margin [-]'].min():.1f}, "
        "away from loads and steps; no fatigue.",
        "One bar a shape; its length is its least stiffness under all load cases; behind it least, greatest and mass.",
        table.round(2),
    )


def gram_chart(table, worth, currency, noun):
    """Price of a gram saved over the number of kits, by route. `table` as `price_of_a_gram`; `worth` [currency/g];
    `noun` "kit" or "piece". Returns: Chart."""
    prices = table.reset_index().pivot_table("price of a gram", "kits", "route")
    begins = [(n, route) for route, n in pays_from(table, worth).items() if n]
    first, route = min(begins, default=(0, ""))
    pays = f"from {counted(first, noun)} on by {route}" if begins else "for none of these numbers"
    title = f"At {worth:g} {currency} a gram lightening pays {pays}"
    figure = canvas(title, f"{noun}s", f"price of a gram saved [{currency}/g]", log="x")
    for i, route in enumerate(prices.iloc[0].sort_values(ascending=False).index):  # names in the order of the marks
        look = LOOKS[route]
        line(figure, prices.index, prices[route], look.colour, look.dash, hover=f"%{{x}} {noun}s: %{{y:.2f}}")
        mark(figure, [prices.index[0]], [prices[route].iloc[0]], look.colour, look.marker, 9)
        arrow = {"arrow": (80, 22 * i - 30), "arrowhead": 0, "standoff": 6}
        write(figure, prices.index[0], prices[route].iloc[0], title_of(route), look.colour, "left", **arrow)
    line(figure, [prices.index[0], prices.index[-1]], [worth] * 2, dash="dash", width=1.5)
    # Not at the axis's very end, which rounding may put outside it.
    write(figure, prices.index[-2:][0], worth, "what a gram is worth", anchor="right", dy=10)
    return Chart(
        figure,
        f"The engineer's hours are paid once: few {noun}s carry them alone. Below zero the lighter is also cheaper.",
        f"One falling curve a route over the number of {noun}s, and a dashed line at what a gram is worth.",
        prices.round(2),
    )
