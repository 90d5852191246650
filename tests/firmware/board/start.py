"""Power on: what a board's firmware does, with the stand-ins before everything else."""

import sys

here = __file__.rsplit("/", 1)[0]
node = here + "/../../../firmware_notes/node"
sys.path[:] = [here, node, ".frozen"]
with open(node + "/main.py") as file:
    source = file.read()
exec(compile(source, "main.py", "exec"), {"__name__": "__main__"})
