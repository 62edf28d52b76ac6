"""Options that several commands share."""

import re

import click

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
        length, width = float(match[1]), float(match[2])
        if not (50 <= width <= 2000 and 50 <= length <= 2000):
            self.fail(
                f"{value!r}: a tray's inside measures 50 to 2000 mm a side; give millimetres.",
                param,
                ctx,
            )
        return TraySize(inside_length_mm=length, inside_width_mm=width)
