"""``trial.toml``: takes a trial folder, gives frozen settings, refuses with every problem named.

Each key has a default; lengths are millimetres and say so in their names.
"""

import difflib
import hashlib
import json
import re
import tomllib
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
    ValidationInfo,
    field_validator,
    model_validator,
)
from pydantic_core import ErrorDetails, PydanticCustomError

from traymorph.config.problems import Problem, ValueProblemError, quoted, told
from traymorph.config.sizes import SIZE_LIMITS, checked_size
from traymorph.errors import SettingsError
from traymorph.model.outcomes import Prices
from traymorph.model.trial import TraySize

SETTINGS_FILE = "trial.toml"
SETTINGS_SKELETON = """\
# Measure once with a ruler, in millimetres, remove the # and write your own numbers.

[tray]
# inside_length_mm = 500
# inside_width_mm = 250
# rim_above_medium_mm = 12    # from the rim down to the medium
# rim_above_bench_mm = 58

[card]
# printed_bar_mm = 100.0      # what the printed bar really measures
# plane = "rim"               # only where the card from above lies on an upturned empty tray
"""
_MEASURING = {"tray", "card", "canopy"}  # sections that change what measuring gives
_Name = Annotated[str, Field(min_length=1)]


class _Section(BaseModel):
    """What all sections share: sizes are held against the limits that the lists obey too."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)

    @field_validator("*", mode="after")
    @classmethod
    def _size_can_be_meant(cls, value: object, info: ValidationInfo) -> object:
        if info.field_name in SIZE_LIMITS and isinstance(value, float):
            try:
                checked_size(info.field_name, value)
            except ValueProblemError as err:
                raise _problem(err.what, err.advice) from err
        return value


class TraySettings(_Section):
    """``[tray]``: sizes of the tray, where trays.csv does not override them."""

    inside_length_mm: float | None = None
    inside_width_mm: float | None = None
    rim_above_medium_mm: float | None = None
    rim_above_bench_mm: float | None = None

    @model_validator(mode="after")
    def _medium_lies_above_bench(self) -> Self:
        depth, wall = self.rim_above_medium_mm, self.rim_above_bench_mm
        if depth is not None and wall is not None and depth >= wall:
            what = f"rim_above_medium_mm = {depth:g} puts the medium below the bench"
            advice = f"It must be less than rim_above_bench_mm = {wall:g}; measure both again"
            raise _problem(what, advice)
        return self


class CardSettings(_Section):
    """``[card]``: how the card was printed and where the overhead card lies."""

    printed_bar_mm: float = 100.0
    plane: Literal["bench", "rim"] = "bench"

    @field_validator("printed_bar_mm")
    @classmethod
    def _bar_can_be_meant(cls, value: float) -> float:
        low, high = 90.0, 110.0  # a page fitted to Letter or A4 shrinks by 3 to 6 %
        if not low <= value <= high:
            what = f"lies outside {low:g} to {high:g} mm"
            advice = (
                "Measure the bar marked 100 mm on the printed card in millimetres; when it is "
                "this far off, print the card again at 100 %"
            )
            raise _problem(what, advice)
        return value


class CanopySettings(_Section):
    """``[canopy]``: used where no side photo is."""

    height_above_medium_mm: float | None = None


class CompareSettings(_Section):
    """``[compare]``: which column holds the treatment, what it is, and what is compared by what."""

    treatment_column: _Name = "treatment"
    treatment_meaning: _Name | None = None
    control: _Name | None = None
    primary: _Name | None = None


class ReportSettings(_Section):
    """``[report]``: what stands over the page."""

    title: _Name | None = None


class DriftSettings(_Section):
    """``[drift]``: how many first batches the charts take as their baseline."""

    baseline: int = Field(default=20, ge=2, le=1000)


class RepeatabilitySettings(_Section):
    """``[repeatability]``: folder with a study of the measuring, seen from the trial folder."""

    study: _Name | None = None


class OutcomesSettings(_Section):
    """``[outcomes]``: fill of a pack, prices and costs, all in one currency."""

    pack_fill_g: float | None = Field(default=None, gt=0)
    price_per_pack: float | None = Field(default=None, ge=0)
    price_per_kg: float | None = Field(default=None, ge=0)
    cost_per_tray: float | None = Field(default=None, ge=0)
    cost_per_pack: float | None = Field(default=None, ge=0)
    cost_per_tray_day: float | None = Field(default=None, ge=0)
    seed_cost_per_kg: float | None = Field(default=None, ge=0)
    currency: str = ""

    @model_validator(mode="after")
    def _one_price(self) -> Self:
        if self.price_per_pack is not None and self.price_per_kg is not None:
            advice = "Give the price of a pack or that of a kilogram"
            what = "price_per_pack and price_per_kg cannot both hold"
            raise _problem(what, advice)
        needs_packs = self.price_per_pack is not None or self.cost_per_pack is not None
        if needs_packs and self.pack_fill_g is None:
            what = "a price or cost of a pack says nothing without its weight"
            raise _problem(what, "Give pack_fill_g, the grams that go into a pack")
        return self


class Settings(_Section):
    """Everything that ``trial.toml`` can say."""

    tray: TraySettings = TraySettings()
    card: CardSettings = CardSettings()
    canopy: CanopySettings = CanopySettings()
    compare: CompareSettings = CompareSettings()
    report: ReportSettings = ReportSettings()
    drift: DriftSettings = DriftSettings()
    repeatability: RepeatabilitySettings = RepeatabilitySettings()
    outcomes: OutcomesSettings = OutcomesSettings()

    def fingerprint(self) -> str:
        """Hash of the settings that change what measuring gives.

        Returns
        -------
        str
            SHA-256 of the canonical JSON of the sections tray, card and canopy, hexadecimal.
            How trays are compared afterwards changes no measurement and is left out.
        """
        held = self.model_dump(mode="json", include=_MEASURING)
        canonical = json.dumps(held, sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(canonical.encode()).hexdigest()

    def tray_size(self) -> TraySize:
        """Sizes that hold for every tray whose row does not override them."""
        return TraySize(**self.tray.model_dump())

    def prices(self) -> Prices:
        """Give what a tray brings and costs."""
        return Prices(**self.outcomes.model_dump())


def read_settings(folder: Path) -> Settings:
    """Read ``trial.toml`` of a trial folder.

    Parameters
    ----------
    folder : Path
        The trial folder; without a ``trial.toml`` the defaults hold.

    Raises
    ------
    SettingsError
        The file cannot be read, is no TOML, or holds keys or values that cannot be meant; all
        of them are named.
    """
    path = folder / SETTINGS_FILE
    if not path.exists():
        return Settings()
    try:
        held = tomllib.loads(_text_of(path))
    except tomllib.TOMLDecodeError as err:
        raise _syntax_error(path, err) from err
    try:
        return Settings.model_validate(held)
    except ValidationError as err:
        problems = [_in_plain_words(one, held) for one in err.errors()]
        hint = f"Correct {SETTINGS_FILE} and run again."
        raise SettingsError(told(problems, "settings"), hint=hint) from err


def _text_of(path: Path) -> str:
    try:
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as err:
        msg = f"{SETTINGS_FILE} is not UTF-8 text (byte {err.start + 1})."
        raise SettingsError(msg, hint="Save it as plain text in UTF-8.") from err
    except OSError as err:
        msg = f"{path} cannot be read ({err.strerror})."
        raise SettingsError(msg, hint="Check the file and its permissions.") from err


def _syntax_error(path: Path, err: tomllib.TOMLDecodeError) -> SettingsError:
    # Only Python 3.14 gives the line as an attribute; before, it stands in the text alone.
    place = re.search(r"line (\d+)", str(err))
    why = str(err).partition(" (at ")[0]
    hint = "Values look like inside_length_mm = 500, text stands in quotes, decimals have a point."
    lines = _text_of(path).splitlines()
    if place is None or int(place[1]) > len(lines):
        return SettingsError(f"{SETTINGS_FILE} cannot be read ({why}).", hint=hint)
    line = quoted(lines[int(place[1]) - 1].strip())
    return SettingsError(
        f"{SETTINGS_FILE} line {place[1]} cannot be read: {line} ({why}).", hint=hint
    )


def _problem(what: str, advice: str) -> PydanticCustomError:
    return PydanticCustomError("cannot_be_meant", "{what}", {"what": what, "advice": advice})


def _in_plain_words(error: ErrorDetails, held: dict[str, Any]) -> Problem:
    location = [str(part) for part in error["loc"]]
    what, advice = _what_and_advice(error, location)
    shows_value = error["type"] != "extra_forbidden" and not isinstance(error["input"], dict)
    value = _as_written(error["input"]) if shows_value else None
    return Problem(SETTINGS_FILE, what, advice, column=_key(location, held), value=value)


def _key(location: list[str], held: dict[str, Any]) -> str:
    if len(location) == 1 and isinstance(held.get(location[0]), dict):
        return f"[{location[0]}]"
    return ".".join(location)


def _as_written(value: object) -> str:
    if isinstance(value, str):
        return quoted(value)
    return str(value).lower() if isinstance(value, bool) else str(value)


def _what_and_advice(error: ErrorDetails, location: list[str]) -> tuple[str, str]:
    context = error.get("ctx", {})
    plain = {
        "float_type": ("must be a number", "Write it without quotes and unit, for example 52.5"),
        "int_type": ("must be a whole number", "Write it without quotes and decimals"),
        "string_type": ("must be text", "Put it in quotes"),
        "string_too_short": ("is empty", "Give a name or delete the line"),
        "finite_number": ("is not a size", "Give a number of millimetres"),
        "model_type": ("must be a section", f"Write [{location[-1]}] on a line of its own"),
    }
    if error["type"] in plain:
        return plain[error["type"]]
    if error["type"] == "cannot_be_meant":
        return context["what"], context["advice"]
    if error["type"] == "extra_forbidden":
        return _unknown_key(location, is_section=isinstance(error["input"], dict))
    if error["type"] == "literal_error":
        return "is not one of the words that are known", f"Write {context['expected']}"
    if error["type"] in {"greater_than", "greater_than_equal", "less_than_equal"}:
        sides = {"gt": "more than", "ge": "at least", "le": "at most"}
        side, bound = next((sides[key], context[key]) for key in sides if key in context)
        return f"must be {side} {bound}", "Give another number"
    return error["msg"], "Correct or delete it"


def _unknown_key(location: list[str], *, is_section: bool) -> tuple[str, str]:
    sections = {name: field.annotation for name, field in Settings.model_fields.items()}
    name = location[-1]
    kind = "section" if is_section else "key"
    known = list(sections if len(location) == 1 else _keys(sections[location[0]]))
    for section, model in sections.items():
        if name in _keys(model):
            return "stands in the wrong place", f"It belongs into the section [{section}]"
    near = difflib.get_close_matches(name, known, n=1)
    if near:
        return f"is not a known {kind}", f"Perhaps {near[0]} was meant"
    return f"is not a known {kind}", f"Known are {', '.join(known)}; delete it or correct it"


def _keys(section: object) -> dict[str, object]:
    return dict(section.model_fields) if isinstance(section, type(BaseModel)) else {}
