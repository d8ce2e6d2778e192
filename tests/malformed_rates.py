"""Bad rate cards: MALFORMED is a list of (name, function(folder) -> None) that must raise InputError."""

import pourprint as pp
from scenes import DEMO, demo_rates

TEXT = (DEMO / "rates.toml").read_text(encoding="utf-8")
LINE = next(line for line in TEXT.splitlines() if line.startswith("technician"))
SOURCE = LINE[LINE.index(", source = ") : LINE.rindex(" }")]


def load(text):
    """A card file of some text or bytes, loaded."""

    def attempt(folder):
        path = folder / "card.toml"
        path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
        pp.RateCard.load(path)

    return attempt


def edit(old, new):
    """The demo card with one thing changed, loaded."""
    assert TEXT.count(old) >= 1
    return load(TEXT.replace(old, new, 1))


def entry(old, new):
    """The demo card with one thing changed in the technician's line, loaded."""
    assert LINE.count(old) == 1
    return load(TEXT.replace(LINE, LINE.replace(old, new)))


def process_value(key, value, unit):
    """The demo card with one value of a process table added, loaded."""
    section, name = key.split(".")
    rest = f'unit = "{unit}", low = 0, high = 9, pedigree = "invented", source = "x"'
    return load(f"{TEXT}\n[{section}]\n{name} = {{ value = {value}, {rest} }}\n")


def replaced(changes, **more):
    return lambda folder: demo_rates().replace(changes, **more)


MALFORMED = [
    # The file
    ("no such file", lambda folder: pp.RateCard.load(folder / "none.toml")),
    ("a folder", lambda folder: pp.RateCard.load(folder)),
    ("no path", lambda folder: pp.RateCard.load(None)),
    ("a number for a path", lambda folder: pp.RateCard.load(7)),
    ("empty file", load("")),
    ("not TOML", load("technician: 38 EUR/h\n")),
    ("a spreadsheet", load(b"PK\x03\x04\xff\xfe\x00\x00")),
    ("Latin-1 text", load('lab = "Gießerei"\n'.encode("latin-1"))),
    ("a section twice", load(TEXT + "\n[labour]\n")),
    ("a decimal comma", entry("38.0", "38,0")),
    # The head
    ("no lab", edit("lab = ", "laboratory = ")),
    ("no currency", edit('currency = "EUR"', "")),
    ("a price in another currency", entry("currency/h", "USD/h")),
    ("currency is a number", edit('currency = "EUR"', "currency = 1")),
    ("no date", edit("date = 2026-11-01", "")),
    ("date as text", edit("date = 2026-11-01", 'date = "November"')),
    ("lab is blank", edit('lab = "Rover workshop (invented)"', 'lab = " "')),
    # The hours
    ("no hours", edit("[hours]", "[house]")),
    ("closing before opening", edit('end = "16:00"', 'end = "07:00"')),
    ("no such time", edit('start = "08:00"', 'start = "25:00"')),
    ("time as a number", edit('start = "08:00"', "start = 8")),
    ("time with seconds", edit('start = "08:00"', 'start = "08:00:30"')),
    ("no such day", edit('"Mon"', '"Montag"')),
    ("a day twice", edit('"Mon"', '"Tue"')),
    ("no day", edit('["Mon", "Tue", "Wed", "Thu", "Fri"]', "[]")),
    ("days as text", edit('["Mon", "Tue", "Wed", "Thu", "Fri"]', '"Mon-Fri"')),
    ("a holiday that is no date", edit("2026-12-24", '"Christmas"')),
    ("unknown hours key", edit("holidays =", "hollidays =")),
    ("hours as a value", load('hours = "always"\n' + TEXT.replace("[hours]", "[house]"))),
    # The entries
    ("a missing entry", load(TEXT.replace(LINE, ""))),
    ("a missing section", edit("[powder]", "[pulver]")),
    ("a misspelt entry", entry("technician", "technicain")),
    ("a misspelt field", entry("pedigree", "pedigre")),
    ("a bare number", load(TEXT.replace(LINE, "technician = 38.0"))),
    ("a negative wage", entry("value = 38.0, unit", "value = -38.0, unit")),
    ("value as text", entry("38.0", '"38.0"')),
    ("value as a list", entry("38.0", "[38.0]")),
    ("value true", entry("38.0", "true")),
    ("value not a number", entry("38.0", "nan")),
    ("value infinite", entry("38.0", "inf")),
    ("value above its range", entry("38.0", "380.0")),
    ("value below its range", entry("38.0", "3.8")),
    ("range upside down", entry("low = 25.0, high = 60.0", "low = 60.0, high = 25.0")),
    ("wrong unit", entry("currency/h", "currency/day")),
    ("no unit", entry('unit = "currency/h", ', "")),
    ("no source", entry(SOURCE, "")),
    ("blank source", entry(SOURCE, ', source = ""')),
    ("unknown pedigree", entry('"invented"', '"gut feeling"')),
    ("entry date as text", entry("technician = {", 'technician = { date = "soon",')),
    ("unknown section", process_value("magic.wand", 1, "h")),
    ("unknown process value", process_value("shell.coatings", 1, "h")),
    ("process value in another unit", process_value("shell.dip_time", 6, "min")),
    ("a divisor of zero", process_value("foundry.crucible", 0, "kg")),
    ("a yield above one", process_value("foundry.yield_pour", 1.2, "-")),
    # Changing and saving
    ("replace an unknown key", replaced({"labour.robot": 1.0})),
    ("replace with a key that is no text", replaced({5: 1.0})),
    ("replace with text", replaced({"labour.technician": "a lot"})),
    ("replace with nothing", replaced({"labour.technician": None})),
    ("replace with true", replaced({"labour.technician": True})),
    ("replace with a negative", replaced({"labour.technician": -1.0})),
    ("replace with not a number", replaced({"labour.technician": float("nan")})),
    ("replace with an infinity in an array", replaced({"labour.technician": [1.0, float("inf")]})),
    ("replace with an empty array", replaced({"labour.technician": []})),
    ("replace with a ragged array", replaced({"labour.technician": [1.0, [2.0, 3.0]]})),
    ("replace with a complex number", replaced({"labour.technician": 1 + 2j})),
    ("replace a divisor by zero", replaced({"machining.removal_rate": 0.0})),
    ("replace a yield by two", replaced({"foundry.yield_pour": 2.0})),
    ("replace by a list of pairs", replaced([("labour.technician", 1.0)])),
    ("replace with an unknown pedigree", replaced({"labour.technician": 1.0}, pedigree="rumour")),
    ("replace without a source", replaced({"labour.technician": 1.0}, source="")),
    ("read an unknown key", lambda folder: demo_rates()["labour.robot"]),
    ("read a key that is no text", lambda folder: demo_rates()[["labour"]]),
    ("hours that are none", lambda folder: demo_rates().with_hours("9 to 5")),
    ("save arrays", lambda folder: demo_rates().replace({"machine.kiln": [1.0, 2.0]}).save(folder / "a.toml")),
    ("save into no folder", lambda folder: demo_rates().save(folder / "none" / "a.toml")),
    ("save to nowhere", lambda folder: demo_rates().save(None)),
    ("working hours past midnight", lambda folder: pp.WorkingHours(start_h=20.0, end_h=28.0)),
    ("working hours as text", lambda folder: pp.WorkingHours(start_h="8")),
    ("working days as text", lambda folder: pp.WorkingHours(days="Mon")),
    ("holidays as text", lambda folder: pp.WorkingHours(holidays=("2026-12-24",))),
    ("an annuity at no interest", lambda folder: pp.annuity(1000, 8, 0)),
    ("an annuity over no years", lambda folder: pp.annuity(1000, 0, 0.06)),
    ("a machine that never runs", lambda folder: pp.machine_hour(1000, 5, 0)),
    ("a machine that runs more than always", lambda folder: pp.machine_hour(1000, 5, 1.1)),
]
