"""Five hundred generated inputs, always the same, and those that broke once: see `fuzz`, which runs any number."""

from fuzz import KINDS, run

ONCE = (122, 209, 210, 1538, 1832, 1836, 2309, 2988, 6936)  # solids cut away whole, endless numbers, endless names


def test_whatever_is_read_ends_in_a_right_result_or_one_clear_sentence():
    ended, broken = run([*range(500), *ONCE])
    assert broken == {}
    kinds = {kind.__name__ for kind in KINDS}
    assert {kind for kind, how in ended if how == "refused"} >= kinds - {"hand_in"}  # marking reports, it refuses none
    assert {kind for kind, how in ended if how == "read"} == kinds
