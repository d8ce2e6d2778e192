"""A bearing's seat in a node: what the fit's band presses, holds and keeps when warm, whether the boss stands it."""

from pourprint.ledger.checks import check_numbers
from pourprint.ledger.entries import joints, table_of, values_of
from pourprint.process.finish.iso_fits import Ring, pressed, ring_fit_um, warm_to_fit_k


def bearing_seat(bore_mm, depth_mm, fit, boss_mm, alloy, warmer_k=0.0):
    """The loosest and the tightest seat of a bearing's outer ring in a boss, as a pandas table.

    bore_mm, depth_mm [mm], fit as "N7"; boss_mm outer diameter of the boss [mm]; alloy: Alloy of the node; warmer_k:
    service above the room [K]. Columns: interference in the room and left when warm [µm], pressure, hoop stress [MPa],
    von Mises over yield [-], holding force warm [N], warming for assembly [K], verdict in words.
    Raises: InputError. Limits: see iso_fits; the ring is a plain thin one; lost bearing play is not told.
    """
    check_numbers(arrays=False, bore_mm=bore_mm, depth_mm=depth_mm, boss_mm=boss_mm)
    value = values_of(joints())
    grows = value[f"expansion.{alloy.family}"]
    ring = Ring(
        bore_mm * value["seat.ring_share"],
        bore_mm,
        value["seat.ring_youngs"],
        value["seat.ring_poisson"],
        value["expansion.ring"],
    )
    boss = Ring(bore_mm, boss_mm, alloy["youngs_modulus"], value[f"poisson.{alloy.family}"], grows)
    rows = []
    for name, interference in zip(("loosest", "tightest"), ring_fit_um(bore_mm, fit), strict=True):
        room, warm = pressed(ring, boss, interference), pressed(ring, boss, interference, warmer_k)
        used = float(max(room.mises_mpa, warm.mises_mpa)) / alloy["yield_strength"]
        verdict = "holds"
        if used > 1:
            verdict = "yields: the boss stretches for good; take a looser fit or a thicker boss"
        elif warm.interference_um <= 0:
            verdict = "loose: the ring creeps round; take a tighter fit, a retainer or an adhesive"
        rows.append(
            {
                "seat": name,
                "interference [µm]": interference,
                "left when warm [µm]": float(warm.interference_um),
                "pressure [MPa]": float(room.pressure_mpa),
                "hoop [MPa]": float(room.hoop_mpa),
                "share of yield [-]": used,
                "holding when warm [N]": float(warm.holding_n(bore_mm, depth_mm, value["seat.friction"])),
                "warm to assemble [K]": max(warm_to_fit_k(bore_mm, interference, value["seat.play"], grows), 0.0),
                "verdict": verdict,
            }
        )
    return table_of(rows, "seat")
