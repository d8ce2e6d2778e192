"""Fits and bonds: shear along a bonded socket, and what the band of a fit does in a bearing's seat, cold and warm."""

import numpy as np
import pandas as pd

from pourprint.figures.look import INK, PARTS, SERIES, Chart, tint
from pourprint.figures.strokes import band, canvas, line, mark, write
from pourprint.process.finish.bonding import allowable_mpa
from pourprint.process.finish.seats import bearing_seat


def shear_chart(lap, force_n, warmer_k):
    """Shear along the bond from the socket's mouth to its bottom: by the load, by the cold, and both.

    Parameters: `lap` a Lap; `force_n` pull on the tube [N]; `warmer_k` above the cure [K]. Returns: Chart.
    """
    x = np.linspace(0, lap.length_mm, 81)
    load, cold = lap.load_shear_mpa(x, force_n), lap.thermal_shear_mpa(x, warmer_k)
    curves = {"load": load, "temperature": cold, "both": load + cold}
    ends, allowed = np.abs(curves["both"]).max(), allowable_mpa()
    mean = lap.mean_shear_mpa(force_n)
    title = f"Shear in the bond: up to {ends:.0f} MPa at an end, {mean:.1f} MPa on average"
    figure = canvas(title, "from the socket's mouth [mm]", "shear [MPa]")
    # Names in the free corner above the curves, in their order; the load's at the other end, where it is alone.
    here, there = [(1, 0.25, "left"), (-2, 0.75, "right")][:: 1 if cold[0] > 0 else -1]
    top, room = max(map(max, curves.values())), 0.11 * np.ptp([*curves.values()])
    down = ["load", *sorted(["temperature", "both"], key=lambda name: -curves[name][here[0]])]
    for (name, curve), (colour, dash) in zip(curves.items(), SERIES, strict=False):
        line(figure, x, curve, colour, dash, hover=f"{name}: %{{y:.1f}} MPa at %{{x:.0f}} mm")
        end, share, anchor = there if name == "load" else here
        place = (share * lap.length_mm, top - max(down.index(name) - 1, 0) * room)
        write(figure, x[end], curve[end], name, colour, anchor, arrow=place, axref="x", ayref="y")
    limit, load_s = f"allowed in the course, as a mean: {allowed:.1f} MPa", f"the load's mean: {mean:.1f} MPa"
    for height, dash, words, down in ((allowed, "dash", limit, -45), (mean, "longdashdot", load_s, 35)):
        line(figure, [0, lap.length_mm], [height] * 2, INK, dash, 1.5)
        write(figure, lap.length_mm / 2, height, words, arrow=(0, down))
    table = pd.DataFrame({"from the mouth [mm]": x, **curves}).iloc[::8].round(2).set_index("from the mouth [mm]")
    return Chart(
        figure,
        f"Beyond {lap.useful_length_mm():.0f} mm a longer bond lowers the elastic peak by less than 5%; peel and "
        "yielding are not in this model.",
        f"Three curves over {lap.length_mm:g} mm: both ends are high, the middle carries little; dashed the "
        "load's mean and what is allowed.",
        table,
    )


def fit_chart(bore_mm, depth_mm, boss_mm, alloy, warmer_k=60.0, fits=("H7", "K7", "M7", "N7", "P7", "R7", "S7")):
    """Interference left in a seat for several fits, from the loosest to the tightest piece, in the room and warm.

    Parameters as `bearing_seat`. Returns: Chart.
    """
    seats = {fit: bearing_seat(bore_mm, depth_mm, fit, boss_mm, alloy, warmer_k) for fit in fits}
    rows = [f"{fit}, {state}" for fit in fits for state in ("room", "warm")]
    safe = [fit for fit, seat in seats.items() if (seat["verdict"] == "holds").all()]
    found = f"safe of these: {', '.join(safe)}" if safe else "none of these fits is safe"
    title = f"{bore_mm:g} mm in {alloy.title}, up to {warmer_k:g} K warmer: {found}"
    figure = canvas(title, "interference that remains [µm]; below zero the ring is loose", rows=rows)
    lowest = min(float(seat["left when warm [µm]"].min()) for seat in seats.values())
    band(figure, min(lowest, -5) - 5, 0)
    states = (("room", PARTS[0], "solid", "circle"), ("warm", PARTS[6], "dot", "diamond"))
    for fit, seat in seats.items():
        for column, (state, colour, dash, symbol) in enumerate(states):
            ends, row = seat.iloc[:, column].tolist(), [f"{fit}, {state}"] * 2
            line(figure, ends, row, colour, dash, 5)
            mark(figure, ends, row, tint(colour, 0.2), symbol, 8)
        loose = "loose" if seat.iloc[:, :2].max().min() < 0 else "may be loose"
        word = "safe" if fit in safe else "yields" if seat["verdict"].str.startswith("yields").any() else loose
        column = int(seat.iloc[:, :2].min().argmin())  # beside the looser of the two, which decides
        write(figure, max(seat.iloc[:, column]), f"{fit}, {states[column][0]}", word, anchor="left", dx=8)
    table = pd.concat(seats, names=["fit"]).round(2).reset_index()
    return Chart(
        figure,
        f"Between room and {warmer_k:g} K more, {seats[fits[0]].iloc[0, 0] - seats[fits[0]].iloc[0, 1]:.1f} µm of "
        "interference are lost: the metals grow differently.",
        "Two bars a fit, solid in the room and dotted when warm, from the loosest to the tightest piece; where a bar "
        "reaches the grey ground the ring can turn.",
        table,
    )
