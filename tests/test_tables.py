"""The tables: every file loads and says where it is from; their own arithmetic; the lookup rules.

Expected values come from the printed tables, from one another (OD = ID + 2 t) and from the library `fluids`,
never from the code under test.
"""

from __future__ import annotations

import math
from itertools import pairwise
from pathlib import Path

import pytest

from quietseat import tables
from quietseat.tables import MARKS, NotInTable, Row, read, sources, table, weakest
from quietseat.units import UNITS

LETTERS = "DEFGHJKLMNPQRT"
CLASSES = (150, 300, 600, 900, 1500, 2500)
PSI = 0.45359237 * 9.80665 / 0.0254**2  # definition of the pound and the inch
KELVIN = 273.15
NEVER_TABLES = {"fields.csv", "choices.csv", "findings.csv"}


# --- Every file ---------------------------------------------------------------------------------------------


def test_every_csv_is_a_table_or_a_list_of_the_tool() -> None:
    lone = {path.name for path in tables.DATA.glob("*.csv") if "__" not in path.name}
    assert lone <= NEVER_TABLES
    assert len(tables.names()) >= 50


@pytest.mark.parametrize("name", tables.names())
def test_every_table_loads_and_every_row_says_where_it_is_from(name: str) -> None:
    found = table(name)
    assert found.rows
    assert set(found.key) <= set(found.columns)
    assert found.lookup in tables.LOOKUPS
    for row in found:
        for column, value in row.items():
            if column == "provenance" or column.endswith("_provenance"):
                assert value in MARKS or (value is None and column != "provenance"), (column, row)
            if column == "source" or column.endswith("_source"):
                assert value in sources(), (column, row)
            if isinstance(value, float):
                assert math.isfinite(value), (column, row)
        assert row.cite().endswith(row.provenance)
        assert not any(isinstance(row[part], str) and not row[part].strip() for part in found.key)


@pytest.mark.parametrize("name", tables.names())
def test_a_keyed_row_is_found_by_its_key(name: str) -> None:
    found = table(name)
    for row in found.rows if found.key else ():
        assert found.row(**{part: row[part] for part in found.key}) is row


@pytest.mark.parametrize("name", tables.names())
def test_low_mid_high_stand_in_order(name: str) -> None:
    for row in table(name):
        for pair in ("low high", "low mid", "mid high", "low value", "value high"):
            low, high = pair.split()
            a, b = row.get(low), row.get(high)
            if isinstance(a, (int, float)) and isinstance(b, (int, float)) and name != "defaults":
                assert a <= b, row


def test_sources_say_whether_they_were_read() -> None:
    for source in sources().values():
        assert source.read in ("seen", "memory") and source.short and source.title, source


def test_no_row_is_seen_in_a_document_that_was_not_read() -> None:
    for name in tables.names():
        for row in table(name):
            if row.provenance == "seen":
                assert sources()[row.source].read == "seen", (name, row)


# --- API 526 ------------------------------------------------------------------------------------------------


def test_orifice_areas_ascend_and_agree_with_the_rounded_mm2() -> None:
    rows = table("orifices").rows
    assert "".join(row.letter for row in rows) == LETTERS
    assert all(a.area < b.area for a, b in pairwise(rows))
    for row in rows:  # in2 x 645.16 = mm2, printed in whole mm2
        assert abs(row.area / 0.0254**2 * 645.16 - row.area_rounded * 1e6) <= 0.5


def test_orifice_areas_agree_with_fluids() -> None:
    safety = pytest.importorskip("fluids.safety_valve")
    for letter, area in zip(safety.API526_letters, safety.API526_A):
        assert table("orifices").row(letter=letter).area == pytest.approx(area, rel=1e-6)


@pytest.mark.parametrize("dimension", ["A", "B"])
def test_spring_dimensions_in_inches_and_mm_agree(dimension: str) -> None:
    for row in table("spring_bodies"):
        assert abs(row[dimension] - row[f"{dimension}_mm"]) <= 0.0005 + 1e-12, row


def test_spring_bodies_cover_every_letter_and_match_their_designation() -> None:
    rows = table("spring_bodies").rows
    assert {row.letter for row in rows} == set(LETTERS)
    assert len(rows) == 78  # 71 printed lines, 7 of them for D and E together
    for row in rows:
        assert row.designation == f"{row.inlet:g}{row.letter}{row.outlet:g}"
        assert row.outlet > row.inlet
        assert row.outlet_class <= row.inlet_class


def test_set_limits_do_not_rise_with_the_letter_within_a_class() -> None:
    rises = [
        (rating, a.letter, b.letter)
        for rating in CLASSES
        for low in (False, True)
        for a, b in pairwise(table("spring_bodies").where(inlet_class=rating, low=low))
        if b.limit > a.limit
    ]
    assert rises == [(600, "L", "M")]  # 1000 and 1100 psig as remembered, both memory-md


def test_set_limits_do_not_fall_with_the_class_of_one_letter() -> None:
    for letter in LETTERS:
        limits = [row.limit for row in table("spring_bodies").where(letter=letter, low=False)]
        assert all(b >= a for a, b in pairwise(limits)), letter


def test_the_low_class_300_row_carries_the_limit_of_class_150() -> None:
    for letter in LETTERS:
        low = table("spring_bodies").row(letter=letter, inlet_class=300, low=True)
        assert low.limit == table("spring_bodies").row(letter=letter, inlet_class=150, low=False).limit


def test_set_limits_at_38_degc_never_exceed_the_flange_rating_of_classes_up_to_2500() -> None:
    ratings = table("flange_ratings").row(group="1.1", temperature=38 + KELVIN)
    for row in table("spring_bodies"):
        ceiling = ratings[f"class_{row.inlet_class}"]
        assert row.limit <= ceiling + 0.5 * 5 * PSI, row  # the psig values are rounded to 5 psi


def test_only_the_r_outlet_dimension_was_seen() -> None:
    seen = {row.letter for row in table("spring_bodies") if row.mark("B") == "seen"}
    assert seen == {"R"}
    row = table("spring_bodies").row(letter="R", inlet_class=300, low=False)
    assert (row.mark("B"), row.mark("A"), row.mark("limit")) == ("seen", "memory-hi", "memory-md")
    assert row.cite("limit") == "API 526 spring-loaded size tables, memory-md"


# Pilot minus spring, mm, class 150 inlet: a list kept apart from the two dimension tables (trade, memory).
@pytest.mark.parametrize(
    ("letter", "inlet", "outlet", "inlet_difference", "outlet_difference"),
    [
        ("J", 2, 3, 0, 0), ("K", 3, 4, 0, 0), ("L", 3, 4, 0, -3), ("M", 4, 6, 19, 26), ("N", 4, 6, 0, 0),
        ("P", 4, 6, 16, -19), ("Q", 6, 8, 0, 0), ("R", 6, 8, 0, 0), ("T", 8, 10, 0, 0),
    ],
)  # fmt: skip
def test_pilot_against_spring_dimensions(
    letter: str, inlet: int, outlet: int, inlet_difference: int, outlet_difference: int
) -> None:
    spring = table("spring_bodies").row(letter=letter, inlet_class=150, low=False)
    pilot = table("pilot_bodies").row(inlet=inlet, outlet=outlet, inlet_class=150)
    assert (spring.inlet, spring.outlet) == (inlet, outlet)
    assert letter in pilot.letters
    assert abs((pilot.A - spring.A) * 1e3 - inlet_difference) <= 0.6
    assert abs((pilot.B - spring.B) * 1e3 - outlet_difference) <= 0.6


def test_size_pairs_hold_every_body_and_every_ratio() -> None:
    pairs = {(row.letter, row.inlet, row.outlet) for row in table("size_pairs")}
    for row in table("spring_bodies"):
        assert table("size_pairs").row(letter=row.letter, inlet=row.inlet, outlet=row.outlet).spring
    for row in table("pilot_bodies"):
        assert {(letter, row.inlet, row.outlet) for letter in row.letters} <= pairs
    assert {(row.letter, row.inlet, row.outlet) for row in table("outlet_ratios")} <= pairs
    assert table("size_pairs").get(letter="J", inlet=4, outlet=6) is None


def test_outlet_ratio_is_schedule_40_bore_area_over_orifice_area() -> None:
    for row in table("outlet_ratios"):
        bore = table("pipe_schedules").row(nps=row.outlet, schedule="40").bore
        ratio = math.pi / 4 * bore**2 / table("orifices").row(letter=row.letter).area
        assert ratio == pytest.approx(row.ratio_computed, rel=0.003), row
        assert row.ratio == pytest.approx(row.ratio_computed, rel=0.004), row


# --- Back pressure and steam --------------------------------------------------------------------------------


def test_kb_and_kw_printed_points() -> None:
    kb, kw = table("kb_bellows"), table("kw_bellows")  # printed readings, error of the figures 0.01
    for over, values in ((0.10, (1, 0.946, 0.869, 0.781, 0.695)), (0.16, (1, 1, 0.981, 0.943, 0.906))):
        for share, expected in zip((0.30, 0.35, 0.40, 0.45, 0.50), values):
            assert kb.grid(over, share) == pytest.approx(expected, abs=0.002)
    assert kb.grid(0.21, 0.5) == 1
    for share, expected in ((0.15, 1), (0.2, 0.972), (0.25, 0.919), (0.3, 0.868), (0.4, 0.768), (0.5, 0.666)):
        assert kw.at(share, "Kw") == pytest.approx(expected, abs=0.001)


def test_kb_and_kw_never_rise_with_back_pressure() -> None:
    for over in (0.10, 0.16, 0.21):
        values = [row.Kb for row in table("kb_bellows").where(overpressure=over)]
        assert all(b <= a for a, b in pairwise(values)), over
    assert all(b.Kw <= a.Kw for a, b in pairwise(table("kw_bellows").rows))


def test_kb_and_kw_agree_with_fluids() -> None:
    safety = pytest.importorskip("fluids.safety_valve")
    set_gauge = 1e6 - 101325
    for back in (3.0e5, 4.2e5, 4.7e5, 5e5):
        share = (back - 101325) / set_gauge
        assert table("kb_bellows").grid(0.1, share) == pytest.approx(safety.API520_B(1e6, back), abs=1e-9)
        assert table("kw_bellows").at(share, "Kw") == pytest.approx(safety.API520_W(1e6, back), abs=1e-9)


@pytest.mark.parametrize("name", ["ksh_7e", "ksh_10e"])
def test_ksh_does_not_rise_with_temperature(name: str) -> None:
    found = table(name)
    columns = [column for column in found.columns if column.isdigit()]
    assert len(columns) == len(found.breaks) == {"ksh_7e": 10, "ksh_10e": 18}[name]
    for row in found:
        values = [row[column] for column in columns]
        assert all(b <= a for a, b in pairwise(values)), row
        assert all(0.6 < value <= 1 for value in values)


def test_ksh_7e_has_its_one_printed_outlier_and_says_so() -> None:
    found = table("ksh_7e")
    row = next(row for row in found if row.set_pressure == pytest.approx(1000 * PSI))
    assert row["900"] == 0.78
    assert "0.78 as printed" in row.note
    falls = [a for a, b in pairwise(found.rows) if b["900"] < a["900"] and b.set_pressure < 1600 * PSI]
    assert [round(row.set_pressure / PSI) for row in falls] == [800]  # the only fall below 1600 psig


def test_ksh_agrees_with_the_printed_cells_and_with_fluids() -> None:
    found = table("ksh_7e")
    cells = ((15, 300, 1), (100, 500, 0.94), (600, 700, 0.87), (1500, 1000, 0.77), (3000, 1200, 0.62))
    for psig, fahrenheit, expected in cells:
        assert found.grid(psig * PSI, (fahrenheit - 32) / 1.8 + KELVIN) == pytest.approx(expected, abs=1e-9)
    safety = pytest.importorskip("fluids.safety_valve")
    for kelvin, pressure in ((698.15, 3e6), (723.15, 6e6), (623.15, 1e6), (700.0, 4.1e6), (820.0, 20.1e6)):
        expected = safety.API520_SH(kelvin, pressure, "10E")
        assert table("ksh_10e").grid(pressure, kelvin) == pytest.approx(expected, abs=1e-6)


def test_kp_printed_points() -> None:
    assert [table("kp").at(over, "Kp") for over in (0.10, 0.16, 0.25)] == [0.6, 0.8, 1.0]
    assert table("kp").rows[1].mark() == "memory-lo"


def test_c_values_agree_with_the_closed_form() -> None:
    for row in table("c_values"):
        if row.k > 1:
            exact = 520 * math.sqrt(row.k * (2 / (row.k + 1)) ** ((row.k + 1) / (row.k - 1)))
            assert abs(row.C - exact) <= (0.06 if row.C % 1 else 0.6), row


# --- B16.5 and pipe -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("group", ["1.1", "2.2"])
def test_ratings_fall_with_temperature_and_rise_with_class(group: str) -> None:
    rows = table("flange_ratings").where(group=group)
    assert len(rows) == 17
    for rating in CLASSES:
        values = [row[f"class_{rating}"] for row in rows]
        assert all(b <= a for a, b in pairwise(values)), rating
    for row in rows:
        assert all(row[f"class_{a}"] < row[f"class_{b}"] for a, b in pairwise(CLASSES)), row


def test_no_group_exceeds_the_ceiling_of_the_class() -> None:
    ceiling = table("flange_ratings").row(group="1.2", temperature=38 + KELVIN)
    assert ceiling.class_300 == pytest.approx(51.7e5)
    for row in table("flange_ratings"):
        for rating in CLASSES:
            assert row[f"class_{rating}"] <= ceiling[f"class_{rating}"], row


def test_class_ratings_keep_their_proportions() -> None:
    # from class 300 up the rating is the class number times one stress (B16.5 annex), rounded to 0.1 bar
    for row in table("flange_ratings"):
        for rating in CLASSES[2:]:
            assert row[f"class_{rating}"] == pytest.approx(row.class_300 * rating / 300, rel=0.01), row


def test_ratings_printed_points() -> None:
    ratings = table("flange_ratings")
    assert ratings.at(230 + KELVIN, "class_300", group="1.1") == pytest.approx(42.66e5, abs=0.005e5)
    assert ratings.at(120 + KELVIN, "class_600", group="2.2") == pytest.approx(81.44e5, abs=0.005e5)
    assert ratings.at(-10 + KELVIN, "class_150", group="1.1") == pytest.approx(19.6e5)


def test_material_groups_have_ratings() -> None:
    groups = {row.group for row in table("flange_ratings")}
    assert {row.group for row in table("material_groups")} <= groups
    assert table("material_groups").row(material="WCB").group == "1.1"
    assert table("material_groups").row(material="CF8M").group == "2.2"


def test_300_and_600_drill_alike_up_to_nps_3_only() -> None:
    def drilling(nps: float, rating: int) -> tuple[float, int, float]:
        row = table("flange_drilling").row(nps=nps, rating=rating)
        return row.bolt_circle, row.bolts, row.bolt_size

    for nps in (1, 1.5, 2, 3):
        assert drilling(nps, 300) == drilling(nps, 600)
    for nps in (4, 6, 8, 10):
        assert drilling(nps, 300) != drilling(nps, 600)
    alike = [nps for nps in (1, 1.5, 2, 3, 4, 6, 8, 10) if drilling(nps, 900) == drilling(nps, 1500)]
    assert alike == [1, 1.5, 2]


def test_bolt_circles_are_whole_sixteenths_of_an_inch_and_grow() -> None:
    for row in table("flange_drilling"):
        sixteenths = row.bolt_circle / 0.0254 * 16
        assert abs(sixteenths - round(sixteenths)) < 0.1, row
        assert row.bolts % 4 == 0
        assert row.bolt_circle > table("raised_faces").row(nps=row.nps).diameter
    found = table("flange_drilling")
    for rating in CLASSES:
        assert all(a.bolt_circle < b.bolt_circle for a, b in pairwise(found.where(rating=rating)))
    for nps in (1, 1.5, 2, 3, 4, 6, 8, 10):
        assert all(a.bolt_circle <= b.bolt_circle for a, b in pairwise(found.where(nps=nps)))


def test_pipe_outside_is_bore_and_two_walls() -> None:
    for row in table("pipe_schedules"):
        assert row.outside == pytest.approx(row.bore + 2 * row.wall, abs=2e-5), row
        assert row.outside == pytest.approx(table("pipe_sizes").row(nps=row.nps).outside, abs=1.1e-4), row


def test_pipe_bores_shrink_with_the_schedule() -> None:
    for size in table("pipe_sizes"):
        found = (table("pipe_schedules").get(nps=size.nps, schedule=s) for s in ("10", "40", "80", "160"))
        bores = [row.bore for row in found if row is not None]
        assert len(bores) >= 2 and all(b < a for a, b in pairwise(bores)), size


def test_standard_weights_are_schedules_40_and_80_in_their_range() -> None:
    pipes = table("pipe_schedules")
    for size in table("pipe_sizes"):
        if size.nps <= 10:
            assert pipes.row(nps=size.nps, schedule="STD").bore == pipes.row(nps=size.nps, schedule="40").bore
        if size.nps <= 8:
            assert pipes.row(nps=size.nps, schedule="XS").bore == pipes.row(nps=size.nps, schedule="80").bore


def test_pipe_sizes_agree_with_the_reader_of_sizes() -> None:
    from quietseat.units import parse

    for row in table("pipe_sizes"):
        assert parse(f"DN {row.dn}", "pipe_size").value == row.nps


def test_pipe_bores_agree_with_fluids() -> None:
    piping = pytest.importorskip("fluids.piping")
    for nps, schedule in ((4, "40"), (6, "80"), (1.5, "160"), (10, "STD")):
        bore, outside = piping.nearest_pipe(NPS=nps, schedule=schedule)[1:3]
        row = table("pipe_schedules").row(nps=nps, schedule=schedule)
        assert (row.bore, row.outside) == (pytest.approx(bore, rel=1e-9), pytest.approx(outside, rel=1e-9))


# --- The rest -----------------------------------------------------------------------------------------------


def test_fire_factor_is_proportional_to_conductance() -> None:
    # F = 0.3 at 22.71 W/m2K and in proportion below (same temperature difference), as printed to 2 digits
    for row in table("fire_factors"):
        if row.conductance is not None:
            assert pytest.approx(0.3 * row.conductance / 22.71, rel=0.06) == row.F, row
    assert table("fire_factors").row(equipment="earth-covered").F == 0.03


def test_expansion_per_degf_and_degc_agree() -> None:
    for row in table("thermal_expansion"):
        assert row.alpha == pytest.approx(1.8 * row.alpha_per_degF, rel=1e-9), row
    assert table("thermal_expansion").next_up("api_gravity_up_to", 40.0).alpha == 0.0009


def test_seat_tightness_flow_is_the_bubble_count() -> None:
    bubble = table("seat_tests").row(item="bubble-volume").value * 1e-6  # m3
    for row in table("api527"):
        for size in ("small", "large"):
            assert row[f"{size}_flow"] == pytest.approx(row[f"{size}_bubbles"] / 60 * bubble, rel=0.003), row


def test_weibull_printed_probabilities() -> None:
    # printed to 4 digits for 1, 2, 3, 10 years with both modifiers 1
    printed = {
        ("open", "conventional", "mild"): (0.0009, 0.0030, 0.0062, 0.0528),
        ("open", "pilot", "moderate"): (0.0234, 0.0792, 0.1573, 0.7756),
        ("leak", "bellows", "severe"): (0.0199, 0.0591, 0.1100, 0.5505),
        ("leak", "pilot", "moderate"): (0.0124, 0.0371, 0.0697, 0.3910),
    }
    for (mode, kind, severity), values in printed.items():
        row = table("api581").row(mode=mode, kind=kind, severity=severity)
        for years, expected in zip((1, 2, 3, 10), values):
            assert 1 - math.exp(-((years / row.eta_years) ** row.beta)) == pytest.approx(expected, abs=6e-5)


def test_weibull_life_shortens_with_severity() -> None:
    for mode in ("open", "leak"):
        for kind in ("conventional", "bellows", "pilot"):
            lives = [row.eta_years for row in table("api581").where(mode=mode, kind=kind)]
            assert lives == sorted(lives, reverse=True) and len(lives) == 3


def test_moving_parts_follow_their_stated_geometry() -> None:
    for row in table("moving_parts"):
        area = table("orifices").row(letter=row.letter).area
        assert row.seat_diameter == pytest.approx(math.sqrt(4 * 1.1 * area / math.pi), rel=0.005), row
        assert row.mass == pytest.approx(0.15 + 2941 * row.seat_diameter**2.2, rel=0.045), row


def test_leak_bases_give_the_printed_kilograms_a_year() -> None:
    methane = table("constants").row(name="methane-scf").value
    checked = 0
    for row in table("leak_bases"):
        hourly = row.rate_kg_h if row.rate_kg_h is not None else row.rate_scf_h and row.rate_scf_h * methane
        if row.kg_year and hourly:
            digits = 0.006 if row.kg_year < 0.1 else 0.0  # printed to one digit
            assert hourly * 8760 == pytest.approx(row.kg_year, rel=0.05, abs=digits), row
            checked += 1
    assert checked >= 20


def test_leak_correlations_give_their_printed_points() -> None:
    for basis, at_500, at_10000 in (("petroleum", 5.3e-4, 3.1e-3), ("socmi", 3.2e-3, 3.8e-2)):
        row = table("leak_bases").row(basis=f"epa-{basis}-correlation")
        assert row.coefficient * 500**row.exponent == pytest.approx(at_500, rel=0.02)
        assert row.coefficient * 10000**row.exponent == pytest.approx(at_10000, rel=0.02)


def test_the_gate_vetoes_are_the_three_of_the_guards() -> None:
    vetoes = {row.condition for row in table("pilot_gate").where(verdict="veto")}
    assert vetoes == {"fouling", "polymerising", "fast-rise"}
    from quietseat.model import Service

    for row in table("pilot_gate"):
        assert row.field is None or hasattr(Service(), row.field), row


def test_accumulations_and_margins() -> None:
    rows = table("accumulations")
    for arrangement, factor in (("single", 1.10), ("multiple", 1.16), ("fire", 1.21)):
        assert rows.row(code="ASME VIII/XIII", arrangement=arrangement).factor == factor
    assert rows.row(code="ASME VIII/XIII", arrangement="single").minimum == pytest.approx(3 * PSI)
    margins = table("operating_margins")
    assert margins.next_up("up_to", 50 * PSI).pressure == pytest.approx(5 * PSI)
    assert margins.next_up("up_to", 71 * PSI).fraction == 0.10
    assert margins.next_up("up_to", 1001 * PSI).fraction == 0.07


def test_a_cell_may_name_its_own_unit() -> None:
    row = table("set_tolerances").where(code="ISO 4126-1")[0]
    assert (row.plus, row.plus_fraction) == (pytest.approx(0.1e5), 0.03)


# --- Lookup rules -------------------------------------------------------------------------------------------


def test_exact_lookup_names_table_key_and_nearest() -> None:
    with pytest.raises(KeyError, match=r"table orifices has no row for letter 'p'; nearest: letter 'P'"):
        table("orifices").row(letter="p")
    with pytest.raises(NotInTable, match="inlet_class 900, low False"):
        table("spring_bodies").row(letter="P", inlet_class=1500, low=False)
    with pytest.raises(TypeError, match="keyed by letter"):
        table("orifices").row(area=1.0)
    with pytest.raises(KeyError, match="no table 'orifice'; there are"):
        table("orifice")
    assert table("orifices").get(letter="Z") is None


def test_next_up_takes_an_equal_area_and_refuses_more_than_t() -> None:
    orifices = table("orifices")
    for row in orifices:
        assert orifices.next_up("area", row.area) is row
    assert orifices.next_up("area", 6.39 * 0.0254**2).letter == "Q"
    assert orifices.next_up("area", 0.0).letter == "D"
    with pytest.raises(ValueError, match="table orifices: no area of 1 or more"):
        orifices.next_up("area", 1.0)
    assert table("face_tolerances").next_up("inlet_up_to", 6).tolerance == pytest.approx(0.003175)


def test_linear_lookup_refuses_to_extrapolate() -> None:
    ratings = table("flange_ratings")
    for celsius in (-30, 539):
        with pytest.raises(ValueError, match=r"flange_ratings: temperature .* is outside 244.15 to 811.15"):
            ratings.at(celsius + KELVIN, "class_150", group="1.1")
    assert ratings.at(538 + KELVIN, "class_150", group="1.1") == pytest.approx(1.4e5)
    with pytest.raises(KeyError, match=r"group '9\.9'"):
        ratings.at(300.0, "class_150", group="9.9")
    with pytest.raises(AttributeError, match="no column 'class_400'"):
        ratings.at(300.0, "class_400", group="1.1")
    with pytest.raises(ValueError, match=r"table kb_bellows: back_pressure 0\.51 is outside 0 to 0\.5"):
        table("kb_bellows").grid(0.1, 0.51)
    with pytest.raises(ValueError, match="table kb_bellows: overpressure"):
        table("kb_bellows").grid(0.3, 0.2)


def test_nan_is_refused() -> None:
    with pytest.raises(ValueError):
        table("kw_bellows").at(math.nan, "Kw")
    with pytest.raises(ValueError):
        table("ksh_10e").grid(math.nan, 600.0)
    with pytest.raises(ValueError):
        table("orifices").next_up("area", math.nan)


def test_an_exact_table_is_not_interpolated() -> None:
    with pytest.raises(TypeError, match="may not be interpolated"):
        table("raised_faces").at(2.5, "diameter")


def test_grid_is_bilinear() -> None:
    found = table("ksh_7e")  # printed: 600 psig .87/.82, 800 psig .88/.83 at 700/800 degF
    middle = found.grid(700 * PSI, (750 - 32) / 1.8 + KELVIN)
    assert middle == pytest.approx((0.87 + 0.82 + 0.88 + 0.83) / 4, abs=1e-9)


def test_rows_are_read_only() -> None:
    row = table("orifices").row(letter="P")
    with pytest.raises(TypeError, match="read-only"):
        row["area"] = 1.0
    with pytest.raises(TypeError, match="read-only"):
        row.area = 1.0  # type: ignore[attr-defined]
    with pytest.raises(TypeError, match="read-only"):
        row.update(area=1.0)
    with pytest.raises(AttributeError, match="no column 'size'"):
        _ = row.size
    assert isinstance(row, Row) and row.cite() == "API 526 6E Table 1, seen"


def test_a_table_is_read_once() -> None:
    assert table("orifices") is table("orifices")


# --- The reader ---------------------------------------------------------------------------------------------


def _read(tmp_path: Path, text: str) -> tables.Table:
    path = tmp_path / "made__up.csv"
    path.write_text(text, encoding="utf-8")
    return read("made", path)


def test_reader_types_and_units(tmp_path: Path) -> None:
    made = _read(
        tmp_path,
        "# source: trade\n# key: letter\n# note: one\n# note: two\n"
        "letter [text],size [in],n,r,ok,t [degF],p [psig],provenance\n"
        "1E2,4 1/8,3,2.5,yes,32,0,seen\n,1/2,,1,no,212,10,estimate\n",
    )
    first, second = made.rows
    assert first["letter"] == "1E2" and second["letter"] is None  # text stays text
    assert (first.size, second.size) == (pytest.approx(0.104775), pytest.approx(0.0127))
    assert (first.n, second.n, type(first.n)) == (3, None, int)
    assert (first.r, second.r, type(second.r)) == (2.5, 1.0, float)
    assert (first.ok, second.ok) == (True, False)
    assert (first.t, second.t) == (pytest.approx(KELVIN), pytest.approx(373.15))
    assert (first.p, second.p) == (0.0, pytest.approx(10 * UNITS["psi"].factor))
    assert made.note == "one two"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("# key: a\na,provenance\n1,seen\n", "the head has no source"),
        ("# source: trade\n# keys: a\na,provenance\n1,seen\n", "unknown head line"),
        ("# source: trade\n# lookup: cubic\na,provenance\n1,seen\n", "lookup is one of"),
        ("# source: trade\na,provenance\n1,guess\n", "without a known provenance"),
        ("# source: trade\n# key: a\na,provenance\n1,seen\n1,seen\n", "stands in two rows"),
        ("# source: trade\na [furlong],provenance\n1,seen\n", "unit 'furlong' is not known"),
        ("# source: trade\na [mm],provenance\nx,seen\n", "column a"),
        ("# source: trade\na,provenance\n1,seen,2\n", "row 2 has 3 cells"),
    ],
)
def test_reader_refuses_with_the_file_and_the_reason(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        _read(tmp_path, text)


def test_a_blank_cell_is_never_bridged(tmp_path: Path) -> None:
    made = _read(
        tmp_path,
        "# source: trade\n# lookup: linear\n# key: p\n# across: t\n# value: F\n"
        "p,0,10,20,provenance\n1,1,,3,seen\n2,2,3,4,seen\n",
    )
    assert made.grid(1, 20) == 3
    assert made.grid(2, 5) == 2.5
    for x, y in ((1, 10), (1, 15), (1, 5), (1.5, 15)):
        with pytest.raises(ValueError, match="blank"):
            made.grid(x, y)


# --- Marks --------------------------------------------------------------------------------------------------


def test_weakest_mark() -> None:
    assert weakest(["seen", "computed"]) == "computed"
    assert weakest(["memory-hi", "memory-lo", "memory-md"]) == "memory-lo"
    assert weakest(["common practice", "estimate"]) == "common practice"
    assert weakest(["memory", "memory-hi"]) == "memory-md"
    assert weakest([]) == ""
    with pytest.raises(ValueError, match="'sure' is not a confidence mark"):
        weakest(["sure"])
