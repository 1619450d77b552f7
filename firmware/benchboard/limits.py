"""What figures have to agree with each other before any of them is used."""

from shared_protocol.messages import RefusedError
from shared_protocol.table import CLASSES, FRAME_MARGIN_NS


def need_servo(number: int, servo: "dict[str, int]", frame_hz: int) -> None:
    """Refuse a class and limits that do not suit each other, or the frame.

    Parameters
    ----------
    number : int
        Channel, for the refusal.
    servo : dict of str to int
        ``class`` (not 0), ``low_ns``, ``high_ns`` and ``centre_ns``.
    frame_hz : int
        Frames per second that the pulses have to fit in.
    """
    for row in CLASSES:
        if row[0] == servo["class"]:
            _need_class(number, servo, row[2], row[3])
    low_ns, high_ns, centre_ns = servo["low_ns"], servo["high_ns"], servo["centre_ns"]
    if low_ns >= high_ns:
        raise RefusedError("wrong_order", number, "low_ns", low_ns, high_ns)
    if centre_ns < low_ns:
        raise RefusedError("wrong_order", number, "centre_ns", centre_ns, low_ns)
    if centre_ns > high_ns:
        raise RefusedError("wrong_order", number, "centre_ns", centre_ns, high_ns)
    need_frame(number, "high_ns", high_ns, frame_hz)


def need_frame(number: int, key: str, high_ns: int, frame_hz: int) -> None:
    """Refuse a pulse that, with the margin, does not fit its frame."""
    frame_ns = 1000000000 // frame_hz
    if high_ns + FRAME_MARGIN_NS > frame_ns:
        raise RefusedError("frame_too_short", number, key, high_ns + FRAME_MARGIN_NS, frame_ns)


def need_silence(hold_ms: int, off_ms: int) -> None:
    """Refuse times of silence in the wrong order."""
    if off_ms <= hold_ms:
        raise RefusedError("wrong_order", 0, "off_ms", off_ms, hold_ms)


def need_rail(full_mv: int, low_mv: int) -> None:
    """Refuse a lowest supply that the input could never read, or has no divider to read it by."""
    if low_mv and low_mv >= full_mv:
        raise RefusedError("wrong_order", 0, "rail_low_mv", low_mv, full_mv)


def _need_class(number: int, servo: "dict[str, int]", least_ns: int, most_ns: int) -> None:
    for key in ("low_ns", "high_ns", "centre_ns"):
        if servo[key] < least_ns:
            raise RefusedError("class_limit", number, key, servo[key], least_ns)
        if servo[key] > most_ns:
            raise RefusedError("class_limit", number, key, servo[key], most_ns)
