"""Pure functions of the physics: cooldown, purge, gas, thermocouples. No I/O, no clock."""
