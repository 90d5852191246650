"""The file of adopted ports: what is written is read, what is broken is named, nothing is lost."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.config import AdoptedPorts, ConfigRefused, SerialConfig
from service.config.adopted import PORTS_MOST

PROFILES = ("senml", "name=value", "csv", 'regex:(?P<value>\\d+) "é"')


def ports_in(folder: Path) -> AdoptedPorts:
    return AdoptedPorts(f"sqlite:///{folder / 'shop.db'}")


def test_it_lies_beside_the_database(tmp_path):
    assert ports_in(tmp_path).path == tmp_path / "shop.ports.toml"
    assert ports_in(tmp_path).read() == []


names = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), min_size=1)


@given(
    st.lists(
        st.builds(
            SerialConfig,
            port=names.filter(lambda name: len(name) <= 1000),
            baud=st.integers(300, 4_000_000),
            profile=st.sampled_from(PROFILES[:3]),
        ),
        max_size=4,
        unique_by=lambda port: port.port,
    )
)
def test_what_is_added_is_read_back(ports):
    with tempfile.TemporaryDirectory() as folder:
        file = ports_in(Path(folder))
        for port in ports:
            file.add(port)
        assert file.read() == ports
        for port in ports:
            assert file.remove(port.port)
        assert file.read() == []


def test_a_profile_with_quotes_and_backslashes_survives(tmp_path):
    port = SerialConfig(port="/dev/meter", profile=PROFILES[3], channel="meter", unit="Cel")
    ports_in(tmp_path).add(port)
    assert ports_in(tmp_path).read() == [port]


def test_the_same_port_again_replaces_its_table(tmp_path):
    file = ports_in(tmp_path)
    file.add(SerialConfig(port="/dev/a", baud=9600))
    file.add(SerialConfig(port="/dev/b"))
    file.add(SerialConfig(port="/dev/a", baud=19200))
    assert [(each.port, each.baud) for each in file.read()] == [
        ("/dev/b", 115_200),
        ("/dev/a", 19_200),
    ]
    assert not file.remove("/dev/c")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[[serial]\n", "is not TOML"),
        ("\xff", "is not TOML"),
        ('[[serial]]\nport = "/dev/a"\nbaud = 12\n', "serial[0].baud = 12"),
        ('[[serial]]\nport = "/dev/a"\nspeed = 9600\n', "speed"),
        ('[mqtt]\nhost = "x"\n', "mqtt"),
    ],
)
def test_a_broken_file_is_named_and_left_alone(tmp_path, text, says):
    file = ports_in(tmp_path)
    file.path.write_bytes(text.encode("latin-1"))
    for work in (file.read, lambda: file.add(SerialConfig(port="/dev/b"))):
        with pytest.raises(ConfigRefused) as refused:
            work()
        assert says in str(refused.value)
        assert str(file.path) in str(refused.value)
    assert file.path.read_bytes() == text.encode("latin-1")


def test_one_port_too_many_is_refused_and_the_file_stays(tmp_path):
    file = ports_in(tmp_path)
    for number in range(PORTS_MOST):
        file.add(SerialConfig(port=f"/dev/tty{number}"))
    with pytest.raises(ConfigRefused, match="holds 64 ports already"):
        file.add(SerialConfig(port="/dev/one-more"))
    assert len(file.read()) == PORTS_MOST
