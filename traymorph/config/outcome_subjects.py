"""What a row of ``outcomes.csv`` is about: a tray, a lot, a treatment or a batch of the trial."""

from collections.abc import Sequence

from traymorph.config.cells import CellReader
from traymorph.config.problems import quoted
from traymorph.config.spellings import other_spelling
from traymorph.config.tables import Row
from traymorph.model.outcomes import Subject
from traymorph.model.trial import Sample

LEVELS = ("tray_id", "lot", "treatment", "batch")


class Subjects:
    """Everything that a row may be about.

    Parameters
    ----------
    samples : sequence of Sample
        Trays and packs of the trial, with their columns.
    treatment_column : str
        Column that holds the treatments.
    """

    def __init__(self, samples: Sequence[Sample], treatment_column: str) -> None:
        self._trays: dict[str, Subject] = {}
        self._treatments: dict[str, Subject] = {}
        # Treatments of each lot and batch, in the order in which they appear.
        self._groups: dict[str, dict[str, dict[str, None]]] = {"lot": {}, "batch": {}}
        for sample in samples:
            treatment = sample.columns.get(treatment_column, "")
            lot = sample.columns.get("lot", "")
            replicate = lot if sample.kind == "pack" and lot else sample.tray_id
            name = sample.tray_id
            self._trays.setdefault(name, Subject("tray_id", name, treatment, replicate))
            if treatment:
                whole = Subject("treatment", treatment, treatment, "")
                self._treatments.setdefault(treatment, whole)
            for level, groups in self._groups.items():
                held = sample.columns.get(level, "")
                if held:
                    groups.setdefault(held, {}).setdefault(treatment)

    def read(self, cells: CellReader, row: Row) -> Subject | None:
        """Tell what a row is about; None where that is noted as a problem."""
        named = [level for level in LEVELS if row.get(level)]
        if len(named) != 1:
            what = f"names {' and '.join(named)}" if named else "is empty"
            advice = "Say in one of tray_id, lot, treatment and batch what the row is about"
            cells.note(row, named[0] if named else LEVELS[0], what, advice)
            return None
        level = named[0]
        if level == "treatment":
            return self.treatment(cells, row, level)
        if level == "tray_id":
            return self._known(cells, row, level, self._trays)
        return self._group(cells, row, level)

    def treatment(self, cells: CellReader, row: Row, column: str) -> Subject | None:
        """Give the treatment that a column names; None where there is none, which is noted."""
        return self._known(cells, row, column, self._treatments)

    def _known(
        self, cells: CellReader, row: Row, column: str, known: dict[str, Subject]
    ) -> Subject | None:
        name = row.get(column)
        if name in known:
            return known[name]
        _note_unknown(cells, row, column, tuple(known))
        return None

    def _group(self, cells: CellReader, row: Row, level: str) -> Subject | None:
        name, groups = row.get(level), self._groups[level]
        if name not in groups:
            _note_unknown(cells, row, level, tuple(groups))
            return None
        treatments = list(groups[name])
        if len(treatments) > 1:
            shown = ", ".join(one or "none stated" for one in treatments)
            what = f"holds trays of several treatments ({shown})"
            advice = "What was mixed tells nothing of either; give each treatment its own"
            cells.note(row, level, what, advice)
            return None
        return Subject(level, name, treatments[0], name)


def _note_unknown(cells: CellReader, row: Row, column: str, known: tuple[str, ...]) -> None:
    other = other_spelling(row.get(column), known)
    if other is not None:
        what = f"is elsewhere spelt {quoted(other)}"
        advice = "Is it the same? Then write it the same way; the two are not merged"
    else:
        nouns = {"tray_id": "tray", "against": "treatment"}
        what = f"is no {nouns.get(column, column)} of this trial"
        shown = ", ".join(known[:6]) + (" and others" if len(known) > 6 else "")
        advice = f"Correct it, or add it to trays.csv (there are {shown or 'none'})"
    cells.note(row, column, what, advice)
