"""The command `pourprint`: measure, check, compare, write the memo, sweep many kits, mark a class.

The same library calls as in the notebooks. Exit codes: 0 done, 1 no route can, 2 something given cannot be used.
"""

import argparse
import sys
from pathlib import Path

DONE, CANNOT, WRONG = 0, 1, 2
HELD = ("rates", "alloy", "quantity", "batch", "start", "deadline", "price_of_day")  # what a kept setting says itself
EPILOG = "Estimates for teaching and planning, never a quotation or a safety approval."


def parser():
    """The command's parser."""
    top = argparse.ArgumentParser(prog="pourprint", description="Pour or Print: from the command line.", epilog=EPILOG)
    commands = top.add_subparsers(dest="command", required=True, metavar="COMMAND")

    def command(name, run, said, example):
        made = commands.add_parser(
            name, help=said, description=said, epilog=f"Example: pourprint {example}\n{EPILOG}",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )  # fmt: skip
        made.set_defaults(run=run)
        return made

    made = command("measure", measure, "Measure a mesh, or each part of a kit.", "measure node.stl --unit inch")
    made.add_argument("mesh", help="STL, 3MF or OBJ file, or a kit as .toml")
    _mesh_options(made)
    _forms(made)
    made = command("check", check, "Check whether a kit or mesh can be made.", "check node.stl --alloy AlSi7Mg")
    _job_options(made)
    _forms(made)
    made = command(
        "compare", compare, "Compare the routes for a kit or mesh.",
        "compare rover_kit.toml --rates rates.toml --quantity 4 --start 2026-12-01",
    )  # fmt: skip
    _job_options(made)
    _when(made)
    _forms(made)
    made = command(
        "memo", write_memo, "Write the decision as a page that opens offline.",
        "memo rover_kit.toml --rates rates.toml --start 2026-12-01 --deadline 2027-01-15 -o memo.html --pdf --xlsx",
    )  # fmt: skip
    _job_options(made)
    _when(made)
    made.add_argument("--argument", default="", help="your own words, printed under the recommendation")
    made.add_argument("-o", "--output", required=True, help="file to write, ending in .html")
    made.add_argument("--pdf", action="store_true", help="also as PDF, beside it")
    made.add_argument("--xlsx", action="store_true", help="also every number as XLSX, beside it")
    made.add_argument("--replace", action="store_true", help="write over files that are there")
    made = command(
        "sweep", sweep, "Compare the routes for every kit (.toml) of a folder.",
        "sweep kits --rates rates.toml --start 2026-12-01 --csv",
    )  # fmt: skip
    made.add_argument("folder", help="folder with kits as .toml files")
    _lab_options(made)
    made.add_argument("--start", required=True, help="date, or date and time")
    made.add_argument(
        "--workers", type=int, default=0, help="processes of a dask cluster on this machine (default: none)"
    )
    _forms(made)
    made = command("mark", mark, "Mark a folder of handed-in files.", "mark handed_in --class class.toml -o marks.csv")
    made.add_argument("folder", help="folder of handed-in files")
    made.add_argument("--class", dest="class_file", required=True, help="the class's TOML file")
    made.add_argument("-o", "--output", required=True, help="mark sheet to write, ending in .csv")
    made.add_argument("--replace", action="store_true", help="write over files that are there")
    return top


def _mesh_options(made):
    made.add_argument("--unit", default="mm", help="unit of the mesh: mm, cm, m or inch (default: mm)")


def _lab_options(made):
    made.add_argument("--rates", help="rate card as .toml (default: the library's placeholder)")
    made.add_argument("--alloy", help="alloy (default: AlSi7Mg)")
    made.add_argument("--quantity", type=int, help="kits wanted (default: 1)")


def _job_options(made):
    made.add_argument("kit", help="kit as .toml, or a mesh; to compare or write a memo also a kept setting")
    _mesh_options(made)
    _lab_options(made)
    made.add_argument("--batch", type=int, help="kits made together (default: all at once)")


def _when(made):
    made.add_argument("--start", help="date, or date and time, such as 2026-12-01; a kept setting has its own")
    made.add_argument("--deadline", help="date by which it is wanted")
    made.add_argument("--price-of-day", type=float, help="what a day costs (default: 0)")


def _forms(made):
    form = made.add_mutually_exclusive_group()
    form.add_argument("--csv", dest="form", action="store_const", const="csv", help="print as CSV")
    form.add_argument("--json", dest="form", action="store_const", const="json", help="print as JSON")


# What the commands do ---------------------------------------------------------------------------------


def measure(given):
    """The facts of a mesh, or of a kit's parts."""
    import pourprint as pp

    _print(pp.facts(*(item.part for item in _read(given.mesh, given.unit).parts)).rename_axis("fact"), given.form)
    return DONE


def check(given):
    """What stands against the parts, route by route."""
    import pourprint as pp

    plans = pp.plan_all(_job(given), _rates(given))
    _print(pp.report.findings_table(plans), given.form)
    return DONE if any(plan.feasible for plan in plans.values()) else CANNOT


def compare(given):
    """The memo's table of routes."""
    import pourprint as pp

    found = _memo(given)
    if not given.form:
        print(f"{found.recommendation}\n")
    _print(pp.report.routes_table(found), given.form, found.rates.currency)
    return DONE


def write_memo(given):
    """The memo's files."""
    from pourprint.ledger.errors import InputError
    from pourprint.ledger.files import check_free

    path = Path(given.output)
    if path.suffix != ".html":
        raise InputError(f"--output {given.output!r} must end in .html.")
    paths = [path, *(path.with_suffix(f".{name}") for name in ("pdf", "xlsx") if getattr(given, name))]
    check_free(*paths, replace=given.replace)
    found = _memo(given)
    print(found.recommendation)
    for each in paths:
        print(found.write(each, given.replace), file=sys.stderr)
    return DONE


def sweep(given):
    """Every kit of a folder on its cheapest route."""
    import pandas as pd

    import pourprint as pp

    paths = sorted(str(path) for path in Path(given.folder).glob("*.toml"))
    if not paths:
        raise pp.InputError(f"folder {given.folder!r} holds no kit that ends in .toml.")
    rates, client = _rates(given), None
    function = pp.sweep.Kits(*_alloy_and_quantity(given), rates, given.start)
    if given.workers:
        from distributed import Client

        client = Client(n_workers=given.workers, threads_per_worker=1, dashboard_address=None)
    try:
        found = pp.sweep.sweep(function, {"path": paths}, chunk=1, client=client, progress=_progress)
    finally:
        if client is not None:
            client.close()
    table = pd.DataFrame(found, index=pd.Index([Path(path).name for path in paths], name="kit"))
    heads = {"unit_cost": f"a kit with failures [{rates.currency}]", "days": "days with failures [d]"}
    _print(table.rename(columns=heads), given.form, rates.currency)
    return DONE if (table["best"] != "").any() else CANNOT


def mark(given):
    """The mark sheet and the reports of a class."""
    from pourprint.ledger.errors import InputError
    from pourprint.ledger.files import check_free
    from pourprint.lessons.marking import mark as marked

    path = Path(given.output)
    if path.suffix != ".csv":
        raise InputError(f"--output {given.output!r} must end in .csv.")
    check_free(path, path.with_name(f"{path.stem}-reports.csv"), replace=given.replace)
    for written in marked(given.folder, given.class_file).save(path, given.replace):
        print(written)
    return DONE


def _rates(given):
    import pourprint as pp

    return pp.RateCard.load(given.rates) if given.rates else pp.RateCard.default()


def _job(given):
    import pourprint as pp

    return pp.Job(_read(given.kit, given.unit), *_alloy_and_quantity(given), given.batch)


def _read(path, unit):
    """A kit, or a mesh as a kit of one; what was mended, estimated or is doubted in it is said on stderr."""
    import pourprint as pp

    is_kit = Path(path).suffix.lower() == ".toml"
    kit = pp.Kit.load(path) if is_kit else pp.Kit.of(pp.Part.from_mesh(path, unit))
    said = [f"{item.part.title}: {note}" for item in kit.parts for note in item.part.notes]
    print(*said, sep="\n", end="\n" * bool(said), file=sys.stderr)
    return kit


def _alloy_and_quantity(given):
    return given.alloy or "AlSi7Mg", 1 if given.quantity is None else given.quantity


def _memo(given):
    import pourprint as pp
    from pourprint.decide.settings import ENDING

    more = {"argument": given.argument} if hasattr(given, "argument") else {}
    if given.kit.endswith(ENDING):
        if said := [f"--{name.replace('_', '-')}" for name in HELD if getattr(given, name) is not None]:
            raise pp.InputError(f"{given.kit} says that itself: leave {', '.join(said)} out, or change the file.")
        return pp.report.memo_of(pp.Setting.load(given.kit), **more)
    if given.start is None:
        raise pp.InputError("--start must say when work may begin: a date, such as 2026-12-01.")
    day = given.price_of_day or 0.0
    return pp.report.memo(_job(given), _rates(given), given.start, given.deadline, day, **more)


def _progress(done, of):
    print(f"\r{done} of {of} kits", end="\n" if done == of else "", file=sys.stderr, flush=True)


def _print(table, form, currency=""):
    if form == "csv":
        from pourprint.ledger.files import harmless_csv

        print(harmless_csv(table.reset_index()), end="")
    elif form == "json":
        print(table.reset_index().to_json(orient="records", indent=1, force_ascii=False, double_precision=10))
    else:
        from pourprint.report import plain_text

        print(plain_text(table, currency))


def main(arguments=None):
    """Run a command. Returns: its exit code; what cannot be used is said in a sentence on stderr."""
    given = parser().parse_args(arguments)
    if hasattr(sys.stdout, "reconfigure"):
        sys.stdout.reconfigure(encoding="utf-8")  # wherever it goes: older encodings lack cm³, arrows and names
    from pourprint.ledger.errors import Infeasible, InputError

    try:
        return given.run(given)
    except InputError as error:
        print(f"pourprint: {error}", file=sys.stderr)
        return CANNOT if isinstance(error, Infeasible) else WRONG
    except OSError as error:
        print(f"pourprint: {error.filename or given.command}: {error.strerror}.", file=sys.stderr)
    except KeyboardInterrupt:
        print("pourprint: stopped.", file=sys.stderr)
    return WRONG


if __name__ == "__main__":
    sys.exit(main())
