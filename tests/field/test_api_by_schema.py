"""The API of the running service against its own description, by a tool that knows nothing of us.

Schemathesis makes up requests from ``openapi.json``, sound ones and broken ones, and checks that
every answer is one that is described. Seeded, and with few examples for each operation; for more:

    schemathesis run http://127.0.0.1:8080/api/v1/openapi.json -H "X-Heatwindow: 1" --seed 2
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.field.bench_parts import ScriptedPort, wait_until
from tests.field.service_process import ServiceProcess

SEED = 20261125
EXAMPLES = 6


@pytest.fixture
def shop(service_folder: Path, scripted_port: ScriptedPort) -> Iterator[ServiceProcess]:
    """A service with a channel, a part and a heat, so that not everything is "no such"."""
    service = ServiceProcess(service_folder, f'[[serial]]\nport = "{scripted_port.path}"\n')
    service.start()
    scripted_port.write(b'[{"n":"probe","u":"Cel","v":300}]\n')
    wait_until(lambda: service.channel("probe"), "the probe")
    part_id = service.act("create part", facts={"name": "manifold"})["part_id"]
    service.act("begin heat", part_id=part_id)
    yield service
    service.end()


def test_every_answer_is_as_described(shop: ServiceProcess, tmp_path: Path) -> None:
    done = subprocess.run(
        [
            str(Path(sys.executable).with_name("schemathesis")),
            "run",
            f"http://127.0.0.1:{shop.port}/api/v1/openapi.json",
            "--header=X-Heatwindow: 1",
            f"--seed={SEED}",
            f"--max-examples={EXAMPLES}",
            "--phases=examples,coverage,fuzzing",
            # Rules between fields (one of two must be given, say) are refused in words, which the
            # description cannot say.
            "--exclude-checks=positive_data_acceptance",
            "--generation-database=none",
            "--no-color",
        ],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=170,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-6000:] + done.stderr[-2000:]
    assert shop.healthy()
    assert "Traceback" not in shop.log()
    assert shop.stop() == 0
