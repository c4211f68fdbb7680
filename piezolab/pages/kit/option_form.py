"""A form made from the table of a build's options: each field takes and refuses what the command does, in its words."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence

from piezolab.chain.parameter import Choice, Parameter, Quantity
from piezolab.pages.kit.describe import unit_symbol
from piezolab.pages.kit.form import Field, FieldError, Form
from piezolab.studies.board_as_built import BoardAsBuilt, read_build
from piezolab.studies.build_options import OPTIONS, write_option
from piezolab.studies.option_kinds import Sides, Signed


class OptionForm(Form):
    """Fields for some options of a build, in the order of `keys`; those not in `first` stand under the fold.

    `taken` gets the build that they make of `build`, and returns a sentence.
    """

    def __init__(
        self, title: str, keys: Sequence[str], first: Collection[str], button: str,
        taken: Callable[[BoardAsBuilt], str], more: str,
    ) -> None:  # fmt: skip
        super().__init__(title, [field_of(OPTIONS[key], key not in first) for key in keys], button, self._read, more)
        self._keys, self._taken = tuple(keys), taken
        self.build = BoardAsBuilt()

    def show(self, build: BoardAsBuilt) -> None:
        """Put a build's values into the fields."""
        self.build = build
        self.fill({key: write_option(key, build.values[key]) for key in self._keys})

    def _fits(self, name: str, text: object) -> bool:
        """The table reads the words of choices as well, and refuses them in its own sentence."""
        return isinstance(text, str) and len(text) <= self._most[name]

    def _read(self, texts: Mapping[str, str]) -> str:
        build, problems = read_build(texts, self.build, self._keys, typed=True)
        if problems:
            first = next(iter(problems))
            raise FieldError(first, problems[first], problems)
        self.build = build
        return self._taken(build)


def field_of(option: Parameter, more: bool) -> Field:
    """The field of one option, with its default in it."""
    options: tuple[tuple[str, str], ...] = ()
    hint = option.hint
    if isinstance(option, Choice):
        options = tuple(option.choices.items())
        if option.default is None:
            options = (("", option.optional_from), *options)
    elif option.default is None:
        hint = f"{hint} Empty: {option.optional_from}.".strip()
    return Field(
        option.key, option.label, _unit(option), write_option(option.key, option.default), hint, options, more
    )


def _unit(option: Parameter) -> str:
    if isinstance(option, Signed):
        return option.sign
    if isinstance(option, Sides):
        return "mm"
    return unit_symbol(option.unit) if isinstance(option, Quantity) else ""
