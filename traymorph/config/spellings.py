"""One name written two ways: asked about, never merged."""

from collections.abc import Iterable

from traymorph.config.problems import quoted


def plain_name(name: str) -> str:
    """Take from a name what people write differently: case, spaces, hyphens, decimal commas."""
    kept = (char for char in name.casefold().replace(",", ".") if char not in " -_\t\u00a0")
    return "".join(kept)


def other_spelling(name: str, known: Iterable[str]) -> str | None:
    """Give a known name that differs from this one in spelling alone."""
    plain = plain_name(name)
    return next((one for one in known if one != name and plain_name(one) == plain), None)


def spelt_two_ways(names: Iterable[str], what: str) -> list[str]:
    """Ask about every pair of names that differ in spelling alone.

    Parameters
    ----------
    names : iterable of str
        Names in use; "" is none.
    what : str
        What they name, for the question: ``treatment``.
    """
    seen: dict[str, str] = {}
    questions = []
    for name in sorted(set(names) - {""}):
        first = seen.setdefault(plain_name(name), name)
        if first != name:
            questions.append(
                f"Are {quoted(first)} and {quoted(name)} one {what}? They are not merged: write "
                "one of them everywhere, or give them names that differ in more than spelling."
            )
    return questions
