"""The demo lab's answers against those that are kept in goldens.json, section by section."""

import json
import math

import pytest

from goldens import KEPT, SECTIONS, computed

SHOWN = 5  # differences, of those that are found


def differences(kept, now, path):
    """Where two nested answers differ, as lines of text; numbers agree to 1e-9 of their size."""
    if isinstance(kept, dict) and isinstance(now, dict):
        for key in {**kept, **now}:
            if key in kept and key in now:
                yield from differences(kept[key], now[key], f"{path} / {key}")
            else:
                yield f"{path} / {key}: {'missing' if key in kept else 'new'}"
        if kept.keys() == now.keys() and [*kept] != [*now]:  # rankings are told by their order
            yield f"{path}: kept in the order {', '.join(kept)}, now {', '.join(now)}"
    elif isinstance(kept, list) and isinstance(now, list) and len(kept) == len(now):
        for i, pair in enumerate(zip(kept, now, strict=True)):
            yield from differences(*pair, f"{path} / {i}")
    elif not same(kept, now):
        yield f"{path}: kept {kept!r}, now {now!r}"


def same(kept, now):
    """Whether two leaves agree."""
    if isinstance(kept, float) and isinstance(now, (int, float)):
        return math.isclose(kept, now, rel_tol=1e-9, abs_tol=1e-12)
    return kept == now


@pytest.fixture(scope="module")
def kept():
    return json.loads(KEPT.read_text(encoding="utf-8"))


def test_the_same_sections_are_kept(kept):
    assert [*kept] == [*SECTIONS]


@pytest.mark.parametrize("section", SECTIONS)
def test_no_answer_has_changed(kept, section):
    found = list(differences(kept[section], computed(section), section))
    if found:
        pytest.fail("\n".join([f"{len(found)} differences:", *found[:SHOWN]]), pytrace=False)
