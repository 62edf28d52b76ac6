"""`traymorph report`: one page from what is there, with what is missing said."""

import json
import re

from tests.cli.running import traymorph
from tests.report.page_trials import SETTINGS, read, trays, write_csv, write_trial
from traymorph.errors import ExitCode


def _page(folder, *arguments):
    outcome = traymorph("report", folder, *arguments)
    assert outcome.code == ExitCode.DONE, outcome.stderr
    return (folder / "results" / "report.html").read_text(encoding="utf-8"), outcome


def _charts(text):
    return [one for one in read(text).all("svg") if one.attributes.get("role") == "img"]


def test_the_page_opens_with_the_declared_metric(tmp_path):
    text, outcome = _page(write_trial(tmp_path))
    first = outcome.stdout.splitlines()[0]
    assert re.fullmatch(r"The canopy is 1\d.* % shorter at 15 g than at 30 g\.", first)
    said = [one for one in read(text).all("p") if one.attributes.get("class") == "said"]
    assert said[0].text.replace("\xa0", " ") == first
    assert "Page: " in outcome.stderr


def test_the_same_data_give_the_same_bytes(tmp_path):
    names = [row["tray_id"] for row in trays()]
    folder = write_trial(tmp_path, pictures=names)
    first, _ = _page(folder)
    again, _ = _page(folder)
    assert first == again


def test_title_and_meaning_of_treatments(tmp_path):
    rows = [row | {"sown_on": "2026-03-02"} for row in trays()]
    settings = SETTINGS + 'treatment_meaning = "seed <per> tray"\n[report]\ntitle = "How dense?"\n'
    text, _ = _page(write_trial(tmp_path, rows, settings=settings))
    tree = read(text)
    assert [one.text for one in tree.all("h1")] == ["How dense?"]
    said = {one.attributes.get("class"): one.text for one in tree.all("p")}
    assert said["meaning"] == "Treatments: seed <per> tray"
    for piece in ("sown 2 Mar 2026", "8 days after sowing", "trays of 500 × 250 mm inside"):
        assert piece in said["lead"]


def test_json(tmp_path):
    outcome = traymorph("report", write_trial(tmp_path), "--json")
    held = json.loads(outcome.stdout)
    assert held["trays"] == 6
    assert held["findings"][0].startswith("The canopy is ")
    page = tmp_path / "results" / "report.html"
    assert (held["page"], held["size_bytes"]) == (str(page), page.stat().st_size)


def test_out_and_what_cannot_be_written(tmp_path):
    folder = write_trial(tmp_path / "trial", pictures=["T01"])
    out = tmp_path / "elsewhere" / "page.html"
    assert traymorph("report", folder, "--out", out).code == ExitCode.DONE
    links = {one.attributes["href"] for one in read(out.read_text()).all("a")}
    assert "../trial/results/overlays/T01_overhead.jpg" in links
    (tmp_path / "file").write_text("")
    outcome = traymorph("report", folder, "--out", tmp_path / "file" / "page.html")
    assert outcome.code == ExitCode.STORE
    assert "cannot be written" in outcome.stderr
    assert not list(tmp_path.rglob("*.part"))


def test_nothing_measured_is_said_as_compare_says_it(tmp_path):
    (tmp_path / "results").mkdir()
    outcome = traymorph("report", tmp_path)
    assert outcome.code == ExitCode.LISTS
    assert outcome.stderr == traymorph("compare", tmp_path).stderr
    assert not (tmp_path / "results" / "report.html").exists()


def test_numbers_follow_the_locale_and_words_do_not(tmp_path):
    """Decimal comma in German: CLDR; thousandths of the interval as in English."""
    folder = write_trial(tmp_path)
    english, _ = _page(folder)
    german, _ = _page(folder, "--locale", "de-DE")
    value = re.search(r"<td>(\d+)\.(\d)\s±\s1\.2\smm</td>", english)
    assert f"<td>{value[1]},{value[2]}\xa0±\xa01,2\xa0mm</td>" in german
    assert "than at <bdi>30\xa0g</bdi>" in german
    assert "10.03.2026" in german
    russian, _ = _page(folder, "--locale", "ru")
    assert f"{value[1]},{value[2]}\xa0±\xa01,2\xa0мм" in russian


def test_an_unknown_locale_is_a_wrong_use(tmp_path):
    outcome = traymorph("report", write_trial(tmp_path), "--locale", "martian")
    assert outcome.code == ExitCode.USAGE
    assert "en, de, fr_CA" in outcome.stderr


# --- what little there may be


def _without(rows, *names):
    return [{key: value for key, value in row.items() if key not in names} for row in rows]


def test_one_tray_only(tmp_path):
    text, _ = _page(write_trial(tmp_path, trays()[:1]))
    assert "one treatment" in text or "same treatment" in text
    assert "T01" in text


def test_one_treatment(tmp_path):
    rows = [row for row in trays() if row["treatment"] == "30 g"]
    text, _ = _page(write_trial(tmp_path, rows))
    assert "All trays have the same treatment" in text
    assert 'id="metrics"' in text


def test_no_treatment_column(tmp_path):
    rows = _without(trays(), "treatment", "block", "shelf", "position")
    text, _ = _page(write_trial(tmp_path, rows, settings=""))
    assert "No tray names a treatment" in text
    assert 'id="map"' not in text
    assert len(_charts(text)) == 3, "every metric with all trays in one row"


def test_what_cannot_be_compared_is_said_with_its_reason(tmp_path):
    rows = trays()
    for row in rows:
        row["crop"] = "pea" if row["treatment"] == "15 g" else "radish"
    text, _ = _page(write_trial(tmp_path, rows))
    refused = traymorph("compare", tmp_path)
    assert refused.code == ExitCode.DESIGN
    sentence = refused.stderr.splitlines()[0].removeprefix("Error: ")
    assert sentence in re.sub(r"</?bdi>", "", text)
    only, _ = _page(tmp_path, "--crop", "Pea")
    assert "3 trays of pea" in only
    assert traymorph("report", tmp_path, "--crop", "maize").code == ExitCode.DESIGN


def test_every_metric_empty(tmp_path):
    rows = trays()
    for row in rows:
        row.update(canopy_height_mm="", canopy_cover_pct="", leaf_hue_deg="", flags="no_plants")
    text, outcome = _page(write_trial(tmp_path, rows))
    assert not _charts(text), "never an empty chart"
    assert "Nothing was measured in any tray" in outcome.stderr
    assert "No plant was found in the tray." in text
    assert 'id="metrics"' not in text


def test_a_metric_without_replicates_is_not_compared(tmp_path):
    rows = trays()
    rows[0]["stem_length_mm"] = rows[1]["stem_length_mm"] = "40"
    for row in rows:
        row["cut_above_medium_mm"] = "5"
    text, _ = _page(write_trial(tmp_path, rows))
    assert "Only one tray of each was measured; two are needed to compare." in text


def test_photos_without_pictures_and_failed_ones(tmp_path):
    folder = write_trial(tmp_path, pictures=["T01", "T02"])
    (folder / "results" / "overlays" / "T01_overhead.jpg").unlink()
    (folder / "results" / "overlays" / "T02_overhead.jpg").write_text("no picture")
    checks = [
        {"photo": "T01_overhead.jpg", "tray_id": "T01", "view": "overhead"},
        {"photo": "T02_overhead.jpg", "tray_id": "T02", "view": "overhead"},
        {"photo": "T09_side.jpg", "tray_id": "T09", "view": "", "error": "No card is seen."},
    ]
    write_csv(folder / "results" / "photo_checks.csv", checks)
    text, outcome = _page(folder)
    assert "1 photo has no picture" in outcome.stderr
    assert "Nothing was measured in this photo: No card is seen." in text
    assert text.count("The picture of what was measured is missing") == 2


def test_results_of_another_version(tmp_path):
    rows = [row | {"program_version": "0.0.1", "new_column": "7"} for row in trays()]
    _, outcome = _page(write_trial(tmp_path, _without(rows, "flags")))
    assert "lacks" in outcome.stderr
    assert "another version wrote it" in outcome.stderr


def test_a_listed_tray_that_was_not_measured(tmp_path):
    folder = write_trial(tmp_path)
    listed = [{key: row[key] for key in ("tray_id", "crop", "treatment", "block", "batch")}
              for row in trays()]  # fmt: skip
    write_csv(folder / "trays.csv", [*listed, listed[0] | {"tray_id": "T99"}])
    _, outcome = _page(folder)
    assert "Not measured: T99." in outcome.stderr


def test_outcomes_without_photos(tmp_path):
    listed = [{key: row[key] for key in ("tray_id", "crop", "treatment", "block", "batch")}
              for row in trays()]  # fmt: skip
    write_csv(tmp_path / "trays.csv", listed)
    weights = [
        {"tray_id": row["tray_id"], "what": "fresh_weight", "value": str(300 + 9 * k % 40),
         "unit": "g"}
        for k, row in enumerate(listed)
    ]  # fmt: skip
    write_csv(tmp_path / "outcomes.csv", weights)
    (tmp_path / "trial.toml").write_text(SETTINGS.replace("canopy_height_mm", "fresh_weight"))
    text, _ = _page(tmp_path)
    assert "Fresh weight of a tray" in text
    assert 'id="outcomes"' in text


def test_outcomes_are_shown_with_their_cautions(tmp_path):
    kept = [
        {"tray_id": row["tray_id"], "what": "days_kept", "value": str(8 + k % 3), "unit": "days",
         "storage_c": "4", "event": "spoiled"}
        for k, row in enumerate(trays())
    ]  # fmt: skip
    panel = [
        {"treatment": name, "what": "vitamin_c", "unit": "mg/100 g", "basis": "fresh", "value": v}
        for name, v in (("15 g", "60.5"), ("30 g", "75"))
    ]
    text, _ = _page(write_trial(tmp_path, outcomes=[*kept, *panel]), "--locale", "de")
    for word in ("Salmonella", "accredited laboratory", "21 CFR 101.54(b)", "60,5"):
        assert word in text


def test_batches_are_drawn(tmp_path):
    rows = []
    for batch in range(24):
        for k in range(2):
            height = 70 + (batch * 7 + k * 5) % 4 + (12 if batch == 23 else 0)
            rows.append({"tray_id": f"B{batch}-{k}", "crop": "pea", "treatment": "",
                         "batch": f"b{batch:02d}", "photographed_on": f"2026-03-{batch + 1:02d}",
                         "canopy_height_mm": str(height)})  # fmt: skip
    folder = write_trial(tmp_path, rows)
    write_csv(folder / "events.csv", [{"on_date": "2026-03-20", "what": "<b>lamp</b>"}])
    text, _ = _page(folder)
    (figure,) = (one for one in read(text).all("figure") if one.attributes["class"] == "batch")
    assert "b23" in figure.text
    said = next(one for one in read(text).all("p") if "said" in one.attributes.get("class", ""))
    assert said.text.startswith("The canopy is ")
    assert "batch b23" in said.text
    assert "1: <b>lamp</b> (20 Mar 2026)" in figure.text
    assert "../" not in next(figure.all("a")).attributes["href"]
    (chart,) = figure.all("svg")
    squares = [one for one in chart.all("rect") if one.attributes["width"] == "9.0"]
    assert len(squares) == 1, "the one batch that stands out"
