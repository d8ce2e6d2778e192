"""What the band of a fit does in a bearing's seat, cold and warm."""

import pandas as pd

from pourprint.figures.look import PARTS, Chart, tint
from pourprint.figures.strokes import band, canvas, line, mark, write
from pourprint.process.finish.seats import bearing_seat


def fit_chart(bore_mm, depth_mm, boss_mm, alloy, warmer_k=60.0, fits=("H7", "K7", "M7", "N7", "P7", "R7", "S7")):
    """Interference left in a seat for several fits, from the loosest to the tightest piece, in the room and warm.

    Parameters as `bearing_seat`. Returns: Chart.
    """
    seats = {fit: bearing_seat(bore_mm, depth_mm, fit, boss_mm, alloy, warmer_k) for fit in fits}
    rows = [f"{fit}, {state}" for fit in fits for state in ("room", "warm")]
    safe = [fit for fit, seat in seats.items() if (seat["verdict"] == "holds").all()]
    found = f"of these, {', '.join(safe)} is safe" if safe else "none of these fits is safe"
    title = f"{bore_mm:g} mm in {alloy.title}, up to {warmer_k:g} K warmer: {found}"
    figure = canvas(title, "interference left [µm]; left of zero the ring is loose", rows=rows)
    lowest = min(float(seat["left when warm [µm]"].min()) for seat in seats.values())
    band(figure, min(lowest, -5) - 5, 0)
    for fit, seat in seats.items():
        for state, column, colour in (("room", 0, PARTS[0]), ("warm", 1, PARTS[6])):
            ends = seat.iloc[:, column].tolist()
            line(figure, ends, [f"{fit}, {state}"] * 2, colour, "solid" if state == "room" else "dot", 5)
            mark(
                figure, ends, [f"{fit}, {state}"] * 2, tint(colour, 0.2), "circle" if state == "room" else "diamond", 8
            )
        word = "safe" if fit in safe else "yields" if seat["verdict"].str.startswith("yields").any() else "may be loose"
        write(figure, max(seat.iloc[:, 0]), f"{fit}, room", word, anchor="left", dx=8)
    table = pd.concat(seats, names=["fit"]).round(2).reset_index()
    return Chart(
        figure,
        f"Between room and {warmer_k:g} K more, {seats[fits[0]].iloc[0, 0] - seats[fits[0]].iloc[0, 1]:.1f} µm of "
        "interference are lost: the metals grow differently.",
        "Two bars a fit, solid in the room and dotted when warm, from the loosest to the tightest piece; where a bar "
        "reaches the grey ground the ring can turn.",
        table,
    )
