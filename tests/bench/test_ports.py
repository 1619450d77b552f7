"""Which port is meant, what is never touched, and what an opening that fails says."""

from __future__ import annotations

import errno
import types

import pytest
import serial
from serial.tools import list_ports

from hingeline.bench import transport
from hingeline.bench.ports import Port, candidates, choose, preferred, same_again, usb_number
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
