"""Feed one reader what coverage suggests, with atheris, for as long as you like.

    .venv/bin/pip install atheris
    .venv/bin/python tests/field/fuzz_guided.py message -max_total_time=600 -seed=1

The targets and their rules are those of ``fuzz_targets``; what follows the name goes to atheris
(libFuzzer's options). It ends at the first finding and writes the input beside it. Not part of the
test extra: it is heavy and has no wheels for every Python.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

ABSENT = (
    "atheris is not installed: .venv/bin/pip install atheris (Linux, and a Python it has wheels "
    "for). tests/field/fuzz.py needs nothing more and feeds the same readers."
)


def main() -> int:
    try:
        import atheris
    except ImportError:
        sys.stderr.write(f"{ABSENT}\n")
        return 3
    with atheris.instrument_imports(include=["service"]):
        from tests.field.fuzz_targets import targets
    with tempfile.TemporaryDirectory() as name:
        every = targets(Path(name))
        if len(sys.argv) < 2 or sys.argv[1] not in every:
            sys.stderr.write(f"say which reader: {', '.join(sorted(every))}\n")
            return 2
        target = every[sys.argv[1]]
        corpus = Path(name) / "corpus"
        corpus.mkdir()
        for number, seed in enumerate(target.seeds):
            (corpus / str(number)).write_bytes(seed)

        def feed(data: bytes) -> None:
            target.feed(data)

        atheris.Setup([sys.argv[0], *sys.argv[2:], str(corpus)], feed)
        atheris.Fuzz()
    return 0


if __name__ == "__main__":
    sys.exit(main())
