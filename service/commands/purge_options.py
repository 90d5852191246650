"""Options of ``heatwindow purge``: the cavity, the meter, the bottle."""

from __future__ import annotations

import argparse
import math
from dataclasses import dataclass

from service.commands.errors import BadInput
from service.commands.volume import volume_of
from service.physics.flow_meter import SCALE_GASES, FlowMeter
from service.physics.gas import (
    ATMOSPHERE_PA,
    STANDARD_CONDITIONS,
    bottle_litres,
    bottle_minutes,
)

_BAR_PA = 1e5


@dataclass(frozen=True, slots=True)
class Bottle:
    """The bottle at the end of the log.

    Attributes:
        left_l: Argon that will still come out [l].
        flow_l_min: Purge and torch together from now on [l/min].
    """

    left_l: float
    flow_l_min: float

    def text(self) -> str:
        """Litres and minutes left, in one sentence."""
        minutes = bottle_minutes(self.left_l, self.flow_l_min)
        if minutes is None:
            return f"Argon left in the bottle: {self.left_l:.0f} l; none is flowing."
        long = f"{minutes:.0f} min" if minutes < 120 else f"{minutes / 60:.1f} h"
        return (
            f"Argon left in the bottle: {self.left_l:.0f} l, "
            f"{long} at {self.flow_l_min:.1f} l/min for purge and torch."
        )


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare them."""
    cavity = parser.add_mutually_exclusive_group(required=True)
    cavity.add_argument("--volume-l", type=float, help="cold cavity volume [l]")
    cavity.add_argument(
        "--piece",
        action="append",
        metavar="PIECE",
        help="a piece of the cavity, such as 'pipe 2 x 300'; one option for each",
    )
    parser.add_argument("--limit-ppm", type=float, required=True, help="oxygen limit [ppm]")
    parser.add_argument(
        "--hose-volume-l", type=float, default=0.0, help="hose from meter to cavity [l]"
    )
    parser.add_argument(
        "--meter",
        choices=("argon", "float", "thermal"),
        default="argon",
        help="the meter shows true argon, or has a float, or feels heat (thermal)",
    )
    parser.add_argument(
        "--scale-gas", choices=tuple(SCALE_GASES), help="gas the meter's scale is for"
    )
    parser.add_argument(
        "--gas-factor", type=float, help="a thermal meter's own factor for argon, from its papers"
    )
    parser.add_argument(
        "--litres-at",
        choices=tuple(STANDARD_CONDITIONS),
        default="20 °C, 1 atm",
        help="what the meter's litre is",
    )
    parser.add_argument(
        "--meter-bar", type=float, default=0.0, help="gauge pressure in a float meter [bar]"
    )
    parser.add_argument("--bottle-l", type=float, help="the bottle's own (water) volume [l]")
    parser.add_argument("--bottle-bar", type=float, help="gauge pressure in it at the end [bar]")
    parser.add_argument(
        "--torch-l-min", type=float, default=0.0, help="what the torch takes besides [l/min]"
    )


_NUMBERS = (
    "volume_l",
    "limit_ppm",
    "hose_volume_l",
    "gas_factor",
    "meter_bar",
    "bottle_l",
    "bottle_bar",
    "torch_l_min",
)


def check_numbers(given: argparse.Namespace) -> None:
    """Refuse what is no number.

    Raises:
        BadInput: Names the option and the value.
    """
    for name in _NUMBERS:
        value = getattr(given, name)
        if value is not None and not math.isfinite(value):
            raise BadInput(f"--{name.replace('_', '-')} {value} is not a finite number")


def cavity_volume_l(given: argparse.Namespace) -> float:
    """The stated volume, or that of the pieces [l].

    Raises:
        BadInput: A piece is not understood.
    """
    return float(given.volume_l) if given.piece is None else volume_of(given.piece)


def meter(given: argparse.Namespace) -> FlowMeter:
    """The meter of the log.

    Raises:
        BadInput: The options do not go together.
    """
    if given.meter == "argon" and given.scale_gas not in (None, "argon"):
        raise BadInput(
            f"--scale-gas {given.scale_gas} needs --meter float or --meter thermal: each kind is "
            "corrected differently"
        )
    if given.meter != "argon" and given.scale_gas is None:
        raise BadInput(f"--meter {given.meter} needs --scale-gas: {', '.join(SCALE_GASES)}")
    if given.meter_bar and given.meter != "float":
        raise BadInput("--meter-bar belongs to --meter float: other meters do not feel it")
    if not -1.0 < given.meter_bar <= 10.0:
        raise BadInput(f"--meter-bar {given.meter_bar:g} is outside -1 to 10")
    try:
        return FlowMeter(
            principle=given.meter,
            scaled_for=given.scale_gas or "argon",
            gas_factor=given.gas_factor,
            litres_at=given.litres_at,
            pressure_pa=ATMOSPHERE_PA + given.meter_bar * _BAR_PA,
        )
    except ValueError as error:
        raise BadInput(str(error)) from error


def bottle(given: argparse.Namespace, purge_l_min: float) -> Bottle | None:
    """The bottle, when the options say something of it.

    Args:
        given: The options.
        purge_l_min: The flow that goes on into the cavity [l/min].

    Raises:
        BadInput: One of the two numbers is missing, or one is outside its range.
    """
    if given.torch_l_min < 0:
        raise BadInput(f"--torch-l-min {given.torch_l_min:g} must not be negative")
    if given.bottle_l is None and given.bottle_bar is None:
        return None
    if given.bottle_l is None or given.bottle_bar is None:
        raise BadInput("--bottle-l and --bottle-bar go together: size and pressure of the bottle")
    try:
        left_l = bottle_litres(given.bottle_l, given.bottle_bar * _BAR_PA)
    except ValueError as error:
        raise BadInput(str(error)) from error
    return Bottle(left_l, purge_l_min + given.torch_l_min)
