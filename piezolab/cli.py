"""The command line: argument handling only.

Each command imports the floor it needs inside its own body, so that none waits for another's libraries.
"""

from typing import Any, TextIO

import click

from piezolab.commands import COMMANDS, stop_at


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="piezolab", message="piezolab %(version)s")
def main() -> None:
    """What pickup, transistor, cable and input do to the sound of your instrument."""


@main.command()
@click.option("--host", help="Network address to listen on; by default this computer only, with --room the room's.")
@click.option(
    "--port", type=click.IntRange(0, 65535), default=8350, show_default=True,
    help="Port to listen on; 0 lets the system choose.",
)  # fmt: skip
@click.option("--browser/--no-browser", "open_browser", default=True, help="Open a browser once ready.")
@click.option("--base-url", default="/", show_default=True, help="Path before every page, e.g. /workshop/.")
@click.option("--public-address", help="Address under which visitors come, such as http://workshop.example:8350.")
@click.option(
    "--behind-proxy", is_flag=True, default=None, help="Believe addresses that a proxy forwards; only if there is one."
)
@click.option("--room", is_flag=True, help="Serve a room: QR code, projector page, seats, a line when they are taken.")
@click.option("--seats", type=click.IntRange(1, 2000), help="Pages open at once; 40 unless said.")
@click.option("--lesson", help="The lesson the room works on, by its name.")
@click.option(
    "--idle-minutes", type=click.FloatRange(0.05, 1440),
    help="Minutes until an untouched page gives its seat back; with --room 20 unless said.",
)  # fmt: skip
@click.option(
    "--try", "visitors", type=click.IntRange(1),
    help="With --room: try it with so many visitors without a screen, say whether this machine holds them, and end.",
)  # fmt: skip
@click.option("--log-file", help="Write the log there, 3 MB at most, not to the terminal.")
def serve(host: str | None, port: int, open_browser: bool, base_url: str, room: bool, **others: object) -> None:
    """Serve the chapters to a browser."""
    from piezolab.serving import ServingError
    from piezolab.serving import serve as run

    said = {name: value for name, value in others.items() if value is not None}
    if room:
        said = {"room": True, "idle_minutes": 20.0, **said}
    for option, name in (("--lesson", "lesson"), ("--try", "visitors")):
        if name in said and not room:
            raise click.UsageError(f"{option} needs --room")
    open_browser = open_browser and "visitors" not in said
    try:
        if run(host=host, port=port, open_browser=open_browser, base_url=base_url, **said) is False:
            raise SystemExit(1)
    except ServingError as error:
        raise click.ClickException(str(error)) from error


@main.command()
@click.argument("link", default="")
@click.option("--at", "at", default="", help="Frequencies in Hz for response and noise density, such as 20,82.4,1000.")
def figures(link: str, at: str) -> None:
    """Print what the chapters show, as JSON. LINK is a share link or its query part; empty is the default chain."""
    import json

    from piezolab.chain.link import read_link

    chain, problems = read_link(link)
    sentences = [problem.sentence for problem in problems]
    frequencies, wrong = _frequencies(at)
    for sentence in sentences + wrong:
        click.echo(sentence, err=True)
    if sentences or wrong:
        raise SystemExit(2)
    from piezolab.studies.figures import figures as compute

    try:
        found = compute(chain, frequencies)
    except ValueError as error:  # such as a circuit without a solution; its message names the part
        raise click.ClickException(str(error)) from error
    click.echo(json.dumps(found, indent=1, allow_nan=False))


def _frequencies(text: str) -> tuple[list[float] | None, list[str]]:
    from piezolab.chain.parameter import ParameterError, Quantity

    if not text.strip():
        return None, []
    setting = Quantity("--at", "--at", "", unit="Hz", low=1e-3, high=10e6)
    found, wrong = [], []
    for word in text.split(","):
        try:
            found.append(setting.read(word))
        except ParameterError as error:
            wrong.append(str(error))
    return found, wrong


@main.command()
@click.argument("folder", required=False, metavar="[FOLDER | new NAME]")
@click.argument("name", required=False, metavar="")
def lessons(folder: str | None, name: str | None) -> None:
    """List the lessons and check each: what is wrong is named by line, with the fix. FOLDER: a teacher's own.

    `new NAME` writes a first lesson into the folder named in PIEZOLAB_LESSONS, or here."""
    import os
    from pathlib import Path

    from piezolab.lessons.reader import LessonError
    from piezolab.lessons.shelf import OWN_FOLDER, notes
    from piezolab.lessons.shelf import lessons as read
    from piezolab.lessons.template import new_lesson

    try:
        if folder == "new" and name:
            click.echo(f"{new_lesson(name, Path(os.environ.get(OWN_FOLDER) or '.'))}")
            return
        if name or (folder and not Path(folder).is_dir()):
            raise click.UsageError(f"{folder!r} is no folder; allowed is a folder, or: new NAME")
        found = read(Path(folder) if folder else None)
    except LessonError as error:
        stop_at([str(fault) for fault in error.faults])
    for lesson in found.values():
        count = f"{len(lesson.tasks)} task{'s' * (len(lesson.tasks) != 1)}"
        click.echo(f"{lesson.name}: {lesson.title}, {lesson.minutes} minutes, {count}")
    for note in notes(Path(folder) if folder else None):
        click.echo(f"On a phone: {note}")


@main.command()
@click.argument("lesson")
@click.option("--address", default="", help="Address of the server as the room reaches it, for the QR code.")
@click.option("--output", type=click.File("w", encoding="utf-8"), default="-", help="File to write; else the terminal.")
def handout(lesson: str, address: str, output: TextIO) -> None:
    """Write a lesson as a page to print (HTML)."""
    from piezolab.lessons.shelf import known_lessons
    from piezolab.serving.addresses import ServingError, checked_address
    from piezolab.sheets.handout import handout as made

    try:
        address = address and checked_address(address, "address", path_too=True)
    except ServingError as error:
        stop_at([str(error)])
    by_name = {known.name: known for known in known_lessons()}
    if lesson not in by_name:
        stop_at([f"lesson: {lesson[:60]!r} is not known; allowed is {', '.join(by_name)}."])
    output.write(made(by_name[lesson], address))


class BuildCommand(click.Command):
    """A command that takes options of the build, made from their table: `--meter-ohm` for `meter_ohm`, and `--no-ac`
    where an option can be no or none. The table is read when the command is, and not before."""

    def __init__(self, *args: Any, options: str, **more: Any) -> None:
        super().__init__(*args, **more)
        self._options = options

    def get_params(self, ctx: click.Context) -> list[click.Parameter]:
        from piezolab.studies import build_options

        found = super().get_params(ctx)
        made: list[click.Parameter] = []
        for key in getattr(build_options, self._options):
            option = build_options.OPTIONS[key]
            usual = option.optional_from if option.default is None else option.write(option.default)
            told = f"{option.label[0].upper()}{option.label[1:]}: {option.allowed}; {usual} unless said."
            word = key.replace("_", "-")
            choices = getattr(option, "choices", ())
            no = next((no for no in ("no", "none") if no in choices and no != option.default), None)
            bare = {} if no is None else {"is_flag": False, "flag_value": option.default}
            made.append(click.Option([f"--{word}", key], help=told, **bare))
            if no is not None:
                told = f"The same as --{word} {no}."
                made.append(click.Option([f"--no-{word}", f"no_{key}"], flag_value=no, help=told))
        own = len(self.params)  # what follows is the help
        return [*found[:own], *made, *found[own:]]


@main.command(cls=BuildCommand, options="SHEET_KEYS")
@click.argument("link", default="")
@click.option("--json", "as_json", is_flag=True, help="The sheet's numbers as JSON instead of the page.")
@click.option("--output", type=click.File("w", encoding="utf-8"), default="-", help="File to write; else the terminal.")
@click.option("--prices", type=click.Path(exists=True, dir_okay=False), help="Your own prices, a TOML file.")
def sheet(link: str, as_json: bool, output: TextIO, prices: str | None, **texts: str | None) -> None:
    """Write the build sheet of a chain as a page to print (HTML). LINK is a share link or its query part."""
    import json
    from pathlib import Path

    from piezolab.sheets.build_sheet import sheet_page
    from piezolab.sheets.sheet_data import SheetData, sheet_figures
    from piezolab.studies.board.patience import Patience
    from piezolab.studies.prices import PriceError, read_prices

    chain, build, sentences = _chain_and_build(link, texts)
    try:
        priced = read_prices(Path(prices) if prices else None, build.currency)
    except PriceError as error:
        sentences.append(str(error))
    stop_at(sentences)
    data = SheetData(chain, build, priced, Patience(_tried))
    try:
        said = json.dumps(sheet_figures(data), indent=1, allow_nan=False) if as_json else sheet_page(data)
    except ValueError as error:  # such as a circuit without a solution; its message names the part
        raise click.ClickException(str(error)) from error
    output.write(said)


@main.command(cls=BuildCommand, options="BOARD_KEYS")
@click.argument("link", default="")
@click.option("--side", type=click.Choice(["parts", "copper", "template"]), default="parts", help="What is drawn.")
@click.option("--output", type=click.File("w", encoding="utf-8"), default="-", help="File to write; else the terminal.")
def board(link: str, side: str, output: TextIO, **texts: str | None) -> None:
    """Draw the board of a chain as an SVG in millimetres, its layers named. LINK is a share link or its query part."""
    from piezolab.sheets.board_pages import board_file
    from piezolab.sheets.sheet_data import SheetData
    from piezolab.studies.board.patience import Patience

    chain, build, sentences = _chain_and_build(link, texts)
    stop_at(sentences)
    svg, problem = board_file(SheetData(chain, build, search=Patience(_tried)), side)
    if not svg:
        raise click.ClickException(problem or "With no stage there is no board to draw.")
    output.write(svg)


def _chain_and_build(link: str, texts: dict[str, str | None]) -> tuple[Any, Any, list[str]]:
    """The chain, the build and what was wrong with either."""
    from piezolab.chain.link import read_link
    from piezolab.studies.board_as_built import read_build

    chain, problems = read_link(link)
    given: dict[str, str] = {}
    for name, text in texts.items():
        key = name.removeprefix("no_")  # --no-ac
        if text is not None and given.setdefault(key, text) != text:
            raise click.UsageError(f"--{key} and --no-{key} contradict each other")
    build, wrong = read_build(given)
    return chain, build, [*(problem.sentence for problem in problems), *wrong.values()]


def _tried(count: int) -> None:
    click.echo(f"Layouts tried so far: {count}; Ctrl-C ends it.", err=True)


@main.command(cls=BuildCommand, options="FAULT_KEYS")
@click.argument("link", default="")
@click.option(
    "--reading", "readings", multiple=True,
    help="Kind:place=value, once for each: ohm:clip=OL, dc:source=1.02, low:jack=65m (AC volts of the 41 Hz tone), "
    "high:jack=65m (of the 1 kHz tone), tone:input=weak; of a sweep corner:sweep=83 (Hz), level:sweep=-3.2+-0.1 (dB; "
    "half its interval), bend:sweep=0.02 (second harmonic). All kinds and places are under readings_to_take.",
)  # fmt: skip
@click.option(
    "--heard", multiple=True, help="Once for each: weak, thin, hum, hiss, distorted, crackle, thump, dead, hot, fine; "
    "known: worked, knocked, new; tried in vain: looked (compared with the drawing), exchanged (cable and battery).",
)  # fmt: skip
def fault(link: str, readings: tuple[str, ...], heard: tuple[str, ...], **texts: str | None) -> None:
    """Rank the faults of a chain by readings and by what is heard, as JSON.

    LINK is a share link or its query part. Where `stop` is true: switch off, unclip the battery and set it down away
    from people. While `unpowered_only` is true the battery stays out.
    """
    import json

    from piezolab.studies.faults.fault_figures import fault_figures, read_readings
    from piezolab.studies.faults.readings import ReadingError

    chain, build, sentences = _chain_and_build(link, texts)
    try:
        found = None if sentences else fault_figures(chain, read_readings(readings), heard, build)
    except ReadingError as error:
        sentences.append(str(error))
    except ValueError as error:  # such as a circuit without a solution; its message names the part
        raise click.ClickException(str(error)) from error
    stop_at(sentences)
    click.echo(json.dumps(found, indent=1, allow_nan=False))


@main.command()
@click.argument("link", default="")
@click.option("--bare", multiple=True, help="A recording of the bare pickup, WAV or FLAC; may be repeated.")
@click.option("--stage", multiple=True, help="A recording with the stage; may be repeated.")
@click.option("--sweep", help="Instead of takes: a recorded sweep, through a capacitor of LINK's `pickup_c`.")
def takes(link: str, bare: tuple[str, ...], stage: tuple[str, ...], sweep: str | None) -> None:
    """Compare recordings, all with one gain, with what a chain predicts, as JSON. LINK as of `fault`."""
    import json

    from piezolab.studies.recordings.take_files import compare_files

    chain, _, sentences = _chain_and_build(link, {})
    found, problems = ({}, ()) if sentences else compare_files(chain, bare, stage, sweep)
    stop_at([*sentences, *problems])
    click.echo(json.dumps(found, indent=1, allow_nan=False))


for _command in COMMANDS:
    main.add_command(_command)
