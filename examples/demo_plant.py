"""The invented plant of the demo: every valve in clean figures, before the register makes a mess of them.

Pressures in barg, temperatures in degC, lengths in m, pipe sizes in NPS, rates in kg/h, volumes in m3. Plant,
place, tags, equipment and every figure are invented; no company, maker or model stands behind them.
"""

from __future__ import annotations

from typing import Any

PLANT = "Sallowmere Works"
UNITS = {"10": "Gas treating", "20": "Light ends and refrigeration", "30": "Utilities and solvents"}

# Fluids, as the plant's data sheets give them: phase, molar mass (g/mol), k, Z; or density (kg/m3), viscosity (cP).
NATURAL_GAS = {"fluid": "natural gas", "phase": "gas", "mw": 18.4, "k": 1.28, "z": 0.93}
FUEL_GAS = {"fluid": "fuel gas", "phase": "gas", "mw": 20.5, "k": 1.25, "z": 0.98}
HYDROGEN_RICH = {"fluid": "hydrogen-rich recycle gas", "phase": "gas", "mw": 6.2, "k": 1.36, "z": 1.01}
ACID_GAS = {"fluid": "acid gas", "phase": "gas", "mw": 39.5, "k": 1.28, "z": 0.97}
PROPANE = {"fluid": "propane", "phase": "gas", "mw": 44.1, "k": 1.14, "z": 0.82}
BUTADIENE = {"fluid": "butadiene", "phase": "gas", "mw": 54.1, "k": 1.12, "z": 0.88}
ETHYLENE = {"fluid": "ethylene", "phase": "gas", "mw": 28.05, "k": 1.24, "z": 0.9}
AMMONIA = {"fluid": "ammonia", "phase": "gas", "mw": 17.03, "k": 1.31, "z": 0.9}
NITROGEN = {"fluid": "nitrogen", "phase": "gas", "mw": 28.01, "k": 1.4, "z": 1.0}
AIR = {"fluid": "plant air", "phase": "gas", "mw": 28.97, "k": 1.4, "z": 1.0}
STEAM = {"fluid": "steam", "phase": "steam"}
NAPHTHA = {"fluid": "light naphtha", "phase": "liquid", "density": 665, "viscosity": 0.3}
WATER = {"fluid": "water", "phase": "liquid", "density": 995, "viscosity": 0.8}
CONDENSATE = {"fluid": "steam condensate", "phase": "liquid", "density": 955, "viscosity": 0.28}
AMINE = {"fluid": "rich amine", "phase": "liquid", "density": 1010, "viscosity": 2.5}
TOLUENE = {"fluid": "toluene", "phase": "liquid", "density": 845, "viscosity": 0.45}
HOT_OIL = {"fluid": "hot oil", "phase": "liquid", "density": 870, "viscosity": 60}
LIQUID_PROPANE = {"fluid": "propane", "phase": "liquid", "density": 480, "viscosity": 0.09}
FLASHING_PROPANE = {"fluid": "propane", "phase": "two-phase", "quality": 0.02}
FLASHING_WATER = {"fluid": "hot water", "phase": "two-phase", "v1": 0.0126, "v9": 0.0167}

Row = dict[str, Any]
VALVES: list[Row] = []


def valve(
    tag: str, equipment: str, fluid: Row, kind: str | None, size: str, rating: int, set: float, op: float | None,
    inlet: tuple[Any, ...] | None, outlet: tuple[Any, ...] | None, **more: Any,
) -> None:  # fmt: skip
    """One location. inlet: NPS, length, elbows, block valve, schedule; outlet: NPS, length, elbows.

    mawp is the set, blowdown 7 %, one signed blocked-outlet case, raised face, cast carbon steel and a metal
    seat, unless `more` says otherwise; a None there leaves the cell blank. expect and story: the verdict and the
    trouble that the figures were chosen for; the register does not show them.
    """
    row: Row = {
        "tag": tag, "unit": tag[:2], "equipment": equipment, "kind": kind, "size": size, "rating": rating,
        "rating_out": 150, "set": set, "mawp": set, "op": op, "blowdown": 7, "seat": "metal", "facing": "RF",
        "material": "WCB", "cause": "blocked outlet", "basis": "signed", "to": "flare", "temperature": 45, **fluid,
        "liquid_trim": "Y" if fluid["phase"] == "liquid" else None, "inlet": inlet, "outlet": outlet, **more,
    }  # fmt: skip
    if row["to"] != "atmosphere":  # headers stand empty or at their usual pressure
        row = {"superimposed_min": 0, "superimposed": 0.3, **row}
    VALVES.append(row)


# fmt: off
# --- Unit 10, gas treating -----------------------------------------------------------------------------------

valve("10-PSV-1001", "V-1001 inlet separator", NATURAL_GAS, "bellows", "2J3", 150, 12, 10, (2, 0.4, 0, "none"),
      (4, 6, 2), rate=5300, volume=14, expect="sound")
valve("10-PSV-1002A", "V-1002 fuel gas knock-out drum", FUEL_GAS, "conventional", "3K4", 150, 5.5, 4.4,
      (3, 0.5, 0, "gate"), (6, 4, 1), rate=3400, volume=9, to="atmosphere", installed=2, required=1, expect="sound")
valve("10-PSV-1003", "C-1003 absorber overhead", NATURAL_GAS, "bellows", "4P6", 150, 14, 11.5, (4, 0.6, 0, "none"),
      (8, 12, 3), rate=5200, volume=55, bellows=1, expect="misfit", story="oversized",
      history=[("2023-05-16", "overhaul", None, "seat beaten, lapped & set", 5200)])
valve("10-PSV-1004", "V-1004 filter separator", NATURAL_GAS, "bellows", "3L4", 150, 13, 11, (3, 0.9, 1, "gate"),
      (6, 8, 2), rate=4400, volume=16,
      expect="misfit", story="oversized+inlet loss, leak is the injury; smaller orifice",
      history=[("2024-03-11", "leak", 2300, "passing again after shop", 3900)], ppm=2300)
valve("10-PSV-1005", "V-1005 slug catcher", NATURAL_GAS, "bellows", "4N6", 150, 15, 12, (4, 7.5, 3, "gate"),
      (8, 10, 2), rate=25000, volume=60, sense_tap="Y", height=197, reach=210,
      expect="misfit", story="inlet loss, tap at hand",
      history=[("2022-10-04", "chatter", None, "hammering on lift, guides galled", 6100)])
valve("10-PSV-1006", "E-1006 feed preheater shell", NATURAL_GAS, "bellows", "2J3", 150, 14, 11.5,
      (2, 0.8, 1, "none"), (4, 5, 2), rate=6500, volume=3, sense_tap="N", expect="misfit", story="inlet loss, more blowdown")
valve("10-PSV-1007", "V-1007 flash drum", FUEL_GAS, "conventional", "3K4", 150, 8, 6.5, (3, 0.5, 0, "none"),
      (4, 45, 5), rate=5400, volume=11, superimposed=0.6, expect="misfit", story="back pressure, conventional")
valve("10-PSV-1008", "V-1008 regenerator reflux drum", FUEL_GAS, "bellows", "2J3", 150, 11, 8.8, (2, 0.3, 0, "none"),
      (4, 38, 6), rate=4000, volume=5, superimposed=5.2, expect="misfit", story="back pressure, bellows broken",
      history=[("2021-04-20", "bellows", 1, "bellow gone, renewed", 4800), ("2023-02-07", "bellows", 1,
               "bellows burst again", 4900), ("2025-06-30", "bellows", 1, "bellows renewed", 5100)])
valve("10-PSV-1009", "V-1009 sales gas scrubber", NATURAL_GAS, "bellows", "6Q8", 150, 9, 8.5, (6, 0.5, 0, "none"),
      (10, 14, 2), rate=33000, volume=40, sense_tap="Y", expect="misfit", story="close to set, pilot", ppm=900)
valve("10-PSV-1010", "V-1010 fuel gas mixing drum", FUEL_GAS, "conventional", "2J3", 150, 7, 6.45,
      (3, 0.4, 0, "none"), (6, 3, 1), rate=3200, volume=12, to="atmosphere",
      expect="misfit", story="close to set, soft seat")
valve("10-PSV-1011", "V-1011 meter run", NATURAL_GAS, "conventional", "1.5F2", 150, 9, 8.4, (2, 0.4, 0, "none"),
      (3, 3, 1), rate=1300, volume=4, mawp=12, to="atmosphere", expect="misfit", story="close to set, raise set")
valve("10-PSV-1012", "V-1012 drain pot", FUEL_GAS, "conventional", "1D2", 150, 10.5, 6, (1.5, 0.3, 0, "none"),
      (2, 3, 1), rate=300, volume=2, mawp=10, to="atmosphere", expect="misfit", story="set above MAWP")
valve("10-PSV-1013", "V-1013 dehydrator", NATURAL_GAS, "bellows", "3K4", 150, 14, 11.8, (3, 0.4, 0, "none"),
      (6, 8, 2), rate=15000, volume=18, expect="misfit", story="undersized")
valve("10-PSV-1014", "V-1014 hydrogen suction drum", HYDROGEN_RICH, None, "1.5F2", 300, 18, 15,
      (2, 0.6, 0, "none"), (3, 4, 1), rate=1000, volume=8, expect="unproven", story="kind unknown")
valve("10-PSV-1015", "V-1015 acid gas drum", ACID_GAS, "bellows", "1.5H3", 150, 11, 9, (3, 3.6, 0, "none"),
      (4, 6, 2), rate=3000, volume=4, sour="Y", expect="misfit", story="chatter")
valve("10-PSV-1016", "V-1016 sour gas knock-out drum", ACID_GAS, "conventional", "1.5F2", 150, 7, 5.5,
      (2, 0.4, 0, "none"), (3, 6, 2), rate=950, volume=6, sour="Y", expect="misfit", story="stuck, corrosion",
      history=[("2025-02-18", "pop", 9.8, "as found 9.8 barg, disc holder seized", 3300)])
valve("10-PSV-1017", "V-1017 rich amine flash", AMINE, "conventional", "1.5G3", 150, 8, 6, (2, 0.4, 0, "none"),
      (3, 4, 1), rate=22000, volume=15, dirty="Y", to="closed", expect="misfit", story="stuck, fouling veto",
      history=[("2024-09-03", "stuck", None, "nozzle plugged with salts, no lift on the bench", 2900)])
valve("10-PSV-1018", "V-1018 test separator", NATURAL_GAS, "conventional", "1.5H3", 150, 8, 6.6,
      (2, 0.4, 0, "none"), (4, 3, 1), volume=7, basis=None, expect="unproven", story="rate missing")
valve("10-PSV-1019", "K-1019 compressor discharge drum", HYDROGEN_RICH, "bellows", "2J3", 300, 28, 23,
      (3, 0.5, 0, "none"), (6, 8, 2), rate=9500, basis="nameplate", volume=5, expect="unproven", story="nameplate rate")
valve("10-PSV-1020", "V-1020 flare seal gas drum", FUEL_GAS, "conventional", "1.5F2", 150, 5, 4, None,
      (3, 3, 1), rate=500, volume=3, expect="unproven", story="no isometric")
valve("10-PSV-1021", "V-1021 glycol contactor", NATURAL_GAS, "bellows", "3L4", 300, 38, 33,
      (3, 0.8, 0, "gate", None, "sharp"), (8, 8, 2), rate=40000, blowdown=9, volume=22, expect="watch", story="inlet loss thin")
valve("10-PSV-1022", "K-1022 booster discharge", NATURAL_GAS, "conventional", "1.5F2", 600, 62, 59.5,
      (2, 0.4, 0, "none", "160"), (4, 4, 1), rate=7000, volume=1.5, pulsating="Y",
      expect="misfit", story="close to set, pulsating",
      history=[("2025-01-15", "leak", 4100, "simmering, weeping at the vent", 2400)], ppm=4100)
valve("10-PSV-1023", "V-1023 condensate drum", PROPANE, "bellows", "1.5G3", 150, 13.5, 10.5, (2, 0.4, 0, "none"),
      (3, 6, 2), cause="fire", temperature=75, rate=3500, volume=12, expect="sound", story="fire")
valve("10-PSV-1024", "V-1024 odorant drum", NATURAL_GAS, "conventional", "1D2", 150, 12.5, 9.5, (1.5, 0.3, 0, "none"),
      (2, 3, 1), rate=400, volume=1, expect="unproven", story="ambiguous pressure")

# --- Unit 20, light ends and refrigeration -------------------------------------------------------------------

valve("20-PSV-2001", "C-2001 depropaniser", PROPANE, "bellows", "4M6", 300, 19, 16, (4, 0.6, 0, "none"),
      (8, 15, 3), temperature=60, rate=None, volume=90, sense_tap="Y",
      expect="misfit", story="oversized, several cases",
      cases=[{"case": "Blocked outlet", "cause": "blocked outlet", "rate": 14000},
             {"case": "Reflux failure", "cause": "reflux", "rate": 15000},
             {"case": "Fire", "cause": "fire", "rate": 15000, "temperature": 68}])
valve("20-PSV-2002", "V-2002 propane surge drum", FLASHING_PROPANE, "bellows", "3L4", 300, 17, 14,
      (3, 0.5, 0, "gate"), (6, 10, 2), temperature=None, rate=35000, volume=30, expect="unproven", story="two-phase")
valve("20-PSV-2003A", "V-2003 ammonia receiver", AMMONIA, "bellows", "2J3", 300, 17, 13.5, (3, 0.5, 0, "none"),
      (4, 8, 2), temperature=48, rate=7200, volume=20, toxic="Y", installed=2, required=1, expect="sound")
valve("20-PSV-2004", "K-2004 ammonia compressor discharge", AMMONIA, "conventional", "1.5F2", 300, 20, 18.2,
      (2, 0.4, 0, "none"), (3, 4, 1), temperature=110, rate=2000, volume=1.2, pulsating="Y", toxic="Y",
      expect="misfit", story="close to set, soft seat")
valve("20-PSV-2005", "V-2005 butadiene column reflux drum", BUTADIENE, "bellows", "3K4", 150, 8, 6.2,
      (3, 0.5, 0, "none"), (6, 8, 2), temperature=62, rate=7300, volume=16, polymer="Y",
      expect="misfit", story="stuck, polymer veto",
      history=[("2024-11-26", "stuck", None, "popcorn polymer, seized shut", 6800),
               ("2022-08-09", "pop", 11.9, "popped at 11.9 barg", 4100)])
valve("20-PSV-2006A", "TK-2006 propane bullet", PROPANE, "bellows", "4N6", 300, 17.2, 13, (4, 0.5, 0, "gate"),
      (8, 10, 2), cause="fire", temperature=62, rate=96000, volume=180, installed=3, required=2,
      expect="sound", story="m-of-n")
valve("20-PSV-2006B", "TK-2006 propane bullet", PROPANE, "bellows", "4N6", 300, 17.2, 13, (4, 0.5, 0, "gate"),
      (8, 10, 2), cause="fire", temperature=62, rate=96000, volume=180, installed=3, required=2,
      expect="sound", story="m-of-n")
valve("20-PSV-2006C", "TK-2006 propane bullet", PROPANE, "bellows", "4N6", 300, 17.2, 13, (4, 4.5, 2, "gate"),
      (8, 10, 2), cause="fire", temperature=62, rate=96000, volume=180, installed=3, required=2,
      expect="misfit", story="inlet loss, one of three")
valve("20-PSV-2007", "R-2007 ethylene dimeriser", ETHYLENE, "conventional", "3K4", 300, 30, 28.4,
      (3, 0.5, 0, "none"), (6, 4, 1), temperature=80, rate=23000, volume=4, fast_rise="Y", cause="reaction",
      to="atmosphere", expect="misfit", story="fast rise veto")
valve("20-PSV-2008", "P-2008 propane transfer line", LIQUID_PROPANE, "conventional", "1D2", 300, 30, 22,
      (1, 0.2, 0, "none"), (2, 2, 1), cause="thermal", rate=280, blowdown=10, expect="sound", story="thermal")
valve("20-PSV-2009", "V-2009 ethane dryer", {**ETHYLENE, "fluid": "ethane", "mw": 30.07, "k": 1.18},
      "conventional", "1.5F2", 300, 36, 34, (2, 0.4, 0, "none"), (3, 3, 1), temperature=40, rate=4600, volume=6,
      sense_tap="Y", expect="misfit", story="close to set, F300 does not bolt in")
valve("20-PSV-2010", "V-2010 debutaniser reflux drum", BUTADIENE | {"fluid": "n-butane", "k": 1.1, "mw": 58.1},
      "conventional", "1.5G3", 150, 7.5, 7.0, (2, 0.3, 0, "none"), (4, 3, 1), temperature=70, rate=2200, volume=10,
      expect="misfit", story="close to set, G body")
valve("20-PSV-2011", "V-2011 propane chiller", PROPANE, "bellows", "3L4", 150, 14, 10, (3, 0.5, 0, None),
      (6, 12, 3), temperature=45, rate=17000, volume=14, superimposed=0.8, expect="unproven", story="block valve")
valve("20-PSV-2012", "V-2012 refrigerant accumulator", PROPANE, "bellows", "4P6", 150, 15, 11.8,
      (4, 5.5, 2, "gate"), (8, 16, 3), temperature=50, rate=32000, volume=35, sense_tap="Y", height=181, reach=229,
      expect="misfit", story="inlet loss, P body does not bolt in")
valve("20-PSV-2013", "E-2013 depropaniser reboiler", PROPANE, "bellows", "6R8", 300, 16.5, 13, (6, 0.6, 0, "none"),
      (10, 20, 3), temperature=70, rate=130000, volume=25, superimposed=1.1,
      expect="misfit", story="rating of the letter")
valve("20-PSV-2014", "V-2014 isobutane drum", BUTADIENE | {"fluid": "isobutane", "k": 1.1, "mw": 58.12},
      "conventional", "1.5H3", 150, 9, 7.2, (2, 0.3, 0, "none"), (4, 4, 1), temperature=68, rate=3500, volume=9,
      expect="sound")
valve("20-PSV-2015", "K-2015 propane suction drum", PROPANE, "conventional", "4M6", 150, 6, 4.2, (4, 0.5, 0, "none"),
      (6, 25, 4), temperature=25, rate=12000, volume=28, superimposed=1.4, expect="misfit", story="back pressure")
valve("20-PSV-2016", "C-2016 ammonia stripper", AMMONIA, "conventional", "2J3", 150, 6.5, 5.2, (3, 0.4, 0, "none"),
      (6, 5, 1), temperature=80, rate=1200, volume=12, toxic="Y", expect="misfit", story="oversized, restricted lift")
valve("20-PSV-2017", "V-2017 ethylene guard bed", ETHYLENE, "conventional", "1E2", 600, 45, 38,
      (1.5, 0.3, 0, "none", "160"), (3, 3, 1), temperature=30, rate=3600, volume=3, expect="sound")
valve("20-PSV-2018", "V-2018 propane treater", PROPANE, "conventional", "2J3", 150, 13, None, (3, 0.4, 0, "none"),
      (6, 4, 1), temperature=45, rate=6400, volume=8, expect="unproven", story="operating pressure missing")
valve("20-PSV-2019", "V-2019 drying tower", PROPANE, "conventional", "1.5H3", 150, 12, 9.5, (2, 0.5, 0, "none"),
      (4, 4, 1), temperature=45, blowdown=None, rate=4400, volume=7, expect="unproven", story="blowdown missing")
valve("20-PSV-2020", "V-2020 caustic wash", PROPANE, "conventional", "1.5F2", 150, 12, 9.5, (2, 0.4, 0, "none"),
      (3, 4, 1), rate=1400, volume=9, mawp=None, expect="unproven", story="MAWP missing")
valve("20-PSV-2021", "E-2021 chiller tube side", AMMONIA, "conventional", "1D2", 300, 16, 12, (1, 0.4, 0, "gate"),
      (2, 2, 1), temperature=50, cause="tube rupture", rate=660, volume=0.4, fast_rise="Y",
      lifts=6, expect="watch")
valve("20-PSV-2022", "V-2022 slops return pump", NAPHTHA, "conventional", "1.5F2", 150, 10, 7,
      (3, 0.2, 0, "none"), (3, 3, 1), rate=8700, volume=60, blowdown=15, to="closed", expect="sound", story="liquid")
valve("20-PSV-2023", "V-2023 product sphere line", PROPANE, "bellows", "3K4", 150, 13, 12.1, (3, 0.4, 0, "none"),
      (6, 8, 2), temperature=45, rate=13000, volume=26, seat="soft", expect="misfit", story="leak by close to set",
      history=[("2025-03-05", "leak", 650, "weeping since spring", 1800)])
valve("20-PSV-2024", "V-2024 inhibitor drum", NITROGEN, "conventional", "1D2", 150, 4, 2.8, (1, 0.3, 0, "none"),
      (2, 2, 1), rate=210, volume=1, cause="control valve", to="atmosphere", expect="sound")

# --- Unit 30, utilities and solvents -------------------------------------------------------------------------

valve("30-PSV-3001", "H-3001 LP steam header", STEAM, "conventional", "6R8", 150, 4, 3.3, (8, 0.5, 0, "none"),
      (12, 3, 1), temperature=None, op_temp=148, rate=20000, volume=20, to="atmosphere", expect="sound")
valve("30-PSV-3002", "H-3002 HP steam header", STEAM, "conventional", "3J4", 600, 41, 36, (3, 0.4, 0, "none", "80"),
      (10, 2, 0), temperature=400, op_temp=390, rate=12000, volume=15, to="atmosphere", expect="sound")
valve("30-PSV-3003", "H-3003 MP steam header", STEAM, "conventional", "4N6", 150, 12, 10.95, (4, 0.5, 0, "none"),
      (10, 3, 1), temperature=None, op_temp=190, rate=14000, volume=18, mawp=12, to="atmosphere",
      expect="misfit", story="close to set, steam", lifts=9,
      history=[("2024-12-10", "leak", None, "feathers, wire-drawn seat", 2700)])
valve("30-PSV-3004", "X-3004 desuperheater outlet", STEAM, "conventional", "3L4", 150, 11, 8.8, (3, 0.5, 0, "none"),
      (8, 3, 1), temperature=320, op_temp=310, rate=6600, volume=8, to="atmosphere",
      expect="misfit", story="rating at temperature")
valve("30-PSV-3005", "D-3005 deaerator", STEAM, "conventional", "4P6", 150, 2.5, 1.4, (4, 0.5, 0, "none"),
      (10, 4, 1), temperature=None, op_temp=127, rate=5700, volume=40, to="atmosphere", expect="sound")
valve("30-PSV-3006", "P-3006 boiler feed water", WATER, "conventional", "1.5F2", 600, 62, 50,
      (3, 0.2, 0, "none", "160"), (3, 3, 1), temperature=110, density=955, viscosity=0.26, op_temp=110,
      rate=25000, volume=40, blowdown=15,
      to="process", superimposed=5, superimposed_min=5, cdtp=57, expect="sound", story="liquid")
valve("30-PSV-3007", "V-3007 condensate flash drum", FLASHING_WATER, "conventional", "2J3", 150, 6, 4.5,
      (3, 0.5, 0, "none"), (6, 3, 1), temperature=163, rate=5100, volume=9, to="atmosphere",
      expect="unproven", story="two-phase")
valve("30-PSV-3008", "P-3008 hot oil pump discharge", HOT_OIL, "conventional", "1.5H3", 150, 9, 7, (3, 0.2, 0, "none"),
      (4, 4, 1), temperature=180, op_temp=180, rate=26000, volume=60, viscous="Y", blowdown=18, to="closed",
      expect="sound")
valve("30-PSV-3009", "P-3009 cooling water pump", WATER, "conventional", "3L4", 150, 7, 5, (3, 1.5, 2, "gate"),
      (4, 6, 2), temperature=30, rate=19000, volume=8, blowdown=10, to="closed",
      expect="misfit", story="oversized liquid, needless")
valve("30-PSV-3010", "H-3010 nitrogen header", NITROGEN, "conventional", "1.5F2", 150, 9, 7.4, (2, 0.4, 0, "none"),
      (3, 3, 1), cause="control valve", rate=1200, volume=10, to="atmosphere", expect="sound")
valve("30-PSV-3011", "V-3011 instrument air receiver", AIR, "conventional", "1.5H3", 150, 8.5, 7.6,
      (2, 0.25, 0, "none"), (4, 2, 1), cause="control valve", rate=2500, volume=30, to="atmosphere", expect="sound")
valve("30-PSV-3012", "TK-3012 toluene tank blanketing", NITROGEN, "conventional", "2J3", 150, 1.2, 0.5,
      (3, 0.3, 0, "none"), (4, 2, 1), cause="control valve", rate=1000, volume=60, to="atmosphere",
      expect="sound", story="low set")
valve("30-PSV-3013", "E-3013 toluene cooler, water side", WATER, "conventional", "1D2", 150, 10, 6,
      (1, 0.2, 0, "none"), (2, 2, 1), cause="thermal", rate=310, blowdown=10, to="closed",
      expect="sound", story="thermal")
valve("30-PSV-3014", "V-3014 toluene surge drum", TOLUENE, "conventional", "1.5G3", 150, 6, 5.7, (2, 0.5, 0, "none"),
      (3, 4, 1), rate=15000, volume=60, blowdown=15, to="closed",
      expect="misfit", story="close to set, cannot reseat")
valve("30-PSV-3015", "V-3015 solvent still overhead", {**PROPANE, "fluid": "toluene", "mw": 92.1, "k": 1.06, "z": 0.93},
      "conventional", "4M6", 150, 3.5, 2.2, (4, 0.5, 0, "none"), (6, 30, 5), temperature=165, cause="fire", rate=8300,
      volume=22, superimposed=0.7, expect="misfit", story="back pressure, fire")
valve("30-PSV-3016", "B-3016 package boiler drum", STEAM, "conventional", "3K4", 300, 17, 15, (3, 0.4, 0, "none"),
      (6, 3, 1), temperature=None, op_temp=203, rate=9600, volume=7, blowdown=6, to="atmosphere", as_found=15.6,
      expect="misfit", story="low pop, spring weakened")
valve("30-PSV-3017", "B-3017 waste heat boiler drum", STEAM, "conventional", "3L4", 300, 17, 15, (3, 2.2, 1, "none"),
      (8, 3, 1), temperature=None, op_temp=203, rate=14000, volume=9, to="atmosphere",
      expect="misfit", story="chatter, steam")
valve("30-PSV-3018", "H-3018 nitrogen backup", NITROGEN, "conventional", "1.5G3", 300, 18, 15, None, None,
      cause="control valve", rate=None, basis=None, volume=None, expect="unproven", story="nearly everything missing")
valve("30-PSV-3019", "V-3019 slop oil drum", HOT_OIL | {"fluid": "slop oil", "viscosity": 90}, "conventional", "1.5F2",
      150, 5, 3.5, (2, 0.6, 0, "none"), (2, 4, 1), rate=6700, volume=7, dirty="Y", viscous="Y", blowdown=10,
      to="closed",
      expect="misfit", story="fouling", history=[("2025-05-14", "stuck", None, "plugged with wax, seized", 2200)])
valve("30-PSV-3020", "V-3020 hot water expansion", WATER, "conventional", "1.5F2", 150, 6, 4.5, (2, 0.4, 0, "none"),
      (2, 3, 1), temperature=95, rate=None, volume=5, blowdown=10, to="closed", expect="unproven", story="rate missing")
valve("30-PSV-3021", "H-3021 plant air header", AIR, "conventional", "2J3", 150, 8.5, 7.2, (3, 0.4, 0, "none"),
      (6, 2, 1), cause="control valve", rate=4800, volume=6, to="atmosphere", expect="watch", story="lifts", lifts=7)
valve("30-PSV-3022", "X-3022 steam trap bypass header", STEAM, "conventional", "1.5F2", 150, 9, 7.5,
      (2, 0.4, 0, "none"), (3, 3, 1), temperature=None, op_temp=178, rate=320, volume=3, to="atmosphere",
      expect="misfit", story="oversized small volume")
valve("30-PSV-3023", "V-3023 vent condenser", NITROGEN, "pilot", "3L4", 150, 5, 4.6, (3, 0.6, 0, "none"),
      (6, 4, 1), action="snap", sense="remote", bleed="non-bleeding", blowdown=4, rate=6600, volume=15, to="atmosphere",
      expect="unproven", story="sense line")
valve("30-PSV-3024", "V-3024 blowdown drum", STEAM, "conventional", "4M6", 150, 3.5, 2.4, (4, 0.5, 0, "none"),
      (8, 6, 2), temperature=None, op_temp=147, rate=1650, volume=14, to="atmosphere",
      expect="misfit", story="oversized")
# fmt: on
