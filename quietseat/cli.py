"""The command line: one call and a print. Heavy modules are loaded inside the command that needs them."""

from __future__ import annotations

import json
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer

from quietseat.status import InputUnusable

app = typer.Typer(
    no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False, rich_markup_mode=None,
    help="Find the troubled relief valves of a plant register, prove the cause, choose the cheapest cure.",
)  # fmt: skip

JsonFlag = Annotated[bool, typer.Option("--json", help="Print the whole answer as JSON.")]
OutFolder = Annotated[Path, typer.Option("--out", help="Folder for the study.")]
BasisFile = Annotated[Path | None, typer.Option("--basis", help="TOML file with your choices.")]
MendsFile = Annotated[Path | None, typer.Option("--mends", help="CSV of mends: sheet,row,field,value,who,when,why.")]
Engine = Annotated[str, typer.Option("--engine", help="What marches in time: local; cuda comes with its extra.")]


def _print_version(wanted: bool) -> None:
    if wanted:
        version()
        raise typer.Exit


@app.callback()
def _options(
    version: Annotated[bool, typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version and stop.")] = False,
) -> None:
    """Find the troubled relief valves of a plant register, prove the cause, choose the cheapest cure."""


def main() -> None:
    """Entry point: an unusable input ends with one sentence and exit code 2, a failure of ours with 1."""
    try:
        code = app(standalone_mode=False)
    except InputUnusable as unusable:
        _stop(str(unusable))
    except (typer.Abort, KeyboardInterrupt):
        sys.exit(130)
    except Exception as error:
        said = getattr(error, "format_message", None)  # a wrong option or command, however the library packs it
        if said is None:
            raise
        if error.__class__.__name__ == "NoArgsIsHelpError":
            typer.echo(said())
            sys.exit(2)
        _stop(f"{said().rstrip('.')}; see quietseat --help.")
    sys.exit(code if isinstance(code, int) else 0)


def _stop(sentence: str) -> None:
    """One sentence on standard error and exit code 2."""
    typer.echo("quietseat: " + " ".join(sentence.split()), err=True)
    sys.exit(2)


@app.command()
def version() -> None:
    """Print the version."""
    from quietseat import __version__

    typer.echo(__version__)


@app.command()
def demo(out: OutFolder = Path("quietseat-demo")) -> None:
    """Study the packaged register of an invented plant, from rows to report."""
    from quietseat import demo as packaged
    from quietseat.basis import load

    typer.echo("The plant, its data and every valve in it are invented.")
    _folder(out)
    register, mends, choices = packaged.copy(out)
    _study(register, load(choices), mends, out)


@app.command()
def read(
    register: Annotated[str, typer.Argument(help="Register: .xlsx, .csv, .xls, .ods, or - for CSV on standard input.")],
    basis: BasisFile = None,
    mends: MendsFile = None,
    as_json: JsonFlag = False,
) -> None:
    """Read a register and show what was read, assumed and refused."""
    from quietseat.register import read as read_register

    found = read_register(register, _basis(basis), str(mends) if mends else None)
    _print(as_json, found.to_dict, lambda: _say.register(found))


@app.command()
def size(case: Annotated[str, typer.Argument(help="Case file (TOML), or -.")], as_json: JsonFlag = False) -> None:
    """Size one relief case and show every step."""
    from quietseat.answers import size_answer

    answer = size_answer(case)
    _print(as_json, lambda: answer, lambda: _say.size(answer))


@app.command()
def valve(case: Annotated[str, typer.Argument(help="Valve file (TOML), or -.")], as_json: JsonFlag = False) -> None:
    """Assess one valve: sizing, pipes, stability, findings, verdict."""
    from quietseat.answers import valve_answer

    answer = valve_answer(case)
    _print(as_json, lambda: answer, lambda: _say.valve(answer))


@app.command()
def chatter(
    case: Annotated[str, typer.Argument(help="Valve file (TOML), or -.")],
    samples: Annotated[int | None, typer.Option("--samples", help="Draws of what nobody stated; 1 = the stated values once.")] = None,
    engine: Engine = "local",
    as_json: JsonFlag = False,
) -> None:
    """March one valve in time: will it chatter, how likely, why, and what keeps it quiet."""
    from quietseat.answers import chatter_answer

    answer = chatter_answer(case, samples, engine)
    _print(as_json, lambda: answer, lambda: _say.chatter(answer))


@app.command()
def leak(case: Annotated[str, typer.Argument(help="Valve file (TOML), or -.")], as_json: JsonFlag = False) -> None:
    """Say what one valve leaks: every basis side by side, the one that applies, product and carbon."""
    from quietseat.leakage import leak_answer

    answer = leak_answer(case)
    _print(as_json, lambda: answer, lambda: _say.leak(answer))


@app.command()
def cost(
    case: Annotated[str, typer.Argument(help="Valve file (TOML), or -.")],
    remedy: Annotated[str, typer.Option("--remedy", help="Name of the remedy; keep = the valve as it is.")],
    as_json: JsonFlag = False,
) -> None:
    """Price one remedy over its life against keeping the valve: parts, range, whether it pays."""
    from quietseat.cost import cost_answer

    answer = cost_answer(case, remedy)
    _print(as_json, lambda: answer, lambda: _say.cost(answer))


@app.command()
def plan(
    saved: Annotated[Path, typer.Argument(help="study.json")],
    budget: Annotated[str | None, typer.Option("--budget", help="Money for all windows, as '500 kEUR'.")] = None,
    outage: Annotated[str | None, typer.Option("--outage", help="Length of the outage, as '12 d'.")] = None,
    crew: Annotated[str | None, typer.Option("--crew", help="Crew hours, as '900 h'.")] = None,
    windows: Annotated[str | None, typer.Option("--windows", help="TOML file with several outages; - = standard input.")] = None,
    as_json: JsonFlag = False,
) -> None:
    """Choose the remedies of a study for a budget, an outage and a crew, with the reason for each."""
    from quietseat.planning.answer import plan_answer

    answer = plan_answer(str(saved), budget=budget, outage=outage, crew=crew, windows=windows)
    _print(as_json, lambda: answer, lambda: _say.plan(answer))


@app.command()
def ask(
    saved: Annotated[Path, typer.Argument(help="study.json")],
    out: Annotated[Path, typer.Option("--out", help="Folder for the walk-down list and the blank form.")] = Path("quietseat-ask"),
    as_json: JsonFlag = False,
) -> None:
    """List what to find out next about a study's valves, and write the walk-down list and a blank form."""
    from quietseat.report.asking import write as write_forms
    from quietseat.walkdown import ask_answer

    _folder(out)
    answer = ask_answer(saved)
    try:
        answer["files"] = [str(path) for path in write_forms(answer, out)]
    except OSError as error:
        raise InputUnusable(_cannot_write(error.filename or out, error)) from error
    _print(as_json, lambda: answer, lambda: _say.ask(answer))


@app.command()
def study(
    register: Annotated[Path, typer.Argument(help="Register: .xlsx, .csv, .xls or .ods.")],
    basis: BasisFile = None,
    mends: MendsFile = None,
    out: OutFolder = Path("quietseat-study"),
    engine: Engine = "local",
) -> None:
    """Study a whole register: verdicts, causes, remedies, plan and report."""
    from quietseat.answers import usable_engine

    usable_engine(engine)
    _study(register, _basis(basis), mends, out, engine)


@app.command()
def serve(
    folder: Annotated[Path, typer.Option("--folder", help="Folder of the workspace.")] = Path("quietseat-workspace"),
    host: Annotated[str, typer.Option("--host", help="Name or address to answer at.")] = "127.0.0.1",
    port: Annotated[int, typer.Option("--port", help="Port.")] = 8526,
) -> None:
    """Open the workspace in a browser on this machine."""
    from quietseat.web.serve import serve as serve_folder

    serve_folder(folder, host, port)


@app.command()
def verify(saved: Annotated[Path, typer.Argument(help="study.json")], as_json: JsonFlag = False) -> None:
    """Run a saved study again and name every difference."""
    from quietseat.verify import verify as run_again

    answer = run_again(saved, progress=_progress(), workers=None)
    _print(as_json, lambda: answer, lambda: _say.verify(answer))


@app.command()
def checks(as_json: JsonFlag = False) -> None:
    """Run the packaged checks against printed examples and independent libraries."""
    from quietseat.checks import run

    answer = run()
    _print(as_json, lambda: answer, lambda: _say.checks(answer))


class _Say:
    """Loads the wording of the terminal only when something is said."""

    def __getattr__(self, name: str) -> Callable[[Any], str]:
        from quietseat import terminal, terminal_money

        return getattr(terminal if hasattr(terminal, name) else terminal_money, name)  # type: ignore[no-any-return]


_say = _Say()


def _basis(path: Path | None) -> Any:
    from quietseat.basis import load, make

    return load(path) if path else make()


def _print(as_json: bool, answer: Callable[[], Any], words: Callable[[], str]) -> None:
    typer.echo(json.dumps(answer(), ensure_ascii=False, allow_nan=False, indent=1) if as_json else words())


def _study(register: Path, basis: Any, mends: Path | None, out: Path, engine: str = "local") -> None:
    from quietseat.report import write
    from quietseat.study import run

    _folder(out)
    found = run(register, basis, mends, progress=_progress(), workers=None, engine=engine)
    try:
        found.write_json(out / "study.json")
        write(found, out, progress=_progress("documents"))
    except OSError as error:
        raise InputUnusable(_cannot_write(error.filename or out, error)) from error
    typer.echo(_say.study(found))
    typer.echo(f"\nWritten to {out}/: study.html (open this first), summary.pdf, study.pdf, study.xlsx, study.json, problems.csv, fit-drawings/")


def _folder(out: Path) -> None:
    """Make the folder and see that it takes a file, before anything is calculated. Raises InputUnusable."""
    try:
        out.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=out):
            pass
    except OSError as error:
        raise InputUnusable(_cannot_write(out, error)) from error


def _cannot_write(path: Any, error: OSError) -> str:
    return f"{path}: cannot be written ({error.strerror or error}); choose another folder with --out."


def _progress(what: str = "") -> Callable[..., None] | None:
    """A counting line on standard error where a person is watching."""
    if not sys.stderr.isatty():
        return None

    def show(done: int, total: int, name: str = "") -> None:
        end = "\n" if done >= total else ""
        print(f"\r{done} of {total} {what}{' ' if what else ''}{name}".ljust(60), end=end, file=sys.stderr, flush=True)

    return show


if __name__ == "__main__":
    main()
