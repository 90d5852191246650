"""The operator's PIN: hashed, waited for after wrong ones, kept for this user alone."""

from __future__ import annotations

import json
import stat

import argon2
import pytest

from service.config import pin as pin_module
from service.config.pin import FREE_TRIES, HANDS_MOST, WAIT_FIRST_S, PinKeeper, PinRefused


class Now:
    """A clock the test moves."""

    def __init__(self) -> None:
        self.s = 0.0

    def __call__(self) -> float:
        return self.s


@pytest.fixture
def now() -> Now:
    return Now()


@pytest.fixture
def keeper(tmp_path, now, monkeypatch) -> PinKeeper:
    quick = argon2.PasswordHasher(time_cost=1, memory_cost=64, parallelism=1)
    monkeypatch.setattr(pin_module, "_HASHER", quick)
    return PinKeeper(f"sqlite:///{tmp_path / 'shop.db'}", now)


def test_without_a_pin_nobody_signs_in(keeper):
    assert not keeper.is_set()
    with pytest.raises(PinRefused, match="no PIN is set"):
        keeper.sign_in("123456")


def test_the_right_pin_gives_a_token_that_lasts(keeper, tmp_path):
    keeper.set_pin("123456")
    token = keeper.sign_in("123456")
    assert keeper.knows(token)
    assert PinKeeper(f"sqlite:///{tmp_path / 'shop.db'}").knows(token), "after a restart too"
    assert not keeper.knows("")
    assert not keeper.knows(token + "x")
    keeper.sign_out(token)
    assert not keeper.knows(token)


def test_another_pin_signs_everybody_out(keeper):
    keeper.set_pin("123456")
    token = keeper.sign_in("123456")
    keeper.set_pin("654321")
    assert not keeper.knows(token)
    keeper.set_pin(None)
    assert not keeper.is_set()


def test_neither_pin_nor_token_is_in_the_file_and_only_we_may_read_it(keeper):
    keeper.set_pin("98765432")
    token = keeper.sign_in("98765432")
    text = keeper.path.read_text()
    assert "98765432" not in text
    assert token not in text
    assert json.loads(text)["pin"].startswith("$argon2id$"), "RFC 9106"
    assert stat.S_IMODE(keeper.path.stat().st_mode) == 0o600


def test_wrong_pins_make_everybody_wait_longer_and_longer(keeper, now):
    keeper.set_pin("123456")
    for _ in range(FREE_TRIES):
        with pytest.raises(PinRefused, match="that is not the PIN"):
            keeper.sign_in("000000")
    with pytest.raises(PinRefused, match="try again in 30 s") as refused:
        keeper.sign_in("123456")
    assert refused.value.wait_s == WAIT_FIRST_S
    now.s += WAIT_FIRST_S
    with pytest.raises(PinRefused, match="not the PIN"):
        keeper.sign_in("000000")
    with pytest.raises(PinRefused, match="try again in 60 s"):
        keeper.sign_in("123456")
    now.s += 60
    assert keeper.knows(keeper.sign_in("123456"))
    with pytest.raises(PinRefused, match="not the PIN"):
        keeper.sign_in("000000")
    keeper.sign_in("123456")


@pytest.mark.parametrize("pin", ["", "12345", "1234567890123", "12345a", "１２３４５６", "12 456"])
def test_what_is_no_pin_is_refused(keeper, pin):
    with pytest.raises(ValueError, match="6 to 12 digits"):
        keeper.set_pin(pin)
    assert not keeper.is_set()


@pytest.mark.parametrize(
    "text", ["", "{", "[]", '{"pin": 3, "hands": []}', '{"pin": "x", "hands": 3}', "\x00\xff"]
)
def test_a_broken_file_lets_nobody_in(keeper, text):
    keeper.set_pin("123456")
    token = keeper.sign_in("123456")
    keeper.path.write_bytes(text.encode("latin-1"))
    assert not keeper.knows(token)
    with pytest.raises(PinRefused):
        keeper.sign_in("123456")


def test_the_number_of_devices_is_bounded(keeper):
    keeper.set_pin("123456")
    tokens = [keeper.sign_in("123456") for _ in range(HANDS_MOST + 1)]
    assert not keeper.knows(tokens[0])
    assert all(map(keeper.knows, tokens[1:]))
