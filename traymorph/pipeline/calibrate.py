"""Registers the colours of a print in its trial folder, and says which print a tray's photos show.

Takes a daylight photo of the printed card or measured values; refuses what cannot be trusted
before anything is written.
"""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from traymorph.card.detect import sight_card
from traymorph.card.layout import VERSION, card_layout
from traymorph.card.registering import (
    PAPER,
    PatchColour,
    beside_nominal,
    printed_names,
    read_print,
)
from traymorph.config.card_colours import (
    CARD_COLOURS_FILE,
    CARD_ID,
    CardColours,
    PrintColours,
    check_card_id,
    read_card_colours,
    read_measured_lab,
    write_card_colours,
)
from traymorph.config.problems import Problem, ValueProblemError, quoted, told
from traymorph.config.settings import read_settings
from traymorph.config.trays import TRAYS_FILE
from traymorph.errors import CardColourError, ListError
from traymorph.intake.photos import read_photo
from traymorph.measure.photo_checks import check_photo
from traymorph.model.card import CardRole, RegisteredCard
from traymorph.model.trial import Sample

_ANY_ROLE = CardRole.OVERHEAD  # the patches are the same on the cards of all roles
_TRAYS_NAMED = 5
_REFUSED_FLAGS = {
    "blurred": (
        "the photo is not sharp enough to read patches from",
        "Rest the phone on something, tap the card to focus and take the photo again.",
    ),
    "card_shaded": (
        "light falls unevenly over the card",
        "Turn the card so that no shadow lies on it and take the photo again.",
    ),
    "low_resolution": (
        "the card is too small in the photo",
        "Go closer, so that the card fills a third of the picture or more.",
    ),
}


@dataclass(frozen=True, slots=True)
class Registration:
    """One registered card beside what it should be.

    Parameters
    ----------
    colours : PrintColours
        As registered.
    patches : tuple of PatchColour
        Beside the nominal colours.
    """

    colours: PrintColours
    patches: tuple[PatchColour, ...]

    @property
    def mean_de00(self) -> float:
        """Mean CIEDE2000 of the patches from nominal."""
        return sum(patch.de00 for patch in self.patches) / len(self.patches)

    @property
    def mean_u_de00(self) -> float:
        """Mean standard uncertainty of the patches, CIEDE2000."""
        return sum(patch.u_de00 for patch in self.patches) / len(self.patches)


def register_photo(folder: Path, photo_path: Path, card_id: str | None) -> Registration:
    """Register a print from a daylight photo of one of its cards.

    Parameters
    ----------
    folder : Path
        The trial folder.
    photo_path : Path
        The photo; the card may be of any role.
    card_id : str or None
        Name of the print; None for the print that the folder knows, or a name made from the
        colours.

    Raises
    ------
    PhotoError, CardError
        The photo cannot be used.
    ListError, SettingsError
        The trial folder's lists or settings cannot be used, or a second print has no name.
    StoreError
        The list cannot be written.
    """
    known, bar_mm = _trial(folder)
    photo = read_photo(photo_path)
    sighting = sight_card(photo, printed_bar_mm=bar_mm)
    raised = check_photo(photo.rgb, sighting).flags
    for flag, (what, hint) in _REFUSED_FLAGS.items():
        if flag in raised:
            message = f"{photo_path.name}: {what}."
            raise CardColourError(message, hint=hint)
    scale = bar_mm / card_layout(sighting.role).bar.length
    patches = read_print(photo, sighting, scale)
    taken = photo.camera.taken_on
    source = f"photo {photo_path.name}" + (f" of {taken.date().isoformat()}" if taken else "")
    return _register(folder, known, card_id, sighting.role, patches, source)


def register_measured(folder: Path, lab_file: Path, card_id: str | None) -> Registration:
    """Register a print from measured CIELAB values; they hold for all its cards.

    Parameters
    ----------
    folder : Path
        The trial folder.
    lab_file : Path
        See :func:`traymorph.config.card_colours.read_measured_lab`.
    card_id : str or None
        As for :func:`register_photo`.

    Raises
    ------
    ListError, SettingsError
        The values, or the trial folder's lists or settings, cannot be used, or a second print
        has no name.
    StoreError
        The list cannot be written.
    """
    known, _ = _trial(folder)
    lab, u_de00 = read_measured_lab(lab_file, _names())
    patches = beside_nominal(_ANY_ROLE, lab, u_de00)
    return _register(folder, known, card_id, None, patches, f"measured, {lab_file.name}")


def registered(folder: Path) -> tuple[Registration, ...]:
    """Everything that is registered in a trial folder.

    Raises
    ------
    ListError
        There is no such folder, or its list cannot be used.
    """
    _check_folder(folder)
    return tuple(_beside_nominal(one) for one in read_colours(folder).prints)


def read_colours(folder: Path) -> CardColours:
    """Read ``card_colours.csv`` of a trial folder; nothing is registered without the file."""
    return read_card_colours(folder, _names())


def cards_of_samples(
    colours: CardColours, samples: Sequence[Sample]
) -> dict[str, tuple[RegisteredCard, ...]]:
    """Say which colours the cards in the photos of each tray have.

    Parameters
    ----------
    colours : CardColours
        Of the trial.
    samples : sequence of Sample
        The trays; their column ``card_id`` names the print where several are registered.

    Returns
    -------
    dict of str to tuple of RegisteredCard
        By tray, one for each role; empty where nothing is registered.

    Raises
    ------
    ListError
        Trays name prints that are not registered, or none where several are; all are named.
    """
    known = colours.card_ids
    if not known:
        return {}
    problems: list[Problem] = []
    names = {one.tray_id: one.columns.get(CARD_ID, "") for one in samples}
    unnamed = [tray_id for tray_id, name in names.items() if not name]
    if unnamed and len(known) > 1:
        what = f"holds {len(known)} prints, and nothing says which one stands in {_trays(unnamed)}"
        advice = f"Write {' or '.join(known)} into the column {CARD_ID} of {TRAYS_FILE}"
        problems.append(Problem(CARD_COLOURS_FILE, what, advice))
    for name in dict.fromkeys(names.values()):
        if name and name not in known:
            what = f"{_trays([t for t, own in names.items() if own == name])} name a print that "
            what += f"{CARD_COLOURS_FILE} does not hold, only {', '.join(known)}"
            advice = "Correct the name, or register it with traymorph calibrate"
            problems.append(Problem(TRAYS_FILE, what, advice, None, CARD_ID, quoted(name)))
    if problems:
        raise ListError(told(problems, "lists"), hint="Correct this and run again.")
    return {tray_id: colours.cards_of(name or known[0]) for tray_id, name in names.items()}


def _trays(tray_ids: Sequence[str]) -> str:
    shown = ", ".join(tray_ids[:_TRAYS_NAMED])
    more = len(tray_ids) - _TRAYS_NAMED
    return f"trays {shown}" + (f" and {more} more" if more > 0 else "")


def _trial(folder: Path) -> tuple[CardColours, float]:
    _check_folder(folder)
    return read_colours(folder), read_settings(folder).card.printed_bar_mm


def _check_folder(folder: Path) -> None:
    if not folder.is_dir():
        message = f"There is no folder {folder}."
        raise ListError(message, hint="Give the trial folder in which the colours are kept.")


def _names() -> tuple[str, ...]:
    return (*printed_names(_ANY_ROLE), PAPER)


def _register(
    folder: Path,
    known: CardColours,
    card_id: str | None,
    role: CardRole | None,
    patches: tuple[PatchColour, ...],
    source: str,
) -> Registration:
    colours = PrintColours(
        card_id=_name_of_print(known, card_id, role, patches),
        role=role,
        version=VERSION,
        lab={patch.name: _as_written(patch.lab) for patch in patches},
        u_de00={patch.name: round(patch.u_de00, 2) for patch in patches},
        source=source,
    )
    write_card_colours(folder, known.with_print(colours))
    return _beside_nominal(colours)


def _as_written(lab: tuple[float, float, float]) -> tuple[float, float, float]:
    """Two decimals, and no negative zero: what is shown now is what is read later."""
    lightness, a, b = (round(value, 2) + 0.0 for value in lab)
    return lightness, a, b


def _beside_nominal(colours: PrintColours) -> Registration:
    role = colours.role or _ANY_ROLE
    return Registration(colours, beside_nominal(role, colours.lab, colours.u_de00))


def _name_of_print(
    known: CardColours,
    card_id: str | None,
    role: CardRole | None,
    patches: tuple[PatchColour, ...],
) -> str:
    """Take the name given; else the one print that is known, unless it would be overwritten."""
    if card_id is not None:
        try:
            return check_card_id(card_id)
        except ValueProblemError as err:
            message = f'"{card_id}" {err.what}.'
            raise ListError(message, hint=f"{err.advice}.") from err
    there = {(one.card_id, one.role) for one in known.prints}
    if len(known.card_ids) == 1 and (known.card_ids[0], role) not in there:
        return known.card_ids[0]
    if known.card_ids:
        card = f"the {role} card" if role else "a card"
        message = f"{CARD_COLOURS_FILE} holds {card} already: {', '.join(known.card_ids)}."
        hint = "Add --card-id with that name to register it anew, or with a new name."
        raise ListError(message, hint=hint)
    values = repr([(patch.name, _as_written(patch.lab)) for patch in patches])
    return f"print-{hashlib.sha256(values.encode()).hexdigest()[:6]}"
