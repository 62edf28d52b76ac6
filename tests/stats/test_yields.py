"""What follows from weights; a lot's weight is never spread over its trays."""

import numpy as np
import pytest

from traymorph.model.comparison import Question, TrayTable
from traymorph.model.outcomes import Finding, Kind, Prices, Subject
from traymorph.model.trial import TraySize
from traymorph.stats.outcomes.yields import lot_table, with_outcomes
from traymorph.stats.treatments.compare import compare_treatments

SIZE = TraySize(inside_length_mm=500.0, inside_width_mm=250.0)


def _table(n=4, **columns):
    held = {
        "tray_id": tuple(f"T{k}" for k in range(n)),
        "treatment": tuple("ab"[k % 2] for k in range(n)),
        "sown_on": ("2026-01-01",) * n,
        "harvested_on": ("2026-01-11",) * n,
        "lot": tuple(f"L{k % 4}" for k in range(n)),
    }
    return TrayTable({**held, **columns}, {}, {}, (frozenset(),) * n, {})


def _weighed(name, what, value, *, level="tray_id", unit="g"):
    return Finding(2, Kind.TRAY, Subject(level, name, "a", name), what, value, unit)


def test_what_follows_from_the_weight_of_a_tray():
    # By hand: 400 g on 0.125 m2 from 50 g of seed in 10 days, packs of 80 g at 2.00; costs 3.00 a
    # tray, 0.10 a pack, 0.20 a day and 10.00 a kg of seed.
    rows = [_weighed("T0", "fresh_weight", 400.0), _weighed("T0", "seed_weight", 50.0)]
    prices = Prices(80.0, 2.0, None, 3.0, 0.1, 0.2, 10.0, "EUR")
    table = with_outcomes(_table(), rows, prices, SIZE)
    told = {name: float(values[0]) for name, values in table.values.items()}
    assert told == pytest.approx(
        {
            "fresh_weight": 400.0,
            "seed_weight": 50.0,
            "yield_g_per_m2": 3200.0,
            "yield_g_per_g_seed": 8.0,
            "packs": 5.0,
            "g_per_tray_day": 40.0,
            "margin_per_tray": 5 * 2.0 - 3.0 - 5 * 0.1 - 10 * 0.2 - 0.05 * 10.0,
        }
    )
    assert all(np.isnan(values[1:]).all() for values in table.values.values())
    assert table.units["margin_per_tray"] == "EUR"


def test_two_more_days_on_the_shelf_may_cost_more_than_a_heavier_tray_brings():
    rows = [_weighed("T0", "fresh_weight", 400.0), _weighed("T1", "fresh_weight", 410.0)]
    columns = {"harvested_on": ("2026-01-09", "2026-01-11", "", "")}
    prices = Prices(price_per_kg=20.0, cost_per_tray_day=0.3)
    table = with_outcomes(_table(**columns), rows, prices, SIZE)
    assert table.values["fresh_weight"][1] > table.values["fresh_weight"][0]
    # 8.00 - 2.40 against 8.20 - 3.00
    assert table.values["margin_per_tray"][:2] == pytest.approx([5.6, 5.2])


def test_a_cost_that_cannot_be_counted_leaves_no_margin():
    rows = [_weighed("T0", "fresh_weight", 400.0)]
    prices = Prices(price_per_kg=20.0, seed_cost_per_kg=10.0)
    assert "margin_per_tray" not in with_outcomes(_table(), rows, prices, SIZE).values


def test_without_a_size_there_is_no_yield_by_area():
    rows = [_weighed("T0", "fresh_weight", 400.0)]
    table = with_outcomes(_table(), rows, Prices(), TraySize())
    assert "yield_g_per_m2" not in table.values
    assert "packs" not in table.values


def test_a_tray_s_own_size_counts():
    rows = [_weighed("T0", "fresh_weight", 400.0)]
    columns = {"inside_length_mm": ("1000", "", "", "")}
    table = with_outcomes(_table(**columns), rows, Prices(), SIZE)
    assert table.values["yield_g_per_m2"][0] == pytest.approx(1600.0)


def test_several_cuts_add_up_and_every_day_of_a_tray_shows_the_sum():
    rows = [_weighed("T0", "fresh_weight", 300.0), _weighed("T0", "fresh_weight", 100.0)]
    table = with_outcomes(_table(2, tray_id=("T0", "T0")), rows, Prices(), SIZE)
    assert table.values["fresh_weight"].tolist() == [400.0, 400.0]


def test_a_lot_s_weight_stays_off_its_trays():
    rows = [_weighed("L0", "fresh_weight", 800.0, level="lot")]
    table = _table(8)
    assert with_outcomes(table, rows, Prices(), SIZE) is table
    lots = lot_table(table, rows, Prices(), SIZE)
    assert lots.text("tray_id") == ("L0",)
    assert lots.values["fresh_weight_per_tray"].tolist() == [400.0]
    assert lots.values["yield_g_per_m2"].tolist() == [3200.0]
    assert lots.values["g_per_tray_day"].tolist() == [40.0]


def test_the_lot_is_the_replicate():
    # 4 lots of 10 trays: 2 replicates a side, not 20
    rows = [_weighed(f"L{k}", "fresh_weight", 4000.0 + 100 * k, level="lot") for k in range(4)]
    lots = lot_table(_table(40), rows, Prices(), SIZE)
    told = compare_treatments(lots, Question(), ["fresh_weight_per_tray"])
    (row,) = told.differences
    assert told.unit == "lot"
    assert (row.n_treatment, row.n_control) == (2, 2)
    assert row.difference == pytest.approx(10.0)


def test_seed_of_a_lot_is_that_of_its_trays():
    rows = [_weighed("L0", "fresh_weight", 800.0, level="lot")]
    rows += [_weighed(f"T{k}", "seed_weight", 25.0) for k in range(8)]
    lots = lot_table(_table(8), rows, Prices(), SIZE)
    assert lots.values["yield_g_per_g_seed"].tolist() == [16.0]


def test_no_lot_no_table():
    assert lot_table(_table(), [_weighed("T0", "fresh_weight", 1.0)], Prices(), SIZE) is None


def test_another_outcome_of_a_tray_keeps_its_unit():
    rows = [_weighed("T0", "germination", 91.0, unit="%")]
    table = with_outcomes(_table(), rows, Prices(), SIZE)
    assert (table.units, table.values["germination"][0]) == ({"germination": "%"}, 91.0)
