"""Options that several commands share."""

import re

import click

from traymorph.config.problems import ValueProblemError
from traymorph.config.sizes import checked_size
from traymorph.model.trial import TraySize

as_json = click.option(
    "--json", "as_json", is_flag=True, help="Print the results as JSON on standard output."
)


class TraySizeType(click.ParamType[TraySize]):
    """``LENGTHxWIDTH`` in mm, the tray's inside."""

    name = "LENGTHxWIDTH"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> TraySize:
        """Read ``500x250`` or ``500 × 250``."""
        if isinstance(value, TraySize):
            return value
        match = re.fullmatch(
            r"\s*(\d+(?:\.\d+)?)\s*[xX×]\s*(\d+(?:\.\d+)?)\s*(?:mm)?\s*", str(value)
        )
        if match is None:
            self.fail(f"{value!r} is not LENGTHxWIDTH in mm, for example 500x250.", param, ctx)
        sides = {"inside_length_mm": float(match[1]), "inside_width_mm": float(match[2])}
        for name, side in sides.items():
            try:
                checked_size(name, side)
            except ValueProblemError as err:
                self.fail(f"{value!r}: {side:g} {err.what}. {err.advice}.", param, ctx)
        return TraySize(**sides)
