"""Which board is at a port: what tells two boards apart, and what is honestly not known.

The ports are made up in the form in which pyserial gives them (list_ports_common.ListPortInfo).
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import pytest
from pytest_mock import MockerFixture

from hostlink.board.port import ports
from hostlink.board.port.bridges import BRIDGES, driver_hint
from hostlink.board.port.ports import (
    Identity,
    hidden_bridges,
    identity_of,
    other_ports,
    same_board,
    usb_ports,
)

NUMBERLESS = (0x1A86, 0x7523)  # no serial number
NUMBERED = (0x0403, 0x6001)
DUAL = (0x0403, 0x6010)

Plug = Callable[..., None]


@pytest.fixture
def plug(mocker: MockerFixture) -> Plug:
    """Plug in ports: (device, ids, serial number, location) each."""

    def put(*found: tuple[str, tuple[int, int] | None, str | None, str | None]) -> None:
        infos = [
            SimpleNamespace(
                device=device,
                description="n/a",
                vid=ids[0] if ids else None,
                pid=ids[1] if ids else None,
                serial_number=serial,
                location=location,
            )
            for device, ids, serial, location in found
        ]
        mocker.patch("serial.tools.list_ports.comports", return_value=infos)

    return put


def test_a_board_with_a_serial_number_is_known_wherever_it_is(plug: Plug) -> None:
    """Another socket, another port name: the same board."""
    plug(("/dev/ttyUSB0", NUMBERED, "A5", "1-2"))
    (before,) = usb_ports()
    plug(("/dev/ttyUSB7", NUMBERED, "A5", "3-1"))
    (after,) = usb_ports()
    assert before.is_certain
    assert same_board(before, after)
    assert before.chip == "FT232 Serial (UART) IC"


def test_ports_are_listed_in_the_order_in_which_people_count(plug: Plug) -> None:
    """Port 10 behind port 9, where the letters alone would put it behind port 1."""
    plug(*((f"/dev/ttyUSB{n}", NUMBERED, f"A{n}", f"1-{n}") for n in (10, 9, 1)))
    assert [each.port[-2:] for each in usb_ports()] == ["B1", "B9", "10"]


def test_boards_without_a_serial_number_are_told_apart_by_their_socket(plug: Plug) -> None:
    """Two at once are two; one in the other's socket is taken for it, and is not called certain."""
    plug(("/dev/ttyUSB0", NUMBERLESS, None, "1-2"), ("/dev/ttyUSB1", NUMBERLESS, "", "1-3"))
    first, second = usb_ports()
    assert not first.is_certain
    assert not same_board(first, second)
    plug(("/dev/ttyUSB5", NUMBERLESS, None, "1-2"))
    (again,) = usb_ports()
    assert same_board(first, again)


def test_a_serial_number_that_two_bridges_share_tells_neither(plug: Plug) -> None:
    """Some makers give every chip the same number: then the socket counts, and it is said."""
    plug(("/dev/ttyUSB0", NUMBERED, "0001", "1-2"), ("/dev/ttyUSB1", NUMBERED, "0001", "1-3"))
    first, second = usb_ports()
    assert (first.serial, first.shared_serial) == ("", "0001")
    assert not same_board(first, second)


def test_the_channels_of_one_chip_are_ports_of_their_own(plug: Plug) -> None:
    """A dual bridge has one serial number and two lines: two boards may hang there."""
    plug(("/dev/ttyUSB0", DUAL, "D1", "1-2:1.0"), ("/dev/ttyUSB1", DUAL, "D1", "1-2:1.1"))
    first, second = usb_ports()
    assert first.is_certain
    assert second.is_certain
    assert not same_board(first, second)


def test_two_nodes_of_one_bridge_are_one_board_on_macos() -> None:
    """With two drivers installed the system shows one bridge twice; both names lead to it."""
    seen = [ports._identity(info) for info in _twice()]
    (board,) = ports._one_a_board(seen, "darwin")
    assert (board.port, board.also) == ("/dev/cu.usbserial-110", ("/dev/cu.wchusb110",))
    assert len(ports._one_a_board(seen, "linux")) == 2


def _twice() -> list[SimpleNamespace]:
    return [
        SimpleNamespace(
            device=device,
            description="",
            vid=NUMBERLESS[0],
            pid=NUMBERLESS[1],
            serial_number=None,
            location="1-1",
        )
        for device in ("/dev/cu.usbserial-110", "/dev/cu.wchusb110")
    ]


def test_phantom_ports_are_kept_apart(plug: Plug) -> None:
    """Ports without USB ids have mostly nothing behind them and are no boards by themselves."""
    plug(("/dev/ttyS0", None, None, None), ("/dev/ttyUSB0", NUMBERED, "A5", "1-2"))
    assert [each.port for each in usb_ports()] == ["/dev/ttyUSB0"]
    assert [each.port for each in other_ports()] == ["/dev/ttyS0"]


def test_an_unknown_bridge_is_called_by_its_own_description(plug: Plug) -> None:
    """What is not in the table is shown as the system describes it, and has no driver hint."""
    plug(("/dev/ttyACM0", (0x1234, 0x5678), None, "1-1"))
    (board,) = usb_ports()
    assert board.chip == "n/a"
    assert driver_hint(0x1234, 0x5678) == ""


@pytest.mark.skipif(os.name != "posix", reason="links to devices are a POSIX matter")
def test_a_link_to_a_device_is_that_device(plug: Plug, tmp_path: Path) -> None:
    """Named by its id or by its node, a port leads to the same board."""
    device = tmp_path / "ttyUSB0"
    device.touch()
    link = tmp_path / "by-id"
    link.symlink_to(device)
    plug((str(device), NUMBERED, "A5", "1-2"))
    assert identity_of(str(link)).serial == "A5"
    assert identity_of(str(link)).port == str(link)
    assert identity_of(str(tmp_path / "none")) == Identity(
        str(tmp_path / "none"), location=str(tmp_path / "none")
    )


@pytest.mark.parametrize("address", ["practice://red?fresh", "practice://red?time=virtual"])
def test_a_practice_board_is_known_by_its_name(address: str) -> None:
    """Options of its address make no other board of it."""
    assert same_board(identity_of(address), identity_of("practice://red"))
    assert not same_board(identity_of(address), identity_of("practice://blue"))


def test_a_network_port_is_known_by_its_address() -> None:
    """There is nothing else to know it by."""
    assert same_board(identity_of("rfc2217://a:1"), identity_of("rfc2217://a:1"))
    assert not same_board(identity_of("rfc2217://a:1"), identity_of("rfc2217://a:2"))


# --- bridges without a port ----------------------------------------------------------------------


@pytest.fixture
def sysfs(tmp_path: Path) -> Callable[..., Path]:
    """USB devices as Linux lays them out: (place, vendor, product, a port below it)."""

    def lay_out(*devices: tuple[str, str, str, str]) -> Path:
        for place, vendor, product, port in devices:
            device = tmp_path / place
            (device / f"{place}:1.0" / port).mkdir(parents=True)
            (device / "idVendor").write_text(f"{vendor}\n", encoding="ascii")
            (device / "idProduct").write_text(f"{product}\n", encoding="ascii")
        return tmp_path

    return lay_out


def test_a_bridge_without_a_driver_is_found(sysfs: Callable[..., Path]) -> None:
    """It is plugged in, is in the table, and has no port below it."""
    folder = sysfs(
        ("1-1", "1a86", "7523", "power"),
        ("1-2", "1a86", "7523", "ttyUSB0"),
        ("1-3", "04d8", "00dd", "tty/ttyACM0"),
        ("1-4", "ffff", "0001", "power"),
    )
    (folder / "1-5").mkdir()
    (folder / "1-5" / "idVendor").write_text("not a number", encoding="ascii")
    assert hidden_bridges(folder) == [("1-1", 0x1A86, 0x7523)]
    assert hidden_bridges(folder / "none") == []


@pytest.mark.parametrize("system", ["linux", "darwin", "win32"])
def test_every_known_bridge_has_a_driver_hint_everywhere(system: str) -> None:
    """Whoever has a bridge of the table reads what drives it on this system."""
    assert [ids for ids in BRIDGES if not driver_hint(*ids, system)] == []
