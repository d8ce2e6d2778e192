"""The answer box as a student meets it: by keyboard alone, named for a screen reader, saved at once."""

import json
import urllib.request

import pytest
from jupyter_browser import open_notebook, write_notebook

import pourprint as pp
from pourprint.lessons import answers

CELLS = [
    "import pourprint as pp\npp.lessons.sign_in()",
    'pp.lessons.ask("unit-cost")',
    'pp.lessons.ask("pattern-drying")',
    'pp.lessons.ask("saw-tooth")',
]


@pytest.fixture(scope="module")
def place(lab):
    address, folder = lab
    course = folder / "lessons" / "notebooks"
    course.mkdir(parents=True)
    (folder / "lessons" / "data_demo").symlink_to(folder / "data_demo")
    write_notebook(course / "exercises.ipynb", CELLS)
    return address, course


@pytest.fixture
def opened(place, page):
    open_notebook(page, place[0], "lessons/notebooks/exercises.ipynb")
    page.get_by_role("group", name="exercise: Predict the next kit").wait_for()
    return page


def posed(course, name, student):
    return pp.lessons.exercise_named(name).question(pp.lessons.classroom(folder=course), student)


def box(page, title):
    return page.get_by_role("group", name=f"exercise: {title}")


def says(element, text):
    element.get_by_role("status").filter(has_text=text).first.wait_for(timeout=15_000)


def keys(page, *pressed):
    for key in pressed:
        page.keyboard.press(key)


def focused(page):
    """What a screen reader would say of the focused control: its label, or its own text."""
    return page.evaluate("(e => e.labels?.[0]?.textContent || e.textContent)(document.activeElement)")


def new_kernels(address):
    """Have the server kill every kernel and start another in its place."""
    with urllib.request.urlopen(f"{address}/api/kernels", timeout=30) as reply:
        kernels = json.load(reply)
    assert kernels
    for kernel in kernels:
        killing = urllib.request.Request(f"{address}/api/kernels/{kernel['id']}/restart", method="POST")
        urllib.request.urlopen(killing, timeout=60).close()


def choose_by_keyboard(page, wanted):
    """Press ArrowDown in the focused menu until it shows the wanted option."""
    for _ in range(20):
        shown = page.evaluate("document.activeElement.selectedOptions[0].textContent").replace(
            "\N{NO-BREAK SPACE}", " "
        )
        letter, _, begun = shown.partition(": ")  # long options stand above the menu, which holds how they begin
        if shown == wanted or (begun and len(letter) == 1 and wanted.startswith(begun.removesuffix(" …"))):
            return
        keys(page, "ArrowDown")
    raise AssertionError(f"{wanted!r} was never reached by arrow keys")


def test_a_student_signs_in_and_answers_by_keyboard_alone(opened, place):
    page, (_, course) = opened, place
    page.get_by_label("your student id").focus()
    page.keyboard.type("Ada 07")
    keys(page, "Tab")
    assert focused(page) == "Sign in"
    keys(page, "Enter")
    page.get_by_role("status").filter(has_text="Signed in as ada 07").wait_for()

    cost = box(page, "Work out a unit cost")
    cost.get_by_label("your answer").focus()
    page.keyboard.type("1")
    keys(page, "Tab")
    assert focused(page) == "Check"
    keys(page, "Enter")
    says(cost, "ada 07 is signed in now")  # the box was open before: it changes to Ada's numbers first

    question = posed(course, "unit-cost", "ada 07")
    assert question.text in cost.inner_text()
    forgotten = question.number.slips["forgotten one-off cost"][0]
    cost.get_by_label("your answer").focus()
    page.keyboard.type(f"{forgotten:.2f}")
    keys(page, "Tab", "Enter")
    says(cost, "Something is paid once")
    keys(page, "Tab")
    assert focused(page).startswith("Hint")
    keys(page, "Enter")
    says(cost, "Hint 1")
    assert "Hints opened: 1 of 2." in cost.inner_text()
    keys(page, "Shift+Tab", "Shift+Tab", "Control+a")
    page.keyboard.type(question.worked["value"])
    keys(page, "Tab", "Enter")
    says(cost, "Right.")
    assert "Hopkinson" in cost.inner_text()

    kept = answers.read(course, "rover-2026", "ada 07")
    assert [event.answer["value"] for event in kept.of("unit-cost")] == [f"{forgotten:.2f}", question.worked["value"]]
    assert kept.hints("unit-cost") == 1
    page.get_by_role("button", name="Write my hand-in file").press("Enter")
    page.get_by_role("status").filter(has_text="Written: hand-in-ada-07").wait_for()
    (handed,) = course.glob("hand-in-ada-07*.jsonl")
    assert [each.student for each in answers.all_answers_in(handed.read_bytes())] == ["ada 07"]


def test_a_unit_is_chosen_with_arrow_keys_and_a_wrong_one_is_named(opened, place):
    page, (_, course) = opened, place
    answers.remember("bea", course)
    drying = box(page, "Wait for the shell")
    drying.get_by_role("button", name="Check").press("Enter")  # takes up the new student
    says(drying, "bea is signed in")
    question = posed(course, "pattern-drying", "bea")
    drying.get_by_label("your answer").focus()
    page.keyboard.type(question.worked["value"])
    keys(page, "Tab")
    choose_by_keyboard(page, "kg")
    keys(page, "Tab", "Enter")
    says(drying, "The unit does not fit")
    keys(page, "Shift+Tab", "Home")
    choose_by_keyboard(page, "h")
    keys(page, "Tab", "Enter")
    says(drying, "Right.")


def test_a_prediction_opens_its_slider_and_the_box_says_what_the_model_says(opened, place):
    page, (_, course) = opened, place
    answers.remember("cem", course)
    teeth = box(page, "Predict the next kit")
    teeth.get_by_role("button", name="Check").press("Enter")
    says(teeth, "cem is signed in")
    assert teeth.get_by_role("slider").count() == 0
    question = posed(course, "saw-tooth", "cem")
    teeth.get_by_label("your prediction").focus()
    choose_by_keyboard(page, question.fields[0].options[question.worked["prediction"]])
    keys(page, "Tab", "Enter")
    says(teeth, "Your prediction is noted")
    slider = teeth.get_by_role("slider", name="kits")
    slider.press("ArrowRight")
    says(teeth, question.slider.says(2))
    reason = teeth.get_by_label("what you see comes about because")
    reason.focus()
    choose_by_keyboard(page, question.fields[1].options[question.worked["reason"]])
    keys(page, "Tab", "Enter")
    says(teeth, "Your prediction came true")


def test_answers_are_there_after_the_kernel_was_killed(opened, place):
    page, (_, course) = opened, place
    answers.remember("dan", course)
    question = posed(course, "pattern-drying", "dan")
    drying = box(page, "Wait for the shell")
    drying.get_by_role("button", name="Check").press("Enter")
    says(drying, "dan is signed in")
    drying.get_by_label("your answer").fill("7")
    drying.get_by_label("unit").select_option("h")
    drying.get_by_role("button", name="Check").press("Enter")
    says(drying, "Saved")
    new_kernels(place[0])
    open_notebook(page, place[0], "lessons/notebooks/exercises.ipynb")
    again = box(page, "Wait for the shell")
    says(again, "Saved earlier")
    assert again.get_by_label("your answer").input_value() == "7" and question.text in again.inner_text()
