"""The commands about a drawer of parts and how builds spread: argument handling only, as in `cli`."""

from __future__ import annotations

from typing import Any

import click


def stop_at(sentences: list[str]) -> None:
    """End with exit status 2, one line on standard error for each sentence, if there are any."""
    for sentence in sentences:
        click.echo(sentence, err=True)
    if sentences:
        raise SystemExit(2)


class StockCommand(click.Command):
    """A command that takes the fields of the drawer's form: `--low-note` for `low_note`. They are read when the command
    is, and not before. leaves: names of the fields that it does without."""

    def __init__(self, *args: Any, leaves: tuple[str, ...] = (), **more: Any) -> None:
        super().__init__(*args, **more)
        self._leaves = leaves

    def get_params(self, ctx: click.Context) -> list[click.Parameter]:
        from piezolab.pages.what_shall_i_build_from_my_drawer.typed_stock import FIELDS

        found = super().get_params(ctx)
        made: list[click.Parameter] = []
        for field in FIELDS:
            if field.name in self._leaves:
                continue
            word = f"--{field.name.replace('_', '-')}"
            label = f"{field.label[0].upper()}{field.label[1:]}"
            if field.tick:
                made.append(click.Option([word, field.name], is_flag=True, flag_value="yes", help=f"{label}."))
                continue
            usual = f"{field.value or 'no wish'} unless said"
            unit = f", {field.unit}" if field.unit else ""
            made.append(click.Option([word, field.name], help=f"{label}{unit}; {usual}."))
        own = len(self.params)  # what follows is the help
        return [*found[:own], *made, *found[own:]]


_PRICES_FILE = click.option(
    "--prices-file", type=click.Path(exists=True, dir_okay=False),
    help="Your own prices, a TOML file as the sheet takes it; what a build costs is then told and weighed.",
)  # fmt: skip


@click.command(cls=StockCommand)
@click.argument("link", default="")
@_PRICES_FILE
@click.option(
    "--measured", multiple=True, metavar="NAME=TYPE:I_DSS:V_GS(off)[:V_DS]",
    help="A measured transistor, such as 1=J113:6.2m:-1.6, once for each; I_DSS at V_DS of 9 V unless said.",
)  # fmt: skip
def drawer(link: str, prices_file: str | None, measured: tuple[str, ...], **texts: str | None) -> None:
    """Look for builds from a drawer and sort its measured transistors, as JSON.

    LINK is a share link or its query part.
    """
    from piezolab.chain import ChainError
    from piezolab.circuit.errors import CircuitError
    from piezolab.pages.kit.form import FieldError
    from piezolab.pages.what_shall_i_build_from_my_drawer.typed_stock import drawer_of, measured_of, wish_of
    from piezolab.studies.choosing.choosing_figures import drawer_figures
    from piezolab.studies.prices import PriceError

    chain, given, sentences = _asked(link, texts)
    found: dict[str, Any] = {}
    try:
        stock, wish = drawer_of(given, measured_of(measured)), _priced(wish_of(given), prices_file)
        found = {} if sentences else drawer_figures(chain, stock, wish)
    except (FieldError, PriceError) as error:
        sentences.append(str(error))
    except (ChainError, CircuitError) as error:
        raise click.ClickException(str(error)) from error
    _told(found, sentences)


@click.command(cls=StockCommand, leaves=("resistors", "capacitors", "transistors", "series"))
@click.argument("link", default="")
@_PRICES_FILE
@click.option(
    "--builds", type=click.IntRange(100, 50_000),
    help="How many are drawn; 2000 unless said, 400 of a stage with two transistors.",
)  # fmt: skip
@click.option("--seed", type=click.IntRange(0), default=1904, show_default=True, help="Another one: other builds.")
def spread(link: str, prices_file: str | None, builds: int | None, seed: int, **texts: str | None) -> None:
    """Draw builds of a chain and say how they spread, what matters and what would help, as JSON.

    LINK is a share link or its query part. The same seed gives the same builds.
    """
    from piezolab.circuit.errors import CircuitError
    from piezolab.pages.kit.form import FieldError
    from piezolab.pages.what_shall_i_build_from_my_drawer.typed_stock import drawer_of, wish_of
    from piezolab.studies.choosing.choosing_figures import spread_figures

    chain, given, sentences = _asked(link, texts)
    found: dict[str, Any] = {}
    try:
        stock, wish = drawer_of(given), _priced(wish_of(given), prices_file)
        percents = stock.resistor_percent, stock.capacitor_percent
        found = {} if sentences else spread_figures(chain, percents, wish, builds, seed)
    except CircuitError as error:
        raise click.ClickException(str(error)) from error
    except (FieldError, ValueError) as error:
        sentences.append(str(error))
    _told(found, sentences)


def _asked(link: str, texts: dict[str, str | None]) -> tuple[Any, dict[str, str], list[str]]:
    """The chain, the texts of all fields and what is wrong with the link."""
    from piezolab.chain.link import read_link
    from piezolab.pages.what_shall_i_build_from_my_drawer.typed_stock import FIELDS

    chain, problems = read_link(link)
    given = {field.name: field.value for field in FIELDS}
    given |= {name: text.strip() for name, text in texts.items() if text is not None}
    return chain, given, [problem.sentence for problem in problems]


def _priced(wish: Any, path: str | None) -> Any:
    """A wish at the prices of a file. Raises PriceError."""
    from dataclasses import replace
    from pathlib import Path

    from piezolab.studies.judging.outlay import PiecePrices

    return wish if path is None else replace(wish, prices=PiecePrices.read(Path(path)))


def _told(found: dict[str, Any], sentences: list[str]) -> None:
    import json

    stop_at(sentences)
    click.echo(json.dumps(found, indent=1, allow_nan=False))


COMMANDS = (drawer, spread)
