"""Reference pages that are written from the code: ``python -m tests.docs.reference_pages``."""

from pathlib import Path

from traymorph import errors
from traymorph.errors import ExitCode, TraymorphError
from traymorph.flags import FLAGS
from traymorph.model.metrics import METRICS

DOCS = Path(__file__).parents[2] / "docs"
_MADE = "<!-- written from the code by tests/docs/reference_pages.py: change it there -->\n\n"


def metrics_page() -> str:
    lines = [
        "# What is measured\n",
        _MADE + "Every metric is a column of `results/tray_metrics.csv`; the column `<name>_u` "
        "beside it holds the standard uncertainty of measuring what was in front of the camera "
        "(not the spread between trays). Board columns are means over cut plants: `<name>_sd` is "
        "the standard deviation between plants, `<name>_se` the standard error of the mean and "
        "`n_plants` their number; each plant is a row of `results/plants.csv`. An empty cell was "
        "not measured, and `flags` says why. "
        "Sizes are millimetres as they are, not as they appear: the card's scale is carried to "
        "the plane where the plants are.\n",
    ]
    for view in dict.fromkeys(spec.view for spec in METRICS.values()):
        lines.append(f"## From the {view} photo\n")
        lines.append("| column | unit | definition | source |\n|---|---|---|---|")
        lines.extend(
            f"| `{spec.name}` | {spec.unit} | {spec.definition} | {spec.source} |"
            for spec in METRICS.values()
            if spec.view is view
        )
        lines.append("")
    lines.append(
        "Greenness is a colour, nothing more: no column says how much nitrogen, chlorophyll or "
        "nutrition a leaf holds, and no photo shows whether food is safe to eat.\n"
    )
    return "\n".join(lines)


def flags_page() -> str:
    rows = [f"| `{flag.name}` | {flag.meaning} | {flag.advice} |" for flag in FLAGS.values()]
    return "\n".join(
        [
            "# Flags: what qualifies a number\n",
            _MADE + "| flag | what was noticed | what to do |\n|---|---|---|",
            *rows,
            "",
        ]
    )


def error_classes() -> list[type[TraymorphError]]:
    found = [
        thing
        for thing in vars(errors).values()
        if isinstance(thing, type) and issubclass(thing, TraymorphError)
    ]
    return [kind for kind in found if kind is not TraymorphError]


def errors_page() -> str:
    rows = [
        f"| {kind.exit_code.value} | `{kind.__name__}` | {(kind.__doc__ or '').strip()} |"
        for kind in error_classes()
    ]
    codes = "\n".join(
        f"| {code.value} | {code.name.lower().replace('_', ' ')} |" for code in ExitCode
    )
    return "\n".join(
        [
            "# What can go wrong\n",
            _MADE + "Each error is one sentence that says what is wrong and where, and one that "
            "says what to do. A photo or tray that fails is listed and the others are measured "
            "all the same.\n",
            "| exit code | error | meaning |\n|---|---|---|",
            *rows,
            "\n## Exit codes\n",
            "| code | meaning |\n|---|---|",
            codes,
            "",
        ]
    )


PAGES = {"metrics.md": metrics_page, "flags.md": flags_page, "errors.md": errors_page}


if __name__ == "__main__":
    for name, page in PAGES.items():
        (DOCS / name).write_text(page(), encoding="utf-8")
