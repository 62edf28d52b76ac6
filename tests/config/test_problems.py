"""Checks of messages that name several problems at once."""

from traymorph.config.problems import Problem, told


def day(line: int, value: str) -> Problem:
    return Problem("trays.csv", "is no day", f"Write {value}", line, "sown_on", f'"{value}"')


def test_few_rows_with_one_mistake_are_each_said_in_full():
    message = told([day(line, str(line)) for line in range(2, 6)], "lists")
    assert message.startswith("The lists hold 4 problems:\n")
    assert all(f'line {n}, sown_on = "{n}": is no day. Write {n}.' in message for n in range(2, 6))


def test_of_many_rows_with_one_mistake_the_others_follow_by_their_lines():
    problems = [day(line, str(line)) for line in range(2, 9)]
    problems.insert(3, Problem("photos.csv", "names no tray", "Name one", 3, "tray_id"))
    assert told(problems, "lists").splitlines()[1:] == [
        '  trays.csv line 2, sown_on = "2": is no day. Write 2.',
        '  trays.csv line 3, sown_on = "3": is no day. Write 3.',
        '  trays.csv line 4, sown_on = "4": is no day. Write 4.',
        "  trays.csv lines 5, 6, 7, 8, sown_on: the same (is no day).",
        "  photos.csv line 3, tray_id: names no tray. Name one.",
    ]


def test_problems_without_a_line_are_all_said():
    problems = [Problem("trial.toml", "is missing", "Give it", column=name) for name in "abcdef"]
    assert len(told(problems, "settings").splitlines()) == 7
