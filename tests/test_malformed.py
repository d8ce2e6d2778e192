"""Bad input, all of it: one readable message, in Python and in a notebook, and never a traceback."""

import importlib
from pathlib import Path

import pytest
from IPython.core.interactiveshell import InteractiveShell
from IPython.utils.capture import capture_output

from pourprint.ledger.errors import InputError

LISTS = sorted(path.stem for path in Path(__file__).parent.glob("malformed_*.py"))
CASES = [(f"{name}: {case}", attempt) for name in LISTS for case, attempt in importlib.import_module(name).MALFORMED]
each_case = pytest.mark.parametrize("attempt", [case[1] for case in CASES], ids=[case[0] for case in CASES])


def test_there_are_many_and_each_has_its_own_name():
    assert {"malformed_jobs", "malformed_rates"} <= set(LISTS)
    assert len(CASES) >= 60 and len({name for name, _ in CASES}) == len(CASES)


@pytest.fixture(scope="module")
def shell():
    """A real IPython shell in this process, without colours so that the text can be read."""
    shell = InteractiveShell.instance()
    shell.run_line_magic("colors", "nocolor")
    yield shell
    InteractiveShell.clear_instance()


@each_case
def test_bad_input_raises_one_message(attempt, tmp_path):
    with pytest.raises(InputError) as caught:
        attempt(tmp_path)
    message = str(caught.value)
    assert len(message.split()) >= 4 and message[-1] in ".?"
    assert "Traceback" not in message and "Error" not in message


@each_case
def test_a_notebook_shows_the_message_and_no_traceback(attempt, tmp_path, shell):
    shell.user_ns.update(attempt=attempt, folder=tmp_path)
    with capture_output() as shown:
        result = shell.run_cell("attempt(folder)")
    text = shown.stdout + shown.stderr
    assert isinstance(result.error_in_exec, InputError)
    assert " ".join(str(result.error_in_exec).split()) in " ".join(text.split())
    assert text.count("Please check your input") + text.count("This cannot be made") == 1
    assert "Traceback" not in text and 'File "' not in text and ".py" not in text


def test_an_error_of_our_own_would_show_in_full(shell):
    # The other way round, so that the test above can fail: any other exception does print a traceback.
    with capture_output() as shown:
        shell.run_cell("1 / 0")
    assert "Traceback" in shown.stdout + shown.stderr
