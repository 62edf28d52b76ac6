"""``trays.csv``: takes the list and the sizes of ``trial.toml``, gives one sample per row."""

import dataclasses
import difflib
from collections.abc import Sequence
from pathlib import Path

from traymorph.config.cells import CellReader
from traymorph.config.problems import Problem, quoted
from traymorph.config.sizes import TRAY_SIZES
from traymorph.config.tables import Row, Table, read_table
from traymorph.config.tray_metrics import REPEAT_OF
from traymorph.model.metrics import METRICS
from traymorph.model.trial import Sample, TraySize

TRAYS_FILE = "trays.csv"
KINDS = ("tray", "pack")
_REQUIRED = ("tray_id", "crop", "treatment", "block", "batch")
_DATES = ("sown_on", "harvested_on", "photographed_on")
_CUT = "cut_above_medium_mm"
_INTERPRETED = ("kind", *_DATES, *TRAY_SIZES, _CUT, REPEAT_OF)
_UNITS = ("_mm", "_cm", "_m", "_in", "_inch", "_inches")
_ALIKE = 0.9  # share of letters in common from which a column is taken for a slip of the pen
_RESULT_COLUMNS = {
    "flags",
    "n_plants",
    "program_version",
    "mask_method",
    *(name + ending for name in METRICS for ending in ("", "_u", "_sd", "_se")),
}


def read_trays(
    path: Path, size: TraySize, problems: list[Problem]
) -> tuple[tuple[Sample, ...], tuple[str, ...]]:
    """Read ``trays.csv``.

    Parameters
    ----------
    path : Path
        The list.
    size : TraySize
        Sizes that hold where a row gives none.
    problems : list of Problem
        What is wrong is added here.

    Returns
    -------
    samples : tuple of Sample
        In the order of the list.
    columns : tuple of str
        Its header.

    Raises
    ------
    ListError
        The file cannot be read as a list at all.
    """
    table = read_table(path, _REQUIRED, problems)
    problems.extend(_column_problems(table))
    reader = CellReader(table, problems)
    first_lines: dict[str, int] = {}
    samples = []
    for row in table.rows:
        _check_id(reader, row, first_lines)
        samples.append(_sample(reader, row, size))
    _check_repeats(reader, table.rows)
    if not table.rows:
        what, advice = "lists no tray", "Add a line for each tray or delete the file"
        problems.append(Problem(table.name, what, advice))
    return tuple(samples), table.columns


def _column_problems(table: Table) -> list[Problem]:
    problems = []
    for column in table.columns:
        if column in _RESULT_COLUMNS:
            what, advice = "a column of the results has this name", "Rename the column"
            problems.append(Problem(table.name, what, advice, line=1, column=column))
        elif meant := _misspelt(column, table.columns):
            what = f"looks like {meant} but is spelt otherwise and would be ignored"
            advice = f"Rename it to {meant}, with values to match, or give it a name of its own"
            problems.append(Problem(table.name, what, advice, line=1, column=column))
    return problems


def _misspelt(column: str, present: Sequence[str]) -> str | None:
    if column in _INTERPRETED or column in _REQUIRED:
        return None
    plain = column.lower().replace(" ", "_").replace("-", "_")
    for known in _INTERPRETED:
        spellings = {known} | {known.removesuffix("_mm") + unit for unit in ("", *_UNITS)}
        if plain in spellings and known not in present:
            return known
    near = difflib.get_close_matches(plain, _INTERPRETED, n=1, cutoff=_ALIKE)
    return near[0] if near and near[0] not in present else None


def _check_id(reader: CellReader, row: Row, first_lines: dict[str, int]) -> None:
    tray_id = row.get("tray_id")
    if not tray_id:
        reader.note(row, "tray_id", "is empty", "Give each tray a name of its own")
    elif not tray_id.isprintable():
        what = "holds a line break or another sign that cannot be printed"
        reader.note(row, "tray_id", what, "Write the name on one line")
    elif tray_id in first_lines:
        what = f"stands in line {first_lines[tray_id]} already"
        reader.note(row, "tray_id", what, "Give each tray a name of its own")
    first_lines.setdefault(tray_id, row.line)


def _check_repeats(reader: CellReader, rows: Sequence[Row]) -> None:
    """Refuse repeats of what is no tray of the list; photos would be measured in vain."""
    by_name = {row.get("tray_id"): row for row in rows}
    for row in rows:
        name = row.get(REPEAT_OF)
        if not name:
            continue
        tray = by_name.get(name)
        if tray is None:
            advice = "Write the tray_id of the tray that is measured again, spelt as in its own row"
            reader.note(row, REPEAT_OF, "names no tray of the list", advice)
        elif name == row.get("tray_id"):
            what, advice = "names itself", "Leave it empty in the tray's own row"
            reader.note(row, REPEAT_OF, what, advice)
        elif tray.get(REPEAT_OF):
            what, advice = "names a repeat itself", f"Name the tray that {name} repeats"
            reader.note(row, REPEAT_OF, what, advice)
        elif not _alike(row.get("crop"), tray.get("crop")):
            held = quoted(tray.get("crop")) if tray.get("crop") else "empty"
            what = f"differs from that of {name}, which it repeats ({held})"
            reader.note(row, "crop", what, "Write the same in both rows, or leave it empty here")


def _alike(of_repeat: str, of_tray: str) -> bool:
    return not of_repeat or of_repeat.casefold() == of_tray.casefold()


def _sample(reader: CellReader, row: Row, size: TraySize) -> Sample:
    kind = reader.word(row, "kind", KINDS) or "tray"
    days = {column: reader.moment(row, column) for column in _DATES}
    reader.size(row, _CUT)
    stated = {name: reader.size(row, name) for name in TRAY_SIZES}
    given = {name: value for name, value in stated.items() if value is not None}
    merged = dataclasses.replace(size, **given) if kind == "tray" else TraySize()
    _check_heights(reader, row, merged)
    sown = days["sown_on"]
    for later in ("harvested_on", "photographed_on"):
        moment = days[later]
        if sown and moment and moment.date() < sown.date():
            advice = "Correct one of the two dates"
            reader.note(row, later, f"lies before sown_on, {row.get('sown_on')}", advice)
    photographed = days["photographed_on"]
    return Sample(
        tray_id=row.get("tray_id"),
        kind=kind,
        size=merged,
        photographed_on=photographed.date() if photographed else None,
        columns=dict(row.cells),
    )


def _check_heights(reader: CellReader, row: Row, size: TraySize) -> None:
    depth, wall = size.rim_above_medium_mm, size.rim_above_bench_mm
    if depth is not None and wall is not None and depth >= wall:
        column = "rim_above_medium_mm" if row.get("rim_above_medium_mm") else "rim_above_bench_mm"
        what = f"puts the medium {depth:g} mm below a rim that stands {wall:g} mm above the bench"
        reader.note(row, column, what, "Measure both again")
