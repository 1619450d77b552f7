"""Which port is meant, what is never touched, and what an opening that fails says."""

from __future__ import annotations

import errno
import types

import pytest
import serial
from serial.tools import list_ports

from hingeline.bench import ports, transport
from hingeline.bench.ports import (
    Port,
    candidates,
    choose,
    choose_all,
    preferred,
    same_again,
    usb_number,
)
from hingeline.bench.transport import SerialTransport
from hingeline.errors import BenchError


def usb(device, vid=None, pid=None, number=None):
    return types.SimpleNamespace(device=device, vid=vid, pid=pid, serial_number=number)


@pytest.fixture
def plugged(monkeypatch):
    """Plug ports in; opening any of them is a fault."""

    def open_(*_what, **_how):
        raise AssertionError("a port was opened")

    def plug(*ports):
        monkeypatch.setattr(list_ports, "comports", lambda: list(ports))
        monkeypatch.setattr(serial, "Serial", open_)

    return plug


def test_only_ports_whose_usb_identity_may_be_a_board_are_candidates(plugged):
    plugged(
        usb("/dev/ttyS0"),
        usb("/dev/ttyACM1", 0x2E8A, 0x0005, "E660"),
        usb("/dev/ttyACM0", 0x2E8A, 0x0005, "E661"),
        usb("/dev/ttyUSB0", 0x10C4, 0xEA60, None),
        usb("/dev/ttyACM9", 0x1234, 0x0001, "printer"),  # whatever this is, it is left alone
    )
    found = candidates()
    assert [port.device for port in found] == ["/dev/ttyACM0", "/dev/ttyACM1", "/dev/ttyUSB0"]
    assert found[0].usb == "2e8a:0005 E661"
    assert found[2].usb == "10c4:ea60"
    assert "RP2040" in found[0].likely
    assert "bridge" in found[2].likely


def test_nothing_is_opened_while_listing_and_choosing(plugged):
    plugged(usb("/dev/ttyACM0", 0x2E8A, 5, "E660"))
    assert choose(None, candidates()) == "/dev/ttyACM0"


def test_the_one_board_is_meant():
    one = Port("/dev/ttyACM3", "2e8a:0005 E660", "RP2040 or RP2350")
    assert choose(None, [one]) == "/dev/ttyACM3"
    assert choose("COM7", [one]) == "COM7"
    assert choose("sim:7", []) == "sim:7"


def test_no_board_says_how_to_go_on():
    with pytest.raises(BenchError, match="no board was found") as caught:
        choose(None, [])
    assert "--port sim:" in str(caught.value)


def test_of_several_none_is_guessed():
    several = [Port(f"/dev/ttyACM{n}", "", "") for n in (0, 1)]
    with pytest.raises(BenchError, match=r"2 ports may have a board: /dev/ttyACM0, /dev/ttyACM1"):
        choose(None, several)


def test_a_board_that_was_reset_is_found_by_its_serial_number(plugged):
    plugged(usb("/dev/ttyACM0", 0x2E8A, 5, "E660"), usb("/dev/ttyACM1", 0x2E8A, 5, "E661"))
    assert usb_number("/dev/ttyACM0") == "E660"
    assert usb_number("/dev/ttyACM7") is None
    plugged(usb("/dev/ttyACM0", 0x2E8A, 5, "E661"), usb("/dev/ttyACM2", 0x2E8A, 5, "E660"))
    assert same_again("/dev/ttyACM0", "E660") == "/dev/ttyACM2"  # its old name is another's now
    assert same_again("/dev/ttyACM2", "E660") == "/dev/ttyACM2"
    assert same_again("/dev/ttyACM0", "E999") is None
    assert same_again("/dev/pts/3", None) == "/dev/pts/3"  # without a number: where it was


@pytest.mark.parametrize(
    ("device", "platform", "opened"),
    [
        ("/dev/tty.usbmodem101", "darwin", "/dev/cu.usbmodem101"),
        ("/dev/cu.usbmodem101", "darwin", "/dev/cu.usbmodem101"),
        ("/dev/tty.usbmodem101", "linux", "/dev/tty.usbmodem101"),
        ("/dev/ttyACM0", "linux", "/dev/ttyACM0"),
        ("COM3", "win32", "COM3"),
    ],
)
def test_on_macos_the_port_that_opens_at_once_is_used(device, platform, opened):
    assert preferred(device, platform) == opened


def failing(monkeypatch, error, times=99):
    """Let opening fail so often; return the list of tries, each with how it was asked for."""
    tries = []

    def open_(device, baud, **how):
        tries.append((device, baud, how))
        if len(tries) <= times:
            raise error
        return types.SimpleNamespace(fileno=lambda: 0, close=lambda: None)

    monkeypatch.setattr(serial, "Serial", open_)
    monkeypatch.setattr(transport, "_OPEN_PAUSE_S", 0.0)
    monkeypatch.setattr(transport, "_claim", lambda _port, _alone: None)
    return tries


def refused(number, text="could not open port"):
    return serial.SerialException(number, f"{text}: {number}")


@pytest.mark.parametrize(
    ("error", "message", "mend"),
    [
        (refused(errno.EBUSY), "the port is in use", "Close that program"),
        (
            serial.SerialException(errno.EAGAIN, "Could not exclusively lock port"),
            "the port is in use",
            "Close that program",
        ),
        (refused(errno.ENOENT), "there is no such port", "hingeline board list"),
        (
            serial.SerialException("could not open port 'COM9': FileNotFoundError(2, 'x')"),
            "there is no such port",
            "hingeline board list",
        ),
        (refused(errno.EIO), "cannot be opened", "unplug the board"),
        (ValueError("odd name"), "cannot be opened", "hingeline board list"),
    ],
)
def test_an_opening_that_fails_says_why_and_what_to_do(monkeypatch, error, message, mend):
    tries = failing(monkeypatch, error)
    with pytest.raises(BenchError, match=message) as caught:
        SerialTransport("/dev/ttyACM0")
    assert mend in caught.value.mend
    assert len(tries) == 1
    assert tries[0][2]["exclusive"] is True
    assert tries[0][2]["write_timeout"] > 0


def test_without_permission_the_group_and_the_command_are_named(monkeypatch):
    failing(monkeypatch, refused(errno.EACCES))
    monkeypatch.setattr(transport, "_group", lambda _device: "dialout")
    with pytest.raises(BenchError, match="you may not open this port") as caught:
        SerialTransport("/dev/ttyACM0")
    assert "'dialout'" in caught.value.cause
    assert "sudo usermod -aG dialout $USER" in caught.value.mend
    assert "log out" in caught.value.mend


def test_without_permission_and_without_a_group_nothing_is_invented(monkeypatch, tmp_path):
    failing(monkeypatch, refused(errno.EACCES))
    with pytest.raises(BenchError, match="you may not open this port") as caught:
        SerialTransport(str(tmp_path / "gone"))
    assert "usermod" not in str(caught.value)


WINDOWS = serial.SerialException("could not open port 'COM3': PermissionError(13, 'x', None, 5)")


def test_on_windows_a_board_just_plugged_in_is_tried_again(monkeypatch):
    monkeypatch.setattr(transport, "os", types.SimpleNamespace(name="nt"))
    tries = failing(monkeypatch, WINDOWS, times=2)
    SerialTransport("COM3").close()
    assert len(tries) == 3


def test_on_windows_a_port_that_stays_taken_is_named(monkeypatch):
    monkeypatch.setattr(transport, "os", types.SimpleNamespace(name="nt"))
    tries = failing(monkeypatch, WINDOWS)
    with pytest.raises(BenchError, match="the port is in use"):
        SerialTransport("COM3")
    assert len(tries) == 4


def test_a_port_that_cannot_be_claimed_is_closed_and_named(monkeypatch):
    failing(monkeypatch, refused(errno.EIO), times=0)
    closed = []
    port = types.SimpleNamespace(fileno=lambda: 0, close=lambda: closed.append(True))
    monkeypatch.setattr(serial, "Serial", lambda *_what, **_how: port)

    def claim(_port, alone):
        if alone:
            raise OSError(errno.ENOTTY, "not a terminal")

    monkeypatch.setattr(transport, "_claim", claim)
    with pytest.raises(BenchError, match="cannot be opened"):
        SerialTransport("/dev/ttyACM0")
    assert closed == [True]


# -- a board by its own number ----------------------------------------------------------------


def numbered(monkeypatch, numbers):
    """Let boards on these ports tell their numbers, or fail; return which were greeted."""
    greeted = []

    def number_of(device):
        greeted.append(device)
        if isinstance(numbers[device], Exception):
            raise numbers[device]
        return numbers[device]

    monkeypatch.setattr(ports, "_number_of", number_of)
    return greeted


TWO = (
    usb("/dev/ttyACM0", 0x2E8A, 5, "E6616408432A1B2C"),
    usb("/dev/ttyACM1", 0x2E8A, 5, "E66164084399D511"),
    usb("/dev/ttyUSB0", 0x10C4, 0xEA60, "0001"),
    usb("/dev/ttyACM9", 0x1234, 1, "E6616408FFFFFFFF"),  # of another maker
)


@pytest.mark.parametrize(
    ("named", "device"),
    [
        ("id:E6616408432A1B2C", "/dev/ttyACM0"),
        ("id:e6616408432a1b2c", "/dev/ttyACM0"),
        ("id:e6616408439", "/dev/ttyACM1"),
        ("id:0001", "/dev/ttyUSB0"),
    ],
)
def test_a_number_that_usb_tells_is_found_without_opening_anything(plugged, named, device):
    plugged(*TWO)
    assert choose(named, []) == device
    assert choose_all([named]) == [device]


def test_a_number_that_begins_several_is_refused_with_both(plugged):
    plugged(*TWO)
    with pytest.raises(
        BenchError, match="2 boards have a number that begins with E6616"
    ) as caught:
        choose("id:E6616", [])
    assert "E6616408432A1B2C on /dev/ttyACM0" in caught.value.cause
    assert "E66164084399D511 on /dev/ttyACM1" in caught.value.cause
    assert "ttyACM9" not in str(caught.value)


def test_one_that_is_the_same_is_meant_though_another_begins_so(plugged):
    plugged(usb("/dev/a", 0x2E8A, 5, "E6612"), usb("/dev/b", 0x2E8A, 5, "E661"))
    assert choose("id:e661", []) == "/dev/b"


@pytest.mark.parametrize("named", ["id:", "id:E66"])
def test_fewer_than_four_digits_name_no_board(plugged, named):
    plugged(*TWO)
    with pytest.raises(BenchError, match="at least 4 are needed"):
        choose(named, [])


@pytest.mark.parametrize("named", ["id:0000", "id:000e", "id:000E66"])
def test_leading_zeros_do_not_count_as_digits(plugged, named):
    plugged(usb("/dev/ttyACM0", 0x2E8A, 5, "E6616408432A1B2C"))
    with pytest.raises(BenchError, match="leading zeros apart: at least 4 are needed"):
        choose(named, [])


def test_zeros_on_record_are_no_number_of_any_board(plugged, monkeypatch):
    plugged(usb("/dev/ttyACM0", 0x2E8A, 5, "E6616408432A1B2C"))
    numbered(monkeypatch, {"/dev/ttyACM0": "e6616408432a1b2c"})
    with pytest.raises(BenchError, match="no board with the number 0000"):
        choose_all([], ["0000"])


def test_where_usb_tells_no_number_the_candidates_are_greeted(plugged, monkeypatch):
    plugged(
        usb("/dev/ttyUSB0", 0x10C4, 0xEA60),
        usb("/dev/ttyUSB1", 0x10C4, 0xEA60),
        usb("/dev/ttyS0"),
        usb("/dev/ttyACM9", 0x1234, 1),
    )
    greeted = numbered(
        monkeypatch, {"/dev/ttyUSB0": "240ac4f1b2c3", "/dev/ttyUSB1": "9c9c1fd0a1b2"}
    )
    assert choose("id:9C9C1F", []) == "/dev/ttyUSB1"
    assert greeted == ["/dev/ttyUSB0", "/dev/ttyUSB1"]  # and no port of another kind


def test_leading_zeros_are_the_same_number(plugged, monkeypatch):
    plugged(usb("/dev/ttyUSB0", 0x10C4, 0xEA60))
    numbered(monkeypatch, {"/dev/ttyUSB0": "40ac4f1b2c3"})
    assert choose("id:040ac4", []) == "/dev/ttyUSB0"


def test_a_board_that_is_not_there_is_said_with_those_that_are(plugged, monkeypatch):
    plugged(*TWO[:2], usb("/dev/ttyUSB0", 0x10C4, 0xEA60))
    numbered(
        monkeypatch, {port.device: "" for port in TWO} | {"/dev/ttyUSB0": BenchError("taken.")}
    )
    with pytest.raises(BenchError, match="no board with the number 4711 is there") as caught:
        choose("id:4711", [])
    assert "E6616408432A1B2C on /dev/ttyACM0" in caught.value.cause
    assert "taken." in caught.value.cause


def test_without_any_board_that_is_said(plugged):
    plugged()
    with pytest.raises(BenchError, match="no board with the number E660123 is there") as caught:
        choose("id:E660123", [])
    assert "No board is there." in caught.value.cause


def test_several_ports_are_taken_in_their_order_and_none_twice(plugged):
    plugged(*TWO)
    assert choose_all(["/dev/ttyACM1", "id:E6616408432"]) == ["/dev/ttyACM1", "/dev/ttyACM0"]
    assert choose_all(["sim:", "sim:"]) == ["sim:", "sim:"]
    with pytest.raises(BenchError, match="/dev/ttyACM1 is named twice"):
        choose_all(["/dev/ttyACM1", "id:E66164084399"])


def test_two_ports_in_the_environment_are_too_many_for_a_command_with_one_board(plugged):
    plugged(*TWO)
    with pytest.raises(BenchError, match="2 ports are named, and this command works with one"):
        choose("/dev/ttyACM1 /dev/ttyACM0", [])


def test_boards_that_were_there_are_found_again_under_other_names(plugged, monkeypatch):
    wanted = ("e66164084399d511", "e6616408432a1b2c")
    plugged(*TWO)
    assert choose_all([], wanted) == ["/dev/ttyACM1", "/dev/ttyACM0"]
    assert choose_all(["/dev/ttyACM7", "/dev/ttyACM0"], wanted) == ["/dev/ttyACM1", "/dev/ttyACM0"]
    # A name that is there is taken at its word: who is there is looked at before anything moves.
    assert choose_all(["/dev/ttyACM0", "/dev/ttyACM1"], wanted) == ["/dev/ttyACM0", "/dev/ttyACM1"]
    plugged(TWO[0])
    numbered(monkeypatch, {"/dev/ttyACM0": "e6616408432a1b2c"})
    with pytest.raises(BenchError, match="no board with the number e66164084399d511 is there"):
        choose_all(["/dev/ttyACM1", "/dev/ttyACM0"], wanted)
