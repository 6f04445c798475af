"""Money: closed forms, and totals that are the sum of the printed parts."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quietseat import basis as bases
from quietseat import economics
from quietseat.economics import Bill
from quietseat.formula import Sheet
from quietseat.model import Spread, Valve, Work

BASIS = bases.make({})


def spread(mid: float) -> Spread:
    return Spread(0.5 * mid, mid, 2 * mid)


@given(st.floats(1e-4, 0.5), st.integers(1, 40))
def test_annuity_is_the_sum_of_the_discounted_years(rate, years):
    """Independent: 1/(1+r) + ... + 1/(1+r)^n, added up year by year."""
    assert economics.annuity(rate, years) == pytest.approx(sum((1 + rate) ** -t for t in range(1, years + 1)), rel=1e-9)


def test_annuity_printed_value():
    """8.0607: present value of 1 a year, 15 years, 9 %; any table of annuities (four decimals)."""
    assert economics.annuity(0.09, 15) == pytest.approx(8.0607, abs=5e-5)


def test_rate_zero_counts_the_years():
    basis = bases.make({"discount_rate": "0 %", "horizon_years": "12"})
    sheet = Sheet()
    assert economics.years_factor(basis, sheet) == 12.0
    assert "discount rate 0" in sheet.steps()[0].substituted


money = st.floats(0, 1e6)


@given(money, money, money, money, money, st.floats(0, 200))
def test_total_is_the_sum_of_the_printed_parts(capital, besides, upkeep, product, co2e, hours):
    basis = bases.make({"carbon_price": "60", "outage_cost_per_hour": "100"})
    work = (Work("a", spread(hours), spread(besides)), Work("b", spread(1.0), spread(2.0), outage=False))
    cost = economics.price(
        Bill(spread(capital), work, spread(upkeep), product=spread(product), co2e=spread(co2e)), basis
    )
    for end in ("low", "mid", "high"):
        parts = [getattr(part, end) for part in (cost.capital, cost.work, cost.upkeep, cost.leakage, cost.carbon)]
        assert getattr(cost.total, end) == pytest.approx(sum(parts), rel=1e-12)
    assert cost.total.low <= cost.total.mid <= cost.total.high


def test_price_by_hand():
    """By hand at 0 %, 10 years: work 8 h x 95 + 300 + 6 h beyond the window x 50 = 1360; 2 kg/a x 0.30 x 10 = 6; 1 t x 60 x 10 = 600."""
    basis = bases.make(
        {"discount_rate": "0 %", "horizon_years": "10", "labour_rate": "95", "outage_cost_per_hour": "50",
         "product_price": "0.30", "carbon_price": "60", "outage_days": "0.2", "crew_hours_per_day": "10"}
    )  # fmt: skip
    flat = Spread(8.0, 8.0, 8.0)
    work = (Work("out", flat, Spread(300, 300, 300)),)
    bill = Bill(
        Spread(5000, 5000, 5000), work, Spread(100, 100, 100), product=Spread(2, 2, 2), co2e=Spread(1000, 1000, 1000)
    )
    cost = economics.price(bill, basis)
    assert cost.work.mid == pytest.approx(8 * 95 + 300 + 6 * 50)
    assert (cost.upkeep.mid, cost.leakage.mid, cost.carbon.mid) == pytest.approx((1000, 6, 600))
    assert cost.total.mid == pytest.approx(5000 + 1360 + 1000 + 6 + 600)
    assert (cost.crew_hours, cost.outage_hours) == (8.0, 8.0)


def test_carbon_is_free_by_default():
    cost = economics.price(Bill(co2e=spread(1e6)), BASIS)
    assert cost.carbon == Spread(0, 0, 0)


def test_valve_prices_follow_the_table_of_ratios():
    """NPS 4 class 150: spring 7/13/24 k USD; pilot at parity 0.9/1.0/1.2 (trade); spring dimensions 1.0/1.1/1.25."""
    spring = Valve(kind="conventional", inlet_size=4.0, inlet_class=150)
    assert economics.new_valve(spring, BASIS) == Spread(7000, 13000, 24000)
    pilot = replace(spring, kind="pilot", body_pattern="pilot", seat="soft")
    assert economics.new_valve(pilot, BASIS).mid == pytest.approx(13000)
    assert economics.new_valve(replace(pilot, body_pattern="spring"), BASIS).mid == pytest.approx(13000 * 1.1)
    small = economics.new_valve(replace(pilot, inlet_size=2.0), BASIS)
    assert small.mid / economics.new_valve(replace(spring, inlet_size=2.0), BASIS).mid == pytest.approx(2.25)
    steel = economics.new_valve(replace(spring, body_material="CF8M", inlet_class=300), BASIS)
    assert steel.mid == pytest.approx(13000 * 2.0 * 1.1)
    assert economics.new_valve(replace(spring, inlet_size=10.0), BASIS) is None
    assert economics.new_valve(replace(spring, inlet_size=None), BASIS) is None


def test_upkeep_by_hand():
    """NPS 4 spring valve every 5 years: shop 2250 + 10 crew-h x 95 = 3200, 640 a year; a pilot adds 1650 + 1150."""
    valve = Valve(kind="conventional", inlet_size=4.0)
    assert economics.overhaul(valve, BASIS).mid == pytest.approx(640)
    assert economics.overhaul(replace(valve, kind="pilot"), BASIS).mid == pytest.approx((3200 + 2800) / 5)
    longer = bases.make({"interval_pilot_years": "10"})
    assert economics.overhaul(replace(valve, kind="pilot"), longer).mid == pytest.approx(600)


def test_price_factor_scales_money_not_hours():
    double = bases.make({"price_factor": "2"})
    one, two = (economics.service_work("w", "weld", basis, times=2, size=6.0, field=True) for basis in (BASIS, double))
    assert one == two  # hours only; NPS 6: 5, 6, 7 h a weld, field factor 1.6
    assert one.hours.mid == pytest.approx(2 * 6 * 1.6)
    assert economics.priced("spool", double).money.mid == 2 * economics.priced("spool", BASIS).money.mid
