"""The meters page: factors and sums computed again from outside, line examples decoded.

Oracles: CoolProp (argon, air, nitrogen, carbon dioxide, water), the ideal gas law and plain
geometry written out here. Our own physics is held against the same page, so that the two agree.
"""

from __future__ import annotations

import math
import shlex
from pathlib import Path

import pytest
from CoolProp.CoolProp import PropsSI

from service.commands.main import main
from service.config import load
from service.judge.shop_rules import MOST_CORRECTED
from service.physics.flow_meter import FlowMeter
from service.physics.gas import STANDARD_CONDITIONS
from service.readings import ChannelKind
from service.units import WIRE_UNITS
from service.wire.text_units import TEXT_UNITS
from tests.firmware_notes.decoded import rows_of
from tests.firmware_notes.pages import Block, blocks, section, tables, words

PAGE = "meters.md"
ROOM = ("T", 293.15, "P", 101_325.0)
NAMES = {"air": "Air", "nitrogen": "Nitrogen", "carbon dioxide": "CarbonDioxide"}


def ratio(quantity: str, gas: str) -> float:
    return PropsSI(quantity, *ROOM, NAMES[gas]) / PropsSI(quantity, *ROOM, "Argon")


def by_density(gas: str) -> float:
    """Drag equals the float's weight, or Δp = ρ·v²/2: flow goes with 1/√ρ."""
    return math.sqrt(ratio("D", gas))


def by_viscosity(gas: str) -> float:
    """Hagen and Poiseuille: Δp goes with the viscosity."""
    return ratio("V", gas)


def by_heat(gas: str) -> float:
    """Heat carried by a standard litre: density times heat capacity."""
    return ratio("D", gas) * ratio("C", gas)


def test_factors_for_the_gas() -> None:
    (table,) = tables(section(PAGE, "Flow: which gas is the scale for?"))
    rules = {"float": by_density, "laminar": by_viscosity, "thermal": by_heat}
    assert {meter.split()[0] for meter, _, _ in table} == {*rules, "the"}
    rule = by_density
    for meter, gas, factor in table:
        rule = rules.get(meter.split()[0], rule)
        assert factor == f"{rule(gas):.3f}"


@pytest.mark.parametrize(("principle", "first"), [("float", "float"), ("thermal", "thermal")])
def test_the_service_uses_the_factors_of_the_page(principle: str, first: str) -> None:
    """Ideal gas in the service, real gas on the page: within half a per cent."""
    (table,) = tables(section(PAGE, "Flow: which gas is the scale for?"))
    factor = next(float(row[2]) for row in table if row[0].startswith(first) and row[1] == "air")
    meter = FlowMeter(principle, "air")  # type: ignore[arg-type]
    assert meter.argon_per_shown() == pytest.approx(factor, rel=5e-3)


def test_litres() -> None:
    """Ideal gas: p/p20 · T20/T."""
    (table,) = tables(section(PAGE, "Flow: which litre?"))
    made = {
        "0 °C, 1 atm": 293.15 / 273.15,
        "0 °C, 1 bar": 293.15 / 273.15 * 100_000 / 101_325,
        "70 °F, 1 atm": 293.15 / ((70 - 32) / 1.8 + 273.15),
    }
    assert dict(table) == {k: f"{v:.5f}" for k, v in made.items()}
    assert set(made) < set(STANDARD_CONDITIONS)
    assert f"is {10 * by_heat('nitrogen') * made['0 °C, 1 atm']:.1f} L/min of argon" in words(PAGE)


def test_the_page_takes_the_correction_it_advises() -> None:
    least, share = MOST_CORRECTED[ChannelKind.GAS_FLOW]
    assert share == 0.5, "up to half of the true value"
    assert abs(15.0 - 10.0) <= max(least, share * 15.0)


def test_the_log_command_runs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (block,) = [each for each in blocks("sh") if "heatwindow purge" in each.text]
    log = tmp_path / "purge.csv"
    log.write_text("t_s,flow_l_min\n" + "".join(f"{t},10\n" for t in range(0, 300, 5)))
    words_given = [str(log) if w == "purge.csv" else w for w in shlex.split(block.text)[1:]]
    assert main(words_given) == 0
    assert "clear" in capsys.readouterr().out.lower()


def test_the_jug() -> None:
    vapour = PropsSI("P", "T", 293.15, "Q", 0, "Water") / 101_325.0
    assert f"holds {vapour * 100:.1f} % of vapour" in words(PAGE)
    assert f"{2 / 10 * 60:.0f} s is 10 L/min" in words(PAGE)
    assert f"the argon is {10 * (1 - vapour):.1f} L/min" in words(PAGE)


@pytest.mark.parametrize(
    ("name", "carbon", "hydrogen", "oxygen"),
    [("acetone", 3, 6, 1), ("ethanol", 2, 6, 1), ("hexane", 6, 14, 0)],
)
def test_what_solvents_hide(name: str, carbon: int, hydrogen: int, oxygen: int) -> None:
    """Complete burning: C + H/4 − O/2 molecules of oxygen to each."""
    burns = carbon + hydrogen / 4 - oxygen / 2
    said = words(PAGE)
    phrases = {
        "acetone": f"One ppm of acetone hides {burns:g} ppm",
        "ethanol": f"one of ethanol {burns:g}",
        "hexane": f"one of hexane {burns:g}",
    }
    assert phrases[name] in said


def test_the_percent_cell() -> None:
    assert f"good to {0.01 * 250_000:.0f} ppm" in words(PAGE)


def test_the_sampling_line() -> None:
    """1 ppm a foot at one standard cubic foot an hour, as the manual says; less flow, more ppm."""
    cubic_foot_hour_l_min = 0.3048**3 * 1000 / 60
    assert f"at {cubic_foot_hour_l_min:.2f} L/min" in words(PAGE)
    let_in_ppm = 2 / 0.3048 * cubic_foot_hour_l_min / 0.25
    assert f"2 m at 0.25 L/min is {let_in_ppm:.0f} ppm" in words(PAGE)
    held_ml = math.pi / 4 * 0.4**2 * 200
    assert f"2 m of 4 mm bore hold {held_ml:.0f} mL: {held_ml / 250 * 60:.0f} s" in words(PAGE)


def profiles() -> list[tuple[Block, Block]]:
    """Each block of lines with the config that stands before it."""
    found = []
    config: Block | None = None
    for block in blocks("toml", "lines"):
        if block.language == "toml":
            config = block
        else:
            assert config is not None, f"{block} has no config before it"
            found.append((config, block))
    return found


@pytest.mark.parametrize(("config", "lines"), profiles(), ids=str)
def test_every_line_is_read_as_its_table_says(config: Block, lines: Block, tmp_path: Path) -> None:
    file = tmp_path / "shop.toml"
    file.write_text(config.text, encoding="utf-8")
    loaded = load(file)
    (link,) = [*loaded.serial, *loaded.log_file]
    profile = link.line_profile()
    read = [row for line in lines.lines for row in rows_of(profile.decode(line.encode()))]
    assert read == lines.table


def test_every_unit_of_plain_lines_is_listed() -> None:
    said = section(PAGE, "Loggers with CSV files").rpartition("these units besides")[2]
    listed = set(said.split("`")[1::2])
    assert listed == set(TEXT_UNITS) - set(WIRE_UNITS)
