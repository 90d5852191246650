"""Begins at power-up. Copy this folder to the board and edit ``config.json``; nothing else.

A switch at the pin ``stay_out``, closed to ground at power-up, keeps the node from starting, so
that the board can be worked on: once the watchdog runs nothing can stop it.
"""

import sys
import time

import machine
from node import Node
from settings import BadSettings, load

AGAIN_S = 1


def main() -> None:
    """Run the node; after a fault of its own the board is reset, with a new ``boot`` mark."""
    try:
        settings = load("config.json")
    except BadSettings as error:
        print(error)
        return
    stay_out = settings["stay_out"]
    if stay_out is not None and not machine.Pin(stay_out, machine.Pin.IN, machine.Pin.PULL_UP)():
        print("staying out: the switch at pin", stay_out, "is closed")
        return
    try:
        Node(settings).run()
    except Exception as error:  # noqa: BLE001 - told and then begun anew: nobody sits at the board
        sys.print_exception(error)
        time.sleep(AGAIN_S)
        machine.reset()


main()
