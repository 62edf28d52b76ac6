"""trays.csv, photos.csv and the folders under photos/: what is read and what is refused."""

import csv
import io
import unicodedata
from datetime import date
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from traymorph.config.lists import loose_trial, read_trial
from traymorph.config.settings import Settings, TraySettings
from traymorph.errors import ExitCode, ListError
from traymorph.model.photo import View
from traymorph.model.trial import TraySize

HEADER = "tray_id,crop,treatment,block,batch"
SIZED = Settings(
    tray=TraySettings(
        inside_length_mm=500.0,
        inside_width_mm=250.0,
        rim_above_medium_mm=30.0,
        rim_above_bench_mm=60.0,
    )
)


def _trial(folder, trays=None, photos=None, files=("P1/a.jpg",)):
    for name in files:
        path = folder / "photos" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"not looked at here")
    if trays is not None:
        (folder / "trays.csv").write_text(trays, encoding="utf-8")
    if photos is not None:
        (folder / "photos.csv").write_text(photos, encoding="utf-8")
    return folder


def _read(folder, **lists):
    return read_trial(_trial(folder, **lists), SIZED)


def _error(folder, **lists):
    with pytest.raises(ListError) as caught:
        _read(folder, **lists)
    assert caught.value.exit_code is ExitCode.LISTS
    return str(caught.value)


# --- what is read


def test_text_stays_text(tmp_path):
    trays = f"{HEADER},note\n007,pea,NA,1,1e5,=1+1\n07,pea,null,,,\n"
    trial = _read(tmp_path, trays=trays, files=("007/a.jpg",))
    assert [sample.tray_id for sample in trial.samples] == ["007", "07"]
    assert trial.list_columns == ("tray_id", "crop", "treatment", "block", "batch", "note")
    assert trial.samples[0].columns == {
        "tray_id": "007",
        "crop": "pea",
        "treatment": "NA",
        "block": "1",
        "batch": "1e5",
        "note": "=1+1",
    }
    assert trial.samples[1].columns["treatment"] == "null"


def test_rows_override_the_sizes_of_the_settings(tmp_path):
    trays = (
        f"{HEADER},kind,rim_above_medium_mm,inside_length_mm,photographed_on\n"
        "A,pea,dense,1,1,,22.5,,2026-11-13\n"
        "B,pea,dense,1,1,tray,,240,\n"
        "C,pea,dense,,1,Pack,,,\n"
    )
    first, second, third = _read(tmp_path, trays=trays, files=("A/a.jpg",)).samples
    assert first.size == TraySize(500.0, 250.0, 22.5, 60.0)
    assert first.photographed_on == date(2026, 11, 13)
    assert second.size == TraySize(240.0, 250.0, 30.0, 60.0)
    assert second.photographed_on is None
    assert third.kind == "pack"
    assert third.size == TraySize()


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_lists_as_spreadsheets_write_them(tmp_path, separator, mark, ending):
    lines = [f"{HEADER},shelf,,".split(","), ["A", "pea", "dense, dark", "1", "1", " top ", "", ""]]
    lines += [[""] * 8, []]
    text = io.StringIO()
    csv.writer(text, delimiter=separator, lineterminator=ending).writerows(lines)
    folder = _trial(tmp_path, files=("A/a.jpg",))
    (folder / "trays.csv").write_bytes((mark + text.getvalue()).encode())
    (sample,) = read_trial(folder, SIZED).samples
    assert sample.columns == {
        "tray_id": "A",
        "crop": "pea",
        "treatment": "dense, dark",
        "block": "1",
        "batch": "1",
        "shelf": "top",
    }


def test_a_decimal_comma_is_understood_where_semicolons_separate(tmp_path):
    trays = HEADER.replace(",", ";") + ";rim_above_medium_mm\nA;pea;;;;22,5\n"
    trial = _read(tmp_path, trays=trays, files=("A/a.jpg",))
    assert trial.samples[0].size.rim_above_medium_mm == 22.5


def test_photos_come_from_the_list_first_and_then_from_their_folder(tmp_path):
    trays = f"{HEADER}\nA,pea,,,\nB,pea,,,\n"
    photos = (
        "photo,tray_id,view,taken_on\n"
        "x.jpg,B,Side,2026-11-13T08:15\n"
        "A/2.jpg,,overhead,\n"
        "A/3.jpg,B,,2026-11-14\n"
    )
    files = ("x.jpg", "A/1.jpg", "A/2.jpg", "A/3.jpg", "A/10.JPG", "loose.png")
    trial = _read(tmp_path, trays=trays, photos=photos, files=files)
    seen = [(entry.path.name, entry.tray_id, entry.view) for entry in trial.photos]
    assert seen == [
        ("1.jpg", "A", None),
        ("2.jpg", "A", View.OVERHEAD),
        ("3.jpg", "B", None),
        ("10.JPG", "A", None),
        ("loose.png", None, None),
        ("x.jpg", "B", View.SIDE),
    ]
    taken = {entry.path.name: entry.taken_on for entry in trial.photos}
    assert taken["x.jpg"].isoformat() == "2026-11-13T08:15:00"
    assert taken["3.jpg"].isoformat() == "2026-11-14T00:00:00"
    assert taken["1.jpg"] is None


def test_one_photo_may_show_two_samples(tmp_path):
    trays = f"{HEADER},kind\nA,pea,,,,pack\nB,pea,,,,pack\n"
    photos = "photo,tray_id,view,part\nboth.jpg,A,pack,left\nboth.jpg,B,pack,right\n"
    trial = _read(tmp_path, trays=trays, photos=photos, files=("both.jpg",))
    assert [(entry.tray_id, entry.part) for entry in trial.photos] == [
        ("A", "left"),
        ("B", "right"),
    ]


def test_without_lists_each_folder_is_a_sample(tmp_path):
    files = ("tray 10/a.jpg", "tray 2/day 1/a.jpg", "tray 2/day 2/a.heic", "b.jpg")
    trial = _read(tmp_path, files=files)
    assert [sample.tray_id for sample in trial.samples] == ["tray 2", "tray 10"]
    assert all(sample.columns == {} for sample in trial.samples)
    assert trial.samples[0].size == TraySize(500.0, 250.0, 30.0, 60.0)
    assert trial.list_columns == ()
    assert [entry.tray_id for entry in trial.photos] == [None, "tray 2", "tray 2", "tray 10"]


def test_without_trays_the_ids_of_photos_csv_are_samples(tmp_path):
    photos = "photo,tray_id\na.jpg,T1\n"
    trial = _read(tmp_path, photos=photos, files=("a.jpg", "T2/b.jpg"))
    assert [sample.tray_id for sample in trial.samples] == ["T1", "T2"]


def test_what_is_no_photo_is_left_out_and_what_is_not_read_is_kept(tmp_path):
    files = (
        "A/a.jpg",
        "A/.a.jpg",
        "A/._a.jpg",
        ".trash/b.jpg",
        "A/notes.txt",
        "A/c.webp",
        "A/d.MOV",
    )
    trial = _read(tmp_path, files=files)
    assert [entry.path.name for entry in trial.photos] == ["a.jpg", "c.webp", "d.MOV"]


def test_names_with_accents_match_however_they_are_encoded(tmp_path):
    composed, decomposed = (unicodedata.normalize(form, "Süd é") for form in ("NFC", "NFD"))
    trays = f"{HEADER}\n{composed},pea,,,\n"
    photos = f"photo,tray_id\n{composed}.jpg,{decomposed}\n"
    files = (f"{decomposed}/a.jpg", f"{decomposed}.jpg")
    trial = _read(tmp_path, trays=trays, photos=photos, files=files)
    assert {entry.tray_id for entry in trial.photos} == {composed}


# --- what is refused


def test_all_bad_rows_of_both_lists_are_named_at_once(tmp_path):
    trays = (
        f"{HEADER},sown_on,rim_above_medium_mm,kind\n"
        "A,pea,,,,13.11.2026,,\n"
        "A,pea,,,,,-3,\n"
        ",pea,,,,,,crate\n"
    )
    photos = (
        "photo,tray_id,view,part\n"
        "gone.jpg,A,,\n"
        "a.jpg,Z,top,\n"
        "a.jpg,A,,\n"
        "../a.jpg,A,,\n"
        "b.jpg,A,,upper\n"
    )
    told = _error(tmp_path, trays=trays, photos=photos, files=("a.jpg", "b.jpg", "Q/c.jpg"))
    for expected in (
        (
            'trays.csv line 2, sown_on = "13.11.2026": is not written as year-month-day. '
            "Write 2026-11-13."
        ),
        'trays.csv line 3, tray_id = "A": stands in line 2 already.',
        'trays.csv line 3, rim_above_medium_mm = "-3": a size cannot be zero or negative.',
        'trays.csv line 4, tray_id = "": is empty.',
        'trays.csv line 4, kind = "crate": is not one of the words that are known. Write tray or',
        'photos.csv line 2, photo = "gone.jpg": is not in photos/.',
        'photos.csv line 3, view = "top"',
        'photos.csv line 3, tray_id = "Z": is not in trays.csv.',
        'photos.csv line 4, photo = "a.jpg": is listed in line 3 already.',
        'photos.csv line 5, photo = "../a.jpg": leads out of photos/.',
        'photos.csv line 6, part = "upper"',
        "photos/Q/: no tray of this name is in trays.csv.",
    ):
        assert expected in told
    assert "12 problems" in told


@pytest.mark.parametrize(
    ("written", "advice"),
    [
        ("T-01", "Perhaps T01 was meant."),
        ("T011", "Perhaps T01 was meant."),
        ("shelf", "Correct it or add it to trays.csv."),
    ],
)
def test_a_misspelt_tray_of_photos_csv_is_told_the_nearest(tmp_path, written, advice):
    trays, photos = f"{HEADER}\nT01,pea,,,\n", f"photo,tray_id\na.jpg,{written}\n"
    told = _error(tmp_path, trays=trays, photos=photos, files=("a.jpg",))
    assert f'tray_id = "{written}": is not in trays.csv. {advice}' in told


def test_repeats_of_what_is_no_tray_are_named_before_anything_is_measured(tmp_path):
    trays = (
        f"{HEADER},repeat_of\n"
        "A,pea,,,,\n"
        "A2,,,,,A\n"
        "A3,Pea,,,,A\n"
        "B,pea,,,,R29\n"
        "C,pea,,,,C\n"
        "D,pea,,,,A2\n"
        "E,radish,,,,A\n"
    )
    told = _error(tmp_path, trays=trays, files=("A/a.jpg",))
    for expected in (
        'trays.csv line 5, repeat_of = "R29": names no tray of the list.',
        'trays.csv line 6, repeat_of = "C": names itself.',
        'trays.csv line 7, repeat_of = "A2": names a repeat itself. Name the tray that A2',
        'trays.csv line 8, crop = "radish": differs from that of A, which it repeats ("pea").',
    ):
        assert expected in told
    assert "4 problems" in told


def test_a_record_over_several_lines_does_not_shift_the_count(tmp_path):
    trays = f'{HEADER},note,sown_on\nA,pea,,,,"one\ntwo",\n\nB,pea,,,,,1.2.2026\n'
    assert "line 5, sown_on" in _error(tmp_path, trays=trays, files=("A/a.jpg",))


@pytest.mark.parametrize(
    ("trays", "expected"),
    [
        ("tray_id,crop,treatment,block\nA,pea,,\n", "lacks the column batch"),
        ("Tray,Crop\nA,pea\n", "lacks the columns tray_id, crop, treatment, block, batch"),
        ("tray,crop,Treatment,block,batch\n", "Perhaps tray is tray_id, Treatment is treatment."),
        ("name,crop,treatment,block,batch\n", "lacks the column tray_id; its header reads: name"),
        ("", "lacks the columns"),
        (f"{HEADER}\n", "lists no tray"),
        (f"{HEADER},crop\nA,pea,,,,\n", "has the column crop more than once"),
        (f"{HEADER}\nA,pea,,,,stray\n", 'line 2 = "stray": the row has more cells than'),
        (f'{HEADER}\nA,pea,,,\nB,"pea,,,\nC,pea,,,\n', "line 3 cannot be split into cells"),
        (f"{HEADER},canopy_cover_pct\nA,pea,,,,\n", "a column of the results has this name"),
        (f"{HEADER},leaf_l_u\nA,pea,,,,\n", "a column of the results has this name"),
        (f"{HEADER},rim_above_medium\nA,pea,,,,20\n", "looks like rim_above_medium_mm"),
        (f"{HEADER},inside_length_cm\nA,pea,,,,20\n", "looks like inside_length_mm"),
        (f"{HEADER},Photographed on\nA,pea,,,,\n", "looks like photographed_on"),
        (f"{HEADER},Repeat of\nA,pea,,,,\n", "looks like repeat_of"),
        (
            f"{HEADER},inside_length_mm\nA,pea,,,,20\n",
            "If centimetres were meant, write 200; if inches, 508",
        ),
        (f"{HEADER},rim_above_medium_mm\nA,pea,,,,61\n", "rim that stands 60 mm above the bench"),
        (
            f"{HEADER},sown_on,harvested_on\nA,pea,,,,2026-11-13,2026-11-03\n",
            "lies before sown_on",
        ),
        (f'{HEADER}\n"A\nB",pea,,,\n', "a line break"),
    ],
)
def test_tray_lists_that_cannot_be_used(tmp_path, trays, expected):
    assert expected in _error(tmp_path, trays=trays, files=("A/a.jpg",))


@pytest.mark.parametrize(
    ("photos", "expected"),
    [
        ("photo,tray_id\nA.JPG,A\n", "Perhaps a.jpg was meant"),
        ("photo,tray_id\nphotos/a.jpg,A\n", "Perhaps a.jpg was meant"),
        ("photo,tray_id\nb.jpg,A\n", "Perhaps A/b.jpg was meant"),
        ("photo,tray_id\nA/bb.jpg,A\n", "Perhaps A/b.jpg was meant"),
        ("photo,tray_id\nIMG_0412.jpg,A\n", "Copy the photo there or correct the name"),
        ("photo,tray_id\nIMG_413.jpeg,A\n", "Perhaps IMG_0413.jpg was meant"),
        ("photo,tray_id\n/etc/a.jpg,A\n", "leads out of photos/"),
        ("photo,tray_id\nC:\\a.jpg,A\n", "leads out of photos/"),
        ("photo,tray_id\nA\\..\\..\\a.jpg,A\n", "leads out of photos/"),
        ("photo,tray_id\n,A\n", "is empty"),
        ("photo,tray_id,veiw\na.jpg,A,side\n", "looks like view"),
        ("photo,tray_id,taken_on\na.jpg,A,13/11/2026\n", "Write 2026-11-13"),
        ("photo,tray_id,part\na.jpg,A,left\na.jpg,A,\n", "is listed in line 2 already"),
        ("photo,tray_id,part\na.jpg,A,whole\na.jpg,A,left\n", "is listed in line 2 already"),
        ("photo,view\na.jpg,side\n", "lacks the column tray_id"),
    ],
)
def test_photo_lists_that_cannot_be_used(tmp_path, photos, expected):
    trays = f"{HEADER}\nA,pea,,,\n"
    assert expected in _error(
        tmp_path, trays=trays, photos=photos, files=("a.jpg", "A/b.jpg", "IMG_0413.jpg")
    )


@pytest.mark.parametrize("encoding", ["cp1252", "utf-16"])
def test_lists_in_another_encoding(tmp_path, encoding):
    folder = _trial(tmp_path, files=("A/a.jpg",))
    (folder / "trays.csv").write_bytes(f"{HEADER}\nA,pea,,,früh\n".encode(encoding))
    with pytest.raises(ListError, match="not UTF-8") as caught:
        read_trial(folder, SIZED)
    assert "CSV UTF-8" in caught.value.hint


@pytest.mark.parametrize("name", ["trays.xlsx", "Trays.CSV", "trays.csv.txt", "photos.ods"])
def test_a_list_under_another_name_is_not_overlooked(tmp_path, name):
    folder = _trial(tmp_path)
    (folder / name).write_bytes(b"")
    if (folder / name.lower()).exists() and name != name.lower():
        pytest.skip("the file system does not tell upper from lower case")
    with pytest.raises(ListError, match="is not read: the list must be"):
        read_trial(folder, SIZED)


def test_folders_that_hold_nothing(tmp_path):
    with pytest.raises(ListError, match="There is no folder"):
        read_trial(tmp_path / "gone", SIZED)
    with pytest.raises(ListError, match="has no folder photos/"):
        read_trial(tmp_path, SIZED)
    (tmp_path / "a.jpg").write_bytes(b"")
    with pytest.raises(ListError, match="lie beside it"):
        read_trial(tmp_path, SIZED)
    with pytest.raises(ListError, match="is a file"):
        read_trial(tmp_path / "a.jpg", SIZED)
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "notes.txt").write_bytes(b"")
    with pytest.raises(ListError, match="There are no photos"):
        read_trial(tmp_path, SIZED)


# --- loose photos


def test_loose_photos_are_named_by_their_files(tmp_path):
    size = TraySize(500.0, 250.0)
    photos = [tmp_path / "b.jpg", tmp_path / "a.jpg", tmp_path / "b.jpg"]
    trial = loose_trial(photos, size)
    assert [sample.tray_id for sample in trial.samples] == ["b", "a"]
    assert [(entry.path, entry.tray_id) for entry in trial.photos] == [
        (photos[0], "b"),
        (photos[1], "a"),
    ]
    assert all(sample.size == size for sample in trial.samples)


@pytest.mark.parametrize(
    ("paths", "expected"),
    [
        (["a.jpg", "a.png", "b.jpg"], ["a.jpg", "a.png", "b"]),
        (["x/a.jpg", "y/a.jpg"], ["x/a.jpg", "y/a.jpg"]),
        (["1/x/a.jpg", "2/x/a.jpg"], ["x/a.jpg", "x/a.jpg (2)"]),
    ],
)
def test_loose_photos_of_one_name_are_told_apart(tmp_path, paths, expected):
    trial = loose_trial([tmp_path / path for path in paths], TraySize())
    assert [sample.tray_id for sample in trial.samples] == expected


def test_no_loose_photo_is_an_error():
    with pytest.raises(ListError):
        loose_trial([], TraySize())


# --- round trip

_CELL = st.text(
    st.characters(exclude_categories=("Cc", "Cs", "Cn")) | st.sampled_from("\"',;\t\n=+-@0"),
    max_size=12,
).map(lambda text: unicodedata.normalize("NFC", text).strip())
_IDS = st.text("0123456789aZ=+-@ .,;'\"üß#", min_size=1, max_size=8).map(str.strip)


@settings(max_examples=40, suppress_health_check=list(HealthCheck))
@given(
    ids=st.lists(_IDS.filter(bool), min_size=1, max_size=4, unique=True),
    cells=st.lists(_CELL, min_size=20, max_size=20),
    separator=st.sampled_from(",;\t"),
)
def test_a_list_that_is_read_and_written_reads_the_same(tmp_path_factory, ids, cells, separator):
    folder = _trial(tmp_path_factory.mktemp("trial"), files=("x.jpg",))
    names = [*HEADER.split(","), "a further, column"]
    rows = [dict(zip(names, [one, *cells[5 * i :]], strict=False)) for i, one in enumerate(ids)]
    for _ in range(2):
        with Path.open(folder / "trays.csv", "w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, names, delimiter=separator)
            writer.writeheader()
            writer.writerows(rows)
        trial = read_trial(folder, Settings())
        assert [sample.columns for sample in trial.samples] == rows
        assert trial.list_columns == tuple(names)
        rows = [sample.columns for sample in trial.samples]
