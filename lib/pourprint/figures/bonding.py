"""Shear along a bonded socket."""

import numpy as np
import pandas as pd

from pourprint.figures.look import INK, SERIES, Chart
from pourprint.figures.strokes import canvas, line, write
from pourprint.process.finish.bonding import allowable_mpa


def shear_chart(lap, force_n, warmer_k):
    """Shear along the bond from the socket's mouth to its bottom: by the load, by the cold, and both.

    Parameters: `lap` a Lap; `force_n` pull on the tube [N]; `warmer_k` above the cure [K]. Returns: Chart.
    """
    x = np.linspace(0, lap.length_mm, 81)
    load, cold = lap.load_shear_mpa(x, force_n), lap.thermal_shear_mpa(x, warmer_k)
    curves = {"load": load, "temperature": cold, "both": load + cold}
    ends, allowed = np.abs(curves["both"]).max(), allowable_mpa()
    mean = force_n / (2 * np.pi * lap.radius_mm * lap.length_mm)
    title = f"The bond's ends carry up to {ends:.0f} MPa, the mean is {mean:.1f}"
    figure = canvas(title, "from the socket's mouth [mm]", "shear [MPa]")
    # Names in the free corner above the curves, in their order.
    end, share, anchor = (1, 0.25, "left") if cold[0] > 0 else (-2, 0.75, "right")
    top, room = max(map(max, curves.values())), 0.11 * np.ptp([*curves.values()])
    named = sorted(curves, key=lambda name: -curves[name][end])
    for (name, curve), (colour, dash) in zip(curves.items(), SERIES, strict=False):
        line(figure, x, curve, colour, dash, hover=f"{name}: %{{y:.1f}} MPa at %{{x:.0f}} mm")
        place = (share * lap.length_mm, top - named.index(name) * room)
        write(figure, x[end], curve[end], name, colour, anchor, arrow=place, axref="x", ayref="y")
    line(figure, [0, lap.length_mm], [allowed] * 2, INK, "dash", 1.5)
    write(figure, lap.length_mm / 2, allowed, "allowed in the course, as a mean", arrow=(0, -40))
    table = pd.DataFrame({"from the mouth [mm]": x, **curves}).iloc[::8].round(2).set_index("from the mouth [mm]")
    return Chart(
        figure,
        f"Beyond {lap.useful_length_mm():.0f} mm a longer bond lowers the elastic peak by less than 5 %; peel and "
        "yielding are not in this model.",
        f"Three curves over {lap.length_mm:g} mm: both ends are high, the middle carries little.",
        table,
    )
